//! Triangle meshes: reading, welding, health, bodies. Knows nothing of molds.

mod bodies;
mod corner;
mod crease;
mod error;
mod flats;
#[cfg(test)]
mod formats;
mod health;
mod mend;
mod model;
mod obj;
mod pairing;
mod ply;
mod polygon;
mod read;
mod shells;
mod stl_ascii;
mod stl_binary;
#[cfg(test)]
pub(crate) mod testing;
#[cfg(test)]
mod tests;
mod threemf;
mod topology;
mod weld;
mod winding;

pub use crease::Creases;
pub(crate) use crease::{ROUGH_STEP, noise_deg};
pub use error::{Bytes, Fault, ReadError};
pub use health::Health;
pub use model::{Body, Dropped, Model};
pub use read::{Limits, MOST_TRIANGLES, from_bytes, read, states_unit};
pub(crate) use shells::Sets;
pub use topology::{Edge, Topology};
pub(crate) use weld::cells_about;

use nalgebra::{Isometry3, Point3, Vector3};
use rayon::prelude::*;

/// A place in space, millimetres.
pub type Point = Point3<f64>;
/// A difference of places, millimetres, or a direction.
pub type Vector = Vector3<f64>;

/// Smallest and largest coordinates of a triangle's corners.
#[inline]
pub(crate) fn box_of([a, b, c]: [Point; 3]) -> (Point, Point) {
    (a.inf(&b).inf(&c), a.sup(&b).sup(&c))
}

/// An indexed triangle mesh, coordinates in millimetres, corners
/// counter-clockwise seen from outside the material.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Mesh {
    /// Corner places.
    pub vertices: Vec<Point>,
    /// Three indices into `vertices` per triangle.
    pub triangles: Vec<[u32; 3]>,
}

impl Mesh {
    /// The three corners of triangle `t`.
    ///
    /// # Panics
    /// If `t` or one of its corners is out of range.
    #[inline]
    pub fn corners(&self, t: usize) -> [Point; 3] {
        // spelled out: an array's `map` is not inlined, and costs more than what is done with the corners
        let [a, b, c] = self.triangles[t];
        let at = |v: u32| self.vertices[v as usize];
        [at(a), at(b), at(c)]
    }

    /// Twice the area of triangle `t` times its unit normal, mm²; zero for a degenerate triangle.
    ///
    /// # Panics
    /// As [`Mesh::corners`]; [`Mesh::normal`] and [`Mesh::area`] do too.
    #[inline]
    pub fn area_normal(&self, t: usize) -> Vector {
        let [a, b, c] = self.corners(t);
        (b - a).cross(&(c - a))
    }

    /// Unit normal of triangle `t`, pointing out of the material; `None` when it has no area.
    #[inline]
    pub fn normal(&self, t: usize) -> Option<Vector> {
        self.area_normal(t).try_normalize(f64::MIN_POSITIVE)
    }

    /// Area of triangle `t`, mm².
    #[inline]
    pub fn area(&self, t: usize) -> f64 {
        0.5 * self.area_normal(t).norm()
    }

    /// Smallest and largest coordinates of the corners in use, mm; `None` without triangles.
    ///
    /// # Panics
    /// If a corner is out of range.
    pub fn bounds(&self) -> Option<(Point, Point)> {
        let first = self.vertices[*self.triangles.first()?.first()? as usize];
        let wider = |(lo, hi): (Point, Point), t: &[u32; 3]| {
            t.iter().fold((lo, hi), |(lo, hi), &v| {
                let p = &self.vertices[v as usize];
                (lo.inf(p), hi.sup(p))
            })
        };
        let all = self.triangles.par_iter().with_min_len(1 << 14);
        let parts = all.fold(|| (first, first), wider);
        Some(parts.reduce(|| (first, first), |a, b| (a.0.inf(&b.0), a.1.sup(&b.1))))
    }

    /// Signed volume by the divergence theorem, mm³; negative when the mesh is inside out. Only of a closed mesh a volume.
    ///
    /// Summed about the first corner, so that a mesh far from the origin keeps its digits.
    ///
    /// # Panics
    /// If a corner is out of range.
    pub fn signed_volume(&self) -> f64 {
        let Some(origin) = self.vertices.first() else {
            return 0.0;
        };
        let of = |t: usize| {
            let [a, b, c] = self.corners(t).map(|p| p - origin);
            a.dot(&b.cross(&c))
        };
        (0..self.triangles.len()).map(of).sum::<f64>() / 6.0
    }

    /// The same triangles, the corners moved by `by`.
    pub fn transformed(&self, by: &Isometry3<f64>) -> Mesh {
        Mesh {
            vertices: self.vertices.par_iter().map(|p| by * p).collect(),
            triangles: self.triangles.clone(),
        }
    }
}
