//! What is true of a shape, as far as it is known.

use serde::Serialize;

/// True figures of a mold half, in millimetres and degrees; `None` where not known.
#[derive(Debug, Clone, Default, Serialize)]
pub struct Truth {
    /// Tool axis in the file's frame.
    pub tool_axis: [f64; 3],
    /// Distance of the parting level from the origin along the tool axis.
    pub parting_level_mm: f64,
    /// What fills the cavity.
    pub volume_mm3: f64,
    /// Its surface, hidden surface included.
    pub surface_mm2: f64,
    /// Its depth.
    pub depth_mm: f64,
    /// Surface with material above it.
    pub hidden_area_mm2: f64,
    /// Voids under material.
    pub hidden_volume_mm3: f64,
    /// Largest hook.
    pub hook_mm: f64,
    /// Least draft.
    pub least_draft_deg: Option<f64>,
    /// Largest height of connected surface under 1° of draft.
    pub short_wall_mm: Option<f64>,
    /// Smallest concave radius, 0 at sharp edges.
    pub radius_mm: Option<f64>,
    /// Largest turn from facet to facet of a curved surface.
    pub turn_deg: f64,
    /// Largest chord error of an arc or a circle; a surface curved both ways may stray by two.
    pub chord_mm: f64,
    /// The rack's balls.
    pub balls: Vec<Ball>,
    /// And what else it holds.
    pub flat: Option<Flat>,
}

/// What a flat or a bull-nose cutter leaves.
#[derive(Debug, Clone, Serialize)]
pub struct Flat {
    /// Diameter.
    pub diameter_mm: f64,
    /// Corner radius.
    pub corner_mm: f64,
    /// Largest height left, normal to the surface.
    pub left_mm: f64,
}

/// What one ball leaves and how deep it gets.
#[derive(Debug, Clone, Default, Serialize)]
pub struct Ball {
    /// Diameter.
    pub diameter_mm: f64,
    /// Largest height left, normal to the surface.
    pub left_mm: Option<f64>,
    /// The same where each facet is taken for a face and each edge between facets for an edge.
    pub left_faceted_mm: Option<f64>,
    /// Visible space not covered.
    pub left_volume_mm3: Option<f64>,
    /// Deepest tip with a shank no thicker than the ball, and a holder that stays outside.
    pub deepest_mm: Option<f64>,
}
