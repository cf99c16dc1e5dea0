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
        let bands = Bands::sort(&scan);

        // Count, keeping each band's runs.
        let cells = BAND * grid.nx;
        let runs: Vec<Vec<Run>> = offsets[1..]
            .par_chunks_mut(cells)
            .enumerate()
            .map(|(band, counts)| {
                let rows = bands.rows(band);
                let mut runs = Vec::with_capacity(4 * bands.triangles(band).len());
                for &t in bands.triangles(band) {
                    scan.triangle(t, rows.clone(), &mut runs);
                }
                for run in &runs {
                    for n in &mut counts[run.cells(rows.start, grid.nx)] {
                        *n += 1;
                    }
                }
                runs
            })
            .collect();
        let totals = runs.iter().map(|runs| {
            let lengths = runs.iter().map(|run| (run.end - run.start) as usize);
            lengths.sum::<usize>()
        });
        let totals: Vec<usize> = totals.collect();

        // Fill. A band's counts become the starts of its columns and, as these fill, their ends.
        let total: usize = totals.iter().sum();
        assert!(u32::try_from(total).is_ok(), "fewer than 2^32 crossings");
        let mut crossings: Vec<Crossing> =
            rayon::iter::repeat_n(Crossing::default(), total).collect();
        let mut rest = crossings.as_mut_slice();
        let mut first = 0;
        let mut jobs = Vec::with_capacity(totals.len());
        for ((ends, runs), n) in offsets[1..].chunks_mut(cells).zip(runs).zip(totals) {
            let (mine, others) = rest.split_at_mut(n);
            rest = others;
            jobs.push((first, ends, runs, mine));
            first += n as u32;
        }
        jobs.into_par_iter()
            .enumerate()
            .for_each(|(band, (first, ends, runs, mine))| {
                let mut start = 0;
                for n in ends.iter_mut() {
                    start += std::mem::replace(n, start);
                }
                for run in &runs {
                    let plane = Plane::through(scan.corners(run.tag & !UP));
                    let y = grid.y(run.row as usize);
                    let ends = &mut ends[run.cells(band * BAND, grid.nx)];
                    for (i, end) in (run.start as usize..).zip(ends) {
                        mine[*end as usize] = Crossing {
                            z: plane.z(grid.x(i), y),
                            tag: run.tag,
                        };
                        *end += 1;
                    }
                }
                let mut start = 0;
                for end in ends {
                    sort(&mut mine[start..*end as usize]);
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
        let spans: Vec<[u32; 2]> = (0..scan.mesh.triangles.len() as u32)
            .into_par_iter()
            .map(|t| scan.bands(t))
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

/// Neighbouring cells of a row whose grid lines cross one triangle.
struct Run {
    /// As of a [`Crossing`].
    tag: u32,
    row: u32,
    start: u32,
    end: u32,
}

impl Run {
    /// The cells, counted from the first of row `from` of a grid `nx` wide.
    fn cells(&self, from: usize, nx: usize) -> Range<usize> {
        let at = (self.row as usize - from) * nx;
        at + self.start as usize..at + self.end as usize
    }
}

/// Scan conversion of the mesh's triangles on the grid.
struct Scan<'m> {
    mesh: &'m Mesh,
    grid: Grid,
    /// Cells per mm.
    per_mm: f64,
    /// Bound on the error of an edge's place in a row, in cells.
    slack: f64,
}

impl<'m> Scan<'m> {
    fn new(mesh: &'m Mesh, grid: Grid) -> Scan<'m> {
        // With u = ε/2 the unit roundoff and M the largest |x| or |y| about: an edge's place ax + (y - ay) dx / dy in a row it crosses is
        // off by 12 u M at most (|dx| <= 2 M), its conversion into cells by 8 u M, the grid line itself by 3 u M.
        let largest = [
            grid.x(0),
            grid.x(grid.nx - 1),
            grid.y(0),
            grid.y(grid.ny - 1),
        ]
        .into_iter()
        .chain(mesh.vertices.iter().flat_map(|p| [p.x, p.y]))
        .fold(0.0, |m: f64, x| m.max(x.abs()));
        Scan {
            mesh,
            grid,
            per_mm: 1.0 / grid.cell,
            slack: 32.0 * f64::EPSILON * (largest / grid.cell + 1.0),
        }
    }

    /// As [`Mesh::corners`], spelled out: an array's `map` is not inlined here, and costs more than all the rest of [`Scan::rows`].
    #[inline(always)]
    fn corners(&self, t: u32) -> [&'m Point; 3] {
        let [a, b, c] = self.mesh.triangles[t as usize];
        let vertices = &self.mesh.vertices;
        [
            &vertices[a as usize],
            &vertices[b as usize],
            &vertices[c as usize],
        ]
    }

    /// The bands that triangle `t` may meet; none when it is beside the grid.
    fn bands(&self, t: u32) -> [u32; 2] {
        let [a, b, c] = self.corners(t);
        let (left, right) = extent(a.x, b.x, c.x);
        let (low, high) = extent(a.y, b.y, c.y);
        let grid = &self.grid;
        if right < grid.x(0) || left > grid.x(grid.nx - 1) {
            return [0, 0];
        }
        let place = |y: f64| (y - grid.origin[1]) * self.per_mm - 0.5;
        let first = within(place(low) - self.slack, 0.0, grid.ny as f64) as usize;
        let last = ceil(place(high) + self.slack, grid.ny);
        [first / BAND, last.div_ceil(BAND)].map(|band| band as u32)
    }

    /// The first row at or above `y`.
    fn first_row(&self, y: f64) -> usize {
        let Grid { origin, ny, .. } = self.grid;
        let mut row = ceil((y - origin[1]) * self.per_mm - 0.5, ny);
        while row > 0 && self.grid.y(row - 1) >= y {
            row -= 1;
        }
        while row < ny && self.grid.y(row) < y {
            row += 1;
        }
        row
    }

    /// Adds to `runs` those of triangle `t` in `rows`.
    #[inline]
    fn triangle(&self, t: u32, rows: Range<usize>, runs: &mut Vec<Run>) {
        let [mut low, mut mid, mut high] = self.corners(t);
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
        let long = Edge::new(self, low, high);
        let lower = Edge::new(self, low, mid);
        let upper = Edge::new(self, mid, high);
        // Rows at a corner's very height belong to the edges above it: the grid line lies ε² higher. Level edges cross no row.
        for row in self.first_row(low.y).max(rows.start)..rows.end {
            let y = self.grid.y(row);
            if y >= high.y {
                break;
            }
            let short = if y < mid.y { &lower } else { &upper };
            let (long, short) = (self.first_right(&long, y), self.first_right(short, y));
            if long != short {
                // with the middle corner on the right of the long edge, low, mid, high run counter-clockwise
                let up = up == (long < short);
                runs.push(Run {
                    tag: if up { t | UP } else { t },
                    row: row as u32,
                    start: long.min(short) as u32,
                    end: long.max(short) as u32,
                });
            }
        }
    }

    /// The first cell whose grid line in the row at `y` is on the right of the edge or on it (it is thought ε further right).
    #[inline]
    fn first_right(&self, edge: &Edge, y: f64) -> usize {
        let n = self.grid.nx as f64;
        // rounding up by truncation, since f64::ceil is a call on processors of the common baseline
        let above = edge.place + edge.slope * (y - edge.from.y) + 1.0;
        let above = within(above, 0.5, n + 0.5);
        let first = above as u32;
        let part = above - f64::from(first);
        if part > edge.slack && part < 1.0 - edge.slack {
            return first as usize;
        }
        self.first_right_exactly(edge, y)
    }

    #[cold]
    fn first_right_exactly(&self, edge: &Edge, y: f64) -> usize {
        let place = edge.place + edge.slope * (y - edge.from.y);
        let mut first = ceil(place - edge.slack, self.grid.nx);
        let mut last = ceil(place + edge.slack, self.grid.nx);
        while first < last {
            let i = (first + last) / 2;
            let coord = |p: &Point| Coord { x: p.x, y: p.y };
            let line = Coord {
                x: self.grid.x(i),
                y,
            };
            if orient2d(coord(edge.from), coord(edge.to), line) <= 0.0 {
                last = i;
            } else {
                first = i + 1;
            }
        }
        first
    }
}

/// An edge in plan, from its lower to its higher end.
struct Edge<'m> {
    from: &'m Point,
    to: &'m Point,
    /// Its place along X at `from`, in cells from the first grid line.
    place: f64,
    /// Cells along X per mm along Y.
    slope: f64,
    /// Bound on the error of its place in a row, in cells.
    slack: f64,
}

impl<'m> Edge<'m> {
    #[inline]
    fn new(scan: &Scan, from: &'m Point, to: &'m Point) -> Edge<'m> {
        let slope = (to.x - from.x) / (to.y - from.y) * scan.per_mm;
        let flat = !slope.is_finite();
        Edge {
            from,
            to,
            place: (from.x - scan.grid.origin[0]) * scan.per_mm - 0.5,
            // so nearly level that its slope overflows: may be anywhere
            slope: if flat { 0.0 } else { slope },
            slack: if flat { f64::INFINITY } else { scan.slack },
        }
    }
}

/// `v` rounded up, within `0..=n`.
#[inline]
fn ceil(v: f64, n: usize) -> usize {
    let v = within(v, 0.0, n as f64);
    let i = v as u32;
    i as usize + usize::from(v > f64::from(i))
}

/// `v` held within `lo..=hi`, and `lo` for NaN; two instructions, where `f64::clamp` with its care for NaN takes more.
#[inline(always)]
fn within(v: f64, lo: f64, hi: f64) -> f64 {
    let v = if v > lo { v } else { lo };
    if v < hi { v } else { hi }
}

/// Smallest and largest of three.
#[inline(always)]
fn extent(a: f64, b: f64, c: f64) -> (f64, f64) {
    let lesser = |a: f64, b: f64| if a < b { a } else { b };
    let greater = |a: f64, b: f64| if a > b { a } else { b };
    (lesser(lesser(a, b), c), greater(greater(a, b), c))
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
