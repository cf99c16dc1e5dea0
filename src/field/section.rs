//! Sections: where a mesh crosses a level, exactly, as polylines in plan.

use crate::mesh::Mesh;
use std::collections::BTreeMap;

/// A place in plan, mm.
pub type Plan = [f64; 2];

/// Where one triangle crosses the level: from, to, with the material on the left.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cut {
    /// Start.
    pub from: Plan,
    /// End.
    pub to: Plan,
    /// The triangle.
    pub triangle: u32,
    /// The mesh edges that start and end lie on, by their corners.
    edges: [[u32; 2]; 2],
}

/// A polyline of a section, material on its left.
#[derive(Debug, Clone, PartialEq)]
pub struct Polyline {
    /// Its corners; the first is not repeated at the end.
    pub points: Vec<Plan>,
    /// The triangle that each side comes from: side `k` runs from corner `k` to the next.
    pub triangles: Vec<u32>,
    /// Whether the last corner is joined to the first.
    pub closed: bool,
}

impl Polyline {
    /// Its sides.
    pub fn sides(&self) -> impl Iterator<Item = [Plan; 2]> + '_ {
        (0..self.triangles.len())
            .map(|k| [self.points[k], self.points[(k + 1) % self.points.len()]])
    }

    /// Area on its left less that on its right, mm²: positive around material, negative around a hole.
    pub fn area(&self) -> f64 {
        let Some(&o) = self.points.first() else {
            return 0.0;
        };
        let cross =
            |a: Plan, b: Plan| (a[0] - o[0]) * (b[1] - o[1]) - (a[1] - o[1]) * (b[0] - o[0]);
        0.5 * self.sides().map(|[a, b]| cross(a, b)).sum::<f64>()
    }

    /// Length, mm.
    pub fn length(&self) -> f64 {
        self.sides().map(|[a, b]| apart(a, b)).sum()
    }

    /// Whether it goes around `p`.
    pub fn surrounds(&self, p: Plan) -> bool {
        let mut inside = false;
        for [a, b] in self.sides() {
            if (a[1] > p[1]) != (b[1] > p[1]) {
                let x = a[0] + (p[1] - a[1]) / (b[1] - a[1]) * (b[0] - a[0]);
                inside ^= p[0] < x;
            }
        }
        inside
    }
}

/// Plan distance, mm.
pub fn apart(a: Plan, b: Plan) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

/// Where those of `triangles` that cross level `z` of `mesh` cross it. A corner at the level counts as above it, so the section is
/// the limit of those just below: a flat face at the level gives none, what goes down from its edge gives that edge.
pub fn cuts(mesh: &Mesh, z: f64, triangles: impl Iterator<Item = u32>) -> Vec<Cut> {
    let mut found = Vec::new();
    for t in triangles {
        let corners = mesh.triangles[t as usize];
        let below = corners.map(|v| mesh.vertices[v as usize].z < z);
        if below[0] == below[1] && below[1] == below[2] {
            continue;
        }
        let (mut start, mut end) = (None, None);
        for k in 0..3 {
            let (a, b) = (k, (k + 1) % 3);
            let edge = [corners[a].min(corners[b]), corners[a].max(corners[b])];
            match (below[a], below[b]) {
                (false, true) => start = Some((edge, crossing(mesh, corners[b], corners[a], z))),
                (true, false) => end = Some((edge, crossing(mesh, corners[a], corners[b], z))),
                _ => {}
            }
        }
        if let (Some(start), Some(end)) = (start, end) {
            found.push(Cut {
                from: start.1,
                to: end.1,
                triangle: t,
                edges: [start.0, end.0],
            });
        }
    }
    found
}

/// Where the edge from corner `low`, below `z`, up to `high` meets the level.
fn crossing(mesh: &Mesh, low: u32, high: u32, z: f64) -> Plan {
    let (a, b) = (mesh.vertices[low as usize], mesh.vertices[high as usize]);
    if b.z == z {
        return [b.x, b.y];
    }
    let t = (z - a.z) / (b.z - a.z);
    [a.x + t * (b.x - a.x), a.y + t * (b.y - a.y)]
}

/// Joins cuts end to start, in the order given; sides without length are left out.
pub fn chain(cuts: &[Cut]) -> Vec<Polyline> {
    let mut starts: BTreeMap<[u32; 2], Vec<usize>> = BTreeMap::new();
    let mut ended: BTreeMap<[u32; 2], usize> = BTreeMap::new();
    for (k, cut) in cuts.iter().enumerate().rev() {
        starts.entry(cut.edges[0]).or_default().push(k);
        *ended.entry(cut.edges[1]).or_default() += 1;
    }
    let mut used = vec![false; cuts.len()];
    let mut lines = Vec::new();
    // open polylines first, from where nothing leads to
    let heads = (0..cuts.len()).filter(|&k| !ended.contains_key(&cuts[k].edges[0]));
    let order: Vec<usize> = heads.chain(0..cuts.len()).collect();
    for first in order {
        if used[first] {
            continue;
        }
        let mut line = Polyline {
            points: vec![cuts[first].from],
            triangles: Vec::new(),
            closed: false,
        };
        let mut k = first;
        loop {
            used[k] = true;
            let cut = &cuts[k];
            if cut.to != cut.from {
                line.triangles.push(cut.triangle);
                line.points.push(cut.to);
            }
            if cut.edges[1] == cuts[first].edges[0] {
                line.closed = true;
                break;
            }
            let next = starts
                .get(&cut.edges[1])
                .and_then(|s| s.iter().rev().copied().find(|&n| !used[n]));
            match next {
                Some(n) => k = n,
                None => break,
            }
        }
        if line.closed {
            line.points.pop();
        }
        if !line.triangles.is_empty() {
            lines.push(line);
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A square frustum: 4 x 4 at Z = 0, 2 x 2 at Z = 2.
    fn frustum() -> Mesh {
        let ring = |h: f64, z: f64| [[-h, -h, z], [h, -h, z], [h, h, z], [-h, h, z]];
        let vertices = [ring(2.0, 0.0), ring(1.0, 2.0)].concat();
        let mut triangles = vec![[0, 2, 1], [0, 3, 2], [4, 5, 6], [4, 6, 7]];
        for k in 0..4u32 {
            let n = (k + 1) % 4;
            triangles.extend([[k, n, 4 + n], [k, 4 + n, 4 + k]]);
        }
        Mesh {
            vertices: vertices.into_iter().map(Into::into).collect(),
            triangles,
        }
    }

    #[test]
    fn a_frustum_at_half_height_is_a_square_around_material() {
        let mesh = frustum();
        let lines = chain(&cuts(&mesh, 1.0, 0..mesh.triangles.len() as u32));
        assert_eq!(lines.len(), 1);
        assert!(lines[0].closed);
        // side 3 half way between 4 and 2
        assert!((lines[0].area() - 9.0).abs() < 1e-12);
        assert!((lines[0].length() - 12.0).abs() < 1e-12);
        assert!(lines[0].surrounds([1.4, -1.4]) && !lines[0].surrounds([1.6, 0.0]));
    }

    #[test]
    fn a_flat_face_at_the_level_gives_its_edge_once() {
        let mesh = frustum();
        let all = || 0..mesh.triangles.len() as u32;
        let top = chain(&cuts(&mesh, 2.0, all()));
        assert_eq!(top.len(), 1);
        assert!((top[0].area() - 4.0).abs() < 1e-12);
        assert!(chain(&cuts(&mesh, 0.0, all())).is_empty());
    }
}
