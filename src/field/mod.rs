//! Grids over the tool plane: columns, height maps, cutter offsets. Knows nothing of molds.

mod drop;
mod grid;
mod offset;
mod profile;
#[cfg(test)]
mod shapes;

pub use drop::{Contact, Dropper};
pub use grid::{Grid, HeightMap};
pub use offset::{BallOffset, Drawn, ball_offset};
pub use profile::Profile;
