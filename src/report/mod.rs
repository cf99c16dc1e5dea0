//! The report: its data model and its faces. Computes no figure.

mod advice;
mod body;
pub mod compare;
mod figures;
pub mod json;
mod model;
mod page;
mod place;
pub mod plan;
mod table;
pub mod terminal;
mod text;

#[cfg(test)]
pub(crate) mod samples;

pub use advice::findings;
pub use body::{Block, Body, Pull};
pub(crate) use figures::{Figures, Quantity, percent};
pub use model::*;
pub(crate) use page::Part;
pub(crate) use place::from_corner;
pub(crate) use place::where_found;
pub(crate) use plan::plan_parts;
pub use terminal::relief::Relief;
pub(crate) use terminal::{
    answer_text, axis_name, blocker_name, body_parts, capital, measured, mesh_state, radii_text,
    subject, together_parts,
};
