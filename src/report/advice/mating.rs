//! What to do about the two halves together.

use super::super::model::{Finding, Mating, OutlineFit, Pin, Place, Verdict};
use super::length;
use crate::shop::Shop;

/// Everything worth saying about how the halves close.
pub(super) fn findings(mating: &Mating, shop: &Shop) -> Vec<Finding> {
    let mut found = Vec::new();
    faces(mating, shop, &mut found);
    outline(mating, shop, &mut found);
    for pin in &mating.pins {
        pins(pin, &mut found);
    }
    for hole in &mating.empty_sockets {
        let message = if hole.faces_hole {
            "A round hole faces a hole of the other half and no pin stands in either: counted as cavity. If it is for a \
             loose dowel, take it out with --not-cavity."
        } else {
            "A round hole that no pin of the other half enters: counted as cavity. Add the pin, fill the hole, or take it \
             out with --not-cavity."
        };
        found.push(Finding {
            half: Some(hole.half.clone()),
            value: Some(hole.diameter_mm),
            unit: Some("mm".into()),
            at_mm: Some(hole.at_mm),
            ..Finding::plain("mating", Verdict::Watch, message)
        });
    }
    hollows(mating, &mut found);
    found
}

fn faces(mating: &Mating, shop: &Shop, found: &mut Vec<Finding>) {
    let limit = shop.limits.contact;
    let Some((gap, overlap)) = mating.gap_mm.zip(mating.overlap_mm) else {
        found.push(Finding::plain(
            "mating",
            Verdict::Unsure,
            "No parting face of one half lies over one of the other, so gap and overlap are not known. Give the halves in \
             closed position.",
        ));
        return;
    };
    let mut say = |value: f64, pm: Option<f64>, at: Option<Place>, fails: &str, unsure: &str| {
        let verdict = Verdict::at_most(value, pm.unwrap_or(0.0), limit);
        let message = match verdict {
            Verdict::Fail => fails,
            Verdict::Unsure => unsure,
            _ => return,
        };
        found.push(length("mating", verdict, message, at, Some(value), limit));
    };
    say(
        gap,
        mating.gap_mm_pm,
        mating.gap_at_mm,
        "The parting faces stand apart near the cavity: the casting gets flash. Bring the halves together, or let more \
         pass with --contact.",
        "The gap near the cavity is too close to the limit to call. Let more pass with --contact, or bring the halves \
         together.",
    );
    say(
        overlap,
        mating.overlap_mm_pm,
        mating.overlap_at_mm,
        "The halves cut into each other near the cavity: they cannot close. Lower what stands proud, or let more pass \
         with --contact.",
        "The overlap near the cavity is too close to the limit to call. Let more pass with --contact, or lower what \
         stands proud.",
    );
    let f = &mating.faces;
    if f.overlap_mm > limit && overlap <= limit {
        found.push(length(
            "mating",
            Verdict::Watch,
            "The halves cut into each other away from the cavity: they cannot close. Lower what stands proud.",
            f.overlap_at_mm,
            Some(f.overlap_mm),
            limit,
        ));
    }
}

fn outline(mating: &Mating, shop: &Shop, found: &mut Vec<Finding>) {
    let limit = shop.limits.contact;
    let Some((mismatch, outline)) = mating.outline_mismatch_mm.zip(mating.outline.as_ref()) else {
        found.push(Finding::plain(
            "mating",
            Verdict::Pass,
            "One half has no cavity outline at the parting line, so there is no mismatch to measure. Check that it is meant as \
             a flat cover.",
        ));
        return;
    };
    let pm = mating.outline_mismatch_mm_pm.unwrap_or(0.0);
    let verdict = Verdict::at_most(mismatch, pm, limit);
    let moves = outline.residual_mm < 0.5 * mismatch;
    let message = match verdict {
        Verdict::Fail if moves => {
            "The cavity outlines do not meet at the parting line: the casting gets a step there. Move one half's cavity by \
             the shift and turn in the report, or let more pass with --contact."
        }
        Verdict::Fail => {
            "The cavity outlines differ at the parting line and no shift or turn makes them one: the casting gets a step \
             there. Correct the shape of one, or let more pass with --contact."
        }
        Verdict::Unsure => {
            "The step between the cavity outlines is too close to the limit to call. Export with a finer chord tolerance, or \
             let more pass with --contact."
        }
        _ => "",
    };
    if !message.is_empty() {
        found.push(length(
            "mating",
            verdict,
            message,
            Some(outline.at_mm),
            Some(mismatch),
            limit,
        ));
    }
    one_sided(mating, outline, found);
}

/// Lengths of the outline that only one half has.
fn one_sided(mating: &Mating, outline: &OutlineFit, found: &mut Vec<Finding>) {
    for half in ["A", "B"] {
        let own = || outline.one_sided.iter().filter(|s| s.half == half);
        let Some(longest) = own().max_by(|p, q| p.length_mm.total_cmp(&q.length_mm)) else {
            continue;
        };
        found.push(Finding {
            half: Some(half.to_owned()),
            at_mm: Some(match half {
                "B" => before_closing(mating, longest.at_mm),
                _ => longest.at_mm,
            }),
            value: Some(own().map(|s| s.length_mm).sum()),
            unit: Some("mm".into()),
            ..Finding::plain(
                "mating",
                Verdict::Pass,
                "A length of the cavity's outline has none against it in the other half, as of a gate or vent cut in one \
                 half only; it is not in the mismatch. Check that it is meant.",
            )
        });
    }
}

/// A place of the closed mold in B's own model coordinates, in which all findings about B are told.
fn before_closing(mating: &Mating, at: Place) -> Place {
    let rows = mating.b_to_closed;
    let away: Place = std::array::from_fn(|k| at[k] - rows[k][3]);
    // the rotation's inverse is its transpose
    std::array::from_fn(|j| (0..3).map(|k| rows[k][j] * away[k]).sum())
}

fn pins(pin: &Pin, found: &mut Vec<Finding>) {
    let mut say = |verdict: Verdict, message: &str, value: Option<f64>, limit: Option<f64>| {
        found.push(Finding {
            half: Some(pin.half.clone()),
            at_mm: Some(pin.at_mm),
            value,
            unit: Some("mm".into()),
            limit,
            ..Finding::plain("mating", verdict, message)
        });
    };
    if !pin.socket {
        say(
            Verdict::Fail,
            "A pin has no socket in the other half: the halves cannot close. Add the hole, or take the pin away.",
            Some(pin.pin_height_mm),
            None,
        );
        return;
    }
    let goes_in = pin.goes_in();
    let message = match goes_in {
        Verdict::Pass | Verdict::Watch => None,
        Verdict::Unsure => Some(
            "Whether a pin goes into its socket hangs on less than its facets cut off. Export with a finer tolerance, or leave more clearance.",
        ),
        Verdict::Fail if pin.radial_clearance_mm.is_some_and(|r| r >= 0.0) => Some(
            "A pin stands off the centre of its socket by more than its clearance: it cuts into the wall. Move one of them.",
        ),
        Verdict::Fail => Some(
            "A pin is too large for its socket: it cuts into the wall. Make the hole wider or the pin slimmer.",
        ),
    };
    if let Some(message) = message {
        say(goes_in, message, pin.clearance_mm, Some(0.0));
    }
    if let Some(axial) = pin
        .axial_clearance_mm
        .filter(|_| pin.bottoms_out == Some(true))
    {
        say(
            Verdict::Fail,
            "A pin meets the floor of its socket before the halves meet. Make the hole deeper or the pin shorter.",
            Some(axial),
            Some(0.0),
        );
    }
}

fn hollows(mating: &Mating, found: &mut Vec<Finding>) {
    for hollow in &mating.hollows {
        if hollow.openings.is_empty() {
            found.push(Finding {
                at_mm: Some(hollow.at_mm),
                value: Some(hollow.volume_mm3),
                unit: Some("mm3".into()),
                ..Finding::plain(
                    "mating",
                    Verdict::Watch,
                    "The closed hollow has no opening to the outside, so it cannot be filled. Cut a gate or a vent, or fill it \
                     before closing.",
                )
            });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::samples;

    #[test]
    fn a_place_of_b_is_told_as_b_lies_in_its_file() {
        let mut mating = samples::pair().mating.unwrap();
        // turned upside down about X, then shifted
        mating.b_to_closed = [
            [1.0, 0.0, 0.0, 10.0],
            [0.0, -1.0, 0.0, 20.0],
            [0.0, 0.0, -1.0, 30.0],
        ];
        // (1, 2, 3) goes to (1 + 10, -2 + 20, -3 + 30)
        assert_eq!(before_closing(&mating, [11.0, 18.0, 27.0]), [1.0, 2.0, 3.0]);
    }
}
