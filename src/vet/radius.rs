//! The smallest concave radius of the visible cavity surface.

use super::cutting::TOUCH;
use super::halving::last;
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
/// Most samples judged exactly at one radius: where the surface is one sphere all of them seem left between the nodes.
const MOST_JUDGED: usize = 2048;
/// A sample is searched only if it would make the radius smaller by more than this share: where all samples lie on one
/// sphere, each would be.
const WORTH: f64 = 0.004;
/// Most times that a ball is rolled off what it cuts.
const MOST_ROLLS: usize = 12;
/// Most nodes for one radius.
const MOST_NODES: f64 = 5e5;
/// Most samples over the flat parts of one cavity.
const MOST_SAMPLES: f64 = 100_000.0;

/// Samples that a ball of one radius does not touch.
#[derive(Debug, Clone)]
pub struct Untouched {
    /// The ball's radius, mm.
    pub radius: f64,
    /// The samples, and what is left there or what the ball may cut where it touches, mm.
    pub samples: Vec<(f64, Sample)>,
}

/// Finds the smallest concave radius up to `most` mm, given that no sharp edge makes it zero, from what the smallest ball
/// leaves that leaves anything. `None`: every ball up to `most` touches everything.
///
/// At each sample the largest ball that touches it and is clear is searched by halving; a ball that is clear
/// contains every smaller one that touches there, so only samples that are not touched at the least radius found so far
/// are searched: what the nodes show first, then the triangles, the most left first. Facets stand for a curved surface, so a
/// ball that cuts no deeper than their chord error touches. Where only the brow of an overhang is in the way the sample
/// is left out.
pub fn smallest_radius(ground: &Ground, first: Untouched, most: f64) -> Option<SmallestRadius> {
    let index = BrowIndex::new(&ground.shade.brows, 8.0 * ground.survey.grid().cell);
    let mut left = first;
    loop {
        if let Some(found) = tightest(ground, &index, &mut left) {
            return Some(found);
        }
        // what seemed left is touched: on to balls twice as large, and to the largest
        if left.radius >= most {
            return None;
        }
        let radius = (2.0 * left.radius).min(most);
        left = untouched(ground, radius, &all(ground, radius))?;
    }
}

/// The smallest radius by what one ball leaves; `None` if it touches everything.
fn tightest(ground: &Ground, index: &BrowIndex, first: &mut Untouched) -> Option<SmallestRadius> {
    let top = first.radius;
    let samples: Vec<Sample> = first.samples.iter().map(|s| s.1).collect();
    let mut left = std::mem::take(&mut first.samples);
    let mut radius = top;
    let mut best: Option<(f64, Sample)> = None;
    loop {
        left.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.facet.cmp(&b.1.facet)));
        if left.len() > MOST_JUDGED {
            // those with the most left, and of the rest every so many
            let rest = left.split_off(MOST_JUDGED / 2);
            left.extend(rest.iter().step_by(1 + rest.len() / (MOST_JUDGED / 2)));
        }
        let mut better = None;
        for chunk in left.chunks(CHUNK) {
            better = chunk
                .par_iter()
                .filter(|(_, s)| {
                    !clear(ground, s, radius) && !brow_in_the_way(ground, index, s, radius)
                })
                .map(|(_, s)| (largest(radius, |r| clear(ground, s, r)), *s))
                .filter(|(r, s)| !brow_in_the_way(ground, index, s, 1.05 * r + TOUCH))
                .min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.facet.cmp(&b.1.facet)));
            if better.is_some() {
                break;
            }
        }
        let Some(found) = better else {
            break;
        };
        best = Some(found);
        radius = (1.0 - WORTH) * found.0;
        if radius <= TOUCH {
            break;
        }
        let next = untouched(ground, radius, &samples)?;
        left = next.samples;
    }
    let (found, sample) = best?;
    // what one chord error more or less does to it, twice over, for the normal at the sample is of facets as well; and what
    // rolling the ball off did
    let standing = |chords: f64| largest(2.0 * top, |r| stands_clear(ground, &sample, r, chords));
    let [tight, loose] = [1.0, 2.0].map(standing);
    let unsure = (2.0 * (loose - tight)).max((found - tight).abs());
    let chord = ground.surface.facets[sample.facet as usize].chord_near;
    Some(SmallestRadius {
        radius: found,
        pm: unsure + WORTH * found + chord + 2.0 * TOUCH,
        at: sample.at,
    })
}

/// Samples to judge balls of `radius` by.
fn all(ground: &Ground, radius: f64) -> Vec<Sample> {
    let area: f64 = ground
        .surface
        .cavity(ground.survey)
        .map(|(_, f)| f.area)
        .sum();
    ground.visible((radius / 8.0).max((area / MOST_SAMPLES).sqrt()))
}

/// Those of `samples` that the nodes do not show to be touched by a ball of `radius`.
pub fn untouched(ground: &Ground, radius: f64, samples: &[Sample]) -> Option<Untouched> {
    let cutting = ground.with_nodes(radius, MOST_NODES)?;
    let samples = samples
        .par_iter()
        .filter_map(|s| {
            let centre = cutting.touching(&s.at, &s.normal);
            let chord = ground.surface.facets[s.facet as usize].chord_near;
            let cut = cutting.shown_cut(&centre);
            (cut > TOUCH + chord).then_some((cut, *s))
        })
        .collect();
    Some(Untouched { radius, samples })
}

/// Whether a ball of `radius` that stands on the sample cuts nothing deeper than `chords` times the chord error of its facets.
fn stands_clear(ground: &Ground, sample: &Sample, radius: f64, chords: f64) -> bool {
    let chord = ground.surface.facets[sample.facet as usize].chord_near;
    let within = radius - TOUCH - chords * chord;
    let centre = sample.at + sample.normal * radius;
    within <= 0.0 || !ground.contacts.rays.any_within(&centre, within)
}

/// Whether a ball of `radius` touches the sample and cuts nothing deeper than the chord error of its facets.
///
/// A normal between corners may lean off the surface's by as much as the facet does, so the ball is rolled about the sample, off
/// what it cuts, as far as that may be: by √(2 e / R) it cuts its own facet e deep.
fn clear(ground: &Ground, sample: &Sample, radius: f64) -> bool {
    if stands_clear(ground, sample, radius, 1.0) {
        return true;
    }
    let chord = ground.surface.facets[sample.facet as usize].chord_near;
    let rays = &ground.contacts.rays;
    let within = radius - TOUCH - chord;
    let first = sample.at + sample.normal * radius;
    let most = (2.0 * chord * radius).sqrt();
    let mut centre = first;
    for _ in 0..MOST_ROLLS {
        let Some((q, _)) = rays.closest(&centre, within) else {
            return true;
        };
        let out = centre - q;
        let cut = within - out.norm();
        if cut > most {
            return false;
        }
        let arm = (centre - sample.at) / radius;
        let off = out / out.norm();
        let aside = off - arm * arm.dot(&off);
        let moved = arm * radius + aside * (cut / aside.norm_squared());
        centre = sample.at + moved * (radius / moved.norm());
        // nor where what it cuts lies straight ahead
        let rolled = (centre - first).norm();
        if rolled.is_nan() || rolled > most {
            return false;
        }
    }
    false
}

/// The largest radius up to `most` that `clears`.
fn largest(most: f64, clears: impl Fn(f64) -> bool) -> f64 {
    last(0.0, most, HALVINGS, clears).unwrap_or(0.0)
}

/// Whether what stops the ball at the sample is the brow of an overhang.
pub(super) fn brow_in_the_way(
    ground: &Ground,
    index: &BrowIndex,
    sample: &Sample,
    radius: f64,
) -> bool {
    if ground.shade.brows.is_empty() {
        return false;
    }
    let facet = &ground.surface.facets[sample.facet as usize];
    let c = sample.at + sample.normal * radius;
    let near = ground.half.tolerance() + facet.chord_near;
    // a brow that far aside is not met
    if !index.any_within(&c, radius + near) {
        return false;
    }
    let contact = ground
        .contacts
        .dropper
        .centre_height(Profile::ball(radius), c.x, c.y);
    contact.is_some_and(|hit| index.any_within(&hit.point, near))
}
