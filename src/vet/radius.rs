//! The smallest concave radius of the visible cavity surface.

use super::cutting::TOUCH;
use super::reach::Ground;
use super::shade::BrowIndex;
use super::surface::Sample;
use crate::field::Profile;
use crate::mesh::Point;
use rayon::prelude::*;

/// The smallest concave radius and where.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SmallestRadius {
    /// Largest radius such that every ball up to it touches all visible cavity surface, mm.
    pub radius: f64,
    /// Its ±.
    pub pm: f64,
    /// Its place, tool frame.
    pub at: Point,
}

/// Halvings of a radius: to a 16,000th of the bracket.
const HALVINGS: usize = 14;
/// Candidates judged at one time.
const CHUNK: usize = 64;
/// A sample is searched only if it would make the radius smaller by more than this share: where all samples lie on one
/// sphere, each would be.
const WORTH: f64 = 0.015;
/// Chord errors that a ball may leave and still touch: one that the facets cut off, and as much again because the error
/// is estimated from triangles that may be half a facet wide.
const CHORDS: f64 = 2.5;

/// Finds the smallest concave radius up to `most` mm, given that no sharp edge makes it zero.
/// `None`: every ball up to `most` touches everything.
///
/// At each sample the largest ball that touches it and is clear is searched by halving; a ball that is clear
/// contains every smaller one that touches there, so a sample that is clear at the least radius so
/// far needs no search. Facets stand for a curved surface, so a ball that leaves no more than their chord error touches. Where only the brow of an overhang is in the way the sample is left out.
pub fn smallest_radius(ground: &Ground, from: f64, most: f64) -> Option<SmallestRadius> {
    let mut samples = Vec::new();
    let mut radius = from;
    // the least doubling of `from` that leaves something: what it touches, smaller balls touch too
    while samples.is_empty() {
        if radius > most {
            return None;
        }
        samples = untouched(ground, radius)?;
        if samples.is_empty() {
            radius *= 2.0;
        }
    }
    let index = BrowIndex::new(&ground.shade.brows, 8.0 * ground.survey.grid().cell);
    let mut best: Option<(f64, Sample)> = None;
    for chunk in samples.chunks(CHUNK) {
        let bar = best.map_or(radius, |b| (1.0 - WORTH) * b.0);
        let found: Vec<Option<(f64, Sample)>> = chunk
            .par_iter()
            .map(|(_, s)| {
                if clear(ground, s, bar, CHORDS) || brow_in_the_way(ground, &index, s, bar) {
                    return None;
                }
                Some((largest(ground, s, radius, CHORDS), *s))
            })
            .collect();
        for (r, s) in found.into_iter().flatten() {
            if best.is_none_or(|b| r < b.0)
                && !brow_in_the_way(ground, &index, &s, 1.05 * r + TOUCH)
            {
                best = Some((r, s));
            }
        }
    }
    let (found, sample) = best?;
    let tight = largest(ground, &sample, radius, 0.5 * CHORDS);
    let chord = ground.surface.facets[sample.facet as usize].chord_near;
    Some(SmallestRadius {
        radius: found,
        pm: (found - tight) + WORTH * found + chord + 2.0 * TOUCH,
        at: sample.at,
    })
}

/// Samples that a ball of `radius` does not touch, the most left first.
fn untouched(ground: &Ground, radius: f64) -> Option<Vec<(f64, Sample)>> {
    let cutting = ground.cutting(radius, radius)?;
    let spacing = (radius / 8.0).max(ground.survey.grid().cell * 2.0);
    let cell = cutting.grid().cell;
    let missed = cell * cell / (4.0 * radius) + TOUCH;
    let mut left: Vec<(f64, Sample)> = ground
        .visible(spacing)
        .into_par_iter()
        .filter(|s| !sliver(ground, s))
        .filter_map(|s| {
            let n = ground.surface.facets[s.facet as usize].normal;
            let near = cutting.left_near(&s.at, &cutting.touching(&s.at, &n)).left;
            (near > missed && !clear(ground, &s, radius, CHORDS)).then_some((near, s))
        })
        .collect();
    left.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.facet.cmp(&b.1.facet)));
    Some(left)
}

/// Whether the sample lies on a sliver between wider facets of a curved surface: its normal leans by its corners' chord
/// error, and its neighbours speak for it.
fn sliver(ground: &Ground, sample: &Sample) -> bool {
    let surface = ground.surface;
    let t = surface.facets[sample.facet as usize].triangle;
    let topology = &ground.half.topology;
    (0..3).any(|k| {
        let e = topology.sides[t as usize][k] as usize;
        let share = surface.creases.share[e][usize::from(topology.edges[e].triangles.0 != t)];
        let other = topology
            .across(t, k)
            .and_then(|n| surface.of_triangle[n as usize]);
        share == 1.0 && other.is_some_and(|f| surface.facets[f as usize].chord_error > 0.0)
    })
}

/// Whether a ball of `radius` touches the sample to within `chords` chord errors.
fn clear(ground: &Ground, sample: &Sample, radius: f64, chords: f64) -> bool {
    let facet = &ground.surface.facets[sample.facet as usize];
    let c = sample.at + facet.normal * radius;
    let slack = TOUCH + chords * facet.chord_near;
    slack >= radius
        || ground
            .rests(Profile::ball(radius), &sample.at, &c, slack)
            .is_some()
}

fn largest(ground: &Ground, sample: &Sample, most: f64, chords: f64) -> f64 {
    let (mut lo, mut hi) = (0.0, most);
    for _ in 0..HALVINGS {
        let mid = 0.5 * (lo + hi);
        if clear(ground, sample, mid, chords) {
            lo = mid;
        } else {
            hi = mid;
        }
    }
    lo
}

/// Whether what stops the ball at the sample is the brow of an overhang.
fn brow_in_the_way(ground: &Ground, index: &BrowIndex, sample: &Sample, radius: f64) -> bool {
    if ground.shade.brows.is_empty() {
        return false;
    }
    let facet = &ground.surface.facets[sample.facet as usize];
    let c = sample.at + facet.normal * radius;
    let contact = ground
        .dropper
        .centre_height(Profile::ball(radius), c.x, c.y);
    contact.is_some_and(|hit| {
        let plan = index.distance(&hit.point).unwrap_or(f64::INFINITY);
        plan <= ground.half.tolerance() + facet.chord_near
    })
}
