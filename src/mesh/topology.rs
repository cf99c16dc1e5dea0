//! Which triangle meets which across which edge.

use super::Mesh;
use super::pairing::{self, Leaf};

/// An edge where the surface goes on from one triangle to another, or ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Edge {
    /// Its two corners (indices of [`Mesh::vertices`]), in the direction in which the first triangle runs along it.
    pub vertices: [u32; 2],
    /// The triangle that runs along it forwards, and the one on its other side
    /// (`None`: the surface is open here).
    pub triangles: (u32, Option<u32>),
}

/// The edges of a mesh. Where more than two triangles meet, they are paired around the
/// edge by shared solid, so each [`Edge`] still has at most two.
#[derive(Debug, Clone, Default)]
pub struct Topology {
    /// All edges, in the order of their smaller corner, then of their larger one.
    pub edges: Vec<Edge>,
    /// For each triangle the edges (indices of `edges`) of its sides: side `k` runs from corner `k` to the next, 2 to 0.
    pub sides: Vec<[u32; 3]>,
    /// The edges with one triangle where others meet that could not be paired with it; ascending.
    pub nonmanifold: Vec<u32>,
}

/// The topology of a mesh and what is odd about its windings.
#[derive(Default)]
pub(super) struct Built {
    pub(super) topology: Topology,
    /// Pairs of triangles that alone share an edge and run along it the same way.
    pub(super) twisted: Vec<[u32; 2]>,
    /// Edges, ascending, at which more than two triangles meet.
    pub(super) crowded: Vec<u32>,
    /// Triangles at twisted and crowded edges, with repetitions.
    pub(super) irregular: Vec<u32>,
}

impl Topology {
    /// Finds the edges of `mesh`. Two triangles are neighbours only if they run along their edge in opposite directions.
    ///
    /// # Panics
    /// If a corner is out of range, or there are more than 2³¹ / 3 triangles.
    pub fn new(mesh: &Mesh) -> Topology {
        build(mesh).topology
    }

    /// The triangle across side `k` of triangle `t`, if the surface goes on there.
    ///
    /// # Panics
    /// If `t` or `k` is out of range.
    pub fn across(&self, t: u32, k: usize) -> Option<u32> {
        let (a, b) = self.edges[self.sides[t as usize][k] as usize].triangles;
        if a == t { b } else { Some(a) }
    }

    /// The edges, ascending, at which the surface simply ends: one triangle and no other.
    pub fn open(&self) -> impl Iterator<Item = u32> + '_ {
        let mut nonmanifold = self.nonmanifold.iter().copied().peekable();
        self.unpaired()
            .filter(move |&e| nonmanifold.next_if_eq(&e).is_none())
    }

    /// The edges, ascending, with one triangle only, whether open or nonmanifold.
    pub(super) fn unpaired(&self) -> impl Iterator<Item = u32> + '_ {
        let edges = self.edges.iter().enumerate();
        edges.filter_map(|(e, edge)| edge.triangles.1.is_none().then_some(e as u32))
    }
}

/// One side of a triangle, as sorted around its smaller corner: the larger corner in the upper half,
/// then the side's number (three times the triangle plus which), and in the lowest bit whether it runs
/// from the larger corner to the smaller.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Spoke(u64);

impl Spoke {
    fn new(side: usize, from: u32, to: u32) -> Spoke {
        Spoke(u64::from(from.max(to)) << 32 | (side as u64) << 1 | u64::from(from > to))
    }

    fn larger(self) -> u32 {
        (self.0 >> 32) as u32
    }

    fn side(self) -> u32 {
        self.0 as u32 >> 1
    }

    fn triangle(self) -> u32 {
        self.side() / 3
    }

    fn backwards(self) -> bool {
        self.0 & 1 == 1
    }
}

/// Finds the edges of `mesh`.
pub(super) fn build(mesh: &Mesh) -> Built {
    let (start, mut spokes) = spokes(mesh);
    let mut built = Built::default();
    built.topology.edges.reserve_exact(spokes.len() / 2 + 8);
    built.topology.sides = vec![[0; 3]; mesh.triangles.len()];
    for smaller in 0..mesh.vertices.len() {
        let around = &mut spokes[start[smaller] as usize..start[smaller + 1] as usize];
        around.sort_unstable();
        for group in around.chunk_by(|a, b| a.larger() == b.larger()) {
            match *group {
                [a, b] if a.backwards() != b.backwards() => {
                    built.add(smaller as u32, a, Some(b));
                }
                [a] => built.add(smaller as u32, a, None),
                _ => built.add_crowd(mesh, smaller as u32, group),
            }
        }
    }
    built
}

/// All sides by their smaller corner: those of corner `v` are `start[v]..start[v + 1]`.
fn spokes(mesh: &Mesh) -> (Vec<u32>, Vec<Spoke>) {
    let sides = |[a, b, c]: [u32; 3]| [[a, b], [b, c], [c, a]];
    // counting sort; `start` is shifted by two first, by one while filling
    let mut start = vec![0u32; mesh.vertices.len() + 2];
    for &t in &mesh.triangles {
        for [a, b] in sides(t) {
            start[a.min(b) as usize + 2] += 1;
        }
    }
    for v in 2..start.len() {
        start[v] += start[v - 1];
    }
    let mut spokes = vec![Spoke(0); 3 * mesh.triangles.len()];
    for (t, &corners) in mesh.triangles.iter().enumerate() {
        for (k, [a, b]) in sides(corners).into_iter().enumerate() {
            let free = &mut start[a.min(b) as usize + 1];
            spokes[*free as usize] = Spoke::new(3 * t + k, a, b);
            *free += 1;
        }
    }
    (start, spokes)
}

impl Built {
    /// Adds the edge of `first` and, across it, `second`.
    fn add(&mut self, smaller: u32, first: Spoke, second: Option<Spoke>) {
        let edge = self.topology.edges.len() as u32;
        for spoke in [Some(first), second].into_iter().flatten() {
            let side = spoke.side() as usize;
            self.topology.sides.as_flattened_mut()[side] = edge;
        }
        let mut vertices = [smaller, first.larger()];
        if first.backwards() {
            vertices.reverse();
        }
        self.topology.edges.push(Edge {
            vertices,
            triangles: (first.triangle(), second.map(Spoke::triangle)),
        });
    }

    /// Adds the edges at which the sides of `group` meet two by two.
    fn add_crowd(&mut self, mesh: &Mesh, smaller: u32, group: &[Spoke]) {
        self.irregular.extend(group.iter().map(|s| s.triangle()));
        if let [a, b] = *group {
            self.twisted.push([a.triangle(), b.triangle()]);
        }
        let leaves: Vec<Leaf> = group
            .iter()
            .map(|s| Leaf {
                apex: mesh.triangles[s.triangle() as usize][(s.side() as usize + 2) % 3],
                opens: s.backwards(),
            })
            .collect();
        for (a, b) in pairing::pair(mesh, [smaller, group[0].larger()], &leaves) {
            let edge = self.topology.edges.len() as u32;
            if group.len() > 2 {
                self.crowded.push(edge);
            }
            if b.is_none() {
                self.topology.nonmanifold.push(edge);
            }
            self.add(smaller, group[a], b.map(|b| group[b]));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::testing::{block, moved, together};

    #[test]
    fn a_block_has_eighteen_edges_and_each_side_knows_its_neighbour() {
        let mesh = block([1.0, 2.0, 3.0]);
        let topology = Topology::new(&mesh);
        // 12 triangles, 8 corners: Euler gives 8 + 12 - 2 = 18 edges
        assert_eq!(topology.edges.len(), 18);
        assert_eq!(topology.unpaired().count(), 0);
        for t in 0..12u32 {
            for k in 0..3 {
                let [a, b] = [k, (k + 1) % 3].map(|k| mesh.triangles[t as usize][k]);
                let other = topology.across(t, k).unwrap();
                assert_ne!(other, t);
                let theirs = mesh.triangles[other as usize];
                assert!((0..3).any(|j| [theirs[j], theirs[(j + 1) % 3]] == [b, a]));
            }
        }
    }

    #[test]
    fn a_missing_triangle_leaves_three_open_edges() {
        let mut mesh = block([1.0, 2.0, 3.0]);
        mesh.triangles.remove(5);
        let topology = Topology::new(&mesh);
        assert_eq!(topology.open().count(), 3);
        assert!(topology.nonmanifold.is_empty());
    }

    #[test]
    fn two_blocks_face_to_face_stay_two() {
        for at in [
            [0.0, 0.0, 3.0],
            [1.0, 0.0, 0.0],
            [0.0, 2.0, 0.0],
            [1.0, 2.0, 0.0],
        ] {
            let one = block([1.0, 2.0, 3.0]);
            let mesh = together(&[one.clone(), moved(&one, at)]);
            let topology = Topology::new(&mesh);
            assert_eq!(topology.unpaired().count(), 0, "{at:?}");
            for edge in &topology.edges {
                let (a, b) = (edge.triangles.0 < 12, edge.triangles.1.unwrap() < 12);
                assert_eq!(a, b, "joined across {edge:?} at {at:?}");
            }
        }
    }

    #[test]
    fn a_fin_on_an_edge_is_nonmanifold() {
        let mut mesh = block([1.0, 2.0, 3.0]);
        let [a, b, _] = mesh.triangles[0];
        mesh.vertices.push([-5.0, -5.0, -5.0].into());
        mesh.triangles.push([a, b, 8]);
        let topology = Topology::new(&mesh);
        assert_eq!(topology.nonmanifold.len(), 1);
        assert_eq!(topology.open().count(), 2);
    }

    #[test]
    fn two_triangles_that_run_the_same_way_are_no_neighbours() {
        let mut mesh = block([1.0, 2.0, 3.0]);
        mesh.triangles[4].swap(0, 1);
        let built = build(&mesh);
        assert_eq!(built.twisted.len(), 3);
        assert_eq!(built.topology.nonmanifold.len(), 6);
        assert!(built.crowded.is_empty());
    }
}
