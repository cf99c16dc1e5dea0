//! Pictures of what a check found: maps of the plan and sections, as PNG. Draws figures, computes none.

mod canvas;
mod colour;
mod layers;
mod map;
mod section;
mod ticks;
pub mod view;

pub use canvas::{Canvas, Rgb};
pub use colour::{CIVIDIS_HEX, Ramp, okabe_ito};
pub use layers::best_cutter;
use layers::layers;
pub use map::{Layer, Limit, Mark, Picture, Plot, draw};
pub use section::{reach_section, tool_section};

use crate::report::Report;
use crate::shop::Shop;
use crate::units::Unit;
use crate::vet::Evidence;
use rayon::prelude::*;

/// A check's maps, ready to be drawn in either unit.
pub struct Drawing<'a> {
    report: &'a Report,
    evidence: &'a Evidence,
    shop: &'a Shop,
    /// For each half its maps.
    pub layers: Vec<Vec<Layer>>,
}

impl<'a> Drawing<'a> {
    /// Lays the values of all maps over the plan.
    pub fn new(report: &'a Report, evidence: &'a Evidence, shop: &'a Shop) -> Drawing<'a> {
        let halves = report.halves.len().min(evidence.halves.len());
        let layers = (0..halves)
            .into_par_iter()
            .map(|h| layers(report, evidence, h))
            .collect();
        Drawing {
            report,
            evidence,
            shop,
            layers,
        }
    }

    /// Pictures in the reader's unit: for each half its maps, then its sections, of those whose key is `wanted`. Keys are
    /// unique and safe as names of files: `a-depth`, `b-left-3`, `a-section-reach`.
    pub fn pictures(&self, unit: Unit, wanted: impl Fn(&str) -> bool) -> Vec<Picture> {
        let mut pictures = Vec::new();
        for (h, layers) in self.layers.iter().enumerate() {
            let marks = marks(self.report, self.evidence, h);
            let chosen: Vec<&Layer> = layers.iter().filter(|l| wanted(&l.key)).collect();
            let maps: Vec<Picture> = chosen
                .par_iter()
                .map(|layer| draw(layer, &marks, unit))
                .collect();
            pictures.extend(maps);
            pictures.extend(reach_section(self.report, self.evidence, h, unit));
            pictures.extend(tool_section(self.report, self.evidence, self.shop, h, unit));
        }
        pictures
    }
}

/// Numbered places of a half, tool frame: findings by their number in the report, from 1.
pub fn marks(report: &Report, evidence: &Evidence, half: usize) -> Vec<Mark> {
    let name = &report.halves[half].name;
    let frame = &evidence.halves[half].frame;
    report
        .findings
        .iter()
        .enumerate()
        .filter(|(_, f)| f.half.as_ref() == Some(name))
        .filter_map(|(k, f)| {
            let p = frame.to_tool * nalgebra::Point3::from(f.at_mm?);
            Some(Mark {
                number: k + 1,
                at: [p.x, p.y, p.z],
            })
        })
        .collect()
}
