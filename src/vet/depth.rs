//! Depth: how deep each tool gets before neck, shank or holder touch.

mod bodies;
mod deepest;
mod stickout;

use super::cutting::TOUCH;
use crate::field::{Contact, Dropper, Profile};
use crate::mesh::Point;
use crate::report::Blocker;
use crate::shop::{Limits, Part, Segment, Tool};

pub use bodies::Bodies;
pub use deepest::{Alone, Deepest, deepest, deepest_tip};
pub use stickout::{Needed, stickout_needed};

/// A section of a tool above its flutes, grown by its clearance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Guarded {
    /// Its lower side.
    pub(crate) profile: Profile,
    /// Height of the profile's reference point above the tip, mm.
    pub(crate) above_tip: f64,
    /// What it is part of.
    pub(crate) part: Part,
}

/// The sections of `tool` that must keep clear of the half, from the flutes up; `cutter_radius` mm. A neck or shank no thicker
/// than the cutter may lie along what the cutter has opened and is left out; anything thicker keeps its clearance.
pub fn guarded(tool: &Tool, cutter_radius: f64, limits: &Limits) -> Vec<Guarded> {
    tool.segments
        .iter()
        .filter_map(|s| guard(s, cutter_radius, limits))
        .collect()
}

fn guard(segment: &Segment, cutter_radius: f64, limits: &Limits) -> Option<Guarded> {
    let widest = segment.lower_radius.max(segment.upper_radius);
    let clearance = match segment.part {
        Part::Holder => limits.holder_clearance,
        Part::Neck | Part::Shank if widest <= cutter_radius + 1e-9 => return None,
        Part::Neck | Part::Shank => limits.shank_clearance,
    };
    let part = segment.part;
    if segment.upper_radius > segment.lower_radius && segment.to.is_finite() {
        // the cone through the grown ends: never closer than the clearance
        let profile = Profile::Cone {
            lower_radius: segment.lower_radius + clearance,
            upper_radius: segment.upper_radius + clearance,
            height: segment.to - segment.from,
        };
        return Some(Guarded {
            profile,
            above_tip: segment.from - clearance,
            part,
        });
    }
    // a cylinder grown by a ball is a bull-nose
    let profile = Profile::Cutter {
        radius: segment.lower_radius + clearance,
        corner_radius: clearance.min(segment.lower_radius + clearance),
    };
    Some(Guarded {
        profile,
        above_tip: segment.from,
        part,
    })
}

/// Depth of the tip below the parting level when the tool stands as low as it may at plan place (x, y) of the
/// tool frame, mm, negative above it, and what stops it, `None` for the cutter itself; `None` where nothing is under it. Exact for
/// the mesh, to 0.1 µm.
pub fn tip_depth_at(
    dropper: &Dropper,
    cutter: Profile,
    guarded: &[Guarded],
    x: f64,
    y: f64,
) -> Option<(f64, Option<Blocker>)> {
    let alone = tip_height(dropper, cutter, [x, y], f64::INFINITY);
    let held = held_up(dropper, alone, guarded, [x, y], f64::INFINITY);
    held.map(|(tip, by)| (-tip, by.map(|(g, _)| blocker(g.part))))
}

/// Height of the cutter's tip when it stands as low as it may; where that is above `most`, any height above.
fn tip_height(dropper: &Dropper, cutter: Profile, at: [f64; 2], most: f64) -> Option<f64> {
    let any = [f64::NEG_INFINITY, most + cutter.tip_below()];
    lowest_reference(dropper, cutter, at, any).map(|c| c.z - cutter.tip_below())
}

/// Height of the tip, `alone` by the cutter, to which the sections raise it, and the one that does, with the place that it touches;
/// where that is above `most`, any height above.
fn held_up(
    dropper: &Dropper,
    alone: Option<f64>,
    guarded: &[Guarded],
    at: [f64; 2],
    most: f64,
) -> Option<(f64, Option<(Guarded, Point)>)> {
    let mut lowest = alone.map(|tip| (tip, None));
    for g in guarded {
        let (tip, _) = lowest.unwrap_or((f64::NEG_INFINITY, None));
        if tip > most {
            break;
        }
        let range = [tip, most].map(|z| z + g.above_tip);
        if let Some(c) = lowest_reference(dropper, g.profile, at, range) {
            lowest = Some((c.z - g.above_tip, Some((*g, c.point))));
        }
    }
    lowest
}

/// Where the profile touches and the height of its reference then, its lowest, if that is above the first of the two heights; no more
/// is asked than whether it is above the second.
fn lowest_reference(
    dropper: &Dropper,
    profile: Profile,
    at: [f64; 2],
    [floor, ceiling]: [f64; 2],
) -> Option<Contact> {
    let (inner, lift) = profile.inset(TOUCH)?;
    let contact = dropper.highest(inner, at, floor + lift, ceiling + lift);
    contact.map(|c| Contact { z: c.z - lift, ..c })
}

fn blocker(part: Part) -> Blocker {
    match part {
        Part::Neck => Blocker::Neck,
        Part::Shank => Blocker::Shank,
        Part::Holder => Blocker::Holder,
    }
}
