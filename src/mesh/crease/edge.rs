//! One edge read: smooth or sharp, and which side of it carries its turn.

use super::{FAR_WIDER, WIDER};
use crate::mesh::Vector;
use crate::mesh::flats::{Facets, Flats};

/// An isolated turn below this is no edge that any cutter would notice: a ball of radius R leaves
/// R (1 / cos(turn / 2) - 1), that is under R / 26 000, in it. Degrees.
const FAINT_DEG: f64 = 1.0;
/// A sliver that turns off its neighbour by less than this over its width is that surface's roughness, mm.
const FAINT_STEP: f64 = 0.002;
/// Neighbouring turns are alike up to this ratio: where a curved surface runs out tangentially into
/// a flat one, the last edge turns by half of what the others do; curvature that varies takes the rest.
const ALIKE: f64 = 2.6;
/// Faint turns need less company, for in irregular facets the turn is spread unevenly and a ball hardly notices the
/// edge: up to this ratio at [`GENTLE_DEG`] and below, falling to [`ALIKE`] at three times that.
const ALIKE_GENTLE: f64 = 8.0;
/// See [`ALIKE_GENTLE`], degrees.
const GENTLE_DEG: f64 = 4.0;
/// Up to this turn, degrees, a turn of like size the other way is company too: a saddle's facets, and a scan's roughness, turn
/// both ways.
const ROUGH_DEG: f64 = 20.0;
/// Facets of one curved surface are alike in width up to this ratio; a flat much wider than its neighbour is no facet.
const LIKE_WIDTH: f64 = 4.0;

/// Triangles that hardly turn off each other may be joined in one patch by chance, some in threes and fours: up to so many border
/// edges.
const MOST_BY_CHANCE: usize = 8;

/// Turns that facets of one curved surface make all around a point, times how much more they may turn one way than the other,
/// degrees: a flat with so many sides that turn so much is no facet. The floor of a steep cone of hundreds of sides is not.
const MOST_AROUND: f64 = 4.0 * 360.0;

/// What every edge is read by.
pub(super) struct Reading<'a> {
    pub(super) facets: &'a Facets<'a>,
    pub(super) flats: &'a Flats,
    /// Turn at each edge, degrees: positive where the surface is concave.
    pub(super) turns: &'a [f64],
    /// Whether each edge turns by no more than a flat surface's rounding.
    pub(super) flat_edge: &'a [bool],
    pub(super) crease_deg: f64,
}

impl Reading<'_> {
    /// Whether edge `e` lies within a smooth surface, and the shares of its turn that its first and its second triangle carry.
    pub(super) fn edge(&self, e: usize) -> (bool, [f32; 2]) {
        let edge = &self.facets.topology.edges[e];
        let (a, Some(b)) = edge.triangles else {
            return (false, [0.0; 2]);
        };
        let [fa, fb] = [a, b].map(|t| self.flats.of[t as usize]);
        if fa == fb {
            return (true, [0.0; 2]);
        }
        let along = self.direction(e);
        // the first triangle has the edge's direction counter-clockwise: it lies to the left
        let [one, other] =
            [(a, fa, fb, -1.0), (b, fb, fa, 1.0)].map(|(t, own, other, sign)| Side {
                reading: self,
                turn: self.turns[e],
                along,
                own,
                other,
                outward: sign * along.cross(&self.facets.normals[t as usize].unwrap_or_default()),
            });
        let [wa, wb] = [&one, &other].map(|side| side.width(side.own));
        let turn = self.turns[e].abs();
        let faint = self.flat_edge[e]
            || turn < FAINT_DEG
            || wa.min(wb) * turn.to_radians().sin() < FAINT_STEP;
        let smooth = turn < self.crease_deg && (faint || one.goes_on() || other.goes_on());
        // what triangles are joined by chance, round the tip of a fan, has any width
        let wider = |p: u32| {
            let by_chance = turn < FAINT_DEG && self.flats.edges(p).len() <= MOST_BY_CHANCE;
            if by_chance { FAR_WIDER } else { WIDER }
        };
        let share = if !smooth {
            [0.0; 2]
        } else if wa > wider(fa) * wb && other.runs_out() {
            [0.0, 1.0]
        } else if wb > wider(fb) * wa && one.runs_out() {
            [1.0, 0.0]
        } else {
            [0.5; 2]
        };
        (smooth, share)
    }

    fn direction(&self, e: usize) -> Vector {
        let mesh = self.facets.mesh;
        let [a, b] = self.facets.topology.edges[e].vertices;
        let along = mesh.vertices[b as usize] - mesh.vertices[a as usize];
        along.try_normalize(0.0).unwrap_or_default()
    }

    /// Flat patches beside patch `own`, across edges that turn less than the crease.
    fn beside(&self, own: u32) -> impl Iterator<Item = u32> {
        let of = &self.flats.of;
        self.flats.edges(own).iter().filter_map(move |&e| {
            let (a, Some(b)) = self.facets.topology.edges[e as usize].triangles else {
                return None;
            };
            let far = if of[a as usize] == own {
                of[b as usize]
            } else {
                of[a as usize]
            };
            (self.turns[e as usize].abs() < self.crease_deg && far != own).then_some(far)
        })
    }
}

/// An edge seen from one of its sides.
struct Side<'a> {
    reading: &'a Reading<'a>,
    /// The edge's turn, degrees.
    turn: f64,
    /// The edge's direction.
    along: Vector,
    /// The flat patch on this side, and the one across.
    own: u32,
    other: u32,
    /// From the edge over the patch on this side, square to the edge.
    outward: Vector,
}

impl Side<'_> {
    /// Width of patch `p` across the edge's direction, mm.
    fn width(&self, p: u32) -> f64 {
        self.reading.flats.width(p, &self.along)
    }

    /// Turn from the own patch to `far` in the plane across the edge, degrees, positive in the sense of the edge's own.
    fn turns_on(&self, far: u32) -> f64 {
        let normal = |p: u32| self.reading.flats.normal(p);
        // concave: walking outward the normal leans back over the way come
        let lean = (normal(self.own) - normal(far)).dot(&self.outward) * self.turn.signum();
        lean.clamp(-1.0, 1.0).asin().to_degrees()
    }

    /// Whether `holds` from the own patch to one beside it, or from one of those for which `aside` holds to one beside that.
    fn beyond(&self, aside: impl Fn(u32) -> bool, holds: impl Fn(u32, u32) -> bool) -> bool {
        let farther = |far: u32| {
            let mut next = self.reading.beside(far);
            next.any(|f| f != self.own && f != self.other && holds(far, f))
        };
        let mut first = self.reading.beside(self.own).filter(|&f| f != self.other);
        first.any(|far| holds(self.own, far) || (aside(far) && farther(far)))
    }

    /// Whether the surface beyond the own patch goes on turning as it does across the edge: towards patches one or
    /// two farther on (in a lattice of triangles every other one turns only aside), about as wide as itself,
    /// the normal moves on in the plane across the edge by as much.
    fn goes_on(&self) -> bool {
        let turn = self.turn.abs();
        if self.reading.flats.edges(self.own).len() as f64 * turn > MOST_AROUND {
            return false;
        }
        let part = ((turn - GENTLE_DEG) / (2.0 * GENTLE_DEG)).clamp(0.0, 1.0);
        let ratio = ALIKE_GENTLE + (ALIKE - ALIKE_GENTLE) * part;
        let width = self.width(self.own);
        let alike = |_: u32, far: u32| {
            let wide = self.width(far);
            if wide > LIKE_WIDTH * width || width > LIKE_WIDTH * wide {
                return false;
            }
            let on = self.turns_on(far);
            let on = if turn <= ROUGH_DEG { on.abs() } else { on };
            on > 0.0 && on * ratio > turn && on < ratio * turn
        };
        self.beyond(|_| true, alike)
    }

    /// Whether the patch across, the wider of the two, is flat rather than a wide facet of the same curve. By their widths w, with
    /// v that of the facet beyond, the turn would be to the next one as w(own) to w(own) + v if it is, and as w(own) +
    /// w(other) to that if not: the nearer of the two, between them their geometric mean. Past a facet that turns aside the next
    /// turn is the one from that on.
    fn runs_out(&self) -> bool {
        let turn = self.turn.abs();
        let (narrow, wide) = (self.width(self.own), self.width(self.other));
        let mean = (narrow * (narrow + wide)).sqrt();
        self.beyond(
            |far| self.turns_on(far).abs() < turn,
            |from, far| {
                let turns = self.turns_on(far) - self.turns_on(from).max(0.0);
                turn * (self.width(from) + self.width(far)) < turns * mean
            },
        )
    }
}
