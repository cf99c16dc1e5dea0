//! The body's surface, made ready to be looked at from many directions.

use crate::field::Rays;
use crate::mesh::{Creases, Mesh, Point, Sets, Topology, Vector};
use rayon::prelude::*;

/// A place on the surface that stands for an area, the same for all.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Sample {
    pub(super) at: Point,
    /// Unit normal of the facet, out of the body.
    pub(super) facet: Vector,
    /// Unit normal of the smooth surface that the facets stand for.
    pub(super) smooth: Vector,
}

/// The body's surface.
pub(super) struct Skin<'m> {
    pub(super) mesh: &'m Mesh,
    pub(super) topology: &'m Topology,
    /// Unit normals of the smooth surface at the corners of each triangle; they differ across sharp edges.
    pub(super) normals: Vec<[Vector; 3]>,
    /// Places spread evenly over the surface; every n-th of them are spread evenly too.
    pub(super) samples: Vec<Sample>,
    /// Area that each sample stands for, mm².
    pub(super) share: f64,
    /// Area, mm².
    pub(super) area: f64,
    /// Lengths below this are rounding, mm.
    pub(super) tolerance: f64,
    rays: Rays<'m>,
}

/// How much a direction hides.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Hidden {
    /// Surface seen from neither side, mm².
    pub(super) area: f64,
    /// Its ±, from sampling.
    pub(super) pm: f64,
}

impl<'m> Skin<'m> {
    /// Reads `mesh`, with `count` samples; edges turning by less than `crease_deg` are smooth.
    pub(super) fn new(
        mesh: &'m Mesh,
        topology: &'m Topology,
        crease_deg: f64,
        rounding: f64,
        count: usize,
    ) -> Skin<'m> {
        let creases = Creases::read(mesh, topology, crease_deg, rounding);
        let normals = corner_normals(mesh, topology, &creases);
        let area = (0..mesh.triangles.len()).map(|t| mesh.area(t)).sum::<f64>();
        let samples = samples(mesh, &normals, area, count);
        Skin {
            mesh,
            topology,
            normals,
            share: area / samples.len().max(1) as f64,
            samples,
            area,
            tolerance: (4.0 * rounding).max(0.002),
            rays: Rays::new(mesh),
        }
    }

    /// Surface that can be seen neither along `d` (unit) nor against it, by every `step`-th sample.
    pub(super) fn hidden(&self, d: &Vector, step: usize) -> Hidden {
        let count = self
            .samples
            .iter()
            .step_by(step)
            .filter(|s| self.hides(s, d))
            .count() as f64;
        let share = self.share * step as f64;
        // places near the border of what is hidden may fall to either side; and what three samples would have to be found on
        // is missed by chance in one case of twenty (the rule of three: e⁻³ is 5 %)
        Hidden {
            area: count * share,
            pm: (3.0 + count.sqrt()) * share,
        }
    }

    /// Whether the sample is seen neither along `d` nor against it.
    pub(super) fn hides(&self, sample: &Sample, d: &Vector) -> bool {
        let faces = sample.facet.dot(d);
        let off = sample.at + sample.facet * self.tolerance;
        let blocked = |d: &Vector| self.rays.meets_any(&off, d);
        // an upright facet may lean either way by rounding
        if faces.abs() < UPRIGHT {
            blocked(d) && blocked(&-d)
        } else {
            blocked(&(d * faces.signum()))
        }
    }

    /// Area, mm², whose draft for the pull `d` (unit) is less than that of which `sin` is the sine.
    pub(super) fn short(&self, d: &Vector, sin: f64) -> f64 {
        let of = |t: usize| {
            let f = self.normals[t].map(|n| n.dot(d));
            self.mesh.area(t) * (share_below(f, sin) - share_below(f, -sin))
        };
        (0..self.mesh.triangles.len()).map(of).sum()
    }
}

/// Sine of the lean below which a facet is upright: 0.005°, more than 32-bit corners are off by.
const UPRIGHT: f64 = 1e-4;

/// Share of a triangle on which a quantity, linear between its corners, is below `limit`.
pub(super) fn share_below(mut f: [f64; 3], limit: f64) -> f64 {
    f.sort_by(f64::total_cmp);
    let [low, middle, high] = f;
    if limit <= low {
        0.0
    } else if limit >= high {
        1.0
    } else if limit <= middle {
        // the corner cut off at the lowest
        (limit - low).powi(2) / ((middle - low) * (high - low))
    } else {
        1.0 - (high - limit).powi(2) / ((high - middle) * (high - low))
    }
}

/// Normals of the smooth surface at all corners: facets joined around a corner across smooth edges are averaged
/// by area, so that a wide flat keeps its own normal beside a narrow fillet.
fn corner_normals(mesh: &Mesh, topology: &Topology, creases: &Creases) -> Vec<[Vector; 3]> {
    let corner = |t: u32, v: u32| {
        let k = mesh.triangles[t as usize].iter().position(|&w| w == v);
        3 * t + k.unwrap_or(0) as u32
    };
    let mut sets = Sets((0..3 * mesh.triangles.len() as u32).collect());
    for (edge, &smooth) in topology.edges.iter().zip(&creases.smooth) {
        let (a, Some(b)) = edge.triangles else {
            continue;
        };
        if smooth {
            for v in edge.vertices {
                sets.join(corner(a, v), corner(b, v));
            }
        }
    }
    let mut sums = vec![Vector::zeros(); 3 * mesh.triangles.len()];
    for t in 0..mesh.triangles.len() as u32 {
        let normal = mesh.area_normal(t as usize);
        for k in 0..3 {
            sums[sets.find(3 * t + k) as usize] += normal;
        }
    }
    (0..mesh.triangles.len() as u32)
        .map(|t| {
            [0, 1, 2].map(|k| {
                let sum = sums[sets.find(3 * t + k) as usize];
                sum.try_normalize(0.0)
                    .or_else(|| mesh.normal(t as usize))
                    .unwrap_or_default()
            })
        })
        .collect()
}

/// `count` places spread evenly by area.
fn samples(mesh: &Mesh, normals: &[[Vector; 3]], area: f64, count: usize) -> Vec<Sample> {
    let step = area / count as f64;
    let mut before = Vec::with_capacity(mesh.triangles.len());
    let mut passed = 0.0;
    for t in 0..mesh.triangles.len() {
        before.push(passed);
        passed += mesh.area(t);
    }
    (0..count)
        .into_par_iter()
        .filter_map(|k| {
            let reached = (k as f64 + 0.5) * step;
            let t = before.partition_point(|b| *b <= reached).checked_sub(1)?;
            let facet = mesh.normal(t)?;
            // a sequence without pattern: fractions of 1/g and 1/g², g³ = g + 1 (M. Roberts' generalised golden ratio)
            let (u, v) = (
                ((k as f64 + 0.5) * 0.754_877_666_246_693).fract(),
                ((k as f64 + 0.5) * 0.569_840_290_998_053).fract(),
            );
            let (u, v) = if u + v > 1.0 {
                (1.0 - u, 1.0 - v)
            } else {
                (u, v)
            };
            let [a, b, c] = mesh.corners(t);
            let [l, m, n] = normals[t];
            let smooth = l * (1.0 - u - v) + m * u + n * v;
            Some(Sample {
                at: a + (b - a) * u + (c - a) * v,
                facet,
                smooth: smooth.try_normalize(0.0).unwrap_or(facet),
            })
        })
        .collect()
}
