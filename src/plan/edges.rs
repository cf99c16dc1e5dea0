//! Straight edges of the block's outline and of the cavity, seen from the spindle: passes are often wanted along one.
//!
//! An edge is where the surface turns sharply, or where a flat ends in a curve. Edges that follow each other in one line
//! are one. The facets of a curved rim are no straight edges: told as in a mesh, by turns below the crease angle that
//! are like those beside them, between pieces of like length.

use crate::mesh::{Creases, Point};
use crate::setup::{Half, Survey};
use nalgebra::Vector2;
use std::collections::BTreeMap;

/// A straight edge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StraightEdge {
    /// Whether it is the block's outline and not the cavity's.
    pub outline: bool,
    /// One end, tool frame.
    pub from: Point,
    /// The other end.
    pub to: Point,
    /// Length in plan, mm.
    pub length: f64,
    /// Direction from X, degrees, 0 to 180, counter-clockwise seen from the spindle.
    pub direction_deg: f64,
}

/// Two directions closer than this are one, degrees.
const SAME_DEG: f64 = 0.005;
/// Turns alike, up to this ratio, belong to one curve.
const ALIKE: f64 = 2.6;
/// A piece this much longer than the curve's piece beside it is a straight edge.
const LONGER: f64 = 3.0;
/// Edges shorter than this share of the half's longer side in plan are not listed.
const LEAST_SHARE: f64 = 0.02;

/// A piece of an edge in plan, from one mesh vertex to another.
#[derive(Debug, Clone, Copy)]
struct Piece {
    ends: [u32; 2],
    outline: bool,
}

/// Straight edges of `half`, longest first, one for each direction of outline and of cavity.
pub fn straight_edges(
    half: &Half,
    survey: &Survey,
    creases: &Creases,
    crease_deg: f64,
) -> Vec<StraightEdge> {
    let (lo, hi) = half.bounds();
    let least = LEAST_SHARE * (hi.x - lo.x).max(hi.y - lo.y);
    let pieces = pieces(half, survey, creases);
    let mut edges = Vec::new();
    for outline in [true, false] {
        let of: Vec<Piece> = pieces
            .iter()
            .filter(|p| p.outline == outline)
            .copied()
            .collect();
        for run in runs(&half.mesh.vertices, &of, half.tolerance()) {
            edges.extend(run.straight(crease_deg, outline));
        }
    }
    edges.retain(|e| e.length >= least);
    edges.sort_by(|a, b| {
        b.length
            .total_cmp(&a.length)
            .then(a.direction_deg.total_cmp(&b.direction_deg))
            .then(a.from.x.total_cmp(&b.from.x))
            .then(a.from.y.total_cmp(&b.from.y))
    });
    let mut listed: Vec<StraightEdge> = Vec::new();
    for e in edges {
        let same = |o: &StraightEdge| {
            let off = (o.direction_deg - e.direction_deg).abs();
            o.outline == e.outline && off.min(180.0 - off) <= SAME_DEG
        };
        if !listed.iter().any(same) {
            listed.push(e);
        }
    }
    listed
}

/// Sharp edges, and those where a flat ends in a curve, of the cavity and of the rim of the block's upper side; none upright.
fn pieces(half: &Half, survey: &Survey, creases: &Creases) -> Vec<Piece> {
    let (mesh, tolerance) = (&half.mesh, half.tolerance());
    let mut pieces = Vec::new();
    for (e, edge) in half.topology.edges.iter().enumerate() {
        let (a, Some(b)) = edge.triangles else {
            continue;
        };
        let [sa, sb] = creases.share[e];
        let flat_ends = creases.smooth[e] && sa != sb;
        if creases.smooth[e] && !flat_ends {
            continue;
        }
        let owners = [a, b].map(|t| survey.owner[t as usize]);
        let ups = [a, b].map(|t| mesh.normal(t as usize).map_or(0.0, |n| n.z));
        let outline = owners == [None, None];
        // of the block only the rim of its upper side counts
        if outline && !(ups[0].max(ups[1]) > 0.5 && ups[0].min(ups[1]) < 0.5) {
            continue;
        }
        let [p, q] = edge.vertices.map(|v| mesh.vertices[v as usize]);
        if (q - p).xy().norm() > 10.0 * tolerance || (q - p).xy().norm() > 0.1 * (q - p).norm() {
            pieces.push(Piece {
                ends: edge.vertices,
                outline,
            });
        }
    }
    pieces
}

/// A line of corners; closed if its last joins its first.
struct Run {
    corners: Vec<Point>,
    closed: bool,
}

/// Pieces joined at corners where exactly two meet, collinear ones made one.
fn runs(vertices: &[Point], pieces: &[Piece], tolerance: f64) -> Vec<Run> {
    let mut at: BTreeMap<u32, Vec<usize>> = BTreeMap::new();
    for (k, p) in pieces.iter().enumerate() {
        for v in p.ends {
            at.entry(v).or_default().push(k);
        }
    }
    let mut used = vec![false; pieces.len()];
    let mut lines = Vec::new();
    // ends first, rings after
    for ends in [true, false] {
        for (&v, here) in &at {
            if (here.len() != 2) != ends {
                continue;
            }
            for &k in here {
                if !used[k] {
                    lines.push(follow(v, k, pieces, &at, &mut used));
                }
            }
        }
    }
    lines
        .into_iter()
        .map(|line: Vec<u32>| {
            let closed = line.len() > 3 && line.first() == line.last();
            let mut corners: Vec<Point> = line.iter().map(|&v| vertices[v as usize]).collect();
            if closed {
                corners.pop();
                // begin at a corner, lest the seam cut an edge in two
                let count = corners.len();
                let turn = |k: usize| {
                    bulge(
                        &corners[(k + count - 1) % count],
                        &corners[k],
                        &corners[(k + 1) % count],
                    )
                };
                let first = (0..count).max_by(|&a, &b| turn(a).total_cmp(&turn(b)));
                corners.rotate_left(first.unwrap_or(0));
                let again = corners[0];
                corners.push(again);
            }
            let mut corners = joined(&corners, tolerance);
            if closed {
                corners.pop();
            }
            Run { corners, closed }
        })
        .collect()
}

/// The line of pieces from `start` along piece `first`, to where it forks, ends or closes.
fn follow(
    start: u32,
    first: usize,
    pieces: &[Piece],
    at: &BTreeMap<u32, Vec<usize>>,
    used: &mut [bool],
) -> Vec<u32> {
    let mut line = vec![start];
    let (mut v, mut k) = (start, first);
    loop {
        used[k] = true;
        let [a, b] = pieces[k].ends;
        v = if a == v { b } else { a };
        line.push(v);
        let here = &at[&v];
        if here.len() != 2 || v == start {
            return line;
        }
        k = if here[0] == k { here[1] } else { here[0] };
        if used[k] {
            return line;
        }
    }
}

/// Distance in plan of `b` from the line through `a` and `c`.
fn bulge(a: &Point, b: &Point, c: &Point) -> f64 {
    let (d, e) = ((c - a).xy(), (b - a).xy());
    let length = d.norm();
    if length > 0.0 {
        (d.x * e.y - d.y * e.x).abs() / length
    } else {
        e.norm()
    }
}

/// A line with the corners left out that lie on the straight between those kept.
fn joined(corners: &[Point], tolerance: f64) -> Vec<Point> {
    let mut kept = vec![corners[0]];
    let mut from = 0;
    for k in 2..corners.len() {
        let straight =
            (from + 1..k).all(|m| bulge(&corners[from], &corners[m], &corners[k]) <= tolerance);
        if !straight {
            from = k - 1;
            kept.push(corners[from]);
        }
    }
    kept.extend(corners.last().copied().filter(|_| corners.len() > 1));
    kept
}

impl Run {
    /// Number of its pieces.
    fn count(&self) -> usize {
        let n = self.corners.len();
        if self.closed { n } else { n.saturating_sub(1) }
    }

    /// The number of piece `k`, counted on round a closed line; `None` beyond the ends of an open one.
    fn piece(&self, k: isize) -> Option<usize> {
        let count = self.count() as isize;
        if self.closed {
            Some(k.rem_euclid(count) as usize)
        } else {
            (0..count).contains(&k).then_some(k as usize)
        }
    }

    /// Piece `k` in plan.
    fn side(&self, k: usize) -> Vector2<f64> {
        let n = self.corners.len();
        (self.corners[(k + 1) % n] - self.corners[k % n]).xy()
    }

    /// Length of piece `k` in plan, mm; 0 beyond the ends.
    fn length(&self, k: isize) -> f64 {
        self.piece(k).map_or(0.0, |k| self.side(k).norm())
    }

    /// Signed turn at the beginning of piece `k`, degrees; a line's ends are sharp.
    fn turn(&self, k: isize) -> f64 {
        let Some(k) = self.piece(k).filter(|&k| self.closed || k > 0) else {
            return 180.0;
        };
        let n = self.corners.len();
        let (a, b) = (self.side((k + n - 1) % n), self.side(k));
        (a.x * b.y - a.y * b.x).atan2(a.dot(&b)).to_degrees()
    }

    /// Whether a curve goes on at the beginning of piece `k`.
    fn curved(&self, k: isize, crease_deg: f64) -> bool {
        let t = self.turn(k);
        let like = |o: f64| {
            o.abs() < crease_deg
                && o * t > 0.0
                && o.abs() < ALIKE * t.abs()
                && t.abs() < ALIKE * o.abs()
        };
        t.abs() < crease_deg && (like(self.turn(k - 1)) || like(self.turn(k + 1)))
    }

    /// Its pieces that are straight edges.
    fn straight(&self, crease_deg: f64, outline: bool) -> Vec<StraightEdge> {
        let facet = |k: isize, at: isize, beside: isize| {
            self.curved(at, crease_deg) && self.length(k) < LONGER * self.length(beside)
        };
        (0..self.count() as isize)
            .filter(|&k| !facet(k, k, k - 1) && !facet(k, k + 1, k + 1))
            .map(|k| {
                let k = k as usize;
                let next = (k + 1) % self.corners.len();
                let (from, to) = (self.corners[k], self.corners[next]);
                let d = (to - from).xy();
                let direction = d.y.atan2(d.x).to_degrees().rem_euclid(180.0);
                StraightEdge {
                    outline,
                    from,
                    to,
                    length: d.norm(),
                    // 180 itself is 0
                    direction_deg: if direction > 180.0 - 1e-9 {
                        0.0
                    } else {
                        direction
                    },
                }
            })
            .collect()
    }
}
