//! Maps of two halves together, closed, in A's plan.

use super::cells::{along, blot, largest};
use super::layers::plan_of;
use super::map::{Layer, Limit, Stroke};
use super::ticks::round_step;
use crate::field::Grid;
use crate::report::{Figures, Mating, Quantity, Report};
use crate::units::Unit;
use crate::vet::{Evidence, PairEvidence, RimStep};

/// Cells on either side of a rim that show its mismatch.
const RIM_CELLS: i64 = 7;
/// How far the largest mismatch is drawn, as a share of the map.
const DRAWN: f64 = 0.03;

/// The maps: gap and overlap of the parting faces, mismatch of the cavity rims. None without a pair.
pub fn pair_layers(report: &Report, evidence: &Evidence) -> Vec<Layer> {
    let (Some(pair), Some(mating)) = (&evidence.pair, &report.mating) else {
        return Vec::new();
    };
    let contact = report.settings.get("contact_mm").and_then(|v| v.as_f64());
    let mut layers: Vec<Layer> = Vec::new();
    layers.extend(gap(evidence, pair, mating, contact));
    layers.extend(mismatch(evidence, pair, mating, contact));
    layers
}

fn gap(
    evidence: &Evidence,
    pair: &PairEvidence,
    mating: &Mating,
    contact: Option<f64>,
) -> Option<Layer> {
    let (grid, ground) = plan_of(evidence.halves.first()?);
    let mut values = vec![f32::NAN; grid.len()];
    let fine = pair.gap.grid;
    for (k, &v) in pair.gap.values().iter().enumerate() {
        let [x, y] = fine.centre_of(k);
        if let Some((i, j)) = grid.cell_at(x, y).filter(|_| v.is_finite()) {
            let cell = &mut values[grid.index(i, j)];
            // the largest either way
            if cell.is_nan() || cell.abs() < v.abs() {
                *cell = v;
            }
        }
    }
    let known = || values.iter().copied().filter(|v| !v.is_nan());
    known().next()?;
    let least = contact.unwrap_or(0.05);
    let low = f64::from(known().fold(0.0, f32::min)).min(-2.0 * least);
    let high = f64::from(known().fold(0.0, f32::max)).max(2.0 * least);
    let f = Figures { unit: Unit::Mm };
    let faces = &mating.faces;
    Some(Layer {
        key: "pair-gap".into(),
        title: "Both halves: gap of the parting faces".into(),
        alt: format!(
            "Map of half A's plan coloured by the distance between the closed parting faces: the largest gap is {}, the deepest \
             overlap {}; {} in contact.",
            f.length(faces.gap_mm),
            f.length(faces.overlap_mm),
            faces.contact_share.map_or("no part is".into(), |s| format!(
                "{:.0} % of them are",
                100.0 * s
            ))
        ),
        values,
        ground,
        range: [low, high],
        limits: contact
            .map(|c| [(c, true), (-c, false)].map(|(value, above)| Limit { value, above }))
            .into_iter()
            .flatten()
            .collect(),
        note: "below zero the halves overlap".into(),
        ..Layer::bare(grid)
    })
}

fn mismatch(
    evidence: &Evidence,
    pair: &PairEvidence,
    mating: &Mating,
    contact: Option<f64>,
) -> Option<Layer> {
    let outline = mating.outline.as_ref()?;
    let size = mating.outline_mismatch_mm?;
    let half = evidence.halves.first()?;
    let (grid, ground) = plan_of(half);
    let at = half.frame.to_tool * nalgebra::Point3::from(outline.at_mm);
    let mut values = by_cell(&grid, &pair.rim);
    // the largest as it was found, between the pieces
    blot(&grid, &mut values, [at.x, at.y], size as f32, RIM_CELLS);
    let limit = contact.unwrap_or(0.05);
    let most = largest(&values).max(2.0 * limit);
    let side = grid.nx.max(grid.ny) as f64 * grid.cell;
    // shown farther off than it is, by a round number
    let times = (size > 1e-4).then(|| round_step(DRAWN * side / size / 2.0).max(1.0));
    let f = Figures { unit: Unit::Mm };
    Some(Layer {
        key: "pair-mismatch".into(),
        title: "Both halves: mismatch of the cavity rims".into(),
        alt: format!(
            "Map of half A's plan with the cavity rims of both halves over each other, coloured by their distance: {} at most, {} \
             is let pass.",
            f.text(Quantity::Length, Some(size), mating.outline_mismatch_mm_pm),
            f.length(limit)
        ),
        values,
        ground,
        range: [0.0, round_step(most)],
        limits: contact
            .map(|value| Limit { value, above: true })
            .into_iter()
            .collect(),
        strokes: (pair.rim.iter())
            .flat_map(|step| strokes(step, times))
            .flatten()
            .collect(),
        note: match times {
            Some(times) => format!("thin: half A; bold: half B, {times} times as far off"),
            None => "the rims lie on each other".into(),
        },
        ..Layer::bare(grid)
    })
}

/// How far the rims are off, by the cells that half A's runs through.
fn by_cell(grid: &Grid, rim: &[RimStep]) -> Vec<f32> {
    let mut values = vec![f32::NAN; grid.len()];
    for step in rim {
        for at in along(step.a[0], step.a[1], grid.cell) {
            blot(grid, &mut values, at, step.mismatch as f32, RIM_CELLS);
        }
    }
    values
}

/// A piece of half A's rim, and of B's so many times as far off.
fn strokes(step: &RimStep, times: Option<f64>) -> [Option<Stroke>; 2] {
    let thin = Stroke {
        points: step.a.to_vec(),
        bold: false,
    };
    let far = times.map(|times| Stroke {
        points: [0, 1]
            .map(|e| [0, 1].map(|c| step.a[e][c] + times * (step.b[e][c] - step.a[e][c])))
            .to_vec(),
        bold: true,
    });
    [Some(thin), far]
}
