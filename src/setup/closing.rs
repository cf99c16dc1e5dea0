//! How two halves close on each other.

use super::half::{Half, Parting};
use super::plan::outline;
use super::{Frame, Note, View};
use crate::field::{Columns, Grid, HeightMap};
use crate::mesh::{Mesh, Point};
use nalgebra::{Isometry3, Translation3, UnitQuaternion};

/// How the halves lie in the files.
pub use crate::report::Layout;

/// How the second half closes on the first.
#[derive(Debug, Clone, PartialEq)]
pub struct Closing {
    /// How they came.
    pub layout: Layout,
    /// Takes the second half's tool frame to the first's, closed.
    pub b_to_a: Isometry3<f64>,
    /// Distance between the parting levels when closed, mm: a gap if positive.
    pub gap: f64,
    /// How they were brought together, and by what that was decided.
    pub why: String,
}

/// Axes this close to opposite are opposite (1 - cos of 1°).
const OPPOSITE: f64 = 1.5e-4;
/// Share of the smaller plan that must lie over the other for halves to be closed on each other.
const OVER: f64 = 0.5;
/// Contact on less than this share of the outline is no parting face.
const LEAST_CONTACT: f64 = 0.05;
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
        contact: f64,
        two_files: bool,
        notes: &mut Vec<Note>,
    ) -> Closing {
        let [a, b] = halves else {
            unreachable!("called with two halves")
        };
        let b_to_a = a.frame.to_tool * b.frame.to_tool.inverse();
        let opposite = 1.0 + a.frame.axis.dot(&b.frame.axis) < OPPOSITE;
        if opposite && let Some(gap) = stands_over(a, b, &b_to_a) {
            set_by_contact(a, b, contact, notes);
            let b_to_a = a.frame.to_tool * b.frame.to_tool.inverse();
            let gap = if a.parting == Parting::Flat && b.parting == Parting::Flat {
                (b_to_a * Point::origin()).z
            } else {
                gap.max(0.0)
            };
            // a difference in the coordinates' last digits is contact
            let gap = if gap.abs() <= a.tolerance().max(b.tolerance()) {
                0.0
            } else {
                gap
            };
            return Closing {
                layout: Layout::Closed,
                b_to_a,
                gap,
                why: "they stand closed".to_owned(),
            };
        }
        let layout = if two_files {
            Layout::Separate
        } else {
            Layout::Open
        };
        let (b_to_a, clear) = lay_over(a, b);
        if !clear {
            notes.push(Note {
                half: None,
                unsure: true,
                message: "the halves were not given closed, and more than one way of closing them fits as well; \
                          give them in closed position to be sure"
                    .to_owned(),
            });
        }
        Closing {
            layout,
            b_to_a,
            gap: 0.0,
            why: String::new(),
        }
    }
}

/// Distance from A's parting level up to B's, if B stands over A; both levels may be off by the heights of the halves.
fn stands_over(a: &Half, b: &Half, b_to_a: &Isometry3<f64>) -> Option<f64> {
    let (alo, ahi) = a.bounds();
    let (blo, bhi) = b.mesh.transformed(b_to_a).bounds()?;
    let overlap = |k: usize| (ahi[k].min(bhi[k]) - alo[k].max(blo[k])).max(0.0);
    let plan = |lo: &Point, hi: &Point| (hi.x - lo.x) * (hi.y - lo.y);
    let over = overlap(0) * overlap(1) >= OVER * plan(&alo, &ahi).min(plan(&blo, &bhi));
    let gap = (b_to_a * Point::origin()).z;
    let thin = (ahi.z - alo.z).min(bhi.z - blo.z);
    (over && gap.abs() < 0.5 * thin).then_some(gap)
}

fn set_by_contact(a: &mut Half, b: &mut Half, contact: f64, notes: &mut Vec<Note>) {
    let b_in_a = b
        .mesh
        .transformed(&(a.frame.to_tool * b.frame.to_tool.inverse()));
    let (lo, hi) = a.bounds();
    let cell = (hi.x - lo.x).max(hi.y - lo.y) / super::COARSE;
    let grid = Grid::covering([lo.x, lo.y], [hi.x, hi.y], 2.0 * cell, cell);
    let (columns, over) = (Columns::cast(&a.mesh, grid), Columns::cast(&b_in_a, grid));
    let mut meets: Vec<f64> = (0..grid.len())
        .filter_map(|k| {
            let (top, under) = (columns.column(k).last()?.z, over.column(k).first()?.z);
            (f64::from((under - top).abs()) <= contact).then_some(f64::from(top))
        })
        .collect();
    let outline = columns_in_outline(&columns);
    if (meets.len() as f64) < LEAST_CONTACT * outline as f64 {
        return;
    }
    meets.sort_by(f64::total_cmp);
    let level = meets[meets.len() / 2];
    let at_level = meets
        .iter()
        .filter(|z| (*z - level).abs() <= contact.max(a.tolerance()))
        .count();
    if at_level as f64 >= FLAT_CONTACT * meets.len() as f64 {
        let flat = |h: &Half| h.parting == Parting::Flat;
        if level.abs() <= contact && flat(a) && flat(b) {
            return;
        }
        shift_level(a, level);
        let b_level = (b.frame.to_tool * a.frame.to_tool.inverse() * Point::origin()).z;
        shift_level(b, b_level);
        return;
    }
    notes.push(Note {
        half: None,
        unsure: false,
        message: "the parting face is not flat: what the other half does not touch is taken as cavity, and depths are \
                  measured from the nearest rim"
            .to_owned(),
    });
    let a_in_b = a
        .mesh
        .transformed(&(b.frame.to_tool * a.frame.to_tool.inverse()));
    a.parting = Parting::Contact {
        other: b_in_a,
        within: contact,
    };
    b.parting = Parting::Contact {
        other: a_in_b,
        within: contact,
    };
}

fn columns_in_outline(columns: &Columns) -> usize {
    outline(columns).iter().filter(|i| **i).count()
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

/// Turns B over onto A, outline on outline, in the way that brings the hollows best over each other.
/// Also says whether one way is clearly better.
fn lay_over(a: &Half, b: &Half) -> (Isometry3<f64>, bool) {
    let (alo, ahi) = a.bounds();
    let cell = (ahi.x - alo.x).max(ahi.y - alo.y) / super::COARSE;
    let grid = Grid::covering([alo.x, alo.y], [ahi.x, ahi.y], 2.0 * cell, cell);
    let own = Columns::cast(&a.mesh, grid);
    let (own_top, own_inside) = (own.top(), outline(&own));
    let flip = UnitQuaternion::from_axis_angle(&nalgebra::Vector3::x_axis(), std::f64::consts::PI);
    let mut ways: Vec<(f64, Isometry3<f64>)> = (0..4)
        .map(|quarter| {
            let angle = f64::from(quarter) * std::f64::consts::FRAC_PI_2;
            let turn = UnitQuaternion::from_axis_angle(&nalgebra::Vector3::z_axis(), angle) * flip;
            let turn = Isometry3::from_parts(Translation3::identity(), turn);
            let (lo, hi) = b.mesh.transformed(&turn).bounds().unwrap_or_default();
            let shift = Translation3::new(
                0.5 * (alo.x + ahi.x - lo.x - hi.x),
                0.5 * (alo.y + ahi.y - lo.y - hi.y),
                0.0,
            );
            let way = shift * turn;
            (fit(&own_top, &own_inside, &b.mesh.transformed(&way)), way)
        })
        .collect();
    ways.sort_by(|p, q| q.0.total_cmp(&p.0));
    (ways[0].1, ways[0].0 > 1.02 * ways[1].0)
}

/// How well the outlines and the openings of the hollows cover each other, 0 to 2; what a pin hits counts against.
fn fit(top: &HeightMap, inside: &[bool], over: &Mesh) -> f64 {
    let grid = top.grid;
    let other = Columns::cast(over, grid);
    let (mut both, mut either, mut open_both, mut open_either, mut hit) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for (k, &is_inside) in inside.iter().enumerate() {
        let under = other.column(k).first().map(|c| c.z);
        let (a, b) = (is_inside, under.is_some());
        both += f64::from(a && b);
        either += f64::from(a || b);
        if !(a && b) {
            continue;
        }
        let z = top.get(k).unwrap_or(0.0);
        let up = under.unwrap_or(0.0);
        let (open_a, open_b) = (z < -0.02, up > 0.02);
        open_both += f64::from(open_a && open_b);
        open_either += f64::from(open_a || open_b);
        hit += f64::from(z > up + 0.02);
    }
    if either == 0.0 {
        return 0.0;
    }
    both / either
        + if open_either > 0.0 {
            open_both / open_either
        } else {
            0.0
        }
        - hit / either
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
