//! Free places of a cutter between its nodes: in valleys, beside walls, in upright corners and in pits.

use super::{Cutting, TOUCH};
use crate::field::{Grid, HeightMap, Nearest};
use crate::mesh::{Point, Vector};
use crate::vet::bend::Bend;
use crate::vet::halving::last;
use rayon::prelude::*;
use std::cell::Cell;

/// Halvings of the step between two nodes where a wall is sought: to less than two [`TOUCH`] of a cell of 0.1 mm, or what
/// stands within that of the wall would seem left.
const WALL_HALVINGS: usize = 9;
/// Halvings where a height is.
const HEIGHT_HALVINGS: usize = 6;
/// Steps from the lower node that are worth another place.
const LEAST_STEP: f64 = 0.05;
/// A valley with sides this gentle (rise over run) is found by them alone.
const GENTLE: f64 = 1.5;

impl Cutting<'_> {
    /// Adds the free places `known`, and those between nodes where the cutter-centre surface bends up or jumps between two of them.
    /// Bends are looked at where they may come nearer to one of the `open` places than what is said to be left there; those that hide
    /// little of `leave` mm, or of what nodes on a slope hide anyway, are let be.
    pub fn look_between(&mut self, open: &[(Point, f64)], leave: f64, mut known: Vec<Point>) {
        let grid = self.grid();
        let fine = (0.25 * grid.cell * grid.cell / self.radius()).max(0.2 * leave);
        let near = Near::to(open, grid, self.radius());
        let wanted = |i: usize, j: usize| near.holds(i, j);
        let found = self.bends(fine, &wanted);
        // in one batch: samples that have been asked for are held against the last one alone
        known.extend(found);
        self.places.add(known);
    }

    /// Nodes that lie lower than all around them by more than `fine`, alone or with a neighbour or three: the cutter may rest
    /// still lower beside them.
    pub fn pits(&self, fine: f64) -> Vec<[usize; 2]> {
        pits(self.places.lowest(), self.corner, fine)
    }

    /// The lowest place of the cutter about a pit, if it is lower than its node.
    fn bottom(&self, [i, j]: [usize; 2]) -> Option<Point> {
        let grid = self.grid();
        let node = Point::new(
            grid.x(i),
            grid.y(j),
            f64::from(self.places.lowest().values()[grid.index(i, j)]),
        );
        // towards a point under it, off the planes it rests on
        let under = node - Vector::z() * (2.0 * grid.cell);
        let (q, _) = self
            .ground
            .contacts
            .rays
            .closest(&node, self.corner + 1e-2)?;
        let n = (node - q).try_normalize(0.0)?;
        let c = self.nearest_about(&under, vec![(n, n.dot(&q.coords) + self.corner)], &node)?;
        let near = (c - node).xy().norm() < 2.0 * grid.cell;
        (near && c.z < node.z && self.open_above(&c, 2.0 * TOUCH)).then_some(c)
    }

    /// Adds the places to which the cutter gets nearest to `points` on steep walls, as low as it gets there: those in upright
    /// corners, which lie between the nodes both ways; and the bottoms of `pits`.
    pub fn add_corners(&mut self, points: &[(Point, Vector, Nearest)], pits: &[[usize; 2]]) {
        let grid = self.grid();
        let found: Vec<Point> = points
            .par_iter()
            .map(|(p, n, near)| {
                let c = self.refine(p, std::slice::from_ref(n), *near).centre;
                let lowest = grid.cell_at(c.x, c.y).map_or(c.z, |(i, j)| {
                    let around = (j.saturating_sub(1)..(j + 2).min(grid.ny)).flat_map(|j| {
                        (i.saturating_sub(1)..(i + 2).min(grid.nx)).map(move |i| (i, j))
                    });
                    around
                        .filter_map(|(i, j)| self.places.lowest().get(grid.index(i, j)))
                        .map(f64::from)
                        .fold(c.z, f64::min)
                });
                let last_met = Cell::new(None);
                let at = |z: f64| Point::new(c.x, c.y, z);
                let free = |z: f64| self.free_after(&at(z), 2.0 * TOUCH, &last_met);
                let low = if free(lowest) {
                    lowest
                } else {
                    last(c.z, lowest, HEIGHT_HALVINGS, free).unwrap_or(c.z)
                };
                Point::new(c.x, c.y, low)
            })
            .collect();
        let bottoms: Vec<Point> = pits.par_iter().filter_map(|&p| self.bottom(p)).collect();
        self.places.add([found, bottoms].concat());
    }

    /// Free places between neighbouring nodes, of those `wanted`, where the cutter gets lower than the straight line between
    /// them by more than `fine`: in a valley, and up to a wall.
    fn bends(&self, fine: f64, wanted: &(impl Fn(usize, usize) -> bool + Sync)) -> Vec<Point> {
        let lowest = self.places.lowest();
        let grid = lowest.grid;
        let values = lowest.values();
        let row = |j: usize| -> Vec<Point> {
            let mut found = Vec::new();
            let mut look = |i: usize, step: usize, along: [f64; 2]| {
                if !wanted(i, j) {
                    return;
                }
                let k = grid.index(i, j);
                let z = [k - step, k, k + step, k + 2 * step].map(|k| f64::from(values[k]));
                // with the tip above the parting level it touches no cavity
                if z[1].min(z[2]) >= self.corner {
                    return;
                }
                if let Some(bend) = Bend::between(z, grid.cell, fine, GENTLE) {
                    let place = |t: f64, z: f64| {
                        let far = bend.steps(t) * grid.cell;
                        Point::new(grid.x(i) + along[0] * far, grid.y(j) + along[1] * far, z)
                    };
                    self.last_free(&bend, fine, place, &mut found);
                }
            };
            for i in 1..grid.nx.saturating_sub(2) {
                look(i, 1, [1.0, 0.0]);
            }
            if j >= 1 && j + 2 < grid.ny {
                for i in 0..grid.nx {
                    look(i, grid.nx, [0.0, 1.0]);
                }
            }
            found
        };
        (0..grid.ny).into_par_iter().flat_map_iter(row).collect()
    }

    /// Height of the centre with the cutter as low as it gets in the plan place of `p`, which it cannot reach.
    fn lowest_above(&self, p: &Point) -> Option<f64> {
        let dropper = &self.ground.contacts.dropper;
        let contact = dropper.highest(self.profile, [p.x, p.y], p.z, f64::INFINITY);
        contact.map(|c| c.z)
    }

    /// Free places towards the bend, about the farthest from the lower node and good to `fine` mm; `place` takes steps from that
    /// node, and height.
    fn last_free(
        &self,
        bend: &Bend,
        fine: f64,
        place: impl Fn(f64, f64) -> Point,
        found: &mut Vec<Point>,
    ) {
        let last_met = Cell::new(None);
        let is_free = |t: f64, z: f64| self.free_after(&place(t, z), 2.0 * TOUCH, &last_met);
        // nearer than its radius to a free place a ball that no surface is in is not buried in the material: never far down
        let height = |t: f64| bend.height(t).max(bend.low() - 0.5 * self.corner);
        if let Some(at) = bend.at {
            let at_height = |t: f64| place(t, height(t));
            if bend.gentle {
                // between the nodes there may be more than one bend: the bottom of a narrow trough
                let p = at_height(at);
                let near = [p.z, p.z + fine].into_iter().find(|&z| is_free(at, z));
                let z = near.or_else(|| self.lowest_above(&p));
                found.extend(z.map(|z| Point::new(p.x, p.y, z)));
                return;
            }
            // steep sides are not quite straight: a little short of where they seem to meet
            let short = [0.0, 0.05].map(|s| at - s).into_iter();
            found.extend(
                short
                    .filter(|&t| t > 0.0)
                    .find(|&t| is_free(t, height(t)))
                    .map(at_height),
            );
            return;
        }
        let near = last(LEAST_STEP, 1.0, WALL_HALVINGS, |t| is_free(t, height(t)));
        found.extend(near.map(|t| place(t, height(t))));
        // half way up the jump there may be a wall farther on; then how low the cutter gets at it
        let (near, up) = (near.unwrap_or(0.0), bend.half_way());
        if let Some(wall) = last(near + LEAST_STEP, 1.0, WALL_HALVINGS, |t| is_free(t, up)) {
            let low = last(up, height(wall), HEIGHT_HALVINGS, |z| is_free(wall, z)).unwrap_or(up);
            found.push(place(wall, low));
        }
    }
}

/// Squares of nodes as wide as a cutter's reach: those in which it may come nearer to a place than what is left there.
struct Near {
    across: usize,
    nx: usize,
    wanted: Vec<bool>,
}

impl Near {
    /// Squares about the `open` places, each with what is left there, mm.
    fn to(open: &[(Point, f64)], grid: Grid, radius: f64) -> Near {
        let across = (radius / grid.cell).ceil().max(1.0) as usize;
        let (nx, ny) = (grid.nx.div_ceil(across), grid.ny.div_ceil(across));
        // the most that is left in each
        let mut most = vec![f64::NEG_INFINITY; nx * ny];
        for (p, left) in open {
            if let Some((i, j)) = grid.cell_at(p.x, p.y) {
                let most = &mut most[j / across * nx + i / across];
                *most = most.max(*left);
            }
        }
        let mut wanted = vec![false; nx * ny];
        for (k, left) in most.iter().enumerate().filter(|(_, left)| **left >= 0.0) {
            let far = (radius + left) / (across as f64 * grid.cell);
            let far = (far.ceil() as usize).min(nx.max(ny));
            let (i, j) = (k % nx, k / nx);
            for v in j.saturating_sub(far)..(j + far + 1).min(ny) {
                wanted[v * nx + i.saturating_sub(far)..v * nx + (i + far + 1).min(nx)].fill(true);
            }
        }
        Near { across, nx, wanted }
    }

    /// Whether the square of a node is among them.
    fn holds(&self, i: usize, j: usize) -> bool {
        self.wanted[j / self.across * self.nx + i / self.across]
    }
}

/// Nodes of centre heights less than `below` that lie lower than all around them by more than `fine`, alone or with a neighbour or
/// three; the one of those with the least numbers.
fn pits(lowest: &HeightMap, below: f64, fine: f64) -> Vec<[usize; 2]> {
    let grid = lowest.grid;
    let values = lowest.values();
    let z = |i: usize, j: usize| f64::from(values[grid.index(i, j)]);
    let is_pit = |i: usize, j: usize| {
        let here = z(i, j);
        here < below
            && z(i - 1, j) > here + fine
            && z(i, j - 1) > here + fine
            && [(1, 1), (2, 1), (1, 2), (2, 2)].into_iter().any(|(w, h)| {
                let (mut within, mut around) = (f64::NEG_INFINITY, f64::INFINITY);
                for v in j - 1..=j + h {
                    for u in i - 1..=i + w {
                        if (i..i + w).contains(&u) && (j..j + h).contains(&v) {
                            within = within.max(z(u, v));
                        } else {
                            around = around.min(z(u, v));
                        }
                    }
                }
                around > within + fine
            })
    };
    let inner = |n: usize| 1..n.saturating_sub(2);
    inner(grid.ny)
        .into_par_iter()
        .flat_map_iter(|j| {
            inner(grid.nx)
                .filter(move |&i| is_pit(i, j))
                .map(move |i| [i, j])
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn grid(nx: usize, ny: usize) -> Grid {
        Grid {
            origin: [-2.0, 3.0],
            cell: 0.5,
            nx,
            ny,
        }
    }

    #[test]
    fn nodes_from_which_a_cutter_may_come_nearer_are_wanted_and_far_ones_are_not() {
        let grid = grid(31, 22);
        for (place, left) in [([1.3, 4.1], 0.2), ([11.9, 5.2], 2.3), ([-1.8, 13.6], 0.0)] {
            for radius in [0.3, 0.5, 1.7] {
                let open = (Point::new(place[0], place[1], -1.0), left);
                let near = Near::to(&[open], grid, radius);
                for k in 0..grid.len() {
                    let (i, j) = (k % grid.nx, k / grid.nx);
                    let off = [grid.x(i) - place[0], grid.y(j) - place[1]].map(f64::abs);
                    let wanted = near.holds(i, j);
                    assert!(wanted || off[0].hypot(off[1]) > radius + left, "{i} {j}");
                    // whole squares as wide as the reach: its own, those that the reach goes into, and one more
                    let far = radius + left + 3.0 * (radius + grid.cell);
                    assert!(!wanted || off[0].max(off[1]) < far, "{i} {j}");
                }
            }
        }
        assert!(!Near::to(&[], grid, 1.0).holds(3, 3));
    }

    /// The pits of level ground at height 0 with these nodes at other heights.
    fn pits_with(nodes: &[(usize, usize, f32)]) -> Vec<[usize; 2]> {
        let grid = grid(9, 8);
        let mut lowest = HeightMap::from_values(grid, vec![0.0; grid.len()]);
        for &(i, j, z) in nodes {
            lowest.values_mut()[grid.index(i, j)] = z;
        }
        pits(&lowest, 0.5, 0.1)
    }

    #[test]
    fn a_pit_is_one_node_two_or_four_lower_than_all_around() {
        assert_eq!(pits_with(&[(4, 3, -1.0)]), [[4, 3]]);
        assert_eq!(pits_with(&[(4, 3, -1.0), (5, 3, -0.9)]), [[4, 3]]);
        assert_eq!(pits_with(&[(4, 3, -1.0), (4, 4, -0.9)]), [[4, 3]]);
        let four = [(4, 3, -1.0), (5, 3, -1.05), (4, 4, -0.9), (5, 4, -1.0)];
        assert_eq!(pits_with(&four), [[4, 3]]);
        assert_eq!(pits_with(&[(1, 1, -1.0), (6, 5, -2.0)]), [[1, 1], [6, 5]]);
    }

    #[test]
    fn no_pit_is_a_groove_or_what_a_node_across_a_corner_is_as_low_as() {
        assert_eq!(pits_with(&[]), [[0; 2]; 0]);
        let along_x: Vec<_> = (0..9).map(|i| (i, 3, -1.0)).collect();
        let along_y: Vec<_> = (0..8).map(|j| (4, j, -1.0)).collect();
        assert_eq!(pits_with(&along_x), [[0; 2]; 0]);
        assert_eq!(pits_with(&along_y), [[0; 2]; 0]);
        for (i, j) in [(3, 2), (5, 2), (3, 4), (5, 4)] {
            assert_eq!(
                pits_with(&[(4, 3, -1.0), (i, j, -0.95)]).len(),
                0,
                "{i} {j}"
            );
        }
        // lower by no more than 0.1, and too high to touch a cavity
        assert_eq!(pits_with(&[(4, 3, -0.09)]), [[0; 2]; 0]);
        let grid = grid(9, 8);
        let mut high = HeightMap::from_values(grid, vec![2.0; grid.len()]);
        high.values_mut()[grid.index(4, 3)] = 0.6;
        assert_eq!(pits(&high, 0.5, 0.1), [[0; 2]; 0]);
    }
}
