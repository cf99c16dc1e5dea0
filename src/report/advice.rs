//! Findings: figures turned into what to do.
//!
//! Messages leave figures and places to the finding's fields, so that each face can show them in the reader's unit.

mod mating;

use super::model::{Finding, Half, HollowKind, Place, RegionKind, Report, SharpEdgeKind, Verdict};
use crate::mesh::Model;
use crate::setup::Setup;
use crate::shop::Shop;

/// Chord tolerance to export with, as a share of what may stay: in a corner of two faces at right angles an error shows 2.4
/// times as large (1 / sin 45° + 1), and as much again is left for the rest.
const CHORD_SHARE: f64 = 0.2;

/// Everything worth saying about the report's figures, worst first.
pub fn findings(report: &Report, setup: &Setup, models: &[Model], shop: &Shop) -> Vec<Finding> {
    let mut found = Vec::new();
    for note in &setup.notes {
        let verdict = if note.unsure {
            Verdict::Watch
        } else {
            Verdict::Pass
        };
        let half = note.half.map(|k| report.halves[k].name.clone());
        found.push(Finding {
            half,
            ..Finding::plain("setup", verdict, &note.message)
        });
    }
    for model in models.iter().filter(|m| m.precision_lost()) {
        let message = format!(
            "{}: the model lies so far from the origin that its coordinates are coarser than a micrometre. \
             Move it to the origin and export again.",
            model.name
        );
        found.push(Finding {
            value: Some(model.rounding),
            unit: Some("mm".into()),
            limit: Some(0.001),
            ..Finding::plain("mesh", Verdict::Watch, &message)
        });
    }
    for model in models.iter().filter(|m| m.dropped.flat > 0) {
        let message = format!(
            "{}: triangles that enclose no volume were left out. If they stand for a wall, give it thickness in the design; \
             else the figures stand.",
            model.name
        );
        found.push(Finding {
            value: Some(model.dropped.flat as f64),
            ..Finding::plain("mesh", Verdict::Watch, &message)
        });
    }
    for (model, unused) in models
        .iter()
        .flat_map(|m| m.unused.iter().map(move |u| (m, u)))
    {
        let message = format!("{}: {unused}", model.name);
        found.push(Finding::plain("mesh", Verdict::Pass, &message));
    }
    for (half, places) in report.halves.iter().zip(&setup.halves) {
        let mut own = Vec::new();
        mesh(half, &places.health, &mut own);
        if no_cavity(half) {
            own.push(Finding::plain(
                "setup",
                Verdict::Watch,
                "This looks like the part, not the mold: no hollow lies below a parting face, so there is no cavity to \
                 judge and the tool axis is ambiguous. To look at a part, use `moldvet body`; for a mold, give its half, \
                 or name its axis with --axis.",
            ));
        } else {
            undercut(half, shop, &mut own);
            draft(half, shop, &mut own);
            reach(half, &mut own);
            depth(half, &mut own);
        }
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

fn mesh(half: &Half, health: &crate::mesh::Health, found: &mut Vec<Finding>) {
    let place = |at: &[crate::mesh::Point]| at.first().map(|p| [p.x, p.y, p.z]);
    let m = &half.mesh;
    if m.two_readings_edges > 0 {
        found.push(Finding {
            value: Some(m.two_readings_edges as f64),
            ..Finding::plain(
                "mesh",
                Verdict::Unsure,
                "Too close to call: edges turn near the crease angle, and the mesh may stand for a coarsely faceted curve or for \
                 a shape with these edges. Figures hold for both; what differs is unsure. Export with a finer chord tolerance \
                 (facets that turn by less than half the crease angle), or set --crease well above their turn for a curve, \
                 well below it for edges.",
            )
        });
    }
    if let Some(at) = m.undecided_at_mm {
        let (count, message) = if m.open_edges > 0 {
            (
                m.open_edges,
                "The mesh is open at a hollow: edges with a triangle on one side only. What bounds the hollow there is not \
                 told, so nothing passes; close the gap in the design and export again.",
            )
        } else if m.nonmanifold_edges > 0 {
            (
                m.nonmanifold_edges,
                "At a hollow more triangles meet along an edge than can be paired. What bounds the hollow there is not told, so \
                 nothing passes; join or separate the pieces in the design and export again.",
            )
        } else {
            (
                m.crossed_columns,
                "The surface runs through itself and is inside out in a hollow. What bounds the hollow there is not told, so \
                 nothing passes; mend the shape in the design and export again.",
            )
        };
        found.push(Finding {
            at_mm: Some(at),
            value: Some(count as f64),
            ..Finding::plain("mesh", Verdict::Unsure, message)
        });
    }
    let elsewhere = |count: usize| {
        if m.undecided_at_mm.is_some() {
            0
        } else {
            count
        }
    };
    let mut say = |count: usize, at: Option<Place>, message: &str| {
        if count > 0 {
            found.push(Finding {
                at_mm: at,
                value: Some(count as f64),
                ..Finding::plain("mesh", Verdict::Watch, message)
            });
        }
    };
    say(
        elsewhere(m.open_edges),
        place(&health.open_at),
        "The mesh is open: edges with a triangle on one side only, at no hollow. What lies behind the gap cannot be judged; close it \
         in the design and export again.",
    );
    say(
        elsewhere(m.nonmanifold_edges),
        place(&health.nonmanifold_at),
        "Edges where more triangles meet than can be paired, at no hollow. Join or separate the pieces there and export again.",
    );
    say(
        elsewhere(m.crossed_columns),
        m.crossed_at_mm,
        "The surface runs through itself in this many columns. What lies inside any part of it is taken as solid, and \
         facets inside that can only make a verdict stricter; join the parts in the design and export again.",
    );
    say(
        m.flipped_triangles,
        place(&health.flipped_at),
        "The winding is inconsistent: triangles wound against their neighbours were turned. Check the surface there.",
    );
    say(
        m.duplicated_triangles,
        None,
        "Duplicate triangles were left out. The figures stand; export again to be rid of them.",
    );
    say(
        m.degenerate_triangles,
        None,
        "Triangles without area were left out. The figures stand.",
    );
    say(
        usize::from(m.inside_out),
        None,
        "The half was given inside out and has been turned around. Check that it is the mold, not its cavity.",
    );
    let sealed: Vec<_> = half
        .undercut
        .regions
        .iter()
        .filter(|r| r.kind == RegionKind::Sealed)
        .collect();
    if let Some(void) = sealed.first() {
        found.push(Finding {
            at_mm: Some(void.at_mm),
            value: Some(sealed.len() as f64),
            ..Finding::plain(
                "mesh",
                Verdict::Watch,
                "Sealed voids inside the material, open nowhere: no cutter can make them. Fill them in the design.",
            )
        });
    }
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
    let message = match d.verdict {
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
