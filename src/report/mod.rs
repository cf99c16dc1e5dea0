//! The report: its data model and its faces. Computes no figure.

mod figures;
pub mod json;
mod model;
mod page;
mod table;
pub mod terminal;
mod text;

#[cfg(test)]
mod samples;

pub use model::*;
