//! The report: its data model and its faces. Computes no figure.

mod advice;
mod body;
mod figures;
pub mod json;
mod model;
mod page;
pub mod plan;
mod table;
pub mod terminal;
mod text;

#[cfg(test)]
mod samples;

pub use advice::findings;
pub use body::{Block, Body, Pull};
pub use model::*;
