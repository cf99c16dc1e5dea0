//! Flat patches: triangles joined across flat edges.

use super::{Mesh, Topology, Vector};
use rayon::prelude::*;

/// The maximal flat patches of a mesh, by first triangle; in a curved surface most are one triangle.
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
    /// Sum of d dᵀ |e| over its border edges e with direction d, its border's length by direction: the matrix' xx, xy, xz, yy, yz, zz.
    border: [f64; 6],
}

impl Flats {
    /// Joins the triangles of `mesh` across the edges for which `flat_edge` holds.
    pub(super) fn join(mesh: &Mesh, topology: &Topology, flat_edge: &[bool]) -> Flats {
        const NONE: u32 = u32::MAX;
        let count = mesh.triangles.len();
        let mut flats = Flats {
            of: vec![NONE; count],
            ..Flats::default()
        };
        // patch `p` has the triangles `members[firsts[p]..firsts[p + 1]]`
        let (mut members, mut firsts) = (Vec::with_capacity(count), Vec::new());
        let mut stack = Vec::new();
        for start in 0..count {
            if flats.of[start] != NONE {
                continue;
            }
            let number = firsts.len() as u32;
            firsts.push(members.len());
            flats.starts.push(flats.edges.len() as u32);
            flats.of[start] = number;
            stack.push(start as u32);
            while let Some(t) = stack.pop() {
                members.push(t);
                for (k, &e) in topology.sides[t as usize].iter().enumerate() {
                    if !flat_edge[e as usize] {
                        flats.edges.push(e);
                    } else if let Some(n) = topology.across(t, k)
                        && flats.of[n as usize] == NONE
                    {
                        flats.of[n as usize] = number;
                        stack.push(n);
                    }
                }
            }
        }
        firsts.push(members.len());
        flats.starts.push(flats.edges.len() as u32);
        let patch = |p: usize| {
            let members = &members[firsts[p]..firsts[p + 1]];
            Patch {
                normal: mesh.normal(members[0] as usize).unwrap_or_default(),
                area: members.iter().map(|&t| mesh.area(t as usize)).sum(),
                border: border(mesh, topology, flats.edges(p as u32)),
            }
        };
        let patches = (0..firsts.len() - 1)
            .into_par_iter()
            .with_min_len(1024)
            .map(patch)
            .collect();
        flats.patches = patches;
        flats
    }

    /// Number of patches.
    pub(super) fn len(&self) -> usize {
        self.patches.len()
    }

    /// Unit normal of patch `p`: that of its first triangle.
    pub(super) fn normal(&self, p: u32) -> &Vector {
        &self.patches[p as usize].normal
    }

    /// Border edges of patch `p`.
    pub(super) fn edges(&self, p: u32) -> &[u32] {
        &self.edges[self.starts[p as usize] as usize..self.starts[p as usize + 1] as usize]
    }

    /// Mean width of patch `p` across direction `along` (unit), mm.
    pub(super) fn width(&self, p: u32, along: &Vector) -> f64 {
        let Patch { area, border, .. } = &self.patches[p as usize];
        let [xx, xy, xz, yy, yz, zz] = border;
        let length = 0.5
            * along.dot(&Vector::new(
                xx * along.x + xy * along.y + xz * along.z,
                xy * along.x + yy * along.y + yz * along.z,
                xz * along.x + yz * along.y + zz * along.z,
            ));
        if length > 0.0 {
            area / length
        } else {
            f64::INFINITY
        }
    }
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
