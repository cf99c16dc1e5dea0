//! Rays, nearest places and balls against a mesh, by a tree of bounding boxes: for all that does not lie on a grid.
//!
//! The tree is parry's; its types stay in this file. The test of a ray against a triangle is watertight: a ray that meets a
//! shared edge hits at least one of its triangles (S. Woop, C. Benthin and I. Wald, "Watertight Ray/Triangle Intersection",
//! Journal of Computer Graphics Techniques 2(1), 2013).

use crate::mesh::{Mesh, Point, Vector};
use parry3d_f64::bounding_volume::Aabb;
use parry3d_f64::math::Vector as V3;
use parry3d_f64::partitioning::{Bvh, BvhBuildStrategy, BvhNode, TraversalAction};
use parry3d_f64::query::PointQuery;
use parry3d_f64::shape::Triangle;
use rayon::prelude::*;
use std::cell::Cell;

mod touching;

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
    tree: Bvh,
    /// The slab that holds each triangle: most triangles about a ball that nearly touches are told to be clear by it.
    slabs: Vec<Slab>,
}

/// Points x with lo ≤ normal · x ≤ hi: of no thickness but for rounding, and of no normal for a triangle of no area.
struct Slab {
    normal: V3,
    lo: f64,
    hi: f64,
}

/// Rounding of a distance to a slab, mm: far above what it is for parts of up to a kilometre.
const HAIR: f64 = 1e-9;

impl<'m> Rays<'m> {
    /// Builds the tree over all triangles of `mesh`.
    ///
    /// # Panics
    /// If a triangle's corner is out of range.
    pub fn new(mesh: &'m Mesh) -> Rays<'m> {
        let boxes: Vec<Aabb> = (0..mesh.triangles.len())
            .into_par_iter()
            .map(|t| around(mesh, t))
            .collect();
        Rays {
            mesh,
            tree: Bvh::from_leaves(BvhBuildStrategy::Binned, &boxes),
            slabs: slabs(mesh),
        }
    }

    /// Builds the tree over the triangles that are `wanted`; they keep their numbers.
    ///
    /// # Panics
    /// If a triangle's corner, wanted or not, is out of range.
    pub fn over(mesh: &'m Mesh, wanted: impl Fn(usize) -> bool) -> Rays<'m> {
        let boxes = (0..mesh.triangles.len())
            .filter(|&t| wanted(t))
            .map(|t| (t, around(mesh, t)));
        Rays {
            mesh,
            tree: Bvh::from_iter(BvhBuildStrategy::Binned, boxes),
            slabs: slabs(mesh),
        }
    }

    /// The first triangle that the ray from `origin` along `direction` meets, from either side, before `max` lengths of
    /// `direction`. A triangle that holds the origin is met at 0; one seen edge-on is not met. A direction of no length meets nothing.
    pub fn first_hit(&self, origin: &Point, direction: &Vector, max: f64) -> Option<Hit> {
        let ray = Ray::new(origin, direction)?;
        self.tree
            .find_best(
                max,
                |node, best| ray.enters(node, best).unwrap_or(f64::MAX),
                |t, _| ray.meets(self.mesh.corners(t as usize)),
            )
            .map(|(triangle, distance)| Hit { distance, triangle })
    }

    /// Whether the ray from `origin` along `direction` meets anything: as [`Rays::first_hit`], sooner told.
    pub fn meets_any(&self, origin: &Point, direction: &Vector) -> bool {
        let Some(ray) = Ray::new(origin, direction) else {
            return false;
        };
        let mut met = false;
        self.tree.traverse(|node| {
            if ray.enters(node, f64::INFINITY).is_none() {
                return TraversalAction::Prune;
            }
            if let Some(triangle) = node.leaf_data()
                && ray.meets(self.mesh.corners(triangle as usize)).is_some()
            {
                met = true;
                return TraversalAction::EarlyExit;
            }
            TraversalAction::Continue
        });
        met
    }

    /// All triangles that the ray from `origin` along `direction` meets, nearest first, then by triangle; a ray through a shared
    /// edge or corner meets all triangles around it.
    pub fn all_hits(&self, origin: &Point, direction: &Vector) -> Vec<Hit> {
        let mut hits = Vec::new();
        let Some(ray) = Ray::new(origin, direction) else {
            return hits;
        };
        self.tree.traverse(|node| {
            if ray.enters(node, f64::INFINITY).is_none() {
                return TraversalAction::Prune;
            }
            if let Some(triangle) = node.leaf_data()
                && let Some(distance) = ray.meets(self.mesh.corners(triangle as usize))
            {
                hits.push(Hit { distance, triangle });
            }
            TraversalAction::Continue
        });
        hits.sort_by(|a, b| {
            a.distance
                .total_cmp(&b.distance)
                .then(a.triangle.cmp(&b.triangle))
        });
        hits
    }

    /// The place of the surface nearest to `point` and its triangle, if closer than `within`. A ball of radius `within` about
    /// `point` cuts into the surface by `within` less the distance to that place.
    pub fn closest(&self, point: &Point, within: f64) -> Option<(Point, u32)> {
        let p = v3(*point);
        self.tree
            .find_best(
                within,
                |node, _| distance_to_box(node, p),
                |t, best| {
                    if self.off_slab(t, p) > best + HAIR {
                        return None;
                    }
                    let place = self.nearest_on(t, p);
                    Some((place.distance(p), place))
                },
            )
            .map(|(t, (_, q))| (Point::new(q.x, q.y, q.z), t))
    }

    /// Whether any surface is closer to `point` than `radius`: whether that ball cuts into the surface.
    pub fn any_within(&self, point: &Point, radius: f64) -> bool {
        self.any_within_after(point, radius, &Cell::new(None))
    }

    /// As [`Rays::any_within`], sooner told: the triangle `last` found is tried first, for what cuts a ball mostly cuts the one
    /// beside it.
    pub fn any_within_after(&self, point: &Point, radius: f64, last: &Cell<Option<u32>>) -> bool {
        let p = v3(*point);
        let closer = |t: u32| {
            self.off_slab(t, p) <= radius + HAIR && self.nearest_on(t, p).distance(p) < radius
        };
        if last.get().is_some_and(closer) {
            return true;
        }
        let mut found = false;
        self.tree.traverse(|node| {
            if distance_to_box(node, p) >= radius {
                return TraversalAction::Prune;
            }
            if let Some(t) = node.leaf_data()
                && closer(t)
            {
                last.set(Some(t));
                found = true;
                return TraversalAction::EarlyExit;
            }
            TraversalAction::Continue
        });
        found
    }

    /// The point of triangle `t` nearest to `point`.
    pub fn closest_on(&self, t: u32, point: &Point) -> Point {
        let q = self.nearest_on(t, v3(*point));
        Point::new(q.x, q.y, q.z)
    }

    /// Calls `each` for every triangle whose bounding box meets the box `lo..=hi`; in the tree's order, the same each time.
    pub fn for_each_triangle_in_box(&self, lo: &Point, hi: &Point, each: impl FnMut(u32)) {
        let wanted = Aabb::new(v3(*lo), v3(*hi));
        self.tree.intersect_aabb(&wanted).for_each(each);
    }

    /// Distance of `p` from the slab of triangle `t`: no point of the triangle is nearer.
    fn off_slab(&self, t: u32, p: V3) -> f64 {
        let slab = &self.slabs[t as usize];
        let along = slab.normal.dot(p);
        (slab.lo - along).max(along - slab.hi)
    }

    fn nearest_on(&self, t: u32, p: V3) -> V3 {
        let [a, b, c] = self.mesh.corners(t as usize).map(v3);
        Triangle::new(a, b, c).project_local_point(p, false).point
    }
}

fn slabs(mesh: &Mesh) -> Vec<Slab> {
    let slab = |t: usize| {
        let normal = mesh.normal(t).unwrap_or_default();
        let [a, b, c] = mesh.corners(t).map(|p| normal.dot(&p.coords));
        Slab {
            normal: v3(normal.into()),
            lo: a.min(b).min(c),
            hi: a.max(b).max(c),
        }
    };
    (0..mesh.triangles.len())
        .into_par_iter()
        .map(slab)
        .collect()
}

/// The box around triangle `t`.
fn around(mesh: &Mesh, t: usize) -> Aabb {
    let [a, b, c] = mesh.corners(t);
    Aabb::new(v3(a.inf(&b).inf(&c)), v3(a.sup(&b).sup(&c)))
}

fn v3(p: Point) -> V3 {
    V3::new(p.x, p.y, p.z)
}

fn distance_to_box(node: &BvhNode, p: V3) -> f64 {
    (node.mins() - p)
        .max(p - node.maxs())
        .max(V3::ZERO)
        .length()
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

    /// Where the ray enters the node's box (0 from inside), if it does so no later than `max`.
    fn enters(&self, node: &BvhNode, max: f64) -> Option<f64> {
        let (lo, hi) = (node.mins().to_array(), node.maxs().to_array());
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
    use crate::mesh::testing::block;
    use proptest::prelude::*;

    fn soup(corners: &[[f64; 3]]) -> Mesh {
        Mesh {
            vertices: corners.iter().map(|&p| Point::from(p)).collect(),
            triangles: (0..corners.len() as u32 / 3)
                .map(|t| [3 * t, 3 * t + 1, 3 * t + 2])
                .collect(),
        }
    }

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
                    let [a, b, c] = mesh.corners(t);
                    let (from, to) = (a.inf(&b).inf(&c), a.sup(&b).sup(&c));
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
}
