//! The two halves together.

use super::super::figures::{Figures, Quantity};
use super::super::page::Page;
use super::super::table::{Cell, Table};
use super::super::text::{clean, name};
use super::super::{ClosedHollow, Layout, Mating, OpeningKind, Pin, Place};
use super::{LISTED, more};

/// Mating, rims, filling, pins, hollows.
pub(super) fn section(page: &mut Page, mating: &Mating) {
    page.heading("Both halves together");
    let f = page.figures;
    let length = |mm| f.text(Quantity::Length, mm, None);
    let layout = match mating.layout {
        Layout::Closed => "They came closed on each other.".to_string(),
        Layout::Open => format!(
            "They came laid open side by side; {}.",
            clean(&mating.closed_by)
        ),
        Layout::Separate => format!(
            "They came in two files, not closed on each other; {}.",
            clean(&mating.closed_by)
        ),
    };
    let text = format!(
        "{layout} Near the parting line: gap {}, overlap {}. The two cavity outlines differ by {}.",
        length(mating.gap_mm),
        length(mating.overlap_mm),
        length(mating.outline_mismatch_mm)
    );
    page.verdict_row("mating", mating.verdict, &text);
    rims(page, mating);
    faces(page, mating);
    let volume = f.text(
        Quantity::Volume,
        mating.closed_volume_mm3,
        mating.closed_volume_mm3_pm,
    );
    let weight = mating.fill_weight_g.map_or(String::new(), |g| {
        format!(", {} g", f.cell(Quantity::Count, Some(g), None))
    });
    page.row("fills with", &(volume + &weight));
    for hollow in mating.hollows.iter().take(LISTED) {
        self::hollow(page, hollow);
    }
    release(page, mating);
    pins(page, mating);
}

/// What would make the rims meet.
fn rims(page: &mut Page, mating: &Mating) {
    let f = page.figures;
    let Some(fit) = &mating.outline else { return };
    let off = norm(fit.shift_mm);
    // below what is shown, the rims meet
    if mating.outline_mismatch_mm.is_none_or(|m| m < 0.0005) {
        return;
    }
    let turn = if fit.turn_deg.abs() < 0.005 {
        String::new()
    } else {
        format!(
            " and a turn of {}",
            f.text(Quantity::Angle, Some(fit.turn_deg), None)
        )
    };
    let text = format!(
        "a shift of {} towards {}{turn} of half B's cavity leaves {}",
        f.length(off),
        direction(f, fit.shift_mm),
        f.length(fit.residual_mm)
    );
    page.row("best fit", &text);
}

fn faces(page: &mut Page, mating: &Mating) {
    let f = page.figures;
    let faces = &mating.faces;
    let Some(share) = faces.contact_share else {
        return;
    };
    let mut text = format!(
        "{} of the parting face is in contact",
        super::percent(share)
    );
    for (what, size, at) in [
        ("largest gap", faces.gap_mm, faces.gap_at_mm),
        ("deepest overlap", faces.overlap_mm, faces.overlap_at_mm),
    ] {
        if let Some(at) = at {
            text += &format!("; {what} {} at {}", f.length(size), f.place(at));
        }
    }
    page.row("faces", &text);
}

fn hollow(page: &mut Page, hollow: &ClosedHollow) {
    let f = page.figures;
    let mut parts = Vec::new();
    if hollow.openings.is_empty() {
        parts.push("no opening to the outside".to_string());
    }
    for opening in hollow.openings.iter().take(LISTED) {
        let way = match opening.kind {
            OpeningKind::Side => "opens to a side",
            OpeningKind::Through => "opens to an underside",
            OpeningKind::Hidden => "opens by a hidden way",
        };
        let size = match opening.size_mm {
            Some(mm) => format!(", {} at its narrowest", f.length(mm)),
            None => String::new(),
        };
        parts.push(format!("{way}{size}"));
    }
    if hollow.openings.len() > LISTED {
        parts.push(super::more_text(hollow.openings.len() - LISTED));
    }
    if let (Some(wall), Some(half)) = (hollow.thinnest_wall_mm, &hollow.thinnest_wall_half) {
        parts.push(format!(
            "block wall at least {} (half {})",
            f.length(wall),
            name(half)
        ));
    }
    if let Some(section) = hollow.thinnest_section_mm {
        parts.push(format!("casting at least {} thick", f.length(section)));
    }
    page.row("hollow", &parts.join("; "));
}

fn release(page: &mut Page, mating: &Mating) {
    let text = match (&mating.trapped_by[..], &mating.stays_in) {
        ([], Some(half)) => format!("the casting stays in half {}, which drags more", name(half)),
        ([], None) => "both halves drag alike: the casting may stay in either".to_string(),
        ([one], _) => format!("undercuts of half {} hold the casting", name(one)),
        _ => "undercuts of both halves hold the casting".to_string(),
    };
    page.row("release", &text);
}

fn pins(page: &mut Page, mating: &Mating) {
    let f = page.figures;
    if mating.pins.is_empty() {
        page.row("pins", "none found");
        return;
    }
    page.row("pins", &format!("lengths in {}", f.lengths()));
    let cell = |mm| Cell::from(f.cell(Quantity::Length, mm, None));
    let heads = [
        "foot of the pin",
        "pin\ndia.",
        "socket\ndia.",
        "radial\nclear.",
        "off\ncentre",
        "end\nclear.",
    ];
    let rows = mating.pins.iter().take(LISTED).map(|pin| {
        let figures = [
            pin.pin_diameter_mm,
            pin.socket_diameter_mm,
            pin.radial_clearance_mm.or(pin.clearance_mm),
            pin.offset_mm,
            pin.axial_clearance_mm,
        ];
        let mut row = vec![Cell::from(f.place(pin.at_mm))];
        row.extend(figures.map(cell));
        row
    });
    page.table(&Table {
        heads: heads.map(String::from).to_vec(),
        rows: rows.collect(),
        left_from: heads.len(),
    });
    more(page, mating.pins.len());
    let shapes = mating
        .pins
        .iter()
        .filter(|p| p.radial_clearance_mm.is_none());
    for pin in shapes.take(LISTED) {
        shape(page, pin);
    }
}

/// The clearance of what is not round, as it stands.
fn shape(page: &mut Page, pin: &Pin) {
    let f = page.figures;
    let (Some(least), Some(most)) = (pin.clearance_mm, pin.clearance_most_mm) else {
        return;
    };
    let text = format!(
        "not round, at {}: clearance {}{} to {}{} all round it",
        f.place(pin.at_mm),
        f.length(least),
        f.at(pin.clearance_at_mm),
        f.length(most),
        f.at(pin.clearance_most_at_mm),
    );
    page.row("shape", &text);
}

fn norm(v: Place) -> f64 {
    v.iter().map(|c| c * c).sum::<f64>().sqrt()
}

/// `+X` for a direction along an axis of the file, else its components.
fn direction(f: Figures, v: Place) -> String {
    let size = norm(v);
    for (k, axis) in ["X", "Y", "Z"].iter().enumerate() {
        if v[k].abs() >= 0.9995 * size {
            return format!("{}{axis}", if v[k] > 0.0 { '+' } else { '-' });
        }
    }
    f.place(v)
}
