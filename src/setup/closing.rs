//! How two halves close on each other.

use super::half::{Half, Parting};
use super::lay::lay_over;
use super::plan::outline;
use super::{Frame, Note, SetupConfig, View};
use crate::field::{Columns, Grid};
use crate::mesh::{Mesh, Point};
use nalgebra::{Isometry3, Translation3};
use serde::{Deserialize, Serialize};

/// How the two halves lie in the files.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Layout {
    /// Closed on each other, in one file or two.
    Closed,
    /// In one file, laid open.
    Open,
    /// In two files, not in a closed position.
    Separate,
}

/// How the second half closes on the first.
#[derive(Debug, Clone, PartialEq)]
pub struct Closing {
    /// How they lie in the files.
    pub layout: Layout,
    /// Takes the second half's tool frame to the first's, closed, mm.
    pub b_to_a: Isometry3<f64>,
    /// Distance between the parting faces as they came closed, mm: a gap if positive, an overlap if negative; 0 within the
    /// coordinates' rounding and for halves that were brought together.
    pub gap: f64,
    /// How they were brought together, and by what that was decided, a phrase for the report.
    pub why: String,
}

/// Axes this close to opposite are opposite (1 - cos of 1°).
const OPPOSITE: f64 = 1.5e-4;
/// Share of the smaller plan that must lie over the other for halves to be closed on each other.
const OVER: f64 = 0.5;
/// Contact on less than this share of the outline is no parting face.
const LEAST_CONTACT: f64 = 0.05;
/// Halves with no flat parting face farther apart than this are not taken to stand closed with a gap, mm.
const MOST_APART: f64 = 2.0;
/// Contact is flat when this share of it lies at one level.
const FLAT_CONTACT: f64 = 0.95;

/// Lets one half's clear axis decide the other's where they stand closed and that one sees no hollow.
pub(super) fn agree(meshes: &[&Mesh], views: &mut [View], given: bool) {
    let [a, b] = views else { return };
    let (clear, blind, meshes) = match (a.seen > 0.0, b.seen > 0.0) {
        (true, false) => (a, b, [meshes[0], meshes[1]]),
        (false, true) if !given => (b, a, [meshes[1], meshes[0]]),
        _ => return,
    };
    let axis = -clear.axis;
    let tool = meshes[1].transformed(&Frame::new(axis, 0.0).to_tool);
    let Some((lo, hi)) = tool.bounds() else {
        return;
    };
    // only where the blind half stands against the clear one's parting level
    let lowest_over = -hi.z - clear.level;
    if lowest_over.abs() < 0.25 * (hi.z - lo.z) {
        blind.axis = axis;
        blind.level = hi.z;
        blind.flat = true;
        blind.why = "closes on the other half".to_owned();
    }
}

impl Closing {
    /// Finds how `halves[1]` closes on `halves[0]`; where they touch and the contact is not at the level
    /// found, or not flat, sets the halves' parting by the contact.
    pub(super) fn of(
        halves: &mut [Half],
        config: &SetupConfig,
        two_files: bool,
        notes: &mut Vec<Note>,
    ) -> Closing {
        let [a, b] = halves else {
            unreachable!("called with two halves")
        };
        if let Some(closing) = Closing::as_given(a, b, config, notes) {
            return closing;
        }
        let laid = lay_over(a, b, config, notes);
        let b_to_a = if a.parting == Parting::Flat && b.parting == Parting::Flat {
            laid.b_to_a
        } else {
            let_down(a, b, &laid.b_to_a, config.contact, notes)
        };
        Closing {
            layout: if two_files {
                Layout::Separate
            } else {
                Layout::Open
            },
            b_to_a,
            gap: 0.0,
            why: laid.why,
        }
    }

    /// Where the halves stand closed.
    fn as_given(
        a: &mut Half,
        b: &mut Half,
        config: &SetupConfig,
        notes: &mut Vec<Note>,
    ) -> Option<Closing> {
        let b_to_a = a.frame.to_tool * b.frame.to_tool.inverse();
        let opposite = 1.0 + a.frame.axis.dot(&b.frame.axis) < OPPOSITE;
        if !opposite || !stands_over(a, b, &b_to_a) {
            return None;
        }
        if !config.meets.is_empty() {
            notes.push(Note {
                half: None,
                unsure: false,
                message:
                    "the halves stand closed on each other, so the places of --meet were not used"
                        .to_owned(),
            });
        }
        let gap = set_by_contact(a, b, &b_to_a, config.contact, notes);
        let b_to_a = a.frame.to_tool * b.frame.to_tool.inverse();
        let gap = if a.parting == Parting::Flat && b.parting == Parting::Flat {
            (b_to_a * Point::origin()).z
        } else {
            gap
        };
        // a difference in the coordinates' last digits is contact
        let gap = if gap.abs() <= a.tolerance().max(b.tolerance()) {
            0.0
        } else {
            gap
        };
        Some(Closing {
            layout: Layout::Closed,
            b_to_a,
            gap,
            why: "they stand closed".to_owned(),
        })
    }
}

/// B let down on A, as laid over it by `b_to_a`, until most of the parting faces meet.
fn let_down(
    a: &mut Half,
    b: &mut Half,
    b_to_a: &Isometry3<f64>,
    contact: f64,
    notes: &mut Vec<Note>,
) -> Isometry3<f64> {
    let down = face_distances(a, b, b_to_a).map_or(0.0, |d| most_common(&d, contact).0);
    let let_down = Translation3::new(0.0, 0.0, -down) * b_to_a;
    // the frames may move along their axes when the contact shows another level
    let (a_frame, b_frame) = (a.frame.to_tool, b.frame.to_tool);
    set_by_contact(a, b, &let_down, contact, notes);
    let of_a = a.frame.to_tool * a_frame.inverse();
    let of_b = b.frame.to_tool * b_frame.inverse();
    of_a * let_down * of_b.inverse()
}

/// Whether B stands over A, as closed; both levels may be off by the heights of the halves.
fn stands_over(a: &Half, b: &Half, b_to_a: &Isometry3<f64>) -> bool {
    let (alo, ahi) = a.bounds();
    let Some((blo, bhi)) = b.mesh.transformed(b_to_a).bounds() else {
        return false;
    };
    let overlap = |k: usize| (ahi[k].min(bhi[k]) - alo[k].max(blo[k])).max(0.0);
    let plan = |lo: &Point, hi: &Point| (hi.x - lo.x) * (hi.y - lo.y);
    let over = overlap(0) * overlap(1) >= OVER * plan(&alo, &ahi).min(plan(&blo, &bhi));
    let gap = (b_to_a * Point::origin()).z;
    let thin = (ahi.z - alo.z).min(bhi.z - blo.z);
    over && gap.abs() < 0.5 * thin
}

/// Where both halves have material: distance along Z from A up to B, and A's height.
fn face_distances(a: &Half, b: &Half, b_to_a: &Isometry3<f64>) -> Option<Vec<[f64; 2]>> {
    let grid = coarse_grid(a);
    let columns = Columns::cast(&a.mesh, grid);
    let over = Columns::cast(&b.mesh.transformed(b_to_a), grid);
    let found: Vec<[f64; 2]> = (0..grid.len())
        .filter_map(|k| {
            let (top, under) = (columns.column(k).last()?.z, over.column(k).first()?.z);
            Some([f64::from(under) - f64::from(top), f64::from(top)])
        })
        .collect();
    (!found.is_empty()).then_some(found)
}

/// The middle of the window of twice `within` that holds most distances, and their number.
fn most_common(distances: &[[f64; 2]], within: f64) -> (f64, usize) {
    let mut sorted: Vec<f64> = distances.iter().map(|d| d[0]).collect();
    sorted.sort_by(f64::total_cmp);
    let (mut best, mut from) = ((0, 0), 0);
    for to in 0..sorted.len() {
        while sorted[to] - sorted[from] > 2.0 * within {
            from += 1;
        }
        if to + 1 - from > best.1 - best.0 {
            best = (from, to + 1);
        }
    }
    let window = &sorted[best.0..best.1];
    (window[window.len() / 2], window.len())
}

pub(super) fn coarse_grid(half: &Half) -> Grid {
    let (lo, hi) = half.bounds();
    let cell = (hi.x - lo.x).max(hi.y - lo.y) / super::COARSE;
    Grid::covering([lo.x, lo.y], [hi.x, hi.y], 2.0 * cell, cell)
}

/// Where the halves touch and the contact is not at the levels found, or not flat, sets their parting by it. Halves with no flat
/// level may also stand a little apart, or overlap: says how far.
fn set_by_contact(
    a: &mut Half,
    b: &mut Half,
    b_to_a: &Isometry3<f64>,
    contact: f64,
    notes: &mut Vec<Note>,
) -> f64 {
    let Some(Contact { apart, mut meets }) = touching(a, b, b_to_a, contact) else {
        return 0.0;
    };
    let flat = a.parting == Parting::Flat && b.parting == Parting::Flat;
    meets.sort_by(f64::total_cmp);
    let level = meets[meets.len() / 2];
    let at_level = meets
        .iter()
        .filter(|z| (*z - level).abs() <= contact.max(a.tolerance()))
        .count();
    if at_level as f64 >= FLAT_CONTACT * meets.len() as f64 {
        if level.abs() <= contact && flat {
            return apart;
        }
        shift_level(a, level);
        let b_level = (b_to_a.inverse() * Point::new(0.0, 0.0, level + apart)).z;
        shift_level(b, b_level);
        return apart;
    }
    notes.push(Note {
        half: None,
        unsure: false,
        message: "the parting face is not flat: what the other half does not touch is taken as cavity, and depths are \
                  measured from the nearest rim"
            .to_owned(),
    });
    let closer = Translation3::new(0.0, 0.0, -apart);
    let b_in_a = b.mesh.transformed(&(closer * b_to_a));
    let a_in_b = a.mesh.transformed(&(closer * b_to_a.inverse()));
    a.parting = Parting::Contact {
        other: b_in_a,
        within: contact,
    };
    b.parting = Parting::Contact {
        other: a_in_b,
        within: contact,
    };
    apart
}

/// How the parting faces touch.
struct Contact {
    /// How far the halves stand apart where they do, mm.
    apart: f64,
    /// A's heights there, mm.
    meets: Vec<f64>,
}

/// Where the halves touch as they stand, or else, with no flat level, where most of their faces lie equally far apart; `None`
/// where that is little of the outline.
fn touching(a: &Half, b: &Half, b_to_a: &Isometry3<f64>, contact: f64) -> Option<Contact> {
    let distances = face_distances(a, b, b_to_a)?;
    let outline = outline(&Columns::cast(&a.mesh, coarse_grid(a)));
    let least = LEAST_CONTACT * outline.iter().filter(|i| **i).count() as f64;
    let touching = |apart: f64| -> Vec<f64> {
        let meets = distances.iter().filter(|d| (d[0] - apart).abs() <= contact);
        meets.map(|d| d[1]).collect()
    };
    let (mut apart, mut meets) = (0.0, touching(0.0));
    let flat = a.parting == Parting::Flat && b.parting == Parting::Flat;
    if (meets.len() as f64) < least && !flat {
        let (common, count) = most_common(&distances, contact);
        if common.abs() <= MOST_APART && count as f64 >= least {
            (apart, meets) = (common, touching(common));
        }
    }
    (meets.len() as f64 >= least).then_some(Contact { apart, meets })
}

/// Makes height `z` of the half's tool frame its parting level, flat.
fn shift_level(half: &mut Half, z: f64) {
    half.frame = Frame::new(half.frame.axis, half.frame.level + z);
    for p in &mut half.mesh.vertices {
        p.z -= z;
    }
    super::level_off(&mut half.mesh, half.rounding);
    half.parting = Parting::Flat;
}

/// For each of `count` hollows the share of its cells that the other half enters: `labels` are the hollows by cell, plus
/// one, and `rises` says whether the other half, closed, reaches below this half's parting level there.
pub fn entered(labels: &[u32], count: usize, rises: impl Fn(usize) -> bool) -> Vec<f64> {
    let mut cells = vec![(0usize, 0usize); count];
    for (k, &label) in labels.iter().enumerate() {
        if label > 0 {
            let c = &mut cells[label as usize - 1];
            c.0 += 1;
            c.1 += usize::from(rises(k));
        }
    }
    cells
        .iter()
        .map(|c| {
            if c.0 == 0 {
                0.0
            } else {
                c.1 as f64 / c.0 as f64
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pin_that_fills_a_hollow_is_seen() {
        let shares = entered(&[1, 1, 0, 2, 2], 2, |k| k < 2);
        assert_eq!(shares, [1.0, 0.0]);
    }
}
