//! Findings: figures turned into what to do.
//!
//! Messages leave figures and places to the finding's fields, so that each face can show them in the reader's unit.

mod mating;
mod mesh;

use super::model::{
    Blocker, Finding, Half, HollowKind, Place, RegionKind, Report, SharpEdgeKind, ToolDepth,
    Verdict,
};
use crate::mesh::{Health, Model};
use crate::setup::{Note, Setup};
use crate::shop::Shop;

/// Chord tolerance to export with, as a share of what may stay: in a corner of two faces at right angles an error shows 2.4
/// times as large (1 / sin 45° + 1), and as much again is left for the rest.
const CHORD_SHARE: f64 = 0.2;

/// Everything worth saying about the report's figures, the halves' setup and the models as they were read, worst first.
pub fn findings(report: &Report, setup: &Setup, models: &[Model], shop: &Shop) -> Vec<Finding> {
    let mut found: Vec<Finding> = setup.notes.iter().map(|n| noted(n, report)).collect();
    mesh::of_files(models, &mut found);
    for (half, places) in report.halves.iter().zip(&setup.halves) {
        let mut own = of_half(half, &places.health, shop);
        for finding in &mut own {
            finding.half = Some(half.name.clone());
        }
        found.append(&mut own);
    }
    if shop.source.is_none() {
        found.push(Finding::plain(
            "settings",
            Verdict::Pass,
            "No shop file was given: a built-in rack of usual ball sizes stands in for yours, with shanks as thick as \
             the cutter and a plain cylindrical holder. Name your own cutters, stickouts and holders with --shop.",
        ));
    }
    if let Some(together) = &report.mating {
        found.append(&mut mating::findings(together, shop));
    }
    found.sort_by_key(|f| std::cmp::Reverse(f.verdict));
    found
}

/// What was taken to be so when the halves were set up.
fn noted(note: &Note, report: &Report) -> Finding {
    let verdict = if note.unsure {
        Verdict::Watch
    } else {
        Verdict::Pass
    };
    Finding {
        half: note.half.map(|k| report.halves[k].name.clone()),
        ..Finding::plain("setup", verdict, &note.message)
    }
}

fn of_half(half: &Half, health: &Health, shop: &Shop) -> Vec<Finding> {
    let mut found = Vec::new();
    mesh::of_half(half, health, &mut found);
    if no_cavity(half) {
        found.push(Finding::plain(
            "setup",
            Verdict::Watch,
            "This looks like the part, not the mold: no hollow lies below a parting face, so there is no cavity to \
             judge and the tool axis is ambiguous. To look at a part, use `moldvet body`; for a mold, give its half, \
             or name its axis with --axis.",
        ));
    } else {
        undercut(half, shop, &mut found);
        draft(half, shop, &mut found);
        reach(half, &mut found);
        depth(half, &mut found);
    }
    found
}

fn length(
    check: &str,
    verdict: Verdict,
    message: &str,
    at: Option<Place>,
    value: Option<f64>,
    limit: f64,
) -> Finding {
    Finding {
        at_mm: at,
        value,
        unit: Some("mm".into()),
        limit: Some(limit),
        ..Finding::plain(check, verdict, message)
    }
}

fn no_cavity(half: &Half) -> bool {
    !half
        .cavity
        .hollows
        .iter()
        .any(|h| h.kind == HollowKind::Cavity)
}

fn undercut(half: &Half, shop: &Shop, found: &mut Vec<Finding>) {
    let u = &half.undercut;
    let hooks: Vec<_> = u
        .regions
        .iter()
        .filter(|r| r.kind == RegionKind::Undercut)
        .collect();
    let Some(worst) = hooks.first() else { return };
    let message = match u.verdict {
        Verdict::Fail if hooks.len() > 1 => {
            "Surface hides from the tool axis in several places, and the largest hook locks the casting. Change the shape \
             there, take another axis, or split off an insert; a flexible casting may forgive a hook (--forgive)."
        }
        Verdict::Fail => {
            "Surface hides from the tool axis and hooks over the casting. Change the shape there, take another axis, or \
             split off an insert; a flexible casting may forgive the hook (--forgive)."
        }
        Verdict::Unsure => {
            "A hook is too close to what is forgiven to call. Allow more with --forgive, or change the shape."
        }
        _ => {
            "Surface hides from the tool axis, within what is forgiven. It cannot be milled from here: finish it otherwise."
        }
    };
    found.push(length(
        "undercut",
        u.verdict,
        message,
        Some(worst.at_mm),
        u.hook_mm,
        shop.limits.forgive,
    ));
}

fn draft(half: &Half, shop: &Shop, found: &mut Vec<Finding>) {
    let d = &half.draft;
    let message = match d.verdict {
        Verdict::Fail => {
            "A wall has less draft than required over more height than is let pass: the casting drags. Lean the wall out, \
             make it shorter, or let it pass with --wall."
        }
        Verdict::Unsure => {
            "The height of a wall short of draft is too close to its limit to call. Lean the wall out, or export with a \
             finer chord tolerance."
        }
        Verdict::Watch => {
            "A short wall has less draft than required. Lean it out if the casting sticks."
        }
        Verdict::Pass => return,
    };
    found.push(length(
        "draft",
        d.verdict,
        message,
        d.at_mm,
        d.tallest_short_wall_mm,
        shop.limits.wall,
    ));
}

fn reach(half: &Half, found: &mut Vec<Finding>) {
    let r = &half.reach;
    let best = r
        .cutters
        .iter()
        .find(|c| Some(&c.name) == r.best_ball.as_ref());
    let at = best.and_then(|c| c.at_mm).or(r.at_mm);
    let left = best.and_then(|c| c.left_height_mm);
    let sharp = |kind| r.sharp_edges.iter().any(|e| e.kind == kind);
    match r.verdict {
        Verdict::Fail => {
            let message = if sharp(SharpEdgeKind::Upright) {
                "No cutter in the rack clears: walls meet in a sharp upright corner, which no rotating cutter can make. \
                 Put a fillet there as wide as your smallest ball, or leave the corner to another process."
            } else if sharp(SharpEdgeKind::Floor) {
                "No ball in the rack clears: a sharp edge runs along a floor. Put a fillet there, or add a flat cutter to the rack."
            } else {
                "No ball in the rack clears. Take a smaller ball, make the smallest fillet larger, or let more stay with --leave."
            };
            found.push(length("reach", r.verdict, message, at, left, r.leave_mm));
        }
        Verdict::Unsure => {
            found.push(length(
                "reach",
                r.verdict,
                "What the ball that comes closest leaves is too close to the limit to call. Export with a finer chord tolerance, \
                 or let more stay with --leave.",
                at,
                left,
                r.leave_mm,
            ));
            coarse_facets(half, found);
        }
        _ if !r.sharp_edges.is_empty() => found.push(Finding {
            at_mm: Some(r.sharp_edges[0].at_mm),
            value: Some(r.sharp_edges.len() as f64),
            ..Finding::plain(
                "reach",
                Verdict::Watch,
                "Sharp inside edges: a ball leaves a fillet of its own radius there, a flat cutter does the floor edges.",
            )
        }),
        _ => {}
    }
}

/// Facets that stand off their surface by more than a small share of what may stay decide what clears.
fn coarse_facets(half: &Half, found: &mut Vec<Finding>) {
    let limit = CHORD_SHARE * half.reach.leave_mm;
    let chord = half.mesh.chord_error_mm;
    if chord > limit {
        let message = "The mesh's facets stand this far off the curved surface they are drawn for, and that decides the \
                       verdict. Export with a chord tolerance of the limit named here or less.";
        found.push(length(
            "mesh",
            Verdict::Unsure,
            message,
            None,
            Some(chord),
            limit,
        ));
    }
}

fn depth(half: &Half, found: &mut Vec<Finding>) {
    let d = &half.depth;
    let finisher = half
        .reach
        .smallest_ball_needed
        .as_ref()
        .or(half.reach.best_ball.as_ref());
    let need = half
        .reach
        .cutters
        .iter()
        .find(|c| Some(&c.name) == finisher)
        .and_then(|c| c.stickout_needed_mm);
    let longest = d
        .tools
        .iter()
        .filter(|t| Some(&t.cutter) == finisher)
        .max_by(|a, b| a.stickout_mm.total_cmp(&b.stickout_mm));
    let by_neck_or_shank =
        |t: &ToolDepth| matches!(t.blocked_by, Some(Blocker::Neck | Blocker::Shank));
    let message = match d.verdict {
        // however far it sticks out
        Verdict::Fail if need.is_none() && longest.is_some_and(by_neck_or_shank) => {
            "No tool in the rack reaches what its cutter alone could: the neck or shank of the finishing ball is in the way, \
             however far it sticks out. Take one whose flutes or slim neck are longer; long and slender it bends and chatters, so \
             slow down and go by the cutter maker's data."
        }
        Verdict::Fail => {
            "No tool in the rack reaches what its cutter alone could: neck, shank or holder touch first. Stick the finishing \
             ball out further, within what its maker allows, or take a slimmer holder."
        }
        Verdict::Watch => {
            "The finishing ball reaches everything only at a stickout beyond eight diameters, or not at any stickout in the \
             rack. Long tools bend and chatter: slow down, and go by the cutter maker's data."
        }
        _ => return,
    };
    found.push(Finding {
        at_mm: longest.and_then(|t| t.at_mm),
        value: need,
        unit: Some("mm".into()),
        limit: longest.map(|t| t.stickout_mm),
        ..Finding::plain("depth", d.verdict, message)
    });
}
