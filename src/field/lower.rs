//! From the cutter-centre surface back to the work: how near a ball comes to a place, and what
//! it leaves.
//!
//! A ball's centre may be anywhere on or above its centre surface, so the free places are upright rays.
//! Beside a straight wall the surface jumps, and the ball can pass every height of the jump.

use super::{Dropper, HeightMap, Profile};
use crate::mesh::Point;
use rayon::prelude::*;

/// The free rays of a ball over a grid, ready to be asked for the nearest.
///
/// Keeps the least height of each square of 2 × 2, 4 × 4, … cells. Cells without value
/// are free at any height; outside the grid there are no rays, so it should reach a radius beyond the mesh.
#[derive(Debug)]
pub struct FreeCentres<'a> {
    offset: &'a HeightMap,
    /// Least heights: columns, then values row by row; squares of twice the side each level.
    levels: Vec<(usize, Vec<f32>)>,
}

/// The nearest free centre found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Nearest {
    /// Its distance from the place asked for, mm.
    pub distance: f64,
    /// The centre.
    pub centre: Point,
}

impl<'a> FreeCentres<'a> {
    /// `offset`: the ball's centre surface.
    pub fn new(offset: &'a HeightMap) -> FreeCentres<'a> {
        let grid = offset.grid;
        let mut levels: Vec<(usize, Vec<f32>)> = Vec::new();
        let (mut nx, mut ny) = (grid.nx, grid.ny);
        while nx * ny > 1 {
            let below = levels.last().map_or(offset.values(), |(_, values)| values);
            let half = (nx.div_ceil(2), ny.div_ceil(2));
            let mut values = vec![f32::INFINITY; half.0 * half.1];
            values
                .par_chunks_mut(half.0)
                .zip(below.par_chunks(2 * nx))
                .for_each(|(row, rows)| {
                    for row_below in rows.chunks(nx) {
                        for (cell, pair) in row.iter_mut().zip(row_below.chunks(2)) {
                            *cell = pair.iter().fold(*cell, |least, &v| least.min(v));
                        }
                    }
                });
            levels.push((half.0, values));
            (nx, ny) = half;
        }
        FreeCentres { offset, levels }
    }

    /// The free centre over a cell's centre that is nearest to `p`, if one is nearer than `within` mm.
    ///
    /// Its distance exceeds that of the nearest free centre at any place by up to about a cell, by more in
    /// narrow upright corners; [`refine_allowed`] takes that away.
    pub fn nearest(&self, p: Point, within: f64) -> Option<Nearest> {
        let grid = self.offset.grid;
        let root = self.levels.len();
        let mut best = within * within;
        let mut found = None;
        // each of at most 32 levels leaves three of four behind
        let mut stack = [(0.0f64, 0u8, 0u32, 0u32); 100];
        stack[0] = (self.square(root, 0, 0, p), root as u8, 0, 0);
        let mut height = 1;
        while height > 0 {
            height -= 1;
            let (bound, level, i, j) = stack[height];
            if bound >= best {
                continue;
            }
            if level == 0 {
                best = bound;
                found = Some((i as usize, j as usize));
                continue;
            }
            let level = level - 1;
            let across = 1usize << level;
            let (nx, ny) = (grid.nx.div_ceil(across), grid.ny.div_ceil(across));
            let mark = height;
            for (i, j) in [
                (2 * i, 2 * j),
                (2 * i + 1, 2 * j),
                (2 * i, 2 * j + 1),
                (2 * i + 1, 2 * j + 1),
            ] {
                if (i as usize) < nx && (j as usize) < ny {
                    let bound = self.square(level as usize, i as usize, j as usize, p);
                    if bound < best {
                        // sorted in, farthest first: the nearest is taken next
                        let mut k = height;
                        while k > mark && stack[k - 1].0 < bound {
                            stack[k] = stack[k - 1];
                            k -= 1;
                        }
                        stack[k] = (bound, level, i, j);
                        height += 1;
                    }
                }
            }
        }
        found.map(|(i, j)| {
            let [x, y] = grid.centre(i, j);
            let z = f64::from(self.offset.values()[grid.index(i, j)]).max(p.z);
            Nearest {
                distance: best.sqrt(),
                centre: Point::new(x, y, z),
            }
        })
    }

    /// Least squared distance from `p` to the rays of a square: that of the only ray at level 0, else a lower bound.
    fn square(&self, level: usize, i: usize, j: usize, p: Point) -> f64 {
        let grid = self.offset.grid;
        let least = match level {
            0 => self.offset.values()[j * grid.nx + i],
            _ => {
                let (nx, values) = &self.levels[level - 1];
                values[j * nx + i]
            }
        };
        let across = 1usize << level;
        let gap = |k: usize, n: usize, v: f64| {
            let first = grid.origin[k] + grid.cell * ((n * across) as f64 + 0.5);
            let last = first + grid.cell * (across - 1) as f64;
            (first - v).max(v - last).max(0.0)
        };
        let (dx, dy) = (gap(0, i, p.x), gap(1, j, p.y));
        let dz = (f64::from(least) - p.z).max(0.0);
        dx * dx + dy * dy + dz * dz
    }
}

/// How deep a body may cut before a place counts as not free, mm: it keeps rounding from closing what
/// only just fits. Refined distances may be short by about this much.
const SLACK: f64 = 1e-4;

/// Moves a free centre found on the grid to the nearest free one about it, by exact drops.
///
/// `start` is the centre found and `cell` the grid's cell, mm. The search polls eight directions, turned a little
/// after each failure so that the edge of what is free is met at every angle, and halves its
/// step after three failures, from one cell down to 1e-4 mm. A surface that jumps needs no
/// derivative this way. Never returns a centre farther away than `start` when that is free.
pub fn refine_allowed(
    dropper: &Dropper,
    profile: Profile,
    p: Point,
    start: Point,
    cell: f64,
) -> Nearest {
    let Some((inner, raised)) = profile.inset(SLACK) else {
        return Nearest {
            distance: 0.0,
            centre: p,
        };
    };
    // the free centre over (x, y), if it is nearer than `within`
    let nearer = |x: f64, y: f64, within: f64| {
        let (dx, dy) = (x - p.x, y - p.y);
        let up = (within - dx.hypot(dy)) * (within + dx.hypot(dy));
        // below the place's own height nothing matters, above this one the centre is too far away
        let ceiling = p.z + if up > 0.0 { up.sqrt() } else { return None };
        let contact = dropper.highest(inner, [x, y], p.z + raised, ceiling + raised);
        let centre = Point::new(x, y, contact.map_or(p.z, |c| c.z - raised));
        let distance = (centre - p).norm();
        (distance < within).then_some(Nearest { distance, centre })
    };
    let mut best = Nearest {
        distance: f64::INFINITY,
        centre: start,
    };
    best = nearer(start.x, start.y, f64::INFINITY).unwrap_or(best);
    let mut step = cell;
    let mut failures = 0;
    let mut turn = 0.0f64;
    while step >= SLACK {
        let better = (0..8).find_map(|k| {
            let (s, c) = (turn + std::f64::consts::FRAC_PI_4 * f64::from(k)).sin_cos();
            nearer(
                best.centre.x + step * c,
                best.centre.y + step * s,
                best.distance,
            )
        });
        if let Some(better) = better {
            best = better;
            failures = 0;
        } else {
            // golden section of the angle between two directions: no direction comes twice
            turn += 0.618_034 * std::f64::consts::FRAC_PI_4;
            failures += 1;
            if failures == 3 {
                step *= 0.5;
                failures = 0;
            }
        }
    }
    best
}

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
