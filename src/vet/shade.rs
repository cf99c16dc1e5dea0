//! Shade: which cavity surface has material straight above it. Decided on triangles.

use super::cavity::UP;
use super::surface::{Facet, Sample, Surface};
use crate::field::{Grid, HeightMap, Rays, disc_dilate};
use crate::mesh::{Point, Vector, box_of};
use crate::report::HollowKind;
use crate::setup::{Half, Survey};

mod borders;

use borders::borders;

/// Upper edge of an overhang, open to the sky beside it: where a hook begins.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Brow {
    /// Its ends, tool frame.
    pub ends: [Point; 2],
    /// The mesh's corners there.
    pub vertices: [u32; 2],
    /// Unit vector in plan off the overhang, to where the sky is open.
    pub out: Vector,
}

/// The overhangs of a half and what they shade.
pub struct Shade<'m> {
    /// For each facet of the surface: it overhangs, by more than rounding.
    pub overhangs: Vec<bool>,
    /// Edges from which overhangs reach in under the material.
    pub brows: Vec<Brow>,
    /// Places where what is visible ends below the brows.
    pub borders: Vec<Sample>,
    /// Zero in the cells that an overhang may shade; `None` where nothing overhangs.
    shaded: Option<HeightMap>,
    /// What may be straight above a place of a hollow, where anything overhangs.
    above: Option<Rays<'m>>,
    tolerance: f64,
}

impl<'m> Shade<'m> {
    /// Finds the overhangs: connected down-facing facets of the cavity whose hook exceeds rounding.
    pub fn of(half: &'m Half, survey: &Survey, surface: &Surface, rays: &Rays) -> Shade<'m> {
        let is_cavity = |f: &Facet| survey.hollows[f.hollow as usize].kind == HollowKind::Cavity;
        let mut overhangs: Vec<bool> = surface
            .facets
            .iter()
            .map(|f| is_cavity(f) && f.draft_deg < -f.noise_deg.min(1.0))
            .collect();
        let any = overhangs.iter().any(|o| *o);
        let mut shade = Shade {
            brows: Vec::new(),
            borders: Vec::new(),
            shaded: any.then(|| HeightMap::empty(survey.grid())),
            // on the way up from a place in the air what is met first faces down, from one in the material it may be the top
            above: any.then(|| {
                Rays::over(&half.mesh, |t| {
                    let outside = surface.of_triangle[t].is_none();
                    outside || half.mesh.normal(t).is_some_and(|n| n.z < 0.0)
                })
            }),
            tolerance: half.tolerance(),
            overhangs: Vec::new(),
        };
        if any {
            let brows = shade.brows_of(half, surface, rays, &overhangs);
            let index = BrowIndex::new(&brows, survey.grid().cell * 8.0);
            for patch in patches(half, surface, &overhangs) {
                let hook = patch
                    .iter()
                    .flat_map(|&f| {
                        half.mesh
                            .corners(surface.facets[f as usize].triangle as usize)
                    })
                    .map(|p| index.distance(&p).unwrap_or(f64::INFINITY))
                    .fold(0.0, f64::max);
                if hook <= shade.tolerance {
                    patch.iter().for_each(|&f| overhangs[f as usize] = false);
                }
            }
            shade.brows = shade.brows_of(half, surface, rays, &overhangs);
            shade.borders = borders(half, survey, surface, rays, &shade.brows);
        }
        shade.mark(half, surface, &overhangs);
        shade.overhangs = overhangs;
        shade
    }

    /// Edges between an overhanging facet and one that is not, with open sky beside them.
    fn brows_of(
        &self,
        half: &Half,
        surface: &Surface,
        rays: &Rays,
        overhangs: &[bool],
    ) -> Vec<Brow> {
        let hangs = |t: u32| surface.of_triangle[t as usize].is_some_and(|f| overhangs[f as usize]);
        let mut brows = Vec::new();
        for edge in &half.topology.edges {
            let (a, Some(b)) = edge.triangles else {
                continue;
            };
            let under = match (hangs(a), hangs(b)) {
                (true, false) => a,
                (false, true) => b,
                _ => continue,
            };
            let ends = edge.vertices.map(|v| half.mesh.vertices[v as usize]);
            let third = half.mesh.triangles[under as usize]
                .iter()
                .find(|v| !edge.vertices.contains(v))
                .map(|&v| half.mesh.vertices[v as usize]);
            let Some(third) = third else { continue };
            let middle = nalgebra::center(&ends[0], &ends[1]);
            let along = ends[1] - ends[0];
            let mut out = Vector::new(along.y, -along.x, 0.0);
            if out.dot(&(third - middle)) > 0.0 {
                out = -out;
            }
            let Some(out) = out.try_normalize(0.0) else {
                continue;
            };
            let beside = middle + out * self.tolerance + UP * self.tolerance;
            // beside the far edge of an overhang is material, with its top above
            if !rays.meets_any(&beside, &UP) {
                brows.push(Brow {
                    ends,
                    vertices: edge.vertices,
                    out,
                });
            }
        }
        brows
    }

    fn mark(&mut self, half: &Half, surface: &Surface, overhangs: &[bool]) {
        let Some(shaded) = &mut self.shaded else {
            return;
        };
        let grid = shaded.grid;
        for (f, _) in surface.facets.iter().zip(overhangs).filter(|(_, o)| **o) {
            let (lo, hi) = box_of(half.mesh.corners(f.triangle as usize));
            let clamp = |v: f64, n: usize| (v.max(0.0) as usize).min(n - 1);
            let from = |k: usize, n: usize| clamp((lo[k] - grid.origin[k]) / grid.cell - 1.0, n);
            let to = |k: usize, n: usize| clamp((hi[k] - grid.origin[k]) / grid.cell + 1.0, n);
            for j in from(1, grid.ny)..=to(1, grid.ny) {
                let row = grid.index(0, j);
                shaded.values_mut()[row + from(0, grid.nx)..=row + to(0, grid.nx)].fill(0.0);
            }
        }
    }

    /// Whether anything overhangs.
    pub fn any(&self) -> bool {
        self.overhangs.iter().any(|o| *o)
    }

    /// The cells of the columns' grid within `radius` mm of one that an overhang may shade; `None` where nothing overhangs.
    pub fn within(&self, radius: f64) -> Option<(Grid, Vec<bool>)> {
        let shaded = self.shaded.as_ref().filter(|_| self.any())?;
        let grown = disc_dilate(shaded, radius);
        let is = (0..grown.grid.len()).map(|k| grown.get(k).is_some());
        Some((grown.grid, is.collect()))
    }

    /// Whether material stands straight above a sample: above it in the air just off its facet.
    pub fn hides(&self, surface: &Surface, sample: &Sample) -> bool {
        if self.overhangs[sample.facet as usize] {
            return true;
        }
        let n = surface.facets[sample.facet as usize].normal;
        self.covers(&(sample.at + n * self.tolerance))
    }

    /// Whether material stands straight above the place `p` in the air.
    pub fn covers(&self, p: &Point) -> bool {
        let near = self.shaded.as_ref().is_some_and(|shaded| {
            let cell = shaded.grid.cell_at(p.x, p.y);
            cell.is_some_and(|(i, j)| shaded.get(shaded.grid.index(i, j)).is_some())
        });
        near && (self.above.as_ref()).is_some_and(|above| above.meets_any(p, &UP))
    }
}

/// Connected patches of facets that `member` holds for; by first facet.
pub fn patches(half: &Half, surface: &Surface, member: &[bool]) -> Vec<Vec<u32>> {
    let mut seen = vec![false; member.len()];
    let mut patches = Vec::new();
    for start in (0..member.len()).filter(|&f| member[f]) {
        if seen[start] {
            continue;
        }
        seen[start] = true;
        let mut patch = vec![start as u32];
        let mut next = 0;
        while next < patch.len() {
            let t = surface.facets[patch[next] as usize].triangle;
            next += 1;
            for n in (0..3).filter_map(|k| half.topology.across(t, k)) {
                if let Some(f) = surface.of_triangle[n as usize]
                    && member[f as usize]
                    && !seen[f as usize]
                {
                    seen[f as usize] = true;
                    patch.push(f);
                }
            }
        }
        patches.push(patch);
    }
    patches
}

/// Finds the nearest brow in plan.
pub struct BrowIndex {
    brows: Vec<Brow>,
    size: f64,
    origin: [f64; 2],
    n: [usize; 2],
    starts: Vec<u32>,
    members: Vec<u32>,
}

impl BrowIndex {
    /// Sorts brows into square buckets of about `size` mm.
    pub fn new(brows: &[Brow], size: f64) -> BrowIndex {
        let points = || brows.iter().flat_map(|b| b.ends);
        let lo = points().fold([f64::INFINITY; 2], |l, p| [l[0].min(p.x), l[1].min(p.y)]);
        let hi = points().fold([f64::NEG_INFINITY; 2], |h, p| {
            [h[0].max(p.x), h[1].max(p.y)]
        });
        let extent = (hi[0] - lo[0]).max(hi[1] - lo[1]).max(0.0);
        // never more buckets a side than a thousand
        let size = size.max(extent / 1000.0).max(1e-6);
        let n = [0, 1].map(|k| {
            if brows.is_empty() {
                0
            } else {
                ((hi[k] - lo[k]) / size) as usize + 1
            }
        });
        let mut index = BrowIndex {
            brows: brows.to_vec(),
            size,
            origin: lo,
            n,
            starts: vec![0; n[0] * n[1] + 1],
            members: Vec::new(),
        };
        for pass in 0..2 {
            let mut fill = index.starts.clone();
            for (b, brow) in brows.iter().enumerate() {
                let cell = |p: &Point, k: usize| ((p[k] - index.origin[k]) / index.size) as usize;
                let span = [0, 1].map(|k| {
                    let c = [cell(&brow.ends[0], k), cell(&brow.ends[1], k)];
                    (c[0].min(c[1]), c[0].max(c[1]))
                });
                for j in span[1].0..=span[1].1 {
                    for i in span[0].0..=span[0].1 {
                        let k = j * n[0] + i;
                        if pass == 0 {
                            index.starts[k + 1] += 1;
                        } else {
                            index.members[fill[k] as usize] = b as u32;
                            fill[k] += 1;
                        }
                    }
                }
            }
            if pass == 0 {
                for k in 1..index.starts.len() {
                    index.starts[k] += index.starts[k - 1];
                }
                index.members = vec![0; index.starts.last().map_or(0, |&n| n as usize)];
            }
        }
        index
    }

    /// Whether a brow lies within `reach` mm of `p` in plan.
    pub fn any_within(&self, p: &Point, reach: f64) -> bool {
        self.least(p, reach.next_up()) <= reach
    }

    /// Plan distance from `p` to the nearest brow, mm.
    pub fn distance(&self, p: &Point) -> Option<f64> {
        (!self.brows.is_empty()).then(|| self.least(p, f64::INFINITY))
    }

    /// Plan distance from `p` to the nearest brow if it is less than `limit`, or else `limit`.
    fn least(&self, p: &Point, limit: f64) -> f64 {
        if self.brows.is_empty() {
            return limit;
        }
        let c = [0, 1].map(|k| ((p[k] - self.origin[k]) / self.size).floor() as i64);
        let mut best = limit;
        let last = (0..2)
            .map(|k| c[k].abs().max((self.n[k] as i64 - 1 - c[k]).abs()))
            .max()
            .unwrap_or(0);
        for ring in 0..=last {
            // everything in farther rings is at least this far
            if best <= (ring - 1).max(0) as f64 * self.size {
                break;
            }
            for j in c[1] - ring..=c[1] + ring {
                if j < 0 || j >= self.n[1] as i64 {
                    continue;
                }
                let whole = (j - c[1]).abs() == ring;
                let step = if whole { 1 } else { (2 * ring).max(1) };
                let mut i = c[0] - ring;
                while i <= c[0] + ring {
                    if i >= 0 && i < self.n[0] as i64 {
                        let k = j as usize * self.n[0] + i as usize;
                        for &b in
                            &self.members[self.starts[k] as usize..self.starts[k + 1] as usize]
                        {
                            best = best.min(plan_distance(p, &self.brows[b as usize].ends));
                        }
                    }
                    i += step;
                }
            }
        }
        best
    }
}

fn plan_distance(p: &Point, [a, b]: &[Point; 2]) -> f64 {
    let (ab, ap) = ((b - a).xy(), (p - a).xy());
    let length2 = ab.norm_squared();
    let t = if length2 > 0.0 {
        (ap.dot(&ab) / length2).clamp(0.0, 1.0)
    } else {
        0.0
    };
    (ap - ab * t).norm()
}
