//! Cutter-centre surface of a ball over 4 million columns: 500,000 triangles facing up,
//! 100 × 100 mm, 0.05 mm cells. Prints the cells drawn per column before timing.

use criterion::{Criterion, criterion_group, criterion_main};
use moldvet::field::{BallOffset, Grid, ball_offset, disc_dilate, lower_offset};
use moldvet::mesh::{Mesh, Point, Topology};
use std::hint::black_box;

const SIZE: f64 = 100.0;
const SQUARES: usize = 500;

/// An open sheet over the square, two triangles a square of the lattice.
fn sheet(z: impl Fn(f64, f64) -> f64) -> Mesh {
    let side = SQUARES + 1;
    let mut mesh = Mesh::default();
    for j in 0..side {
        for i in 0..side {
            let (x, y) = (
                SIZE * i as f64 / SQUARES as f64,
                SIZE * j as f64 / SQUARES as f64,
            );
            mesh.vertices.push(Point::new(x, y, z(x, y)));
        }
    }
    for j in 0..SQUARES as u32 {
        for i in 0..SQUARES as u32 {
            let a = j * side as u32 + i;
            let (b, c, d) = (a + 1, a + 1 + side as u32, a + side as u32);
            mesh.triangles.extend([[a, b, c], [a, c, d]]);
        }
    }
    mesh
}

/// A free-form pocket: rim at 0, up to 25 mm deep, walls of 70°, a wavy floor with bosses.
fn pocket(x: f64, y: f64) -> f64 {
    let (u, v) = (x - 50.0, y - 50.0);
    let rim = 38.0 + 4.0 * (3.0 * v.atan2(u)).cos() - u.hypot(v);
    let floor = -20.0 + 3.0 * (0.25 * x).sin() * (0.21 * y).cos() + 1.5 * (0.9 * x + 0.4 * y).sin();
    (-2.75 * rim).clamp(floor, 0.0)
}

/// The same as a scanner would see it: noise of ± 0.03 mm on each corner.
fn scan(x: f64, y: f64) -> f64 {
    let seed = (12.9898 * x + 78.233 * y).sin() * 43758.5453;
    pocket(x, y) + 0.06 * (seed - seed.floor() - 0.5)
}

fn offsets(c: &mut Criterion) {
    let grid = Grid::covering([0.0; 2], [SIZE; 2], 0.0, 0.05);
    let mut group = c.benchmark_group("offset");
    group.sample_size(10);
    group.warm_up_time(std::time::Duration::from_millis(300));
    group.measurement_time(std::time::Duration::from_secs(3));
    for (name, mesh) in [("pocket", sheet(pocket)), ("scan", sheet(scan))] {
        let topology = Topology::new(&mesh);
        let pieces = BallOffset::new(&mesh, &topology);
        group.bench_function(format!("{name} pieces"), |b| {
            b.iter(|| black_box(BallOffset::new(&mesh, &topology)));
        });
        for radius in [1.6, 3.2] {
            let (map, drawn) = pieces.draw(grid, radius);
            let per_column = |n: usize| n as f64 / grid.len() as f64;
            println!(
                "{name} R {radius}: cells a column {:.2} facets, {:.2} edges, {:.2} corners",
                per_column(drawn.facets),
                per_column(drawn.edges),
                per_column(drawn.corners)
            );
            group.bench_function(format!("{name} R {radius}"), |b| {
                b.iter(|| black_box(ball_offset(&mesh, &topology, grid, radius)));
            });
            group.bench_function(format!("{name} R {radius}, pieces at hand"), |b| {
                b.iter(|| black_box(pieces.height_map(grid, radius)));
            });
            if name == "pocket" {
                group.bench_function(format!("{name} disc R {radius}"), |b| {
                    b.iter(|| black_box(disc_dilate(&map, radius)));
                });
            }
            if name == "pocket" && radius < 2.0 {
                group.bench_function(format!("{name} lower offset R {radius}"), |b| {
                    b.iter(|| black_box(lower_offset(&map, radius)));
                });
            }
        }
    }
    group.finish();
}

criterion_group!(benches, offsets);
criterion_main!(benches);
