//! The cavity's outline at the parting line, one half against the other.

use super::Side;
use crate::field::{Farthest, Lines, Plan, Polyline, apart, chain, cuts, farthest};
use crate::report::HollowKind;
use crate::setup::Parting;
use nalgebra::{Isometry3, Matrix3, Point3, Vector3};

/// The rims of both halves compared, in the first half's plan, closed; mm.
#[derive(Debug, Clone, PartialEq)]
pub struct Outline {
    /// Where the rims are farthest apart, from a place of A's to one of B's, or the other way round.
    pub mismatch: f64,
    /// Its ±.
    pub pm: f64,
    /// Where, on A's rim.
    pub at: Plan,
    /// Mean over the rims of what leads from A's rim to B's nearest.
    pub mean: Plan,
    /// What would remove most of it, done to B: a turn about `about`, degrees, then a shift.
    pub turn_deg: f64,
    /// Centre of that turn.
    pub about: Plan,
    /// That shift.
    pub shift: Plan,
    /// What is left then.
    pub residual: f64,
    /// Stretches of either half's rim that the other has no rim for: length and place.
    pub alone: [Vec<(f64, Plan)>; 2],
}

/// A stretch of rim that leads farther than this away from the other half's rim is a feature of one half, not a step, mm;
/// common practice, no source.
const ALONE: f64 = 2.0;
/// Rims less than this apart go together, mm.
const TOGETHER: f64 = 0.02;
/// A rim is looked at in pieces no longer than this, mm.
const PIECE: f64 = 0.5;
/// Most pieces of a rim: longer ones for a long rim.
const MOST_PIECES: f64 = 20_000.0;
/// Rounds of the fit.
const ROUNDS: usize = 40;
/// Turns that move the rims less than this share of what a shift does are not told from none.
const LEAST_TURN: f64 = 1e-3;

/// The rims of the cavity of one half, in its own plan: its section just below Z = 0, exact for the mesh; where the parting goes
/// by contact, the edges at which the cavity's facets end.
pub fn rims(side: &Side) -> Vec<Polyline> {
    let is_cavity = |t: u32| {
        side.survey.owner[t as usize]
            .is_some_and(|h| side.survey.hollows[h as usize].kind == HollowKind::Cavity)
    };
    let mesh = &side.half.mesh;
    if !matches!(side.half.parting, Parting::Contact { .. }) {
        let cavity = (0..mesh.triangles.len() as u32).filter(|&t| is_cavity(t));
        return chain(&cuts(mesh, 0.0, cavity));
    }
    let ends = |e: &&crate::mesh::Edge| {
        e.triangles
            .1
            .is_some_and(|b| is_cavity(e.triangles.0) != is_cavity(b))
    };
    side.half
        .topology
        .edges
        .iter()
        .filter(ends)
        .map(|e| Polyline {
            points: e
                .vertices
                .map(|v| mesh.vertices[v as usize])
                .map(|p| [p.x, p.y])
                .to_vec(),
            triangles: vec![e.triangles.0],
            closed: false,
        })
        .collect()
}

/// Compares the rims of both halves, B's brought to A's plan. `None` where a half has no rim.
pub fn outline(sides: &[Side; 2], rims: &[Vec<Polyline>; 2]) -> Option<Outline> {
    let whole = [0, 1].map(|k| Lines::new(rims[k].iter().flat_map(Polyline::sides).collect()));
    if whole.iter().any(|w| w.segments.is_empty()) {
        return None;
    }
    let cut = [0, 1].map(|k| pieces(&rims[k], &whole[1 - k]));
    let lone = alone(&cut);
    let shared = [0, 1].map(|k| {
        let pieces = cut[k].iter().zip(&lone[k]);
        pieces.filter(|(_, l)| !**l).map(|(p, _)| p.ends).collect()
    });
    let shared: [Vec<[Plan; 2]>; 2] = shared;
    let far = apart_most(&shared, &whole)?;
    let mut sum = ([0.0; 2], 0.0);
    for (k, sign) in [(0, 1.0), (1, -1.0)] {
        for &[a, b] in &shared[k] {
            let p = [0.5 * (a[0] + b[0]), 0.5 * (a[1] + b[1])];
            if let Some(near) = whole[1 - k].nearest(p) {
                let weight = apart(a, b);
                for ((sum, to), from) in sum.0.iter_mut().zip(near.at).zip(p) {
                    *sum += weight * sign * (to - from);
                }
                sum.1 += weight;
            }
        }
    }
    let mean = sum.0.map(|s| if sum.1 > 0.0 { s / sum.1 } else { 0.0 });
    let fit = fit(&shared, &whole[0]);
    let moved = shared[1].iter().map(|s| s.map(|p| fit.place(p))).collect();
    let whole_moved = whole[1].segments.iter().map(|s| s.map(|p| fit.place(p)));
    let after = apart_most(
        &[shared[0].clone(), moved],
        &[whole[0].clone(), Lines::new(whole_moved.collect())],
    );
    let pm = if alike(&shared, &fit) {
        4.0 * (sides[0].half.rounding + sides[1].half.rounding) + ALIKE
    } else {
        sides.iter().map(rim_error).sum()
    };
    Some(Outline {
        mismatch: far.distance,
        pm,
        at: far.at,
        mean,
        turn_deg: fit.turn.to_degrees(),
        about: fit.about,
        shift: fit.shift,
        residual: after.map_or(far.distance, |f| f.distance),
        alone: [0, 1].map(|k| stretches(&cut[k], &lone[k])),
    })
}

/// Rims whose corners come this near to each other by the best fit are the same polyline, mm.
const ALIKE: f64 = 1e-3;

/// Whether both rims are the same polyline, moved: what their facets cut off is then the same on both, and no part of the
/// mismatch.
fn alike(shared: &[Vec<[Plan; 2]>; 2], fit: &Move) -> bool {
    let moved = |k: usize| -> Vec<[Plan; 2]> {
        let place = |p: Plan| if k == 1 { fit.place(p) } else { p };
        shared[k].iter().map(|s| [place(s[0]); 2]).collect()
    };
    let corners = [Lines::new(moved(0)), Lines::new(moved(1))];
    (0..2).all(|k| {
        let near = |s: &[Plan; 2]| {
            corners[1 - k]
                .nearest(s[0])
                .is_some_and(|n| n.distance <= ALIKE)
        };
        corners[k].segments.iter().all(near)
    })
}

/// A short piece of one half's rim and the other half's rim beside it, closed: X and Y of A's tool frame, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RimStep {
    /// Ends of the piece on A's rim, or of A's rim beside the piece.
    pub a: [Plan; 2],
    /// The same of B's.
    pub b: [Plan; 2],
    /// Plan distance between the rims at the piece's middle, mm.
    pub mismatch: f64,
}

/// The rims beside each other, piece by piece, stretches that only one half has left out; for pictures.
pub fn steps(rims: &[Vec<Polyline>; 2]) -> Vec<RimStep> {
    let whole = [0, 1].map(|k| Lines::new(rims[k].iter().flat_map(Polyline::sides).collect()));
    if whole.iter().any(|w| w.segments.is_empty()) {
        return Vec::new();
    }
    let cut = [0, 1].map(|k| pieces(&rims[k], &whole[1 - k]));
    let lone = alone(&cut);
    let mut found = Vec::new();
    for k in 0..2 {
        for (piece, _) in cut[k].iter().zip(&lone[k]).filter(|(_, l)| !**l) {
            let beside = piece
                .ends
                .map(|p| whole[1 - k].nearest(p).map_or(p, |n| n.at));
            let [a, b] = if k == 0 {
                [piece.ends, beside]
            } else {
                [beside, piece.ends]
            };
            found.push(RimStep {
                a,
                b,
                mismatch: piece.off,
            });
        }
    }
    found
}

/// Distance within which a rim is known: the facets' chord error and the coordinates' rounding.
fn rim_error(side: &Side) -> f64 {
    let chord = side.surface.cavity(side.survey).filter(|(_, f)| {
        let face = side.survey.parting_at(f.centroid.x, f.centroid.y);
        f.z[1] >= face - side.half.tolerance()
    });
    chord.map(|(_, f)| f.chord_error).fold(0.0, f64::max) + side.half.rounding
}

/// The larger of both directed distances; the place is on A's rim.
fn apart_most(shared: &[Vec<[Plan; 2]>; 2], whole: &[Lines; 2]) -> Option<Farthest> {
    let there = farthest(&shared[0], &whole[1]);
    let back = farthest(&shared[1], &whole[0]).map(|f| Farthest {
        at: f.to,
        to: f.at,
        ..f
    });
    match (there, back) {
        (Some(a), Some(b)) if b.distance > a.distance => Some(b),
        (a, b) => a.or(b),
    }
}

/// Part of a rim.
struct Piece {
    ends: [Plan; 2],
    /// Polyline that it belongs to.
    line: usize,
    /// Distance of its middle from the other half's rim.
    off: f64,
}

fn pieces(rim: &[Polyline], other: &Lines) -> Vec<Piece> {
    let total: f64 = rim.iter().map(Polyline::length).sum();
    let step = PIECE.max(total / MOST_PIECES);
    let mut found = Vec::new();
    for (line, polyline) in rim.iter().enumerate() {
        for [a, b] in polyline.sides() {
            let n = (apart(a, b) / step).ceil().max(1.0);
            let along = |k: f64| [0, 1].map(|c| a[c] + (b[c] - a[c]) * (k / n));
            for k in 0..n as usize {
                let ends = [along(k as f64), along(k as f64 + 1.0)];
                let near = other.nearest(along(k as f64 + 0.5));
                found.push(Piece {
                    ends,
                    line,
                    off: near.map_or(0.0, |n| n.distance),
                });
            }
        }
    }
    found
}

/// Which pieces of each rim have no counterpart in the other half: stretches that lead far away (a gate or vent in one half only),
/// and what in the other half runs across their mouths.
fn alone(cut: &[Vec<Piece>; 2]) -> [Vec<bool>; 2] {
    let mut lone = [0, 1].map(|k| far_stretches(&cut[k]));
    let share = |k: usize| {
        let length = |p: &Piece| apart(p.ends[0], p.ends[1]);
        let all: f64 = cut[k].iter().map(length).sum();
        let off: f64 = cut[k]
            .iter()
            .zip(&lone[k])
            .filter(|(_, l)| **l)
            .map(|(p, _)| length(p))
            .sum();
        off / all
    };
    // rims that hardly go together are a mismatch, whatever its size
    if (0..2).any(|k| share(k) > 0.5) {
        return [0, 1].map(|k| vec![false; cut[k].len()]);
    }
    let own = lone.clone();
    for k in 0..2 {
        let off: Vec<[Plan; 2]> = cut[k]
            .iter()
            .zip(&own[k])
            .filter(|(_, l)| **l)
            .map(|(p, _)| p.ends)
            .collect();
        let away = Lines::new(off);
        for (p, l) in cut[1 - k].iter().zip(&mut lone[1 - k]) {
            if *l || p.off <= TOGETHER {
                continue;
            }
            let middle = [0, 1].map(|c| 0.5 * (p.ends[0][c] + p.ends[1][c]));
            let mouth = away.nearest(middle).map_or(f64::INFINITY, |n| n.distance);
            // its nearest place is where the stretch leaves the rim
            *l = mouth <= p.off + PIECE;
        }
    }
    lone
}

fn far_stretches(cut: &[Piece]) -> Vec<bool> {
    let mut lone = vec![false; cut.len()];
    for run in runs(cut, |k| cut[k].off > TOGETHER) {
        if run.iter().any(|&k| cut[k].off > ALONE) {
            run.iter().for_each(|&k| lone[k] = true);
        }
    }
    lone
}

/// Runs of consecutive pieces of a polyline that are members; around the end of a closed one.
fn runs(cut: &[Piece], member: impl Fn(usize) -> bool) -> Vec<Vec<usize>> {
    let mut runs: Vec<Vec<usize>> = Vec::new();
    let mut from = 0;
    while from < cut.len() {
        let line = cut[from].line;
        let to = (from..cut.len())
            .find(|&k| cut[k].line != line)
            .unwrap_or(cut.len());
        let first_run = runs.len();
        for k in from..to {
            if !member(k) {
                continue;
            }
            match runs.last_mut() {
                Some(run) if runs_on(run, k, from) => run.push(k),
                _ => runs.push(vec![k]),
            }
        }
        let joined = cut[from].ends[0] == cut[to - 1].ends[1];
        if joined && runs.len() > first_run + 1 && member(from) && member(to - 1) {
            let tail = runs.pop().unwrap_or_default();
            runs[first_run].splice(0..0, tail);
        }
        from = to;
    }
    runs
}

fn runs_on(run: &[usize], k: usize, from: usize) -> bool {
    k > from && run.last() == Some(&(k - 1))
}

fn stretches(cut: &[Piece], lone: &[bool]) -> Vec<(f64, Plan)> {
    let mut found: Vec<(f64, Plan)> = runs(cut, |k| lone[k])
        .iter()
        .map(|run| {
            let length = run
                .iter()
                .map(|&k| apart(cut[k].ends[0], cut[k].ends[1]))
                .sum();
            let far = run
                .iter()
                .max_by(|&&a, &&b| cut[a].off.total_cmp(&cut[b].off));
            (length, far.map_or([0.0; 2], |&k| cut[k].ends[0]))
        })
        .collect();
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    found
}

/// A rigid move in plan: a turn about a place, then a shift.
#[derive(Debug, Clone, Copy)]
struct Move {
    about: Plan,
    turn: f64,
    shift: Plan,
}

impl Move {
    fn place(&self, p: Plan) -> Plan {
        let (sin, cos) = self.turn.sin_cos();
        let d = [p[0] - self.about[0], p[1] - self.about[1]];
        [
            self.about[0] + cos * d[0] - sin * d[1] + self.shift[0],
            self.about[1] + sin * d[0] + cos * d[1] + self.shift[1],
        ]
    }
}

/// The move of B's rim that brings it nearest to A's: closest places again and again, each round the least squares of the
/// distances square to the rim (Chen & Medioni 1992, Image and Vision Computing 10, 145–155; cited from memory).
fn fit(shared: &[Vec<[Plan; 2]>; 2], to: &Lines) -> Move {
    let samples: Vec<(Plan, f64)> = shared[1]
        .iter()
        .map(|&[a, b]| ([0.5 * (a[0] + b[0]), 0.5 * (a[1] + b[1])], apart(a, b)))
        .collect();
    let weight: f64 = samples.iter().map(|s| s.1).sum();
    let centre = [0, 1]
        .map(|c| samples.iter().map(|s| s.1 * s.0[c]).sum::<f64>() / weight.max(f64::MIN_POSITIVE));
    let radius = samples
        .iter()
        .map(|s| apart(s.0, centre))
        .fold(0.0, f64::max)
        .max(1e-9);
    let mut by = Move {
        about: centre,
        turn: 0.0,
        shift: [0.0; 2],
    };
    for _ in 0..ROUNDS {
        let (mut normal, mut right) = (Matrix3::zeros(), Vector3::zeros());
        for &(p, w) in &samples {
            let q = by.place(p);
            let Some(near) = to.nearest(q) else { continue };
            let [a, b] = to.segments[near.segment];
            let along = [b[0] - a[0], b[1] - a[1]];
            let off = [near.at[0] - q[0], near.at[1] - q[1]];
            let n = if !near.within && near.distance > 1e-9 {
                off.map(|o| o / near.distance)
            } else {
                let length = along[0].hypot(along[1]).max(f64::MIN_POSITIVE);
                [-along[1] / length, along[0] / length]
            };
            let arm = [
                q[0] - centre[0] - by.shift[0],
                q[1] - centre[1] - by.shift[1],
            ];
            let row = Vector3::new(n[0], n[1], (n[1] * arm[0] - n[0] * arm[1]) / radius);
            normal += row * row.transpose() * w;
            right += row * (w * (off[0] * n[0] + off[1] * n[1]));
        }
        let eigen = normal.symmetric_eigen();
        let most = eigen.eigenvalues.max();
        let mut step = Vector3::zeros();
        for k in 0..3 {
            let axis = eigen.eigenvectors.column(k);
            if eigen.eigenvalues[k] > LEAST_TURN * most {
                step += axis * (axis.dot(&right) / eigen.eigenvalues[k]);
            }
        }
        by.shift[0] += step.x;
        by.shift[1] += step.y;
        by.turn += step.z / radius;
        if step.norm() < 1e-9 {
            break;
        }
    }
    by
}

/// B's rims brought to A's plan.
pub fn brought(rims: &[Polyline], by: &Isometry3<f64>) -> Vec<Polyline> {
    let place = |p: &Plan| {
        let q = by * Point3::new(p[0], p[1], 0.0);
        [q.x, q.y]
    };
    rims.iter()
        .map(|r| Polyline {
            points: r.points.iter().map(place).collect(),
            ..r.clone()
        })
        .collect()
}
