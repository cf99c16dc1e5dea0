//! Time of each stage on W1, one after the other: file, mesh, setup, columns, offsets.

#[allow(dead_code, reason = "the example uses more of it")]
mod workloads;

use criterion::{Criterion, criterion_group, criterion_main};
use moldvet::field::{
    BallOffset, Columns, Dropper, Grid, Rays, ball_offset, disc_dilate, lower_offset,
};
use moldvet::mesh::{Creases, Limits, Topology, from_bytes};
use moldvet::setup::{SetupConfig, Survey, prepare};
use moldvet::units::Unit;
use std::hint::black_box;
use std::time::Duration;
use workloads::Workload;

/// Side of a cell, mm: 4 million columns.
const CELL: f64 = 0.05;

fn stages(c: &mut Criterion) {
    let mut file = Vec::new();
    let written = Workload::w1().write_stl("W1", &mut file);
    let model = from_bytes(&file, "W1", Unit::Mm, &Limits::default());
    let (Ok(()), Ok(model)) = (written, model) else {
        return eprintln!("W1 could not be made");
    };
    let config = SetupConfig {
        contact: 0.05,
        ..SetupConfig::default()
    };
    let models = std::slice::from_ref(&model);
    let Ok(setup) = prepare(models, &config) else {
        return eprintln!("W1 could not be set up");
    };
    let half = &setup.halves[0];
    let (mesh, topology) = (&half.mesh, &half.topology);
    let (lo, hi) = half.bounds();
    let grid = Grid::covering([lo.x, lo.y], [hi.x, hi.y], 0.0, CELL);
    let pieces = BallOffset::new(mesh, topology);
    let top = Columns::cast(mesh, grid).top();

    let mut group = c.benchmark_group("W1");
    group.sample_size(10);
    group.warm_up_time(Duration::from_millis(500));
    group.measurement_time(Duration::from_secs(3));
    let mut stage = |name: &str, run: &mut dyn FnMut()| {
        group.bench_function(name, |b| b.iter(&mut *run));
    };
    stage("read, weld, find bodies", &mut || {
        let read = from_bytes(&file, "W1", Unit::Mm, &Limits::default());
        drop(black_box(read));
    });
    stage("edges", &mut || drop(black_box(Topology::new(mesh))));
    stage("find halves and axis", &mut || {
        drop(black_box(prepare(models, &config)));
    });
    stage("cast 4 M columns", &mut || {
        drop(black_box(Columns::cast(mesh, grid)));
    });
    stage("survey", &mut || drop(black_box(Survey::of(half, CELL))));
    stage("smooth or sharp", &mut || {
        drop(black_box(Creases::read(
            mesh,
            topology,
            30.0,
            half.rounding,
        )));
    });
    stage("tree for drops", &mut || {
        drop(black_box(Dropper::new(mesh)));
    });
    stage("tree for rays", &mut || drop(black_box(Rays::new(mesh))));
    stage("pieces for offsets", &mut || {
        drop(black_box(BallOffset::new(mesh, topology)));
    });
    for cells in [16.0, 32.0, 63.5] {
        let radius = cells * CELL;
        stage(&format!("upper offset, ball of {cells} cells"), &mut || {
            drop(black_box(pieces.height_map(grid, radius)));
        });
        let upper = pieces.height_map(grid, radius);
        stage(&format!("lower offset, ball of {cells} cells"), &mut || {
            drop(black_box(lower_offset(&upper, radius)));
        });
        stage(&format!("closing, ball of {cells} cells"), &mut || {
            let upper = ball_offset(mesh, topology, grid, radius);
            drop(black_box(lower_offset(&upper, radius)));
        });
        for (name, share) in [("flat", 0.0), ("bull nose", 0.25)] {
            stage(
                &format!("upper offset, {name} of {cells} cells"),
                &mut || {
                    drop(black_box(pieces.cutter_map(grid, radius, share * radius)));
                },
            );
        }
        stage(&format!("disc of {cells} cells"), &mut || {
            drop(black_box(disc_dilate(&top, radius)));
        });
    }
    stage("disc of 500 cells", &mut || {
        drop(black_box(disc_dilate(&top, 500.0 * CELL)));
    });
    group.finish();
}

criterion_group!(benches, stages);
criterion_main!(benches);
