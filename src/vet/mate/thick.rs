//! How thick the block is around the hollow, and how thick the casting in it.

use super::Side;
use super::hollow::Closed;
use super::passage::Solid;
use crate::field::Rays;
use crate::mesh::{Mesh, Point, Vector};
use crate::report::HollowKind;
use crate::setup::{Half, Parting, Survey};
use crate::vet::evidence::Valued;
use crate::vet::surface::Surface;
use nalgebra::Isometry3;
use rayon::prelude::*;

/// A thickness and where.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Thin {
    /// How thick, mm.
    pub size: f64,
    /// Its ±.
    pub pm: f64,
    /// Place on the cavity's surface, tool frame of the half it lies in.
    pub at: Point,
    /// That half.
    pub half: usize,
}

/// A place of the cavity's surface.
#[derive(Clone, Copy)]
struct Spot {
    at: Point,
    normal: Vector,
    area: f64,
    half: usize,
    chord: f64,
}

/// Most places of each half's surface that are looked at.
const MOST_SPOTS: f64 = 20_000.0;
/// A wall is measured no more aslant to the surface than this (cosine of 45°).
const ASLANT: f64 = 0.7;
/// Thinnest places that are looked at closely.
const CLOSELY: usize = 32;
/// Rounds in which both ends of a wall are moved towards each other.
const ROUNDS: usize = 60;

/// Places of the hollow's surface in one half that are not in a way out: `corners` adds the facets' corners.
fn spots(
    side: &Side,
    half: usize,
    hollow: &Closed,
    to_a: &Isometry3<f64>,
    corners: bool,
) -> Vec<Spot> {
    let grid = side.survey.grid();
    let wanted = |h: u32| {
        side.survey.hollows[h as usize].kind == HollowKind::Cavity
            && hollow.parts[half].contains(&(h as usize))
    };
    let facets = || side.surface.facets.iter().filter(|f| wanted(f.hollow));
    let area: f64 = facets().map(|f| f.area).sum();
    let spacing = (area / MOST_SPOTS).sqrt().max(grid.cell);
    // no cell about it leads out
    let free = |p: &Point| {
        let (q, g) = (to_a * p, &hollow.grid);
        let marked = |dx: f64, dy: f64| {
            let cell = g.cell_at(q.x + dx * g.cell, q.y + dy * g.cell);
            cell.is_some_and(|(i, j)| hollow.channel[g.index(i, j)])
        };
        !(-1..=1).any(|i| (-1..=1).any(|j| marked(f64::from(i), f64::from(j))))
    };
    let mut found: Vec<Spot> = side
        .surface
        .samples(side.half, spacing, |_, f| wanted(f.hollow))
        .into_iter()
        .map(|s| {
            let f = &side.surface.facets[s.facet as usize];
            Spot {
                at: s.at,
                normal: f.normal,
                area: s.area,
                half,
                chord: f.chord_error,
            }
        })
        .collect();
    if corners {
        let few = (facets().count() as f64 / MOST_SPOTS).ceil().max(1.0) as usize;
        for f in facets().step_by(few) {
            found.extend(side.half.mesh.corners(f.triangle as usize).map(|at| Spot {
                at,
                normal: f.normal,
                area: 0.0,
                half,
                chord: f.chord_error,
            }));
        }
    }
    found.retain(|s| free(&s.at));
    found
}

/// Which triangles of a half bound its outside, or another hole than those that `own` names.
fn outer(half: &Half, survey: &Survey, own: impl Fn(u32) -> bool) -> Vec<bool> {
    let mesh = &half.mesh;
    let tolerance = half.tolerance();
    let face = |p: &Point| survey.parting_at(p.x, p.y);
    let outer = |t: usize| {
        if survey.owner[t].is_some_and(&own) {
            return false;
        }
        let corners = mesh.corners(t);
        let below = corners.iter().any(|p| p.z < face(p) - tolerance);
        if matches!(half.parting, Parting::Flat) {
            return below;
        }
        // a parting face that is not flat looks up and is the highest there
        let middle = Point::from((corners[0].coords + corners[1].coords + corners[2].coords) / 3.0);
        let up = mesh.normal(t).is_some_and(|n| n.z > 0.1);
        let on_face = up && (middle.z - face(&middle)).abs() <= 2.0 * survey.grid().cell;
        below && !(on_face && survey.owner[t].is_none())
    };
    (0..mesh.triangles.len()).map(outer).collect()
}

/// The triangles of `mesh` that `keep` keeps.
fn part(mesh: &Mesh, keep: impl Fn(usize) -> bool) -> Mesh {
    Mesh {
        vertices: mesh.vertices.clone(),
        triangles: (0..mesh.triangles.len())
            .filter(|&t| keep(t))
            .map(|t| mesh.triangles[t])
            .collect(),
    }
}

/// Measures walls: from a place of the hollow's surface into the material.
struct Gauge<'a> {
    all: &'a Rays<'a>,
    outside: &'a Rays<'a>,
    is_outer: &'a [bool],
    tolerance: f64,
    most: f64,
}

impl Gauge<'_> {
    /// Thickness at a place with unit normal `normal`, and the place outside: square to the surface, or the nearest that lies
    /// within 45° of it.
    fn thick(&self, at: &Point, normal: &Vector) -> Option<(f64, Point)> {
        let from = at - normal * (0.5 * self.tolerance);
        let hit = self.all.first_hit(&from, &-normal, self.most);
        let straight = hit
            .filter(|h| self.is_outer[h.triangle as usize])
            .map(|h| (h.distance + 0.5 * self.tolerance, at - normal * h.distance));
        let nearest = self
            .outside
            .closest(at, straight.map_or(self.most, |d| d.0))
            .map(|(q, _)| ((q - at).norm(), q))
            .filter(|(d, q)| *d > self.tolerance && -(q - at).dot(normal) >= ASLANT * d);
        nearest.or(straight)
    }
}

/// Thickness of the wall behind places of the cavity's surface, all of `own` counted as one hollow; for maps.
pub fn walls(
    half: &Half,
    survey: &Survey,
    surface: &Surface,
    all: &Rays,
    own: impl Fn(u32) -> bool + Sync,
) -> Vec<Valued> {
    let is_outer = outer(half, survey, &own);
    let outside = part(&half.mesh, |t| is_outer[t]);
    if outside.triangles.is_empty() {
        return Vec::new();
    }
    let rays = Rays::new(&outside);
    let (lo, hi) = half.bounds();
    let gauge = Gauge {
        all,
        outside: &rays,
        is_outer: &is_outer,
        tolerance: half.tolerance(),
        most: (hi - lo).norm(),
    };
    let wanted = |h: u32| own(h) && survey.hollows[h as usize].kind == HollowKind::Cavity;
    let area: f64 = surface.cavity(survey).map(|(_, f)| f.area).sum();
    let spacing = (area / MOST_SPOTS).sqrt().max(survey.grid().cell);
    surface
        .samples(half, spacing, |_, f| wanted(f.hollow))
        .par_iter()
        .filter_map(|s| {
            let facet = &surface.facets[s.facet as usize];
            let (thick, _) = gauge.thick(&s.at, &facet.normal)?;
            Some(Valued {
                at: [s.at.x as f32, s.at.y as f32, s.at.z as f32],
                triangle: facet.triangle,
                value: thick as f32,
            })
        })
        .collect()
}

/// The thinnest wall of one half between the hollow and the block's outside, or another hole; `None` where there is none.
///
/// Measured square to the hollow's surface, or to the nearest place outside that lies within 45° of it; then both ends are moved
/// to where the wall is thinnest.
pub fn wall(side: &Side, half: usize, hollow: &Closed, to_a: &Isometry3<f64>) -> Option<Thin> {
    let mesh = &side.half.mesh;
    let own = |h: u32| hollow.parts[half].contains(&(h as usize));
    let is_outer = outer(side.half, side.survey, own);
    let outside = part(mesh, |t| is_outer[t]);
    let molded = |t: usize| {
        side.survey.owner[t]
            .is_some_and(|h| own(h) && side.survey.hollows[h as usize].kind == HollowKind::Cavity)
    };
    let inside = part(mesh, molded);
    if outside.triangles.is_empty() || inside.triangles.is_empty() {
        return None;
    }
    let all = Rays::new(mesh);
    let (outside_rays, inside_rays) = (Rays::new(&outside), Rays::new(&inside));
    let (lo, hi) = side.half.bounds();
    let most = (hi - lo).norm();
    let gauge = Gauge {
        all: &all,
        outside: &outside_rays,
        is_outer: &is_outer,
        tolerance: side.half.tolerance(),
        most,
    };
    let spots = spots(side, half, hollow, to_a, true);
    let mut found: Vec<(f64, Point, usize)> = spots
        .par_iter()
        .enumerate()
        .filter_map(|(k, s)| gauge.thick(&s.at, &s.normal).map(|(d, q)| (d, q, k)))
        .collect();
    found.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.2.cmp(&b.2)));
    let best = found
        .iter()
        .take(CLOSELY)
        .map(|&(d, q, k)| {
            let (size, at) = together(
                &inside_rays,
                &inside,
                &outside_rays,
                (d, spots[k].at, q),
                most,
            );
            (size, at, spots[k].chord)
        })
        .min_by(|a, b| a.0.total_cmp(&b.0))?;
    Some(Thin {
        size: best.0,
        pm: best.2 + side.half.rounding,
        at: best.1,
        half,
    })
}

/// Moves both ends of a wall towards each other for as long as it stays square enough to the inner surface.
fn together(
    inside: &Rays,
    mesh: &Mesh,
    outside: &Rays,
    start: (f64, Point, Point),
    most: f64,
) -> (f64, Point) {
    let (mut size, mut at, mut end) = start;
    for _ in 0..ROUNDS {
        let Some((p, t)) = inside.closest(&end, most) else {
            break;
        };
        let Some((q, _)) = outside.closest(&p, most) else {
            break;
        };
        let next = (q - p).norm();
        let square = mesh
            .normal(t as usize)
            .is_some_and(|n| -(q - p).dot(&n) >= ASLANT * next);
        if !square || next >= size - 1e-7 {
            break;
        }
        (size, at, end) = (next, p, q);
    }
    (size, at)
}

/// The thinnest section of the casting: across the hollow square to its surface, over at least `min_area` of it, its ways out
/// left aside.
pub fn section(
    sides: &[Side; 2],
    hollow: &Closed,
    b_to_a: &Isometry3<f64>,
    solid: &Solid,
    min_area: f64,
) -> Option<Thin> {
    let spots: Vec<Spot> = (0..2)
        .flat_map(|half| {
            let to_a = if half == 0 {
                Isometry3::identity()
            } else {
                *b_to_a
            };
            spots(&sides[half], half, hollow, &to_a, false)
        })
        .collect();
    let tolerance = sides[0].half.tolerance();
    let mut found: Vec<(f64, usize)> = spots
        .par_iter()
        .enumerate()
        .filter_map(|(k, s)| {
            let (p, n) = if s.half == 0 {
                (s.at, s.normal)
            } else {
                (b_to_a * s.at, b_to_a * s.normal)
            };
            let off = p + n * (0.5 * tolerance);
            Some((solid.hit(&off, &n)? + 0.5 * tolerance, k))
        })
        .collect();
    found.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let total: f64 = found.iter().map(|f| spots[f.1].area).sum();
    let mut area = 0.0;
    let &(size, k) = found.iter().find(|f| {
        area += spots[f.1].area;
        area >= min_area.min(0.5 * total)
    })?;
    let spot = spots[k];
    Some(Thin {
        size,
        pm: 2.0 * spot.chord + sides[0].half.rounding + (size - found[0].0),
        at: spot.at,
        half: spot.half,
    })
}
