//! Columns: every crossing of each grid line with a mesh.
//!
//! Parallel lines on a grid are cast by scan conversion (the `scan` module), in bands of rows, and
//! kept in one flat array: bands are counted, then filled and sorted, each by one task.

mod scan;

use super::{Grid, HeightMap};
use crate::mesh::{Mesh, Point};
use rayon::prelude::*;
use scan::{BAND, Bands, Run, Scan, extent, within};

/// One crossing of a grid line with the mesh; 8 bytes.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Crossing {
    /// Height, mm: the triangle's plane at the grid line, in f64 and within the triangle's own heights, rounded to f32.
    pub z: f32,
    /// Triangle id, with `UP` set where it faces up.
    tag: u32,
}

const UP: u32 = 1 << 31;

impl Crossing {
    /// The triangle crossed.
    pub fn triangle(self) -> u32 {
        self.tag & !UP
    }

    /// Whether the triangle faces up: going up the line, material ends here; else it begins.
    pub fn up(self) -> bool {
        self.tag & UP != 0
    }

    /// Key of the order within a column: height, then entries before exits, then triangle.
    fn key(self) -> u64 {
        // the bits of a float in the order of its value: turned over when negative, above those when not
        let bits = self.z.to_bits();
        let ordered = bits ^ ((bits as i32 >> 31) as u32 | UP);
        u64::from(ordered) << 32 | u64::from(self.tag)
    }
}

/// All crossings of the grid lines (along Z, through the cells' centres) with a mesh, from low to high.
///
/// At equal heights entries come before exits: winding never falls below zero there, a plate too thin for f32 keeps its
/// interval (of no height), and solids that touch are one. Crossings closer than the rounding of their
/// heights (f32, and f64 on steep slivers) may stand in either order; solids and gaps thinner than that mean nothing.
#[derive(Debug, Clone, PartialEq)]
pub struct Columns {
    grid: Grid,
    /// Column `k` is `crossings[offsets[k]..offsets[k + 1]]`.
    offsets: Vec<u32>,
    crossings: Vec<Crossing>,
}

impl Columns {
    /// Casts all grid lines of `grid` at `mesh`, in the tool frame (tool axis = +Z). Same result whatever the number of threads.
    ///
    /// # Panics
    /// If a triangle's corner is out of range, with more than 2³¹ triangles, or with 2³² crossings (32 GiB) or more.
    pub fn cast(mesh: &Mesh, grid: Grid) -> Columns {
        assert!(
            mesh.triangles.len() <= UP as usize,
            "at most 2^31 triangles"
        );
        let mut offsets = vec![0; grid.len() + 1];
        if grid.is_empty() {
            return Columns {
                grid,
                offsets,
                crossings: Vec::new(),
            };
        }
        let scan = Scan::new(mesh, grid);
        let runs = counted(&scan, &Bands::sort(&scan), &mut offsets[1..]);
        let crossings = filled(&scan, &runs, &mut offsets[1..]);
        Columns {
            grid,
            offsets,
            crossings,
        }
    }

    /// The grid.
    pub fn grid(&self) -> Grid {
        self.grid
    }

    /// Crossings of column `k` (see [`Grid::index`]), from low to high.
    ///
    /// # Panics
    /// If the grid has no such cell.
    pub fn column(&self, k: usize) -> &[Crossing] {
        &self.crossings[self.offsets[k] as usize..self.offsets[k + 1] as usize]
    }

    /// Number of crossings in all columns.
    pub fn crossing_count(&self) -> usize {
        self.crossings.len()
    }

    /// Height of the highest crossing of each column.
    pub fn top(&self) -> HeightMap {
        let mut map = HeightMap::empty(self.grid);
        map.values_mut()
            .par_iter_mut()
            .enumerate()
            .for_each(|(k, z)| {
                if let Some(c) = self.column(k).last() {
                    *z = c.z;
                }
            });
        map
    }

    /// Triangle of the highest crossing of column `k`.
    pub fn top_triangle(&self, k: usize) -> Option<u32> {
        self.column(k).last().map(|c| c.triangle())
    }

    /// Solid intervals `[from, to]` of column `k`, mm, from low to high: where more shells have been entered than left, so
    /// shells that overlap or touch merge and voids are left out. Of an open mesh, an interval without an end is dropped.
    pub fn solids(&self, k: usize) -> impl Iterator<Item = [f32; 2]> + '_ {
        let mut inside = 0i32;
        let mut from = 0.0;
        self.column(k).iter().filter_map(move |c| {
            inside += if c.up() { -1 } else { 1 };
            if !c.up() && inside == 1 {
                from = c.z;
            }
            (c.up() && inside == 0).then_some([from, c.z])
        })
    }

    /// Air gaps `[from, to]` of column `k`, mm, from low to high: between its solid intervals, not below or above them all.
    pub fn gaps(&self, k: usize) -> impl Iterator<Item = [f32; 2]> + '_ {
        let mut below = None;
        self.solids(k)
            .filter_map(move |[from, to]| Some([below.replace(to)?, from]))
    }
}

/// Puts a column in order; most have two crossings.
fn sort(column: &mut [Crossing]) {
    match column {
        [] | [_] => {}
        [a, b] => {
            if b.key() < a.key() {
                std::mem::swap(a, b);
            }
        }
        _ => column.sort_unstable_by_key(|c| c.key()),
    }
}

/// The runs of each band, and in `counts` the crossings of each column.
fn counted(scan: &Scan, bands: &Bands, counts: &mut [u32]) -> Vec<Vec<Run>> {
    let nx = scan.grid.nx;
    counts
        .par_chunks_mut(BAND * nx)
        .enumerate()
        .map(|(band, counts)| {
            let rows = bands.rows(band);
            let mut runs = Vec::with_capacity(4 * bands.triangles(band).len());
            for &t in bands.triangles(band) {
                scan.triangle(t, rows.clone(), &mut runs);
            }
            for run in &runs {
                for n in &mut counts[run.cells(rows.start, nx)] {
                    *n += 1;
                }
            }
            runs
        })
        .collect()
}

/// All crossings, and in place of their `counts` by column the ends of the columns.
fn filled(scan: &Scan, runs: &[Vec<Run>], counts: &mut [u32]) -> Vec<Crossing> {
    let totals = runs.iter().map(|runs| {
        let lengths = runs.iter().map(|run| (run.end - run.start) as usize);
        lengths.sum::<usize>()
    });
    let totals: Vec<usize> = totals.collect();
    let total: usize = totals.iter().sum();
    assert!(u32::try_from(total).is_ok(), "fewer than 2^32 crossings");
    let mut crossings: Vec<Crossing> = rayon::iter::repeat_n(Crossing::default(), total).collect();
    let mut rest = crossings.as_mut_slice();
    let mut first = 0;
    let mut jobs = Vec::with_capacity(totals.len());
    let bands = counts.chunks_mut(BAND * scan.grid.nx).zip(runs);
    for ((ends, runs), n) in bands.zip(totals) {
        let (mine, others) = rest.split_at_mut(n);
        rest = others;
        jobs.push((first, ends, runs, mine));
        first += n as u32;
    }
    jobs.into_par_iter()
        .enumerate()
        .for_each(|(band, (first, ends, runs, mine))| {
            fill_band(scan, band * BAND, runs, ends, mine);
            ends.iter_mut().for_each(|end| *end += first);
        });
    crossings
}

/// Crossings of the band that begins at row `start`: its columns' counts become their starts and, as these fill, their ends.
fn fill_band(scan: &Scan, start: usize, runs: &[Run], ends: &mut [u32], mine: &mut [Crossing]) {
    let grid = scan.grid;
    let mut next = 0;
    for n in ends.iter_mut() {
        next += std::mem::replace(n, next);
    }
    for run in runs {
        let plane = Plane::through(scan.corners(run.tag & !UP));
        let y = grid.y(run.row as usize);
        let ends = &mut ends[run.cells(start, grid.nx)];
        for (i, end) in (run.start as usize..).zip(ends) {
            mine[*end as usize] = Crossing {
                z: plane.z(grid.x(i), y),
                tag: run.tag,
            };
            *end += 1;
        }
    }
    let mut from = 0;
    for &end in ends.iter() {
        sort(&mut mine[from..end as usize]);
        from = end as usize;
    }
}

/// The plane of a triangle as heights over the grid's plane, held within the triangle's own heights.
struct Plane {
    at: Point,
    slope: [f64; 2],
    lowest: f64,
    highest: f64,
}

impl Plane {
    fn through([a, b, c]: [&Point; 3]) -> Plane {
        let (u, v) = (b - a, c - a);
        let n = u.cross(&v);
        let (lowest, highest) = extent(a.z, b.z, c.z);
        Plane {
            at: *a,
            slope: [-n.x / n.z, -n.y / n.z],
            lowest,
            highest,
        }
    }

    #[inline]
    fn z(&self, x: f64, y: f64) -> f32 {
        let z = self.at.z + self.slope[0] * (x - self.at.x) + self.slope[1] * (y - self.at.y);
        // NaN comes of an area that rounds to zero; + 0 makes one zero of two
        (within(z, self.lowest, self.highest) + 0.0) as f32
    }
}

#[cfg(test)]
mod tests;
