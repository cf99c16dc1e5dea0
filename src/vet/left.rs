//! The volume that a cutter leaves.

use super::cutting::Cutting;
use super::reach::{Ground, Groups};
use super::surface::{Sample, Shape};
use crate::field::Nearest;
use crate::mesh::{Point, Vector};
use rayon::prelude::*;
use std::cell::Cell;

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
/// So many facets of a group are summed by one of them.
const TOGETHER: usize = 4;
/// If no more is left on any than this share of the cutting radius: along the axis and square to the surface that is then as much.
const LOW: f64 = 0.05;
/// Facets, or corners, that one thread looks at in a row.
const AT_A_TIME: usize = 64;

/// Visible cavity space that no position of the cutter covers, and its ±: over the facets of which something is not touched,
/// the heights from the surface up to what the cutter covers. Given are the samples and what the cutter leaves there,
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
    (groups, nearest): (&Groups, &[Nearest]),
    leave: f64,
    height_pm: f64,
) -> (f64, f64) {
    let (surface, samples) = (&ground.surface, &groups.samples);
    let rise = |k: usize| surface.facets[samples[k].facet as usize].normal.z;
    let is_open = |k: &usize| nearest[*k].left > 0.0 && rise(*k) > 0.0;
    let mut open = vec![false; surface.facets.len()];
    let mut together = Vec::new();
    for group in groups.each() {
        let members: Vec<usize> = group.filter(is_open).collect();
        let most = members.iter().map(|&k| nearest[k].left).fold(0.0, f64::max);
        if members.len() >= TOGETHER && most <= LOW * cutting.radius() {
            together.push(members);
        } else {
            (members.iter()).for_each(|&k| open[samples[k].facet as usize] = true);
        }
    }
    let total: f64 = (samples.iter().zip(nearest))
        .filter(|(s, _)| open[s.facet as usize])
        .map(|(s, n)| s.area * n.left)
        .sum();
    let open: Vec<u32> = (0..open.len() as u32)
        .filter(|&f| open[f as usize])
        .collect();
    let area: f64 = (open.iter().map(|&f| surface.facets[f as usize].area)).sum();
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
    let at_corners = heights.at_corners(&open);
    let parts: Vec<Vec<Sum>> = (open
        .par_chunks(AT_A_TIME)
        .zip(at_corners.par_chunks(AT_A_TIME)))
    .map(|(facets, at)| {
        let met = Met::default();
        let over = |(&f, at): (&u32, &[f64; 3])| heights.over(f, *at, &met);
        facets.iter().zip(at).map(over).collect()
    })
    .collect();
    let grouped: Vec<Vec<Sum>> = (together.par_chunks(AT_A_TIME))
        .map(|few| {
            let met = Met::default();
            let over = |members: &Vec<usize>| heights.over_group(samples, nearest, members, &met);
            few.iter().map(over).collect()
        })
        .collect();
    let mut sum = Sum::default();
    (parts.iter().chain(&grouped).flatten()).for_each(|p| sum.add(p));
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
struct OnFacet<'m> {
    shape: Shape,
    normal: Vector,
    slack: f64,
    /// Heights differ by no less for being read as touched here and as left there, nor are they known better, mm.
    noise: f64,
    met: &'m Met,
}

/// A place on the surface over which the height is asked.
struct Spot {
    at: Point,
    /// Unit normal of the surface there.
    normal: Vector,
    /// Component along the axis of the normal of the facet that it lies on.
    rise: f64,
    slack: f64,
}

/// What the places before met: the triangle in the cutter's way, and the free place that covered.
#[derive(Default)]
struct Met {
    triangle: Cell<Option<u32>>,
    free: Cell<Option<Point>>,
}

impl Heights<'_> {
    /// Heights over the corners of `facets`, asked once where facets that pass smoothly into each other meet.
    fn at_corners(&self, facets: &[u32]) -> Vec<[f64; 3]> {
        let (ground, creases) = (self.ground, &self.ground.surface.creases);
        let facet = |f: u32| &ground.surface.facets[f as usize];
        let mut corners: Vec<(u32, [u32; 3], u32)> = Vec::with_capacity(3 * facets.len());
        for (k, &f) in facets.iter().enumerate() {
            let t = facet(f).triangle as usize;
            for c in 0..3 {
                let normal = creases.normals[t][c].map(f32::to_bits);
                corners.push((
                    ground.half.mesh.triangles[t][c],
                    normal.into(),
                    (3 * k + c) as u32,
                ));
            }
        }
        corners.par_sort_unstable();
        let shared: Vec<&[(u32, [u32; 3], u32)]> =
            corners.chunk_by(|a, b| (a.0, a.1) == (b.0, b.1)).collect();
        let height = |shared: &[(u32, [u32; 3], u32)], met: &Met| {
            let (vertex, normal, _) = shared[0];
            let of = |&(_, _, k): &(u32, [u32; 3], u32)| facets[k as usize / 3];
            let spot = Spot {
                at: ground.half.mesh.vertices[vertex as usize],
                normal: Vector::from(normal.map(|n| f64::from(f32::from_bits(n)))),
                rise: (shared.iter().map(|c| facet(of(c)).normal.z)).fold(0.0, f64::max),
                slack: (shared.iter().map(|c| ground.slack(of(c), self.leave))).fold(0.0, f64::max),
            };
            self.at(&spot, met)
        };
        let found: Vec<Vec<f64>> = (shared.par_chunks(AT_A_TIME))
            .map(|part| {
                let met = Met::default();
                part.iter().map(|shared| height(shared, &met)).collect()
            })
            .collect();
        let mut heights = vec![[0.0; 3]; facets.len()];
        for (shared, height) in shared.iter().zip(found.into_iter().flatten()) {
            for &(_, _, k) in *shared {
                heights[k as usize / 3][k as usize % 3] = height;
            }
        }
        heights
    }

    /// The sum over small facets near each other, of which these samples stand for one each: by the height over the one on which
    /// about as much is left as on all. Σ area in plan · height and Σ area · what is left square to the surface are the same to
    /// first order; they differ by as much as that may be wrong.
    fn over_group(
        &self,
        samples: &[Sample],
        nearest: &[Nearest],
        members: &[usize],
        met: &Met,
    ) -> Sum {
        let facet = |k: usize| &self.ground.surface.facets[samples[k].facet as usize];
        let sum = |of: &dyn Fn(usize) -> f64| -> f64 { members.iter().map(|&k| of(k)).sum() };
        let surface = sum(&|k| samples[k].area);
        let plan = sum(&|k| samples[k].area * facet(k).normal.z);
        let mean = sum(&|k| samples[k].area * nearest[k].left) / surface;
        let off = |k: usize| (nearest[k].left - mean).abs();
        let like = members
            .iter()
            .copied()
            .min_by(|&a, &b| off(a).total_cmp(&off(b)));
        let Some(like) = like else {
            return Sum::default();
        };
        let spot = Spot {
            at: samples[like].at,
            normal: samples[like].normal,
            rise: facet(like).normal.z,
            slack: self.ground.slack(samples[like].facet, self.leave),
        };
        let height = self.at(&spot, met);
        // square to the surface it is left over the others by as much more or less
        let others = surface * (mean - nearest[like].left);
        let over_like = plan * height;
        Sum {
            volume: (over_like + others).max(0.0),
            too_much: over_like.min(plan * self.unsure / spot.rise),
            surface: if height > 0.0 { surface } else { 0.0 },
            jumps: (over_like - surface * nearest[like].left).abs(),
        }
    }

    /// The sum over a facet, with the heights over its corners.
    fn over(&self, facet: u32, at_corners: [f64; 3], met: &Met) -> Sum {
        let ground = self.ground;
        let normal = ground.surface.facets[facet as usize].normal;
        let slack = ground.slack(facet, self.leave);
        let on = OnFacet {
            shape: ground.surface.shape(ground.half, facet),
            normal,
            slack,
            noise: (2.0 * slack).max(self.slight).max(self.unsure) / normal.z,
            met,
        };
        let mut sum = Sum::default();
        let part = &on.shape.part;
        if part[..] == on.shape.corners {
            self.piece(&on, on.shape.corners, at_corners, &mut sum);
            return sum;
        }
        for k in 1..part.len() - 1 {
            let corners = [part[0], part[k], part[k + 1]];
            let at = corners.map(|p| self.on(&on, &p));
            self.piece(&on, corners, at, &mut sum);
        }
        sum
    }

    fn on(&self, on: &OnFacet, p: &Point) -> f64 {
        let spot = Spot {
            at: *p,
            normal: on.shape.normal(p),
            rise: on.normal.z,
            slack: on.slack,
        };
        self.at(&spot, on.met)
    }

    fn piece(&self, on: &OnFacet, corners: [Point; 3], at: [f64; 3], sum: &mut Sum) {
        let [a, b, c] = corners;
        let sides = [b - a, c - b, a - c].map(|s| s.norm_squared());
        let longest = (0..3)
            .max_by(|&i, &j| sides[i].total_cmp(&sides[j]))
            .unwrap_or(0);
        let small = sides[longest] <= 2.0 * self.least2;
        if small || sides[longest] <= 2.0 * self.step2 {
            let middle = self.on(on, &Point::from((a.coords + b.coords + c.coords) / 3.0));
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
        let m = self.on(on, &middle);
        self.piece(on, [corners[p], middle, corners[r]], [at[p], m, at[r]], sum);
        self.piece(on, [middle, corners[q], corners[r]], [m, at[q], at[r]], sum);
    }

    /// Height left over a place along the axis, mm; 0 where it is touched or hidden.
    fn at(&self, spot: &Spot, met: &Met) -> f64 {
        let (cutting, ground) = (self.cutting, self.ground);
        let p = &spot.at;
        // off the surface: whether something hides it is told there
        let off = p + spot.normal * ground.half.tolerance();
        if ground.shade.covers(&off) {
            return 0.0;
        }
        let centre = cutting.touching(p, &spot.normal);
        if cutting.shown_free(&centre, spot.slack) {
            return 0.0;
        }
        // what stands above the parting level is not cavity
        let parting = ground.survey.parting_at(p.x, p.y);
        let covered = cutting.places.covered_from(p.x, p.y, met.free.get());
        met.free.set(covered.map(|c| c.1));
        let covered = covered.map_or(parting, |(z, _)| z.min(parting));
        let height = covered - p.z;
        let left = spot.rise * height;
        // between the nodes of a steep slope something may only seem left
        let seems = || cutting.is_ball() && cutting.free_after(&centre, spot.slack, &met.triangle);
        if left <= spot.slack || seems() {
            0.0
        } else {
            height
        }
    }
}
