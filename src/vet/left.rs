//! The volume that a cutter leaves.

use super::cutting::Cutting;
use super::reach::Ground;
use super::surface::{Sample, Shape};
use crate::field::Nearest;
use crate::mesh::{Point, Vector};
use rayon::prelude::*;

/// Steps per cutting radius along the surface at the least.
const STEPS: f64 = 3.0;
/// Most triangles of that size, where nothing asks for smaller ones.
const MOST: f64 = 5_000.0;
/// How much smaller they are where heights jump.
const FINER: f64 = 16.0;
/// Heights within a triangle are near enough to a plane if its middle lies off by no more than this share of them,
const STRAIGHT: f64 = 0.04;
/// or, square to the surface, this share of the mean height left,
const SLIGHT: f64 = 0.02;
/// or this share of the leave.
const SMALL: f64 = 0.1;

/// Visible cavity space that no position of the cutter covers, and its ±: over the facets of which something is not touched,
/// the heights from the surface up to what the cutter covers. `judged` are the samples and what the cutter leaves there,
/// `height_pm` is the ± of the largest height left.
///
/// Facets are halved across their longest side until the heights at corners and middle lie in a plane, and the smallest pieces
/// along jumps, as beside upright corners, are an eighth to a twelfth of a step wide; each is summed by the rule that is exact for
/// quadratics (3/4 of the middle, 1/12 of each corner: A. H. Stroud, Approximate Calculation of Multiple Integrals, 1971;
/// from memory). Square to the surface each height may be off by the ± of the height left and by what the nodes between may
/// hide, u together: u / n_z along the axis. Where it is said to be 0 two chord errors may stay. In a piece that ends with heights
/// that still differ, all of that difference may be wrong. So the ± is Σ area in plan · min(h, u / n_z) below, all of
/// u and the chord errors over the surface above, and Σ area in plan · difference.
pub fn left_volume(
    ground: &Ground,
    cutting: &Cutting,
    judged: (&[Sample], &[Nearest]),
    leave: f64,
    height_pm: f64,
) -> (f64, f64) {
    let surface = &ground.surface;
    let mut open = vec![false; surface.facets.len()];
    for (s, n) in judged.0.iter().zip(judged.1) {
        open[s.facet as usize] |= n.left > 0.0;
    }
    let open: Vec<u32> = (0..open.len() as u32)
        .filter(|&f| open[f as usize] && surface.facets[f as usize].normal.z > 0.0)
        .collect();
    let area: f64 = (open.iter().map(|&f| surface.facets[f as usize].area)).sum();
    let total: f64 = (judged.0.iter().zip(judged.1))
        .map(|(s, n)| s.area * n.left)
        .sum();
    let step = (cutting.radius() / STEPS).max((area / MOST).sqrt());
    let cell = cutting.grid().cell;
    let heights = Heights {
        ground,
        cutting,
        leave,
        step2: step * step,
        least2: (step / FINER) * (step / FINER),
        slight: (SLIGHT * total / area.max(f64::MIN_POSITIVE)).max(SMALL * leave),
        unsure: height_pm + cell * cell / (8.0 * cutting.radius().max(cell)),
    };
    let parts: Vec<Sum> = open.par_iter().map(|&f| heights.over(f)).collect();
    let mut sum = Sum::default();
    parts.iter().for_each(|p| sum.add(p));
    // where curved facets seem touched a layer as thick as the facets' own error on both sides may stay
    let thin: f64 = (surface.cavity(ground.survey))
        .map(|(_, f)| f.area * f.normal.z.max(0.0) * 2.0 * f.chord_near)
        .sum();
    let too_little = heights.unsure * sum.surface + thin;
    (sum.volume, sum.too_much.max(too_little) + sum.jumps)
}

/// Volume left and what it hangs on.
#[derive(Default)]
struct Sum {
    /// mm³.
    volume: f64,
    /// What may be too much of it by the ± of heights, mm³.
    too_much: f64,
    /// Surface under it, mm².
    surface: f64,
    /// Volume that jumps within the smallest pieces may make wrong, mm³.
    jumps: f64,
}

impl Sum {
    fn add(&mut self, other: &Sum) {
        self.volume += other.volume;
        self.too_much += other.too_much;
        self.surface += other.surface;
        self.jumps += other.jumps;
    }
}

struct Heights<'g> {
    ground: &'g Ground<'g>,
    cutting: &'g Cutting<'g>,
    leave: f64,
    step2: f64,
    least2: f64,
    /// Height square to the surface that need not be looked into, mm.
    slight: f64,
    /// ± of a height square to the surface, mm.
    unsure: f64,
}

/// One facet while it is summed.
struct OnFacet {
    shape: Shape,
    normal: Vector,
    slack: f64,
    /// Heights differ by no less for being read as touched here and as left there, nor are they known better, mm.
    noise: f64,
    /// Off the surface: whether something hides it is told there.
    off: Vector,
}

impl Heights<'_> {
    fn over(&self, facet: u32) -> Sum {
        let ground = self.ground;
        let normal = ground.surface.facets[facet as usize].normal;
        let slack = ground.slack(facet, self.leave);
        let on = OnFacet {
            shape: ground.surface.shape(ground.half, facet),
            normal,
            slack,
            noise: (2.0 * slack).max(self.slight).max(self.unsure) / normal.z,
            off: normal * ground.half.tolerance(),
        };
        let mut sum = Sum::default();
        let part = &on.shape.part;
        for k in 1..part.len() - 1 {
            let corners = [part[0], part[k], part[k + 1]];
            let at = corners.map(|p| self.at(&on, &p));
            self.piece(&on, corners, at, &mut sum);
        }
        sum
    }

    fn piece(&self, on: &OnFacet, corners: [Point; 3], at: [f64; 3], sum: &mut Sum) {
        let [a, b, c] = corners;
        let sides = [b - a, c - b, a - c].map(|s| s.norm_squared());
        let longest = (0..3)
            .max_by(|&i, &j| sides[i].total_cmp(&sides[j]))
            .unwrap_or(0);
        let small = sides[longest] <= 2.0 * self.least2;
        if small || sides[longest] <= 2.0 * self.step2 {
            let middle = self.at(on, &Point::from((a.coords + b.coords + c.coords) / 3.0));
            let mean = (at[0] + at[1] + at[2]) / 3.0;
            let off = (middle - mean).abs();
            let straight = off <= (STRAIGHT * mean.max(middle)).max(on.noise);
            if small || straight {
                let area = 0.5 * (b - a).cross(&(c - a)).norm() * on.normal.z;
                let height = 0.75 * middle + 0.25 * mean;
                let all = [at[0], at[1], at[2], middle];
                let jump = all.into_iter().fold(0.0, f64::max)
                    - all.into_iter().fold(f64::INFINITY, f64::min);
                sum.add(&Sum {
                    volume: area * height,
                    too_much: area * height.min(self.unsure / on.normal.z),
                    surface: if height > 0.0 {
                        area / on.normal.z
                    } else {
                        0.0
                    },
                    jumps: if straight { area * off } else { area * jump },
                });
                return;
            }
        }
        let (p, q, r) = (longest, (longest + 1) % 3, (longest + 2) % 3);
        let middle = nalgebra::center(&corners[p], &corners[q]);
        let m = self.at(on, &middle);
        self.piece(on, [corners[p], middle, corners[r]], [at[p], m, at[r]], sum);
        self.piece(on, [middle, corners[q], corners[r]], [m, at[q], at[r]], sum);
    }

    /// Height left over a place of a facet along the axis, mm; 0 where it is touched or hidden.
    fn at(&self, on: &OnFacet, p: &Point) -> f64 {
        let (cutting, ground) = (self.cutting, self.ground);
        if ground.shade.covers(ground.survey, &(p + on.off)) {
            return 0.0;
        }
        let centre = cutting.touching(p, &on.shape.normal(p));
        if cutting.shown_free(&centre, on.slack) {
            return 0.0;
        }
        // what stands above the parting level is not cavity
        let parting = ground.survey.parting_at(p.x, p.y);
        let covered = cutting.places.covered_from(p.x, p.y);
        let covered = covered.map_or(parting, |z| z.min(parting));
        let height = covered - p.z;
        let left = on.normal.z * height;
        // between the nodes of a steep slope something may only seem left
        let seems = || cutting.is_ball() && cutting.free(&centre, on.slack);
        if left <= on.slack || seems() {
            0.0
        } else {
            height
        }
    }
}
