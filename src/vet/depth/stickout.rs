//! The least stickout that reaches all that a cutter reaches alone.

use super::{Bodies, Guarded, lowest_reference};
use crate::field::Dropper;
use crate::mesh::Point;
use crate::vet::cutting::{Cutting, TOUCH};
use crate::vet::reach::{Ground, Reached};
use rayon::prelude::*;

/// Places that are tried exactly for the stickout needed, at one time and in all.
const PLACES_AT_A_TIME: usize = 32;
const MOST_PLACES: usize = 24 * PLACES_AT_A_TIME;

/// Least stickout that reaches all that the cutter alone reaches, and its ±, mm: the largest height of the holder's reference over the
/// tip at any centre from which the cutter touches. The sections are the holder's at stickout zero, where its reference is at the tip,
/// and those of neck and shank however far the cutter stands out. `None` where the cutter touches nothing, and where neck or shank is
/// in the way at any stickout.
pub fn stickout_needed(
    ground: &Ground,
    cutting: &Cutting,
    reached: &Reached,
    [holder, below]: &[Vec<Guarded>; 2],
    bodies: &Bodies,
    leave: f64,
) -> Option<(f64, f64)> {
    let dropper = &ground.contacts.dropper;
    let touching: Vec<(f64, &Point)> = (reached.nearest.iter())
        .filter(|n| n.left <= leave)
        .map(|n| (n.centre.z - cutting.profile.tip_below(), &n.centre))
        .collect();
    if touching
        .par_iter()
        .any(|t| stopped(dropper, bodies, below, t))
    {
        return None;
    }
    let most = |&(tip, c): &(f64, &Point)| {
        let need = |g: &Guarded| bodies.around(g.profile, c.x, c.y)[1] - tip - g.above_tip;
        holder.iter().map(need).fold(0.0, f64::max)
    };
    let mut bounds: Vec<(f64, usize)> = (touching.par_iter().enumerate())
        .map(|(k, t)| (most(t), k))
        .collect();
    bounds.par_sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    // what a place needs if that is more than is `known` to be needed
    let exact = |&(_, k): &(f64, usize), known: f64| {
        let (tip, c) = touching[k];
        let need = |g: &Guarded| {
            let more = [known + tip + g.above_tip, f64::INFINITY];
            let z = lowest_reference(dropper, g.profile, [c.x, c.y], more)?;
            Some(z - tip - g.above_tip)
        };
        holder.iter().filter_map(need).fold(0.0, f64::max)
    };
    let (mut needed, mut untried) = (0.0, 0.0);
    for (k, chunk) in bounds.chunks(PLACES_AT_A_TIME).enumerate() {
        let bound = chunk[0].0;
        if k > 0 && bound <= needed + 0.02 {
            break;
        }
        if k * PLACES_AT_A_TIME >= MOST_PLACES {
            untried = bound - needed;
            break;
        }
        let exact = |place: &(f64, usize)| exact(place, needed);
        let most = chunk.par_iter().map(exact).reduce(|| 0.0, f64::max);
        needed = f64::max(needed, most);
    }
    // samples lie an eighth of the radius apart: between them a slope may lie that much deeper
    let chord = ground.surface.chord_error(ground.survey);
    let pm = (0.125 * cutting.radius() + 2.0 * chord + 0.02).max(untried);
    (!bounds.is_empty()).then_some((needed, pm))
}

/// Whether one of `guards`, at a height over the tip that no stickout changes, keeps the cutter from where it touches: height of its
/// tip, and its centre.
fn stopped(
    dropper: &Dropper,
    bodies: &Bodies,
    guards: &[Guarded],
    &(tip, c): &(f64, &Point),
) -> bool {
    guards.iter().any(|g| {
        let have = tip + g.above_tip + 2.0 * TOUCH;
        let exact = || lowest_reference(dropper, g.profile, [c.x, c.y], [have; 2]).is_some();
        bodies.around(g.profile, c.x, c.y)[1] > have && exact()
    })
}
