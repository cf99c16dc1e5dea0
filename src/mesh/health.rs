//! How sound a body's mesh is.

use super::{Mesh, Point, Topology};
use std::collections::HashMap;

/// Most places listed for a defect.
const PLACES: usize = 8;

/// How sound a body's mesh is, after what could be mended was mended. Places are mm, in the model's coordinates.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Health {
    /// Triangles.
    pub triangles: usize,
    /// Distinct corners.
    pub vertices: usize,
    /// Every edge has its other side.
    pub closed: bool,
    /// Edges with a triangle on one side only.
    pub open_edges: usize,
    /// Edges, each once, whose triangles cannot all be paired by shared solid.
    pub nonmanifold_edges: usize,
    /// Triangles without area that were dropped.
    pub degenerate: usize,
    /// Repeated triangles that were dropped.
    pub duplicated: usize,
    /// Triangles that were wound against their neighbours, and turned.
    pub flipped: usize,
    /// The body was given inside out, and turned around.
    pub inside_out: bool,
    /// The middle of an open edge of each hole, of the first eight holes.
    pub open_at: Vec<Point>,
    /// The middles of nonmanifold edges, of the first eight.
    pub nonmanifold_at: Vec<Point>,
    /// A corner of each triangle that was turned, of the first eight.
    pub flipped_at: Vec<Point>,
}

impl Health {
    /// What a mesh and its topology tell; the rest is zero.
    pub(super) fn of(mesh: &Mesh, topology: &Topology) -> Health {
        let middle = |e: u32| {
            let [a, b] = topology.edges[e as usize]
                .vertices
                .map(|v| mesh.vertices[v as usize]);
            nalgebra::center(&a, &b)
        };
        let mut nonmanifold: Vec<([u32; 2], u32)> = topology
            .nonmanifold
            .iter()
            .map(|&e| {
                let [a, b] = topology.edges[e as usize].vertices;
                ([a.min(b), a.max(b)], e)
            })
            .collect();
        nonmanifold.dedup_by_key(|(ends, _)| *ends);
        let open: Vec<u32> = topology.open().collect();
        Health {
            triangles: mesh.triangles.len(),
            vertices: mesh.vertices.len(),
            closed: open.is_empty() && nonmanifold.is_empty(),
            open_edges: open.len(),
            nonmanifold_edges: nonmanifold.len(),
            open_at: one_a_hole(topology, &open)
                .into_iter()
                .map(middle)
                .collect(),
            nonmanifold_at: nonmanifold
                .iter()
                .take(PLACES)
                .map(|&(_, e)| middle(e))
                .collect(),
            ..Health::default()
        }
    }

    /// Whether nothing had to be mended and nothing is left to mend.
    pub fn sound(&self) -> bool {
        self.closed
            && !self.inside_out
            && self.degenerate == 0
            && self.duplicated == 0
            && self.flipped == 0
    }

    pub(super) fn note_flipped(&mut self, at: Point) {
        self.flipped += 1;
        if self.flipped_at.len() < PLACES {
            self.flipped_at.push(at);
        }
    }
}

/// The first edge of each hole, of the first few holes.
fn one_a_hole(topology: &Topology, open: &[u32]) -> Vec<u32> {
    // around a hole the end of one open edge is the start of the next
    let ends = |e: u32| topology.edges[e as usize].vertices;
    let mut from: HashMap<u32, Vec<u32>> = HashMap::new();
    for &e in open {
        for v in ends(e) {
            from.entry(v).or_default().push(e);
        }
    }
    let mut holes = Vec::new();
    let mut seen = vec![false; open.len()];
    let number = |e: u32| open.partition_point(|&o| o < e);
    for &first in open {
        if holes.len() == PLACES {
            break;
        }
        if seen[number(first)] {
            continue;
        }
        holes.push(first);
        let mut ahead = vec![first];
        while let Some(e) = ahead.pop() {
            if !std::mem::replace(&mut seen[number(e)], true) {
                ahead.extend(ends(e).iter().flat_map(|v| from.get(v)).flatten());
            }
        }
    }
    holes
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::testing::ball;

    #[test]
    fn each_hole_has_one_place() {
        let mut mesh = ball(5.0, 10);
        let gone = [0, 30, 31, 200];
        let holes: Vec<Point> = gone
            .map(|t| {
                let [a, b, c] = mesh.corners(t);
                nalgebra::center(&nalgebra::center(&a, &b), &c)
            })
            .to_vec();
        for t in gone.into_iter().rev() {
            mesh.triangles.remove(t);
        }
        let health = Health::of(&mesh, &Topology::new(&mesh));
        // 30 and 31 are neighbours or share a corner: one hole
        assert_eq!(health.open_at.len(), 3);
        assert!(!health.closed && !health.sound());
        // largest side of a triangle: pi * 5 / 10 along, and as much across, times root 2
        for place in &health.open_at {
            assert!(holes.iter().any(|hole| (hole - place).norm() < 2.3));
        }
    }
}
