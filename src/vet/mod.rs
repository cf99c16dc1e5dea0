//! The questions and what they share: pure functions from fields and shop to a result. No text, no pictures.
//!
//! Inside, places are in the tool frame (tool axis +Z, parting level 0), mm; results have them in the model's coordinates.

mod bend;
mod blank;
mod cavity;
pub(crate) mod check;
mod cone;
pub(crate) mod cutters;
pub(crate) mod cutting;
pub(crate) mod depth;
pub(crate) mod doubt;
mod draft;
mod evidence;
mod half;
mod halving;
mod held;
mod left;
pub(crate) mod mate;
mod radius;
mod radius_map;
pub(crate) mod reach;
mod readings;
pub(crate) mod shade;
pub(crate) mod sharp;
pub(crate) mod surface;
mod undercut;

pub use check::{CheckConfig, CheckError, Stage, check, check_with_evidence, columns_of};
pub use depth::{Guarded, guarded, tip_depth_at};
pub use evidence::{
    CutterEvidence, Evidence, FacetEvidence, HalfEvidence, LeftPlace, PairEvidence, Valued,
};
pub use mate::RimStep;
