//! Columns against a second opinion: the same lines cast one by one through a tree of bounding boxes.
//! The two share neither the search nor the test of a line against a triangle. Every crossing must agree.

use moldvet::field::{Columns, Grid, Rays};
use moldvet::mesh::{Mesh, Point, Vector};
use nalgebra::{Isometry3, Rotation3, Translation3, Unit};
use std::f64::consts::{PI, TAU};

/// Columns compared on each mesh.
const COLUMNS: usize = 100_000;

/// Lines this near an edge in plan, mm, may be taken either way and are left out.
const EDGE: f64 = 1e-9;

/// Numbers in `0..1`, the same each time (splitmix64: G. L. Steele, D. Lea and C. H. Flood, "Fast Splittable Pseudorandom Number
/// Generators", OOPSLA 2014).
struct Draw(u64);

impl Draw {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }
}

/// Plan distance from `(x, y)` to the nearest edge of the triangle.
fn plan_distance(corners: [Point; 3], x: f64, y: f64) -> f64 {
    (0..3)
        .map(|k| {
            let (a, b) = (corners[k].xy(), corners[(k + 1) % 3].xy());
            let (along, to) = (b - a, nalgebra::Point2::new(x, y) - a);
            let t = to.dot(&along) / along.norm_squared();
            let t = if t.is_nan() { 0.0 } else { t.clamp(0.0, 1.0) };
            (to - along * t).norm()
        })
        .fold(f64::INFINITY, f64::min)
}

/// Casts both ways and compares every crossing of `COLUMNS` columns drawn at random.
fn agree(name: &str, mesh: &Mesh, seed: u64) {
    let mut draw = Draw(seed);
    let (lo, hi) = mesh.bounds().unwrap();
    let n = 720;
    let cell = (hi.x - lo.x).max(hi.y - lo.y) / 700.0;
    let mut origin = |lo: f64| lo - cell * (5.0 + 10.0 * draw.next());
    let grid = Grid {
        origin: [origin(lo.x), origin(lo.y)],
        cell,
        nx: n,
        ny: n,
    };
    let columns = Columns::cast(mesh, grid);
    let rays = Rays::new(mesh);
    let (mut skipped, mut crossings, mut worst) = (0, 0, 0.0f64);
    for _ in 0..COLUMNS {
        let mut cell = || (draw.next() * n as f64) as usize;
        let (i, j) = (cell(), cell());
        let [x, y] = grid.centre(i, j);
        let below = lo.z - 1.0;
        let hits = rays.all_hits(&Point::new(x, y, below), &Vector::z());
        let column = columns.column(grid.index(i, j));
        let near = |t: u32| plan_distance(mesh.corners(t as usize), x, y) < EDGE;
        if hits.iter().any(|h| near(h.triangle)) || column.iter().any(|c| near(c.triangle())) {
            skipped += 1;
            continue;
        }
        let up = |t: u32| mesh.area_normal(t as usize).z > 0.0;
        let mut expected: Vec<(u32, bool, f64)> = hits
            .iter()
            .map(|h| (h.triangle, up(h.triangle), below + h.distance))
            .collect();
        let mut found: Vec<(u32, bool, f64)> = column
            .iter()
            .map(|c| (c.triangle(), c.up(), f64::from(c.z)))
            .collect();
        assert!(
            found.is_sorted_by(|a, b| a.2 <= b.2),
            "{name}: not in order: {found:?}"
        );
        // away from edges a line meets each triangle once: compare triangle by triangle
        expected.sort_by_key(|c| c.0);
        found.sort_by_key(|c| c.0);
        let same = |(e, f): (&(u32, bool, f64), &(u32, bool, f64))| e.0 == f.0 && e.1 == f.1;
        assert!(
            expected.len() == found.len() && expected.iter().zip(&found).all(same),
            "{name}, cell ({i}, {j}) at ({x}, {y}): rays {expected:?}, columns {found:?}"
        );
        for (e, f) in expected.iter().zip(&found) {
            worst = worst.max((e.2 - f.2).abs());
        }
        crossings += found.len();
        let exits = found.iter().filter(|c| c.1).count();
        assert_eq!(
            2 * exits,
            found.len(),
            "{name}: a closed mesh is left as often as it is entered"
        );
    }
    println!("{name}: {crossings} crossings, worst height {worst:.1e} mm, {skipped} skipped");
    assert!(
        crossings > COLUMNS / 2,
        "{name}: too few crossings to mean anything: {crossings}"
    );
    assert!(
        skipped * 1000 < COLUMNS,
        "{name}: {skipped} columns skipped"
    );
    // f32 holds heights up to 128 mm to half of 2⁻¹⁷ mm = 4e-6 mm; on steep slivers the rounding of f64 adds to it
    assert!(worst < 1e-5, "{name}: heights differ by {worst} mm");
}

/// Turned in space by `degrees` about a slanted axis, and moved off the origin.
fn turned(mesh: &Mesh, degrees: f64) -> Mesh {
    let axis = Unit::new_normalize(Vector::new(0.3, -0.8, 0.52));
    let turn = Rotation3::from_axis_angle(&axis, degrees.to_radians());
    let shift = Translation3::new(31.7, -12.9, 4.1);
    mesh.transformed(&Isometry3::from_parts(shift, turn.into()))
}

fn quad(mesh: &mut Mesh, a: u32, b: u32, c: u32, d: u32) {
    mesh.triangles.extend([[a, b, c], [a, c, d]]);
}

fn torus() -> Mesh {
    let (ni, nj) = (160, 70);
    let index = |i: usize, j: usize| ((j % nj) * ni + i % ni) as u32;
    let mut mesh = Mesh::default();
    for j in 0..nj {
        for i in 0..ni {
            let (around, tube) = (TAU * i as f64 / ni as f64, TAU * j as f64 / nj as f64);
            let r = 35.0 + 12.0 * tube.cos();
            let place = Point::new(r * around.cos(), r * around.sin(), 12.0 * tube.sin());
            mesh.vertices.push(place);
            let (a, b) = (index(i, j), index(i + 1, j));
            quad(&mut mesh, a, b, index(i + 1, j + 1), index(i, j + 1));
        }
    }
    mesh
}

/// A ball with a rough skin, in rings from pole to pole.
fn rough_ball() -> Mesh {
    let (n, rings) = (120, 60);
    let mut draw = Draw(5);
    let mut at = |i: usize, j: usize| {
        let r = 40.0 + 2.0 * draw.next();
        let (a, b) = (TAU * i as f64 / n as f64, PI * j as f64 / rings as f64);
        Point::new(r * b.sin() * a.cos(), r * b.sin() * a.sin(), r * b.cos())
    };
    let mut mesh = Mesh::default();
    mesh.vertices.push(at(0, 0));
    for j in 1..rings {
        mesh.vertices.extend((0..n).map(|i| at(i, j)));
    }
    mesh.vertices.push(at(0, rings));
    let last = mesh.vertices.len() as u32 - 1;
    let index = |i: usize, j: usize| (1 + (j - 1) * n + i % n) as u32;
    for i in 0..n {
        mesh.triangles.push([0, index(i, 1), index(i + 1, 1)]);
        for j in 1..rings - 1 {
            let (a, b) = (index(i, j), index(i, j + 1));
            quad(&mut mesh, a, b, index(i + 1, j + 1), index(i + 1, j));
        }
        let end = rings - 1;
        mesh.triangles
            .push([index(i, end), last, index(i + 1, end)]);
    }
    mesh
}

/// Rough ground on a plate, closed.
fn terrain() -> Mesh {
    let n = 150;
    let mut draw = Draw(9);
    let ground = |i: usize, j: usize| ((n + 1) * j + i) as u32;
    let base = |i: usize, j: usize| ((n + 1) * (n + 1 + j) + i) as u32;
    let mut mesh = Mesh::default();
    for k in 0..2 * (n + 1) * (n + 1) {
        let (i, j) = (k % (n + 1), k / (n + 1) % (n + 1));
        let (x, y) = (0.6 * i as f64, 0.6 * j as f64);
        let z = if k < (n + 1) * (n + 1) {
            4.0 * (x / 11.0).sin() * (y / 8.0).cos() + 1.5 * draw.next()
        } else {
            -20.0
        };
        mesh.vertices.push(Point::new(x, y, z));
    }
    for j in 0..n {
        for i in 0..n {
            let ring = [(i, j), (i + 1, j), (i + 1, j + 1), (i, j + 1)];
            let [a, b, c, d] = ring.map(|(i, j)| ground(i, j));
            quad(&mut mesh, a, b, c, d);
            let [a, b, c, d] = ring.map(|(i, j)| base(i, j));
            quad(&mut mesh, d, c, b, a);
        }
    }
    for k in 0..n {
        let sides = [
            [(k, 0), (k + 1, 0)],
            [(n, k), (n, k + 1)],
            [(k + 1, n), (k, n)],
            [(0, k + 1), (0, k)],
        ];
        for [(ai, aj), (bi, bj)] in sides {
            let (a, b) = (base(ai, aj), base(bi, bj));
            quad(&mut mesh, a, b, ground(bi, bj), ground(ai, aj));
        }
    }
    mesh
}

/// The surface of the cubes of 10 mm for which `solid` holds, within `n`.
fn blocks(n: [i64; 3], solid: impl Fn(i64, i64, i64) -> bool) -> Mesh {
    let filled = |c: [i64; 3]| (0..3).all(|k| (0..n[k]).contains(&c[k])) && solid(c[0], c[1], c[2]);
    let mut mesh = Mesh::default();
    for index in 0..n[0] * n[1] * n[2] {
        let c = [index % n[0], index / n[0] % n[1], index / n[0] / n[1]];
        if !filled(c) {
            continue;
        }
        for (axis, out) in [(0, 0), (0, 1), (1, 0), (1, 1), (2, 0), (2, 1)] {
            let mut next = c;
            next[axis] += 2 * out - 1;
            if filled(next) {
                continue;
            }
            let first = mesh.vertices.len() as u32;
            for (du, dv) in [(0, 0), (1, 0), (1, 1), (0, 1)] {
                let mut p = c;
                p[axis] += out;
                p[(axis + 1) % 3] += du;
                p[(axis + 2) % 3] += dv;
                mesh.vertices.push(Point::from(p.map(|v| 10.0 * v as f64)));
            }
            if out == 1 {
                quad(&mut mesh, first, first + 1, first + 2, first + 3);
            } else {
                // the same diagonal, so that halves of a face meet halves
                quad(&mut mesh, first, first + 3, first + 2, first + 1);
            }
        }
    }
    mesh
}

/// A block of 100 mm with a round blind hole, its top a fan of long thin triangles from each corner, its floor one fan.
fn fans() -> Mesh {
    let m = 96;
    let mut mesh = Mesh::default();
    for z in [0.0, -30.0] {
        for (x, y) in [(50.0, 50.0), (-50.0, 50.0), (-50.0, -50.0), (50.0, -50.0)] {
            mesh.vertices.push(Point::new(x, y, z));
        }
    }
    for z in [0.0, -17.0] {
        for k in 0..m {
            let a = TAU * k as f64 / m as f64;
            let place = Point::new(20.0 + 13.0 * a.cos(), 13.0 * a.sin() - 9.0, z);
            mesh.vertices.push(place);
        }
    }
    let rim = |k: usize| (8 + k % m) as u32;
    let floor = |k: usize| (8 + m + k % m) as u32;
    for k in 0..m {
        mesh.triangles
            .push([(4 * k / m) as u32, rim(k + 1), rim(k)]);
        quad(&mut mesh, rim(k), rim(k + 1), floor(k + 1), floor(k));
    }
    for q in 0..4 {
        let next = (q + 1) % 4;
        let shared = rim((q as usize + 1) * m / 4);
        mesh.triangles.push([q, next, shared]);
        quad(&mut mesh, next, q, q + 4, next + 4);
    }
    for k in 1..m - 1 {
        mesh.triangles.push([floor(0), floor(k), floor(k + 1)]);
    }
    quad(&mut mesh, 7, 6, 5, 4);
    mesh
}

/// Every edge between two places is run as often one way as the other, and the inside is inside.
fn assert_closed(name: &str, mesh: &Mesh) {
    let mut edges = Vec::new();
    for t in 0..mesh.triangles.len() {
        let places = mesh.corners(t).map(|p| [p.x, p.y, p.z].map(f64::to_bits));
        edges.extend((0..3).map(|k| (places[k], places[(k + 1) % 3])));
    }
    let mut opposite: Vec<_> = edges.iter().map(|&(a, b)| (b, a)).collect();
    edges.sort_unstable();
    opposite.sort_unstable();
    assert!(edges == opposite, "{name} is not closed");
    assert!(mesh.signed_volume() > 0.0, "{name} is inside out");
}

#[test]
fn columns_agree_with_rays() {
    let pocket = blocks([9, 8, 4], |x, y, z| {
        z < 2 || !(2..6).contains(&x) || !(3..5).contains(&y)
    });
    let slot = blocks([9, 7, 5], |x, _, z| match z {
        0 => true,
        1 | 2 => !(2..7).contains(&x),
        _ => !(3..6).contains(&x),
    });
    let meshes = [
        ("rough ball", rough_ball()),
        ("torus", torus()),
        ("torus, turned", turned(&torus(), 61.0)),
        ("pocketed block, turned", turned(&pocket, 37.0)),
        ("T-slot, turned", turned(&slot, 23.0)),
        ("T-slot", slot),
        ("terrain, turned", turned(&terrain(), 100.0)),
        ("terrain", terrain()),
        ("fans, turned", turned(&fans(), 9.0)),
        ("fans", fans()),
    ];
    for (seed, (name, mesh)) in (1..).zip(&meshes) {
        assert_closed(name, mesh);
        agree(name, mesh, seed);
    }
}
