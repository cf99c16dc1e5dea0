//! The least stickout that reaches all that a cutter reaches alone.

use super::{Bodies, Guarded, blocker, lowest_reference};
use crate::field::Dropper;
use crate::mesh::Point;
use crate::report::Blocker;
use crate::shop::Part;
use crate::vet::cutting::{Cutting, TOUCH};
use crate::vet::reach::{Ground, Reached};
use rayon::prelude::*;

/// Places that are tried exactly for the stickout needed, at one time and in all.
const PLACES_AT_A_TIME: usize = 32;
const MOST_PLACES: usize = 128 * PLACES_AT_A_TIME;

/// What a place not tried may need more than those that were, mm.
const ENOUGH: f64 = 0.02;

/// What it takes to reach all that a cutter reaches alone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Needed {
    /// The cutter touches nothing.
    Nothing,
    /// No stickout does: neck or shank is in the way, first at this place on the surface.
    Never(Blocker, Point),
    /// The least stickout and its ±, mm, and the place on the surface that asks for it: the holder's face is no lower over the tip.
    Stickout(f64, f64, Point),
}

/// The least stickout that reaches all that the cutter alone reaches: the largest height of the holder's reference over the tip at any
/// centre from which the cutter touches. The sections are the holder's at stickout zero, where its reference is at the tip, and those
/// of neck and shank however far the cutter stands out.
pub fn stickout_needed(
    ground: &Ground,
    cutting: &Cutting,
    reached: &Reached,
    [holder, below]: &[Vec<Guarded>; 2],
    bodies: &Bodies,
    leave: f64,
) -> Needed {
    let dropper = &ground.contacts.dropper;
    let touching: Vec<Touching> = (reached.judged())
        .filter(|(_, n)| n.left <= leave)
        .map(|(s, n)| Touching {
            tip: n.centre.z - cutting.profile.tip_below(),
            centre: n.centre,
            at: s.at,
            drop: reached.groups.spacing * s.normal.x.hypot(s.normal.y),
        })
        .collect();
    let stops = |t: &Touching| Some((blocker(stopped(dropper, bodies, below, t)?), t.at));
    if let Some((by, at)) = touching.par_iter().find_map_first(stops) {
        return Needed::Never(by, at);
    }
    let most = |t: &Touching| bodies.most_stickout(holder, [t.centre.x, t.centre.y], t.tip);
    let mut bounds: Vec<(f64, usize)> = (touching.par_iter().enumerate())
        .map(|(k, t)| (most(t), k))
        .collect();
    bounds.par_sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    let Some(&(_, first)) = bounds.first() else {
        return Needed::Nothing;
    };
    // what a place needs, or `least` if that is more
    let exact = |k: usize, least: f64| {
        let t = &touching[k];
        let need = |g: &Guarded| {
            let more = [least + t.tip + g.above_tip, f64::INFINITY];
            let touched = lowest_reference(dropper, g.profile, [t.centre.x, t.centre.y], more)?;
            Some(touched.z - t.tip - g.above_tip)
        };
        holder.iter().filter_map(need).fold(least, f64::max)
    };
    // the least needed, and the most that places between the samples may need
    let (mut needed, mut place, mut most) = (0.0_f64, first, 0.0_f64);
    let mut tried = 0;
    for chunk in bounds.chunks(PLACES_AT_A_TIME) {
        if (tried > 0 && chunk[0].0 <= needed + ENOUGH) || tried >= MOST_PLACES {
            break;
        }
        tried += chunk.len();
        let least = (needed - reached.groups.spacing).max(0.0);
        let found: Vec<(f64, usize)> = (chunk.par_iter())
            .map(|&(_, k)| (exact(k, least), k))
            .collect();
        for (need, k) in found {
            most = most.max(need + touching[k].drop);
            if need > needed {
                (needed, place) = (need, k);
            }
        }
    }
    let between = bounds[tried..]
        .iter()
        .map(|&(bound, k)| bound + touching[k].drop);
    let most = between.fold(most, f64::max);
    let chord = ground.surface.chord_error(ground.survey);
    let pm = (most - needed).max(0.0) + 2.0 * chord + ENOUGH;
    Needed::Stickout(needed, pm, touching[place].at)
}

/// A place that the cutter touches.
struct Touching {
    /// Height of its tip there.
    tip: f64,
    centre: Point,
    /// On the surface.
    at: Point,
    /// How much deeper the surface may lie as far aside as samples are apart, mm.
    drop: f64,
}

/// The one of `guards`, at a height over the tip that no stickout changes, that keeps the cutter from where it touches.
fn stopped(
    dropper: &Dropper,
    bodies: &Bodies,
    guards: &[Guarded],
    touching: &Touching,
) -> Option<Part> {
    let at = [touching.centre.x, touching.centre.y];
    let stops = |g: &&Guarded| {
        let have = touching.tip + g.above_tip + 2.0 * TOUCH;
        let exact = || lowest_reference(dropper, g.profile, at, [have; 2]).is_some();
        bodies.around(g.profile, at)[1] > have && exact()
    };
    guards.iter().find(stops).map(|g| g.part)
}
