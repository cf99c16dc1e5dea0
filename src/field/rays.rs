//! Rays, nearest places and balls against a mesh, by a tree of bounding boxes: for all that does not lie on a grid.
//!
//! The test of a ray against a triangle is watertight: a ray that meets a shared edge hits at least one of its triangles (S. Woop,
//! C. Benthin and I. Wald, "Watertight Ray/Triangle Intersection", Journal of Computer Graphics Techniques 2(1), 2013).

use crate::mesh::{Mesh, Point, Vector, box_of};
use std::cell::Cell;
use std::ops::ControlFlow;
use tree::{Tree, Within};

mod touching;
mod tree;

pub use touching::Touching;

/// Where a ray meets a triangle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hit {
    /// Distance from the ray's origin, in lengths of its direction (so mm for a unit direction).
    pub distance: f64,
    /// The triangle.
    pub triangle: u32,
}

/// A mesh made ready for ray, distance and box questions.
pub struct Rays<'m> {
    mesh: &'m Mesh,
    tree: Tree,
}

impl<'m> Rays<'m> {
    /// Builds the tree over all triangles of `mesh`.
    ///
    /// # Panics
    /// If a triangle's corner is out of range.
    pub fn new(mesh: &'m Mesh) -> Rays<'m> {
        Rays::over(mesh, |_| true)
    }

    /// Builds the tree over the triangles that are `wanted`; they keep their numbers.
    ///
    /// # Panics
    /// If a wanted triangle's corner is out of range.
    pub fn over(mesh: &'m Mesh, wanted: impl Fn(usize) -> bool) -> Rays<'m> {
        let wanted: Vec<u32> = (0..mesh.triangles.len())
            .filter(|&t| wanted(t))
            .map(|t| t as u32)
            .collect();
        Rays {
            mesh,
            tree: Tree::over(mesh, &wanted),
        }
    }

    /// The first triangle that the ray from `origin` along `direction` meets, from either side, before `max` lengths of
    /// `direction`. A triangle that holds the origin is met at 0; one seen edge-on is not met. A direction of no length meets nothing.
    pub fn first_hit(&self, origin: &Point, direction: &Vector, max: f64) -> Option<Hit> {
        let mut first: Option<Hit> = None;
        self.each_hit(origin, direction, max, |hit, most| {
            if hit.distance < most {
                first = Some(hit);
                return hit.distance;
            }
            most
        });
        first
    }

    /// Whether the ray from `origin` along `direction` meets anything: as [`Rays::first_hit`], sooner told.
    pub fn meets_any(&self, origin: &Point, direction: &Vector) -> bool {
        let mut met = false;
        self.each_hit(origin, direction, f64::INFINITY, |_, _| {
            met = true;
            f64::NEG_INFINITY
        });
        met
    }

    /// All triangles that the ray from `origin` along `direction` meets, nearest first, then by triangle; a ray through a shared
    /// edge or corner meets all triangles around it.
    pub fn all_hits(&self, origin: &Point, direction: &Vector) -> Vec<Hit> {
        let mut hits = Vec::new();
        self.each_hit(origin, direction, f64::INFINITY, |hit, most| {
            hits.push(hit);
            most
        });
        hits.sort_by(|a, b| {
            a.distance
                .total_cmp(&b.distance)
                .then(a.triangle.cmp(&b.triangle))
        });
        hits
    }

    /// Calls `each` with the triangles that the ray meets, about the nearest first, and how far they are looked for; it tells how far
    /// to go on.
    fn each_hit(
        &self,
        origin: &Point,
        direction: &Vector,
        most: f64,
        mut each: impl FnMut(Hit, f64) -> f64,
    ) {
        let Some(ray) = Ray::new(origin, direction) else {
            return;
        };
        let enters = |lo, hi, most: f64| ray.enters(lo, hi, most);
        self.tree.search(most, enters, |triangle, most| {
            match ray.meets(self.mesh.corners(triangle as usize)) {
                Some(distance) => each(Hit { distance, triangle }, most),
                None => most,
            }
        });
    }

    /// The place of the surface nearest to `point` and its triangle, if closer than `within`. A ball of radius `within` about
    /// `point` cuts into the surface by `within` less the distance to that place.
    pub fn closest(&self, point: &Point, within: f64) -> Option<(Point, u32)> {
        let mut found = None;
        let ball = Within {
            centre: *point,
            radius: within,
        };
        self.tree.near(ball, |t, mut ball| {
            if let Some((place, distance)) = self.closer(t, point, ball.radius) {
                ball.radius = distance;
                found = Some((place, t));
            }
            ControlFlow::Continue(ball)
        });
        found
    }

    /// Whether any surface is closer to `point` than `radius`: whether that ball cuts into the surface.
    pub fn any_within(&self, point: &Point, radius: f64) -> bool {
        self.any_within_after(point, radius, &Cell::new(None))
    }

    /// As [`Rays::any_within`], sooner told: the triangle `last` found is tried first, for what cuts a ball mostly cuts the one
    /// beside it.
    pub fn any_within_after(&self, point: &Point, radius: f64, last: &Cell<Option<u32>>) -> bool {
        let closer = |t: u32| self.closer(t, point, radius).is_some();
        if last.get().is_some_and(closer) {
            return true;
        }
        let mut found = false;
        let ball = Within {
            centre: *point,
            radius,
        };
        self.tree.near(ball, |t, ball| {
            if closer(t) {
                last.set(Some(t));
                found = true;
                return ControlFlow::Break(());
            }
            ControlFlow::Continue(ball)
        });
        found
    }

    /// The point of triangle `t` nearest to `point`.
    pub fn closest_on(&self, t: u32, point: &Point) -> Point {
        let nearest = nearest_on(self.mesh.corners(t as usize), point, f64::INFINITY);
        nearest.unwrap_or(*point)
    }

    /// The point of triangle `t` nearest to `point`, and its distance, if closer than `within`.
    fn closer(&self, t: u32, point: &Point, within: f64) -> Option<(Point, f64)> {
        let place = nearest_on(self.mesh.corners(t as usize), point, within)?;
        let distance = (place - point).norm();
        (distance < within).then_some((place, distance))
    }

    /// Calls `each` for every triangle whose bounding box meets the box `lo..=hi`; in the tree's order, the same each time.
    pub fn for_each_triangle_in_box(&self, lo: &Point, hi: &Point, mut each: impl FnMut(u32)) {
        let meets =
            |from: [f64; 3], to: [f64; 3]| (0..3).all(|k| from[k] <= hi[k] && to[k] >= lo[k]);
        let enters = |from, to, _| meets(from, to).then_some(0.0);
        // no box is nearer than another
        self.tree.search(0.0, enters, |t, most| {
            let (from, to) = box_of(self.mesh.corners(t as usize));
            if meets(from.into(), to.into()) {
                each(t);
            }
            most
        });
    }
}

/// Squared sine of the angle at a triangle's first corner below which it has no plane.
const THIN: f64 = 1e-14;

/// The point of a triangle nearest to `p`; `None` if its plane, and so the triangle, is no closer than `within`, but for rounding.
fn nearest_on([a, b, c]: [Point; 3], p: &Point, within: f64) -> Option<Point> {
    let (ab, ac, ap) = (b - a, c - a, p - a);
    let normal = ab.cross(&ac);
    let (over, area2) = (normal.dot(&ap), normal.norm_squared());
    // what is thinner is its sides: of its normal rounding has left nothing
    let has_plane = area2 > THIN * ab.norm_squared() * ac.norm_squared();
    if has_plane && over * over > within * within * area2 * (1.0 + 1e-6) {
        return None;
    }
    // the corners' shares of the place under p: twice the areas across from them, times that of the triangle
    let of_b = ap.cross(&ac).dot(&normal);
    let of_c = ab.cross(&ap).dot(&normal);
    if has_plane && of_b >= 0.0 && of_c >= 0.0 && of_b + of_c <= area2 {
        return Some(p - normal * (over / area2));
    }
    let on_side = |q: Point, along: Vector| {
        let share = (p - q).dot(&along) / along.norm_squared();
        // not a number on a side of no length
        let share = if share > 0.0 { share.min(1.0) } else { 0.0 };
        let place = q + along * share;
        ((place - p).norm_squared(), place)
    };
    let sides = [on_side(a, ab), on_side(a, ac), on_side(b, c - b)];
    let nearer = |x: (f64, Point), y: (f64, Point)| if y.0 < x.0 { y } else { x };
    Some(sides.into_iter().fold((f64::INFINITY, a), nearer).1)
}

/// A ray, with what both tests need.
struct Ray {
    origin: Point,
    direction: Vector,
    inverse: Vector,
    /// Axes, the direction's longest last.
    axes: [usize; 3],
    /// Shear that lays the direction on its longest axis, and the scale along it.
    shear: [f64; 3],
}

impl Ray {
    /// `None` for a direction of no length or without value.
    fn new(origin: &Point, direction: &Vector) -> Option<Ray> {
        let z = direction.iamax();
        let (x, y) = ((z + 1) % 3, (z + 2) % 3);
        let d = direction[z];
        (d.abs() > 0.0).then(|| Ray {
            origin: *origin,
            direction: *direction,
            inverse: direction.map(|d| 1.0 / d),
            axes: [x, y, z],
            shear: [direction[x] / d, direction[y] / d, 1.0 / d],
        })
    }

    /// Where the ray enters a box (0 from inside), if it does so no later than `max`.
    fn enters(&self, lo: [f64; 3], hi: [f64; 3], max: f64) -> Option<f64> {
        let (mut near, mut far) = (0.0, max);
        for k in 0..3 {
            let (lo, hi) = (lo[k] - self.origin[k], hi[k] - self.origin[k]);
            if self.direction[k] == 0.0 {
                if lo > 0.0 || hi < 0.0 {
                    return None;
                }
                continue;
            }
            let (a, b) = (lo * self.inverse[k], hi * self.inverse[k]);
            let (a, b) = if a < b { (a, b) } else { (b, a) };
            // three roundings each; widened so that none is missed
            near = f64::max(near, a * (1.0 - 4.0 * f64::EPSILON));
            far = f64::min(far, b * (1.0 + 4.0 * f64::EPSILON));
        }
        (near <= far).then_some(near)
    }

    /// Where the ray meets the triangle, its boundary included.
    fn meets(&self, corners: [Point; 3]) -> Option<f64> {
        let [x, y, z] = self.axes;
        let [sx, sy, sz] = self.shear;
        let [a, b, c] = corners.map(|p| {
            let p = p - self.origin;
            [p[x] - sx * p[z], p[y] - sy * p[z], sz * p[z]]
        });
        // The same products for both triangles of an edge, so that they agree about its side.
        let u = c[0] * b[1] - c[1] * b[0];
        let v = a[0] * c[1] - a[1] * c[0];
        let w = b[0] * a[1] - b[1] * a[0];
        if (u < 0.0 || v < 0.0 || w < 0.0) && (u > 0.0 || v > 0.0 || w > 0.0) {
            return None;
        }
        let area = u + v + w;
        let distance = (u * a[2] + v * b[2] + w * c[2]) / area;
        // not for an area of zero: NaN or infinite
        (distance >= 0.0 && distance.is_finite()).then_some(distance)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::testing::{block, soup};
    use proptest::prelude::*;

    /// The cube from -1 to 1.
    fn cube() -> Mesh {
        let mut cube = block([2.0; 3]);
        for p in &mut cube.vertices {
            *p -= Vector::repeat(1.0);
        }
        cube
    }

    /// Nearest of many places spread over the triangle; the true one is nearer, by no more than the spacing.
    fn sampled(mesh: &Mesh, t: usize, p: &Point) -> f64 {
        let [a, b, c] = mesh.corners(t);
        let n = 60;
        let places = (0..=n).flat_map(|i| (0..=n - i).map(move |j| (i, j)));
        places
            .map(|(i, j)| {
                let (u, v) = (f64::from(i) / f64::from(n), f64::from(j) / f64::from(n));
                (a + (b - a) * u + (c - a) * v - p).norm()
            })
            .fold(f64::INFINITY, f64::min)
    }

    const SPACE: std::ops::Range<f64> = -10.0..10.0;

    proptest! {
        #[test]
        fn tree_questions_match_one_by_one(
            corners in prop::collection::vec([SPACE, SPACE, SPACE], 3..60),
            p in [SPACE, SPACE, SPACE],
            q in [SPACE, SPACE, SPACE],
            flat in any::<bool>(),
            within in 0.1f64..15.0,
            tried in any::<prop::sample::Index>(),
        ) {
            let mut corners = corners;
            if flat {
                // boxes without thickness, and rays along an axis
                corners.iter_mut().for_each(|c| c[2] = c[2].round());
            }
            let mesh = soup(&corners);
            let rays = Rays::new(&mesh);
            let (p, q) = (Point::from(p), Point::from(q));
            let direction = if flat { -Vector::z() } else { q - p };
            let hits = rays.all_hits(&p, &direction);
            // each triangle by itself, solved as three equations
            for t in 0..mesh.triangles.len() {
                let [a, b, c] = mesh.corners(t);
                let system = nalgebra::Matrix3::from_columns(&[b - a, c - a, -direction]);
                let Some(s) = system.try_inverse().map(|m| m * (p - a)) else { continue };
                let margin = s.x.min(s.y).min(1.0 - s.x - s.y).min(s.z);
                prop_assume!(margin.abs() > 1e-9);
                let hit = hits.iter().find(|h| h.triangle == t as u32);
                prop_assert_eq!(hit.is_some(), margin > 0.0);
                if let Some(hit) = hit {
                    prop_assert!((hit.distance - s.z).abs() <= 1e-9 * (1.0 + s.z));
                }
            }
            prop_assert!(hits.is_sorted_by(|a, b| a.distance <= b.distance));
            prop_assert_eq!(rays.first_hit(&p, &direction, 1e9), hits.first().copied());
            if let Some(first) = hits.first() {
                prop_assert_eq!(rays.first_hit(&p, &direction, 0.999 * first.distance), None);
            }

            let each: Vec<f64> = (0..mesh.triangles.len()).map(|t| sampled(&mesh, t, &p)).collect();
            let nearest = each.iter().copied().fold(f64::INFINITY, f64::min);
            let (place, t) = rays.closest(&p, 1e9).unwrap();
            let distance = (place - p).norm();
            // sides are 35 mm at most; a 60th of one is the samples' spacing
            prop_assert!(distance <= nearest + 1e-9 && nearest <= distance + 35.0 / 60.0);
            prop_assert!(each[t as usize] <= distance + 35.0 / 60.0);
            prop_assert_eq!(rays.closest(&p, within).is_some(), distance < within);
            prop_assert_eq!(rays.any_within(&p, within), distance < within);
            // whichever triangle is tried first; what was found is closer
            let last = Cell::new(Some(tried.index(mesh.triangles.len()) as u32));
            prop_assert_eq!(rays.any_within_after(&p, within, &last), distance < within);
            if let Some(t) = last.get().filter(|_| distance < within) {
                prop_assert!((rays.closest_on(t, &p) - p).norm() < within);
            }

            let (lo, hi) = (p.inf(&q), p.sup(&q));
            let mut found = Vec::new();
            rays.for_each_triangle_in_box(&lo, &hi, |t| found.push(t));
            found.sort_unstable();
            let expected: Vec<u32> = (0..mesh.triangles.len())
                .filter(|&t| {
                    let (from, to) = box_of(mesh.corners(t));
                    (0..3).all(|k| from[k] <= hi[k] && to[k] >= lo[k])
                })
                .map(|t| t as u32)
                .collect();
            prop_assert_eq!(found, expected);
        }
    }

    #[test]
    fn a_ray_through_an_edge_or_corner_does_not_slip_through() {
        let mesh = cube();
        let rays = Rays::new(&mesh);
        // from the middle through every corner, the middle of every edge, and along every face's diagonal
        for k in 0..27 {
            let d = Vector::from([k % 3, k / 3 % 3, k / 9].map(|v| v as f64 - 1.0));
            let hit = rays.first_hit(&Point::origin(), &d, 10.0);
            assert_eq!(hit.is_some(), d != Vector::zeros());
            assert!(hit.is_none_or(|h| (h.distance - 1.0).abs() < 1e-15));
        }
        for k in 0..2000 {
            let s = k as f64 / 1000.0 - 1.0;
            for d in [[1.0, 1.0, s], [s, -1.0, 1.0], [s, s, 1.0], [-1.0, s, -s]] {
                let turned = nalgebra::Rotation3::new(Vector::new(0.3, 0.5, -0.9));
                let mut mesh = cube();
                mesh.vertices.iter_mut().for_each(|p| *p = turned * *p);
                let d = turned * Vector::from(d);
                let hit = Rays::new(&mesh).first_hit(&Point::origin(), &d, 10.0);
                assert!(hit.is_some_and(|h| (h.distance - 1.0).abs() < 1e-14));
            }
        }
    }

    #[test]
    fn ball_against_a_cube() {
        let mesh = cube();
        let rays = Rays::new(&mesh);
        let p = Point::new(0.25, -0.5, 3.0);
        let (place, t) = rays.closest(&p, 10.0).unwrap();
        assert_eq!(place, Point::new(0.25, -0.5, 1.0));
        assert_eq!(mesh.normal(t as usize), Some(Vector::z()));
        assert!(rays.any_within(&p, 2.0 + 1e-12) && !rays.any_within(&p, 2.0));
        assert_eq!(rays.closest(&p, 2.0), None);
    }

    #[test]
    fn small_and_awkward_meshes() {
        let p = Point::new(0.2, 0.2, 5.0);
        let down = -Vector::z();
        let none = Mesh::default();
        let rays = Rays::new(&none);
        assert_eq!(rays.first_hit(&p, &down, 10.0), None);
        assert_eq!(rays.all_hits(&p, &down), []);
        assert_eq!(rays.closest(&p, 10.0), None);
        assert!(!rays.any_within(&p, 10.0));
        // one, two, and very many triangles in one place
        let one = [[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]];
        for n in [1, 2, 3, 5000] {
            let mesh = soup(&one.repeat(n));
            let rays = Rays::new(&mesh);
            assert_eq!(rays.all_hits(&p, &down).len(), n);
            assert_eq!(
                rays.first_hit(&p, &down, 10.0).map(|h| h.distance),
                Some(5.0)
            );
            assert_eq!(rays.first_hit(&p, &down, 5.0), None);
            assert_eq!(rays.first_hit(&p, &Vector::z(), 10.0), None);
            assert_eq!(rays.first_hit(&p, &Vector::zeros(), 10.0), None);
            assert_eq!(rays.closest(&p, 6.0).map(|c| c.0.z), Some(0.0));
        }
        // no area: never met, but near
        let line = soup(&[[0.0; 3], [1.0, 0.0, 0.0], [2.0, 0.0, 0.0]]);
        let rays = Rays::new(&line);
        assert_eq!(rays.all_hits(&Point::new(0.5, 0.0, 5.0), &down), []);
        assert!(rays.any_within(&Point::new(0.5, 0.0, 0.5), 0.6));
    }

    #[test]
    fn the_nearest_point_of_slivers_and_of_triangles_of_no_area() {
        let p = Point::new(0.5, 0.3, 0.4);
        // on a line, to the last bit and but for it; its nearest point is (0.5, 0, 0)
        for bump in [0.0, 1e-17, 1e-12, 1e-9] {
            let corners = [[0.0, 0.0, 0.0], [1.0, 0.0, bump], [0.7, bump, 0.0]].map(Point::from);
            for turn in 0..3 {
                let [a, b, c] = [0, 1, 2].map(|k| corners[(turn + k) % 3]);
                let q = nearest_on([a, b, c], &p, 0.500_001).unwrap();
                assert!((q - Point::new(0.5, 0.0, 0.0)).norm() < 1e-8, "{bump}: {q}");
            }
        }
        let q = nearest_on([Point::new(0.5, 0.0, 0.0); 3], &p, 1.0).unwrap();
        assert_eq!(q, Point::new(0.5, 0.0, 0.0));
    }

    proptest! {
        #[test]
        fn no_point_of_a_triangle_is_nearer_than_the_nearest(
            corners in prop::collection::vec([SPACE, SPACE, SPACE], 3), p in [SPACE, SPACE, SPACE], within in 0.1..20.0f64,
        ) {
            let mesh = soup(&corners);
            let p = Point::from(p);
            let q = nearest_on(mesh.corners(0), &p, f64::INFINITY).unwrap();
            let distance = (q - p).norm();
            prop_assert!(distance <= sampled(&mesh, 0, &p) + 1e-9);
            // it lies on the triangle
            let [a, b, c] = mesh.corners(0);
            let area = |a: &Point, b: &Point, c: &Point| (b - a).cross(&(c - a)).norm();
            let parts = area(&a, &b, &q) + area(&b, &c, &q) + area(&c, &a, &q);
            prop_assert!((parts - area(&a, &b, &c)).abs() < 1e-9);
            match nearest_on(mesh.corners(0), &p, within) {
                Some(same) => prop_assert_eq!(same, q),
                None => prop_assert!(distance >= within * (1.0 - 1e-9)),
            }
        }
    }
}
