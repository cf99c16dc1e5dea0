//! What the shop has: cutters, holders, stickouts and the limits asked for. Knows nothing of meshes.
//!
//! A shop is read from a TOML file, or is the built-in rack:
//!
//! ```toml
//! units = "inch"               # unit of bare numbers in this file, and of models unless told otherwise
//!
//! [limits]                     # each is optional
//! leave = "0.02 mm"            # height that may stay, normal to the surface
//! draft = 1.0                  # required draft, degrees
//! wall = "1 mm"                # tallest wall short of draft that is let pass
//! forgive = 0                  # hook that a flexible casting forgives
//! shank_clearance = "0.2 mm"   # kept by a shank or neck thicker than the cutter
//! holder_clearance = "1 mm"    # kept by the holder
//! crease = 30                  # edges that turn by less are a curved surface, degrees
//! contact = "0.05 mm"          # distance within which two halves touch
//! draft_min_area = "0.5 mm2"   # smallest patch that sets the least draft; a number is mm²
//!
//! [[cutter]]                   # one for each cutter; none at all: the built-in rack
//! name = "1/8 ball"            # optional: `1/8in ball`, `6mm flat`, `1/2in bull r1/16in` otherwise
//! diameter = "1/8in"
//! shape = "ball"               # or "flat", or corner_radius instead; neither: ball
//! flute_length = "1/2in"       # from the tip; not given: to the end of the neck, or without one to the holder
//! neck = { diameter = "3 mm", length = "18 mm" }   # length from the tip
//! shank = "1/8in"              # diameter; not given: the cutting diameter
//! stickouts = ["3/4in", "1.5in"]   # tip to holder face
//! holder = "collet"            # not given: the first holder
//! teeth = 2                    # this and the next three serve planning only; not given: 2
//! chip_load = "0.03 mm"        # per tooth; not given: by the material
//! rpm = 30000                  # fastest that its maker allows; not given: the machine's
//! made_of = "carbide"          # or "hss"; not given: carbide
//!
//! [[holder]]                   # none at all: a plain cylinder of 25 mm diameter
//! name = "collet"
//! sections = [                 # from the face up; the last one's upper diameter goes on without end
//!     { diameter = "20 mm", height = "30 mm" },
//!     { lower = "20 mm", upper = "40 mm", height = "10 mm" },
//! ]
//!
//! [machine]                    # for planning; each is optional
//! rpm = 10000                  # fastest spindle speed
//! feed = "2500 mm"             # fastest feed, per minute
//! acceleration = "500 mm"      # of the axes, per second squared
//! tool_change = 60             # seconds
//!
//! [[material]]                 # for planning; a built-in row of the same name gives way
//! name = "steel"
//! speed_m_per_min = [50, 150]  # slowest and fastest cutting speed for carbide, or speed_sfm = [165, 500]
//! chip_share = 0.005           # chip load per tooth over diameter, for cutters that state none
//! rough_depth = 0.1            # depth of a roughing cut over diameter
//! rough_width = 0.25           # its width over diameter
//!
//! [plan]                       # what is wanted; each is optional
//! material = "aluminium"       # also built in: brass, steel, tooling board
//! cusp = "0.01 mm"             # cusp height of finishing
//! semi_cusp = "0.04 mm"        # of semi-finishing
//! share = 0.95                 # share of the surface that must be within it
//! stock = "0.2 mm"             # what finishing takes off
//! side_load = 10               # force sideways at the tip, newtons
//! bend = "0.02 mm"             # deflection that may be under it
//! slender = 5                  # stickout over diameter beyond which a tool is called slender
//! ```

mod check;
mod error;
mod file;
mod planning;
mod rack;
mod table;
mod tool;

pub use error::{ShopError, ShopProblem};
pub use planning::{Edges, Machine, Material, Planning, ToolMaterial, Wanted};
pub use tool::{Part, Segment, Tool};

use crate::units::format_size;

/// A rotating cutter's cutting end: the part that may touch the material.
#[derive(Debug, Clone, PartialEq)]
pub struct Cutter {
    /// Name shown in reports, such as `1/8in ball`.
    pub name: String,
    /// Cutting diameter, mm.
    pub diameter: f64,
    /// Corner radius, mm: half the diameter for a ball, 0 for a flat, between for a bull-nose.
    pub corner_radius: f64,
    /// Length of the flutes from the tip, mm; `None`: to the end of the neck, or without one to the holder face.
    pub flute_length: Option<f64>,
    /// Neck behind the flutes.
    pub neck: Option<Neck>,
    /// Shank diameter, mm; `None`: the cutting diameter.
    pub shank: Option<f64>,
    /// Stickouts (tip to holder face) in which it is used, mm. Empty: none stated.
    pub stickouts: Vec<f64>,
    /// Name of the holder it sits in; `None`: the shop's first.
    pub holder: Option<String>,
    /// What its edges bear; serves planning only.
    pub edges: Edges,
}

/// A relieved part between flutes and shank.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Neck {
    /// Diameter, mm.
    pub diameter: f64,
    /// Distance from the tip at which it ends and the shank begins, mm.
    pub length: f64,
}

/// Kind of a cutter by its corner; `ball`, `flat` or `bull` in reports.
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
    /// A ball-nose with nothing stated but its cutting diameter, mm. It is named by its size: `1/8in ball`
    /// where the diameter is a multiple of 1/64 in, `6mm ball` otherwise.
    pub fn ball(diameter_mm: f64) -> Self {
        let corner_radius = 0.5 * diameter_mm;
        Cutter {
            name: size_name(diameter_mm, corner_radius),
            diameter: diameter_mm,
            corner_radius,
            flute_length: None,
            neck: None,
            shank: None,
            stickouts: Vec::new(),
            holder: None,
            edges: Edges::default(),
        }
    }

    /// Cutting radius, mm.
    pub fn radius(&self) -> f64 {
        0.5 * self.diameter
    }

    /// Kind by corner radius (a corner within 1 nm of half the diameter is a ball).
    pub fn kind(&self) -> CutterKind {
        kind_of(self.diameter, self.corner_radius)
    }
}

fn kind_of(diameter: f64, corner_radius: f64) -> CutterKind {
    if corner_radius >= 0.5 * diameter - 1e-6 {
        CutterKind::Ball
    } else if corner_radius <= 0.0 {
        CutterKind::Flat
    } else {
        CutterKind::Bull
    }
}

/// The name of a cutter that was given none: `1/8in ball`, `6mm flat`, `1/2in bull r1/16in`.
fn size_name(diameter: f64, corner_radius: f64) -> String {
    let size = format_size(diameter);
    match kind_of(diameter, corner_radius) {
        CutterKind::Ball => format!("{size} ball"),
        CutterKind::Flat => format!("{size} flat"),
        CutterKind::Bull => format!("{size} bull r{}", format_size(corner_radius)),
    }
}

/// A tool holder: sections stacked upward from the holder face. The last one goes on without end, a cone as
/// a cylinder of its upper diameter.
#[derive(Debug, Clone, PartialEq)]
pub struct Holder {
    /// Name shown in reports.
    pub name: String,
    /// Sections from the face up.
    pub sections: Vec<Section>,
}

/// A section of a holder: a cone or cylinder about the tool axis.
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
    /// What planning goes by.
    pub planning: Planning,
    /// Unit of model files, where the shop file states one.
    pub units: Option<crate::units::Unit>,
    /// Where all this comes from: a file's name, or `None` for the built-in rack.
    pub source: Option<String>,
}

impl Shop {
    /// Makes every cutter be used in each of these stickouts, mm, in place of its own.
    ///
    /// # Errors
    ///
    /// [`ShopError::Setting`] where one is not more than 0, stands twice, or would draw the flutes or the
    /// neck of a cutter into the holder, or where [`Shop::check`] refuses the rest; the shop is then as it was.
    pub fn with_stickouts(&mut self, stickouts: Vec<f64>) -> Result<(), ShopError> {
        let mut changed = self.clone();
        for cutter in &mut changed.cutters {
            cutter.stickouts.clone_from(&stickouts);
        }
        changed.check()?;
        *self = changed;
        Ok(())
    }

    /// Replaces the rack by balls of these diameters, mm, in the order given, in the usual stickouts of
    /// [`Shop::builtin`]: call [`Shop::with_stickouts`] afterwards, not before.
    ///
    /// # Errors
    ///
    /// [`ShopError::Setting`] where there is none, one is not more than 0 or stands twice, or where [`Shop::check`] refuses the
    /// rest; the shop is then as it was.
    pub fn with_balls(&mut self, diameters: Vec<f64>) -> Result<(), ShopError> {
        let mut changed = self.clone();
        changed.cutters = diameters.into_iter().map(rack::usual_ball).collect();
        changed.check()?;
        *self = changed;
        Ok(())
    }

    /// The holder that a cutter sits in: the one it names, or the first. `None` only where a shop that
    /// [`Shop::check`] refuses lacks it.
    pub fn holder_of(&self, cutter: &Cutter) -> Option<&Holder> {
        match &cutter.holder {
            Some(name) => self.holders.iter().find(|h| h.name == *name),
            None => self.holders.first(),
        }
    }

    /// Every cutter in each of its stickouts, with the cutter's index in `cutters`, in the order of the rack. A cutter
    /// with no stickout stated, or without its holder, gives none.
    pub fn tools(&self) -> Vec<(usize, Tool)> {
        let cutters = self.cutters.iter().enumerate();
        let of = |(k, c)| self.tools_of(c).into_iter().map(move |tool| (k, tool));
        cutters.flat_map(of).collect()
    }

    /// The cutter in each of its stickouts; none without its holder.
    pub fn tools_of(&self, cutter: &Cutter) -> Vec<Tool> {
        let tool = |holder: &Holder| {
            let stickouts = cutter.stickouts.iter();
            stickouts.map(|&s| cutter.tool(s, holder)).collect()
        };
        self.holder_of(cutter).map(tool).unwrap_or_default()
    }
}

/// Limits and tolerances that decide verdicts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Height that may stay, normal to the surface, mm.
    pub leave: f64,
    /// Required draft, degrees off the tool axis.
    pub draft_deg: f64,
    /// Tallest wall short of draft that is let pass, mm along the tool axis.
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

#[cfg(test)]
mod tests;
