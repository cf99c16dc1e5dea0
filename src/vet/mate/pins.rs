//! Locating pins and sockets.

mod clear;
mod empty;

use super::Side;
use super::circle::{Circle, circle};
use crate::field::{Grid, Plan, Polyline, apart, chain, cuts};
use crate::mesh::{Mesh, Point};
use crate::report::{HollowKind, Pin, Socket, Verdict};
use crate::setup::Components;
use clear::{Clear, clear};
use empty::empty_sockets;
use nalgebra::Isometry3;

/// Height above the parting face from which a rise is a boss, mm.
pub const ENTERS: f64 = 0.1;
/// Smaller bosses, in cells, are rounding along an edge.
const LEAST_CELLS: usize = 4;
/// Heights at which pin and socket are measured, as shares of the height in which both are.
const AT: [f64; 7] = [0.1, 0.25, 0.4, 0.5, 0.6, 0.75, 0.9];
/// The one of [`AT`] that diameters and axes are taken from.
const MIDDLE: usize = 3;

/// Whether a pin goes into its socket and lets the halves meet.
pub fn verdict(pin: &Pin) -> Verdict {
    if !pin.socket || pin.bottoms_out == Some(true) {
        Verdict::Fail
    } else {
        pin.goes_in()
    }
}

/// One half and the other, seen from the first.
struct Facing<'a> {
    own: &'a Side<'a>,
    other: &'a Side<'a>,
    /// Takes the own tool frame to the other's.
    to_other: Isometry3<f64>,
    crease_deg: f64,
}

/// The pins of both halves with the sockets that they enter, and the round holes that no pin enters.
pub fn pins(
    sides: &[Side; 2],
    b_to_a: &Isometry3<f64>,
    crease_deg: f64,
) -> (Vec<Pin>, Vec<Socket>) {
    let facing = |k: usize| Facing {
        own: &sides[k],
        other: &sides[1 - k],
        to_other: if k == 0 { b_to_a.inverse() } else { *b_to_a },
        crease_deg,
    };
    let halves = [facing(0), facing(1)];
    let mut found = Vec::new();
    let mut taken = [Vec::new(), Vec::new()];
    for (k, facing) in halves.iter().enumerate() {
        for boss in facing.bosses() {
            let core = |h: usize| facing.other.survey.hollows[h].kind == HollowKind::Cavity;
            if !boss.covered || boss.faces.is_some_and(core) {
                continue;
            }
            if let Some(h) = boss.faces {
                taken[1 - k].push(h);
            }
            found.push(facing.measure(&boss));
        }
    }
    let empty = (halves.iter().zip(&taken))
        .flat_map(|(facing, taken)| empty_sockets(facing, taken))
        .collect();
    (found, empty)
}

/// Cells of a half in plan: their box, grown by a cell, and their mean.
struct Footprint {
    lo: Plan,
    hi: Plan,
    centre: Plan,
}

impl Footprint {
    fn of(grid: &Grid, cells: impl Iterator<Item = usize>) -> Footprint {
        let (mut lo, mut hi, mut sum) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2], [0.0; 2]);
        let mut count = 0.0;
        for k in cells {
            let p = grid.centre_of(k);
            for c in 0..2 {
                lo[c] = lo[c].min(p[c] - grid.cell);
                hi[c] = hi[c].max(p[c] + grid.cell);
                sum[c] += p[c];
            }
            count += 1.0;
        }
        let centre = sum.map(|s| s / f64::max(count, 1.0));
        Footprint { lo, hi, centre }
    }

    fn of_hollow(side: &Side, h: usize) -> Footprint {
        let grid = side.survey.grid();
        let own = |&k: &usize| side.survey.hollow_at(k) == Some(h);
        Footprint::of(&grid, (0..grid.len()).filter(own))
    }
}

/// What stands above the parting face of one half, in its tool frame.
struct Boss {
    footprint: Footprint,
    /// Height of the parting face about it, and of its top.
    foot: f64,
    top: f64,
    /// Hollow of the other half that most of it faces.
    faces: Option<usize>,
    /// Whether the other half lies over most of it.
    covered: bool,
}

impl Facing<'_> {
    fn bosses(&self) -> Vec<Boss> {
        let survey = self.own.survey;
        let grid = survey.grid();
        let rises = |k: usize| {
            survey.inside[k]
                && survey.labels[k] == 0
                && survey
                    .top
                    .get(k)
                    .is_some_and(|z| f64::from(z) > self.face(k) + ENTERS)
        };
        let parts = Components::of(&grid, rises);
        let mut cells = vec![Vec::new(); parts.count];
        for k in (0..grid.len()).filter(|&k| parts.labels[k] != 0) {
            cells[parts.labels[k] as usize - 1].push(k);
        }
        cells
            .into_iter()
            .filter(|cells| cells.len() >= LEAST_CELLS)
            .map(|cells| self.boss(&cells))
            .collect()
    }

    /// Height of the parting face at cell `k`.
    fn face(&self, k: usize) -> f64 {
        let survey = self.own.survey;
        let grid = survey.grid();
        let [x, y] = grid.centre_of(k);
        survey.parting_at(x, y)
    }

    /// The boss that stands on `cells`.
    fn boss(&self, cells: &[usize]) -> Boss {
        let grid = self.own.survey.grid();
        let height = |&k: &usize| self.own.survey.top.get(k).map_or(f64::MIN, f64::from);
        let mut foot: Vec<f64> = cells.iter().map(|&k| self.face(k)).collect();
        foot.sort_by(f64::total_cmp);
        let other = self.other.survey;
        let opposite = other.grid();
        let mut over = vec![0usize; other.hollows.len() + 1];
        let mut covered = 0;
        for &k in cells {
            let [x, y] = grid.centre_of(k);
            let q = self.to_other * Point::new(x, y, 0.0);
            if let Some((i, j)) = opposite.cell_at(q.x, q.y) {
                let n = opposite.index(i, j);
                covered += usize::from(other.inside[n]);
                over[other.labels[n] as usize] += 1;
            }
        }
        let most = (0..over.len()).max_by_key(|&h| (over[h], std::cmp::Reverse(h)));
        Boss {
            footprint: Footprint::of(&grid, cells.iter().copied()),
            foot: foot[foot.len() / 2],
            top: cells.iter().map(height).fold(f64::NEG_INFINITY, f64::max),
            faces: most.and_then(|h| h.checked_sub(1)),
            covered: 2 * covered > cells.len(),
        }
    }

    fn measure(&self, boss: &Boss) -> Pin {
        let half = self.own.half;
        let Footprint { lo, hi, centre } = boss.footprint;
        let triangles = near(&half.mesh, lo, hi);
        let inside = |p: &Point| (0..2).all(|c| p[c] >= lo[c] && p[c] <= hi[c]);
        let tip = triangles
            .iter()
            .flat_map(|&t| half.mesh.corners(t as usize))
            .filter(inside)
            .map(|p| p.z)
            .fold(boss.top, f64::max);
        let height = tip - boss.foot;
        let socket = boss.faces.map(|h| SocketOf::new(self, boss, h));
        let socket = socket.as_ref();
        let depth = socket.and_then(|s| s.depth);
        let common = depth.map_or(height, |d| d.min(height));
        let levels = AT.map(|share| boss.foot + share * common);
        let sections = levels.map(|z| self.section(centre, &triangles, socket, z));
        let (pin, hole) = (round(&sections, |s| s.pin), round(&sections, |s| s.hole));
        let both = pin.zip(hole);
        let radial = sections
            .iter()
            .filter_map(|s| Some(s.hole?.radius - s.pin?.radius));
        let clear = || sections.iter().filter_map(|s| s.clear);
        // the first of equals
        let least = clear()
            .map(|c| c.least)
            .reduce(|a, b| if b.distance < a.distance { b } else { a });
        let most = clear()
            .map(|c| c.most)
            .reduce(|a, b| if b.distance > a.distance { b } else { a });
        let gap = socket.map_or(0.0, |s| s.gap);
        let axial = depth.map(|d| d + gap - height);
        let [x, y] = pin.map_or(centre, |c| c.centre);
        Pin {
            at_mm: half.frame.place(&Point::new(x, y, boss.foot)),
            half: half.name.clone(),
            socket: socket.is_some(),
            pin_diameter_mm: pin.map(|c| 2.0 * c.radius),
            socket_diameter_mm: hole.map(|c| 2.0 * c.radius),
            diameter_mm_pm: both.map(|(p, s)| 2.0 * (p.sagitta + s.sagitta)),
            radial_clearance_mm: radial.reduce(f64::min),
            clearance_mm: least.map(|c| c.distance),
            clearance_at_mm: least.map(|c| half.frame.place(&c.at)),
            clearance_most_mm: most.map(|c| c.distance),
            clearance_most_at_mm: most.map(|c| half.frame.place(&c.at)),
            offset_mm: both.map(|(p, s)| apart(p.centre, s.centre)),
            pin_height_mm: height,
            socket_depth_mm: depth,
            axial_clearance_mm: axial,
            bottoms_out: axial.map(|a| a < -half.tolerance()),
        }
    }

    /// Pin and socket at height `z`.
    fn section(
        &self,
        centre: Plan,
        triangles: &[u32],
        socket: Option<&SocketOf>,
        z: f64,
    ) -> Section {
        let half = self.own.half;
        let lines = chain(&cuts(&half.mesh, z, triangles.iter().copied()));
        let Some(outline) = around(&lines, centre, false) else {
            return Section::default();
        };
        let walls = socket.map(|s| s.section(z, self.crease_deg));
        Section {
            pin: circle(outline, half.rounding, self.crease_deg),
            hole: walls.as_ref().and_then(|w| w.1),
            clear: walls.and_then(|w| clear(outline, &w.0, z)),
        }
    }
}

/// Pin and socket at one height.
#[derive(Clone, Copy, Default)]
struct Section {
    pin: Option<Circle>,
    hole: Option<Circle>,
    clear: Option<Clear>,
}

/// The circle of the middle section, or else of the first that has one.
fn round(sections: &[Section], of: fn(&Section) -> Option<Circle>) -> Option<Circle> {
    of(&sections[MIDDLE]).or_else(|| sections.iter().find_map(of))
}

/// Triangles whose box in plan meets the box `lo..hi`.
fn near(mesh: &Mesh, lo: Plan, hi: Plan) -> Vec<u32> {
    let meets = |t: &u32| {
        let corners = mesh.corners(*t as usize);
        [0, 1].iter().all(|&c| {
            corners.iter().any(|p| p[c] >= lo[c]) && corners.iter().any(|p| p[c] <= hi[c])
        })
    };
    (0..mesh.triangles.len() as u32).filter(meets).collect()
}

/// The smallest closed polyline around `p` that is a hole, or material.
fn around(lines: &[Polyline], p: Plan, hole: bool) -> Option<&Polyline> {
    lines
        .iter()
        .filter(|l| l.closed && (l.area() < 0.0) == hole && l.surrounds(p))
        .min_by(|a, b| a.area().abs().total_cmp(&b.area().abs()))
}

/// The hollow that a pin enters, seen from the pin's half.
struct SocketOf<'a> {
    side: &'a Side<'a>,
    /// From the pin's tool frame.
    to_other: Isometry3<f64>,
    triangles: Vec<u32>,
    centre: Plan,
    /// From the parting face down; `None` where it goes through.
    depth: Option<f64>,
    /// Distance between both parting faces at the pin.
    gap: f64,
}

impl<'a> SocketOf<'a> {
    fn new(facing: &Facing<'a>, boss: &Boss, h: usize) -> SocketOf<'a> {
        let (other, [x, y]) = (facing.other, boss.footprint.centre);
        let q = facing.to_other * Point::new(x, y, boss.foot);
        let Footprint { lo, hi, .. } = Footprint::of_hollow(other, h);
        let face = other.survey.parting_at(q.x, q.y);
        SocketOf {
            side: other,
            to_other: facing.to_other,
            triangles: near(&other.half.mesh, lo, hi),
            centre: [q.x, q.y],
            depth: depth(other, h),
            gap: q.z - face,
        }
    }

    /// Its walls at height `z` of the pin's frame, in the pin's plan, and their circle.
    fn section(&self, z: f64, crease_deg: f64) -> (Vec<Polyline>, Option<Circle>) {
        let back = self.to_other.inverse();
        let level = (self.to_other * Point::new(0.0, 0.0, z)).z;
        let lines = chain(&cuts(
            &self.side.half.mesh,
            level,
            self.triangles.iter().copied(),
        ));
        let hole = around(&lines, self.centre, true);
        let round = hole.and_then(|l| circle(l, self.side.half.rounding, crease_deg));
        let place = |p: Plan| {
            let q = back * Point::new(p[0], p[1], level);
            [q.x, q.y]
        };
        let bring = |l: &Polyline| Polyline {
            // turned over: the material stays on the left only if the order turns too
            points: l.points.iter().rev().map(|&p| place(p)).collect(),
            triangles: l.triangles.iter().rev().copied().collect(),
            closed: l.closed,
        };
        let walls = match hole {
            Some(l) => vec![bring(l)],
            None => lines.iter().map(bring).collect(),
        };
        let round = round.map(|c| Circle {
            centre: place(c.centre),
            ..c
        });
        (walls, round)
    }
}

/// Depth of a hollow below the parting face, mm; `None` where it goes through.
fn depth(side: &Side, h: usize) -> Option<f64> {
    if side.survey.hollows[h].kind == HollowKind::Through {
        return None;
    }
    let facets = side
        .surface
        .facets
        .iter()
        .filter(|f| f.hollow as usize == h);
    facets
        .map(|f| side.survey.parting_at(f.centroid.x, f.centroid.y) - f.z[0])
        .reduce(f64::max)
}
