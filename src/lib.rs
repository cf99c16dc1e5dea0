//! Vetting of two-half cavity molds before any toolpath is made.

pub mod body;
pub mod field;
pub mod mesh;
pub mod picture;
pub mod plan;
pub mod report;
pub mod setup;
pub mod sheet;
pub mod shop;
pub mod units;
pub mod vet;
