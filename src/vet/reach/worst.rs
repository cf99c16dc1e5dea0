//! The most that a cutter leaves.

use super::{Ground, Place};
use crate::field::Nearest;
use crate::mesh::{Point, Vector};
use crate::vet::cutting::{Cutting, TOUCH};
use crate::vet::held::{eased, slid, uncertainty};
use crate::vet::surface::Sample;
use rayon::prelude::*;

/// Places that are moved to the nearest the triangles allow; of the others what the nodes say is the most they hold.
const MOST_REFINED: usize = 320;
/// Places that are moved at one time.
const CHUNK: usize = 16;

/// Largest height left over samples, sharp edges and corners of facets that are not touched, each moved to the
/// nearest place that the triangles allow; its place and its ±. `judged` are the samples and what the nodes say is left there.
pub(super) fn worst(
    ground: &Ground,
    cutting: &Cutting,
    judged: (&[Sample], &[Nearest]),
    leave: f64,
) -> Option<(f64, Point, f64)> {
    let (best, most) = searched(ground, cutting, &candidates(ground, cutting, judged, leave));
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

/// Places that may hold the most, with what the nodes say of them, the most first.
fn candidates(
    ground: &Ground,
    cutting: &Cutting,
    (samples, nearest): (&[Sample], &[Nearest]),
    leave: f64,
) -> Vec<(Nearest, Place)> {
    let open = || (samples.iter().zip(nearest)).filter(|(_, n)| n.left > 0.0);
    let place = |(s, n): (&Sample, &Nearest)| {
        let place = Place {
            at: s.at,
            normals: vec![s.normal],
        };
        (*n, place)
    };
    let mut candidates: Vec<(Nearest, Place)> = open().map(place).collect();
    let facets: std::collections::BTreeSet<u32> = open().map(|(s, _)| s.facet).collect();
    let mut places = open_corners(ground, cutting, facets, leave);
    places.extend(ground.sharp.iter().flat_map(|s| s.places.iter().cloned()));
    let off = ground.half.tolerance();
    let visible = |p: &Place| {
        let out: Vector = p.normals.iter().sum();
        !ground.shade.covers(ground.survey, &(p.at + out * off))
    };
    candidates.par_extend(
        (places.into_par_iter())
            .filter(visible)
            .map(|p| (cutting.left(&p.at), p)),
    );
    candidates.sort_by(|a, b| {
        b.0.left
            .total_cmp(&a.0.left)
            .then(a.1.at.z.total_cmp(&b.1.at.z))
            .then(a.1.at.x.total_cmp(&b.1.at.x))
            .then(a.1.at.y.total_cmp(&b.1.at.y))
    });
    candidates
}

/// Corners of these facets below the parting level that the cutter does not touch.
fn open_corners(
    ground: &Ground,
    cutting: &Cutting,
    facets: impl IntoIterator<Item = u32>,
    leave: f64,
) -> Vec<Place> {
    let (mesh, surface) = (&ground.half.mesh, &ground.surface);
    let triangle = |f: u32| surface.facets[f as usize].triangle as usize;
    let corners = |f: u32| [0, 1, 2].map(|k| (mesh.triangles[triangle(f)][k], f, k));
    let mut corners: Vec<(u32, u32, usize)> = facets.into_iter().flat_map(corners).collect();
    corners.par_sort_unstable();
    let by_corner: Vec<&[(u32, u32, usize)]> = corners.chunk_by(|a, b| a.0 == b.0).collect();
    let open = |facets: &[(u32, u32, usize)]| {
        let at = mesh.vertices[facets[0].0 as usize];
        let mut normals: Vec<Vector> = Vec::new();
        let mut slack = 0.0_f64;
        for &(_, f, k) in facets {
            let n: Vector = surface.creases.normals[triangle(f)][k].cast();
            if normals.iter().all(|m| (m - n).norm() > 1e-4) {
                normals.push(n);
            }
            slack = slack.max(ground.slack(f, leave));
        }
        let touches = |n: &Vector| cutting.free(&cutting.touching(&at, n), slack);
        let open = at.z < 0.0 && !normals.iter().any(touches);
        open.then_some(Place { at, normals })
    };
    by_corner.into_par_iter().filter_map(open).collect()
}

/// Of candidates, the most first, the one that holds the most where the triangles let the cutter as near as it goes; and the most
/// that any may truly hold.
fn searched(
    ground: &Ground,
    cutting: &Cutting,
    candidates: &[(Nearest, Place)],
) -> (Option<(Nearest, Point)>, f64) {
    let mut best: Option<(Nearest, Point)> = None;
    let mut most = 0.0_f64;
    for (k, chunk) in candidates.chunks(CHUNK).enumerate() {
        // what the nodes say is an upper bound
        let floor = best.map_or(0.0, |b: (Nearest, Point)| b.0.left);
        if chunk[0].0.left <= floor + (1e-3 * floor).max(2e-4) {
            break;
        }
        if k * CHUNK >= MOST_REFINED {
            most = most.max(chunk[0].0.left);
            break;
        }
        let refined = refined(ground, cutting, chunk, floor);
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
    places: &[(Nearest, Place)],
    floor: f64,
) -> Vec<(Nearest, Point)> {
    let moved: Vec<(Nearest, Point)> = places
        .par_iter()
        .map(|(n, p)| (cutting.refine(&p.at, &p.normals, *n), p.at))
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
