//! How far the mold would hook over the body.

use super::skin::Skin;
use crate::field::{Columns, Grid};
use crate::mesh::{Point, Vector};
use crate::setup::Frame;
use rayon::prelude::*;

/// Cells along the longer side of the body.
const CELLS: f64 = 200.0;
/// Hidden places looked at.
const MOST: usize = 2000;

/// Largest plan distance from a hidden place to the nearest one at its height that is open to the side it faces; its ±
/// (a cell) and where it is. `None` if nothing is hidden.
pub(super) fn largest(skin: &Skin, d: &Vector) -> Option<(f64, f64, Point)> {
    let hidden: Vec<_> = skin
        .samples
        .par_iter()
        .filter(|s| skin.hides(s, d))
        .collect();
    let frame = Frame::new(*d, 0.0);
    let tool = skin.mesh.transformed(&frame.to_tool);
    let (lo, hi) = tool.bounds()?;
    let cell = (hi.x - lo.x).max(hi.y - lo.y) / CELLS;
    let grid = Grid::covering([lo.x, lo.y], [hi.x, hi.y], 2.0 * cell, cell);
    let columns = Columns::cast(&tool, grid);
    let step = hidden.len().div_ceil(MOST).max(1);
    let farthest = hidden
        .par_iter()
        .step_by(step)
        .filter_map(|s| {
            let p = frame.to_tool * s.at;
            let up = s.facet.dot(d) > 0.0;
            let open = |k: usize| {
                let column = columns.column(k);
                let end = if up { column.last() } else { column.first() };
                end.is_none_or(|c| {
                    let above = f64::from(c.z) - p.z;
                    if up {
                        above <= skin.tolerance
                    } else {
                        above >= -skin.tolerance
                    }
                })
            };
            Some((nearest(&grid, &p, open)?, s.at))
        })
        .max_by(|a, b| {
            let place = |p: &Point| (p.x, p.y, p.z);
            let by_place = place(&a.1).partial_cmp(&place(&b.1));
            a.0.total_cmp(&b.0)
                .then(by_place.unwrap_or(std::cmp::Ordering::Equal))
        })?;
    Some((farthest.0, cell, farthest.1))
}

/// Plan distance from `p` to the nearest cell that is open, ring by ring.
fn nearest(grid: &Grid, p: &Point, open: impl Fn(usize) -> bool) -> Option<f64> {
    let (i, j) = grid.cell_at(p.x, p.y)?;
    let (i, j) = (i as i64, j as i64);
    let mut best = f64::INFINITY;
    for ring in 0..grid.nx.max(grid.ny) as i64 {
        // all cells of farther rings are at least this far
        if best <= (ring as f64 - 0.5) * grid.cell {
            break;
        }
        for y in (j - ring).max(0)..=(j + ring).min(grid.ny as i64 - 1) {
            let step = if (y - j).abs() == ring {
                1
            } else {
                (2 * ring).max(1)
            };
            let mut x = i - ring;
            while x <= i + ring {
                if (0..grid.nx as i64).contains(&x) && open(grid.index(x as usize, y as usize)) {
                    let [cx, cy] = grid.centre(x as usize, y as usize);
                    best = best.min((cx - p.x).hypot(cy - p.y));
                }
                x += step;
            }
        }
    }
    best.is_finite().then_some(best)
}
