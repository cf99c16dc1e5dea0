//! The part of the report on a body that was bought or drawn as a model of the thing to be molded.
//!
//! Figures and places are those of the body enlarged by `scale` about the model's origin.

use super::model::{DraftBand, Place};
use serde::{Deserialize, Serialize};

/// The body, the pulls that serve it best, and where a mold of it would part.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Body {
    /// File it came from, name only.
    pub file: String,
    /// Extent along the model's X, Y and Z.
    pub size_mm: [f64; 3],
    /// Volume of the body, which is what fills the mold.
    pub fill_volume_mm3: f64,
    /// Area of its surface.
    pub surface_mm2: f64,
    /// Factor by which the model was enlarged, shrink included.
    pub scale: f64,
    /// Block around the body on all sides.
    pub margin_mm: f64,
    /// Whether the pull was given; else it was searched for.
    pub pull_given: bool,
    /// The pull that the halves are made for first, then the next best, three at most; the one given stands alone.
    pub pulls: Vec<Pull>,
    /// Parting level of the halves: distance along the first pull from the model's origin.
    pub parting_level_mm: f64,
    /// What a flat parting at that level loses: surface that faces up below it or down above it.
    pub lost_area_mm2: f64,
    /// The virtual halves. A half without a cavity is a plain block, and not among the report's `halves`.
    pub blocks: Vec<Block>,
}

/// What it would be like to pull along a direction, and against it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Pull {
    /// Unit vector, model coordinates.
    pub direction: [f64; 3],
    /// Surface seen from neither side.
    pub hidden_area_mm2: f64,
    /// Its ±.
    pub hidden_area_mm2_pm: f64,
    /// Largest hook.
    pub hook_mm: f64,
    /// Its ±.
    pub hook_mm_pm: f64,
    /// Place of the largest hook.
    pub hook_at_mm: Option<Place>,
    /// Surface short of the required draft.
    pub short_area_mm2: f64,
    /// Its ±.
    pub short_area_mm2_pm: f64,
    /// Surface by draft towards the side that it faces.
    pub bands: Vec<DraftBand>,
    /// Length of the parting line.
    pub parting_length_mm: f64,
    /// Distance along the pull between its lowest and its highest place.
    pub parting_flatness_mm: f64,
    /// Best flat parting level: distance along the pull from the model's origin.
    pub flat_level_mm: f64,
    /// What a flat parting at that level loses: as [`Body::lost_area_mm2`].
    pub flat_lost_area_mm2: f64,
    /// The parting line: closed curves, longest first, the last place joined to the first.
    pub parting_line: Vec<Vec<Place>>,
}

/// One virtual half.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Block {
    /// `lower` or `upper`.
    pub name: String,
    /// File it was or would be written to, name only.
    pub file: String,
    /// Whether it has a cavity; else it is a plain block.
    pub has_cavity: bool,
}
