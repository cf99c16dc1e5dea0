//! The concave radius all over the surface.

use super::Place;
use serde::{Deserialize, Serialize};

/// How much of the visible cavity surface needs how small a ball.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RadiusMap {
    /// Visible cavity surface: what shares are of.
    pub visible_area_mm2: f64,
    /// Of it, what the edge of an overhang alone holds balls off from; in no step.
    pub overhung_area_mm2: f64,
    /// Largest radius that was looked for.
    pub most_radius_mm: f64,
    /// A ladder of radii, the smallest first: from the first that some of the surface needs a smaller ball than.
    pub steps: Vec<RadiusStep>,
}

/// Surface that only balls smaller than a radius touch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RadiusStep {
    /// The radius.
    pub radius_mm: f64,
    /// Area that needs a smaller ball.
    pub area_mm2: f64,
    /// Its ±.
    pub area_mm2_pm: f64,
    /// Its share of the visible surface, 0 to 1.
    pub share: f64,
    /// Its ±.
    pub share_pm: f64,
    /// Number of connected regions that it consists of.
    pub places: usize,
    /// The largest of these, at most eight.
    pub regions: Vec<RadiusRegion>,
}

/// Connected surface that only balls smaller than a radius touch.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RadiusRegion {
    /// Its tightest place.
    pub at_mm: Place,
    /// Area.
    pub area_mm2: f64,
    /// Radius of the largest ball that touches the tightest place, by samples.
    pub smallest_radius_mm: f64,
    /// Its ±.
    pub smallest_radius_mm_pm: f64,
}
