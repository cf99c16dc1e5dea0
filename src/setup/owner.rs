//! Which hollow each facet bounds.
//!
//! Facets that go on below the parting level without meeting it bound the same hollow, so a
//! connected patch is decided as a whole by what its facets look at; only a patch that bounds both
//! a hollow and the outside (a gate cut by the block's side, a hole to the underside) is decided
//! facet by facet.

use super::half::{Half, Parting};
use super::survey::{Air, Survey};
use crate::mesh::{Point, Sets};
use rayon::prelude::*;
use std::collections::BTreeMap;

/// What a facet looks at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Sees {
    Outside,
    Hollow(u32),
}

/// A patch of which this share looks at one thing bounds that thing: the rest are facets in
/// corners narrower than a cell.
const CLEAR_SHARE: f64 = 0.98;

/// The hollow of each triangle of `half`.
pub(super) fn owners(half: &Half, survey: &Survey) -> Vec<Option<u32>> {
    let mesh = &half.mesh;
    let below = |p: &Point| p.z < survey.parting_at(p.x, p.y) - survey.tolerance;
    let dips: Vec<bool> = mesh
        .triangles
        .par_iter()
        .with_min_len(1024)
        .map(|t| t.iter().any(|&v| below(&mesh.vertices[v as usize])))
        .collect();
    let sees: Vec<Option<Sees>> = (0..mesh.triangles.len())
        .into_par_iter()
        .with_min_len(1024)
        .map(|t| if dips[t] { look(half, survey, t) } else { None })
        .collect();
    let patches = patches(half, survey, &dips);
    let mut votes: BTreeMap<u32, BTreeMap<Sees, f64>> = BTreeMap::new();
    for t in (0..sees.len()).filter(|&t| dips[t]) {
        let patch = votes.entry(patches[t]).or_default();
        if let Some(s) = sees[t] {
            *patch.entry(s).or_default() += mesh.area(t);
        }
    }
    let clear: BTreeMap<u32, Sees> = votes
        .iter()
        .filter_map(|(&patch, votes)| {
            let total: f64 = votes.values().sum();
            let (&sees, &most) = votes.iter().max_by(|a, b| a.1.total_cmp(b.1))?;
            // a patch cut by no side of the block is one thing; with a non-flat parting face nothing cuts
            (most >= CLEAR_SHARE * total && !matches!(half.parting, Parting::Contact { .. }))
                .then_some((patch, sees))
        })
        .collect();
    let mut owner: Vec<Option<Sees>> = (0..sees.len())
        .map(|t| {
            if dips[t] {
                clear.get(&patches[t]).copied().or(sees[t])
            } else {
                None
            }
        })
        .collect();
    spread(half, &dips, &mut owner);
    owner
        .into_iter()
        .map(|s| match s {
            Some(Sees::Hollow(h)) => Some(h),
            _ => None,
        })
        .collect()
}

fn look(half: &Half, survey: &Survey, t: usize) -> Option<Sees> {
    let n = half.mesh.normal(t)?;
    let [a, b, c] = half.mesh.corners(t);
    let mut at = Point::from((a.coords + b.coords + c.coords) / 3.0);
    let face = survey.parting_at(at.x, at.y);
    if at.z >= face {
        // reaches above the parting face: judge it by its lower part
        let low = [a, b, c].into_iter().min_by(|p, q| p.z.total_cmp(&q.z))?;
        at = low + (at - low) * (0.5 * (face - low.z) / (at.z - low.z)).clamp(0.0, 1.0);
    }
    match survey.look_off(&at, &n) {
        Air::Material => None,
        Air::Outside => Some(Sees::Outside),
        Air::Open(h) => Some(Sees::Hollow(above_mouth(survey, h, at.z))),
        Air::Void(v) => Some(survey.voids.list[v].hollow.map_or(Sees::Outside, |h| {
            Sees::Hollow(above_mouth(survey, h, at.z))
        })),
    }
}

/// A facet beside a hole in a cavity's floor but above that floor bounds the cavity.
fn above_mouth(survey: &Survey, h: usize, z: f64) -> u32 {
    match survey.hollows[h].mouth {
        Some(m) if z > m.floor - survey.tolerance => m.cavity as u32,
        _ => h as u32,
    }
}

/// Patches of facets joined across edges that lie below the parting face; by smallest triangle.
fn patches(half: &Half, survey: &Survey, dips: &[bool]) -> Vec<u32> {
    let mesh = &half.mesh;
    let mut sets = Sets((0..dips.len() as u32).collect());
    for edge in &half.topology.edges {
        let (a, Some(b)) = edge.triangles else {
            continue;
        };
        if !dips[a as usize] || !dips[b as usize] {
            continue;
        }
        let [p, q] = edge.vertices.map(|v| mesh.vertices[v as usize]);
        let low = if p.z < q.z { p } else { q };
        if low.z < survey.parting_at(low.x, low.y) - survey.tolerance {
            sets.join(a, b);
        }
    }
    (0..dips.len() as u32).map(|t| sets.find(t)).collect()
}

/// Gives undecided facets what most of their decided neighbours have, from the decided ones outward.
fn spread(half: &Half, dips: &[bool], owner: &mut [Option<Sees>]) {
    let mut front: Vec<u32> = (0..owner.len() as u32)
        .filter(|&t| dips[t as usize] && owner[t as usize].is_none())
        .collect();
    while !front.is_empty() {
        let mut decided = Vec::new();
        for &t in &front {
            let mut near: Vec<Sees> = (0..3)
                .filter_map(|k| half.topology.across(t, k))
                .filter_map(|n| owner[n as usize])
                .collect();
            near.sort();
            // a facet in a corner of a hollow may also touch the outside: the hollow goes first
            if let Some(&s) = near.last() {
                decided.push((t, s));
            }
        }
        if decided.is_empty() {
            break;
        }
        for &(t, s) in &decided {
            owner[t as usize] = Some(s);
        }
        front.retain(|&t| owner[t as usize].is_none());
    }
}
