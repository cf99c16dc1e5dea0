//! Mending what can be mended without guessing: degenerate and duplicated triangles, triangles wound
//! against their neighbours, and seams whose sides differ by rounding.

use super::topology::{self, Built};
use super::{Mesh, Topology, weld};
use rayon::prelude::*;
use std::collections::HashMap;

/// Seams no wider than this many roundings are closed.
const SEAM: f64 = 4.0;

/// A mended mesh.
pub(super) struct Mended {
    pub(super) mesh: Mesh,
    pub(super) topology: Topology,
    pub(super) mends: Mends,
}

/// What was mended: for each triangle concerned, one of its corners, by which its body is found later.
#[derive(Debug, Clone, Default)]
pub(super) struct Mends {
    /// Dropped for want of area.
    pub(super) degenerate: Vec<u32>,
    /// Dropped because another has the same corners and the same side out.
    pub(super) duplicated: Vec<u32>,
    /// Turned, since they ran against their neighbours.
    pub(super) flipped: Vec<u32>,
}

/// Mends `mesh`, whose coordinates are rounded to `rounding` mm.
pub(super) fn mend(mesh: Mesh, rounding: f64) -> Mended {
    let first = mend_once(mesh, Mends::default());
    let seam = seam_vertices(&first.topology);
    if seam.is_empty() {
        return first;
    }
    let mut mesh = first.mesh.clone();
    if !weld::near(&mut mesh, &seam, SEAM * rounding) {
        return first;
    }
    let second = mend_once(mesh, first.mends.clone());
    let unpaired = |mended: &Mended| mended.topology.unpaired().count();
    if unpaired(&second) < unpaired(&first) {
        second
    } else {
        first
    }
}

/// The ends of all unpaired edges, ascending.
fn seam_vertices(topology: &Topology) -> Vec<u32> {
    let ends = topology
        .unpaired()
        .flat_map(|e| topology.edges[e as usize].vertices);
    let mut ends: Vec<u32> = ends.collect();
    ends.sort_unstable();
    ends.dedup();
    ends
}

fn mend_once(mut mesh: Mesh, mut mends: Mends) -> Mended {
    drop_degenerate(&mut mesh, &mut mends.degenerate);
    let mut built = topology::build(&mesh);
    if drop_duplicates(&mut mesh, &built, &mut mends.duplicated) {
        built = topology::build(&mesh);
    }
    if turn_flipped(&mut mesh, &built, &mut mends.flipped) {
        built = topology::build(&mesh);
    }
    Mended {
        mesh,
        topology: built.topology,
        mends,
    }
}

/// Keeps the triangles for which `keep` holds, and notes a corner of each other one.
fn retain(mesh: &mut Mesh, dropped: &mut Vec<u32>, keep: impl Fn(usize) -> bool) {
    let mut t = 0;
    mesh.triangles.retain(|corners| {
        let keeps = keep(t);
        t += 1;
        if !keeps {
            dropped.push(corners[0]);
        }
        keeps
    });
}

/// Drops triangles with a repeated corner, and those whose corners lie on one line unless they close
/// the surface between others (a corner in the middle of a neighbour's side).
fn drop_degenerate(mesh: &mut Mesh, dropped: &mut Vec<u32>) {
    let largest = mesh
        .vertices
        .iter()
        .fold(0.0, |m: f64, p| m.max(p.coords.amax()));
    let noise = 8.0 * f64::EPSILON * largest;
    let flat = |t: &usize| {
        let [a, b, c] = mesh.corners(*t);
        let longest = [b - a, c - b, a - c].map(|e| e.norm_squared());
        let longest = longest.into_iter().fold(0.0, f64::max);
        let [i, j, k] = mesh.triangles[*t];
        i == j || j == k || k == i || mesh.area_normal(*t).norm_squared() <= longest * noise * noise
    };
    let flat: Vec<usize> = (0..mesh.triangles.len())
        .into_par_iter()
        .with_min_len(4096)
        .filter(flat)
        .collect();
    if flat.is_empty() {
        return;
    }
    let mut drops = vec![false; mesh.triangles.len()];
    for &t in &flat {
        drops[t] = true;
    }
    for t in needed(mesh, &flat, &drops) {
        drops[t] = false;
    }
    retain(mesh, dropped, |t| !drops[t]);
}

/// Those of the flat triangles without which more edges would be open.
fn needed(mesh: &Mesh, flat: &[usize], drops: &[bool]) -> Vec<usize> {
    let distinct = |t: &&usize| {
        let [a, b, c] = mesh.triangles[**t];
        a != b && b != c && c != a
    };
    let mut slivers: Vec<usize> = flat.iter().filter(distinct).copied().collect();
    // for each edge of a sliver: how many more kept triangles run along it forwards than backwards
    let sides = |t: usize| {
        let [a, b, c] = mesh.triangles[t];
        [[a, b], [b, c], [c, a]].map(|[a, b]| ([a.min(b), a.max(b)], if a < b { 1i64 } else { -1 }))
    };
    let edges = slivers.iter().flat_map(|&t| sides(t));
    let mut balance: HashMap<[u32; 2], i64> = edges.map(|(edge, _)| (edge, 0)).collect();
    for t in (0..drops.len()).filter(|&t| !drops[t]) {
        for (edge, way) in sides(t) {
            if let Some(sum) = balance.get_mut(&edge) {
                *sum += way;
            }
        }
    }
    let mut needed = Vec::new();
    loop {
        let before = needed.len();
        slivers.retain(|&t| {
            let change =
                |(edge, way): ([u32; 2], i64)| (balance[&edge] + way).abs() - balance[&edge].abs();
            let closes = sides(t).map(change).iter().sum::<i64>() < 0;
            if closes {
                for (edge, way) in sides(t) {
                    *balance.entry(edge).or_default() += way;
                }
                needed.push(t);
            }
            !closes
        });
        if needed.len() == before {
            return needed;
        }
    }
}

/// Drops all but the first of triangles with the same corners in the same turn. Such triangles only
/// stand at edges that are not of one triangle forwards and one backwards.
fn drop_duplicates(mesh: &mut Mesh, built: &Built, dropped: &mut Vec<u32>) -> bool {
    let turned = |t: u32| {
        let mut corners = mesh.triangles[t as usize];
        let least = (0..3).min_by_key(|&k| corners[k]).unwrap_or(0);
        corners.rotate_left(least);
        (corners, t)
    };
    let mut suspects: Vec<([u32; 3], u32)> = built.irregular.iter().map(|&t| turned(t)).collect();
    suspects.sort_unstable();
    suspects.dedup();
    let mut drops: Vec<u32> = suspects
        .windows(2)
        .filter(|pair| pair[0].0 == pair[1].0)
        .map(|pair| pair[1].1)
        .collect();
    drops.sort_unstable();
    retain(mesh, dropped, |t| drops.binary_search(&(t as u32)).is_err());
    !drops.is_empty()
}

/// Turns the triangles that run against most others of the surface they are part of.
fn turn_flipped(mesh: &mut Mesh, built: &Built, flipped: &mut Vec<u32>) -> bool {
    if built.twisted.is_empty() {
        return false;
    }
    let mut turns = Turns::new(mesh.triangles.len());
    let mut crowded = built.crowded.iter().copied().peekable();
    for (e, edge) in built.topology.edges.iter().enumerate() {
        let crowded = crowded.next_if_eq(&(e as u32)).is_some();
        if let ((a, Some(b)), false) = (edge.triangles, crowded) {
            turns.join(a, b, false);
        }
    }
    for &[a, b] in &built.twisted {
        turns.join(a, b, true);
    }
    // by first triangle of each surface: how many more turn as that one does than against it
    let mut majority = vec![0i64; mesh.triangles.len()];
    let found: Vec<(u32, bool)> = (0..mesh.triangles.len() as u32)
        .map(|t| turns.find(t))
        .collect();
    for &(root, against) in &found {
        majority[root as usize] += if against { -1 } else { 1 };
    }
    let before = flipped.len();
    for (corners, (root, against)) in mesh.triangles.iter_mut().zip(found) {
        let sum = majority[root as usize];
        if (against && sum >= 0) || (!against && sum < 0) {
            corners.swap(1, 2);
            flipped.push(corners[0]);
        }
    }
    flipped.len() > before
}

/// Disjoint sets of triangles, each knowing whether it is wound as the first of its set is.
struct Turns {
    /// Another triangle of the set nearer to its first, and whether it is wound against that one.
    up: Vec<(u32, bool)>,
}

impl Turns {
    fn new(triangles: usize) -> Turns {
        Turns {
            up: (0..triangles as u32).map(|t| (t, false)).collect(),
        }
    }

    /// The first triangle of the set of `t`, and whether `t` is wound against it.
    fn find(&mut self, mut t: u32) -> (u32, bool) {
        let mut against = false;
        loop {
            let (up, turn) = self.up[t as usize];
            if up == t {
                return (t, against);
            }
            let (over, more) = self.up[up as usize];
            if over != up {
                self.up[t as usize] = (over, turn ^ more);
            }
            against ^= turn;
            t = up;
        }
    }

    /// Puts `a` and `b` into one set; where that was known before, the first word stands.
    fn join(&mut self, a: u32, b: u32, against: bool) {
        let ((a, turn_a), (b, turn_b)) = (self.find(a), self.find(b));
        if a != b {
            self.up[a.max(b) as usize] = (a.min(b), turn_a ^ turn_b ^ against);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::Point;
    use crate::mesh::testing::{ball, block};

    #[test]
    fn degenerate_triangles_go() {
        let mut mesh = block([1.0, 2.0, 3.0]);
        mesh.triangles.insert(3, [0, 0, 1]);
        mesh.triangles.push([2, 5, 2]);
        // the middle of a side of the block that no other triangle uses
        mesh.vertices
            .push(nalgebra::center(&mesh.vertices[0], &mesh.vertices[1]));
        mesh.triangles.push([0, 8, 1]);
        let mended = mend(mesh, 1e-7);
        assert_eq!(mended.mends.degenerate, [0, 2, 0]);
        assert_eq!(mended.mesh.triangles, block([1.0, 2.0, 3.0]).triangles);
        assert_eq!(mended.topology.unpaired().count(), 0);
    }

    #[test]
    fn flat_triangles_that_close_the_surface_stay() {
        let mut mesh = block([1.0, 2.0, 3.0]);
        let [a, b, c] = mesh.triangles[0];
        let [p, q] = [a, b].map(|v| mesh.vertices[v as usize]);
        mesh.vertices
            .extend([p + (q - p) * 0.25, p + (q - p) * 0.75]);
        // triangle 0 is split in three along its side ab; its neighbour there is not: two flat ones close it
        mesh.triangles[0] = [a, 8, c];
        mesh.triangles
            .extend([[8, 9, c], [9, b, c], [a, 9, 8], [a, b, 9]]);
        let mended = mend(mesh, 1e-7);
        assert!(mended.mends.degenerate.is_empty());
        assert_eq!(mended.mesh.triangles.len(), 16);
        assert_eq!(mended.topology.unpaired().count(), 0);
    }

    #[test]
    fn duplicates_go_whatever_corner_they_begin_with() {
        let mut mesh = ball(5.0, 6);
        let before = mesh.clone();
        let [a, b, c] = mesh.triangles[7];
        mesh.triangles.extend([[b, c, a], [c, a, b]]);
        let mended = mend(mesh, 1e-7);
        assert_eq!(mended.mends.duplicated.len(), 2);
        assert_eq!(mended.mesh, before);
        assert!(mended.mends.flipped.is_empty());
    }

    #[test]
    fn a_minority_wound_against_the_rest_is_turned() {
        let sound = ball(5.0, 8);
        let mut mesh = sound.clone();
        let some = [3, 4, 5, 17, 60];
        for t in some {
            mesh.triangles[t].swap(1, 2);
        }
        let mended = mend(mesh, 1e-7);
        assert_eq!(mended.mends.flipped.len(), some.len());
        assert_eq!(mended.mesh, sound);
        assert_eq!(mended.topology.unpaired().count(), 0);
    }

    #[test]
    fn a_seam_that_differs_by_rounding_is_closed_and_a_slit_is_not() {
        let mut mesh = block([1.0, 2.0, 3.0]);
        // triangle 0 gets corners of its own, `by` away
        let own = |mesh: &Mesh, by: f64| {
            let mut mesh = mesh.clone();
            mesh.triangles[0] = [8, 9, 10];
            let corners = block([1.0, 2.0, 3.0]).corners(0);
            mesh.vertices
                .extend(corners.map(|p| Point::from(p.coords.add_scalar(by))));
            mend(mesh, 1e-6)
        };
        assert_eq!(own(&mesh, 2e-6).topology.unpaired().count(), 0);
        assert_eq!(own(&mesh, 2e-5).topology.unpaired().count(), 6);
        // a hole is no seam
        mesh.triangles.pop();
        assert_eq!(mend(mesh.clone(), 1e-6).mesh, mesh);
    }
}
