//! Closed-form bodies for tests, each with its best pull along Z.

use crate::mesh::{Mesh, Point, Topology};
use std::f64::consts::TAU;

/// A closed mesh over rings of equally many places, joined in turn; a ring of one place is a tip.
fn joined(rings: &[Vec<Point>], back_to_first: bool) -> Mesh {
    let mut mesh = Mesh::default();
    let mut numbers = Vec::new();
    for ring in rings {
        let from = mesh.vertices.len() as u32;
        mesh.vertices.extend(ring);
        numbers.push((from, ring.len() as u32));
    }
    let last = if back_to_first {
        rings.len()
    } else {
        rings.len() - 1
    };
    for k in 0..last {
        let (lower, upper) = (numbers[k], numbers[(k + 1) % rings.len()]);
        let n = lower.1.max(upper.1);
        let at = |ring: (u32, u32), i: u32| ring.0 + i % ring.1;
        for i in 0..n {
            let [a, b] = [at(lower, i), at(lower, i + 1)];
            let [d, c] = [at(upper, i), at(upper, i + 1)];
            if a != b {
                mesh.triangles.push([a, b, c]);
            }
            if c != d {
                mesh.triangles.push([a, c, d]);
            }
        }
    }
    mesh
}

fn circle(r: f64, z: f64, sectors: u32) -> Vec<Point> {
    if r == 0.0 {
        return vec![Point::new(0.0, 0.0, z)];
    }
    let place = |i: u32| {
        let (sin, cos) = (TAU * f64::from(i) / f64::from(sectors)).sin_cos();
        Point::new(r * cos, r * sin, z)
    };
    (0..sectors).map(place).collect()
}

/// A body of revolution about Z: from the axis, outside upwards, back to the axis; or round a closed profile.
pub(super) fn turned(profile: &[[f64; 2]], sectors: u32) -> Mesh {
    let rings: Vec<_> = profile
        .iter()
        .map(|&[r, z]| circle(r, z, sectors))
        .collect();
    joined(&rings, profile[0][0] != 0.0)
}

/// An outline in layers `[scale, z]` about the origin, from which all of it must be seen; the ends are closed flat.
pub(super) fn layers(outline: &[[f64; 2]], layers: &[[f64; 2]]) -> Mesh {
    let layer = |&[scale, z]: &[f64; 2]| {
        let place = |p: &[f64; 2]| Point::new(p[0] * scale, p[1] * scale, z);
        outline.iter().map(place).collect::<Vec<_>>()
    };
    let mut rings = vec![vec![Point::new(0.0, 0.0, layers[0][1])]];
    rings.extend(layers.iter().map(layer));
    rings.push(vec![Point::new(0.0, 0.0, layers[layers.len() - 1][1])]);
    joined(&rings, false)
}

/// A wedge of 20 x 14, 16 high in its middle and thicker to one side, with a hole of radius `r` through it along Z.
pub(super) fn wedge(r: f64) -> Mesh {
    let height = |x: f64| 8.0 + 0.25 * x;
    let sectors = 128;
    let ring = |outer: bool, sign: f64| -> Vec<Point> {
        (0..sectors)
            .map(|i| {
                let (sin, cos) = (TAU * f64::from(i) / f64::from(sectors)).sin_cos();
                let (x, y) = if outer {
                    // as many places on each side, its corners among them
                    let corners = [(10.0, -7.0), (10.0, 7.0), (-10.0, 7.0), (-10.0, -7.0)];
                    let k = (i / 32) as usize;
                    let ((ax, ay), (bx, by)) = (corners[k], corners[(k + 1) % 4]);
                    let side = f64::from(i % 32) / 32.0;
                    (ax + (bx - ax) * side, ay + (by - ay) * side)
                } else {
                    (r * cos, r * sin)
                };
                Point::new(x, y, sign * height(x))
            })
            .collect()
    };
    let mut rings =
        [(true, -1.0), (true, 1.0), (false, 1.0), (false, -1.0)].map(|(o, s)| ring(o, s));
    // the hole's places start an eighth before +X, as the rectangle's do
    rings[2..].iter_mut().for_each(|hole| hole.rotate_left(112));
    joined(&rings, true)
}

/// Ten bodies by name; one piece, as it is a list of literal shapes.
pub(super) fn ten() -> Vec<(&'static str, Mesh)> {
    let arc = |n: u32, from: f64, to: f64, at: &dyn Fn(f64) -> [f64; 2]| -> Vec<[f64; 2]> {
        (0..=n)
            .map(|k| at((from + (to - from) * f64::from(k) / f64::from(n)).to_radians()))
            .collect()
    };
    let mut hemisphere = vec![[0.0, 0.0]];
    hemisphere.extend(arc(24, 0.0, 90.0, &|a| [10.0 * a.cos(), 10.0 * a.sin()]));
    hemisphere.last_mut().unwrap()[0] = 0.0;
    let mut lens = arc(48, -90.0, 90.0, &|a| [10.0 * a.cos(), 4.0 * a.sin()]);
    lens[0][0] = 0.0;
    lens.last_mut().unwrap()[0] = 0.0;
    let mut ring = arc(40, 0.0, 360.0, &|a| [15.0 + 5.0 * a.cos(), 5.0 * a.sin()]);
    ring.pop();
    // a leg and a foot, seen from where they meet
    let boot = [
        [6.0, -4.0],
        [6.0, 20.0],
        [-4.0, 20.0],
        [-4.0, 4.0],
        [-16.0, 4.0],
        [-16.0, -4.0],
    ];
    let square = [[10.0, -10.0], [10.0, 10.0], [-10.0, 10.0], [-10.0, -10.0]];
    let both_ways = [[0.8, -5.0], [1.0, 0.0], [0.8, 5.0]];
    vec![
        ("hemisphere", turned(&hemisphere, 96)),
        ("cone", turned(&[[0.0, 0.0], [8.0, 0.0], [0.0, 20.0]], 96)),
        ("wedge with a side hole", wedge(2.0)),
        ("boot", layers(&boot, &both_ways)),
        ("ring", turned(&ring, 96)),
        ("frustum", layers(&square, &[[1.0, 0.0], [0.8, 12.0]])),
        (
            "cup",
            turned(
                &[
                    [0.0, 0.0],
                    [8.0, 0.0],
                    [10.0, 20.0],
                    [9.0, 20.0],
                    [7.0, 3.0],
                    [0.0, 3.0],
                ],
                96,
            ),
        ),
        (
            "washer",
            turned(
                &[
                    [10.0, -3.0],
                    [11.0, 0.0],
                    [10.0, 3.0],
                    [5.0, 3.0],
                    [4.0, 0.0],
                    [5.0, -3.0],
                ],
                96,
            ),
        ),
        (
            "two cones",
            turned(&[[0.0, -6.0], [8.0, 0.0], [0.0, 12.0]], 96),
        ),
        ("lens", turned(&lens, 96)),
    ]
}

/// Whether the mesh is closed, with its edges.
pub(super) fn topology(mesh: &Mesh) -> Topology {
    let topology = Topology::new(mesh);
    assert_eq!(topology.open().count() + topology.nonmanifold.len(), 0);
    assert!(mesh.signed_volume() > 0.0);
    topology
}
