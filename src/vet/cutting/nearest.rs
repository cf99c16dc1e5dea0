//! The nearest place of a cutter to a surface point.

use super::{Cutting, TOUCH};
use crate::field::Nearest;
use crate::mesh::{Point, Vector};
use crate::vet::cone::nearest_point;

/// Cosine between the normals of two planes that are nearly the same.
pub(super) const ALIKE: f64 = 0.999_999;
/// Surfaces a ball may rest on while its nearest place is sought.
pub(super) const MOST_PLANES: usize = 32;

impl Cutting<'_> {
    /// The nearest place to `p` that the triangles allow, from the nearest one known; `normals` are those of the surfaces
    /// that meet at `p`. An upper bound of what is left, exact to [`TOUCH`] where the cutter rests on flat facets.
    pub fn refine(&self, p: &Point, normals: &[Vector], start: Nearest) -> Nearest {
        if self.flat > 0.0 {
            return self.refine_by_drops(p, normals, start);
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
    pub(super) fn nearest_about(
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
    pub(super) fn hanging_over(&self, centre: &Point) -> Option<Point> {
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

    /// The upright plane that keeps the centre a radius aside of what hangs over: of the surface point `q` itself, or where
    /// that is straight above `centre`, of the wall met there on the way from a free place.
    pub(super) fn aside_of(
        &self,
        q: &Point,
        centre: &Point,
        known: &Point,
    ) -> Option<(Vector, f64)> {
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

    /// What is left at `p`, exact to about a micrometre; `normals` as for [`Cutting::refine`].
    pub fn comes_near(&self, p: &Point, normals: &[Vector]) -> Nearest {
        let near = self.left(p);
        if near.left > 0.0 {
            self.refine(p, normals, near)
        } else {
            near
        }
    }
}
