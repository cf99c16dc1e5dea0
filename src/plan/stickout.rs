//! Stickouts: how far out a cutter must stand, where, and what it bears there.

use super::bending::{Cantilever, FLUTED, deflection};
use super::places::Place;
use crate::mesh::{Mesh, Sets};
use crate::shop::{Cutter, Wanted};

/// Share of a cutter's surface that the usual stickout must do.
const MOST: f64 = 0.9;
/// A stickout that saves less than this is not worth naming, mm.
const WORTH: f64 = 2.0;
/// Regions that are listed.
const LISTED: usize = 4;

/// A connected region that needs more than the rest.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Region {
    /// Stickout that it needs, mm.
    pub stickout: f64,
    /// Its area, mm².
    pub area: f64,
    /// The place of greatest need: index into the places.
    pub place: usize,
}

/// Stickouts of one cutter.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Needs {
    /// Least that reaches everything, mm.
    pub all: Option<f64>,
    /// What does all but the regions, mm.
    pub most: Option<f64>,
    /// Regions that need more, greatest need first.
    pub regions: Vec<Region>,
}

/// Sorts out what `needed` says place by place (infinite: not done).
pub fn needs(mesh: &Mesh, places: &[Place], needed: &[f64]) -> Needs {
    let mut sorted: Vec<(f64, f64)> = places
        .iter()
        .zip(needed)
        .filter(|(p, n)| p.area > 0.0 && n.is_finite())
        .map(|(p, n)| (*n, p.area))
        .collect();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let Some(&(all, _)) = sorted.last() else {
        return Needs::default();
    };
    let whole: f64 = sorted.iter().map(|s| s.1).sum();
    let mut sum = 0.0;
    let most = sorted.iter().find(|s| {
        sum += s.1;
        sum >= MOST * whole
    });
    // whole millimetres: nobody sets a tool finer
    let most = most.map_or(all, |s| s.0).ceil();
    if all - most < WORTH {
        return Needs {
            all: Some(all),
            most: Some(all),
            regions: Vec::new(),
        };
    }
    let mut regions: Vec<Region> = connected(mesh, places, |k| {
        needed[k].is_finite() && needed[k] > most && places[k].area > 0.0
    })
    .into_iter()
    .filter_map(|members| {
        let place = *members
            .iter()
            .max_by(|&&a, &&b| needed[a].total_cmp(&needed[b]))?;
        Some(Region {
            stickout: needed[place],
            area: members.iter().map(|&k| places[k].area).sum(),
            place,
        })
    })
    .collect();
    regions.sort_by(|a, b| {
        b.stickout
            .total_cmp(&a.stickout)
            .then(a.place.cmp(&b.place))
    });
    regions.truncate(LISTED);
    Needs {
        all: Some(all),
        most: Some(most),
        regions,
    }
}

/// The places that `take` takes, by connected surface: those on triangles that share a corner belong together.
pub fn connected(mesh: &Mesh, places: &[Place], take: impl Fn(usize) -> bool) -> Vec<Vec<usize>> {
    let mut sets = Sets((0..mesh.vertices.len() as u32).collect());
    let taken: Vec<usize> = (0..places.len())
        .filter(|&k| places[k].facet.is_some() && take(k))
        .collect();
    let corners = |k: usize| mesh.triangles[places[k].triangle as usize];
    for &k in &taken {
        let [a, b, c] = corners(k);
        sets.join(a, b);
        sets.join(b, c);
    }
    let mut regions: std::collections::BTreeMap<u32, Vec<usize>> = Default::default();
    for k in taken {
        regions.entry(sets.find(corners(k)[0])).or_default().push(k);
    }
    regions.into_values().collect()
}

/// What a cutter bears at one stickout.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bears {
    /// Stickout over diameter.
    pub slenderness: f64,
    /// Deflection under the side load, mm.
    pub bend: f64,
    /// Share of the feed that keeps it within the limit: force goes with the chip.
    pub feed_share: f64,
}

/// No feed is lowered to less than this share: such a tool is for the user to judge.
const LEAST_FEED: f64 = 0.1;

/// What `cutter` bears `stickout` mm out.
pub fn bears(cutter: &Cutter, stickout: f64, wanted: &Wanted) -> Bears {
    let bend = deflection(&rod(cutter, stickout), wanted.side_load);
    Bears {
        slenderness: stickout / cutter.diameter,
        bend,
        feed_share: if bend > wanted.bend {
            (wanted.bend / bend).max(LEAST_FEED)
        } else {
            1.0
        },
    }
}

/// The cutter as a stepped rod: flutes, neck, shank. Flutes that are not stated end where the neck does, without a neck
/// after three diameters (common practice, no source).
pub fn rod(cutter: &Cutter, stickout: f64) -> Cantilever {
    let neck_to = cutter.neck.map(|n| n.length);
    let flutes = cutter
        .flute_length
        .or(neck_to)
        .unwrap_or(3.0 * cutter.diameter)
        .min(stickout);
    let mut pieces = vec![(flutes, FLUTED * cutter.diameter)];
    if let Some(neck) = cutter.neck
        && neck.length.min(stickout) > flutes
    {
        pieces.push((neck.length.min(stickout), neck.diameter));
    }
    if pieces.last().is_some_and(|p| p.0 < stickout) {
        pieces.push((stickout, cutter.shank.unwrap_or(cutter.diameter)));
    }
    Cantilever {
        modulus: cutter.edges.made_of.modulus(),
        pieces,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::Neck;

    #[test]
    fn a_tool_is_a_stepped_rod() {
        let cutter = Cutter {
            flute_length: Some(10.0),
            neck: Some(Neck {
                diameter: 5.0,
                length: 25.0,
            }),
            shank: Some(8.0),
            ..Cutter::ball(6.0)
        };
        // 0.8 × 6 over the flutes
        let pieces = rod(&cutter, 40.0).pieces;
        assert_eq!(pieces, [(10.0, 0.8 * 6.0), (25.0, 5.0), (40.0, 8.0)]);
        assert_eq!(rod(&Cutter::ball(6.0), 10.0).pieces, [(10.0, 0.8 * 6.0)]);
    }

    #[test]
    fn bending_lowers_the_feed() {
        let wanted = Wanted {
            side_load: 20.0,
            bend: 0.01,
            ..Wanted::default()
        };
        // flutes 15 mm at 4.8, shank 6 to 45 mm: 0.016765 mm under 20 N (worked value of a stepped cantilever)
        let cutter = Cutter {
            flute_length: Some(15.0),
            ..Cutter::ball(6.0)
        };
        let bears = bears(&cutter, 45.0, &wanted);
        assert!((bears.bend - 0.016_765_150).abs() < 5e-10);
        assert!((bears.feed_share - 0.01 / 0.016_765_150).abs() < 1e-6);
        assert_eq!(bears.slenderness, 7.5);
    }
}
