//! Candidate tool axes: the normals of the largest flat areas.

use crate::mesh::{Mesh, Vector};
use std::collections::BTreeMap;

/// A direction in which a large flat area of the body faces.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FlatFace {
    /// Unit normal, out of the material.
    pub normal: Vector,
    /// Area that faces this way to within a fifth of a degree, mm².
    pub area: f64,
}

/// Facets of one flat area agree to this angle, degrees: a scan's noise is averaged out, the least
/// draft one would mill on purpose (half a degree) is not.
const SAME_FLAT_DEG: f64 = 0.2;
/// Flat areas smaller than this share of the whole surface are no parting faces.
const LEAST_SHARE: f64 = 0.02;
/// No block has more sides than this worth trying.
const MOST_CANDIDATES: usize = 16;
/// An axis this close to one of the file's own axes is that axis: the rest is coordinate rounding.
const SNAP: f64 = 2e-6;

/// The directions in which the largest flat areas of `mesh` face, largest first.
///
/// Facet normals are gathered in bins of about 1.4°, each bin is narrowed to the facets that
/// agree with its largest one, and their area-weighted mean is taken. Directions opposite to these come last.
pub fn flat_faces(mesh: &Mesh) -> Vec<FlatFace> {
    let normals: Vec<(Vector, f64)> = (0..mesh.triangles.len())
        .filter_map(|t| {
            let n = mesh.area_normal(t);
            let len = n.norm();
            (len > 0.0).then(|| (n / len, 0.5 * len))
        })
        .collect();
    let total: f64 = normals.iter().map(|n| n.1).sum();
    let mut bins: BTreeMap<(i32, i32, i32), (f64, Vector, f64)> = BTreeMap::new();
    for &(n, area) in &normals {
        let bin = bins.entry(bin_of(&n)).or_insert((0.0, n, 0.0));
        bin.0 += area;
        if area > bin.2 {
            (bin.1, bin.2) = (n, area);
        }
    }
    let mut seeds: Vec<(f64, Vector)> = bins.into_values().map(|(area, n, _)| (area, n)).collect();
    seeds.sort_by(|a, b| b.0.total_cmp(&a.0));
    let cos_same = SAME_FLAT_DEG.to_radians().cos();
    let cos_near = (3.0 * SAME_FLAT_DEG).to_radians().cos();
    let mut faces: Vec<FlatFace> = Vec::new();
    for (_, seed) in seeds.into_iter().take(8 * MOST_CANDIDATES) {
        if faces.iter().any(|f| f.normal.dot(&seed) > cos_near) {
            continue;
        }
        let (sum, area) = normals
            .iter()
            .filter(|(n, _)| n.dot(&seed) > cos_same)
            .fold((Vector::zeros(), 0.0), |(s, a), (n, area)| {
                (s + n * *area, a + area)
            });
        if area < LEAST_SHARE * total {
            continue;
        }
        if let Some(normal) = sum.try_normalize(0.0) {
            faces.push(FlatFace {
                normal: snapped(normal),
                area,
            });
        }
    }
    faces.sort_by(|a, b| b.area.total_cmp(&a.area));
    faces.truncate(MOST_CANDIDATES);
    // a parting face too rough to count as flat lies over an underside that does
    for k in 0..faces.len() {
        let over = -faces[k].normal;
        if !faces.iter().any(|f| f.normal.dot(&over) > cos_near) {
            faces.push(FlatFace {
                normal: over,
                area: 0.0,
            });
        }
    }
    faces
}

/// Cell of a cubic lattice over the unit sphere, 0.024 (about 1.4°) wide, centred on the axes so
/// that the commonest directions do not fall on a border.
fn bin_of(n: &Vector) -> (i32, i32, i32) {
    let q = |c: f64| (c / 0.024).round() as i32;
    (q(n.x), q(n.y), q(n.z))
}

fn snapped(n: Vector) -> Vector {
    for k in 0..3 {
        if 1.0 - n[k].abs() < SNAP * SNAP || (n - Vector::ith(k, n[k].signum())).norm() < SNAP {
            return Vector::ith(k, n[k].signum());
        }
    }
    n
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::Point;
    use nalgebra::{Isometry3, Unit};

    /// A box without its topology: twelve triangles.
    fn block(size: [f64; 3]) -> Mesh {
        let p = |i: usize| {
            Point::new(
                if i & 1 > 0 { size[0] } else { 0.0 },
                if i & 2 > 0 { size[1] } else { 0.0 },
                if i & 4 > 0 { size[2] } else { 0.0 },
            )
        };
        let quads = [
            [0, 2, 3, 1],
            [4, 5, 7, 6],
            [0, 1, 5, 4],
            [2, 6, 7, 3],
            [0, 4, 6, 2],
            [1, 3, 7, 5],
        ];
        let triangles = quads
            .iter()
            .flat_map(|q| [[q[0], q[1], q[2]], [q[0], q[2], q[3]]])
            .collect();
        Mesh {
            vertices: (0..8).map(p).collect(),
            triangles,
        }
    }

    #[test]
    fn a_block_faces_six_ways_largest_first() {
        let faces = flat_faces(&block([30.0, 20.0, 10.0]));
        assert_eq!(faces.len(), 6);
        assert_eq!(faces[0].area, 600.0);
        assert_eq!(faces[0].normal.z.abs(), 1.0);
        assert_eq!(faces[5].area, 200.0);
    }

    #[test]
    fn a_block_turned_in_space_is_found_to_a_millionth() {
        let axis = Unit::new_normalize(Vector::new(1.0, 2.0, 3.0));
        let turn = Isometry3::rotation(axis.into_inner() * 37f64.to_radians());
        let faces = flat_faces(&block([30.0, 20.0, 10.0]).transformed(&turn));
        let up = turn * Vector::z();
        assert!(faces.iter().any(|f| (f.normal - up).norm() < 1e-9));
    }
}
