//! Drawing the pieces of a ball's centre surface into bands of rows.

use super::{Facet, Peak, Ridge};
use crate::field::Grid;
use crate::mesh::{Mesh, Vector};
use rayon::prelude::*;

/// Rows of a band: bands are drawn in parallel, and the pieces sorted by them.
pub(super) const BAND: usize = 64;
/// Pieces sorted into bands by one task.
const CHUNK: usize = 1 << 14;

/// For each chunk of `items` and each band of rows the items whose extent along Y meets it.
pub(super) fn by_band<T: Sync>(
    items: &[T],
    grid: &Grid,
    extent: impl Fn(&T) -> (f64, f64) + Sync,
) -> Vec<Vec<Vec<u32>>> {
    let bands = grid.ny.div_ceil(BAND);
    let per_mm = 1.0 / grid.cell;
    items
        .par_chunks(CHUNK)
        .enumerate()
        .map(|(c, chunk)| {
            let mut lists = vec![Vec::new(); bands];
            for (k, item) in chunk.iter().enumerate() {
                let (lo, hi) = extent(item);
                let Some((first, last)) = cells_between(lo, hi, grid.origin[1], per_mm, grid.ny)
                else {
                    continue;
                };
                for list in &mut lists[first / BAND..=last / BAND] {
                    list.push((c * CHUNK + k) as u32);
                }
            }
            lists
        })
        .collect()
}

/// First and last cell (of `count` from `origin` on, `per_mm` a millimetre) whose centre lies in `lo..=hi`.
#[inline]
fn cells_between(
    lo: f64,
    hi: f64,
    origin: f64,
    per_mm: f64,
    count: usize,
) -> Option<(usize, usize)> {
    let lo = (lo - origin) * per_mm - 0.5;
    let hi = ((hi - origin) * per_mm - 0.5).min(count as f64 - 1.0);
    if hi < 0.0 || hi < lo {
        return None;
    }
    // casts cut off the fraction and take what is below 0 to 0: cheaper than calls of floor and ceil
    let last = hi as u32;
    let first = lo as u32 + u32::from(f64::from(lo as u32) < lo);
    (first <= last).then_some((first as usize, last as usize))
}

pub(super) fn extent(values: &[f64]) -> (f64, f64) {
    values
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), &v| {
            (lo.min(v), hi.max(v))
        })
}

/// Some rows of the height map.
pub(super) struct Band<'a> {
    pub(super) grid: Grid,
    /// Cells a millimetre.
    per_mm: f64,
    pub(super) first: usize,
    pub(super) last: usize,
    pub(super) cells: &'a mut [f32],
    /// Cells drawn so far.
    pub(super) drawn: usize,
}

impl Band<'_> {
    /// The `k`-th band of `grid`, whose values are `cells`.
    pub(super) fn new(grid: Grid, k: usize, cells: &mut [f32]) -> Band<'_> {
        Band {
            grid,
            per_mm: 1.0 / grid.cell,
            first: k * BAND,
            last: (k * BAND + BAND).min(grid.ny) - 1,
            cells,
            drawn: 0,
        }
    }

    /// The rows of this band with centres in `lo..=hi`.
    pub(super) fn rows(&self, lo: f64, hi: f64) -> std::ops::Range<usize> {
        match cells_between(lo, hi, self.grid.origin[1], self.per_mm, self.grid.ny) {
            Some((first, last)) => first.max(self.first)..last.min(self.last) + 1,
            None => 0..0,
        }
    }

    /// The cells of row `j` with centres in `lo..=hi`, and the x of the first.
    fn span(&mut self, j: usize, lo: f64, hi: f64) -> Option<(&mut [f32], f64)> {
        let grid = &self.grid;
        let (first, last) = self.between((lo, hi))?;
        let x = grid.origin[0] + grid.cell * (first as f64 + 0.5);
        let start = (j - self.first) * grid.nx;
        self.drawn += last + 1 - first;
        Some((&mut self.cells[start + first..=start + last], x))
    }

    /// First and last cell of a row with centres in `lo..=hi`.
    pub(super) fn between(&self, (lo, hi): (f64, f64)) -> Option<(usize, usize)> {
        cells_between(lo, hi, self.grid.origin[0], self.per_mm, self.grid.nx)
    }

    pub(super) fn y(&self, j: usize) -> f64 {
        self.grid.origin[1] + self.grid.cell * (j as f64 + 0.5)
    }

    /// Draws a facet moved by `by` and made wider by `margin`, mm.
    pub(super) fn draw_facet(&mut self, mesh: &Mesh, facet: &Facet, by: [f64; 3], margin: f64) {
        let n = facet.normal;
        let by = Vector::from(by);
        let [a, b, c] = mesh.corners(facet.triangle as usize);
        let corners = [a + by, b + by, c + by];
        let (lo, hi) = extent(&corners.map(|p| p.x));
        let (bottom, top) = extent(&corners.map(|p| p.y));
        // sides as x = x0 + (y − y0) k; in plan the corners run counter-clockwise
        let sides = [0, 1, 2].map(|k| {
            let (p, q) = (corners[k], corners[(k + 1) % 3]);
            let (dx, dy) = (q.x - p.x, q.y - p.y);
            let (k, wider) = (dx / dy, margin / dy.abs() * (dx * dx + dy * dy).sqrt());
            (p.x, p.y, k, dy, wider)
        });
        let (gx, gy) = (-n.x / n.z, -n.y / n.z);
        let base = corners[0];
        let step = gx * self.grid.cell;
        for j in self.rows(bottom - margin, top + margin) {
            let y = self.y(j);
            let (mut from, mut to) = (lo - margin, hi + margin);
            for &(x0, y0, k, dy, wider) in &sides {
                let x = x0 + (y - y0) * k;
                if dy > 0.0 {
                    to = to.min(x + wider);
                } else if dy < 0.0 {
                    from = from.max(x - wider);
                }
            }
            let Some((cells, x)) = self.span(j, from, to) else {
                continue;
            };
            let z0 = base.z + gx * (x - base.x) + gy * (y - base.y);
            for (k, cell) in (0i32..).zip(cells) {
                *cell = higher(*cell, z0 + step * f64::from(k));
            }
        }
    }

    pub(super) fn draw_ridge(&mut self, ridge: &Ridge, radius: f64) {
        let [a0, a1, b0, b1] = ridge.rectangle(0.0, radius);
        let corners = ridge.footprint(0.0, radius);
        let (lo, hi) = extent(&corners.map(|p| p[0]));
        let (bottom, top) = extent(&corners.map(|p| p[1]));
        let [ux, uy] = ridge.along;
        let (start, length) = (ridge.start, ridge.length);
        let (sine, tangent, r2) = (ridge.sine, ridge.tangent, radius * radius);
        let (da, db) = (ux * self.grid.cell, -uy * self.grid.cell);
        for j in self.rows(bottom, top) {
            let dy = self.y(j) - start.y;
            let (mut from, mut to) = (lo, hi);
            // a0 ≤ x ux + dy uy ≤ a1 and b0 ≤ dy ux − x uy ≤ b1, x from the start on
            for (k, low, high) in [
                (ux, a0 - dy * uy, a1 - dy * uy),
                (uy, dy * ux - b1, dy * ux - b0),
            ] {
                if k.abs() > 1e-9 {
                    let (p, q) = (start.x + low / k, start.x + high / k);
                    from = from.max(p.min(q));
                    to = to.min(p.max(q));
                }
            }
            let Some((cells, x)) = self.span(j, from, to) else {
                continue;
            };
            let dx = x - start.x;
            let (a_first, b_first) = (dx * ux + dy * uy, dy * ux - dx * uy);
            for (k, cell) in (0i32..).zip(cells) {
                let k = f64::from(k);
                let (a, b) = (a_first + da * k, b_first + db * k);
                let q = r2 - b * b;
                let contact = (a + sine * q.max(0.0).sqrt()).max(0.0).min(length);
                let t = contact - a;
                // beyond the ball the root is not a number, and no height is higher than that
                *cell = higher(*cell, start.z + tangent * contact + (q - t * t).sqrt());
            }
        }
    }

    pub(super) fn draw_peak(&mut self, peak: &Peak, radius: f64) {
        let [x0, y0, x1, y1] = peak.directions.map(|d| d * radius);
        let p = peak.place;
        let cell_size = self.grid.cell;
        for j in self.rows(p.y + y0, p.y + y1) {
            let dy = self.y(j) - p.y;
            let q = radius * radius - dy * dy;
            let Some((cells, x)) = self.span(j, p.x + x0, p.x + x1) else {
                continue;
            };
            let dx = x - p.x;
            for (k, cell) in (0i32..).zip(cells) {
                let d = dx + cell_size * f64::from(k);
                *cell = higher(*cell, p.z + (q - d * d).sqrt());
            }
        }
    }
}

/// The larger of the two; `cell` if `z` is not a number.
#[inline]
fn higher(cell: f32, z: f64) -> f32 {
    let z = z as f32;
    if z > cell { z } else { cell }
}
