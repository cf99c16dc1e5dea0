//! Where one cutter can be, and what it touches and leaves there.

use super::bend::Bend;
use super::cone::nearest_point;
use super::reach::Ground;
use crate::field::{FreePlaces, Grid, HeightMap, Nearest, Profile, disc_dilate};
use crate::mesh::{Point, Vector};
use rayon::prelude::*;
use std::sync::OnceLock;

/// Depth to which a cutter may be thought to cut when a contact is judged: rounding, mm.
pub const TOUCH: f64 = 1e-4;
/// Halvings of the step between two nodes where a wall is sought: to less than two [`TOUCH`] of a cell of 0.1 mm, or what
/// stands within that of the wall would seem left.
const WALL_HALVINGS: usize = 9;
/// Share of the radius off the cavity in plan from which on a cutter below the parting level stands beside the block.
const BESIDE: f64 = 0.9;
/// Halvings where a height is.
const HEIGHT_HALVINGS: usize = 6;
/// Steps from the lower node that are worth another place.
const LEAST_STEP: f64 = 0.05;
/// A valley with sides this gentle (rise over run) is found by them alone.
const GENTLE: f64 = 1.5;

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
    overhung: Option<HeightMap>,
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
                let at = grid.centre(k % grid.nx, k / grid.nx);
                if plan.stands_beside(at, f64::from(*z), radius) {
                    *z = f32::INFINITY;
                }
            }
        }
        let overhung = ground
            .shade
            .any()
            .then(|| disc_dilate(&ground.shade.map(ground.survey.grid()), radius));
        Cutting {
            profile,
            places: FreePlaces::new(lowest, radius, corner, Vec::new()),
            flat: radius - corner,
            corner,
            plan,
            deep: OnceLock::new(),
            ground,
            overhung,
        }
    }

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

    /// Squares of nodes that lie with a tip below the parting level, deepest first: the least centre height in each, and its
    /// numbers. Sorted when first asked for, once all places are known.
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
        let exact = || self.open_above(centre, tolerance);
        if self.flat > 0.0 {
            return exact();
        }
        if tolerance >= self.corner {
            return true;
        }
        let rays = &self.ground.contacts.rays;
        !rays.any_within(centre, self.corner - tolerance) && (!self.under(centre) || exact())
    }

    /// Whether an overhang is within reach of the cutter's axis.
    pub(super) fn under(&self, centre: &Point) -> bool {
        self.overhung.as_ref().is_some_and(|map| {
            let cell = map.grid.cell_at(centre.x, centre.y);
            cell.is_some_and(|(i, j)| map.get(map.grid.index(i, j)).is_some())
        })
    }

    /// Whether the nodes around `centre` show that it cuts no deeper than `tolerance` there; no is no answer.
    pub fn shown_free(&self, centre: &Point, tolerance: f64) -> bool {
        self.shown_cut(centre) <= tolerance
    }

    /// The most that the cutter at `centre` may cut by the nodes around it, mm; infinite where they tell nothing.
    ///
    /// Where the cutter-centre surface bends up between two nodes the straight line between them lies above it. Where it
    /// bends down it stays below that line drawn on from either side, for it has no downward kinks.
    pub fn shown_cut(&self, centre: &Point) -> f64 {
        let grid = self.grid();
        let u = (centre.x - grid.origin[0]) / grid.cell - 0.5;
        let v = (centre.y - grid.origin[1]) / grid.cell - 0.5;
        let inside = |u: f64, n: usize| u >= 1.0 && u < n as f64 - 2.0;
        if !(inside(u, grid.nx) && inside(v, grid.ny)) {
            return f64::INFINITY;
        }
        let (i, j) = (u as usize, v as usize);
        let (u, v) = (u - i as f64, v - j as f64);
        let first = grid.index(i, j);
        let values = self.places.lowest().values();
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
        let slope2 =
            low.2.abs().max(high.2.abs()).powi(2) + left.2.abs().max(right.2.abs()).powi(2);
        let highest = low.0 + (high.0 - low.0) * v + bend;
        let secant = (1.0 + slope2 / (grid.cell * grid.cell)).sqrt();
        let cut = (highest - centre.z).max(0.0) / secant;
        // not a number where a node is free at any height
        if cut.is_nan() { f64::INFINITY } else { cut }
    }

    /// The nearest place to `p` that the triangles allow, from the nearest one known; `normals` are those of the surfaces
    /// that meet at `p`. An upper bound of what is left, exact to [`TOUCH`] where the cutter rests on flat facets.
    pub fn refine(&self, p: &Point, normals: &[Vector], start: Nearest) -> Nearest {
        if self.flat > 0.0 {
            return self.refine_by_drops(p, start);
        }
        let way = (start.centre - p).try_normalize(0.0).unwrap_or_default();
        [normals, &[way]]
            .into_iter()
            .filter_map(|first| self.nearest_centre(p, first, &start.centre))
            .map(|centre| Nearest {
                left: ((centre - p).norm() - self.corner).max(0.0),
                centre,
            })
            .filter(|n| n.left < start.left && self.open_above(&n.centre, 2.0 * TOUCH))
            .min_by(|a, b| a.left.total_cmp(&b.left))
            .unwrap_or(start)
    }

    /// The centre of the ball, clear of all triangles to [`TOUCH`] and open above, that is nearest to the surface point `p`, where
    /// surfaces with these `normals` meet, given a free place `known`; `None` if none is found.
    ///
    /// Cutting planes: the ball has to stay a radius off the tangent plane at each surface point that it was found to cut, the
    /// first being those at `p`, and on its way up a radius aside of what hangs over; each time it is brought as near to `p` as
    /// these planes allow and tried again. Where it rests on flat facets the nearest place is exact;
    /// on a convex edge it may be a little farther, so what is left is never said too small by it.
    fn nearest_centre(&self, p: &Point, normals: &[Vector], known: &Point) -> Option<Point> {
        let tangent = |n: &Vector| (*n, n.dot(&p.coords) + self.corner);
        self.nearest_about(p, normals.iter().map(tangent).collect(), known)
    }

    /// As [`Cutting::nearest_centre`], given the first planes: normals, and how far along them the centre is at least.
    fn nearest_about(
        &self,
        p: &Point,
        mut planes: Vec<(Vector, f64)>,
        known: &Point,
    ) -> Option<Point> {
        let radius = self.corner;
        let mut c = nearest_point(p, &planes, TOUCH)?;
        for _ in 0..MOST_PLANES {
            let near = self.ground.contacts.rays.closest(&c, radius - TOUCH);
            let plane = match (near, self.hanging_over(&c)) {
                (Some((q, _)), over) if q.z > c.z + TOUCH && self.under(&c) => {
                    self.aside_of(&over.unwrap_or(q), &c, known)?
                }
                (Some((q, t)), _) => {
                    let normal = self.ground.half.mesh.normal(t as usize).unwrap_or_default();
                    let out = c - q;
                    let n = if out.dot(&normal) > 0.0 {
                        out.normalize()
                    } else {
                        normal
                    };
                    (n, n.dot(&q.coords) + radius)
                }
                (None, Some(q)) => self.aside_of(&q, &c, known)?,
                (None, None) => return Some(c),
            };
            // on a curved surface the last plane is the better of two that are nearly the same
            planes.retain(|other| other.0.dot(&plane.0) < ALIKE);
            planes.push(plane);
            c = nearest_point(p, &planes, TOUCH)?;
        }
        None
    }

    /// A surface point that the cutter meets on its way up from `centre`.
    fn hanging_over(&self, centre: &Point) -> Option<Point> {
        if !self.under(centre) {
            return None;
        }
        let (inner, lift) = self.profile.inset(TOUCH)?;
        let contact = self
            .ground
            .contacts
            .dropper
            .centre_height(inner, centre.x, centre.y)?;
        (contact.z - lift > centre.z + TOUCH).then_some(contact.point)
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
                let free = |z: f64| self.free(&Point::new(c.x, c.y, z), 2.0 * TOUCH);
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

    /// The upright plane that keeps the centre a radius aside of what hangs over: of the surface point `q` itself, or where
    /// that is straight above `centre`, of the wall met there on the way from a free place.
    fn aside_of(&self, q: &Point, centre: &Point, known: &Point) -> Option<(Vector, f64)> {
        let level = |p: &Point| Vector::new(p.x, p.y, 0.0);
        let away = level(centre) - level(q);
        if away.norm() > 0.05 * self.corner {
            let n = away.normalize();
            return Some((n, n.dot(&q.coords) + self.corner));
        }
        let height = q.z - 10.0 * TOUCH;
        let from = Point::new(known.x, known.y, height);
        let way = Point::new(q.x, q.y, height) - from;
        let hit =
            self.ground
                .contacts
                .rays
                .first_hit(&from, &way, 1.0 + self.corner / way.norm())?;
        let normal = self.ground.half.mesh.normal(hit.triangle as usize)?;
        let n = Vector::new(normal.x, normal.y, 0.0).try_normalize(TOUCH)?;
        Some((n, n.dot(&(from + way * hit.distance).coords) + self.corner))
    }

    /// The upright planes by which what hangs over keeps the cutter at `centre` from `p`.
    pub fn held_aside(&self, centre: &Point, p: &Point) -> Vec<(Vector, f64)> {
        let mut planes: Vec<(Vector, f64)> = Vec::new();
        if !self.under(centre) {
            return planes;
        }
        let mut way = (p - centre).try_normalize(0.0).unwrap_or_default();
        // off what was found the cutter slides on along it, up to the next
        for _ in 0..3 {
            let nearer = centre + way * (20.0 * TOUCH);
            let over = self.hanging_over(&nearer);
            let Some(plane) = over.and_then(|q| self.aside_of(&q, &nearer, centre)) else {
                break;
            };
            way -= plane.0 * plane.0.dot(&way);
            planes.push(plane);
            match way.try_normalize(0.1) {
                Some(on) => way = on,
                None => break,
            }
        }
        planes
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

    /// Height left at `p`, mm, exact to about a micrometre; `normals` as for [`Cutting::refine`].
    pub fn leaves(&self, p: &Point, normals: &[Vector]) -> f64 {
        let near = self.left(p);
        if near.left > 0.0 {
            self.refine(p, normals, near).left
        } else {
            0.0
        }
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

    /// Free places towards the bend, about the farthest from the lower node and good to `fine` mm; `place` takes steps from that node,
    /// and height.
    fn last_free(
        &self,
        bend: &Bend,
        fine: f64,
        place: impl Fn(f64, f64) -> Point,
        found: &mut Vec<Point>,
    ) {
        let is_free = |t: f64, z: f64| self.free(&place(t, z), 2.0 * TOUCH);
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

    /// For a cutter with a flat part: pattern search in plan, the steps halved from one cell down; at each place the cutter
    /// stands as low as it may (shrunk by [`TOUCH`]) or at the height of `p`.
    fn refine_by_drops(&self, p: &Point, start: Nearest) -> Nearest {
        let Some((inner, lift)) = self.profile.inset(TOUCH) else {
            return start;
        };
        let left_from = |x: f64, y: f64, z: f64| {
            let plan = ((x - p.x).hypot(y - p.y) - self.flat).max(0.0);
            plan.hypot((z - p.z).max(0.0)) - self.corner
        };
        let try_at = |x: f64, y: f64| {
            let z = self
                .ground
                .contacts
                .dropper
                .centre_height(inner, x, y)
                .map_or(f64::NEG_INFINITY, |c| c.z - lift);
            (left_from(x, y, z), z)
        };
        let mut at = start.centre;
        let (left, z) = try_at(at.x, at.y);
        let mut best = left;
        at.z = z.max(p.z);
        let mut step = self.grid().cell;
        let mut turn = 0.0_f64;
        while step > 1e-3 {
            let mut moved = false;
            // straight at the point first: along a wall that is the way
            let to = (p - at).xy();
            let toward = if to.norm() > 0.0 {
                to.y.atan2(to.x)
            } else {
                0.0
            };
            for k in 0..8 {
                let angle = toward + turn + f64::from(k) * std::f64::consts::FRAC_PI_4;
                let (x, y) = (at.x + step * angle.cos(), at.y + step * angle.sin());
                // a step cannot gain more than its length
                if ((x - p.x).hypot(y - p.y) - self.flat).max(0.0) - self.corner >= best {
                    continue;
                }
                let (left, z) = try_at(x, y);
                if left < best - 1e-9 {
                    best = left;
                    at = Point::new(x, y, z.max(p.z));
                    moved = true;
                    break;
                }
            }
            if !moved {
                step *= 0.5;
                turn += 0.35;
            }
        }
        Nearest {
            left: best.max(0.0),
            centre: at,
        }
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

/// The last place from `good` towards `bad` that `holds`, by halving; `None` if the first does not.
fn last(mut good: f64, mut bad: f64, halvings: usize, holds: impl Fn(f64) -> bool) -> Option<f64> {
    if !holds(good) {
        return None;
    }
    for _ in 0..halvings {
        let middle = 0.5 * (good + bad);
        if holds(middle) {
            good = middle;
        } else {
            bad = middle;
        }
    }
    Some(good)
}

/// Cosine between the normals of two planes that are nearly the same.
const ALIKE: f64 = 0.999_999;
/// Surfaces a ball may rest on while its nearest place is sought.
const MOST_PLANES: usize = 32;
