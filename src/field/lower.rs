//! From the cutter-centre surface back to the work: what a ball leaves.
//!
//! The lower offset is the lower envelope of balls about the places of the centre surface. A ball is part of it only where no
//! ball about a neighbouring place reaches lower, so each is drawn only there: with w the unit direction from its centre to the
//! envelope, downward, and e the way to a neighbour's centre, w · e ≤ |e|² / 2R. Four neighbours bound w to a box in plan. On a
//! smooth surface that is a cell or two, whatever the radius; a place in a valley covers what the ball leaves about it.
//!
//! | way | 16 cells | 32 cells | 63.5 cells |
//! | --- | --- | --- | --- |
//! | tiles of 8 × 8 cells, source tiles in the order of the lowest they can give | 1.7 s | 2.4 s | 4.3 s |
//! | drawn where it can be part of the envelope | 0.52 s | 0.61 s | 0.56 s |
//!
//! Processor time for 4 million cells over a 100 × 100 mm half of 500,000 triangles, built without link-time optimisation, on a
//! shared machine. The checks do not use it, for they measure distances to the centre surface: it is the other half of a closing,
//! for comparison with general-purpose ones.

use super::{Grid, HeightMap};
use rayon::prelude::*;
use std::ops::Range;

/// Fewest rows of source cells that one task draws.
const ROWS: usize = 64;

/// The surface that a ball of `radius` mm leaves when its centre runs everywhere on its centre
/// surface `offset`: for each cell the least of C(u) − √(R² − d²) over cells u in plan distance d ≤ R.
/// No value where a cell in reach is free at any height.
///
/// Together with the upper offset it is the grey-scale closing of the heights by the ball.
pub fn lower_offset(offset: &HeightMap, radius: f64) -> HeightMap {
    let grid = offset.grid;
    let ball = Ball::new(radius, grid.cell);
    let rows = ROWS.max(2 * ball.reach);
    let bands: Vec<Band> = (0..grid.ny.div_ceil(rows))
        .into_par_iter()
        .map(|k| {
            let own = k * rows..grid.ny.min((k + 1) * rows);
            let mut band = Band::new(grid, &own, ball.reach);
            own.for_each(|j| band.draw(offset, &ball, j));
            band
        })
        .collect();
    let mut out = HeightMap::empty(grid);
    out.values_mut()
        .par_chunks_mut(grid.nx.max(1))
        .enumerate()
        .for_each(|(j, row)| {
            row.fill(f32::INFINITY);
            for drawn in bands.iter().filter_map(|band| band.row(j)) {
                for (cell, &z) in row.iter_mut().zip(drawn) {
                    *cell = if z < *cell { z } else { *cell };
                }
            }
        });
    out
}

/// A ball's lower side over a grid.
struct Ball {
    radius: f64,
    /// Radius in cells.
    cells: f64,
    /// Whole cells in the radius.
    reach: usize,
    /// Depth below the centre √(R² − d²) at all offsets, −∞ outside; `2 · reach + 1` columns.
    depth: Vec<f32>,
}

impl Ball {
    fn new(radius: f64, cell: f64) -> Ball {
        let reach = (radius / cell * (1.0 + 1e-12)).floor() as usize;
        let width = 2 * reach + 1;
        let at = |k: usize| {
            let square = (k % width).abs_diff(reach).pow(2) + (k / width).abs_diff(reach).pow(2);
            let rest = radius * radius * (1.0 + 1e-12) - square as f64 * cell * cell;
            if rest < 0.0 {
                f32::NEG_INFINITY
            } else {
                rest.sqrt() as f32
            }
        };
        Ball {
            radius,
            cells: radius / cell,
            reach,
            depth: (0..width * width).map(at).collect(),
        }
    }

    /// Depths at the cells `from..` of row `dy`, counted from the axis.
    fn row(&self, dy: isize, from: isize) -> &[f32] {
        let (reach, width) = (self.reach as isize, 2 * self.reach + 1);
        &self.depth[(dy + reach) as usize * width..][(from + reach) as usize..width]
    }
}

/// What the balls about some rows of places give.
struct Band {
    grid: Grid,
    first: usize,
    cells: Vec<f32>,
}

impl Band {
    fn new(grid: Grid, own: &Range<usize>, reach: usize) -> Band {
        let first = own.start.saturating_sub(reach);
        let end = grid.ny.min(own.end + reach);
        Band {
            grid,
            first,
            cells: vec![f32::INFINITY; (end - first) * grid.nx],
        }
    }

    fn row(&self, j: usize) -> Option<&[f32]> {
        let start = j.checked_sub(self.first)? * self.grid.nx;
        self.cells.get(start..start + self.grid.nx)
    }

    /// Draws the balls about row `j` of places.
    fn draw(&mut self, offset: &HeightMap, ball: &Ball, j: usize) {
        let (grid, values) = (self.grid, offset.values());
        let nx = grid.nx;
        for i in 0..nx {
            let k = j * nx + i;
            let own = values[k];
            if own == f32::INFINITY {
                continue;
            }
            // rise to each neighbour; beyond the grid there is none
            let rise =
                |inside: bool, n: usize| inside.then(|| f64::from(values[n]) - f64::from(own));
            let x = [rise(i > 0, k.wrapping_sub(1)), rise(i + 1 < nx, k + 1)];
            let y = [
                rise(j > 0, k.wrapping_sub(nx)),
                rise(j + 1 < grid.ny, k + nx),
            ];
            let [xs, ys] = if own == f32::NEG_INFINITY {
                // amid others like itself it needs to tell itself only: cells in reach have one of their border in reach
                let amid = x.iter().chain(&y).flatten().all(|rise| rise.is_nan());
                [if amid { [0.0; 2] } else { [-1.0, 1.0] }; 2]
            } else {
                match exposed([x, y], grid.cell, ball.radius) {
                    Some(exposed) => exposed,
                    None => continue,
                }
            };
            let cells = |at: usize, [lo, hi]: [f64; 2], n: usize| {
                let reach = ball.reach as f64;
                let lo = (lo * ball.cells - 0.01).ceil().max(-reach) as isize;
                let hi = (hi * ball.cells + 0.01).floor().min(reach) as isize;
                [lo.max(-(at as isize)), hi.min((n - 1 - at) as isize)]
            };
            let ([x0, x1], [y0, y1]) = (cells(i, xs, nx), cells(j, ys, grid.ny));
            if x0 > x1 {
                continue;
            }
            for dy in y0..=y1 {
                let row = (j as isize + dy) as usize - self.first;
                let start = row * nx + (i as isize + x0) as usize;
                let cells = &mut self.cells[start..=start + (x1 - x0) as usize];
                for (cell, &depth) in cells.iter_mut().zip(ball.row(dy, x0)) {
                    let z = own - depth;
                    *cell = if z < *cell { z } else { *cell };
                }
            }
        }
    }
}

/// Plan box of the directions in which a ball about a place can be part of the envelope, given the rises to the neighbours
/// before and after it along X and Y; `None` if there are none.
fn exposed(rises: [[Option<f64>; 2]; 2], cell: f64, radius: f64) -> Option<[[f64; 2]; 2]> {
    // with v the share downward, the share along an axis lies between two lines: constant + slope · v
    let mut lines = [[(0.0, 0.0); 2]; 2];
    for (lines, rises) in lines.iter_mut().zip(rises) {
        for ((line, rise), sign) in lines.iter_mut().zip(rises).zip([-1.0, 1.0]) {
            *line = match rise {
                Some(rise) if rise.is_finite() => {
                    let bulge = (cell * cell + rise * rise) / (2.0 * radius);
                    (sign * bulge / cell, sign * rise / cell)
                }
                // a neighbour free at any height leaves nothing to this ball on its side, but that is not asked for
                _ => (sign, 0.0),
            };
        }
    }
    // in size the share along an axis is at most constant + slope · v
    let most = lines.map(|[(c0, s0), (c1, s1)]: [(f64, f64); 2]| {
        (c0.abs().max(c1.abs()), s0.abs().max(s1.abs()))
    });
    // 1 − v² ≤ Σ (c + s v)²: v from the positive root on
    let root = |[(c, s), (d, t)]: [(f64, f64); 2], sign: f64| {
        let (a, b, rest) = (
            1.0 + s * s + t * t,
            sign * (c * s + d * t),
            1.0 - c * c - d * d,
        );
        (rest > 0.0).then(|| (-b + (b * b + a * rest).sqrt()) / a)
    };
    let low = root(most, 1.0).unwrap_or(0.0).clamp(0.0, 1.0);
    // and where both lines rise or both fall, and do so by more than the constant, at least slope · v − constant
    let least = [0, 1].map(|k| {
        let ([(_, s0), (_, s1)], constant) = (lines[k], most[k].0);
        let slope = s0.abs().min(s1.abs());
        if s0 * s1 > 0.0 && slope * low >= constant {
            (constant, slope)
        } else {
            (0.0, 0.0)
        }
    });
    let high = root(least, -1.0).unwrap_or(1.0).clamp(low, 1.0);
    let along = |k: usize| {
        let [(c0, s0), (c1, s1)] = lines[k];
        let lo = c0 + (s0 * low).min(s0 * high);
        let hi = c1 + (s1 * low).max(s1 * high);
        let hair = 1e-6;
        [(lo - hair).max(-1.0), (hi + hair).min(1.0)]
    };
    let found = [along(0), along(1)];
    found.iter().all(|[lo, hi]| lo <= hi).then_some(found)
}

/// The centre surface of a ball of `radius` mm over sampled heights: for each cell the largest of
/// z(u) + √(R² − d²) over cells u in plan distance d ≤ R; no value where there is none in reach.
///
/// Only what the samples show: [`super::ball_offset`] is exact for a mesh.
pub fn upper_offset_sampled(map: &HeightMap, radius: f64) -> HeightMap {
    // the upper offset is the lower one upside down; cells without value lie at the far end
    let turn = |map: &HeightMap| {
        HeightMap::from_values(map.grid, map.values().iter().map(|&v| -v).collect())
    };
    turn(&lower_offset(&turn(map), radius))
}

#[cfg(test)]
mod tests;
