//! Which grid lines meet which triangle, decided exactly.
//!
//! Each triangle visits the rows of cells its plan spans, and in each row the run of cells between its two edges.
//! Where a run ends is decided by an exact predicate:
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

use super::{Grid, UP};
use crate::mesh::{Mesh, Point};
use rayon::prelude::*;
use robust::{Coord, orient2d};
use std::ops::Range;

/// Rows of cells that one task takes: few enough that a band's crossings stay in the cache while they are filled and sorted.
pub(super) const BAND: usize = 16;

/// The triangles of each band of rows.
pub(super) struct Bands {
    ny: usize,
    /// Band `b` has `members[starts[b]..starts[b + 1]]`.
    starts: Vec<usize>,
    members: Vec<u32>,
}

impl Bands {
    /// Sorts the triangles by counting; a triangle is in each band it spans.
    pub(super) fn sort(scan: &Scan) -> Bands {
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

    pub(super) fn rows(&self, band: usize) -> Range<usize> {
        band * BAND..self.ny.min((band + 1) * BAND)
    }

    pub(super) fn triangles(&self, band: usize) -> &[u32] {
        &self.members[self.starts[band]..self.starts[band + 1]]
    }
}

/// Neighbouring cells of a row whose grid lines cross one triangle.
pub(super) struct Run {
    /// As of a [`super::Crossing`].
    pub(super) tag: u32,
    pub(super) row: u32,
    pub(super) start: u32,
    pub(super) end: u32,
}

impl Run {
    /// The cells, counted from the first of row `from` of a grid `nx` wide.
    pub(super) fn cells(&self, from: usize, nx: usize) -> Range<usize> {
        let at = (self.row as usize - from) * nx;
        at + self.start as usize..at + self.end as usize
    }
}

/// Scan conversion of the mesh's triangles on the grid.
pub(super) struct Scan<'m> {
    mesh: &'m Mesh,
    pub(super) grid: Grid,
    /// Cells per mm.
    per_mm: f64,
    /// Bound on the error of an edge's place in a row, in cells.
    slack: f64,
}

impl<'m> Scan<'m> {
    pub(super) fn new(mesh: &'m Mesh, grid: Grid) -> Scan<'m> {
        // With u = ε/2 the unit roundoff and M the largest |x| or |y| about: an edge's place ax + (y - ay) dx / dy in a row it
        // crosses is off by 12 u M at most (|dx| <= 2 M), its conversion into cells by 8 u M, the grid line itself by 3 u M.
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

    /// As [`Mesh::corners`], spelled out: an array's `map` is not inlined, and costs as much as all else done per triangle.
    #[inline(always)]
    pub(super) fn corners(&self, t: u32) -> [&'m Point; 3] {
        let [a, b, c] = self.mesh.triangles[t as usize];
        let vertices = &self.mesh.vertices;
        [
            &vertices[a as usize],
            &vertices[b as usize],
            &vertices[c as usize],
        ]
    }

    /// The bands that triangle `t` may meet; none when it is beside the grid, or so small that no grid line passes it.
    fn bands(&self, t: u32) -> [u32; 2] {
        let [a, b, c] = self.corners(t);
        let (left, right) = extent(a.x, b.x, c.x);
        let (low, high) = extent(a.y, b.y, c.y);
        let Grid { origin, nx, ny, .. } = self.grid;
        // cells of which the grid line may lie between two places along axis `k`
        let between = |from: f64, to: f64, k: usize, n: usize| {
            let place = |v: f64| (v - origin[k]) * self.per_mm - 0.5;
            let first = ceil(place(from) - self.slack, n);
            (first, ceil(place(to) + self.slack, n))
        };
        let (first, last) = between(low, high, 1, ny);
        let (start, end) = between(left, right, 0, nx);
        if first >= last || start >= end {
            return [0, 0];
        }
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
    pub(super) fn triangle(&self, t: u32, rows: Range<usize>, runs: &mut Vec<Run>) {
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
        let first = self.first_row(low.y).max(rows.start);
        if first >= rows.end || self.grid.y(first) >= high.y {
            return;
        }
        let long = Edge::new(self, low, high);
        let lower = Edge::new(self, low, mid);
        let upper = Edge::new(self, mid, high);
        // Rows at a corner's very height belong to the edges above it: the grid line lies ε² higher. Level edges cross no row.
        for row in first..rows.end {
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
pub(super) fn within(v: f64, lo: f64, hi: f64) -> f64 {
    let v = if v > lo { v } else { lo };
    if v < hi { v } else { hi }
}

/// Smallest and largest of three.
#[inline(always)]
pub(super) fn extent(a: f64, b: f64, c: f64) -> (f64, f64) {
    let lesser = |a: f64, b: f64| if a < b { a } else { b };
    let greater = |a: f64, b: f64| if a > b { a } else { b };
    (lesser(lesser(a, b), c), greater(greater(a, b), c))
}
