//! The report: its data model and its faces. Computes no figure.

mod model;

pub use model::*;
