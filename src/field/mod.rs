//! Grids over the tool plane: columns, height maps, cutter offsets. Knows nothing of molds.

mod columns;
mod disc;
mod drop;
mod free;
mod grid;
mod lines;
mod lower;
mod offset;
mod profile;
mod rays;
mod section;
#[cfg(test)]
mod shapes;

pub use columns::{Columns, Crossing};
pub use disc::{disc_dilate, max_pool};
pub use drop::{Contact, Dropper};
pub use free::{FreePlaces, Nearest};
pub use grid::{Grid, HeightMap};
pub use lines::{Farthest, Lines, NearLine, farthest, to_segment};
pub use lower::{lower_offset, upper_offset_sampled};
pub use offset::{BallOffset, Drawn, ball_offset};
pub use profile::Profile;
pub use rays::{Hit, Rays};
pub use section::{Cut, Plan, Polyline, apart, chain, cuts};
