//! Meshes for this module's tests.

use crate::mesh::{Edge, Mesh, Point, Topology, Vector};
use std::collections::HashMap;

/// A solid over the rectangle `lo..hi` with the surface z(x, y) sampled on `n` × `n` squares on top,
/// upright sides and a floor at `floor`.
pub fn block(
    lo: [f64; 2],
    hi: [f64; 2],
    n: usize,
    floor: f64,
    z: impl Fn(f64, f64) -> f64,
) -> Mesh {
    let side = n + 1;
    let mut mesh = Mesh::default();
    for top in [true, false] {
        for j in 0..side {
            for i in 0..side {
                let x = lo[0] + (hi[0] - lo[0]) * i as f64 / n as f64;
                let y = lo[1] + (hi[1] - lo[1]) * j as f64 / n as f64;
                mesh.vertices
                    .push(Point::new(x, y, if top { z(x, y) } else { floor }));
            }
        }
    }
    let top = |i: usize, j: usize| (j * side + i) as u32;
    let bottom = |i: usize, j: usize| (side * side + j * side + i) as u32;
    for j in 0..n {
        for i in 0..n {
            let [a, b, c, d] = [(i, j), (i + 1, j), (i + 1, j + 1), (i, j + 1)];
            let quad = |f: &dyn Fn(usize, usize) -> u32| {
                [f(a.0, a.1), f(b.0, b.1), f(c.0, c.1), f(d.0, d.1)]
            };
            let [p, q, r, s] = quad(&top);
            // diagonals alternate, so that ridges and valleys of both kinds occur
            if (i + j) % 2 == 0 {
                mesh.triangles.extend([[p, q, r], [p, r, s]]);
            } else {
                mesh.triangles.extend([[p, q, s], [q, r, s]]);
            }
            let [p, q, r, s] = quad(&bottom);
            mesh.triangles.extend([[p, r, q], [p, s, r]]);
        }
    }
    let mut wall = |i0: usize, j0: usize, i1: usize, j1: usize| {
        let (a, b) = (bottom(i0, j0), bottom(i1, j1));
        let (c, d) = (top(i1, j1), top(i0, j0));
        mesh.triangles.extend([[a, b, c], [a, c, d]]);
    };
    for k in 0..n {
        wall(k, 0, k + 1, 0);
        wall(n, k, n, k + 1);
        wall(k + 1, n, k, n);
        wall(0, k + 1, 0, k);
    }
    mesh
}

/// The strip swept by the outline `points` (x, z; solid on its right) along Y over `length`; open at its ends.
pub fn swept(points: &[[f64; 2]], length: f64) -> Mesh {
    let mut mesh = Mesh::default();
    for p in points {
        for y in [0.0, length] {
            mesh.vertices.push(Point::new(p[0], y, p[1]));
        }
    }
    for k in 0..points.len() as u32 - 1 {
        let [a, b, c, d] = [2 * k, 2 * k + 2, 2 * k + 3, 2 * k + 1];
        mesh.triangles.extend([[a, b, c], [a, c, d]]);
    }
    mesh
}

/// `mesh` turned about Z by `degrees`.
pub fn turned(mesh: &Mesh, degrees: f64) -> Mesh {
    mesh.transformed(&nalgebra::Isometry3::rotation(
        Vector::z() * degrees.to_radians(),
    ))
}

/// A number in −1..1 that depends on the seed only.
pub fn noise(seed: u64) -> f64 {
    // splitmix64 finaliser (Steele, Lea, Flood 2014, constants from memory)
    let mut z = seed.wrapping_add(0x9E37_79B9_7F4A_7C15);
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 52) as f64 - 1.0
}

/// A block with a bowl of `radius` whose centre is at the top level 0.
pub fn bowl(radius: f64, n: usize) -> Mesh {
    let half = 1.25 * radius;
    block([-half; 2], [half; 2], n, -1.5 * radius, |x, y| {
        -(radius * radius - x * x - y * y).max(0.0).sqrt()
    })
}

/// Rough ground over 10 × 10 mm.
pub fn rough(n: usize, seed: u64, height: f64) -> Mesh {
    block([0.0; 2], [10.0; 2], n, -10.0, |x, y| {
        let key = (x * 1e6) as u64 ^ ((y * 1e6) as u64).rotate_left(32);
        (x * 0.9).sin() * (y * 0.7).cos() + height * noise(seed ^ key)
    })
}

/// The outline of a T-slot 4 mm wide and 4 mm deep that opens to 8 × 3 mm below.
pub const T_SLOT: [[f64; 2]; 10] = [
    [-8.0, 0.0],
    [-2.0, 0.0],
    [-2.0, -4.0],
    [-4.0, -4.0],
    [-4.0, -7.0],
    [4.0, -7.0],
    [4.0, -4.0],
    [2.0, -4.0],
    [2.0, 0.0],
    [8.0, 0.0],
];

/// The outline of a channel 8 mm wide, 6 mm deep, upright walls, floor fillets of 1.5 mm.
pub fn filleted_channel() -> Vec<[f64; 2]> {
    let mut points = vec![[-8.0, 0.0], [-4.0, 0.0]];
    let arc = |k: usize| (std::f64::consts::FRAC_PI_2 * k as f64 / 12.0).sin_cos();
    points.extend((0..=12).map(|k| [-2.5 - 1.5 * arc(k).1, -4.5 - 1.5 * arc(k).0]));
    points.extend((0..=12).map(|k| [2.5 + 1.5 * arc(k).0, -4.5 - 1.5 * arc(k).1]));
    points.extend([[4.0, 0.0], [8.0, 0.0]]);
    points
}

/// The edges of a mesh in which at most two triangles meet at each.
pub fn paired(mesh: &Mesh) -> Topology {
    let mut topology = Topology::default();
    let mut open = HashMap::new();
    for (t, corners) in mesh.triangles.iter().enumerate() {
        let mut sides = [0; 3];
        for (k, side) in sides.iter_mut().enumerate() {
            let (a, b) = (corners[k], corners[(k + 1) % 3]);
            *side = match open.remove(&(b, a)) {
                Some(edge) => edge,
                None => {
                    let edge = topology.edges.len() as u32;
                    open.insert((a, b), edge);
                    topology.edges.push(Edge {
                        vertices: [a, b],
                        triangles: (t as u32, None),
                    });
                    edge
                }
            };
            let edge: &mut Edge = &mut topology.edges[*side as usize];
            if edge.triangles.0 != t as u32 {
                edge.triangles.1 = Some(t as u32);
            }
        }
        topology.sides.push(sides);
    }
    topology
}
