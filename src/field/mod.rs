//! Grids over the tool plane: columns, height maps, cutter offsets. Knows nothing of molds.

mod columns;
mod grid;
mod rays;

pub use columns::{Columns, Crossing};
pub use grid::{Grid, HeightMap};
pub use rays::{Hit, Rays};
