//! The hollow that both halves close around: its parts, and its openings to the outside.

use super::Side;
use super::passage::{Lattice, Solid, narrowest};
use crate::field::Grid;
use crate::mesh::{Point, Sets};
use crate::report::{HollowKind, OpeningKind};
use crate::setup::{Survey, neighbours};
use nalgebra::Isometry3;
use std::collections::BTreeMap;

/// One hollow of the closed mold.
#[derive(Debug, Clone)]
pub struct Closed {
    /// The hollows of A and of B that it is made of.
    pub parts: [Vec<usize>; 2],
    /// Area that it takes in plan, mm².
    pub plan_area: f64,
    /// Its widest place, A's tool frame: where the largest ball fits of those looked at.
    pub widest: Point,
    /// Where it opens to the outside.
    pub openings: Vec<Opening>,
    /// A's grid.
    pub grid: Grid,
    /// Its cells that belong to the way out of an opening.
    pub channel: Vec<bool>,
}

/// A way out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Opening {
    /// Which way it goes.
    pub kind: OpeningKind,
    /// Its narrowest place, A's tool frame.
    pub at: Point,
    /// Diameter of the largest ball that passes, mm; `None` where it could not be followed.
    pub size: Option<f64>,
}

/// What lies at one place of A's grid in both halves, closed.
#[derive(Debug, Clone, Copy, Default)]
pub struct Cell {
    /// Hollow of each half.
    pub hollow: [Option<u32>; 2],
    /// Whether each half's outline covers it.
    pub inside: [bool; 2],
    /// Whether the hollow of each half is cut by the block's side here.
    pub cut: [bool; 2],
    /// Heights between which it is open, A's tool frame, mm.
    pub z: [f32; 2],
}

/// What lies at each place of A's grid.
pub fn cells(sides: &[Side; 2], b_to_a: &Isometry3<f64>) -> Vec<Cell> {
    let [a, b] = sides.each_ref().map(|s| s.survey);
    let (grid, opposite) = (a.grid(), b.grid());
    let to_b = b_to_a.inverse();
    let cut = |s: &Survey, k: usize| {
        neighbours(&s.grid(), k)
            .iter()
            .any(|n| n.is_none_or(|n| !s.inside[n]))
    };
    (0..grid.len())
        .map(|k| {
            let [x, y] = grid.centre_of(k);
            let mut cell = Cell {
                hollow: [a.hollow_at(k).map(|h| h as u32), None],
                inside: [a.inside[k], false],
                cut: [a.inside[k] && cut(a, k), false],
                z: [a.top.get(k).unwrap_or(f32::MIN), f32::MAX],
            };
            let q = to_b * Point::new(x, y, 0.0);
            if let Some((i, j)) = opposite.cell_at(q.x, q.y) {
                let n = opposite.index(i, j);
                cell.hollow[1] = b.hollow_at(n).map(|h| h as u32);
                cell.inside[1] = b.inside[n];
                cell.cut[1] = b.inside[n] && cut(b, n);
                if let Some(z) = b.top.get(n) {
                    cell.z[1] = (b_to_a * Point::new(q.x, q.y, f64::from(z))).z as f32;
                }
            }
            cell
        })
        .collect()
}

/// The closed hollows, largest in plan first. Those without any hollow of kind cavity (screw holes, sockets) are left out.
pub fn closed_hollows(
    sides: &[Side; 2],
    b_to_a: &Isometry3<f64>,
    cells: &[Cell],
    solid: &Solid,
) -> Vec<Closed> {
    let mut found: Vec<Closed> = together(sides, cells)
        .into_iter()
        .filter_map(|parts| closed(sides, b_to_a, cells, solid, parts))
        .collect();
    found.sort_by(|a, b| b.plan_area.total_cmp(&a.plan_area));
    found
}

/// The hollows of A and of B that are one when closed, wherever any of them is cavity.
pub fn together(sides: &[Side; 2], cells: &[Cell]) -> Vec<[Vec<usize>; 2]> {
    let n = sides.each_ref().map(|s| s.survey.hollows.len());
    let node = |half: usize, h: usize| (half * n[0] + h) as u32;
    let kind = |half: usize, h: u32| sides[half].survey.hollows[h as usize].kind;
    let joins =
        |half: usize, h: u32| matches!(kind(half, h), HollowKind::Cavity | HollowKind::Through);
    let mut sets = Sets((0..(n[0] + n[1]) as u32).collect());
    for cell in cells {
        if let [Some(a), Some(b)] = cell.hollow
            && joins(0, a)
            && joins(1, b)
        {
            sets.join(node(0, a as usize), node(1, b as usize));
        }
    }
    let mut groups: BTreeMap<u32, [Vec<usize>; 2]> = BTreeMap::new();
    for (half, side) in sides.iter().enumerate() {
        for (h, hollow) in side.survey.hollows.iter().enumerate() {
            if let Some(mouth) = hollow.mouth {
                sets.join(node(half, h), node(half, mouth.cavity));
            }
        }
    }
    for (half, &count) in n.iter().enumerate() {
        for h in 0..count {
            groups.entry(sets.find(node(half, h))).or_default()[half].push(h);
        }
    }
    let molded = |g: &[Vec<usize>; 2]| {
        (0..2).any(|half| {
            g[half]
                .iter()
                .any(|&h| kind(half, h as u32) == HollowKind::Cavity)
        })
    };
    groups.into_values().filter(molded).collect()
}

/// The hollow that `parts` make; `None` where none of it is cavity.
fn closed(
    sides: &[Side; 2],
    b_to_a: &Isometry3<f64>,
    cells: &[Cell],
    solid: &Solid,
    parts: [Vec<usize>; 2],
) -> Option<Closed> {
    let grid = sides[0].survey.grid();
    let kinds =
        |half: usize, h: Option<u32>| h.map(|h| sides[half].survey.hollows[h as usize].kind);
    let own = |half: usize, h: Option<u32>| {
        h.is_some_and(|h| {
            parts[half].contains(&(h as usize)) && kinds(half, Some(h)) == Some(HollowKind::Cavity)
        })
    };
    let member = |k: usize| own(0, cells[k].hollow[0]) || own(1, cells[k].hollow[1]);
    let count = (0..cells.len()).filter(|&k| member(k)).count();
    if count == 0 {
        return None;
    }
    let leaves = |k: usize| {
        let cell = &cells[k];
        (0..2).any(|half| {
            own(half, cell.hollow[half])
                && (cell.cut[half]
                    || !cell.inside[1 - half]
                    || kinds(1 - half, cell.hollow[1 - half]) == Some(HollowKind::Other))
        })
    };
    let lattice = Lattice::of(&grid, cells, member, leaves, solid, count);
    let mut openings = Vec::new();
    let mut channel = vec![false; lattice.cells.len()];
    for way in lattice.ways_out() {
        let found = narrowest(solid, &way.points, lattice.step);
        openings.push(Opening {
            kind: OpeningKind::Side,
            at: found.0,
            size: Some(2.0 * found.1),
        });
        for k in lattice.channel(&way, found.1) {
            channel[k] = true;
        }
    }
    openings.extend(other_openings(sides, b_to_a, solid, &parts));
    Some(Closed {
        parts,
        plan_area: count as f64 * grid.cell * grid.cell,
        widest: lattice.widest(),
        openings,
        channel: lattice.spread(&channel, &grid),
        grid,
    })
}

/// Holes to the underside, and ways out under the material.
fn other_openings(
    sides: &[Side; 2],
    b_to_a: &Isometry3<f64>,
    solid: &Solid,
    parts: &[Vec<usize>; 2],
) -> Vec<Opening> {
    let mut openings = Vec::new();
    for half in 0..2 {
        let survey = sides[half].survey;
        for &h in &parts[half] {
            if survey.hollows[h].kind == HollowKind::Through {
                openings.extend(through(sides, half, h, b_to_a, solid));
            }
        }
        for void in &survey.voids.list {
            let joined = void.hollow.is_some_and(|h| parts[half].contains(&h));
            if joined && void.outside {
                let (k, z) = void.at;
                let g = survey.grid();
                let [x, y] = g.centre_of(k);
                let p = Point::new(x, y, f64::from(z));
                openings.push(Opening {
                    kind: OpeningKind::Hidden,
                    at: if half == 0 { p } else { b_to_a * p },
                    size: None,
                });
            }
        }
    }
    openings
}

/// Heights at which a hole to the underside is looked at.
const LEVELS: usize = 48;
/// Columns of it that are tried for the widest.
const MOST_TRIED: usize = 4000;

/// A hole to the underside: followed along Z from the cavity's floor, or the parting face.
fn through(
    sides: &[Side; 2],
    half: usize,
    h: usize,
    b_to_a: &Isometry3<f64>,
    solid: &Solid,
) -> Option<Opening> {
    let survey = sides[half].survey;
    let grid = survey.grid();
    let mut open: Vec<usize> = (0..grid.len())
        .filter(|&k| survey.hollow_at(k) == Some(h) && survey.top.get(k).is_none())
        .collect();
    if open.is_empty() {
        open = (0..grid.len())
            .filter(|&k| survey.hollow_at(k) == Some(h))
            .collect();
    }
    if open.is_empty() {
        return None;
    }
    let underside = sides[half].half.bounds().0.z;
    let from = survey.hollows[h].mouth.map_or(0.0, |m| m.floor);
    let place = |[x, y]: [f64; 2], share: f64| {
        let p = Point::new(x, y, from + (underside - from) * share);
        if half == 0 { p } else { b_to_a * p }
    };
    // where most is open half-way down: the middle of a bent hole, or of a ring-shaped one, lies in material
    let stride = open.len().div_ceil(MOST_TRIED);
    let (_, inmost) = (open.iter().step_by(stride))
        .map(|&k| grid.centre_of(k))
        .map(|at| (solid.clear(&place(at, 0.5)), at))
        .reduce(|most, other| if other.0 > most.0 { other } else { most })?;
    let points: Vec<Point> = (0..LEVELS)
        .map(|k| place(inmost, (k as f64 + 0.5) / LEVELS as f64))
        .collect();
    let (at, radius) = narrowest(solid, &points, grid.cell);
    Some(Opening {
        kind: OpeningKind::Through,
        at,
        size: Some(2.0 * radius),
    })
}
