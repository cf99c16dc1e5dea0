//! A small map of a half in characters: how deep it is, and where its findings are.

use super::Style;
use crate::report::page::Page;
use crate::report::{Report, Verdict, from_corner};
use crate::setup::Survey;

/// What a character of a map stands for.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Spot {
    /// Nothing: beside the block.
    Outside,
    /// The block's upper side.
    Face,
    /// A hollow, this deep below the parting level, mm.
    Hollow(f64),
}

/// A half's plan, coarse: row by row from the largest Y.
#[derive(Debug, Clone, PartialEq)]
pub struct Relief {
    /// Characters a row.
    columns: usize,
    /// Width and height of a character's cell, mm.
    cell: [f64; 2],
    /// Left and upper end of the first cell, from the block's corner with the lowest X and Y, mm.
    left_top: [f64; 2],
    /// The cells.
    spots: Vec<Spot>,
}

/// Most characters a row and most rows: the whole, with heading and key, stays below sixteen lines.
const MOST: [f64; 2] = [56.0, 11.0];
/// A character is about twice as high as it is wide.
const TALL: f64 = 2.1;
/// From shallow to deep.
const BLOCKS: [char; 4] = ['░', '▒', '▓', '█'];
const PLAIN: [char; 4] = [':', '+', '*', '#'];

impl Relief {
    /// The plan of a surveyed half, whose lowest X and Y are `corner`, tool frame, mm.
    pub fn of(survey: &Survey, corner: [f64; 2]) -> Relief {
        let grid = survey.grid();
        let size = [grid.nx, grid.ny].map(|n| n as f64 * grid.cell);
        let wide = (size[0] / MOST[0]).max(size[1] / MOST[1] / TALL);
        let cell = [wide, wide * TALL];
        let [columns, rows] = [0, 1].map(|k| (size[k] / cell[k]).ceil().max(1.0) as usize);
        let spot = |k: usize| {
            let x = grid.origin[0] + (k % columns) as f64 * cell[0] + 0.5 * cell[0];
            let y = grid.origin[1] + size[1] - (k / columns) as f64 * cell[1] - 0.5 * cell[1];
            let Some((i, j)) = grid.cell_at(x, y) else {
                return Spot::Outside;
            };
            let column = grid.index(i, j);
            let top = survey.top.get(column).map(f64::from);
            match (survey.hollow_at(column), top) {
                (Some(_), top) => Spot::Hollow(top.map_or(0.0, |z| (-z).max(0.0))),
                (None, Some(_)) => Spot::Face,
                (None, None) => Spot::Outside,
            }
        };
        Relief {
            columns,
            cell,
            left_top: [
                grid.origin[0] - corner[0],
                grid.origin[1] + size[1] - corner[1],
            ],
            spots: (0..columns * rows).map(spot).collect(),
        }
    }
}

/// The map of the first half with a failing finding that has a place; nothing otherwise.
pub(super) fn map(page: &mut Page, report: &Report, reliefs: &[Relief], style: Style) {
    let fails = |name: &str| {
        report.findings.iter().any(|f| {
            f.verdict == Verdict::Fail && f.at_mm.is_some() && f.half.as_deref() == Some(name)
        })
    };
    let Some(h) = report.halves.iter().position(|h| fails(&h.name)) else {
        return;
    };
    let (half, Some(relief)) = (&report.halves[h], reliefs.get(h)) else {
        return;
    };
    let signs = if style.colour { BLOCKS } else { PLAIN };
    let deepest = relief.spots.iter().fold(1e-9_f64, |d, s| match s {
        Spot::Hollow(depth) => d.max(*depth),
        _ => d,
    });
    let mut text: Vec<char> = relief
        .spots
        .iter()
        .map(|s| match s {
            Spot::Outside => ' ',
            Spot::Face => '.',
            Spot::Hollow(depth) => signs[((depth / deepest * 4.0) as usize).min(3)],
        })
        .collect();
    let mut shown = Vec::new();
    for (k, f) in report.findings.iter().enumerate().take(9).rev() {
        let own = f.half.as_deref() == Some(half.name.as_str());
        let Some([x, y, _]) = f.at_mm.filter(|_| own).and_then(|at| from_corner(half, at)) else {
            continue;
        };
        let i = ((x - relief.left_top[0]) / relief.cell[0]).floor();
        let j = ((relief.left_top[1] - y) / relief.cell[1]).floor();
        if i >= 0.0 && j >= 0.0 && i < relief.columns as f64 {
            let at = j as usize * relief.columns + i as usize;
            if let Some(sign) = text.get_mut(at) {
                // the worst of those in one cell, which comes last
                *sign = char::from_digit(k as u32 + 1, 10).unwrap_or('?');
                shown.push(k + 1);
            }
        }
    }
    if shown.is_empty() {
        return;
    }
    page.heading(&format!("Half {} as the spindle sees it", half.name));
    let rows = text.chunks(relief.columns);
    for row in rows.filter(|row| row.iter().any(|c| *c != ' ')) {
        page.drawn(&row.iter().collect::<String>());
    }
    let [a, b, c, d] = signs;
    page.note(&format!(
        "{a}{b}{c}{d} shallow to deep, {} at most; numbers as above; block's corner lower left",
        page.figures.length(deepest)
    ));
}
