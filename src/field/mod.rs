//! Grids over the tool plane (columns, height maps, cutter offsets) and searches off it (rays and balls by a tree, drops, free
//! places, sections). Knows nothing of molds.

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
mod waiting;

pub use columns::{Columns, Crossing};
pub use disc::disc_dilate;
pub(crate) use disc::max_pool;
pub use drop::{Contact, Dropper};
pub(crate) use free::{FreePlaces, Nearest};
pub use grid::{Grid, HeightMap};
pub(crate) use lines::{Farthest, Lines, farthest};
pub use lower::{lower_offset, upper_offset_sampled};
pub use offset::{BallOffset, Drawn, ball_offset};
pub use profile::Profile;
pub(crate) use rays::Touching;
pub use rays::{Hit, Rays};
pub(crate) use section::{Plan, Polyline, apart, chain, cuts};
