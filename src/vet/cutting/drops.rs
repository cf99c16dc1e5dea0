//! The nearest place of a cutter with a flat part to a surface point.

use super::nearest::{ALIKE, MOST_PLANES};
use super::{Cutting, TOUCH};
use crate::field::Nearest;
use crate::mesh::{Point, Vector};
use crate::vet::cone::nearest_point;
use nalgebra::Vector2;
use std::f64::consts::{FRAC_PI_2, FRAC_PI_4};

/// Share of a step in plan that it has to gain to be taken.
const LEAST_GAIN: f64 = 1e-3;
/// The last step in plan, mm.
const LAST_STEP: f64 = 1e-3;
/// By how much the directions of smaller steps are turned, radians: no small part of the 45° between them.
const TURN: f64 = 0.35;
/// How far ways along a wall lean towards the point, radians: where the wall runs nearly square to the way to the point only such
/// ways are open and lead nearer. What is missed by the least of them is in [`Cutting::overlooked`].
const ALONG: [f64; 4] = [0.2, 0.06, 0.02, LEAST_LEAN];
const LEAST_LEAN: f64 = 0.006;
/// What leans farther, its normal's level part less than this, is no wall.
const LEAST_LEVEL: f64 = 0.3;

impl Cutting<'_> {
    /// As [`Cutting::refine`]: beside the walls that it meets, then by a pattern search in plan.
    pub(super) fn refine_by_drops(&self, p: &Point, normals: &[Vector], start: Nearest) -> Nearest {
        let mut best = self.beside(p, normals, start);
        let gains = |to, best, least| self.gains(p, to, best, least);
        let mut before = best.centre;
        let mut step = self.grid().cell;
        let mut turn = 0.0_f64;
        while step > LAST_STEP && best.left > 0.0 {
            let (at, least) = (best.centre.xy().coords, LEAST_GAIN * step);
            // straight at the point first
            let to = p.xy().coords - at;
            let toward = if to.norm() > 0.0 {
                to.y.atan2(to.x)
            } else {
                0.0
            };
            let around = (0..8).map(|k: u8| turn + f64::from(k) * FRAC_PI_4);
            let along = ALONG.map(|lean| FRAC_PI_2 - lean);
            let along = along.into_iter().flat_map(|off| [off, -off]);
            let one = |off: f64| {
                let (sin, cos) = (toward + off).sin_cos();
                gains(at + step * Vector2::new(cos, sin), best.left, least)
            };
            let Some(next) = around.chain(along).find_map(one) else {
                step *= 0.5;
                turn += TURN;
                continue;
            };
            // on as the last two steps led, farther each time: no step lies along a wall as these do together
            let mut way = (next.centre - before).xy();
            (before, best) = (best.centre, next);
            while let Some(next) = gains(best.centre.xy().coords + way, best.left, least) {
                (before, best) = (best.centre, next);
                way *= 2.0;
            }
        }
        Nearest {
            left: best.left.max(0.0),
            ..best
        }
    }

    /// How much nearer to `p` than at its place `near` a cutter with a flat part may get by ways that the search doesn't try, mm:
    /// D (1 − cos α) where a wall leaves only ways open that lean towards `p` by less than the least lean tried, α, over the plan
    /// distance D of `near`.
    pub fn overlooked(&self, p: &Point, near: &Nearest) -> f64 {
        (near.centre - p).xy().norm() * (1.0 - LEAST_LEAN.cos())
    }

    /// Of `start`, as low as the cutter may stand there, and the place beside the walls around `p` the nearer to `p`.
    pub fn beside(&self, p: &Point, normals: &[Vector], start: Nearest) -> Nearest {
        // a place beside a wall, free to twice as much, may be told not to be
        let places = [Some(start.centre), self.beside_walls(p, normals)];
        places.into_iter().flatten().fold(start, |best, c| {
            (self.gains(p, c.xy().coords, best.left, 0.0)).unwrap_or(best)
        })
    }

    /// The place at `to` in plan, where that lets the cutter more than `least` nearer to `p` than `best`: it stands there as low as
    /// it may (shrunk by [`TOUCH`]) or at the height of `p`.
    fn gains(&self, p: &Point, to: Vector2<f64>, best: f64, least: f64) -> Option<Nearest> {
        let plan = ((to - p.xy().coords).norm() - self.flat).max(0.0);
        if plan - self.corner >= best - least {
            return None;
        }
        let (inner, lift) = self.profile.inset(TOUCH)?;
        // from higher up it gains nothing
        let rise = ((best + self.corner).powi(2) - plan * plan).max(0.0).sqrt();
        let z = (self.ground.contacts.dropper)
            .highest(inner, [to.x, to.y], p.z + lift, p.z + rise + lift)
            .map_or(p.z, |c| c.z - lift);
        let left = plan.hypot(z - p.z) - self.corner;
        (left < best - least).then(|| Nearest {
            left,
            centre: Point::new(to.x, to.y, z),
        })
    }

    /// The place nearest to `p` in plan from which the cutter, as high as it touches surfaces with these `normals` there, is clear
    /// of the walls around it at its widest; exact beside straight walls and in concave ones. What else is in its way is not asked.
    ///
    /// Cutting planes, as for a ball: it has to stay a radius off each wall that was found nearer.
    fn beside_walls(&self, p: &Point, normals: &[Vector]) -> Option<Point> {
        let touching = normals.iter().map(|n| self.touching(p, n).z);
        let z = touching.fold(p.z, f64::max);
        let from = Point::new(p.x, p.y, z);
        let mut planes: Vec<(Vector, f64)> = Vec::new();
        let mut c = from;
        for _ in 0..MOST_PLANES {
            let Some(plane) = self.nearest_wall(&c) else {
                return Some(c);
            };
            planes.retain(|other| other.0.dot(&plane.0) < ALIKE);
            planes.push(plane);
            c = nearest_point(&from, &planes, TOUCH)?;
        }
        None
    }

    /// The upright plane beside which a wall keeps the cutter's centre, if `c` lies behind any: the one farthest before it. Walls
    /// are where the surface crosses the height of `c`. From one that leans, its normal n with a level part h, the centre keeps
    /// the flat part and the corner's radius over h: it is touched lower down.
    fn nearest_wall(&self, c: &Point) -> Option<(Vector, f64)> {
        let mesh = &self.ground.half.mesh;
        let at = Point::new(c.x, c.y, c.z + TOUCH);
        let most = self.flat + self.corner / LEAST_LEVEL;
        let aside = Vector::new(most, most, 0.0);
        // of what it lies in front of the plane farthest before it, and the nearest of all
        let mut found: Option<(f64, Vector, f64)> = None;
        let mut nearest = (f64::INFINITY, None);
        let rays = &self.ground.contacts.rays;
        rays.for_each_triangle_in_box(&(at - aside), &(at + aside), |t| {
            let Some([a, b]) = section(&mesh.corners(t as usize), at.z) else {
                return;
            };
            let normal = mesh.normal(t as usize).unwrap_or_default();
            let level = Vector::new(normal.x, normal.y, 0.0);
            let h = level.norm();
            if h < LEAST_LEVEL {
                return;
            }
            let (along, to) = (b - a, at - a);
            let share = to.dot(&along) / along.norm_squared();
            let q = a + along * share.clamp(0.0, 1.0);
            let away = (at - q).norm();
            let keeps = match normal.z > 0.0 {
                true => self.flat + self.corner / h,
                false => self.radius(),
            };
            let outside = away > TOUCH && (at - q).dot(&level) > 0.0;
            if outside {
                let (out, behind) = ((at - q) / away, keeps - away);
                if behind > found.map_or(TOUCH, |f| f.0) {
                    found = Some((behind, out, out.dot(&q.coords) + keeps));
                }
            }
            // at a corner that two share it is outside if it is of either
            if away < nearest.0 - 1e-9 || (outside && away < nearest.0 + 1e-9) {
                let out = level / h;
                let into = (!outside).then(|| (out, out.dot(&q.coords) + keeps));
                nearest = (away, into);
            }
        });
        // behind the nearest it is in the material; what else it is behind of is seen through the material
        nearest.1.or(found.map(|(_, out, level)| (out, level)))
    }
}

/// Where a triangle's sides cross the height `z`; `None` where it lies all above, all below or level.
fn section(corners: &[Point; 3], z: f64) -> Option<[Point; 2]> {
    let mut ends = [0, 1, 2].into_iter().filter_map(|k| {
        let (a, b) = (corners[k], corners[(k + 1) % 3]);
        ((a.z < z) != (b.z < z)).then(|| a + (b - a) * ((z - a.z) / (b.z - a.z)))
    });
    let both = [ends.next()?, ends.next()?];
    (both[0] != both[1]).then_some(both)
}
