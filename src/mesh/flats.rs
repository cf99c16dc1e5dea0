//! Flat patches: triangles joined across flat edges.

use super::{Mesh, Topology, Vector};
use rayon::prelude::*;

/// Fewest triangles round a hole.
const FEWEST_ROUND: usize = 6;

/// A mesh with what its triangles are asked for again and again.
#[derive(Debug, Clone, Copy)]
pub(super) struct Facets<'a> {
    pub(super) mesh: &'a Mesh,
    pub(super) topology: &'a Topology,
    /// Unit normal of each triangle.
    pub(super) normals: &'a [Option<Vector>],
    /// Area of each triangle, mm².
    pub(super) areas: &'a [f64],
}

/// The flat patches of a mesh, by their largest triangles, the largest first; in a curved surface most are one triangle.
#[derive(Debug, Default)]
pub(super) struct Flats {
    /// The patch of each triangle.
    pub(super) of: Vec<u32>,
    patches: Vec<Patch>,
    /// Patch `p` has the border edges `edges[starts[p]..starts[p + 1]]`.
    starts: Vec<u32>,
    edges: Vec<u32>,
}

#[derive(Debug, Clone, Copy)]
struct Patch {
    normal: Vector,
    area: f64,
    /// Sum of d dᵀ |e| over its border edges e with direction d, its border's length by direction: the matrix' xx, xy, xz, yy,
    /// yz, zz.
    border: [f64; 6],
    /// Whether there is a hole in it: then a line across it lies in it twice.
    holed: bool,
}

impl Flats {
    /// Joins triangles across the edges for which `flat_edge` holds, as long as they do not turn off the first: a fine ring of
    /// facets round a gentle slope hardly turns from one to the next. `in_line` tells that of two triangles and the turn from one
    /// to the other, degrees.
    pub(super) fn join(
        facets: &Facets,
        flat_edge: &[bool],
        in_line: impl Fn(u32, u32, f64) -> bool,
    ) -> Flats {
        const NONE: u32 = u32::MAX;
        let (topology, count) = (facets.topology, facets.areas.len());
        let normal = |t: u32| facets.normals[t as usize].unwrap_or_default();
        let mut flats = Flats {
            of: vec![NONE; count],
            ..Flats::default()
        };
        // the largest first: their normals are the surest
        let mut order: Vec<u32> = (0..count as u32).collect();
        let area = |t: u32| facets.areas[t as usize];
        order.par_sort_unstable_by(|&a, &b| area(b).total_cmp(&area(a)).then(a.cmp(&b)));
        // patch `p` has the triangles `members[firsts[p]..firsts[p + 1]]`
        let (mut members, mut firsts) = (Vec::with_capacity(count), Vec::new());
        let mut stack = Vec::new();
        for start in order {
            if flats.of[start as usize] != NONE {
                continue;
            }
            let number = firsts.len() as u32;
            firsts.push(members.len());
            flats.starts.push(flats.edges.len() as u32);
            flats.of[start as usize] = number;
            stack.push(start);
            let first = normal(start);
            let joins = |n: u32| {
                let normal = normal(n);
                let off = normal.cross(&first).norm().atan2(normal.dot(&first));
                in_line(start, n, off.to_degrees())
            };
            while let Some(t) = stack.pop() {
                members.push(t);
                for (k, &e) in topology.sides[t as usize].iter().enumerate() {
                    let next = topology.across(t, k).filter(|_| flat_edge[e as usize]);
                    match next.map(|n| (n, flats.of[n as usize])) {
                        Some((_, of)) if of == number => {}
                        Some((n, NONE)) if joins(n) => {
                            flats.of[n as usize] = number;
                            stack.push(n);
                        }
                        _ => flats.edges.push(e),
                    }
                }
            }
        }
        firsts.push(members.len());
        flats.starts.push(flats.edges.len() as u32);
        flats.patches = flats.measured(facets, &members, &firsts);
        flats
    }

    /// The patches' normals, areas and borders; patch `p` has the triangles `members[firsts[p]..firsts[p + 1]]`.
    fn measured(&self, facets: &Facets, members: &[u32], firsts: &[usize]) -> Vec<Patch> {
        let normal = |t: u32| facets.normals[t as usize].unwrap_or_default();
        let patch = |p: usize| {
            let members = &members[firsts[p]..firsts[p + 1]];
            let border_edges = self.edges(p as u32);
            let sum = |sum: Vector, &t: &u32| sum + facets.mesh.area_normal(t as usize);
            let mean = members.iter().fold(Vector::zeros(), sum).try_normalize(0.0);
            Patch {
                normal: mean.unwrap_or_else(|| normal(members[0])),
                area: members.iter().map(|&t| facets.areas[t as usize]).sum(),
                border: border(facets.mesh, facets.topology, border_edges),
                holed: is_holed(facets.mesh, members, border_edges.len()),
            }
        };
        (0..firsts.len() - 1)
            .into_par_iter()
            .with_min_len(1024)
            .map(patch)
            .collect()
    }

    /// Number of patches.
    pub(super) fn len(&self) -> usize {
        self.patches.len()
    }

    /// Unit normal of patch `p`: the mean by area of its triangles'.
    pub(super) fn normal(&self, p: u32) -> &Vector {
        &self.patches[p as usize].normal
    }

    /// Border edges of patch `p`.
    pub(super) fn edges(&self, p: u32) -> &[u32] {
        &self.edges[self.starts[p as usize] as usize..self.starts[p as usize + 1] as usize]
    }

    /// Mean width of patch `p` across direction `along` (unit), mm.
    pub(super) fn width(&self, p: u32, along: &Vector) -> f64 {
        let Patch {
            area,
            border,
            holed,
            ..
        } = &self.patches[p as usize];
        let [xx, xy, xz, yy, yz, zz] = border;
        let length = 0.5
            * along.dot(&Vector::new(
                xx * along.x + xy * along.y + xz * along.z,
                xy * along.x + yy * along.y + yz * along.z,
                xz * along.x + yz * along.y + zz * along.z,
            ));
        if length > 0.0 {
            area / length * if *holed { 0.5 } else { 1.0 }
        } else {
            f64::INFINITY
        }
    }
}

/// Whether triangles joined in one flat patch with so many `border` edges leave a hole: by Euler's formula, corners less edges
/// plus triangles are 1 without one.
fn is_holed(mesh: &Mesh, members: &[u32], border: usize) -> bool {
    // without a hole there are more border edges, or corners inside
    if members.len() < border.max(FEWEST_ROUND) {
        return false;
    }
    let mut corners: Vec<u32> = members
        .iter()
        .flat_map(|&t| mesh.triangles[t as usize])
        .collect();
    corners.sort_unstable();
    corners.dedup();
    let edges = (3 * members.len() + border) / 2;
    corners.len() + members.len() <= edges
}

fn border(mesh: &Mesh, topology: &Topology, edges: &[u32]) -> [f64; 6] {
    let mut border = [0.0; 6];
    for &e in edges {
        let [p, q] = topology.edges[e as usize].vertices;
        let side = mesh.vertices[q as usize] - mesh.vertices[p as usize];
        let length = side.norm();
        if length > 0.0 {
            let (x, y, z) = (side.x, side.y, side.z);
            for (sum, product) in border
                .iter_mut()
                .zip([x * x, x * y, x * z, y * y, y * z, z * z])
            {
                *sum += product / length;
            }
        }
    }
    border
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::Point;

    /// Triangles of a flat ring of so many corners round and, with `filled`, of what lies within it.
    fn ring(count: u32, filled: bool) -> Mesh {
        let at = |r: f64, k: u32| {
            let (y, x) = (std::f64::consts::TAU * f64::from(k) / f64::from(count)).sin_cos();
            Point::new(r * x, r * y, 0.0)
        };
        let corners = (0..count).map(|k| at(1.0, k));
        let mut vertices: Vec<Point> = corners.chain((0..count).map(|k| at(2.0, k))).collect();
        vertices.push(Point::origin());
        let round = |k: u32| {
            let next = (k + 1) % count;
            [[k, count + k, count + next], [k, count + next, next]]
        };
        let mut triangles: Vec<[u32; 3]> = (0..count).flat_map(round).collect();
        if filled {
            triangles.extend((0..count).map(|k| [k, (k + 1) % count, 2 * count]));
        }
        Mesh {
            vertices,
            triangles,
        }
    }

    #[test]
    fn a_ring_has_a_hole_and_a_disc_has_none() {
        for count in [3, 4, 8, 100] {
            for filled in [false, true] {
                let mesh = ring(count, filled);
                let all: Vec<u32> = (0..mesh.triangles.len() as u32).collect();
                let border = if filled { count } else { 2 * count };
                assert_eq!(is_holed(&mesh, &all, border as usize), !filled, "{count}");
            }
        }
    }
}
