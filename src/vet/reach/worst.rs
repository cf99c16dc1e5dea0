//! The most that a cutter leaves.

use super::{Ground, Place};
use crate::field::Nearest;
use crate::mesh::{Point, Vector};
use crate::vet::cutting::{Cutting, TOUCH};
use crate::vet::held::{eased, slid, uncertainty};
use crate::vet::surface::Sample;
use rayon::prelude::*;
use std::cmp::Ordering;
use std::collections::BinaryHeap;

/// Places that are moved to the nearest the triangles allow; of the others what the nodes say is the most they hold.
const MOST_REFINED: usize = 320;
/// Places that are moved at one time.
const CHUNK: usize = 16;
/// Places that are asked about at one time.
const ASKED_AT_A_TIME: usize = 256;

/// Largest height left over samples, sharp edges and corners of facets that are not touched, each moved to the
/// nearest place that the triangles allow; its place and its ±. `judged` are the samples and what the nodes say is left there.
pub(super) fn worst(
    ground: &Ground,
    cutting: &Cutting,
    judged: (&[Sample], &[Nearest]),
    leave: f64,
) -> Option<(f64, Point, f64)> {
    let queue = candidates(ground, cutting, judged, leave);
    let (best, most) = searched(ground, cutting, queue);
    if let Some((near, at)) = best {
        let left = near.left;
        // places not looked at hold no more than what ended the search
        let off = (most - left).max(eased(ground, cutting, &at, &near));
        return Some((left, at, off.max(1e-3 * left).max(2e-4)));
    }
    // all is touched, within the facets' chord error: on either side of it
    let chord = (judged.0.iter()).map(|s| ground.surface.facets[s.facet as usize].chord_near);
    let touched = 2.0 * chord.fold(0.0, f64::max) + TOUCH;
    judged.0.first().map(|s| (0.0, s.at, touched))
}

/// A place that may hold the most.
struct Candidate {
    /// What is left there at most by the places known.
    near: Nearest,
    place: Place,
    unasked: Unasked,
}

/// What is asked about a place before it is looked at closely.
#[derive(Clone, Copy, PartialEq)]
enum Unasked {
    /// Whether the cutter touches it, a contact that seems to cut by so much, mm, being none; and the nearest of the places known.
    Corner(f64),
    /// Where a cutter with a flat part stands beside the walls around it, which nodes do not tell.
    Walls,
    Nothing,
}

impl Unasked {
    /// About a place that the cutter is known not to touch.
    fn not_touched(cutting: &Cutting) -> Unasked {
        match cutting.is_ball() {
            true => Unasked::Nothing,
            false => Unasked::Walls,
        }
    }
}

impl Candidate {
    /// Asks; `None` where the cutter touches the place or something hides it.
    fn asked(self, ground: &Ground, cutting: &Cutting) -> Option<Candidate> {
        let Place { at, normals } = &self.place;
        let (near, unasked) = match self.unasked {
            Unasked::Nothing => return Some(self),
            Unasked::Walls => (cutting.beside(at, normals, self.near), Unasked::Nothing),
            Unasked::Corner(slack) => {
                let touches = |n: &Vector| cutting.free(&cutting.touching(at, n), slack);
                if normals.iter().any(touches) || !is_visible(ground, &self.place) {
                    return None;
                }
                let near = cutting.left_after(at, &self.near.centre);
                (near, Unasked::not_touched(cutting))
            }
        };
        Some(Candidate {
            near,
            unasked,
            ..self
        })
    }
}

impl Ord for Candidate {
    fn cmp(&self, other: &Candidate) -> Ordering {
        let (a, b) = (&self.place.at, &other.place.at);
        (self.near.left.total_cmp(&other.near.left))
            .then(b.z.total_cmp(&a.z))
            .then(b.x.total_cmp(&a.x))
            .then(b.y.total_cmp(&a.y))
    }
}

impl PartialOrd for Candidate {
    fn partial_cmp(&self, other: &Candidate) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl PartialEq for Candidate {
    fn eq(&self, other: &Candidate) -> bool {
        self.cmp(other).is_eq()
    }
}

impl Eq for Candidate {}

/// Whether nothing hides a place.
fn is_visible(ground: &Ground, place: &Place) -> bool {
    let out: Vector = place.normals.iter().sum();
    let off = out * ground.half.tolerance();
    !ground.shade.covers(&(place.at + off))
}

/// Places that may hold the most: samples, corners of their facets, where what is visible ends under an overhang, and places on
/// sharp edges.
fn candidates(
    ground: &Ground,
    cutting: &Cutting,
    (samples, nearest): (&[Sample], &[Nearest]),
    leave: f64,
) -> BinaryHeap<Candidate> {
    let open = || (samples.iter().zip(nearest)).filter(|(_, n)| n.left > 0.0);
    let unasked = Unasked::not_touched(cutting);
    let sampled = open().map(|(s, n)| Candidate {
        near: *n,
        place: Place {
            at: s.at,
            normals: vec![s.normal],
        },
        unasked,
    });
    let mut candidates: Vec<Candidate> = sampled.collect();
    // the samples of a facet follow each other: its first stands for all
    let mut facets: Vec<(u32, Point)> = open().map(|(s, n)| (s.facet, n.centre)).collect();
    facets.dedup_by_key(|f| f.0);
    candidates.extend(corners(ground, cutting, &facets, leave));
    candidates.par_extend(ground.shade.borders.par_iter().map(|s| Candidate {
        near: cutting.left(&s.at),
        place: Place {
            at: s.at,
            normals: vec![s.normal],
        },
        unasked: Unasked::Corner(ground.slack(s.facet, leave)),
    }));
    let sharp = (ground.sharp.par_iter()).flat_map_iter(|s| s.places.iter());
    candidates.par_extend(sharp.filter(|p| is_visible(ground, p)).map(|p| Candidate {
        near: cutting.left(&p.at),
        place: p.clone(),
        unasked,
    }));
    candidates.into()
}

/// Corners below the parting level of these facets, each given with a free place of the cutter near to it.
fn corners(
    ground: &Ground,
    cutting: &Cutting,
    facets: &[(u32, Point)],
    leave: f64,
) -> Vec<Candidate> {
    let (mesh, surface) = (&ground.half.mesh, &ground.surface);
    let triangle = |f: u32| surface.facets[f as usize].triangle as usize;
    let of_facet = |(k, &(f, _)): (usize, &(u32, Point))| {
        [0, 1, 2].map(|c| (mesh.triangles[triangle(f)][c], k as u32, c as u8))
    };
    let mut corners: Vec<(u32, u32, u8)> = facets.iter().enumerate().flat_map(of_facet).collect();
    corners.par_sort_unstable();
    let by_corner: Vec<&[(u32, u32, u8)]> = corners.chunk_by(|a, b| a.0 == b.0).collect();
    let candidate = |corners: &&[(u32, u32, u8)]| {
        let at = mesh.vertices[corners[0].0 as usize];
        let mut normals: Vec<Vector> = Vec::new();
        let mut slack = 0.0_f64;
        for &(_, k, c) in *corners {
            let f = facets[k as usize].0;
            let n: Vector = surface.creases.normals[triangle(f)][c as usize].cast();
            if normals.iter().all(|m| (m - n).norm() > 1e-4) {
                normals.push(n);
            }
            slack = slack.max(ground.slack(f, leave));
        }
        let near = (corners.iter())
            .map(|&(_, k, _)| cutting.places.left_from(&facets[k as usize].1, &at))
            .min_by(|a, b| a.left.total_cmp(&b.left))?;
        (at.z < 0.0).then_some(Candidate {
            near,
            place: Place { at, normals },
            unasked: Unasked::Corner(slack),
        })
    };
    by_corner.par_iter().filter_map(candidate).collect()
}

/// The next few of the `queue`, the most first, all asked; none that holds no more than `least`.
fn next(
    ground: &Ground,
    cutting: &Cutting,
    queue: &mut BinaryHeap<Candidate>,
    least: f64,
) -> Vec<Candidate> {
    loop {
        let more = |queue: &mut BinaryHeap<Candidate>| {
            queue
                .peek()
                .is_some_and(|c| c.near.left > least)
                .then(|| queue.pop())?
        };
        let mut first: Vec<Candidate> = std::iter::from_fn(|| more(queue))
            .take(ASKED_AT_A_TIME)
            .collect();
        if first
            .iter()
            .take(CHUNK)
            .all(|c| c.unasked == Unasked::Nothing)
        {
            let rest = first.split_off(CHUNK.min(first.len()));
            queue.extend(rest);
            return first;
        }
        let asked: Vec<Candidate> = (first.into_par_iter())
            .filter_map(|c| c.asked(ground, cutting))
            .collect();
        queue.extend(asked);
    }
}

/// Of candidates the one that holds the most where the triangles let the cutter as near as it goes; and the most that any may
/// truly hold.
fn searched(
    ground: &Ground,
    cutting: &Cutting,
    mut queue: BinaryHeap<Candidate>,
) -> (Option<(Nearest, Point)>, f64) {
    let mut best: Option<(Nearest, Point)> = None;
    let mut most = 0.0_f64;
    for k in 0.. {
        // what the nodes say is an upper bound
        let floor = best.map_or(0.0, |b: (Nearest, Point)| b.0.left);
        let chunk = next(
            ground,
            cutting,
            &mut queue,
            floor + (1e-3 * floor).max(2e-4),
        );
        let Some(first) = chunk.first() else {
            break;
        };
        if k * CHUNK >= MOST_REFINED {
            most = most.max(first.near.left);
            break;
        }
        let refined = refined(ground, cutting, &chunk, floor);
        let highest = refined.iter().map(|r| r.0.left).fold(floor, f64::max);
        let hold: Vec<f64> = refined
            .par_iter()
            .filter(|(n, _)| n.left > 0.9 * highest)
            .map(|(n, p)| n.left + uncertainty(ground, cutting, p, n))
            .collect();
        most = hold.into_iter().fold(most, f64::max);
        for (n, p) in refined {
            if best.is_none_or(|b| n.left > b.0.left) {
                best = Some((n, p));
            }
        }
    }
    (best, most)
}

/// The cutter moved as near to each place as the triangles allow. Where that holds most, or more than `floor`, it is slid on
/// along what it rests on: round a convex edge planes alone do not lead.
fn refined(
    ground: &Ground,
    cutting: &Cutting,
    candidates: &[Candidate],
    floor: f64,
) -> Vec<(Nearest, Point)> {
    let moved: Vec<(Nearest, Point)> = candidates
        .par_iter()
        .map(|c| {
            let Place { at, normals } = &c.place;
            (cutting.refine(at, normals, c.near), *at)
        })
        .collect();
    let seems = moved.iter().map(|r| r.0.left).fold(floor, f64::max);
    let slid = |(n, p): (Nearest, Point)| {
        let slides = cutting.is_ball() && n.left > 0.0 && n.left > 0.9 * seems;
        let n = if slides {
            slid(ground, cutting, &p, n)
        } else {
            n
        };
        (n, p)
    };
    moved.into_par_iter().map(slid).collect()
}
