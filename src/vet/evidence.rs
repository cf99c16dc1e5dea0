//! What pictures are drawn from: the halves' meshes and what each question says of them, as plain data.
//!
//! Gathered only when asked for, but for a map of a few hundred characters: see [`super::check_with_evidence`]. Figures are the
//! report's; what stands here shows where they come from, at the density of the samples.

use super::cutting::Cutting;
use super::mate::{RimStep, walls};
use super::reach::{Ground, Reached};
use super::surface::Sample;
use crate::field::{HeightMap, Nearest};
use crate::mesh::{Mesh, Point};
use crate::report::{HollowKind, Relief};
use crate::setup::{Frame, Half, Survey};
use crate::shop::Cutter;
use nalgebra::Isometry3;
use rayon::prelude::*;

/// Evidence of one check.
#[derive(Debug, Clone, Default)]
pub struct Evidence {
    /// One entry a half, in the order of the report; none unless pictures were asked for.
    pub halves: Vec<HalfEvidence>,
    /// One small map a half, always.
    pub reliefs: Vec<Relief>,
    /// Takes the second half's tool frame to the first's, closed; `None` for one half.
    pub b_to_a: Option<Isometry3<f64>>,
    /// How the halves meet; none unless pictures were asked for.
    pub pair: Option<PairEvidence>,
    /// The part that the halves were made from, as if it were a half: its frame's Z is the pull, Z = 0 the parting level, and
    /// draft is towards the side that a facet faces. Only of a body, and only if pictures were asked for.
    pub part: Option<HalfEvidence>,
}

/// How two halves meet, closed, in A's tool frame.
#[derive(Debug, Clone)]
pub struct PairEvidence {
    /// Distance along Z from A's parting face up to B's, mm; negative: they overlap.
    pub gap: HeightMap,
    /// The cavity rims beside each other.
    pub rim: Vec<RimStep>,
    /// Wall behind the cavity of each half, in its own tool frame; hollows that are one when closed count as one.
    pub walls: [Vec<Valued>; 2],
}

/// A value at a place of the surface, tool frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Valued {
    /// Place.
    pub at: [f32; 3],
    /// Triangle of the half's mesh; `u32::MAX`: not known.
    pub triangle: u32,
    /// The value, mm.
    pub value: f32,
}

/// Evidence of one half, in its tool frame (tool axis +Z, parting level 0), mm.
#[derive(Debug, Clone)]
pub struct HalfEvidence {
    /// Model coordinates to tool frame.
    pub frame: Frame,
    /// Its surface.
    pub mesh: Mesh,
    /// Largest step between neighbouring coordinates of the file, mm.
    pub rounding: f64,
    /// For each triangle what hollow it bounds and what was judged there; `None`: not surface of a hollow.
    pub facets: Vec<Option<FacetEvidence>>,
    /// Highest crossing of each column.
    pub top: HeightMap,
    /// For each cell of `top` the hollow it opens into.
    pub hollows: Vec<Option<HollowKind>>,
    /// One entry for each cutter that was tried.
    pub cutters: Vec<CutterEvidence>,
    /// Radius of the largest ball that touches each place of the visible cavity surface.
    pub radii: Vec<Valued>,
    /// Thickness of the block behind the cavity's surface, to its outside or another hole.
    pub walls: Vec<Valued>,
    /// Height of the cusps that the planned passes of the finishing ball leave where it touches; none without a plan.
    pub cusps: Vec<Valued>,
}

/// What is known of one triangle that bounds a hollow.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FacetEvidence {
    /// Kind of the hollow.
    pub hollow: HollowKind,
    /// Draft, degrees.
    pub draft_deg: f32,
    /// Material stands straight above its middle.
    pub hidden: bool,
}

/// What one cutter leaves, place by place.
#[derive(Debug, Clone)]
pub struct CutterEvidence {
    /// Name in the rack.
    pub name: String,
    /// Places on the visible cavity surface.
    pub places: Vec<LeftPlace>,
    /// The place of the largest height left, and the cutter's centre that comes nearest to it.
    pub worst: Option<LeftPlace>,
}

/// A place on the visible cavity surface.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeftPlace {
    /// Place, tool frame.
    pub at: [f32; 3],
    /// Triangle of the half's mesh; `u32::MAX` where only the place is known.
    pub triangle: u32,
    /// Height left normal to the surface, mm; 0: touched.
    pub left: f32,
    /// Centre of the cutter's corner ball (of its axis) that touches or comes nearest, tool frame.
    pub centre: [f32; 3],
    /// Stickout at which the holder clears while the cutter touches here, mm: the most by the map that it is read from, which tells
    /// it to about a cell, or an eighth of a cone's height; `NaN` where the cutter does not touch.
    pub stickout: f32,
}

impl CutterEvidence {
    /// One value of each place.
    pub fn valued(&self, value: impl Fn(&LeftPlace) -> f32) -> Vec<Valued> {
        let places = self.places.iter();
        places
            .map(|p| Valued {
                at: p.at,
                triangle: p.triangle,
                value: value(p),
            })
            .collect()
    }
}

impl HalfEvidence {
    /// What does not depend on cutters.
    pub(super) fn of(ground: &Ground) -> HalfEvidence {
        let Ground {
            half,
            survey,
            surface,
            shade,
            ..
        } = ground;
        let any_hidden = shade.any();
        let facets = surface
            .of_triangle
            .par_iter()
            .map(|f| {
                let facet = &surface.facets[(*f)? as usize];
                let hollow = survey.hollows[facet.hollow as usize].kind;
                let middle = Sample {
                    at: facet.centroid,
                    facet: (*f)?,
                    area: facet.area,
                    normal: facet.normal,
                };
                Some(FacetEvidence {
                    hollow,
                    draft_deg: facet.draft_deg as f32,
                    hidden: any_hidden
                        && hollow == HollowKind::Cavity
                        && shade.hides(surface, &middle),
                })
            })
            .collect();
        let mut kept = HalfEvidence::bare(half, survey, facets);
        let hollows = &survey.hollows;
        let mut cavities: Vec<usize> = (0..hollows.len())
            .filter(|&h| hollows[h].kind == HollowKind::Cavity)
            .collect();
        cavities.sort_by_key(|&h| std::cmp::Reverse(hollows[h].cells));
        for &h in cavities.iter().take(WALLED) {
            kept.walls
                .extend(walls(half, survey, surface, &ground.contacts.rays, |own| {
                    own as usize == h
                }));
        }
        kept
    }

    fn bare(half: &Half, survey: &Survey, facets: Vec<Option<FacetEvidence>>) -> HalfEvidence {
        let cells = 0..survey.grid().len();
        HalfEvidence {
            frame: half.frame,
            mesh: half.mesh.clone(),
            rounding: half.rounding,
            facets,
            top: survey.top.clone(),
            hollows: cells
                .map(|k| survey.hollow_at(k).map(|h| survey.hollows[h].kind))
                .collect(),
            cutters: Vec::new(),
            radii: Vec::new(),
            walls: Vec::new(),
            cusps: Vec::new(),
        }
    }

    /// What `cutter` touches and leaves; `stickout` tells the most that a place may ask for where it is touched.
    pub(super) fn add(
        &mut self,
        ground: &Ground,
        cutting: &Cutting,
        reached: &Reached,
        cutter: &Cutter,
        stickout: impl Fn(&Nearest) -> Option<f64> + Sync,
    ) {
        let place = |at: &Point, triangle: u32, n: &Nearest| LeftPlace {
            at: single(at),
            triangle,
            left: n.left as f32,
            centre: single(&n.centre),
            stickout: stickout(n).map_or(f32::NAN, |s| s as f32),
        };
        let places = (reached.groups.samples)
            .par_iter()
            .zip(&reached.nearest)
            .map(|(s, n)| place(&s.at, ground.surface.facets[s.facet as usize].triangle, n))
            .collect();
        let worst = reached.worst.map(|(left, at)| {
            let near = Nearest {
                left,
                ..cutting.left(&at)
            };
            place(&at, u32::MAX, &near)
        });
        self.cutters.push(CutterEvidence {
            name: cutter.name.clone(),
            places,
            worst,
        });
    }
}

/// Hollows, largest first, whose walls are measured.
const WALLED: usize = 8;

fn single(p: &Point) -> [f32; 3] {
    [p.x as f32, p.y as f32, p.z as f32]
}
