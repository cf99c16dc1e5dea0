//! Corners of one half, and what each cutter leaves.

use super::{LISTED, NOT_KNOWN, Quantity, more_text};
use crate::report::figures::Figures;
use crate::report::page::{Page, Tone};
use crate::report::table::{Cell, Table};
use crate::report::text::{JOIN, clean, name};
use crate::report::{CutterReach, RadiusMap, Reach, SharpEdgeKind, Verdict};
use crate::shop::CutterKind;

/// What the corners ask for, and what each cutter leaves.
pub(super) fn rows(page: &mut Page, reach: &Reach) {
    let f = page.figures;
    corners(page, reach);
    page.verdict_row("reach", reach.verdict, &best_ball(f, reach));
    if reach.cutters.is_empty() {
        page.row("", "There is no cutter in the rack.");
        return;
    }
    let table = cutters(f, &reach.cutters, true);
    if page.fits(&table) {
        page.table(&table);
    } else {
        page.table(&cutters(f, &reach.cutters, false));
        let text = "too wide to show how far each figure is good; the JSON report tells";
        page.note(text);
    }
    left_row(page, &reach.cutters);
}

/// The smallest radius, sharp edges, and how much of the surface asks for small balls.
fn corners(page: &mut Page, reach: &Reach) {
    let f = page.figures;
    let radius = f.text(
        Quantity::Length,
        reach.smallest_concave_radius_mm,
        reach.smallest_concave_radius_mm_pm,
    );
    let text = match reach.smallest_concave_radius_mm {
        None => format!("smallest concave radius {NOT_KNOWN}"),
        Some(0.0) => format!("sharp: no ball fills it{}", f.at(reach.at_mm)),
        Some(_) => format!("smallest concave radius {radius}{}", f.at(reach.at_mm)),
    };
    page.row("corners", &text);
    for edge in reach.sharp_edges.iter().take(LISTED) {
        let length = f.length(edge.length_mm);
        let at = f.at(Some(edge.at_mm));
        let text = match edge.kind {
            SharpEdgeKind::Floor => {
                format!("sharp edge along a floor, {length} long{at}: a flat cutter can")
            }
            SharpEdgeKind::Upright => {
                format!("sharp edge between walls, {length} long{at}: no rotating cutter can")
            }
            SharpEdgeKind::Point => format!("sharp point{at}: no rotating cutter can"),
        };
        page.row("", &text);
    }
    let rest = reach.sharp_edges.len().saturating_sub(LISTED);
    if rest > 0 {
        page.row("", &more_text(rest));
    }
    if let Some(text) = reach.radius_map.as_ref().and_then(|m| radii_text(f, m)) {
        page.row("", &text);
    }
}

fn best_ball(f: Figures, reach: &Reach) -> String {
    let leave = f.length(reach.leave_mm);
    let undecided = |c: &CutterReach| c.kind == CutterKind::Ball && c.clears.is_none();
    let clears = if reach.cutters.iter().any(undecided) {
        "is known to clear"
    } else {
        "clears"
    };
    match (&reach.smallest_ball_needed, &reach.best_ball) {
        (Some(ball), _) => format!(
            "The {} is the largest ball in the rack that clears: it leaves nothing higher than {leave}.",
            name(ball)
        ),
        (None, Some(ball)) => format!(
            "No ball in the rack {clears} to {leave}; the {} leaves least.",
            name(ball)
        ),
        (None, None) => format!("No ball in the rack {clears} to {leave}."),
    }
}

/// Share of the surface up to which a small ball is needed for a few places only.
const FEW: f64 = 0.05;

/// How much of the surface needs how small a ball, and where: at the largest step of the ladder where that is little, or else at
/// its first. `None` where the map has no step.
pub(crate) fn radii_text(f: Figures, map: &RadiusMap) -> Option<String> {
    let few = map.steps.iter().rfind(|s| s.share <= FEW);
    let step = few.or(map.steps.first())?;
    let share = f.text(
        Quantity::Count,
        Some(100.0 * step.share),
        Some(100.0 * step.share_pm),
    );
    let radius = f.length(step.radius_mm);
    let listed = step.regions.iter().take(PLACES);
    let places: Vec<String> = listed
        .map(|r| {
            let area = f.text(Quantity::Area, Some(r.area_mm2), None);
            let tightest = f.length(r.smallest_radius_mm);
            format!("{area} down to R{JOIN}{tightest}{}", f.at(Some(r.at_mm)))
        })
        .collect();
    let where_it_is = match step.places {
        0 => return None,
        1 => "all of it in one place".to_owned(),
        n if n <= PLACES => format!("all of it in {n} places"),
        n => format!("in {n} places, the largest"),
    };
    Some(format!(
        "{share}{JOIN}% of the surface needs a ball under R{JOIN}{radius}, {where_it_is}: {}",
        places.join("; ")
    ))
}

/// Places a region list goes on to.
const PLACES: usize = 3;

/// Where the smallest ball that leaves something leaves it: what asks for a smaller one.
fn left_row(page: &mut Page, cutters: &[CutterReach]) {
    let f = page.figures;
    let leaves = |c: &&CutterReach| c.kind == CutterKind::Ball && !c.left_regions.is_empty();
    let smallest = cutters
        .iter()
        .filter(leaves)
        .min_by(|a, b| a.diameter_mm.total_cmp(&b.diameter_mm));
    let Some(ball) = smallest else { return };
    let places: Vec<String> = (ball.left_regions.iter().take(PLACES))
        .map(|r| {
            let area = f.text(Quantity::Area, Some(r.area_mm2), None);
            format!("{area}{}", f.at(Some(r.at_mm)))
        })
        .collect();
    let rest = ball.left_regions.len().saturating_sub(PLACES);
    let more = if rest > 0 {
        format!("; {rest} more places")
    } else {
        String::new()
    };
    let text = format!(
        "What the {} leaves: {}{more}",
        name(&ball.name),
        places.join("; ")
    );
    page.row("", &text);
}

/// What each cutter leaves, with or without ±.
fn cutters(f: Figures, cutters: &[CutterReach], with_pm: bool) -> Table {
    let heads = [
        "cutter".to_string(),
        "clears".to_string(),
        format!("left high\n{}", f.sign(Quantity::Length)),
        format!("left area\n{}", f.sign(Quantity::Area)),
        format!("left volume\n{}", f.sign(Quantity::Volume)),
        format!("stickout\nneeded {}", f.sign(Quantity::Length)),
    ];
    let row = |c: &CutterReach| {
        let (clears, verdict) = match c.clears {
            Some(true) => ("yes", Verdict::Pass),
            Some(false) => ("no", Verdict::Fail),
            None => ("?", Verdict::Unsure),
        };
        let cell = |q, value, pm: Option<f64>| Cell::from(f.cell(q, value, pm.filter(|_| with_pm)));
        vec![
            Cell::from(clean(&c.name)),
            Cell {
                text: clears.to_string(),
                tone: Tone::Verdict(verdict),
            },
            cell(Quantity::Length, c.left_height_mm, c.left_height_mm_pm),
            cell(Quantity::Area, c.left_area_mm2, c.left_area_mm2_pm),
            cell(Quantity::Volume, c.left_volume_mm3, c.left_volume_mm3_pm),
            cell(
                Quantity::Length,
                c.stickout_needed_mm,
                c.stickout_needed_mm_pm,
            ),
        ]
    };
    Table {
        heads: heads.to_vec(),
        rows: cutters.iter().map(row).collect(),
        left_from: heads.len(),
    }
}
