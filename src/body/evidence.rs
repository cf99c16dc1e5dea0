//! The part as pictures show it.

use super::skin::{Sample, Skin};
use crate::field::{Columns, Grid};
use crate::mesh::Point;
use crate::report::HollowKind;
use crate::setup::Frame;
use crate::vet::{FacetEvidence, HalfEvidence};
use rayon::prelude::*;

/// Columns along the longer side of the part's own plan.
const COLUMNS: f64 = 700.0;

/// The part in the frame of the pull: draft of each facet towards the side that it faces, and whether it is seen from neither.
pub(super) fn part(skin: &Skin, frame: Frame, rounding: f64) -> HalfEvidence {
    let d = frame.axis;
    let mesh = skin.mesh.transformed(&frame.to_tool);
    let facets = (0..mesh.triangles.len())
        .into_par_iter()
        .map(|t| {
            let facet = skin.mesh.normal(t)?;
            let [a, b, c] = skin.mesh.corners(t);
            let middle = Sample {
                at: Point::from((a.coords + b.coords + c.coords) / 3.0),
                facet,
                smooth: facet,
            };
            let draft = facet.dot(&d).abs().clamp(0.0, 1.0).asin().to_degrees();
            Some(FacetEvidence {
                hollow: HollowKind::Cavity,
                draft_deg: draft as f32,
                hidden: skin.hides(&middle, &d),
            })
        })
        .collect();
    let (lo, hi) = mesh.bounds().unwrap_or_default();
    let cell = ((hi.x - lo.x).max(hi.y - lo.y) / COLUMNS).max(1e-6);
    let grid = Grid::covering([lo.x, lo.y], [hi.x, hi.y], 2.0 * cell, cell);
    let top = Columns::cast(&mesh, grid).top();
    HalfEvidence {
        frame,
        rounding,
        facets,
        hollows: vec![None; grid.len()],
        top,
        mesh,
        cutters: Vec::new(),
        radii: Vec::new(),
        walls: Vec::new(),
        cusps: Vec::new(),
    }
}
