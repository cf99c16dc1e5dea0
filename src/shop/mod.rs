//! What the shop has: cutters, holders, stickouts and the limits asked for. Knows nothing of meshes.

/// A rotating cutter's cutting end: the part that may touch the material.
#[derive(Debug, Clone, PartialEq)]
pub struct Cutter {
    /// Name shown in reports, such as `1/8in ball`.
    pub name: String,
    /// Cutting diameter, mm.
    pub diameter: f64,
    /// Corner radius, mm: half the diameter for a ball, 0 for a flat, between for a bull-nose.
    pub corner_radius: f64,
    /// Length of the flutes from the tip, mm; `None`: long enough for any depth.
    pub flute_length: Option<f64>,
    /// Neck behind the flutes.
    pub neck: Option<Neck>,
    /// Shank diameter, mm; `None`: the cutting diameter.
    pub shank: Option<f64>,
    /// Stickouts (tip to holder face) in which it is used, mm. Empty: none stated.
    pub stickouts: Vec<f64>,
    /// Name of the holder it sits in; `None`: the default holder.
    pub holder: Option<String>,
}

/// A relieved part between flutes and shank.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Neck {
    /// Diameter, mm.
    pub diameter: f64,
    /// Distance from the tip at which it ends and the shank begins, mm.
    pub length: f64,
}

/// Kind of a cutter by its corner.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum CutterKind {
    /// Corner radius is half the diameter.
    Ball,
    /// Corner radius is zero.
    Flat,
    /// Corner radius between.
    Bull,
}

impl Cutter {
    /// Cutting radius, mm.
    pub fn radius(&self) -> f64 {
        0.5 * self.diameter
    }

    /// Kind by corner radius (a corner within 1 nm of half the diameter is a ball).
    pub fn kind(&self) -> CutterKind {
        if self.corner_radius >= self.radius() - 1e-6 {
            CutterKind::Ball
        } else if self.corner_radius <= 0.0 {
            CutterKind::Flat
        } else {
            CutterKind::Bull
        }
    }
}

/// A tool holder: sections stacked upward from the holder face, the last one going on without end.
#[derive(Debug, Clone, PartialEq)]
pub struct Holder {
    /// Name shown in reports.
    pub name: String,
    /// Sections from the face up.
    pub sections: Vec<Section>,
}

/// A cone or cylinder about the tool axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Section {
    /// Diameter at its lower end, mm.
    pub lower_diameter: f64,
    /// Diameter at its upper end, mm.
    pub upper_diameter: f64,
    /// Height, mm.
    pub height: f64,
}

/// A shop: the rack and the limits asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct Shop {
    /// Cutters, in the order given.
    pub cutters: Vec<Cutter>,
    /// Holders, in the order given; the first is the default.
    pub holders: Vec<Holder>,
    /// Limits and tolerances.
    pub limits: Limits,
    /// Unit of model files, where the shop file states one.
    pub units: Option<crate::units::Unit>,
    /// Where all this comes from: a file's name, or `None` for the built-in rack.
    pub source: Option<String>,
}

/// Limits and tolerances that decide verdicts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Height that may stay, normal to the surface, mm.
    pub leave: f64,
    /// Required draft, degrees.
    pub draft_deg: f64,
    /// Tallest wall short of draft that is let pass, mm.
    pub wall: f64,
    /// Hook that a flexible casting forgives, mm.
    pub forgive: f64,
    /// Clearance kept by a shank or neck thicker than the cutter, mm.
    pub shank_clearance: f64,
    /// Clearance kept by the holder, mm.
    pub holder_clearance: f64,
    /// Edge turn below which facets with neighbours turning alike are one curved surface, degrees.
    pub crease_deg: f64,
    /// Distance within which two halves' surfaces are in contact, mm.
    pub contact: f64,
    /// Smallest connected patch that sets the least draft, mm².
    pub draft_min_area: f64,
}

impl Default for Limits {
    /// Common practice, no source; each is stated in the report's settings.
    fn default() -> Self {
        Limits {
            leave: 0.02,
            draft_deg: 1.0,
            wall: 1.0,
            forgive: 0.0,
            shank_clearance: 0.2,
            holder_clearance: 1.0,
            crease_deg: 30.0,
            contact: 0.05,
            draft_min_area: 0.5,
        }
    }
}
