//! The free places of a cutter: where its centre may be, and how near it comes to a surface point.
//!
//! A centre may be anywhere on or above the cutter-centre surface, so the free places are upright rays that start on
//! it. Beside a straight wall that surface jumps, and the cutter can pass every height of the jump. The rays known are those
//! at the nodes of a grid and any number of others between them; pyramids of least heights over ever larger squares, one of the nodes
//! and one of each batch of others, find the best ray for a question after a few hundred looks, whatever the radius.

use super::waiting::{Waiting, quarters};
use super::{Grid, HeightMap};
use crate::mesh::Point;

/// So near to a wall that it lies along, a cutter covers all beside it, mm: places are not known better.
const BESIDE: f64 = 2e-3;
/// Nodes on a side of the smallest squares of nodes.
const LEAF: usize = 2;
/// Nodes on a side of the smallest squares of places between them: more, for these lie in rows along bends.
const PLACES_LEAF: usize = 8;

/// The known free places of one cutter.
#[derive(Debug)]
pub struct FreePlaces {
    lowest: HeightMap,
    /// Radius of the cutter's flat part, mm.
    flat: f64,
    /// Corner radius, mm.
    corner: f64,
    nodes: Pyramid,
    /// Places between the nodes, as they were added.
    between: Vec<Between>,
}

/// Places between the nodes that were added at one time.
#[derive(Debug)]
struct Between {
    /// By smallest square.
    points: Vec<Point>,
    /// The first of each square, and the end.
    starts: Vec<u32>,
    squares: Pyramid,
}

/// Least heights over squares; finest level first, the last has one square.
#[derive(Debug)]
struct Pyramid {
    origin: [f64; 2],
    levels: Vec<Level>,
}

/// Squares of one size.
#[derive(Debug)]
struct Level {
    nx: usize,
    ny: usize,
    /// Side of a square, mm.
    side: f64,
    /// Least height in each.
    least: Vec<f32>,
}

/// The free place nearest to a surface point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Nearest {
    /// Height left at the surface point, normal to the surface, mm: zero when touched.
    pub left: f64,
    /// The centre there.
    pub centre: Point,
}

impl FreePlaces {
    /// `lowest`: the lowest free centre heights of the cutter at the nodes, −∞ where it is free at any height.
    pub fn new(lowest: HeightMap, radius: f64, corner: f64) -> FreePlaces {
        let grid = lowest.grid;
        let mut finest = Level::empty(grid, LEAF);
        for (j, row) in lowest.values().chunks(grid.nx.max(1)).enumerate() {
            for (i, part) in row.chunks(LEAF).enumerate() {
                let least = &mut finest.least[j / LEAF * finest.nx + i];
                *least = part.iter().fold(*least, |m, &v| m.min(v));
            }
        }
        FreePlaces {
            lowest,
            flat: radius - corner,
            corner,
            nodes: Pyramid::over(grid, finest),
            between: Vec::new(),
        }
    }

    /// Adds a batch of the lowest centres known between nodes; those off the grid are dropped.
    pub fn add(&mut self, more: Vec<Point>) {
        self.between.push(Between::of(self.lowest.grid, more));
    }

    /// The grid of nodes.
    pub fn grid(&self) -> Grid {
        self.lowest.grid
    }

    /// Lowest centre heights at the nodes.
    pub fn lowest(&self) -> &HeightMap {
        &self.lowest
    }

    /// The least height in each of the smallest squares of nodes.
    pub fn squares(&self) -> impl Iterator<Item = f32> + '_ {
        self.nodes.levels[0].least.iter().copied()
    }

    /// The least height in the `k`-th of the smallest squares, and its numbers along X and Y.
    pub fn square(&self, k: usize) -> (f32, [usize; 2]) {
        let level = &self.nodes.levels[0];
        (level.least[k], [k % level.nx, k / level.nx])
    }

    /// The nodes of a square: numbers along X and Y.
    pub fn nodes_of(&self, [si, sj]: [usize; 2]) -> impl Iterator<Item = [usize; 2]> + use<> {
        let grid = self.lowest.grid;
        let wide = si * LEAF..((si + 1) * LEAF).min(grid.nx);
        let high = sj * LEAF..((sj + 1) * LEAF).min(grid.ny);
        high.flat_map(move |j| wide.clone().map(move |i| [i, j]))
    }

    /// What the nearest free place leaves at `p`, if it is less than `known`.
    ///
    /// An upper bound of what is left at all: the free places between those known may come nearer.
    pub fn left(&self, p: &Point, known: Nearest) -> Nearest {
        self.left_by(p, known, Some(&self.nodes), &self.between)
    }

    /// As [`FreePlaces::left`], by the batch that was added last alone: for a point that all before have been asked for.
    pub fn left_by_last(&self, p: &Point, known: Nearest) -> Nearest {
        let last = self.between.len().saturating_sub(1);
        self.left_by(p, known, None, &self.between[last..])
    }

    fn left_by(
        &self,
        p: &Point,
        known: Nearest,
        nodes: Option<&Pyramid>,
        between: &[Between],
    ) -> Nearest {
        let among = (nodes, between);
        let up = |z: f64| (z - p.z).max(0.0);
        let found = if self.flat > 0.0 {
            let value = |d2: f64, z: f64| {
                let aside = (d2.sqrt() - self.flat).max(0.0);
                (aside * aside + up(z) * up(z)).sqrt()
            };
            let limit = known.left + self.corner;
            self.least(among, [p.x, p.y], (limit, self.flat + limit), value)
        } else {
            let far = known.left + self.corner;
            let value = |d2: f64, z: f64| d2 + up(z) * up(z);
            self.least(among, [p.x, p.y], (far * far, far), value)
                .map(|(d2, c)| (d2.sqrt(), c))
        };
        match found {
            Some((distance, c)) => Nearest {
                left: (distance - self.corner).max(0.0),
                centre: Point::new(c.x, c.y, c.z.max(p.z)),
            },
            None => known,
        }
    }

    /// What the free place `centre`, and those above it, leave at `p`.
    pub fn left_from(&self, centre: &Point, p: &Point) -> Nearest {
        let aside = ((centre.x - p.x).hypot(centre.y - p.y) - self.flat).max(0.0);
        let distance = aside.hypot((centre.z - p.z).max(0.0));
        Nearest {
            left: (distance - self.corner).max(0.0),
            centre: Point::new(centre.x, centre.y, centre.z.max(p.z)),
        }
    }

    /// Height from which up the cutter covers the space over plan place (x, y), below it something is left, and the free place
    /// from which it does. `None` where it covers nothing. A place `near` that covers something beside it makes the search shorter.
    pub fn covered_from(&self, x: f64, y: f64, near: Option<Point>) -> Option<(f64, Point)> {
        let (flat, corner2) = (self.flat, self.corner * self.corner);
        let reach2 = (flat + self.corner + BESIDE) * (flat + self.corner + BESIDE);
        let value = |d2: f64, z: f64| {
            if d2 > reach2 {
                return f64::INFINITY;
            }
            let aside2 = if flat > 0.0 {
                let aside = (d2.sqrt() - flat).max(0.0);
                aside * aside
            } else {
                d2
            };
            z - (corner2 - aside2).max(0.0).sqrt()
        };
        let grid = self.lowest.grid;
        let here = grid.cell_at(x, y).map(|(i, j)| {
            let z = self.lowest.values()[grid.index(i, j)];
            Point::new(grid.x(i), grid.y(j), f64::from(z))
        });
        let known = [here, near]
            .into_iter()
            .flatten()
            .map(|c| (value((c.x - x) * (c.x - x) + (c.y - y) * (c.y - y), c.z), c))
            .filter(|known| known.0 < f64::INFINITY)
            .min_by(|a, b| a.0.total_cmp(&b.0));
        let limit = known.map_or(f64::INFINITY, |k| k.0);
        let among = (Some(&self.nodes), &self.between[..]);
        self.least(among, [x, y], (limit, reach2.sqrt()), value)
            .or(known)
    }

    /// The place with the least `value` below `limit` among the nodes, if they are wanted, and places between them, no farther in plan
    /// than `aside` from where it can be; `value` of squared plan distance and height grows with both.
    fn least(
        &self,
        (nodes, between): (Option<&Pyramid>, &[Between]),
        at: [f64; 2],
        (mut limit, aside): (f64, f64),
        value: impl Fn(f64, f64) -> f64,
    ) -> Option<(f64, Point)> {
        let mut found = None;
        if let Some(nodes) = nodes {
            found = nodes.least(&self.lowest, at, (limit, aside), &value);
            limit = found.map_or(limit, |f| f.0);
        }
        for more in between.iter().filter(|b| !b.points.is_empty()) {
            let nearer = more.squares.least(more, at, (limit, aside), &value);
            limit = nearer.map_or(limit, |f| f.0);
            found = nearer.or(found);
        }
        found
    }
}

/// What lies in the smallest squares of a pyramid.
trait Places {
    /// Calls `each` with the places in square (i, j) along X and Y.
    fn each_in(&self, square: [usize; 2], each: impl FnMut(f64, f64, f64));
}

impl Places for HeightMap {
    fn each_in(&self, [si, sj]: [usize; 2], mut each: impl FnMut(f64, f64, f64)) {
        let grid = &self.grid;
        let wide = si * LEAF..((si + 1) * LEAF).min(grid.nx);
        for j in sj * LEAF..((sj + 1) * LEAF).min(grid.ny) {
            let y = grid.y(j);
            let row = &self.values()[grid.index(0, j)..][..grid.nx];
            for i in wide.clone() {
                each(grid.x(i), y, f64::from(row[i]));
            }
        }
    }
}

impl Between {
    /// Those of `points` that lie on `grid`.
    fn of(grid: Grid, mut points: Vec<Point>) -> Between {
        points.retain(|c| grid.cell_at(c.x, c.y).is_some());
        let mut finest = Level::empty(grid, PLACES_LEAF);
        let nx = finest.nx;
        let square = |c: &Point| {
            grid.cell_at(c.x, c.y)
                .map_or(0, |(i, j)| j / PLACES_LEAF * nx + i / PLACES_LEAF)
        };
        points.sort_by(|a, b| {
            (square(a).cmp(&square(b)))
                .then(a.z.total_cmp(&b.z))
                .then(a.x.total_cmp(&b.x))
                .then(a.y.total_cmp(&b.y))
        });
        let mut starts = vec![0u32; finest.least.len() + 1];
        for c in &points {
            let k = square(c);
            starts[k + 1] += 1;
            finest.least[k] = finest.least[k].min((c.z as f32).next_down());
        }
        for k in 1..starts.len() {
            starts[k] += starts[k - 1];
        }
        Between {
            points,
            starts,
            squares: Pyramid::over(grid, finest),
        }
    }
}

impl Places for Between {
    fn each_in(&self, [si, sj]: [usize; 2], mut each: impl FnMut(f64, f64, f64)) {
        let square = sj * self.squares.levels[0].nx + si;
        let range = self.starts[square] as usize..self.starts[square + 1] as usize;
        for c in &self.points[range] {
            each(c.x, c.y, c.z);
        }
    }
}

impl Pyramid {
    fn over(grid: Grid, finest: Level) -> Pyramid {
        let mut levels = vec![finest];
        while let Some(last) = levels.last().filter(|l| l.nx * l.ny > 1) {
            let next = last.halved();
            levels.push(next);
        }
        Pyramid {
            origin: grid.origin,
            levels,
        }
    }

    /// The one of `places` with the least `value` below `limit`, as [`FreePlaces::least`]. In one piece: much of a check's time is
    /// spent in this loop.
    fn least(
        &self,
        places: &impl Places,
        [x, y]: [f64; 2],
        (mut limit, aside): (f64, f64),
        value: &impl Fn(f64, f64) -> f64,
    ) -> Option<(f64, Point)> {
        let origin = self.origin;
        let bound = |level: usize, i: usize, j: usize| {
            let l = &self.levels[level];
            let out = |k: usize, n: usize, v: f64| {
                let lo = origin[k] + n as f64 * l.side;
                (lo - v).max(v - lo - l.side).max(0.0)
            };
            let (dx, dy) = (out(0, i, x), out(1, j, y));
            value(dx * dx + dy * dy, f64::from(l.least[j * l.nx + i]))
        };
        // the squares that hold all that is near enough, four at most unless they are all there are
        let top = self.levels.len() - 1;
        let first = (0..top)
            .find(|&k| self.levels[k].side > 2.0 * aside)
            .unwrap_or(top);
        let level = &self.levels[first];
        let range = |k: usize, n: usize, v: f64| {
            let square = |v: f64| ((v - origin[k]) / level.side).floor();
            let last = n as f64 - 1.0;
            let from = square(v - aside).clamp(0.0, last) as u32;
            from..=square(v + aside).clamp(0.0, last) as u32
        };
        let mut found = None;
        // each of at most 32 levels leaves three of four behind
        let mut waiting = Waiting::<(u8, u32, u32), 100>::new((0, 0, 0));
        for j in range(1, level.ny, y) {
            for i in range(0, level.nx, x) {
                let all = waiting.count();
                waiting.add(
                    all,
                    bound(first, i as usize, j as usize),
                    (first as u8, i, j),
                );
            }
        }
        while let Some((least, (level, i, j))) = waiting.next() {
            // not a number where there is no node
            if least.is_nan() || least >= limit {
                continue;
            }
            if level == 0 {
                places.each_in([i as usize, j as usize], |px, py, pz| {
                    let v = value((px - x) * (px - x) + (py - y) * (py - y), pz);
                    if v < limit {
                        limit = v;
                        found = Some((v, Point::new(px, py, pz)));
                    }
                });
                continue;
            }
            let below = &self.levels[level as usize - 1];
            let mark = waiting.count();
            for (i, j) in quarters(i, j) {
                if (i as usize) < below.nx && (j as usize) < below.ny {
                    let least = bound(level as usize - 1, i as usize, j as usize);
                    if least < limit {
                        waiting.add(mark, least, (level - 1, i, j));
                    }
                }
            }
        }
        found
    }
}

impl Level {
    /// Squares of so many nodes on a side, with nothing in them.
    fn empty(grid: Grid, nodes: usize) -> Level {
        let (nx, ny) = (grid.nx.div_ceil(nodes), grid.ny.div_ceil(nodes));
        Level {
            nx,
            ny,
            side: nodes as f64 * grid.cell,
            least: vec![f32::INFINITY; nx * ny],
        }
    }

    fn halved(&self) -> Level {
        let (nx, ny) = (self.nx.div_ceil(2), self.ny.div_ceil(2));
        let mut least = vec![f32::INFINITY; nx * ny];
        for (k, &v) in self.least.iter().enumerate() {
            let cell = &mut least[k / self.nx / 2 * nx + k % self.nx / 2];
            *cell = cell.min(v);
        }
        Level {
            nx,
            ny,
            side: 2.0 * self.side,
            least,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::field::Profile;
    use crate::field::shapes::noise;
    use proptest::prelude::*;

    fn random(k: usize, seed: u64) -> f64 {
        noise(seed ^ k as u64)
    }

    #[test]
    fn each_node_lies_in_one_square_that_holds_its_least() {
        let grid = Grid {
            origin: [-1.0, 2.0],
            cell: 0.25,
            nx: 7,
            ny: 5,
        };
        let heights = (0..grid.len()).map(|k| random(k, 5) as f32).collect();
        let lowest = HeightMap::from_values(grid, heights);
        let places = FreePlaces::new(lowest.clone(), 1.0, 1.0);
        let mut seen = vec![0; grid.len()];
        for (k, least) in places.squares().enumerate() {
            let (own, square) = places.square(k);
            let nodes = places.nodes_of(square).map(|[i, j]| grid.index(i, j));
            let nodes: Vec<usize> = nodes.collect();
            nodes.iter().for_each(|&n| seen[n] += 1);
            let of_nodes = nodes.iter().map(|&n| lowest.values()[n]);
            assert_eq!(own, of_nodes.fold(f32::INFINITY, f32::min));
            assert_eq!(own, least);
        }
        assert!(seen.iter().all(|n| *n == 1), "{seen:?}");
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        #[test]
        fn the_best_of_all_places_is_found(
            nx in 1..40usize, ny in 1..40usize, extra in 0..60usize, seed in any::<u64>(), missing in 0.0..0.1f64,
            x in -3.0..12.0f64, y in 0.0..14.0f64, z in -4.0..3.0f64, corner in 0.1..2.0f64, flat in prop::sample::select(vec![0.0, 0.7]),
        ) {
            let grid = Grid { origin: [-1.0, 2.0], cell: 0.25, nx, ny };
            let height = |k: usize| if random(k, seed) < 2.0 * missing - 1.0 { f32::NEG_INFINITY } else { 2.0 * random(k, !seed) as f32 };
            let lowest = HeightMap::from_values(grid, (0..grid.len()).map(height).collect());
            let (w, h) = (nx as f64 * grid.cell, ny as f64 * grid.cell);
            let between: Vec<Point> = (0..extra)
                .map(|k| {
                    let r = |n: u64| 0.5 + 0.5 * random(k, seed.wrapping_add(n));
                    Point::new(-1.0 + 0.999 * w * r(7), 2.0 + 0.999 * h * r(8), 4.0 * r(9) - 2.0)
                })
                .collect();
            let nodes = (0..grid.len()).map(|k| {
                let [x, y] = grid.centre_of(k);
                Point::new(x, y, f64::from(lowest.values()[k]))
            });
            let all: Vec<Point> = nodes.chain(between.iter().copied()).collect();
            let p = Point::new(x, y, z);
            let aside = |c: &Point| (c.x - x).hypot(c.y - y);
            let left = all.iter()
                .map(|c| (aside(c) - flat).max(0.0).hypot((c.z - z).max(0.0)) - corner)
                .fold(f64::INFINITY, f64::min)
                .max(0.0);
            let profile = Profile::Cutter { radius: flat + corner, corner_radius: corner };
            let covered = all.iter()
                .filter(|c| aside(c) <= profile.reach() + BESIDE)
                .filter_map(|c| Some(c.z - profile.rise(aside(c).min(profile.reach()))?))
                .fold(f64::INFINITY, f64::min);
            let mut places = FreePlaces::new(lowest, flat + corner, corner);
            let (first, last) = between.split_at(between.len() / 3);
            places.add(first.to_vec());
            places.add(last.to_vec());
            // from any place known the search ends at the same
            let near = all[seed as usize % all.len()];
            for known in [Nearest { left: f64::INFINITY, centre: p }, places.left_from(&near, &p)] {
                let found = places.left(&p, known);
                prop_assert!((found.left - left).abs() < 1e-9, "{} is not {left}", found.left);
            }
            for near in [None, Some(near)] {
                match places.covered_from(x, y, near) {
                    // at the cutter's rim a root of nearly nothing keeps half of the digits
                    Some((c, _)) => prop_assert!(c == covered || (c - covered).abs() < 1e-7, "{c} is not {covered}"),
                    None => prop_assert!(covered == f64::INFINITY),
                }
            }
        }
    }
}
