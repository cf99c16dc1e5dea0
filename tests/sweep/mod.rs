//! The truth sweep's shapes, for tests.

#[path = "../../examples/truth_sweep/balls.rs"]
mod balls;
#[path = "../../examples/truth_sweep/filed.rs"]
pub mod filed;
#[path = "../../examples/truth_sweep/hollows.rs"]
mod hollows;
#[path = "../../examples/truth_sweep/mesh.rs"]
mod mesh;
#[path = "../../examples/truth_sweep/overhangs.rs"]
mod overhangs;
#[path = "../../examples/truth_sweep/random.rs"]
pub mod random;
#[path = "../../examples/samples/mod.rs"]
pub mod samples;
#[path = "../../examples/truth_sweep/section.rs"]
mod section;
#[path = "../../examples/truth_sweep/shapes.rs"]
pub mod shapes;
#[path = "../../examples/truth_sweep/truth.rs"]
mod truth;
#[path = "../../examples/truth_sweep/wall.rs"]
mod wall;

use samples::{profile, solid};
