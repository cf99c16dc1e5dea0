//! The best flat parting level for a pull, and what a flat parting loses.

use super::parting::PartingLine;
use super::skin::{Skin, share_below};
use crate::mesh::Vector;

/// A flat parting level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Level {
    /// Distance along the pull from the origin, mm.
    pub(super) at: f64,
    /// Surface that faces up below it or down above it, and that its half of the mold would hook over, mm².
    pub(super) lost: f64,
}

/// Sine of the lean below which a facet is upright and lost at no level: 0.05°.
const UPRIGHT: f64 = 8.7e-4;
/// Levels at which lost area is weighed, before the best is refined.
const TRIED: usize = 400;

struct Facet {
    heights: [f64; 3],
    area: f64,
    up: bool,
}

/// The level at which a flat parting loses least for the pull `d` (unit).
///
/// Where it loses nothing over a range of levels, as along an upright wall, it is the middle of that range.
pub(super) fn best(skin: &Skin, d: &Vector, line: &PartingLine) -> Level {
    let facets = facets(skin, d);
    let heights = || skin.mesh.vertices.iter().map(|p| p.coords.dot(d));
    let (lo, hi) = heights().fold((f64::MAX, f64::MIN), |(l, h), z| (l.min(z), h.max(z)));
    let of = |up: bool| {
        facets
            .iter()
            .filter(move |f| f.up == up)
            .flat_map(|f| f.heights)
    };
    let (highest_down, lowest_up) = (of(false).fold(lo, f64::max), of(true).fold(hi, f64::min));
    if highest_down <= lowest_up + skin.tolerance {
        return Level {
            at: 0.5 * (highest_down + lowest_up),
            lost: 0.0,
        };
    }
    let lost = |z: f64| lost_at(&facets, z);
    let mut levels: Vec<f64> = (0..=TRIED)
        .map(|k| lo + (hi - lo) * k as f64 / TRIED as f64)
        .collect();
    if let Some(longest) = line.loops.first() {
        levels.extend([longest.from, longest.to, 0.5 * (longest.from + longest.to)]);
    }
    let least = |levels: &[f64]| {
        levels
            .iter()
            .map(|&at| Level { at, lost: lost(at) })
            .min_by(|a, b| a.lost.total_cmp(&b.lost).then(a.at.total_cmp(&b.at)))
    };
    let Some(mut best) = least(&levels) else {
        return Level { at: lo, lost: 0.0 };
    };
    let mut step = (hi - lo) / TRIED as f64;
    while step > skin.tolerance {
        step *= 0.5;
        let beside = [best.at - step, best.at + step].map(|z| z.clamp(lo, hi));
        if let Some(other) = least(&beside)
            && other.lost < best.lost
        {
            best = other;
        }
    }
    best
}

/// What a flat parting at `level` loses for the pull `d` (unit), mm².
pub(super) fn lost(skin: &Skin, d: &Vector, level: f64) -> f64 {
    lost_at(&facets(skin, d), level)
}

fn facets(skin: &Skin, d: &Vector) -> Vec<Facet> {
    (0..skin.mesh.triangles.len())
        .filter_map(|t| {
            let faces = skin.mesh.normal(t)?.dot(d);
            (faces.abs() > UPRIGHT).then(|| Facet {
                heights: skin.mesh.corners(t).map(|p| p.coords.dot(d)),
                area: skin.mesh.area(t),
                up: faces > 0.0,
            })
        })
        .collect()
}

fn lost_at(facets: &[Facet], z: f64) -> f64 {
    let of = |f: &Facet| {
        let below = share_below(f.heights, z);
        f.area * if f.up { below } else { 1.0 - below }
    };
    facets.iter().map(of).sum()
}
