//! Where one cutter can be, and what it touches and leaves there.

use super::reach::Ground;
use crate::field::{FreePlaces, Grid, HeightMap, Nearest, Profile};
use crate::mesh::{Point, Vector};
use rayon::prelude::*;
use std::cell::Cell;
use std::sync::OnceLock;

mod between;
mod drops;
mod nearest;

/// Depth to which a cutter may be thought to cut when a contact is judged: rounding, mm.
pub const TOUCH: f64 = 1e-4;
/// Share of the radius off the cavity in plan from which on a cutter below the parting level stands beside the block.
const BESIDE: f64 = 0.9;

/// One cutter over the cavity: its lowest centre heights on a grid of nodes, exact at each node, and between the nodes
/// where that surface bends up or jumps.
///
/// The centre is the profile's reference point: on the axis, at the height of the corner's centre.
/// Every place on or above the cutter-centre surface is allowed.
pub struct Cutting<'m> {
    /// The cutter's lower side.
    pub profile: Profile,
    /// Where its centre may be.
    pub places: FreePlaces,
    /// Radius of its flat part, mm.
    flat: f64,
    /// Corner radius, mm.
    corner: f64,
    plan: Option<Plan>,
    deep: OnceLock<Vec<(f32, [usize; 2])>>,
    ground: &'m Ground<'m>,
    /// Where an overhang is within the cutter's reach, on the columns' grid; `None` where nothing overhangs.
    overhung: Option<(Grid, Vec<bool>)>,
}

impl<'m> Cutting<'m> {
    /// Lowest centre heights of a cutter with cutting `radius` and `corner` radius, mm, over `grid`.
    pub fn new(ground: &'m Ground<'m>, radius: f64, corner: f64, grid: Grid) -> Self {
        let profile = Profile::Cutter {
            radius,
            corner_radius: corner,
        };
        let mut lowest = ground.contacts.pieces.cutter_map(grid, radius, corner);
        let plan = ground.plan().map(|(lo, hi)| Plan { lo, hi });
        if let Some(plan) = plan {
            for (k, z) in lowest.values_mut().iter_mut().enumerate() {
                let at = grid.centre_of(k);
                if plan.stands_beside(at, f64::from(*z), radius) {
                    *z = f32::INFINITY;
                }
            }
        }
        Cutting {
            profile,
            places: FreePlaces::new(lowest, radius, corner),
            flat: radius - corner,
            corner,
            plan,
            deep: OnceLock::new(),
            ground,
            overhung: ground.shade.within(radius),
        }
    }

    /// Squares of nodes that lie with a tip below the parting level, deepest first: the least centre height in each, and its
    /// numbers. Sorted when first asked for: a cutter without a tool needs none of it.
    pub fn deep(&self) -> &[(f32, [usize; 2])] {
        self.deep.get_or_init(|| {
            let low = |z: f32| z.is_finite() && f64::from(z) < self.corner;
            let mut deep: Vec<(u32, u32)> = (self.places.squares())
                .enumerate()
                .filter(|&(_, z)| low(z))
                .map(|(k, z)| (ordered(z), k as u32))
                .collect();
            deep.par_sort_unstable();
            let square = |(_, k): (u32, u32)| self.places.square(k as usize);
            deep.into_iter().map(square).collect()
        })
    }

    /// Cutting radius, mm.
    pub fn radius(&self) -> f64 {
        self.flat + self.corner
    }

    /// Whether it is a ball.
    pub fn is_ball(&self) -> bool {
        self.flat == 0.0
    }

    /// The grid of nodes.
    pub fn grid(&self) -> Grid {
        self.places.grid()
    }

    /// The centre from which the cutter touches a surface at `p` with unit normal `n`.
    pub fn touching(&self, p: &Point, n: &Vector) -> Point {
        let aside = n.xy().try_normalize(1e-9).unwrap_or_default() * self.flat;
        p + n * self.corner + Vector::new(aside.x, aside.y, 0.0)
    }

    /// Whether the cutter at `centre` cuts nowhere deeper than `tolerance`, nor anywhere above on its way out. Where nothing
    /// overhangs, a ball that is clear stays clear on its way up.
    pub fn free(&self, centre: &Point, tolerance: f64) -> bool {
        self.free_after(centre, tolerance, &Cell::new(None))
    }

    /// As [`Cutting::free`], sooner told for places that follow each other: `last` is the triangle that last was in the way.
    pub fn free_after(&self, centre: &Point, tolerance: f64, last: &Cell<Option<u32>>) -> bool {
        let exact = || self.open_above(centre, tolerance);
        if self.flat > 0.0 {
            return exact();
        }
        if tolerance >= self.corner {
            return true;
        }
        let rays = &self.ground.contacts.rays;
        let inside = self.corner - tolerance;
        !rays.any_within_after(centre, inside, last) && (!self.under(centre) || exact())
    }

    /// Whether an overhang is within reach of the cutter's axis.
    pub(super) fn under(&self, centre: &Point) -> bool {
        self.overhung.as_ref().is_some_and(|(grid, overhung)| {
            let cell = grid.cell_at(centre.x, centre.y);
            cell.is_some_and(|(i, j)| overhung[grid.index(i, j)])
        })
    }

    /// Whether the nodes around `centre` show that it cuts no deeper than `tolerance` there; no is no answer.
    pub fn shown_free(&self, centre: &Point, tolerance: f64) -> bool {
        self.shown_cut(centre) <= tolerance
    }

    /// The most that the cutter at `centre` may cut by the nodes around it, mm; infinite where they tell nothing.
    pub fn shown_cut(&self, centre: &Point) -> f64 {
        shown_cut(self.places.lowest(), centre)
    }

    /// Whether the cutter can come straight down to `centre`: that also tells the open from the inside of the material.
    fn open_above(&self, c: &Point, tolerance: f64) -> bool {
        let contacts = self.ground.contacts;
        if (self.plan).is_some_and(|p| p.stands_beside([c.x, c.y], c.z, self.radius())) {
            return false;
        }
        if self.is_ball() && !self.under(c) && !self.buried(c) {
            // where nothing overhangs, a ball that is clear stays clear on its way up
            return !contacts.rays.any_within(c, self.corner - tolerance);
        }
        (contacts.dropper).clear_at(self.profile, c.x, c.y, c.z, tolerance)
    }

    /// Whether the cutter may rest at `centre`, to rounding, and come there straight down.
    pub fn rests_free(&self, centre: &Point) -> bool {
        self.open_above(centre, 2.0 * TOUCH)
    }

    /// Whether a ball at `centre` that no surface is in may stand in the material: it is then a radius under it at least.
    fn buried(&self, centre: &Point) -> bool {
        let grid = self.grid();
        let Some((i, j)) = grid.cell_at(centre.x, centre.y) else {
            return true;
        };
        let lowest = self.places.lowest().get(grid.index(i, j));
        // over its node the centre stands 2 R over the material at the least, on slopes a cell aside less
        lowest.is_some_and(|z| centre.z < f64::from(z) - self.corner)
    }

    /// What the cutter leaves at `p` by the places known.
    pub fn left(&self, p: &Point) -> Nearest {
        let far = Nearest {
            left: f64::INFINITY,
            centre: *p,
        };
        self.places.left(p, far)
    }

    /// As [`Cutting::left`], sooner told: `free` is the place nearest to a point that is near.
    pub fn left_after(&self, p: &Point, free: &Point) -> Nearest {
        self.places.left(p, self.places.left_from(free, p))
    }
}

/// The most that a cutter with its centre at `centre` may cut by its lowest centre heights at the nodes around, mm; infinite where
/// they tell nothing.
///
/// Where the cutter-centre surface bends up between two nodes the straight line between them lies above it. Where it
/// bends down it stays below that line drawn on from either side, for it has no downward kinks.
fn shown_cut(lowest: &HeightMap, centre: &Point) -> f64 {
    let grid = lowest.grid;
    let u = (centre.x - grid.origin[0]) / grid.cell - 0.5;
    let v = (centre.y - grid.origin[1]) / grid.cell - 0.5;
    let inside = |u: f64, n: usize| u >= 1.0 && u < n as f64 - 2.0;
    if !(inside(u, grid.nx) && inside(v, grid.ny)) {
        return f64::INFINITY;
    }
    let (i, j) = (u as usize, v as usize);
    let (u, v) = (u - i as f64, v - j as f64);
    let first = grid.index(i, j);
    let values = lowest.values();
    let z = |k: usize| f64::from(values[k]);
    // along a line of four nodes, at share t between the middle two: the height, what a bend down may add, the slope
    let along = |k: usize, step: usize, t: f64| {
        let [a, b, c, d] = [k - step, k, k + step, k + 2 * step].map(z);
        let bend = (t * (2.0 * b - a - c)).min((1.0 - t) * (2.0 * c - b - d));
        (b + (c - b) * t, bend.max(0.0), c - b)
    };
    let nx = grid.nx;
    let (low, high) = (along(first, 1, u), along(first + nx, 1, u));
    let (left, right) = (along(first, nx, v), along(first + 1, nx, v));
    let bend = low.1.max(high.1) + left.1.max(right.1);
    let slope2 = low.2.abs().max(high.2.abs()).powi(2) + left.2.abs().max(right.2.abs()).powi(2);
    let highest = low.0 + (high.0 - low.0) * v + bend;
    let secant = (1.0 + slope2 / (grid.cell * grid.cell)).sqrt();
    let cut = (highest - centre.z) / secant;
    // not a number where a node is free at any height, which a maximum would lose
    if cut.is_nan() {
        f64::INFINITY
    } else {
        cut.max(0.0)
    }
}

/// Cavity's rectangle in plan.
#[derive(Clone, Copy)]
struct Plan {
    lo: [f64; 2],
    hi: [f64; 2],
}

impl Plan {
    /// Whether a cutter of `radius` with its centre at height `z` over `at` stands beside the block: below the parting level and
    /// nearly a radius off the cavity. It would be near to the cavity only through the material.
    fn stands_beside(&self, at: [f64; 2], z: f64, radius: f64) -> bool {
        let off = |k: usize| (self.lo[k] - at[k]).max(at[k] - self.hi[k]).max(0.0);
        z < 0.0 && off(0).hypot(off(1)) > BESIDE * radius
    }
}

/// A number in the order of `z`.
fn ordered(z: f32) -> u32 {
    let bits = z.to_bits();
    if bits >> 31 == 1 {
        !bits
    } else {
        bits | 1 << 31
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_in_the_order_of_heights() {
        let heights = [
            f32::NEG_INFINITY,
            -9.5,
            -1.0,
            -1e-30,
            0.0,
            1e-30,
            0.5,
            2.0,
            1e9,
        ];
        let numbers = heights.map(ordered);
        assert!(numbers.is_sorted_by(|a, b| a < b), "{numbers:?}");
    }

    /// Most that is shown to be cut with the centre at `at`, over nodes of heights z(x, y).
    fn shown(z: impl Fn(f64, f64) -> f64, at: [f64; 3]) -> f64 {
        let grid = Grid {
            origin: [3.0, -2.0],
            cell: 0.2,
            nx: 12,
            ny: 9,
        };
        let node = |k: usize| z(grid.x(k % grid.nx), grid.y(k / grid.nx)) as f32;
        let lowest = HeightMap::from_values(grid, (0..grid.len()).map(node).collect());
        shown_cut(&lowest, &Point::from(at))
    }

    /// Places between the second nodes and the last but one.
    fn places() -> impl Iterator<Item = [f64; 2]> {
        let place = |k| [f64::from(k % 10), f64::from(k / 10)];
        (0..100)
            .map(place)
            .map(|[i, j]| [3.31 + 0.178 * i, -1.69 + 0.118 * j])
    }

    #[test]
    fn under_a_plane_the_cut_shown_is_the_way_to_it() {
        let plane = |x: f64, y: f64| 0.75 * x - 0.5 * y;
        for [x, y] in places() {
            let cut = shown(plane, [x, y, plane(x, y) - 0.1]);
            // square to slopes of 0.75 and 0.5
            let way = 0.1 / (1.0 + 0.75_f64.powi(2) + 0.5_f64.powi(2)).sqrt();
            assert!((cut - way).abs() < 1e-5, "{x} {y}: {cut}");
            assert_eq!(shown(plane, [x, y, plane(x, y) + 0.1]), 0.0);
        }
    }

    #[test]
    fn under_what_bends_down_no_less_is_shown_than_is_cut() {
        let (p, q) = (0.6, 1.1);
        let dome = |x: f64, y: f64| -p * (x - 4.0).powi(2) - q * (y + 1.0).powi(2);
        for [x, y] in places() {
            let cut = shown(dome, [x, y, dome(x, y) - 0.1]);
            // square to the slopes there, and to the steepest a cell aside
            let slopes = [2.0 * p * (x - 4.0), 2.0 * q * (y + 1.0)].map(f64::abs);
            let square = |[u, v]: [f64; 2]| 0.1 / (1.0 + u * u + v * v).sqrt();
            let least = square([slopes[0] + 2.0 * p * 0.2, slopes[1] + 2.0 * q * 0.2]);
            // the lines from beyond the nodes meet p c² over the chord of a parabola p x²
            let bend = (p + q) * 0.2 * 0.2;
            assert!(cut > least && cut < square(slopes) + bend, "{x} {y}: {cut}");
        }
    }

    #[test]
    fn nothing_is_shown_beside_the_nodes_or_where_one_is_free_at_any_height() {
        for at in [[3.25, -1.0], [4.0, -0.45], [5.25, -1.0], [4.0, -1.75]] {
            assert_eq!(shown(|_, _| 1.0, [at[0], at[1], 0.9]), f64::INFINITY);
        }
        let open = |x: f64, y: f64| {
            if x < 3.4 || y < -1.6 {
                f64::NEG_INFINITY
            } else {
                0.0
            }
        };
        for at in [[3.45, -1.0], [4.3, -1.55], [3.35, -1.65]] {
            assert_eq!(shown(open, [at[0], at[1], -0.1]), f64::INFINITY, "{at:?}");
        }
    }

    #[test]
    fn a_cutter_nearly_a_radius_off_the_cavity_and_below_the_parting_level_stands_beside_the_block()
    {
        let plan = Plan {
            lo: [0.0, 0.0],
            hi: [10.0, 6.0],
        };
        let beside = |x: f64, y: f64, z: f64| plan.stands_beside([x, y], z, 2.0);
        assert!(beside(12.0, 3.0, -1.0) && beside(-1.9, 3.0, -0.1) && beside(11.4, 7.4, -1.0));
        // above the parting level it may go where it likes, and near the rim it works from over the edge
        assert!(!beside(12.0, 3.0, 0.0) && !beside(11.7, 3.0, -1.0) && !beside(5.0, 3.0, -9.0));
    }
}
