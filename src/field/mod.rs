//! Grids over the tool plane: columns, height maps, cutter offsets. Knows nothing of molds.

mod columns;
mod drop;
mod grid;
mod offset;
mod profile;
mod rays;
#[cfg(test)]
mod shapes;

pub use columns::{Columns, Crossing};
pub use drop::{Contact, Dropper};
pub use grid::{Grid, HeightMap};
pub use offset::{BallOffset, Drawn, ball_offset};
pub use profile::Profile;
pub use rays::{Hit, Rays};
