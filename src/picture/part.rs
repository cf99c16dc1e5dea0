//! Maps of the part that virtual halves were made from, seen along the pull.

use super::cells::{along, blot, cover, widen};
use super::layers::{MOST_DRAFT, plan_of};
use super::map::{Layer, Limit, Stroke};
use crate::report::{Figures, Quantity, Report};
use crate::units::Unit;
use crate::vet::{Evidence, HalfEvidence};
use nalgebra::Point3;

/// Cells on either side of the parting line that show its height.
const LINE_CELLS: i64 = 6;

/// The maps: parting line, draft, and what is hidden from both sides where there is any. None but for a body.
pub fn part_layers(report: &Report, evidence: &Evidence) -> Vec<Layer> {
    let Some(part) = &evidence.part else {
        return Vec::new();
    };
    let mut layers: Vec<Layer> = Vec::new();
    layers.extend(parting(report, part));
    layers.push(draft(report, part));
    layers.extend(hidden(report, part));
    layers
}

/// The parting line of the first pull, frame of the pull: closed curves, the first place once more at the end.
pub fn parting_line(report: &Report, part: &HalfEvidence) -> Vec<Vec<[f64; 3]>> {
    let pull = report.body.as_ref().and_then(|b| b.pulls.first());
    let curves = pull.into_iter().flat_map(|p| &p.parting_line);
    curves
        .map(|curve| {
            let places = curve.iter().chain(curve.first());
            places
                .map(|p| (part.frame.to_tool * Point3::from(*p)).coords.into())
                .collect()
        })
        .collect()
}

fn parting(report: &Report, part: &HalfEvidence) -> Option<Layer> {
    let pull = report.body.as_ref()?.pulls.first()?;
    let (grid, ground) = plan_of(part);
    let mut values = vec![f32::NAN; grid.len()];
    let mut strokes = Vec::new();
    let (mut low, mut high) = (0.0_f64, 0.0_f64);
    for curve in parting_line(report, part) {
        for ends in curve.windows(2) {
            let (a, b) = (ends[0], ends[1]);
            let length = (b[0] - a[0]).hypot(b[1] - a[1]).max(f64::MIN_POSITIVE);
            for at in along([a[0], a[1]], [b[0], b[1]], grid.cell) {
                let share = (at[0] - a[0]).hypot(at[1] - a[1]) / length;
                let height = a[2] + share * (b[2] - a[2]);
                blot(&grid, &mut values, at, height as f32, LINE_CELLS);
            }
            (low, high) = (low.min(a[2]), high.max(a[2]));
        }
        strokes.push(Stroke {
            points: curve.iter().map(|p| [p[0], p[1]]).collect(),
            bold: false,
        });
    }
    // a flat line has a scale, too
    let least = 0.02 * grid.nx.max(grid.ny) as f64 * grid.cell;
    let f = Figures { unit: Unit::Mm };
    Some(Layer {
        key: "part-parting".into(),
        title: "Part: parting line, height over the flat level".into(),
        alt: format!(
            "The part seen along the pull, with its parting line coloured by height over the flat parting level: {} long, it goes \
             up and down by {}.",
            f.length(pull.parting_length_mm),
            f.length(pull.parting_flatness_mm)
        ),
        values,
        ground,
        range: [low.min(-least), high.max(least)],
        strokes,
        ..Layer::bare(grid)
    })
}

fn draft(report: &Report, part: &HalfEvidence) -> Layer {
    let (grid, ground) = plan_of(part);
    let mut values = vec![f32::NAN; grid.len()];
    for (t, facet) in part.facets.iter().enumerate() {
        if let Some(facet) = facet {
            cover(&grid, part.mesh.corners(t), |k| {
                values[k] = values[k].min(facet.draft_deg);
            });
        }
    }
    let required = report.settings.get("draft_deg").and_then(|v| v.as_f64());
    let required = required.unwrap_or(1.0);
    widen(&grid, &mut values, |v| f64::from(v) < required);
    let top = MOST_DRAFT.max(3.0 * required);
    let pull = report.body.as_ref().and_then(|b| b.pulls.first());
    let f = Figures { unit: Unit::Mm };
    Layer {
        key: "part-draft".into(),
        title: format!("Part: least draft of either side (colours end at {top}°)"),
        alt: format!(
            "The part seen along the pull, coloured by the least draft at each place towards the side it faces; {required}° are \
             required, {} of surface have less.",
            f.text(Quantity::Area, pull.map(|p| p.short_area_mm2), None)
        ),
        quantity: Quantity::Angle,
        values,
        ground,
        range: [0.0, top],
        limits: vec![Limit {
            value: required,
            above: false,
        }],
        ..Layer::bare(grid)
    }
}

fn hidden(report: &Report, part: &HalfEvidence) -> Option<Layer> {
    let (grid, ground) = plan_of(part);
    let mut values = vec![f32::NAN; grid.len()];
    for (t, facet) in part.facets.iter().enumerate() {
        if facet.is_some_and(|f| f.hidden) {
            let corners = part.mesh.corners(t);
            let height = (corners.iter().map(|p| p.z).sum::<f64>() / 3.0) as f32;
            cover(&grid, corners, |k| values[k] = values[k].max(height));
        }
    }
    let known = || values.iter().copied().filter(|v| !v.is_nan());
    let (low, high) = (known().reduce(f32::min)?, known().reduce(f32::max)?);
    widen(&grid, &mut values, |_| true);
    let pull = report.body.as_ref().and_then(|b| b.pulls.first());
    let f = Figures { unit: Unit::Mm };
    Some(Layer {
        key: "part-hidden".into(),
        title: "Part: surface that neither half sees, by height over the level".into(),
        alt: format!(
            "The part seen along the pull; hatched where surface is seen neither along the pull nor against it: {} in all, the \
             largest hook {}.",
            f.text(
                Quantity::Area,
                pull.map(|p| p.hidden_area_mm2),
                pull.map(|p| p.hidden_area_mm2_pm)
            ),
            f.text(
                Quantity::Length,
                pull.map(|p| p.hook_mm),
                pull.map(|p| p.hook_mm_pm)
            )
        ),
        values,
        ground,
        range: [f64::from(low), f64::from(high).max(f64::from(low) + 1e-3)],
        limits: vec![Limit {
            value: f64::NEG_INFINITY,
            above: true,
        }],
        ..Layer::bare(grid)
    })
}
