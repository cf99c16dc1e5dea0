//! Grids over the tool plane: columns, height maps, cutter offsets. Knows nothing of molds.

mod columns;
mod disc;
mod drop;
mod free;
mod grid;
mod lower;
mod offset;
mod profile;
mod rays;
#[cfg(test)]
mod shapes;

pub use columns::{Columns, Crossing};
pub use disc::{disc_dilate, max_pool};
pub use drop::{Contact, Dropper};
pub use free::{FreePlaces, Nearest};
pub use grid::{Grid, HeightMap};
pub use lower::{lower_offset, upper_offset_sampled};
pub use offset::{BallOffset, Drawn, ball_offset};
pub use profile::Profile;
pub use rays::{Hit, Rays};
