//! From the cutter-centre surface back to the work: how near a ball comes to a place, and what
//! it leaves.

use super::HeightMap;
use rayon::prelude::*;

/// Side of the squares of cells that [`lower_offset`] works on.
const TILE: usize = 8;

/// The surface that a ball of `radius` mm leaves when its centre runs everywhere on its centre
/// surface `offset`: for each cell the least of C(u) − √(R² − d²) over cells u in plan distance d ≤ R.
/// No value where a cell in reach is free at any height.
///
/// Together with the upper offset it is the grey-scale closing of the heights by the ball.
pub fn lower_offset(offset: &HeightMap, radius: f64) -> HeightMap {
    let grid = offset.grid;
    let ball = Kernel::new(radius, grid.cell);
    let tiles = [grid.nx.div_ceil(TILE), grid.ny.div_ceil(TILE)];
    // least height in each tile
    let least: Vec<f32> = (0..tiles[0] * tiles[1])
        .into_par_iter()
        .map(|t| {
            let (i0, j0) = (t % tiles[0] * TILE, t / tiles[0] * TILE);
            let mut least = f32::INFINITY;
            for j in j0..(j0 + TILE).min(grid.ny) {
                let row = &offset.values()[j * grid.nx..][i0..(i0 + TILE).min(grid.nx)];
                least = row.iter().fold(least, |m, &v| m.min(v));
            }
            least
        })
        .collect();
    let mut out = HeightMap::empty(grid);
    out.values_mut()
        .par_chunks_mut(grid.nx * TILE)
        .enumerate()
        .for_each_init(Vec::new, |candidates, (tj, rows)| {
            for ti in 0..tiles[0] {
                let tile = lower_tile(offset, &ball, tiles, &least, [ti, tj], candidates);
                let i0 = ti * TILE;
                for (row, values) in rows.chunks_mut(grid.nx).zip(&tile) {
                    let width = TILE.min(grid.nx - i0);
                    row[i0..i0 + width].copy_from_slice(&values[..width]);
                }
            }
        });
    out
}

/// Depth of a ball's lower side below its centre over a grid.
struct Kernel {
    /// Whole cells in the radius.
    reach: usize,
    /// √(R² − d²) at all offsets, −∞ outside, with room for a tile on every side; `width` columns.
    depth: Vec<f32>,
    width: usize,
    /// `bound[k]`: the largest depth of cells that are at least √k cells away, to the rim.
    bound: Vec<f32>,
}

impl Kernel {
    fn new(radius: f64, cell: f64) -> Kernel {
        let reach = (radius / cell * (1.0 + 1e-12)).floor() as usize;
        let side = reach + TILE;
        let width = 2 * side + 1;
        let at = |square: usize| {
            let rest = radius * radius * (1.0 + 1e-12) - square as f64 * cell * cell;
            if rest < 0.0 {
                f32::NEG_INFINITY
            } else {
                rest.sqrt() as f32
            }
        };
        let depth = (0..width * width)
            .map(|k| at((k % width).abs_diff(side).pow(2) + (k / width).abs_diff(side).pow(2)))
            .collect();
        Kernel {
            reach,
            depth,
            width,
            bound: (0..).map(at).take_while(|&depth| depth >= 0.0).collect(),
        }
    }

    /// Largest depth for cells at least `dx` and `dy` cells away; −∞ out of reach.
    fn bound(&self, dx: usize, dy: usize) -> f32 {
        let square = dx * dx + dy * dy;
        self.bound.get(square).copied().unwrap_or(f32::NEG_INFINITY)
    }

    /// Depths at `TILE` × `TILE` cells, the first at `(dx, dy)` from the ball's axis: rows `width` apart.
    fn from(&self, dx: isize, dy: isize) -> &[f32] {
        let side = (self.reach + TILE) as isize;
        &self.depth[(dy + side) as usize * self.width + (dx + side) as usize..]
    }
}

/// One tile of the lower offset.
///
/// Source tiles are taken in the order of the lowest they can give, until none can lower any cell;
/// within one, cells that cannot lower any cell are left out.
fn lower_tile(
    offset: &HeightMap,
    ball: &Kernel,
    tiles: [usize; 2],
    least: &[f32],
    [ti, tj]: [usize; 2],
    candidates: &mut Vec<(f32, u32, u32)>,
) -> [[f32; TILE]; TILE] {
    let grid = offset.grid;
    let mut result = [[f32::INFINITY; TILE]; TILE];
    let around = (ball.reach + TILE - 1).div_ceil(TILE);
    candidates.clear();
    for sj in tj.saturating_sub(around)..(tj + around + 1).min(tiles[1]) {
        for si in ti.saturating_sub(around)..(ti + around + 1).min(tiles[0]) {
            // cells between the nearest cells of two tiles
            let apart = |a: usize, b: usize| (TILE * a.abs_diff(b)).saturating_sub(TILE - 1);
            let bound = least[sj * tiles[0] + si] - ball.bound(apart(si, ti), apart(sj, tj));
            if bound < f32::INFINITY {
                candidates.push((bound, si as u32, sj as u32));
            }
        }
    }
    candidates.sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then((a.2, a.1).cmp(&(b.2, b.1))));
    let (i0, j0) = (ti * TILE, tj * TILE);
    // cells of the last tiles beyond the grid need no value
    let (wide, high) = (TILE.min(grid.nx - i0), TILE.min(grid.ny - j0));
    let mut worst = f32::INFINITY;
    for &(bound, si, sj) in candidates.iter() {
        if bound >= worst {
            break;
        }
        let (u0, v0) = (si as usize * TILE, sj as usize * TILE);
        for v in v0..(v0 + TILE).min(grid.ny) {
            let below = (j0.saturating_sub(v)).max(v.saturating_sub(j0 + TILE - 1));
            for u in u0..(u0 + TILE).min(grid.nx) {
                let c = offset.values()[v * grid.nx + u];
                let aside = (i0.saturating_sub(u)).max(u.saturating_sub(i0 + TILE - 1));
                let bound = c - ball.bound(aside, below);
                if bound >= worst || bound.is_nan() {
                    continue;
                }
                let depths = ball.from(i0 as isize - u as isize, j0 as isize - v as isize);
                for (row, depths) in result.iter_mut().zip(depths.chunks(ball.width)) {
                    for (cell, &depth) in row.iter_mut().zip(&depths[..TILE]) {
                        let z = c - depth;
                        *cell = if z < *cell { z } else { *cell };
                    }
                }
            }
            worst = result[..high]
                .iter()
                .flat_map(|row| &row[..wide])
                .fold(f32::NEG_INFINITY, |m, &z| m.max(z));
        }
    }
    result
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
