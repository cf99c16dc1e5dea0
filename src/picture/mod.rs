//! Pictures of what a check found: maps of the plan and sections, as PNG. Draws figures, computes none.

mod canvas;
mod cells;
mod colour;
mod layers;
mod map;
mod pair;
mod part;
mod section;
mod ticks;
pub(crate) mod view;

pub use canvas::{Canvas, Rgb};
pub(crate) use colour::CIVIDIS_HEX;
pub use colour::Ramp;
use layers::layers;
pub(crate) use layers::{best_cutter, left, stickouts, turned};
pub(crate) use map::{Layer, Limit, Mark, PAGE_ROOM};
pub use map::{Picture, Plot};
use map::{ROOM, draw};
use pair::pair_layers;
use part::part_layers;
pub(crate) use part::parting_line;
use section::{reach_section, tool_section};

use crate::report::{Finding, Report};
use crate::setup::Frame;
use crate::shop::Shop;
use crate::units::Unit;
use crate::vet::Evidence;
use rayon::prelude::*;

/// A check's maps, ready to be drawn in either unit.
pub struct Drawing<'a> {
    pub(crate) report: &'a Report,
    pub(crate) evidence: &'a Evidence,
    pub(crate) shop: &'a Shop,
    /// For each half its maps.
    pub(crate) layers: Vec<Vec<Layer>>,
    /// Maps of both halves together.
    pub(crate) pair: Vec<Layer>,
    /// Maps of the part that the halves were made from.
    pub(crate) part: Vec<Layer>,
}

impl<'a> Drawing<'a> {
    /// Lays the values of all maps over the plan; report and evidence of the same check. Without evidence of a half it has no
    /// pictures.
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
            pair: pair_layers(report, evidence),
            part: part_layers(report, evidence),
        }
    }

    /// Pictures in the reader's unit: maps of the part, for each half its maps, then its sections, and maps of both together. Of
    /// the maps those whose key is `wanted`; sections always. Keys are unique and safe as names of files: `a-depth`, `b-left-3`,
    /// `a-section-reach`.
    pub fn pictures(&self, unit: Unit, wanted: impl Fn(&str) -> bool + Sync) -> Vec<Picture> {
        self.pictures_in(ROOM, unit, wanted)
    }

    /// The same with maps of at most `room`, px.
    pub(crate) fn pictures_in(
        &self,
        room: [f64; 2],
        unit: Unit,
        wanted: impl Fn(&str) -> bool + Sync,
    ) -> Vec<Picture> {
        let maps = |layers: &[Layer], marks: &[Mark]| -> Vec<Picture> {
            let chosen: Vec<&Layer> = layers.iter().filter(|l| wanted(&l.key)).collect();
            chosen
                .par_iter()
                .map(|layer| draw(layer, marks, unit, room))
                .collect()
        };
        let mut pictures = maps(&self.part, &part_marks(self.report, self.evidence));
        for (h, layers) in self.layers.iter().enumerate() {
            pictures.extend(maps(layers, &marks(self.report, self.evidence, h)));
            pictures.extend(reach_section(self.report, self.evidence, h, unit));
            pictures.extend(tool_section(self.report, self.evidence, self.shop, h, unit));
        }
        pictures.extend(maps(&self.pair, &pair_marks(self.report, self.evidence)));
        pictures
    }
}

/// Numbered places of a half, tool frame: findings by their number in the report, from 1.
pub(crate) fn marks(report: &Report, evidence: &Evidence, half: usize) -> Vec<Mark> {
    let name = &report.halves[half].name;
    places(report, &evidence.halves[half].frame, |f| {
        f.half.as_ref() == Some(name)
    })
}

/// Numbered places of both halves together, A's tool frame.
pub(crate) fn pair_marks(report: &Report, evidence: &Evidence) -> Vec<Mark> {
    let first = evidence.halves.first();
    first.map_or(Vec::new(), |half| {
        places(report, &half.frame, |f| {
            f.half.is_none() && f.check == "mating"
        })
    })
}

/// Numbered places of the part, frame of the pull.
pub(crate) fn part_marks(report: &Report, evidence: &Evidence) -> Vec<Mark> {
    let part = evidence.part.as_ref();
    part.map_or(Vec::new(), |part| {
        places(report, &part.frame, |f| {
            f.half.is_none() && f.check == "body"
        })
    })
}

fn places(report: &Report, frame: &Frame, take: impl Fn(&Finding) -> bool) -> Vec<Mark> {
    let findings = report.findings.iter().enumerate();
    findings
        .filter(|(_, f)| take(f))
        .filter_map(|(k, f)| {
            let p = frame.to_tool * nalgebra::Point3::from(f.at_mm?);
            Some(Mark {
                number: k + 1,
                at: [p.x, p.y, p.z],
            })
        })
        .collect()
}
