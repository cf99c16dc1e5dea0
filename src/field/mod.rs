//! Grids over the tool plane: columns, height maps, cutter offsets. Knows nothing of molds.

mod grid;

pub use grid::{Grid, HeightMap};
