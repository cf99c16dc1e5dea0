//! What it will cost: cusps and steps, passes' direction, time, speeds, bending, stickouts, and the cutter set.
//!
//! Planning before toolpaths: figures and choices, no toolpaths and no machine code. All of it is estimates.

pub mod bending;
pub mod curve;
pub mod cusp;
mod places;
pub mod set;
pub mod speed;
pub mod time;
