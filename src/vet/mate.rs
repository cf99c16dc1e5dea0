//! The two halves together.

use super::surface::Surface;
use crate::report::{Cavity, HollowKind, Layout, Mating, Verdict};
use crate::setup::{Closing, Survey, entered};

/// One half as the mating check sees it.
pub struct Side<'a> {
    /// Its columns and hollows.
    pub survey: &'a Survey,
    /// Its hollows' surface.
    pub surface: &'a Surface,
    /// Its cavity's figures.
    pub cavity: &'a Cavity,
}

/// Judges how the halves close. The space between them inside the rims is both cavities and the gap
/// times the opening, the mean of the two openings' areas.
pub fn mating(closing: &Closing, sides: [Side; 2]) -> Mating {
    let gap = closing.gap.max(0.0);
    let [a, b] = [&sides[0], &sides[1]].map(|s| opening(s));
    let volumes = [&sides[0], &sides[1]].map(|s| s.cavity.volume_mm3.zip(s.cavity.volume_mm3_pm));
    let closed = match volumes {
        [Some(a_volume), Some(b_volume)] => Some((
            a_volume.0 + b_volume.0 + gap * 0.5 * (a + b),
            a_volume.1 + b_volume.1 + gap * 0.5 * (a - b).abs(),
        )),
        _ => None,
    };
    let stands_closed = closing.layout == Layout::Closed;
    Mating {
        verdict: Verdict::Pass,
        layout: closing.layout,
        gap_mm: stands_closed.then_some(gap),
        overlap_mm: stands_closed.then_some((-closing.gap).max(0.0)),
        outline_mismatch_mm: None,
        closed_volume_mm3: closed.map(|c| c.0),
        closed_volume_mm3_pm: closed.map(|c| c.1),
        pins: Vec::new(),
    }
}

/// Area of the cavity's opening in the parting face, mm²: the plan area of what bounds it from below, less
/// that of what overhangs.
fn opening(side: &Side) -> f64 {
    let floor: f64 = side
        .surface
        .cavity(side.survey)
        .map(|(_, f)| f.area * f.normal.z)
        .sum();
    let grid = side.survey.grid();
    let mouths: usize = side
        .survey
        .hollows
        .iter()
        .filter(|h| h.mouth.is_some())
        .map(|h| h.cells)
        .sum();
    floor + mouths as f64 * grid.cell * grid.cell
}

/// A pin fills most of its socket; what enters a smaller share of a hollow is a core that shapes the casting.
const FILLS: f64 = 0.5;
/// Height above the parting level from which a rise counts as entering, mm.
const ENTERS: f64 = 0.1;

/// Marks the hollows of each half that pins of the other enter as sockets. The largest hollow of a half is no socket.
pub fn mark_sockets(closing: &Closing, a: &mut Survey, b: &mut Survey) {
    let from_b =
        |s: &Survey, p: nalgebra::Point3<f64>| rises(s, closing.b_to_a.inverse_transform_point(&p));
    let from_a = |s: &Survey, p: nalgebra::Point3<f64>| rises(s, closing.b_to_a * p);
    let in_a = shares(a, |p| from_b(b, p));
    let in_b = shares(b, |p| from_a(a, p));
    set(a, &in_a);
    set(b, &in_b);
}

fn rises(other: &Survey, p: nalgebra::Point3<f64>) -> bool {
    let grid = other.grid();
    let top = grid
        .cell_at(p.x, p.y)
        .and_then(|(i, j)| other.top.get(grid.index(i, j)));
    top.is_some_and(|z| f64::from(z) > ENTERS)
}

fn shares(survey: &Survey, enters: impl Fn(nalgebra::Point3<f64>) -> bool) -> Vec<f64> {
    let grid = survey.grid();
    entered(&survey.labels, survey.hollows.len(), |k| {
        let [x, y] = grid.centre(k % grid.nx, k / grid.nx);
        enters(nalgebra::Point3::new(x, y, 0.0))
    })
}

fn set(survey: &mut Survey, shares: &[f64]) {
    let largest = (0..survey.hollows.len()).max_by_key(|&h| survey.hollows[h].cells);
    for (h, &share) in shares.iter().enumerate() {
        let hollow = &mut survey.hollows[h];
        if Some(h) != largest && share >= FILLS && hollow.kind == HollowKind::Cavity {
            hollow.kind = HollowKind::Socket;
        }
    }
}
