//! The questions: one file each, pure functions from fields and shop to a result. No text, no pictures.

mod bend;
mod blank;
mod cavity;
mod check;
mod cutting;
mod depth;
mod draft;
mod evidence;
mod mate;
mod radius;
mod reach;
mod shade;
mod sharp;
mod surface;
mod undercut;

pub use check::{CheckConfig, CheckError, Stage, check, check_with_evidence};
pub use depth::{Guarded, guarded, tip_depth_at};
pub use evidence::{CutterEvidence, Evidence, FacetEvidence, HalfEvidence, LeftPlace};
