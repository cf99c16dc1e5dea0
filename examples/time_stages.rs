//! Times reading, casting 4 million columns and closing by a ball of 32 cells once, for `benches/ratios`: `time_stages W1.stl` prints
//! a name and seconds a line.

use moldvet::field::{BallOffset, Columns, Grid, lower_offset};
use moldvet::mesh::{Limits, read};
use moldvet::units::Unit;
use std::error::Error;
use std::hint::black_box;
use std::path::Path;
use std::time::Instant;

/// Side of a cell, mm.
const CELL: f64 = 0.05;
/// Radius of the ball, mm.
const RADIUS: f64 = 32.0 * CELL;

fn main() -> Result<(), Box<dyn Error>> {
    let path = std::env::args().nth(1).ok_or("usage: time_stages W1.stl")?;
    let start = Instant::now();
    let model = read(Path::new(&path), Unit::Mm, &Limits::default())?;
    println!("load\t{}", start.elapsed().as_secs_f64());
    let body = &model.bodies[0];
    let (lo, hi) = body.mesh.bounds().ok_or("no triangles")?;
    let grid = Grid::covering([lo.x, lo.y], [hi.x, hi.y], 0.0, CELL);
    let start = Instant::now();
    black_box(Columns::cast(&body.mesh, grid).top());
    println!("heightfield\t{}", start.elapsed().as_secs_f64());
    let start = Instant::now();
    let upper = BallOffset::new(&body.mesh, &body.topology).height_map(grid, RADIUS);
    black_box(lower_offset(&upper, RADIUS));
    println!("closing\t{}", start.elapsed().as_secs_f64());
    Ok(())
}
