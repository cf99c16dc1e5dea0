//! Free places of a cutter between its nodes: in valleys, beside walls, in upright corners and in pits.

use super::{Cutting, TOUCH};
use crate::field::Nearest;
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
    /// Adds the free places between nodes where the cutter-centre surface bends up or jumps between two of them, as far off as
    /// they may come nearer to one of the `open` places than what is said to be left there; bends that hide little of `leave` mm,
    /// or of what nodes on a slope hide anyway, are let be.
    pub fn look_between(&mut self, open: &[(Point, f64)], leave: f64) {
        let grid = self.grid();
        let fine = (0.25 * grid.cell * grid.cell / self.radius()).max(0.2 * leave);
        // squares of nodes as wide as the cutter's reach, each with the most that is left in it
        let across = (self.radius() / grid.cell).ceil().max(1.0) as usize;
        let (nx, ny) = (grid.nx.div_ceil(across), grid.ny.div_ceil(across));
        let mut most = vec![f64::NEG_INFINITY; nx * ny];
        for (p, left) in open {
            if let Some((i, j)) = grid.cell_at(p.x, p.y) {
                let most = &mut most[j / across * nx + i / across];
                *most = most.max(*left);
            }
        }
        let mut wanted = vec![false; nx * ny];
        for (k, left) in most.iter().enumerate().filter(|(_, left)| **left >= 0.0) {
            let far = (self.radius() + left) / (across as f64 * grid.cell);
            let far = (far.ceil() as usize).min(nx.max(ny));
            let (i, j) = (k % nx, k / nx);
            for v in j.saturating_sub(far)..(j + far + 1).min(ny) {
                wanted[v * nx + i.saturating_sub(far)..v * nx + (i + far + 1).min(nx)].fill(true);
            }
        }
        let wanted = |i: usize, j: usize| wanted[j / across * nx + i / across];
        let between = self.bends(fine, &wanted);
        self.places.add(between);
    }

    /// Nodes that lie lower than all around them by more than `fine`, alone or with a neighbour or three: the cutter may rest
    /// still lower beside them.
    pub fn pits(&self, fine: f64) -> Vec<[usize; 2]> {
        let grid = self.grid();
        let values = self.places.lowest().values();
        let z = |i: usize, j: usize| f64::from(values[grid.index(i, j)]);
        let is_pit = |i: usize, j: usize| {
            let here = z(i, j);
            here < self.corner
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

    /// Height of the centre with the cutter as low as it gets in the plan place of `p`.
    fn lowest_at(&self, p: &Point) -> Option<f64> {
        let contact = (self.ground.contacts.dropper).centre_height(self.profile, p.x, p.y);
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
                let z = near.or_else(|| self.lowest_at(&p));
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
