//! Normals and curvature of the surface that a mesh stands for.
//!
//! Corners that smooth edges join have one normal: the mean of their facets' normals, weighted so that it is exact on a sphere
//! (Max, Weights for computing vertex normals from facet normals, Journal of Graphics Tools 4(2), 1999, cited from memory), or
//! the flat's own where a curved surface runs out into a flat one. Where the surface ends, facets lie on one side only and their
//! mean leans; there the normal is set so that chords to the corners around meet the surface alike at both ends, which holds for
//! every surface of second order: (n₁ + n₂)·(p₂ − p₁) = 0. A facet's shape operator is the one that best turns its corners'
//! normals into each other along its sides (Rusinkiewicz, Estimating curvatures and their derivatives on triangle meshes, 3DPVT
//! 2004, cited from memory), averaged with its neighbours on the same curved surface.

mod fans;

use crate::mesh::{Creases, Mesh, Point, Topology, Vector};
use fans::Fans;
use nalgebra::{Matrix3, Rotation3, Vector2};

/// The form of a mesh's surface, facet by facet, in the mesh's own coordinates.
#[derive(Debug, Clone)]
pub struct Form {
    /// Normals at the three corners of each triangle, out of the material.
    normals: Vec<[Vector; 3]>,
    /// Shape operator of each triangle, concave positive, 1/mm.
    shape: Vec<Matrix3<f64>>,
}

impl Form {
    /// Reads the form of `mesh`, whose edges are `topology` and whose smooth edges `creases` names.
    ///
    /// # Panics
    /// If `topology` or `creases` is another mesh's.
    pub fn read(mesh: &Mesh, topology: &Topology, creases: &Creases) -> Form {
        let facets: Vec<Vector> = (0..mesh.triangles.len())
            .map(|t| mesh.normal(t).unwrap_or_default())
            .collect();
        let fans = Fans::of(mesh, topology, creases, &facets);
        let at_fans = fans.normals(mesh, &facets);
        let normals: Vec<[Vector; 3]> = fans
            .of_corner
            .iter()
            .map(|three| three.map(|f| at_fans[f as usize]))
            .collect();
        let own: Vec<Matrix3<f64>> = (0..mesh.triangles.len())
            .map(|t| shape(mesh, t, &facets[t], &normals[t]))
            .collect();
        let shape = facets
            .iter()
            .enumerate()
            .map(|(t, facet)| {
                let mut area = mesh.area(t);
                let mut sum = own[t] * area;
                for (k, &e) in topology.sides[t].iter().enumerate() {
                    let e = e as usize;
                    // a flat's edge bounds the curvature
                    let runs_out = creases.share[e][0] != creases.share[e][1];
                    if !creases.smooth[e] || runs_out {
                        continue;
                    }
                    if let Some(n) = topology.across(t as u32, k) {
                        let a = mesh.area(n as usize);
                        area += a;
                        // laid over into this facet's plane
                        let turn = turn(&facets[n as usize], facet);
                        sum += turn * own[n as usize] * turn.transpose() * a;
                    }
                }
                if area > 0.0 {
                    sum / area
                } else {
                    Matrix3::zeros()
                }
            })
            .collect();
        Form { normals, shape }
    }

    /// Unit normal of the surface over place `p` of triangle `t`, out of the material.
    ///
    /// # Panics
    /// If `t` is out of range, here and in what follows.
    pub fn normal(&self, mesh: &Mesh, t: usize, p: &Point) -> Vector {
        let [a, b, c] = mesh.corners(t);
        let up = mesh.area_normal(t);
        let whole = up.norm_squared();
        let [na, nb, nc] = &self.normals[t];
        if whole == 0.0 {
            return *na;
        }
        let share = |q: Point, r: Point| (q - p).cross(&(r - p)).dot(&up) / whole;
        let mean = na * share(b, c) + nb * share(c, a) + nc * share(a, b);
        mean.try_normalize(1e-9).unwrap_or(*na)
    }

    /// Normal curvature of triangle `t` in the unit direction `w`, concave positive, 1/mm.
    pub fn curvature(&self, t: usize, w: &Vector) -> f64 {
        w.dot(&(self.shape[t] * w))
    }

    /// Largest curvature of triangle `t`, 1/mm: that of the tightest valley through it.
    pub fn tightest(&self, t: usize) -> f64 {
        let s = &self.shape[t];
        s.symmetric_eigenvalues().max()
    }

    /// Area of the surface of a ball's centres over area of triangle `t`: det(1 − R K) in the surface (curvatures of parallel
    /// surfaces, textbook), R = `radius` mm; 0 where the ball does not fit.
    pub fn offset_area(&self, t: usize, radius: f64) -> f64 {
        let s = &self.shape[t];
        // eigenvalues of a surface's operator: two curvatures and 0
        let trace = s.trace();
        let gauss = 0.5 * (trace * trace - (s * s).trace());
        let smaller = 1.0 - radius * self.tightest(t).max(0.0);
        if smaller <= 0.0 {
            return 0.0;
        }
        (1.0 - radius * trace + radius * radius * gauss).max(0.0)
    }
}

/// The least rotation that takes unit vector `a` to `b`.
fn turn(a: &Vector, b: &Vector) -> Rotation3<f64> {
    let axis = a.cross(b);
    let angle = axis.norm().atan2(a.dot(b));
    axis.try_normalize(1e-12)
        .map_or_else(Rotation3::identity, |axis| Rotation3::new(axis * angle))
}

/// Shape operator of one triangle by its corners' normals.
fn shape(mesh: &Mesh, t: usize, n: &Vector, normals: &[Vector; 3]) -> Matrix3<f64> {
    let p = mesh.corners(t);
    let Some(u) = (p[1] - p[0]).try_normalize(0.0) else {
        return Matrix3::zeros();
    };
    let v = n.cross(&u);
    // least squares for a, b, c with (a b; b c) e = Δn over the three sides
    let mut normal = Matrix3::zeros();
    let mut right = Vector::zeros();
    for k in 0..3 {
        let e = p[(k + 1) % 3] - p[k];
        let d = normals[(k + 1) % 3] - normals[k];
        let e = Vector2::new(e.dot(&u), e.dot(&v));
        let d = Vector2::new(d.dot(&u), d.dot(&v));
        for (row, value) in [
            (Vector::new(e.x, e.y, 0.0), d.x),
            (Vector::new(0.0, e.x, e.y), d.y),
        ] {
            normal += row * row.transpose();
            right += row * value;
        }
    }
    let Some(inverse) = normal.try_inverse() else {
        return Matrix3::zeros();
    };
    let s = inverse * right;
    // normals turn towards the way gone on a ridge: concave is the other way
    -(u * u.transpose() * s.x
        + (u * v.transpose() + v * u.transpose()) * s.y
        + v * v.transpose() * s.z)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::PI;

    fn form(mesh: &Mesh) -> Form {
        let topology = Topology::new(mesh);
        let creases = Creases::read(mesh, &topology, 30.0, 0.0);
        Form::read(mesh, &topology, &creases)
    }

    /// An open sheet over parameters u, v in 0..1, its triangles' normals along ∂u × ∂v.
    fn sheet(nu: usize, nv: usize, at: impl Fn(f64, f64) -> Point) -> Mesh {
        let mut mesh = Mesh::default();
        for j in 0..=nv {
            for i in 0..=nu {
                mesh.vertices
                    .push(at(i as f64 / nu as f64, j as f64 / nv as f64));
            }
        }
        let v = |i: usize, j: usize| (j * (nu + 1) + i) as u32;
        for j in 0..nv {
            for i in 0..nu {
                let [a, b, c, d] = [v(i, j), v(i + 1, j), v(i + 1, j + 1), v(i, j + 1)];
                mesh.triangles.extend([[a, b, c], [a, c, d]]);
            }
        }
        mesh
    }

    /// A trough of radius `r`, from -80° to 80°, open above, `n` facets, in one length of 20 mm.
    fn trough(r: f64, n: usize) -> Mesh {
        sheet(1, n, |u, v| {
            let a = (-80.0 + 160.0 * v) * PI / 180.0;
            Point::new(20.0 * u, r * a.sin(), -r * a.cos())
        })
    }

    #[test]
    fn a_trough_of_long_facets() {
        let mesh = trough(4.0, 16);
        let form = form(&mesh);
        for t in 0..mesh.triangles.len() {
            let along = Vector::x();
            let n = mesh.normal(t).unwrap();
            let w = n.cross(&along);
            // concave seen from above: + 1/4
            let k = form.curvature(t, &w);
            assert!((k - 0.25).abs() < 0.25 * 0.002, "facet {t}: {k}");
            let k = form.curvature(t, &along);
            assert!(k.abs() < 1e-4, "facet {t}: {k}");
        }
    }

    #[test]
    fn normals_at_a_rim_lean_with_the_surface() {
        let mesh = trough(4.0, 16);
        let form = form(&mesh);
        // on the arc at -80° the normal points to the axis
        let a = 80f64.to_radians();
        let expected = Vector::new(0.0, a.sin(), a.cos());
        let n = form.normals[0][0];
        assert!(n.angle(&expected).to_degrees() < 0.05, "{n:?}");
    }

    #[test]
    fn a_bowl_and_its_rim() {
        // a sphere of radius 5 from 22.5° to its equator, seen from inside, facets about as wide as tall
        let mut mesh = sheet(48, 12, |u, v| {
            let (a, b) = (2.0 * PI * (1.0 - u), 0.5 * PI * (0.25 + 0.75 * v));
            5.0 * Point::new(b.sin() * a.cos(), b.sin() * a.sin(), -b.cos())
        });
        // close the seam: the last column is the first
        for v in mesh.triangles.as_flattened_mut() {
            if *v % 49 == 48 {
                *v -= 48;
            }
        }
        let form = form(&mesh);
        for t in 0..mesh.triangles.len() {
            let c = nalgebra::center(&mesh.corners(t)[0], &mesh.corners(t)[2]);
            let n = form.normal(&mesh, t, &c);
            let w = n.cross(&Vector::z()).normalize();
            for d in [w, n.cross(&w)] {
                let k = form.curvature(t, &d);
                assert!((k - 0.2).abs() < 0.2 * 0.01, "facet {t}: {k}");
            }
            // towards the centre: over a facet's middle to a small part of its 3.75°/7.5° turns
            assert!(n.angle(&-c.coords).to_degrees() < 0.3, "facet {t}");
            // (1 − R/5)²
            assert!((form.offset_area(t, 2.0) - 0.36).abs() < 0.01);
        }
    }

    #[test]
    fn a_fillet_runs_out_into_its_floor() {
        // floor 20 mm wide, then a quarter of radius 3 up
        let n = 8;
        let mesh = sheet(1, n + 1, |u, v| {
            let k = (v * (n + 1) as f64).round() as usize;
            let x = 15.0 * u;
            if k == 0 {
                return Point::new(x, -20.0, 0.0);
            }
            let a = 0.5 * PI * (k - 1) as f64 / n as f64;
            Point::new(x, 3.0 * a.sin(), 3.0 - 3.0 * a.cos())
        });
        let form = form(&mesh);
        for t in 0..mesh.triangles.len() {
            let w = mesh.normal(t).unwrap().cross(&Vector::x());
            let k = form.curvature(t, &w);
            let expected = if t < 2 { 0.0 } else { 1.0 / 3.0 };
            assert!((k - expected).abs() < 0.005, "facet {t}: {k}");
        }
    }
}
