//! Draft: whether the casting comes out along the tool axis.

use super::shade::patches;
use super::surface::{Facet, Surface, draft_deg};
use crate::mesh::{Point, Sets};
use crate::report::{Draft, DraftBand, Verdict};
use crate::setup::{Half, Survey};
use crate::shop::Limits;

/// Ends of the bands, degrees.
pub const BANDS: [f64; 7] = [-90.0, -0.05, 0.05, 1.0, 3.0, 15.0, 90.0];

/// A wall under half of what is let pass is none to speak of: a hemisphere's rim has a draft of zero,
/// but the casting lets go of it at once.
const TO_SPEAK_OF: f64 = 0.5;

/// Judges the draft of the cavity's surface, hidden surface included.
pub fn draft(half: &Half, survey: &Survey, surface: &Surface, limits: &Limits) -> Draft {
    let mut bands: Vec<DraftBand> = BANDS
        .windows(2)
        .map(|w| DraftBand {
            from_deg: w[0],
            to_deg: w[1],
            area_mm2: 0.0,
        })
        .collect();
    let required = limits.draft_deg;
    let (mut short, mut surely, mut maybe) = (0.0, 0.0, 0.0);
    let mut any = false;
    for (_, f) in surface.cavity(survey) {
        any = true;
        for (band, share) in bands.iter_mut().zip(shares(f, &BANDS)) {
            band.area_mm2 += share * f.area;
        }
        short += below(f, required) * f.area;
        let [low, high] = reach(f);
        surely += if high < required { f.area } else { 0.0 };
        maybe += if low < required { f.area } else { 0.0 };
    }
    let least = least(half, survey, surface, limits.draft_min_area);
    let wall = tallest_short_wall(half, survey, surface, required);
    let verdict = match &wall {
        Some(w) if w.height - w.pm > limits.wall => Verdict::Fail,
        Some(w) if w.height + w.pm > limits.wall => Verdict::Unsure,
        Some(w) if w.height > TO_SPEAK_OF * limits.wall => Verdict::Watch,
        _ => Verdict::Pass,
    };
    let at = match (&wall, &least) {
        (Some(w), _) if w.height > TO_SPEAK_OF * limits.wall => Some(w.at),
        (_, Some(l)) => Some(l.2),
        _ => None,
    };
    let some = |v: f64| any.then_some(v);
    Draft {
        verdict,
        required_deg: required,
        least_deg: least.map(|l| l.0),
        least_deg_pm: least.map(|l| l.1),
        bands,
        short_area_mm2: some(short),
        short_area_mm2_pm: some((short - surely).max(maybe - short).max(0.0)),
        tallest_short_wall_mm: some(wall.as_ref().map_or(0.0, |w| w.height)),
        tallest_short_wall_mm_pm: some(wall.as_ref().map_or(0.0, |w| w.pm)),
        at_mm: at.map(|p| half.frame.place(&p)),
    }
}

/// The drafts a facet stands for, rounding aside.
fn reach(f: &Facet) -> [f64; 2] {
    [f.draft_deg - f.spread_deg[0], f.draft_deg + f.spread_deg[1]]
}

/// Share of a facet's surface below draft `limit`, the draft running linearly between its corners.
/// A draft within its rounding of the limit has reached it.
fn below(f: &Facet, limit: f64) -> f64 {
    let slack = snap(f);
    let [a, b, c] = f.corners_deg;
    if c - a <= 2.0 * slack {
        return if f.draft_deg + slack < limit {
            1.0
        } else {
            0.0
        };
    }
    let l = (limit - slack).clamp(a, c);
    // the line of the limit cuts a corner off: the least, or the largest
    if l < b {
        (l - a).powi(2) / ((b - a) * (c - a))
    } else {
        1.0 - (c - l).powi(2) / ((c - a) * (c - b).max(f64::MIN_POSITIVE))
    }
}

/// Angle within which a facet's draft is the limit it stands beside, degrees.
fn snap(f: &Facet) -> f64 {
    f.noise_deg.min(0.5) + 1e-4
}

/// Share of the facet's surface in each band.
fn shares(f: &Facet, ends: &[f64]) -> Vec<f64> {
    let under: Vec<f64> = ends[1..ends.len() - 1]
        .iter()
        .map(|&end| below(f, end))
        .collect();
    let mut last = 0.0;
    under
        .into_iter()
        .chain(std::iter::once(1.0))
        .map(|u| u - std::mem::replace(&mut last, u))
        .collect()
}

/// The least draft of any connected patch of at least `min_area`: facets are laid down in order of draft until a connected
/// patch is that large. Its mean draft, the ± that holds every draft it stands for, and its place.
fn least(
    half: &Half,
    survey: &Survey,
    surface: &Surface,
    min_area: f64,
) -> Option<(f64, f64, Point)> {
    let mut order: Vec<u32> = surface.cavity(survey).map(|(k, _)| k as u32).collect();
    let facets = &surface.facets;
    order.sort_by(|&a, &b| {
        facets[a as usize]
            .draft_deg
            .total_cmp(&facets[b as usize].draft_deg)
            .then(a.cmp(&b))
    });
    let total: f64 = order.iter().map(|&f| facets[f as usize].area).sum();
    // a cavity smaller than the patch is its own patch
    let min_area = min_area.min(0.5 * total);
    let mut laid = vec![false; facets.len()];
    let mut patches = Laid::of(facets);
    for &f in &order {
        laid[f as usize] = true;
        let mut root = f;
        for n in (0..3).filter_map(|k| half.topology.across(facets[f as usize].triangle, k)) {
            if let Some(n) = surface.of_triangle[n as usize].filter(|&n| laid[n as usize]) {
                root = patches.join(root, n);
            }
        }
        let patch = &patches.sums[root as usize];
        if patch.area >= min_area {
            let (mean, [low, high]) = (patch.draft / patch.area, patch.range);
            let pm = (mean - low).max(high - mean);
            return Some((mean, pm, facets[patch.least as usize].centroid));
        }
    }
    None
}

/// Connected patches of the facets laid down so far.
struct Laid {
    sets: Sets,
    /// By the facet that is a patch's root.
    sums: Vec<Sum>,
}

#[derive(Clone, Copy)]
struct Sum {
    /// mm².
    area: f64,
    /// Area times the draft of the surface there.
    draft: f64,
    /// Least and most that any of its facets stands for, degrees.
    range: [f64; 2],
    /// Its facet with the least draft.
    least: u32,
}

impl Laid {
    /// Each facet by itself.
    fn of(facets: &[Facet]) -> Laid {
        let sum = |(k, f): (usize, &Facet)| {
            let ([low, high], [least, _, most]) = (reach(f), f.corners_deg);
            // on a cone a facet with one side level leans off the surface, by that side's chord error over its height
            let draft = f.draft_deg.clamp(least, most);
            Sum {
                area: f.area,
                draft: f.area * draft,
                range: [low.min(least) - f.noise_deg, high.max(most) + f.noise_deg],
                least: k as u32,
            }
        };
        Laid {
            sets: Sets((0..facets.len() as u32).collect()),
            sums: facets.iter().enumerate().map(sum).collect(),
        }
    }

    /// Joins the patch of `other`, laid down before, to that of `own`; its root.
    fn join(&mut self, own: u32, other: u32) -> u32 {
        let (other, own) = (self.sets.find(other), self.sets.find(own));
        if other == own {
            return own;
        }
        self.sets.join(own, other);
        let root = self.sets.find(own);
        let [first, second] = [other, own].map(|k| self.sums[k as usize]);
        self.sums[root as usize] = Sum {
            area: second.area + first.area,
            draft: second.draft + first.draft,
            range: [
                second.range[0].min(first.range[0]),
                second.range[1].max(first.range[1]),
            ],
            // the patch laid down first holds the lower drafts
            least: first.least,
        };
        root
    }
}

/// No corner of a facet is off by this much: edges that turn so far are sharp, degrees.
const FAR_DEG: f64 = 45.0;

struct ShortWall {
    height: f64,
    pm: f64,
    at: Point,
}

/// The largest height along Z of connected surface below the required draft.
///
/// Over each facet the draft runs linearly between its corners; what is short of it is cut off along a straight line. A facet's
/// own draft is that of its middle: where those at its corners have another mean, as beside the line along which a wall runs out
/// into a fillet, one of them is off by twice as much. The ± takes all corners as low, or as high, as that allows; at either end
/// the surface stands off the facet by its chord error, and coordinates are rounded.
fn tallest_short_wall(
    half: &Half,
    survey: &Survey,
    surface: &Surface,
    required: f64,
) -> Option<ShortWall> {
    let off = Off::of(half, surface);
    let by_corners = |_: &Facet, _: usize, draft: f64| draft;
    let lowest = |f: &Facet, k: usize, draft: f64| draft + off.at(f, k)[0] - snap(f);
    let highest = |f: &Facet, k: usize, draft: f64| draft + off.at(f, k)[1] + snap(f);
    let short = |f: &Facet, of: &dyn Fn(&Facet, usize, f64) -> f64| {
        let corners = half.mesh.corners(f.triangle as usize);
        let normals = surface.creases.normals[f.triangle as usize];
        let at = |k: usize| {
            (
                of(f, k, draft_deg(&normals[k].cast())),
                corners[k].z.min(0.0),
            )
        };
        short_part([0, 1, 2].map(at), required - snap(f))
    };
    let mut member = vec![false; surface.facets.len()];
    for (k, f) in surface.cavity(survey) {
        let far = f.draft_deg.min(f.corners_deg[0]) > required + FAR_DEG;
        member[k] = !far && short(f, &lowest).is_some();
    }
    let height = |patch: &[u32], of: &dyn Fn(&Facet, usize, f64) -> f64| {
        let facets = patch.iter().map(|&f| &surface.facets[f as usize]);
        let ends = facets.filter_map(|f| short(f, of));
        let all = ends.reduce(|a, b| [a[0].min(b[0]), a[1].max(b[1])]);
        all.map_or(0.0, |e| e[1] - e[0])
    };
    let walls: Vec<ShortWall> = patches(half, surface, &member)
        .into_iter()
        .map(|patch| {
            let own = height(&patch, &by_corners);
            let (most, least) = (height(&patch, &lowest), height(&patch, &highest));
            let facets = || patch.iter().map(|&f| &surface.facets[f as usize]);
            let chord = facets().map(|f| f.chord_error).fold(0.0, f64::max);
            let steepest = facets().min_by(|a, b| a.draft_deg.total_cmp(&b.draft_deg));
            ShortWall {
                height: own,
                pm: (most - own).max(own - least) + 2.0 * chord + 4.0 * half.rounding,
                at: steepest.map_or(Point::origin(), |f| f.centroid),
            }
        })
        .collect();
    tallest(walls)
}

/// The tallest of all, with a ± that holds how tall the tallest may be: another may be taller than it seems.
fn tallest(walls: Vec<ShortWall>) -> Option<ShortWall> {
    let most = walls.iter().map(|w| w.height + w.pm).fold(0.0, f64::max);
    let tallest = walls
        .into_iter()
        .max_by(|a, b| a.height.total_cmp(&b.height).then(a.pm.total_cmp(&b.pm)))?;
    // at least as tall as this one is for sure
    let pm = tallest.pm.max(most - tallest.height);
    Some(ShortWall { pm, ..tallest })
}

/// What the drafts at the corners of facets may be off by.
struct Off<'a> {
    half: &'a Half,
    surface: &'a Surface,
    /// Of each corner of the mesh whether a smooth surface ends there.
    rim: Vec<bool>,
}

impl Off<'_> {
    fn of<'a>(half: &'a Half, surface: &'a Surface) -> Off<'a> {
        let mut rim = vec![false; half.mesh.vertices.len()];
        for (e, edge) in half.topology.edges.iter().enumerate() {
            for v in edge.vertices.iter().filter(|_| !surface.creases.smooth[e]) {
                rim[*v as usize] = true;
            }
        }
        Off { half, surface, rim }
    }

    /// Twice how far a facet's own draft, which is that of its middle, stands off those at its corners: by their mean or, of one
    /// half of a strip, the middle between the least and the most, degrees.
    fn own(f: &Facet) -> f64 {
        let [a, b, c] = f.corners_deg;
        let mean = f.draft_deg - (a + b + c) / 3.0;
        let middle = f.draft_deg - 0.5 * (a + c);
        2.0 * if mean.abs() < middle.abs() {
            mean
        } else {
            middle
        }
    }

    /// The most that the draft at corner `k` is too high and too low by, by all facets that are joined to it around that corner.
    fn joined(&self, f: &Facet, k: usize) -> [f64; 2] {
        let v = self.half.mesh.triangles[f.triangle as usize][k];
        let own = Off::own(f);
        let mut off = [own.min(0.0), own.max(0.0)];
        // round the corner one way, and where that ends the other way
        for onward in [0, 2] {
            let mut at = (f.triangle, k);
            while let Some((next, facet)) = self.across(at, onward, v) {
                if next.0 == f.triangle {
                    return off;
                }
                let own = Off::own(facet);
                off = [off[0].min(own), off[1].max(own)];
                at = next;
            }
        }
        off
    }

    /// The facet beyond a side of a triangle at its corner `k`, the vertex `v`, out of it or (2) into it, if it is joined to it
    /// there.
    fn across(&self, (t, k): (u32, usize), side: usize, v: u32) -> Option<((u32, usize), &Facet)> {
        let side = (k + side) % 3;
        let topology = &self.half.topology;
        let e = topology.sides[t as usize][side] as usize;
        let next = topology
            .across(t, side)
            .filter(|_| self.surface.creases.smooth[e])?;
        let facet = self.surface.of_triangle[next as usize]?;
        let corner = (self.half.mesh.triangles[next as usize].iter()).position(|&c| c == v)?;
        Some(((next, corner), &self.surface.facets[facet as usize]))
    }

    /// As [`Off::joined`], and at a rim, where the normal mirrors the one farther in, by as much the other way.
    fn at(&self, f: &Facet, k: usize) -> [f64; 2] {
        let rim = |k: usize| self.rim[self.half.mesh.triangles[f.triangle as usize][k] as usize];
        let own = self.joined(f, k);
        if !rim(k) {
            return own;
        }
        let inner = [(k + 1) % 3, (k + 2) % 3].into_iter().filter(|&k| !rim(k));
        inner.fold(own, |e, k| {
            let [low, high] = self.joined(f, k);
            [e[0].min(-high), e[1].max(-low)]
        })
    }
}

/// Lowest and highest point of the part of a triangle where what runs linearly between its corners, given with their heights, is
/// below `limit`.
fn short_part(corners: [(f64, f64); 3], limit: f64) -> Option<[f64; 2]> {
    let mut ends: Option<[f64; 2]> = None;
    let mut take = |z: f64| ends = Some(ends.map_or([z, z], |e| [e[0].min(z), e[1].max(z)]));
    for k in 0..3 {
        let ((a, z), (b, w)) = (corners[k], corners[(k + 1) % 3]);
        if a < limit {
            take(z);
        }
        if (a < limit) != (b < limit) {
            take(z + (w - z) * (limit - a) / (b - a));
        }
    }
    ends
}

#[cfg(test)]
mod tests;
