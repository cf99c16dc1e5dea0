//! Candidate tool axes: the normals of the largest flat areas.

use crate::mesh::{Mesh, Vector};
use rayon::prelude::*;

/// A direction in which a large flat area of the body faces.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FlatFace {
    /// Unit normal, out of the material.
    pub normal: Vector,
    /// Area that faces this way to within a fifth of a degree, mm²; 0 for a direction opposite to a flat area's.
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

/// Unit normal and area, mm², of each triangle of `mesh`; zero for one without area.
pub fn facets(mesh: &Mesh) -> Vec<(Vector, f64)> {
    (0..mesh.triangles.len())
        .into_par_iter()
        .with_min_len(1024)
        .map(|t| {
            let n = mesh.area_normal(t);
            let len = n.norm();
            if len > 0.0 {
                (n / len, 0.5 * len)
            } else {
                (Vector::zeros(), 0.0)
            }
        })
        .collect()
}

/// The directions in which the largest flat areas of a mesh with these [`facets`] face, largest first.
///
/// Facet normals are gathered in bins of about 1.4°, each bin is narrowed to the facets that
/// agree with its largest one, and their area-weighted mean is taken. Directions opposite to these come last.
pub fn flat_faces(facets: &[(Vector, f64)]) -> Vec<FlatFace> {
    let total: f64 = facets.iter().map(|n| n.1).sum();
    let bins = Bins::of(facets);
    let cos_same = SAME_FLAT_DEG.to_radians().cos();
    let cos_near = (3.0 * SAME_FLAT_DEG).to_radians().cos();
    let mut faces: Vec<FlatFace> = Vec::new();
    for seed in bins.seeds().into_iter().take(8 * MOST_CANDIDATES) {
        if faces.iter().any(|f| f.normal.dot(&seed) > cos_near) {
            continue;
        }
        let near = bins.near(&seed);
        // a share less, for the order of the sums
        if bins.area(&near) < (1.0 - 1e-9) * LEAST_SHARE * total {
            continue;
        }
        let members = bins.members(&near).into_iter().map(|k| facets[k as usize]);
        let (sum, area) = members
            .filter(|(n, _)| n.dot(&seed) > cos_same)
            .fold((Vector::zeros(), 0.0), |(s, a), (n, area)| {
                (s + n * area, a + area)
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

/// Normals by cell of a cubic lattice over the unit sphere, 0.024 (about 1.4°) wide, centred on the axes so
/// that the commonest directions do not fall on a border.
struct Bins {
    list: Vec<Bin>,
    /// Number of each normal's bin.
    of: Vec<u32>,
    /// Number of each cell's bin plus one.
    cells: Vec<u32>,
}

struct Bin {
    cell: [usize; 3],
    area: f64,
    /// Normal and area of its largest facet.
    largest: (Vector, f64),
}

/// Cells along an axis of the lattice: 41.67 of them to either side of the middle one's centre.
const SIDE: usize = 85;

impl Bins {
    fn of(normals: &[(Vector, f64)]) -> Bins {
        let places: Vec<u32> = normals
            .par_iter()
            .with_min_len(1024)
            .map(|(n, _)| cell_number(cell_of(n)) as u32)
            .collect();
        let mut bins = Bins {
            list: Vec::new(),
            of: places,
            cells: vec![0; SIDE * SIDE * SIDE],
        };
        for (of, &(n, area)) in bins.of.iter_mut().zip(normals) {
            let number = &mut bins.cells[*of as usize];
            if *number == 0 {
                bins.list.push(Bin {
                    cell: cell_of(&n),
                    area: 0.0,
                    largest: (n, 0.0),
                });
                *number = bins.list.len() as u32;
            }
            *of = *number - 1;
            let bin = &mut bins.list[*of as usize];
            bin.area += area;
            if area > bin.largest.1 {
                bin.largest = (n, area);
            }
        }
        bins
    }

    /// The largest facet's normal of each bin, the bin with most area first.
    fn seeds(&self) -> Vec<Vector> {
        let mut order: Vec<&Bin> = self.list.iter().collect();
        order.sort_by(|a, b| b.area.total_cmp(&a.area).then(a.cell.cmp(&b.cell)));
        order.into_iter().map(|bin| bin.largest.0).collect()
    }

    /// Bins of all normals within a fifth of a degree of `seed`.
    fn near(&self, seed: &Vector) -> Vec<u32> {
        let hair = 1.01 * SAME_FLAT_DEG.to_radians();
        let [lo, hi] = [-hair, hair].map(|d| cell_of(&seed.add_scalar(d)));
        let mut near = Vec::new();
        for x in lo[0]..=hi[0] {
            for y in lo[1]..=hi[1] {
                for z in lo[2]..=hi[2] {
                    let number = self.cells[cell_number([x, y, z])];
                    near.extend(number.checked_sub(1));
                }
            }
        }
        near
    }

    fn area(&self, bins: &[u32]) -> f64 {
        bins.iter().map(|&b| self.list[b as usize].area).sum()
    }

    /// The normals in `bins`, ascending.
    fn members(&self, bins: &[u32]) -> Vec<u32> {
        let all = self.of.par_iter().enumerate().with_min_len(1 << 14);
        all.filter(|(_, of)| bins.contains(of))
            .map(|(k, _)| k as u32)
            .collect()
    }
}

fn cell_of(n: &Vector) -> [usize; 3] {
    let along = |c: f64| ((c / 0.024).round() + (SIDE / 2) as f64).clamp(0.0, (SIDE - 1) as f64);
    [
        along(n.x) as usize,
        along(n.y) as usize,
        along(n.z) as usize,
    ]
}

fn cell_number([x, y, z]: [usize; 3]) -> usize {
    (x * SIDE + y) * SIDE + z
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
    use crate::mesh::testing::block;
    use nalgebra::{Isometry3, Unit};

    #[test]
    fn a_block_faces_six_ways_largest_first() {
        let faces = flat_faces(&facets(&block([30.0, 20.0, 10.0])));
        assert_eq!(faces.len(), 6);
        assert_eq!(faces[0].area, 600.0);
        assert_eq!(faces[0].normal.z.abs(), 1.0);
        assert_eq!(faces[5].area, 200.0);
    }

    #[test]
    fn a_block_turned_in_space_is_found_to_a_millionth() {
        let axis = Unit::new_normalize(Vector::new(1.0, 2.0, 3.0));
        let turn = Isometry3::rotation(axis.into_inner() * 37f64.to_radians());
        let faces = flat_faces(&facets(&block([30.0, 20.0, 10.0]).transformed(&turn)));
        let up = turn * Vector::z();
        assert!(faces.iter().any(|f| (f.normal - up).norm() < 1e-9));
    }
}
