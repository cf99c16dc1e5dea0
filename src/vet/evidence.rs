//! What pictures are drawn from: the halves' meshes and what each question says of them, as plain data.
//!
//! Gathered only when asked for, but for a map of a few hundred characters: see [`super::check_with_evidence`]. Figures are the
//! report's; what stands here shows where they come from, at the density of the samples.

use super::cutting::Cutting;
use super::mate::{RimStep, walls};
use super::reach::{Ground, Reached};
use super::surface::Sample;
use crate::field::{Grid, HeightMap, Nearest, disc_dilate, max_pool};
use crate::mesh::{Mesh, Point};
use crate::report::{HollowKind, Relief};
use crate::setup::{Frame, Half, Survey};
use crate::shop::{Cutter, Holder, Limits};
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
    /// Stickout at which the holder clears while the cutter touches here, mm, to about a cell of the map it is read from;
    /// `NaN` where the cutter does not touch.
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

    /// What `cutter` touches and leaves.
    pub(super) fn add(
        &mut self,
        ground: &Ground,
        cutting: &Cutting,
        reached: &Reached,
        cutter: &Cutter,
        holder: Option<&Holder>,
        limits: &Limits,
    ) {
        let clear = holder.map(|h| Clear::of(&self.top, h, limits.holder_clearance));
        let corner = cutter.corner_radius;
        let place = |at: &Point, triangle: u32, n: &Nearest| LeftPlace {
            at: single(at),
            triangle,
            left: n.left as f32,
            centre: single(&n.centre),
            stickout: match &clear {
                Some(clear) if n.left <= limits.leave => {
                    clear.stickout(n.centre.x, n.centre.y, n.centre.z - corner)
                }
                _ => f32::NAN,
            },
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

/// Lowest heights of a holder's face over the half, section by section.
struct Clear {
    /// Height of a section's lower end above the face, and the lowest it may stand.
    sections: Vec<(f64, HeightMap)>,
}

/// Hollows, largest first, whose walls are measured.
const WALLED: usize = 8;

/// Cells of the map that holder heights are read from.
const CLEAR_CELLS: usize = 160_000;

impl Clear {
    fn of(top: &HeightMap, holder: &Holder, clearance: f64) -> Clear {
        let factor = ((top.grid.len() as f64 / CLEAR_CELLS as f64).sqrt().ceil() as usize).max(1);
        let pooled = max_pool(top, factor);
        let mut sections: Vec<(f64, f64)> = Vec::new();
        let mut from = 0.0;
        for s in &holder.sections {
            // a cone as steps that hold it
            sections.push((from, 0.5 * s.lower_diameter.max(s.upper_diameter)));
            from += s.height;
        }
        Clear {
            sections: sections
                .into_iter()
                .map(|(from, radius)| (from, grown(&pooled, radius, clearance)))
                .collect(),
        }
    }

    /// Stickout that keeps the holder clear while the tip stands at (x, y, tip).
    fn stickout(&self, x: f64, y: f64, tip: f64) -> f32 {
        let need = |(from, map): &(f64, HeightMap)| {
            let (i, j) = map.grid.cell_at(x, y)?;
            let low = map.get(map.grid.index(i, j))?;
            Some((f64::from(low) - tip - from) as f32)
        };
        self.sections.iter().filter_map(need).fold(0.0, f32::max)
    }
}

/// Lowest heights of a flat disc of `radius` that keeps `clearance` to `top` all round: a cylinder grown by a ball, its
/// rounded rim as three steps.
fn grown(top: &HeightMap, radius: f64, clearance: f64) -> HeightMap {
    let margin = (radius + clearance) / top.grid.cell;
    let wide = widened(top, margin.ceil() as usize + 1);
    let mut all = HeightMap::empty(wide.grid);
    for angle in [0.0_f64, 45.0, 90.0] {
        let (out, up) = angle.to_radians().sin_cos();
        let step = disc_dilate(&wide, radius + out * clearance);
        for (all, step) in all.values_mut().iter_mut().zip(step.values()) {
            *all = all.max(step + (up * clearance) as f32);
        }
    }
    all
}

/// The same map with `by` empty cells around it.
fn widened(map: &HeightMap, by: usize) -> HeightMap {
    let g = map.grid;
    let grid = Grid {
        origin: g.origin.map(|o| o - g.cell * by as f64),
        nx: g.nx + 2 * by,
        ny: g.ny + 2 * by,
        ..g
    };
    let mut wide = HeightMap::empty(grid);
    for j in 0..g.ny {
        let to = grid.index(by, j + by);
        let from = g.index(0, j);
        wide.values_mut()[to..to + g.nx].copy_from_slice(&map.values()[from..from + g.nx]);
    }
    wide
}

fn single(p: &Point) -> [f32; 3] {
    [p.x as f32, p.y as f32, p.z as f32]
}

#[cfg(test)]
mod tests;
