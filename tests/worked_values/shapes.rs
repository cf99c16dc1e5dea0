//! Small exact mold halves, parting level at Z = 0, tool axis +Z.

use moldvet::mesh::{Mesh, Model, Point};
use moldvet::units::Unit;
use std::f64::consts::PI;

/// Sides of what is turned.
pub const SIDES: usize = 128;

/// A mesh with its corners counter-clockwise from outside.
fn outward(vertices: Vec<Point>, triangles: Vec<[u32; 3]>) -> Mesh {
    let mut mesh = Mesh {
        vertices,
        triangles,
    };
    if mesh.signed_volume() < 0.0 {
        mesh.triangles.iter_mut().for_each(|t| t.swap(1, 2));
    }
    mesh
}

/// The solid that a closed outline of (radius, height) sweeps about Z in `sides` steps, corners on the true surface; the
/// outline begins and ends on the axis.
pub fn turned(outline: &[[f64; 2]], sides: usize) -> Mesh {
    let (n, last) = (sides as u32, outline.len() - 1);
    let mut vertices = vec![Point::new(0.0, 0.0, outline[0][1])];
    for &[r, z] in &outline[1..last] {
        vertices.extend((0..sides).map(|k| {
            let (sin, cos) = (2.0 * PI * k as f64 / sides as f64).sin_cos();
            Point::new(r * cos, r * sin, z)
        }));
    }
    let end = vertices.len() as u32;
    vertices.push(Point::new(0.0, 0.0, outline[last][1]));
    let at = |ring: u32, k: u32| 1 + ring * n + k % n;
    let mut triangles = Vec::new();
    for k in 0..n {
        triangles.push([0, at(0, k), at(0, k + 1)]);
        for ring in 0..last as u32 - 2 {
            let [a, b] = [at(ring, k), at(ring, k + 1)];
            let [c, d] = [at(ring + 1, k + 1), at(ring + 1, k)];
            triangles.extend([[a, d, c], [a, c, b]]);
        }
        triangles.push([at(last as u32 - 2, k + 1), at(last as u32 - 2, k), end]);
    }
    outward(vertices, triangles)
}

/// The ring that a closed outline of (radius, height), clear of the axis, sweeps about Z in `sides` steps.
pub fn ring(outline: &[[f64; 2]], sides: usize) -> Mesh {
    let (n, rings) = (sides as u32, outline.len() as u32);
    let mut vertices = Vec::new();
    for &[r, z] in outline {
        vertices.extend((0..sides).map(|k| {
            let (sin, cos) = (2.0 * PI * k as f64 / sides as f64).sin_cos();
            Point::new(r * cos, r * sin, z)
        }));
    }
    let at = |ring: u32, k: u32| ring % rings * n + k % n;
    let mut triangles = Vec::new();
    for ring in 0..rings {
        for k in 0..n {
            let [a, b] = [at(ring, k), at(ring, k + 1)];
            let [c, d] = [at(ring + 1, k + 1), at(ring + 1, k)];
            triangles.extend([[a, d, c], [a, c, b]]);
        }
    }
    outward(vertices, triangles)
}

/// A round blank with a turned pit, given from its middle outward up to the rim.
pub fn pit(profile: &[[f64; 2]]) -> Mesh {
    pit_of(profile, SIDES)
}

/// As [`pit`], of `sides` steps.
pub fn pit_of(profile: &[[f64; 2]], sides: usize) -> Mesh {
    let deepest = profile.iter().fold(0.0, |d: f64, p| d.min(p[1]));
    let widest = profile.iter().fold(0.0, |r: f64, p| r.max(p[0]));
    let (r, z) = (widest + 10.0, deepest - 5.0);
    let mut outline = profile.to_vec();
    outline.extend([[r, 0.0], [r, z], [0.0, z]]);
    turned(&outline, sides)
}

/// (radius, height) along an arc about `centre`, angles from the horizontal, degrees.
pub fn arc(centre: [f64; 2], radius: f64, from: f64, to: f64, steps: usize) -> Vec<[f64; 2]> {
    let step = (to - from) / steps as f64;
    let at = |k: usize| {
        let (sin, cos) = (from + step * k as f64).to_radians().sin_cos();
        [centre[0] + radius * cos, centre[1] + radius * sin]
    };
    (0..=steps).map(at).collect()
}

/// A block with a rectangular pocket of `floor` size, `depth` deep, each wall drawn outward by `lean` at the rim.
pub fn pocket(floor: [f64; 2], depth: f64, lean: f64) -> Mesh {
    let [a, b] = floor.map(|side| 0.5 * side);
    let (w, l, margin) = (a + lean, b + lean, 10.0);
    let ring = |x: f64, y: f64, z: f64| {
        [[-x, -y], [x, -y], [x, y], [-x, y]].map(|[x, y]| Point::new(x, y, z))
    };
    let rings = [
        ring(w + margin, l + margin, -depth - 10.0),
        ring(w + margin, l + margin, 0.0),
        ring(w, l, 0.0),
        ring(a, b, -depth),
    ];
    let mut triangles = Vec::new();
    let mut quad = |[a, b, c, d]: [u32; 4]| triangles.extend([[a, b, c], [a, c, d]]);
    for k in 0..4 {
        let next = (k + 1) % 4;
        for ring in 0..3 {
            quad([
                4 * ring + k,
                4 * ring + next,
                4 * ring + 4 + next,
                4 * ring + 4 + k,
            ]);
        }
    }
    quad([12, 13, 14, 15]);
    quad([3, 2, 1, 0]);
    outward(rings.concat(), triangles)
}

/// A block `length` long in Y whose upper side has this outline of (x, height), x always rising; 10 mm of stock under it.
pub fn channel(upper: &[[f64; 2]], length: f64) -> Mesh {
    let under = upper.iter().fold(0.0, |d: f64, p| d.min(p[1])) - 10.0;
    let mut vertices = Vec::new();
    for &[x, z] in upper {
        for (y, z) in [(0.0, z), (length, z), (length, under), (0.0, under)] {
            vertices.push(Point::new(x, y - 0.5 * length, z));
        }
    }
    let last = 4 * (upper.len() as u32 - 1);
    let mut triangles = vec![
        [0, 1, 2],
        [0, 2, 3],
        [last, last + 2, last + 1],
        [last, last + 3, last + 2],
    ];
    for k in 0..upper.len() - 1 {
        for side in 0..4 {
            let (k, next) = (4 * k as u32, (side + 1) % 4);
            let [a, b, c, d] = [k + side, k + 4 + side, k + 4 + next, k + next];
            triangles.extend([[a, b, c], [a, c, d]]);
        }
    }
    outward(vertices, triangles)
}

/// A sphere about the origin of `meridians` times `bands` flat pieces, corners on it.
pub fn sphere(radius: f64, meridians: usize, bands: usize) -> Mesh {
    turned(&arc([0.0, 0.0], radius, -90.0, 90.0, bands), meridians)
}

/// The mesh as a model that was read.
pub fn model(mesh: Mesh) -> Model {
    Model::from_mesh("shape", mesh, Unit::Mm, 1e-9).unwrap_or_else(|e| panic!("{e}"))
}
