//! Where what is visible ends under an overhang: straight below its brows.

use super::Brow;
use crate::field::Rays;
use crate::mesh::{Point, Vector};
use crate::report::HollowKind;
use crate::setup::{Half, Survey};
use crate::vet::cavity::UP;
use crate::vet::surface::{Sample, Surface};
use rayon::prelude::*;

/// Places between the ends of a brow: so many across the half's longer side, and on one brow at the most.
const ACROSS: f64 = 200.0;
const MOST: f64 = 64.0;
/// Cosine between the ways out of two brows beyond which no place beside their corner is near it.
const BACK: f64 = -0.99;

/// Places on the surface just outside of what `brows` hide, straight below their ends and between them: what a cutter leaves grows
/// up to there. Of no area.
pub fn borders(
    half: &Half,
    survey: &Survey,
    surface: &Surface,
    rays: &Rays,
    brows: &[Brow],
) -> Vec<Sample> {
    let (lo, hi) = half.bounds();
    let spacing = (hi - lo).xy().max() / ACROSS;
    let off = 2.0 * half.tolerance();
    let between = |b: &Brow| {
        let [p, q] = b.ends;
        let pieces = ((q - p).norm() / spacing).ceil().clamp(1.0, MOST) as u32;
        let out = b.out * off;
        (0..pieces).map(move |k| p + (q - p) * ((f64::from(k) + 0.5) / f64::from(pieces)) + out)
    };
    let mut beside: Vec<Point> = brows.iter().flat_map(between).collect();
    beside.extend(at_corners(brows, off));
    let below = |p: &Point| {
        let hit = rays.first_hit(p, &-UP, f64::MAX)?;
        let facet = surface.of_triangle[hit.triangle as usize]?;
        let hollow = surface.facets[facet as usize].hollow;
        let at = p - UP * hit.distance;
        (survey.hollows[hollow as usize].kind == HollowKind::Cavity).then(|| Sample {
            at,
            normal: surface.shape(half, facet).normal(&at),
            facet,
            area: 0.0,
        })
    };
    beside.par_iter().filter_map(below).collect()
}

/// Beside each corner at which two brows meet the place `off` mm outside of both.
fn at_corners(brows: &[Brow], off: f64) -> Vec<Point> {
    let mut ends: Vec<(u32, Point, Vector)> = (brows.iter())
        .flat_map(|b| [0, 1].map(|k| (b.vertices[k], b.ends[k], b.out)))
        .collect();
    ends.sort_by_key(|end| end.0);
    let beside = |ends: &[(u32, Point, Vector)]| match ends {
        [(_, p, a), (_, _, b)] if a.dot(b) > BACK => Some(p + (a + b) * (off / (1.0 + a.dot(b)))),
        _ => None,
    };
    (ends.chunk_by(|a, b| a.0 == b.0))
        .filter_map(beside)
        .collect()
}
