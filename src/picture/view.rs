//! The mesh that a page shows: reduced and refined for the eye only, figures never.

use crate::mesh::{Mesh, Point};
use crate::report::HollowKind;
use crate::vet::{HalfEvidence, Valued};
use rayon::prelude::*;
use std::collections::{BTreeMap, HashMap, HashSet};

/// A mesh for the eye.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ViewMesh {
    /// Corner places, tool frame, mm.
    pub vertices: Vec<[f32; 3]>,
    /// Three indices into `vertices` per triangle.
    pub triangles: Vec<[u32; 3]>,
    /// For each triangle the one of the half's mesh that it shows.
    pub parents: Vec<u32>,
    /// Sides of split triangles are no longer than this, mm.
    pub grain: f32,
}

/// Sides of cavity triangles are no longer than this share of the cavity, so that a value can change across a floor; more
/// where there would be too many.
const FINEST: f64 = 1.0 / 72.0;
/// Samples of one triangle that are looked through one by one.
const FEW: usize = 64;

impl ViewMesh {
    /// The half for the eye, with at most `most` triangles: corners that lie within one cell drawn together if there are too
    /// many, with cells as large as it takes, then large triangles of the cavity split along their sides.
    pub fn of(half: &HalfEvidence, most: usize) -> ViewMesh {
        let mesh = &half.mesh;
        let cavity = |parent: u32| {
            half.facets[parent as usize].is_some_and(|f| f.hollow == HollowKind::Cavity)
        };
        let size = cavity_size(mesh, &cavity);
        let mut start = ViewMesh {
            vertices: mesh.vertices.iter().map(single).collect(),
            triangles: mesh.triangles.clone(),
            parents: (0..mesh.triangles.len() as u32).collect(),
            grain: (FINEST * size) as f32,
        };
        if start.triangles.len() > most {
            start = start.reduced(mesh, most - most / 3);
        }
        let mut share = FINEST;
        while share < 1.0 {
            let view = start.split(share * size, &cavity);
            if view.triangles.len() <= most {
                return view;
            }
            share *= 1.5;
        }
        start
    }

    /// At most `most` triangles.
    fn reduced(&self, mesh: &Mesh, most: usize) -> ViewMesh {
        let area: f64 = (0..mesh.triangles.len()).map(|t| mesh.area(t)).sum();
        // two triangles a cell, were all of it level
        let mut cell = (1.3 * area / most as f64).sqrt();
        loop {
            let fewer = self.clustered(cell);
            if fewer.triangles.len() <= most || cell * cell > area {
                return fewer;
            }
            cell *= 1.2;
        }
    }

    /// Corners within one cubic cell become one, at the first of them; triangles that lose their area go.
    fn clustered(&self, cell: f64) -> ViewMesh {
        let key = |p: &[f32; 3]| p.map(|c| (f64::from(c) / cell).floor() as i32);
        // numbers go by the first corner of a cell, never by the map's own order
        let mut of_cell = HashMap::new();
        let mut vertices = Vec::new();
        let number: Vec<u32> = self
            .vertices
            .iter()
            .map(|p| {
                *of_cell.entry(key(p)).or_insert_with(|| {
                    vertices.push(*p);
                    vertices.len() as u32 - 1
                })
            })
            .collect();
        let mut seen = HashSet::new();
        let mut fewer = ViewMesh {
            vertices,
            grain: self.grain.max(cell as f32),
            ..ViewMesh::default()
        };
        for (t, parent) in self.triangles.iter().zip(&self.parents) {
            let t = t.map(|v| number[v as usize]);
            let first = (0..3).min_by_key(|&k| t[k]).unwrap_or(0);
            let turned = [t[first], t[(first + 1) % 3], t[(first + 2) % 3]];
            let flat = t[0] == t[1] || t[1] == t[2] || t[2] == t[0];
            if !flat && seen.insert(turned) {
                fewer.triangles.push(t);
                fewer.parents.push(*parent);
            }
        }
        fewer
    }

    /// Halves the sides of the cavity's triangles that are longer than `longest`; a side is split for both its triangles alike, so
    /// none comes apart.
    fn split(&self, longest: f64, cavity: &impl Fn(u32) -> bool) -> ViewMesh {
        let mut view = ViewMesh {
            grain: (longest as f32).max(self.grain),
            ..self.clone()
        };
        let too_long = |a: &[f32; 3], b: &[f32; 3]| {
            let d = [0, 1, 2].map(|k| f64::from(a[k] - b[k]));
            d[0] * d[0] + d[1] * d[1] + d[2] * d[2] > longest * longest
        };
        // halving six times makes a sixty-fourth; more is not for the eye
        for _ in 0..6 {
            let mut middles: BTreeMap<[u32; 2], u32> = BTreeMap::new();
            for (t, parent) in view.triangles.iter().zip(&view.parents) {
                if !cavity(*parent) {
                    continue;
                }
                for k in 0..3 {
                    let side = sorted(t[k], t[(k + 1) % 3]);
                    let ends = side.map(|v| view.vertices[v as usize]);
                    if too_long(&ends[0], &ends[1]) && !middles.contains_key(&side) {
                        let middle = [0, 1, 2].map(|k| 0.5 * (ends[0][k] + ends[1][k]));
                        middles.insert(side, view.vertices.len() as u32);
                        view.vertices.push(middle);
                    }
                }
            }
            if middles.is_empty() {
                break;
            }
            let mut triangles = Vec::new();
            let mut parents = Vec::new();
            for (t, parent) in view.triangles.iter().zip(&view.parents) {
                let m = [0, 1, 2].map(|k| middles.get(&sorted(t[k], t[(k + 1) % 3])).copied());
                let parts = parts(*t, m);
                parents.extend(parts.iter().map(|_| *parent));
                triangles.extend(parts);
            }
            (view.triangles, view.parents) = (triangles, parents);
        }
        view
    }

    /// Middle of triangle `t`, tool frame, mm.
    pub fn middle(&self, t: usize) -> [f32; 3] {
        let p = self.triangles[t].map(|v| self.vertices[v as usize]);
        [0, 1, 2].map(|k| (p[0][k] + p[1][k] + p[2][k]) / 3.0)
    }

    /// For each triangle the value of the samples on the same triangle of the half: the largest of those within a
    /// side's length of its middle, or the nearest; `NaN` where its parent has none.
    pub fn values(&self, places: &[Valued]) -> Vec<f32> {
        let mut by_parent: Vec<(u32, u32)> = places
            .iter()
            .enumerate()
            .map(|(k, p)| (p.triangle, k as u32))
            .collect();
        by_parent.sort_unstable();
        let of_parent = |parent: u32| {
            let from = by_parent.partition_point(|p| p.0 < parent);
            let to = by_parent.partition_point(|p| p.0 <= parent);
            &by_parent[from..to]
        };
        let cell = self.grain.max(1e-6);
        let key = |p: &[f32; 3]| p.map(|c| (c / cell).floor() as i32);
        let mut by_cell: Vec<([i32; 3], u32)> = (0..places.len())
            .map(|k| (key(&places[k].at), k as u32))
            .collect();
        by_cell.sort_unstable();
        let around = |middle: [f32; 3]| {
            let [x, y, z] = key(&middle);
            let by_cell = &by_cell;
            (x - 1..=x + 1).flat_map(move |x| {
                (y - 1..=y + 1).flat_map(move |y| {
                    let from = by_cell.partition_point(|c| c.0 < [x, y, z - 1]);
                    let row = by_cell[from..].iter();
                    row.take_while(move |c| c.0 <= [x, y, z + 1]).map(|c| c.1)
                })
            })
        };
        (0..self.triangles.len())
            .into_par_iter()
            .map(|t| {
                let own = of_parent(self.parents[t]);
                let all = own.iter().map(|p| &places[p.1 as usize]);
                if own.len() <= FEW {
                    return self.value_of(t, all).unwrap_or(f32::NAN);
                }
                let near = around(self.middle(t)).map(|k| &places[k as usize]);
                let near = near.filter(|p| p.triangle == self.parents[t]);
                // samples lie closer than a side is long: where none is near, that part lies above the parting level
                self.value_of(t, near).unwrap_or(f32::NAN)
            })
            .collect()
    }

    fn value_of<'a>(&self, t: usize, samples: impl Iterator<Item = &'a Valued>) -> Option<f32> {
        let middle = self.middle(t);
        let away = |p: &[f32; 3]| {
            let d = [0, 1, 2].map(|k| p[k] - middle[k]);
            d[0] * d[0] + d[1] * d[1] + d[2] * d[2]
        };
        let reach = self.triangles[t]
            .map(|v| away(&self.vertices[v as usize]))
            .into_iter()
            .fold(0.0, f32::max);
        let (mut within, mut nearest) = (None, (f32::INFINITY, None));
        for s in samples {
            let d = away(&s.at);
            if 4.0 * d <= reach {
                // NaN gives way
                within = Some(within.unwrap_or(f32::NAN).max(s.value));
            }
            if d < nearest.0 {
                nearest = (d, Some(s.value));
            }
        }
        within.or(nearest.1)
    }
}

fn cavity_size(mesh: &Mesh, cavity: &impl Fn(u32) -> bool) -> f64 {
    let mut corners = (0..mesh.triangles.len())
        .filter(|&t| cavity(t as u32))
        .flat_map(|t| mesh.corners(t));
    let Some(first) = corners.next() else {
        return f64::INFINITY;
    };
    let (lo, hi) = corners.fold((first, first), |(l, h), p| (l.inf(&p), h.sup(&p)));
    (hi - lo).max()
}

/// A triangle cut at the middles of some of its sides (side k runs from corner k).
fn parts(t: [u32; 3], m: [Option<u32>; 3]) -> Vec<[u32; 3]> {
    let count = m.iter().flatten().count();
    let turn = |k: usize| {
        (
            [t[k], t[(k + 1) % 3], t[(k + 2) % 3]],
            [m[k], m[(k + 1) % 3], m[(k + 2) % 3]],
        )
    };
    match count {
        1 => {
            let ([a, b, c], m) = turn((0..3).find(|&k| m[k].is_some()).unwrap_or(0));
            let Some(p) = m[0] else { return vec![t] };
            vec![[a, p, c], [p, b, c]]
        }
        2 => {
            let ([a, b, c], m) = turn(((0..3).find(|&k| m[k].is_none()).unwrap_or(0) + 1) % 3);
            let (Some(p), Some(q)) = (m[0], m[1]) else {
                return vec![t];
            };
            vec![[p, b, q], [a, p, q], [a, q, c]]
        }
        3 => {
            let ([a, b, c], m) = turn(0);
            let (Some(p), Some(q), Some(r)) = (m[0], m[1], m[2]) else {
                return vec![t];
            };
            vec![[a, p, r], [p, b, q], [r, q, c], [p, q, r]]
        }
        _ => vec![t],
    }
}

fn sorted(a: u32, b: u32) -> [u32; 2] {
    [a.min(b), a.max(b)]
}

fn single(p: &Point) -> [f32; 3] {
    [p.x as f32, p.y as f32, p.z as f32]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::field::{Grid, HeightMap};
    use crate::mesh::Vector;
    use crate::setup::Frame;
    use crate::vet::FacetEvidence;

    fn floor(n: usize) -> HalfEvidence {
        let p = |i: usize, j: usize| Point::new(i as f64, j as f64, 0.0);
        let vertices = (0..=n)
            .flat_map(|j| (0..=n).map(move |i| p(i, j)))
            .collect();
        let at = |i: usize, j: usize| (j * (n + 1) + i) as u32;
        let cell = |i, j| {
            [
                [at(i, j), at(i + 1, j), at(i + 1, j + 1)],
                [at(i, j), at(i + 1, j + 1), at(i, j + 1)],
            ]
        };
        let triangles: Vec<[u32; 3]> = (0..n)
            .flat_map(|j| (0..n).flat_map(move |i| cell(i, j)))
            .collect();
        let facet = FacetEvidence {
            hollow: HollowKind::Cavity,
            draft_deg: 90.0,
            hidden: false,
        };
        let grid = Grid::covering([0.0, 0.0], [1.0, 1.0], 0.0, 1.0);
        HalfEvidence {
            frame: Frame::new(Vector::z(), 0.0),
            facets: vec![Some(facet); triangles.len()],
            mesh: Mesh {
                vertices,
                triangles,
            },
            rounding: 1e-6,
            top: HeightMap::empty(grid),
            hollows: vec![None],
            cutters: Vec::new(),
            radii: Vec::new(),
            walls: Vec::new(),
            cusps: Vec::new(),
        }
    }

    fn area(view: &ViewMesh) -> f64 {
        let of = |t: &[u32; 3]| {
            let p = t.map(|v| view.vertices[v as usize].map(f64::from));
            let (a, b) = (
                [0, 1].map(|k| p[1][k] - p[0][k]),
                [0, 1].map(|k| p[2][k] - p[0][k]),
            );
            0.5 * (a[0] * b[1] - a[1] * b[0])
        };
        view.triangles.iter().map(of).sum()
    }

    #[test]
    fn splitting_keeps_the_area_and_shortens_the_sides() {
        let view = ViewMesh::of(&floor(1), 100_000);
        assert!((area(&view) - 1.0).abs() < 1e-6);
        // sides of 1 and √2 halved until no longer than 1/72, at most six times: 1/64
        for t in &view.triangles {
            for k in 0..3 {
                let [a, b] = [t[k], t[(k + 1) % 3]].map(|v| view.vertices[v as usize]);
                assert!((a[0] - b[0]).hypot(a[1] - b[1]) < 1.5 / 64.0);
            }
        }
        assert_eq!(view, ViewMesh::of(&floor(1), 100_000));
    }

    #[test]
    fn clustering_holds_the_number_and_keeps_flat_ground_flat() {
        let view = ViewMesh::of(&floor(80), 3000);
        assert!(view.triangles.len() <= 3000 && view.triangles.len() > 1000);
        assert!(view.vertices.iter().all(|v| v[2] == 0.0));
        assert!((area(&view) / 6400.0 - 1.0).abs() < 0.1, "{}", area(&view));
    }

    #[test]
    fn a_triangle_shows_its_parents_samples() {
        let half = floor(1);
        let view = ViewMesh::of(&half, 100_000);
        let place = |x: f32, triangle, value| Valued {
            at: [x, 0.1, 0.0],
            triangle,
            value,
        };
        let values = view.values(&[place(0.9, 0, 1.0), place(0.2, 0, 3.0)]);
        assert_eq!(values.len(), view.triangles.len());
        for (t, value) in values.into_iter().enumerate() {
            let x = view.middle(t)[0];
            match view.parents[t] {
                0 if x > 0.8 => assert_eq!(value, 1.0),
                0 if x < 0.3 => assert_eq!(value, 3.0),
                1 => assert!(value.is_nan()),
                _ => {}
            }
        }
    }
}
