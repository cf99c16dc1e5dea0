//! Flat discs moved over height maps.
//!
//! Small discs by running maxima: a disc is a union of rows, and the maximum over a row of any width is that of two
//! overlapping stretches whose length is a power of two (a sparse table of running maxima; same result as van Herk
//! 1992 and Gil & Werman 1993, but every step runs along whole rows). Work per cell: one step a row of the disc.
//!
//! Large discs by tiles (the `tiles` module): the discs of a tile's cells have nearly everything in common, and what they do not,
//! a ring, is looked at only where it is higher than that. Both give the same values.

mod tiles;

use super::{Grid, HeightMap};
use rayon::prelude::*;
use tiles::disc_dilate_tiled;

/// Rows written by one task.
const BAND: usize = 64;
const NONE: f32 = f32::NEG_INFINITY;
/// Discs of more cells' radius are moved by tiles: about where both take the same time.
const LARGE: f64 = 256.0;

/// For each cell the largest value among cells whose centres lie within `radius` mm of its own;
/// no value where none of them has one.
///
/// With the centre surface of a ball of radius rc it gives that of a bull-nose of radius
/// `radius` + rc; with the top heights, that of a flat of `radius`; both but for the disc's
/// rim between cell centres, up to a cell.
pub fn disc_dilate(map: &HeightMap, radius: f64) -> HeightMap {
    let grid = map.grid;
    let nx = grid.nx;
    if radius / grid.cell > LARGE {
        return disc_dilate_tiled(map, radius / grid.cell);
    }
    let widths = half_widths(radius / grid.cell);
    let reach = widths.len() - 1;
    let mut out = HeightMap::empty(grid);
    out.values_mut()
        .par_chunks_mut(nx * BAND)
        .enumerate()
        .for_each(|(k, rows)| {
            let first = k * BAND;
            let count = rows.len() / nx;
            let mut table = RunningMaxima::new(nx, widths[0]);
            let sources = first.saturating_sub(reach)..(first + count + reach).min(grid.ny);
            for source in sources {
                table.fill(&map.values()[source * nx..(source + 1) * nx]);
                for (j, row) in rows.chunks_exact_mut(nx).enumerate() {
                    if let Some(&width) = widths.get(source.abs_diff(first + j)) {
                        table.raise(row, width);
                    }
                }
            }
        });
    out
}

/// The map with cells `factor` times as large, each with the largest value in it; cells beyond the edge hold none.
///
/// Large holders may be tried on it: with a disc larger by 1.42 coarse cells (the diagonal), whatever
/// the holder would touch on the fine map it touches on the coarse one.
///
/// # Panics
/// If `factor` is 0.
pub fn max_pool(map: &HeightMap, factor: usize) -> HeightMap {
    let fine = map.grid;
    let grid = Grid {
        origin: fine.origin,
        cell: fine.cell * factor as f64,
        nx: fine.nx.div_ceil(factor),
        ny: fine.ny.div_ceil(factor),
    };
    let mut out = HeightMap::empty(grid);
    out.values_mut()
        .par_chunks_mut(grid.nx)
        .enumerate()
        .for_each(|(j, row)| {
            let rows = j * factor..((j + 1) * factor).min(fine.ny);
            for source in rows {
                let source = &map.values()[source * fine.nx..(source + 1) * fine.nx];
                for (cell, values) in row.iter_mut().zip(source.chunks(factor)) {
                    *cell = values.iter().fold(*cell, |top, &v| top.max(v));
                }
            }
        });
    out
}

/// Cells at most this squared distance away are in the disc of `radius` cells.
fn square(radius: f64) -> f64 {
    // cells whose distance is the radius but for rounding count
    radius * radius * (1.0 + 1e-12)
}

/// For each row of a disc, from its middle on, how many cells it goes to each side; `radius` in cells.
fn half_widths(radius: f64) -> Vec<usize> {
    let square = square(radius);
    (0..)
        .map(|dy| square - (dy * dy) as f64)
        .take_while(|&rest| rest >= 0.0)
        .map(|rest| rest.sqrt().floor() as usize)
        .collect()
}

/// A row's maxima over stretches of 1, 2, 4, … cells.
struct RunningMaxima {
    nx: usize,
    /// Cells without value before and after the row.
    margin: usize,
    /// `levels[k][i]` is the maximum of the padded row's `2^k` cells from `i` on.
    levels: Vec<Vec<f32>>,
}

impl RunningMaxima {
    fn new(nx: usize, widest: usize) -> RunningMaxima {
        let count = (2 * widest + 1).ilog2() as usize + 1;
        RunningMaxima {
            nx,
            margin: widest,
            levels: vec![vec![NONE; nx + 2 * widest]; count],
        }
    }

    fn fill(&mut self, row: &[f32]) {
        self.levels[0][self.margin..self.margin + self.nx].copy_from_slice(row);
        for k in 1..self.levels.len() {
            let (below, above) = self.levels.split_at_mut(k);
            let below = &below[k - 1];
            let half = 1 << (k - 1);
            let count = below.len() + 1 - (1 << k).min(below.len() + 1);
            let pairs = below.iter().zip(&below[half.min(below.len())..]);
            for (cell, (&a, &b)) in above[0][..count].iter_mut().zip(pairs) {
                *cell = if a > b { a } else { b };
            }
        }
    }

    /// Raises each cell of `row` to the maximum of the filled row up to `width` cells to either side.
    fn raise(&self, row: &mut [f32], width: usize) {
        let length = 2 * width + 1;
        let level = length.ilog2() as usize;
        let start = self.margin - width;
        let first = &self.levels[level][start..start + self.nx];
        let start = start + length - (1 << level);
        let second = &self.levels[level][start..start + self.nx];
        for (cell, (&a, &b)) in row.iter_mut().zip(first.iter().zip(second)) {
            let top = if a > b { a } else { b };
            *cell = if top > *cell { top } else { *cell };
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::field::shapes::noise;
    use proptest::prelude::*;

    fn random_map(nx: usize, ny: usize, seed: u64) -> HeightMap {
        let grid = Grid {
            origin: [-1.0, 2.0],
            cell: 0.25,
            nx,
            ny,
        };
        let value = |k: usize| match noise(seed ^ k as u64) {
            v if v > 0.7 => NONE,
            v => v as f32,
        };
        HeightMap::from_values(grid, (0..grid.len()).map(value).collect())
    }

    proptest! {
        #[test]
        fn disc_agrees_with_all_pairs(nx in 1..40usize, ny in 1..150usize, seed in any::<u64>(), cells in 0.0..12.0f64, whole in any::<bool>()) {
            let map = random_map(nx, ny, seed);
            // whole numbers of cells put centres on the rim
            let cells = if whole { cells.floor() } else { cells };
            let out = disc_dilate(&map, cells * map.grid.cell);
            let reach = cells.ceil() as usize;
            for j in 0..ny {
                for i in 0..nx {
                    let mut top = NONE;
                    for v in j.saturating_sub(reach)..(j + reach + 1).min(ny) {
                        for u in i.saturating_sub(reach)..(i + reach + 1).min(nx) {
                            let square = (u.abs_diff(i).pow(2) + v.abs_diff(j).pow(2)) as f64;
                            if square <= cells * cells {
                                top = top.max(map.values()[v * nx + u]);
                            }
                        }
                    }
                    prop_assert_eq!(out.values()[j * nx + i], top);
                }
            }
        }

        #[test]
        fn tiles_agree_with_rows(nx in 1..120usize, ny in 1..150usize, seed in any::<u64>(), cells in 0.0..60.0f64, kind in 0..3u32) {
            let mut map = random_map(nx, ny, seed);
            // noise alone, a slope with noise, and a flat with a hollow
            for (k, z) in map.values_mut().iter_mut().enumerate() {
                let (x, y) = ((k % nx) as f32, (k / nx) as f32);
                match kind {
                    1 => *z = 0.3 * x - 0.2 * y + 0.1 * z.max(-1.0),
                    2 => *z = if (x - 50.0).hypot(y - 60.0) < 30.0 { z.max(-1.0) - 2.0 } else { 0.0 },
                    _ => {}
                }
            }
            let tiled = disc_dilate_tiled(&map, cells);
            let widths = half_widths(cells);
            for j in 0..ny {
                for i in 0..nx {
                    let mut top = NONE;
                    for v in j.saturating_sub(widths.len() - 1)..(j + widths.len()).min(ny) {
                        let width = widths[v.abs_diff(j)];
                        let row = &map.values()[v * nx..][i.saturating_sub(width)..(i + width + 1).min(nx)];
                        top = row.iter().fold(top, |top, &z| top.max(z));
                    }
                    prop_assert_eq!(tiled.values()[j * nx + i], top);
                }
            }
        }

        #[test]
        fn pool_holds_the_largest(nx in 1..30usize, ny in 1..30usize, seed in any::<u64>(), factor in 1..9usize) {
            let map = random_map(nx, ny, seed);
            let coarse = max_pool(&map, factor);
            let mut tops = vec![NONE; coarse.grid.len()];
            for j in 0..ny {
                for i in 0..nx {
                    let [x, y] = map.grid.centre(i, j);
                    let (u, v) = coarse.grid.cell_at(x, y).unwrap();
                    let top = &mut tops[coarse.grid.index(u, v)];
                    *top = top.max(map.values()[j * nx + i]);
                }
            }
            prop_assert_eq!(coarse.values(), &tops[..]);
        }
    }

    #[test]
    fn running_maximum_of_a_row() {
        // Trade facts row 78 (van Herk / Gil–Werman): window 3 over [1, 3, 2, 5, 4] gives [3, 5, 5]
        // where it fits; a disc of one cell on a single row is that window.
        let grid = Grid {
            origin: [0.0, 0.0],
            cell: 1.0,
            nx: 5,
            ny: 1,
        };
        let map = HeightMap::from_values(grid, vec![1.0, 3.0, 2.0, 5.0, 4.0]);
        assert_eq!(disc_dilate(&map, 1.0).values()[1..4], [3.0, 5.0, 5.0]);
    }
}
