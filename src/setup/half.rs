//! One half of the mold, in its tool frame.

use super::frame::Frame;
use crate::mesh::{Health, Mesh, Point, Topology};

/// What the parting level is.
#[derive(Debug, Clone, PartialEq)]
pub enum Parting {
    /// A flat face at Z = 0.
    Flat,
    /// No flat face, one half alone: Z = 0 is the highest point, all that lies lower is taken as cavity.
    Highest,
    /// Not flat, judged by the other half closed on this one.
    Contact {
        /// The other half, in this half's tool frame.
        other: Mesh,
        /// Surfaces closer than this along Z are in contact, mm.
        within: f64,
    },
}

/// One half of the mold, in its tool frame: tool axis = +Z, parting level at Z = 0.
#[derive(Debug, Clone)]
pub struct Half {
    /// `A` or `B`.
    pub name: String,
    /// File it came from, name only.
    pub file: String,
    /// Its body: index into the model's bodies, the largest 0.
    pub body: usize,
    /// Its surface, tool frame, mm.
    pub mesh: Mesh,
    /// The edges of `mesh`.
    pub topology: Topology,
    /// How its tool frame lies in the model.
    pub frame: Frame,
    /// Why this tool axis, a phrase for the report.
    pub axis_why: String,
    /// What the parting level is.
    pub parting: Parting,
    /// Spacing of the file's 32-bit numbers at its largest coordinate, mm.
    pub rounding: f64,
    /// How sound the mesh is; its places are in the model's coordinates, not in the tool frame.
    pub health: Health,
    /// Outward shells: more than one where pieces overlap, such as a half and its pins.
    pub pieces: usize,
    /// Extent along the model's X, Y and Z, mm.
    pub size: [f64; 3],
}

impl Half {
    /// Smallest and largest coordinates, tool frame, mm; the origin twice for a mesh without triangles.
    pub fn bounds(&self) -> (Point, Point) {
        self.mesh
            .bounds()
            .unwrap_or_else(|| (Point::origin(), Point::origin()))
    }

    /// The block's corner with the lowest X and Y of the tool frame, at the parting level, in the model's coordinates, mm.
    pub fn touch_off(&self) -> [f64; 3] {
        let (lo, _) = self.bounds();
        self.frame.place(&Point::new(lo.x, lo.y, 0.0))
    }

    /// Lengths below this are rounding, mm: the larger of 2 µm and four times the coordinates' rounding.
    pub fn tolerance(&self) -> f64 {
        (4.0 * self.rounding).max(0.002)
    }
}
