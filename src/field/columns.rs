//! Columns: every crossing of each grid line with a mesh.
//!
//! Parallel lines on a grid are cast by scan conversion: each triangle visits the rows of cells its plan spans,
//! and in each row the run of cells between its two edges. Where a run ends is decided by an exact predicate:
//! the sign of the plan area of (edge, grid line), computed in floating point with a bound on its error and, only
//! inside that bound, exactly (J. R. Shewchuk, "Adaptive Precision Floating-Point Arithmetic and Fast Robust
//! Geometric Predicates", Discrete & Computational Geometry 18, 1997). A grid line that meets an edge or a corner
//! exactly is thought moved by (ε, ε²) (H. Edelsbrunner and E. P. Mücke, "Simulation of Simplicity", ACM Trans.
//! Graphics 9, 1990), so it passes beside it. Hence:
//!
//! * a line through a shared edge or corner is counted once where the surface goes on and twice or not at all where it
//!   folds back, and a closed mesh gives each column as many entries as exits, welded or not;
//! * a triangle that stands upright (no plan area) is never crossed;
//! * moving by (ε, ε²) means: cells on the left or lower boundary of a triangle's plan are in, on the right or upper out.

use super::{Grid, HeightMap};
use crate::mesh::{Mesh, Point};
use rayon::prelude::*;
use robust::{Coord, orient2d};
use std::ops::Range;

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
        assert!(mesh.triangles.len() <= UP as usize, "at most 2^31 triangles");
        let mut offsets = vec![0; grid.len() + 1];
        if grid.is_empty() {
            return Columns {
                grid,
                offsets,
                crossings: Vec::new(),
            };
        }
        let scan = Scan::new(mesh, grid);
        let bands = Bands::sort(&scan);

        // count
        let cells = BAND * grid.nx;
        let totals: Vec<usize> = offsets[1..]
            .par_chunks_mut(cells)
            .enumerate()
            .map(|(band, counts)| {
                let rows = bands.rows(band);
                let mut total = 0;
                for &t in bands.triangles(band) {
                    scan.runs(t, rows.clone(), |row, run, _| {
                        total += run.len();
                        let at = (row - rows.start) * grid.nx;
                        for n in &mut counts[at + run.start..at + run.end] {
                            *n += 1;
                        }
                    });
                }
                total
            })
            .collect();

        // fill; a band's counts become the starts of its columns, then, as they fill, their ends
        let total: usize = totals.iter().sum();
        assert!(u32::try_from(total).is_ok(), "fewer than 2^32 crossings");
        let mut crossings: Vec<Crossing> =
            rayon::iter::repeat_n(Crossing::default(), total).collect();
        let mut rest = crossings.as_mut_slice();
        let mut first = 0;
        let mut jobs = Vec::with_capacity(totals.len());
        for (ends, &n) in offsets[1..].chunks_mut(cells).zip(&totals) {
            let (mine, others) = rest.split_at_mut(n);
            rest = others;
            jobs.push((first, ends, mine));
            first += n as u32;
        }
        jobs.into_par_iter()
            .enumerate()
            .for_each(|(band, (first, ends, mine))| {
                let mut start = 0;
                for n in ends.iter_mut() {
                    start += std::mem::replace(n, start);
                }
                let rows = bands.rows(band);
                for &t in bands.triangles(band) {
                    let plane = Plane::through(mesh.corners(t as usize));
                    scan.runs(t, rows.clone(), |row, run, up| {
                        let at = (row - rows.start) * grid.nx;
                        let tag = if up { t | UP } else { t };
                        let y = grid.y(row);
                        for (i, end) in run.clone().zip(&mut ends[at + run.start..at + run.end]) {
                            let z = plane.z(grid.x(i), y);
                            mine[*end as usize] = Crossing { z, tag };
                            *end += 1;
                        }
                    });
                }
                let mut start = 0;
                for end in ends {
                    mine[start..*end as usize].sort_unstable_by_key(|c| c.key());
                    start = *end as usize;
                    *end += first;
                }
            });
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
    pub fn column(&self, k: usize) -> &[Crossing] {
        &self.crossings[self.offsets[k] as usize..self.offsets[k + 1] as usize]
    }

    /// Number of crossings in all columns.
    pub fn crossings(&self) -> usize {
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

/// Rows of cells that one task takes: few enough that a band's crossings stay in the cache while they are filled and sorted.
const BAND: usize = 16;

/// The triangles of each band of rows.
struct Bands {
    ny: usize,
    /// Band `b` has `members[starts[b]..starts[b + 1]]`.
    starts: Vec<usize>,
    members: Vec<u32>,
}

impl Bands {
    /// Sorts the triangles by counting; a triangle is in each band it spans.
    fn sort(scan: &Scan) -> Bands {
        let ny = scan.grid.ny;
        let spans: Vec<[u32; 2]> = (0..scan.mesh.triangles.len())
            .into_par_iter()
            .map(|t| {
                let rows = scan.rows(t);
                if rows.is_empty() {
                    return [0, 0];
                }
                [rows.start / BAND, rows.end.div_ceil(BAND)].map(|band| band as u32)
            })
            .collect();
        let mut starts = vec![0; ny.div_ceil(BAND) + 1];
        for &[first, last] in &spans {
            for band in first..last {
                starts[band as usize + 1] += 1;
            }
        }
        for band in 1..starts.len() {
            starts[band] += starts[band - 1];
        }
        let mut next = starts.clone();
        let mut members = vec![0; starts[starts.len() - 1]];
        for (t, &[first, last]) in spans.iter().enumerate() {
            for band in first..last {
                members[next[band as usize]] = t as u32;
                next[band as usize] += 1;
            }
        }
        Bands {
            ny,
            starts,
            members,
        }
    }

    fn rows(&self, band: usize) -> Range<usize> {
        band * BAND..self.ny.min((band + 1) * BAND)
    }

    fn triangles(&self, band: usize) -> &[u32] {
        &self.members[self.starts[band]..self.starts[band + 1]]
    }
}

/// Scan conversion of the mesh's triangles on the grid.
struct Scan<'m> {
    mesh: &'m Mesh,
    grid: Grid,
    /// Cells per mm.
    per_cell: f64,
    /// Bound on the error of an edge's place in a row, in cells.
    slack: f64,
}

impl<'m> Scan<'m> {
    fn new(mesh: &'m Mesh, grid: Grid) -> Scan<'m> {
        // With u = ε/2 the unit roundoff and M the largest |x| about, each of dx, t = (y - ay) / dy and their product is good
        // to a few u: x = ax + t dx is off by 11 u M at most (|dx| <= 2 M), the division into cells by 2 M u, the
        // grid line itself by 3 M u; 64 u M is ample.
        let largest = [grid.x(0), grid.x(grid.nx - 1)]
            .into_iter()
            .chain(mesh.vertices.iter().map(|p| p.x))
            .fold(0.0, |m: f64, x| m.max(x.abs()));
        Scan {
            mesh,
            grid,
            per_cell: 1.0 / grid.cell,
            slack: 32.0 * f64::EPSILON * (largest / grid.cell + 1.0),
        }
    }

    /// The rows `t` spans: those with `lowest corner <= y < highest corner`. None when it is beside the grid.
    fn rows(&self, t: usize) -> Range<usize> {
        let [a, b, c] = self.mesh.corners(t);
        let (left, right) = (a.x.min(b.x).min(c.x), a.x.max(b.x).max(c.x));
        if right < self.grid.x(0) || left > self.grid.x(self.grid.nx - 1) {
            return 0..0;
        }
        self.first_row(a.y.min(b.y).min(c.y))..self.first_row(a.y.max(b.y).max(c.y))
    }

    /// The first row at or above `y`.
    fn first_row(&self, y: f64) -> usize {
        let Grid {
            origin, cell, ny, ..
        } = self.grid;
        let mut row = ceil((y - origin[1]) / cell - 0.5, ny);
        while row > 0 && self.grid.y(row - 1) >= y {
            row -= 1;
        }
        while row < ny && self.grid.y(row) < y {
            row += 1;
        }
        row
    }

    /// Calls `each(row, cells, up)` for each row of `rows` that triangle `t` spans, with the run of cells whose grid lines cross it.
    #[inline]
    fn runs(&self, t: u32, rows: Range<usize>, mut each: impl FnMut(usize, Range<usize>, bool)) {
        let [mut low, mut mid, mut high] = self.mesh.corners(t as usize);
        // counter-clockwise as given means facing up; each swap turns it
        let mut up = true;
        if mid.y < low.y {
            std::mem::swap(&mut low, &mut mid);
            up = !up;
        }
        if high.y < mid.y {
            std::mem::swap(&mut mid, &mut high);
            up = !up;
            if mid.y < low.y {
                std::mem::swap(&mut low, &mut mid);
                up = !up;
            }
        }
        // Rows at a corner's very height belong to the edges above it: the grid line lies ε² higher. Level edges cross no row.
        let first = self.first_row(low.y).max(rows.start);
        for row in first..rows.end {
            let y = self.grid.y(row);
            if y >= high.y {
                break;
            }
            let long = self.first_right(&low, &high, y);
            let short = if y < mid.y {
                self.first_right(&low, &mid, y)
            } else {
                self.first_right(&mid, &high, y)
            };
            // with the middle corner on the right of the long edge, low, mid, high run counter-clockwise
            if long < short {
                each(row, long..short, up);
            } else if short < long {
                each(row, short..long, !up);
            }
        }
    }

    /// The first cell whose grid line in the row at `y` is on the right of the edge from `a` up to `b`, or on it (it is thought
    /// ε further right). `a.y <= y < b.y`.
    #[inline]
    fn first_right(&self, a: &Point, b: &Point, y: f64) -> usize {
        let x = a.x + (b.x - a.x) * ((y - a.y) / (b.y - a.y));
        let cells = (x - self.grid.origin[0]) * self.per_cell - 0.5;
        let mut first = ceil(cells - self.slack, self.grid.nx);
        let mut last = ceil(cells + self.slack, self.grid.nx);
        while first < last {
            let i = (first + last) / 2;
            let coord = |p: &Point| Coord { x: p.x, y: p.y };
            let line = Coord {
                x: self.grid.x(i),
                y,
            };
            if orient2d(coord(a), coord(b), line) <= 0.0 {
                last = i;
            } else {
                first = i + 1;
            }
        }
        first
    }
}

/// `v` rounded up, within `0..=n`.
#[inline]
fn ceil(v: f64, n: usize) -> usize {
    // by truncation: f64::ceil is a call on processors of the common baseline
    let v = v.max(0.0).min(n as f64);
    let i = v as u32;
    i as usize + usize::from(v > f64::from(i))
}

/// The plane of a triangle as heights over the grid's plane, held within the triangle's own heights.
struct Plane {
    at: Point,
    slope: [f64; 2],
    lowest: f64,
    highest: f64,
}

impl Plane {
    fn through([a, b, c]: [Point; 3]) -> Plane {
        let (u, v) = (b - a, c - a);
        let n = u.cross(&v);
        Plane {
            at: a,
            slope: [-n.x / n.z, -n.y / n.z],
            lowest: a.z.min(b.z).min(c.z),
            highest: a.z.max(b.z).max(c.z),
        }
    }

    #[inline]
    fn z(&self, x: f64, y: f64) -> f32 {
        let z = self.at.z + self.slope[0] * (x - self.at.x) + self.slope[1] * (y - self.at.y);
        // max and min let go of a NaN, from an area that rounds to zero; + 0 makes one zero of two
        (z.max(self.lowest).min(self.highest) + 0.0) as f32
    }
}
