//! What to do about the body.

use super::{BodyConfig, BodyError, Flat};
use crate::mesh::{Model, Vector};
use crate::report::{Body, Finding, Pull, Verdict};
use crate::setup::axis_text;

/// A flat parting that loses less than this share of the surface loses nothing that the facets could tell.
const LOST_SHARE: f64 = 1e-4;

fn finding(verdict: Verdict, message: &str) -> Finding {
    Finding::plain("body", verdict, message)
}

/// That the halves could not be made.
pub(super) fn unmade(error: &BodyError) -> Finding {
    finding(Verdict::Unsure, &sentence(&error.to_string()))
}

/// That a pull beside the best one would part flat, and what that costs: its direction, and its area short of draft.
pub(super) fn flat_instead(best: &Pull, (d, short): Flat) -> Finding {
    let off = d.dot(&Vector::from(best.direction)).clamp(-1.0, 1.0).acos();
    let more = short - best.short_area_mm2;
    let message = format!(
        "The pull along {}, {:.1}° from the best one, hides no more and parts flat; it has this much more surface short of \
         draft. If a flat parting is worth that, give it with --pull.",
        axis_text(&d),
        off.to_degrees()
    );
    Finding {
        value: Some(more),
        unit: Some("mm2".into()),
        ..finding(Verdict::Watch, &message)
    }
}

/// What is worth saying of the body itself.
pub(super) fn findings(section: &Body, model: &Model, config: &BodyConfig) -> Vec<Finding> {
    let mut found = Vec::new();
    let Some(pull) = section.pulls.first() else {
        return found;
    };
    let forgive = config.check.shop.limits.forgive;
    found.extend(hidden(pull, section.pull_given, forgive));
    parted(section, &mut found);
    as_read(model, &mut found);
    found
}

/// Surface that hides from both sides of the pull.
fn hidden(pull: &Pull, given: bool, forgive: f64) -> Option<Finding> {
    if pull.hidden_area_mm2 <= pull.hidden_area_mm2_pm {
        return None;
    }
    let verdict = if pull.hook_mm > forgive {
        Verdict::Fail
    } else {
        Verdict::Watch
    };
    let message = match (given, verdict) {
        (true, Verdict::Fail) => {
            "This body cannot be pulled along the direction given: surface hides from both sides, and the mold would hook \
             over it. Leave --pull out to have the best direction found, change the shape, or split off an insert."
        }
        (false, Verdict::Fail) => {
            "This body cannot be pulled out of a two-half mold in any direction: even the best one hides surface from both \
             sides, and the mold would hook over it. Change the shape there, split off an insert, or, for a casting that \
             bends, allow for the hook with --forgive."
        }
        _ => {
            "Surface hides from both sides of the pull, within what is forgiven. No cutter reaches it along the pull."
        }
    };
    Some(Finding {
        at_mm: pull.hook_at_mm,
        value: Some(pull.hook_mm),
        unit: Some("mm".into()),
        limit: Some(forgive),
        ..finding(verdict, message)
    })
}

/// What parting the body flat, enlarging it, and making halves of it comes to.
fn parted(section: &Body, found: &mut Vec<Finding>) {
    if section.lost_area_mm2 > LOST_SHARE * section.surface_mm2 {
        found.push(Finding {
            value: Some(section.lost_area_mm2),
            unit: Some("mm2".into()),
            ..finding(
                Verdict::Watch,
                "The body's parting line is not flat, and a flat parting face hides this much of its surface. Part the mold \
                 along the line, or change the shape so that its widest places lie at one level.",
            )
        });
    }
    if section.scale != 1.0 {
        found.push(Finding {
            value: Some(section.scale),
            ..finding(
                Verdict::Pass,
                "The body was enlarged by this factor about the model's origin; all figures are of the enlarged body.",
            )
        });
    }
    for block in section.blocks.iter().filter(|b| !b.has_cavity) {
        let message = format!(
            "The {} half is a plain block: the body lies wholly on the other side of the parting level.",
            block.name
        );
        found.push(finding(Verdict::Pass, &message));
    }
}

/// What the model's file holds besides one solid.
fn as_read(model: &Model, found: &mut Vec<Finding>) {
    let body = &model.bodies[0];
    if body.voids > 0 {
        found.push(Finding {
            value: Some(body.voids as f64),
            ..finding(
                Verdict::Fail,
                "The body is hollow: shut-in voids cannot be molded by two halves. Fill them in the design, or cast a core.",
            )
        });
    }
    if model.bodies.len() > 1 {
        found.push(Finding {
            value: Some(model.bodies.len() as f64),
            ..finding(
                Verdict::Watch,
                "The file holds several bodies, and only the largest was looked at. Export what is molded together as one solid.",
            )
        });
    }
    for unused in &model.unused {
        found.push(finding(Verdict::Pass, &format!("{}: {unused}", model.name)));
    }
}

/// With a capital letter and a full stop.
fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    let first: String = chars
        .next()
        .into_iter()
        .flat_map(char::to_uppercase)
        .collect();
    format!("{first}{}.", chars.as_str())
}
