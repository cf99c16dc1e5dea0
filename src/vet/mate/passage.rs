//! Ways out of the closed hollow: the largest ball that passes.

use super::hollow::Cell;
use crate::field::{Grid, Rays};
use crate::mesh::{Point, Vector};
use crate::setup::neighbours;
use nalgebra::Isometry3;
use rayon::prelude::*;
use std::cmp::Reverse;
use std::collections::{BinaryHeap, VecDeque};

/// Both halves, closed.
pub struct Solid<'a> {
    /// A, in its tool frame.
    pub a: &'a Rays<'a>,
    /// B, in its own.
    pub b: &'a Rays<'a>,
    /// A's tool frame to B's.
    pub to_b: Isometry3<f64>,
    /// No distance is larger, mm.
    pub most: f64,
}

impl Solid<'_> {
    /// Distance from a place in A's tool frame to the nearest surface, mm.
    pub fn clear(&self, p: &Point) -> f64 {
        let a = self
            .a
            .closest(p, self.most)
            .map_or(self.most, |q| (q.0 - p).norm());
        let q = self.to_b * p;
        self.b.closest(&q, a).map_or(a, |r| (r.0 - q).norm().min(a))
    }

    /// Where the ray from `p` along `direction` first meets a surface, mm.
    pub fn hit(&self, p: &Point, direction: &Vector) -> Option<f64> {
        let a = self
            .a
            .first_hit(p, direction, self.most)
            .map(|h| h.distance);
        let (q, d) = (self.to_b * p, self.to_b * direction);
        let b = self.b.first_hit(&q, &d, self.most).map(|h| h.distance);
        [a, b].into_iter().flatten().reduce(f64::min)
    }
}

/// Most places of a hollow that are looked at.
const MOST_PLACES: usize = 40_000;

/// The hollow on a coarser grid: the largest ball about the middle of each column of air.
pub struct Lattice {
    /// Coarse cells: middle of the air and distance to the nearest surface; `None` outside the hollow.
    pub cells: Vec<Option<(Point, f64)>>,
    /// Side of a coarse cell, mm.
    pub step: f64,
    grid: Grid,
    stride: usize,
    /// Coarse cells where the hollow leaves the block.
    leaves: Vec<bool>,
}

/// A way from the widest place to the outside.
pub struct WayOut {
    /// Coarse cells.
    cells: Vec<usize>,
    /// Cells where it leaves the block.
    mouth: Vec<usize>,
    /// Its places.
    pub points: Vec<Point>,
}

impl Lattice {
    /// Coarsens the cells that are members; `leaves` marks where the hollow is cut by the outside.
    pub fn of(
        grid: &Grid,
        cells: &[Cell],
        member: impl Fn(usize) -> bool,
        leaves: impl Fn(usize) -> bool,
        solid: &Solid,
        count: usize,
    ) -> Lattice {
        let stride = ((count as f64 / MOST_PLACES as f64).sqrt().ceil() as usize).max(1);
        let coarse = Grid {
            origin: grid.origin,
            cell: grid.cell * stride as f64,
            nx: grid.nx.div_ceil(stride),
            ny: grid.ny.div_ceil(stride),
        };
        let mut stands: Vec<Option<usize>> = vec![None; coarse.len()];
        let mut out = vec![false; coarse.len()];
        for k in (0..grid.len()).filter(|&k| member(k)) {
            let n = coarse.index(k % grid.nx / stride, k / grid.nx / stride);
            // the highest column of air stands for the cell
            let high = |k: usize| cells[k].z[1].min(1e6) - cells[k].z[0].max(-1e6);
            if stands[n].is_none_or(|s| high(k) > high(s)) {
                stands[n] = Some(k);
            }
            out[n] |= leaves(k);
        }
        let air = |k: usize| -> (Point, f64) {
            let [x, y] = grid.centre_of(k);
            let [lo, hi] = cells[k].z.map(f64::from);
            let z = match (lo > -1e6, hi < 1e6) {
                (true, true) => 0.5 * (lo + hi),
                (true, false) => 0.5 * lo,
                (false, true) => 0.5 * hi,
                _ => 0.0,
            };
            let p = Point::new(x, y, z);
            (p, solid.clear(&p))
        };
        Lattice {
            cells: stands.par_iter().map(|s| s.map(air)).collect(),
            step: coarse.cell,
            grid: coarse,
            stride,
            leaves: out,
        }
    }

    fn widest_cell(&self) -> Option<usize> {
        let radius = |k: usize| self.cells[k].map(|c| c.1);
        (0..self.cells.len())
            .filter_map(|k| Some((radius(k)?, k)))
            .max_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(&a.1)))
            .map(|c| c.1)
    }

    /// Where the largest ball fits.
    pub fn widest(&self) -> Point {
        self.widest_cell()
            .and_then(|k| self.cells[k])
            .map_or_else(Point::origin, |c| c.0)
    }

    fn steps(&self, k: usize) -> impl Iterator<Item = usize> + '_ {
        neighbours(&self.grid, k)
            .into_iter()
            .flatten()
            .filter(|&n| self.cells[n].is_some())
    }

    /// For each mouth the way on which the largest ball passes.
    pub fn ways_out(&self) -> Vec<WayOut> {
        let Some(start) = self.widest_cell() else {
            return Vec::new();
        };
        let radius = |k: usize| self.cells[k].map_or(0.0, |c| c.1);
        // the widest way to every cell: like Dijkstra's shortest, with the narrowest place in the place of the length
        let mut passes = vec![-1.0_f64; self.cells.len()];
        let mut from = vec![usize::MAX; self.cells.len()];
        let mut heap = BinaryHeap::new();
        passes[start] = radius(start);
        // radii are not negative: their bits order like their values
        heap.push((passes[start].to_bits(), Reverse(start)));
        while let Some((bits, Reverse(k))) = heap.pop() {
            let width = f64::from_bits(bits);
            if width < passes[k] {
                continue;
            }
            for n in self.steps(k) {
                let w = width.min(radius(n));
                if w > passes[n] {
                    passes[n] = w;
                    from[n] = k;
                    heap.push((w.to_bits(), Reverse(n)));
                }
            }
        }
        self.mouths()
            .into_iter()
            .filter_map(|mouth| {
                let reached = mouth.iter().copied().filter(|&k| passes[k] >= 0.0);
                let end = reached.max_by(|&a, &b| {
                    passes[a]
                        .total_cmp(&passes[b])
                        .then(radius(a).total_cmp(&radius(b)))
                        .then(b.cmp(&a))
                })?;
                let mut cells = vec![end];
                let mut k = end;
                while k != start {
                    k = from[k];
                    cells.push(k);
                }
                cells.reverse();
                let points = cells.iter().filter_map(|&k| self.cells[k]).map(|c| c.0);
                Some(WayOut {
                    points: points.collect(),
                    cells,
                    mouth,
                })
            })
            .collect()
    }

    /// Cells that leave the block, those within two cells of each other together.
    fn mouths(&self) -> Vec<Vec<usize>> {
        let mut seen = vec![false; self.cells.len()];
        let mut mouths = Vec::new();
        for start in 0..self.cells.len() {
            if !self.leaves[start] || seen[start] || self.cells[start].is_none() {
                continue;
            }
            let mut mouth = vec![start];
            seen[start] = true;
            let mut next = 0;
            while next < mouth.len() {
                let (i, j) = (mouth[next] % self.grid.nx, mouth[next] / self.grid.nx);
                next += 1;
                for n in (j.saturating_sub(2)..(j + 3).min(self.grid.ny)).flat_map(|j| {
                    (i.saturating_sub(2)..(i + 3).min(self.grid.nx)).map(move |i| (i, j))
                }) {
                    let k = self.grid.index(n.0, n.1);
                    if self.leaves[k] && !seen[k] && self.cells[k].is_some() {
                        seen[k] = true;
                        mouth.push(k);
                    }
                }
            }
            mouths.push(mouth);
        }
        mouths
    }

    /// The cells of a way out from its mouth to where it widens into the hollow, given its narrowest radius.
    pub fn channel(&self, way: &WayOut, narrow: f64) -> Vec<usize> {
        let radius = |k: usize| self.cells[k].map_or(0.0, |c| c.1);
        let wide = |k: &usize| radius(*k) <= 1.2 * narrow + 0.5 * self.step;
        let Some(first) = way.cells.iter().position(wide) else {
            return Vec::new();
        };
        let length = way.cells.len() - first;
        let mut distance = vec![usize::MAX; self.cells.len()];
        let mut front: VecDeque<usize> = way.mouth.iter().copied().collect();
        front.iter().for_each(|&k| distance[k] = 0);
        let mut found = Vec::new();
        while let Some(k) = front.pop_front() {
            found.push(k);
            for n in self.steps(k).collect::<Vec<_>>() {
                if distance[n] == usize::MAX && distance[k] < length {
                    distance[n] = distance[k] + 1;
                    front.push_back(n);
                }
            }
        }
        found
    }

    /// A mark of coarse cells on the fine grid.
    pub fn spread(&self, marks: &[bool], fine: &Grid) -> Vec<bool> {
        (0..fine.len())
            .map(|k| {
                marks[self
                    .grid
                    .index(k % fine.nx / self.stride, k / fine.nx / self.stride)]
            })
            .collect()
    }
}

/// Most places of a way that are looked at closely.
const CLOSELY: usize = 64;
/// Places are moved to where the ball is largest, to within this, mm.
const FOUND: f64 = 1e-4;

/// The narrowest place of a way and the radius of the largest ball that passes it. Each place is first moved, square to the way,
/// to where the ball about it is largest.
pub fn narrowest(solid: &Solid, points: &[Point], step: f64) -> (Point, f64) {
    let rough: Vec<f64> = points.par_iter().map(|p| solid.clear(p)).collect();
    let least = rough.iter().copied().fold(f64::INFINITY, f64::min);
    let mut close: Vec<usize> = (0..points.len())
        .filter(|&k| rough[k] <= 1.5 * least + step)
        .collect();
    let every = close.len().div_ceil(CLOSELY).max(1);
    close = close.into_iter().step_by(every).collect();
    let best = close.into_par_iter().map(|k| {
        let (a, b) = (
            points[k.saturating_sub(3)],
            points[(k + 3).min(points.len() - 1)],
        );
        let along = (b - a).try_normalize(1e-12).unwrap_or_else(Vector::x);
        let near = if along.z.abs() < 0.9 {
            Vector::z()
        } else {
            Vector::x()
        };
        let u = (near - along * along.dot(&near)).normalize();
        let v = along.cross(&u);
        climb(solid, points[k], rough[k], [u, v])
    });
    best.min_by(|a, b| {
        a.1.total_cmp(&b.1)
            .then(a.0.x.total_cmp(&b.0.x))
            .then(a.0.y.total_cmp(&b.0.y))
    })
    .unwrap_or((points[0], 0.0))
}

/// Climbs to where the ball is largest, in the plane of `u` and `v`. No step leaves the ball that is known to be free, so that
/// none leads through a wall.
fn climb(solid: &Solid, start: Point, radius: f64, [u, v]: [Vector; 2]) -> (Point, f64) {
    let mut best = (start, radius);
    let mut step = 0.5 * radius;
    while step > FOUND {
        let tries = (0..8).map(|k| {
            let (s, c) = (f64::from(k) * std::f64::consts::FRAC_PI_4).sin_cos();
            best.0 + (u * c + v * s) * step
        });
        let found = tries
            .map(|p| (p, solid.clear(&p)))
            .fold(best, |m, t| if t.1 > m.1 { t } else { m });
        // between parallel walls rounding alone would lead on and on
        if found.1 > best.1 + 1e-3 * FOUND {
            best = found;
        } else {
            step *= 0.5;
        }
    }
    best
}
