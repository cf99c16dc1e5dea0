//! Casting 4 million columns, and building the tree for rays, on a half of 500,000 triangles: 100 × 100 mm in cells of 0.05 mm.

use criterion::{Criterion, criterion_group, criterion_main};
use moldvet::field::{Columns, Grid, Rays};
use moldvet::mesh::{Mesh, Point, Vector};
use std::hint::black_box;

/// A plate of `n` × `n` squares, 100 × 100 mm: a wavy top over a flat underside, closed.
fn wavy_plate(n: usize) -> Mesh {
    let side = n + 1;
    let at = |i: usize, j: usize| (j * side + i) as u32;
    let mut vertices = Vec::with_capacity(side * side + 4);
    for j in 0..side {
        for i in 0..side {
            let (x, y) = (100.0 * i as f64 / n as f64, 100.0 * j as f64 / n as f64);
            let z = 10.0 * (x / 9.0).sin() * (y / 7.0).cos();
            vertices.push(Point::new(x, y, z));
        }
    }
    let mut triangles = Vec::new();
    for j in 0..n {
        for i in 0..n {
            triangles.push([at(i, j), at(i + 1, j), at(i + 1, j + 1)]);
            triangles.push([at(i, j), at(i + 1, j + 1), at(i, j + 1)]);
        }
    }
    // the underside is one fan from its middle: long thin triangles, as on parting faces
    let middle = vertices.len() as u32;
    vertices.push(Point::new(50.0, 50.0, -25.0));
    let rim: Vec<u32> = (0..n)
        .map(|i| at(i, 0))
        .chain((0..n).map(|j| at(n, j)))
        .chain((0..n).map(|i| at(n - i, n)))
        .chain((0..n).map(|j| at(0, n - j)))
        .collect();
    let foot = vertices.len() as u32;
    for &v in &rim {
        let p = vertices[v as usize];
        vertices.push(Point::new(p.x, p.y, -25.0));
    }
    let m = rim.len();
    for k in 0..m {
        let next = (k + 1) % m;
        let (a, b) = (foot + k as u32, foot + next as u32);
        triangles.push([middle, b, a]);
        triangles.push([a, b, rim[next]]);
        triangles.push([a, rim[next], rim[k]]);
    }
    Mesh {
        vertices,
        triangles,
    }
}

fn columns(c: &mut Criterion) {
    let mesh = wavy_plate(498);
    let grid = Grid::covering([0.0, 0.0], [100.0, 100.0], 0.0, 0.05);
    let mut group = c.benchmark_group("half of 500,000 triangles");
    group
        .sample_size(10)
        .warm_up_time(std::time::Duration::from_millis(300))
        .measurement_time(std::time::Duration::from_secs(2));
    group.bench_function("cast 4 million columns", |b| {
        b.iter(|| Columns::cast(black_box(&mesh), grid))
    });
    group.bench_function("build the tree", |b| b.iter(|| Rays::new(black_box(&mesh))));
    let rays = Rays::new(&mesh);
    group.bench_function("cast 10,000 rays", |b| {
        b.iter(|| {
            (0..10_000)
                .filter(|k| {
                    let p = Point::new((k % 100) as f64 + 0.37, (k / 100) as f64 + 0.41, 50.0);
                    rays.first_hit(&p, &-Vector::z(), 100.0).is_some()
                })
                .count()
        })
    });
    group.finish();
}

criterion_group!(benches, columns);
criterion_main!(benches);
