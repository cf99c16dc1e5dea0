//! What each cutter does at each place of the cavity: the one door from planning to the reach and depth checks.

use super::curve::Form;
use crate::field::{Dropper, Grid, HeightMap, Nearest, Profile, disc_dilate};
use crate::mesh::{Point, Vector};
use crate::shop::{Cutter, CutterKind, Part, Shop};
use crate::vet::cutting::{Cutting, TOUCH};
use crate::vet::depth::guarded;
use crate::vet::reach::Ground;
use rayon::prelude::*;

/// Places over the whole cavity, about.
const PLACES: f64 = 9000.0;
/// Nodes per cutting radius, and most nodes, for one cutter.
const NODES_PER_RADIUS: f64 = 20.0;
/// See [`NODES_PER_RADIUS`].
const MOST_NODES: f64 = 1e6;
/// Nodes of a large cutter are no farther apart, mm: the exact answer is sought only within about a cell of the leave.
const WIDEST_CELL: f64 = 0.2;
/// The same for cutters that are not balls, whose nodes cost more.
const MOST_FLAT_NODES: f64 = 6e4;
/// Nodes across a thick section's diameter, and most nodes of its map.
const NODES_ACROSS: f64 = 16.0;
/// See [`NODES_ACROSS`]; for cones.
const MOST_MAP_NODES: f64 = 5e3;
/// The same for cylinders.
const MOST_OFFSET_NODES: f64 = 1e5;
/// Nodes of a cylinder's map are no farther apart, mm.
const WIDEST_STEP: f64 = 0.25;

/// A place of the cavity's visible surface.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// Where, tool frame.
    pub at: Point,
    /// Area that it stands for, mm²; 0 for a place on a sharp edge.
    pub area: f64,
    /// Facet of the cavity's surface; `None` on a sharp edge.
    pub facet: Option<u32>,
    /// Triangle of the mesh that it lies on.
    pub triangle: u32,
    /// Unit normal of that triangle, or of the surface over a sharp edge.
    pub facet_normal: Vector,
    /// Unit normal of the surface that the mesh stands for.
    pub normal: Vector,
    /// Index of its hollow.
    pub hollow: u32,
    /// Distance between mesh and surface around, mm.
    pub chord: f64,
}

/// The visible cavity, and its sharp edges.
pub fn places(ground: &Ground, form: &Form) -> Vec<Place> {
    let whole: f64 = ground
        .surface
        .cavity(ground.survey)
        .map(|(_, f)| f.area)
        .sum();
    let spacing = (whole / PLACES).sqrt().max(1e-3);
    let mesh = &ground.half.mesh;
    let mut places: Vec<Place> = ground
        .visible(spacing)
        .into_iter()
        .map(|s| {
            let facet = &ground.surface.facets[s.facet as usize];
            Place {
                at: s.at,
                area: s.area,
                facet: Some(s.facet),
                triangle: facet.triangle,
                facet_normal: facet.normal,
                normal: form.normal(mesh, facet.triangle as usize, &s.at),
                hollow: facet.hollow,
                chord: facet.chord_near,
            }
        })
        .collect();
    let sharp = ground.sharp.iter().flat_map(|s| &s.places);
    places.extend(sharp.filter_map(|p| {
        let sum: Vector = p.normals.iter().sum();
        let normal = sum.try_normalize(1e-9)?;
        Some(Place {
            at: p.at,
            area: 0.0,
            facet: None,
            triangle: 0,
            facet_normal: normal,
            normal,
            hollow: 0,
            chord: 0.0,
        })
    }));
    places
}

/// What one cutter does.
#[derive(Debug, Clone, PartialEq)]
pub struct Reaching {
    /// Height left at each place, mm; 0 where it touches.
    pub left: Vec<f64>,
    /// The centre from which it touches or comes nearest.
    pub centre: Vec<Point>,
    /// Visible cavity space that it does not cover, mm³.
    pub left_volume: f64,
}

/// Judges one cutter at all places; `None` if there is no cavity.
pub fn reaching(
    ground: &Ground,
    cutter: &Cutter,
    places: &[Place],
    leave: f64,
) -> Option<Reaching> {
    let radius = cutter.radius();
    let (lo, hi) = ground.plan()?;
    let margin = 1.05 * radius;
    let area = (hi[0] - lo[0] + 2.0 * margin) * (hi[1] - lo[1] + 2.0 * margin);
    let is_ball = cutter.kind() == CutterKind::Ball;
    let most = if is_ball { MOST_NODES } else { MOST_FLAT_NODES };
    let cell = (radius / NODES_PER_RADIUS)
        .min(WIDEST_CELL)
        .max((area / most).sqrt());
    let grid = Grid::covering(lo, hi, margin, cell);
    let mut cutting = Cutting::new(ground, radius, cutter.corner_radius, grid);
    if is_ball {
        // between the nodes as for the check; of the others the triangles are asked instead
        let at_nodes = |p: &Place| {
            let slack = TOUCH + p.chord.min(0.25 * leave);
            let centre = cutting.touching(&p.at, &p.normal);
            if cutting.shown_free(&centre, slack) {
                return None;
            }
            let left = cutting.left(&p.at).left;
            (left > slack).then_some((p.at, left))
        };
        let open: Vec<(Point, f64)> = places.par_iter().filter_map(at_nodes).collect();
        cutting.look_between(&open, leave, Vec::new());
    }
    let cutting = &cutting;
    let found: Vec<Nearest> = places
        .par_iter()
        .map(|p| nearest(cutting, p, leave))
        .collect();
    let volumes: Vec<f64> = places
        .par_iter()
        .zip(&found)
        .map(|(p, n)| {
            let up = p.facet_normal.z;
            if n.left == 0.0 || up <= 0.0 || p.area == 0.0 {
                return 0.0;
            }
            let parting = ground.survey.parting_at(p.at.x, p.at.y);
            let covered = cutting.places.covered_from(p.at.x, p.at.y, None);
            let covered = covered.map_or(parting, |(z, _)| z.min(parting));
            p.area * up * (covered - p.at.z).max(0.0)
        })
        .collect();
    Some(Reaching {
        left: found.iter().map(|n| n.left).collect(),
        centre: found.iter().map(|n| n.centre).collect(),
        left_volume: volumes.iter().sum(),
    })
}

/// The nearest that the cutter comes to a place: what the nodes show first, then the triangles where they cannot tell.
fn nearest(cutting: &Cutting, p: &Place, leave: f64) -> Nearest {
    let slack = TOUCH + p.chord.min(0.25 * leave);
    let centre = cutting.touching(&p.at, &p.normal);
    let touched = Nearest { left: 0.0, centre };
    if p.facet.is_some() && cutting.shown_free(&centre, slack) {
        return touched;
    }
    let near = cutting.left(&p.at);
    let cell = cutting.grid().cell;
    if near.left <= slack {
        return Nearest { left: 0.0, ..near };
    }
    if p.facet.is_some() && near.left < slack + cell && cutting.free(&centre, slack) {
        return touched;
    }
    // what nodes say is an upper bound: exact where it decides whether the place is done
    if near.left > leave && near.left < leave + 0.75 * cell {
        cutting.refine(&p.at, &[p.normal], near)
    } else {
        near
    }
}

/// Stickout that each place asks of a cutter in its holder: infinite where neck or shank are in the way, or the
/// cutter leaves more than `leave`.
pub fn stickouts(
    ground: &Ground,
    shop: &Shop,
    cutter: &Cutter,
    reaching: &Reaching,
    leave: f64,
    maps: &mut Vec<(Profile, HeightMap)>,
) -> Vec<f64> {
    let Some(holder) = shop.holder_of(cutter) else {
        return vec![f64::INFINITY; reaching.left.len()];
    };
    // neck and shank stand at the same height whatever the stickout
    let long = cutter.tool(LONG, holder);
    let guards = guarded(&long, cutter.radius(), &shop.limits);
    for g in &guards {
        if maps.iter().all(|m| m.0 != g.profile)
            && let Some(map) = lowest(ground, g.profile)
        {
            maps.push((g.profile, map));
        }
    }
    let maps = &*maps;
    let low = cutter.corner_radius;
    reaching
        .left
        .par_iter()
        .zip(&reaching.centre)
        .map(|(&left, centre)| {
            if left > leave {
                return f64::INFINITY;
            }
            let tip = centre.z - low;
            let mut needed = least_stickout(cutter);
            for g in &guards {
                let Some(map) = maps.iter().find(|m| m.0 == g.profile) else {
                    continue;
                };
                let z = around(&map.1, centre.x, centre.y) - tip;
                match g.part {
                    // the holder's reference height less what it has at stickout zero
                    Part::Holder => needed = needed.max(z - (g.above_tip - LONG)),
                    Part::Neck | Part::Shank if z > g.above_tip + 1e-3 => return f64::INFINITY,
                    Part::Neck | Part::Shank => {}
                }
            }
            needed
        })
        .collect()
}

/// A stickout longer than any, mm.
const LONG: f64 = 10_000.0;

/// Stickout below which flutes or neck would be in the holder, mm.
fn least_stickout(cutter: &Cutter) -> f64 {
    match (cutter.neck, cutter.flute_length) {
        (Some(neck), _) => neck.length,
        (None, Some(flutes)) => flutes,
        (None, None) => cutter.corner_radius,
    }
}

/// Lowest heights of a section's reference point over the cavity: of a cylinder the largest offset height under its flat
/// part, of a cone the exact height at each node.
fn lowest(ground: &Ground, profile: Profile) -> Option<HeightMap> {
    let (lo, hi) = ground.plan()?;
    let area = |margin: f64| (hi[0] - lo[0] + 2.0 * margin) * (hi[1] - lo[1] + 2.0 * margin);
    if let Profile::Cutter {
        radius,
        corner_radius,
    } = profile
        && corner_radius > 0.0
    {
        let cell = (2.0 * radius / NODES_ACROSS).min(WIDEST_STEP);
        let cell = cell.max((area(radius) / MOST_OFFSET_NODES).sqrt());
        let grid = Grid::covering(lo, hi, radius + 2.0 * cell, cell);
        let base = ground.contacts.pieces.height_map(grid, corner_radius);
        return Some(disc_dilate(&base, radius - corner_radius + 0.71 * cell));
    }
    let cell = (2.0 * profile.reach() / NODES_ACROSS).min(1.0);
    let cell = cell.max((area(0.5) / MOST_MAP_NODES).sqrt());
    let grid = Grid::covering(lo, hi, 0.5, cell);
    let dropper: &Dropper = &ground.contacts.dropper;
    let values: Vec<f32> = (0..grid.len())
        .into_par_iter()
        .map(|k| {
            let [x, y] = grid.centre_of(k);
            dropper
                .centre_height(profile, x, y)
                .map_or(f32::NEG_INFINITY, |c| c.z as f32)
        })
        .collect();
    Some(HeightMap::from_values(grid, values))
}

/// The largest of the four nodes around a place.
fn around(map: &HeightMap, x: f64, y: f64) -> f64 {
    let grid = map.grid;
    let at = |v: f64, o: f64, n: usize| {
        (((v - o) / grid.cell - 0.5).floor().max(0.0) as usize).min(n.saturating_sub(2))
    };
    let i = at(x, grid.origin[0], grid.nx);
    let j = at(y, grid.origin[1], grid.ny);
    let mut most = f64::NEG_INFINITY;
    for (di, dj) in [(0, 0), (1, 0), (0, 1), (1, 1)] {
        let k = grid.index((i + di).min(grid.nx - 1), (j + dj).min(grid.ny - 1));
        most = most.max(f64::from(map.values()[k]));
    }
    most
}
