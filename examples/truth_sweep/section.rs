//! What a ball leaves in a plane section of a cavity, from the section's lines and arcs alone.
//!
//! In a straight groove and in a hollow of revolution the nearest free ball centre to a surface point lies in the
//! point's own section, so what is left is a plane question: the lowest free centre over each place is the upper
//! envelope of the pieces' offsets, all circles and lines, and the nearest free place a minimum in one variable.

use super::profile::{Piece, Place, Profile};
use std::f64::consts::PI;

/// Samples across a section in the search for the nearest free place, between the ends of the pieces' offsets.
const ACROSS: usize = 120;
/// Places along a piece in the search for the most left, between its ends.
const ALONG: usize = 16;
/// Steps by golden section: the bracket shrinks to 1e-9 of itself.
const GOLDEN: usize = 44;

/// Overlap of neighbouring pieces' offsets, lest rounding leave a gap between them.
const ROUNDING: f64 = 1e-10;

/// A section that is the same on both sides of x = 0: `x` from the axis, `z` up, mm.
#[derive(Debug, Clone)]
pub struct Section {
    /// Pieces of the cavity's surface, x ≥ 0.
    cavity: Vec<Piece>,
    lines: Vec<[[f64; 2]; 2]>,
    arcs: Vec<(Piece, bool)>,
    joints: Vec<[f64; 2]>,
    widest: f64,
}

impl Section {
    /// The section of a hollow whose surface is `profile` (axial place, distance from the axis), from its rim
    /// inwards, with flat ground at the rim's level outside, and inside where it does not end on the axis.
    pub fn of(profile: &Profile) -> Section {
        let widest = profile.widest()[1].max(profile.pieces[0].at(0.0)[1]);
        let mut section = Section {
            cavity: profile.pieces.clone(),
            lines: Vec::new(),
            arcs: Vec::new(),
            joints: Vec::new(),
            widest,
        };
        let first = profile.pieces[0].at(0.0);
        let last = profile.pieces[profile.pieces.len() - 1].at(1.0);
        let mut pieces = profile.pieces.clone();
        pieces.push(Piece::Line {
            from: [first[0], 1e3 * widest],
            to: first,
        });
        if last[1] > 1e-9 {
            pieces.push(Piece::Line {
                from: last,
                to: [last[0], 0.0],
            });
        }
        for piece in pieces {
            for side in [1.0, -1.0] {
                match piece {
                    Piece::Line { from, to } => {
                        section
                            .lines
                            .push([[side * from[1], from[0]], [side * to[1], to[0]]]);
                    }
                    Piece::Arc { .. } => section.arcs.push((piece, side > 0.0)),
                }
                for t in [0.0, 1.0] {
                    let p = piece.at(t);
                    section.joints.push([side * p[1], p[0]]);
                }
            }
        }
        section
    }

    /// Height of the lowest centre of a ball of radius `r` over `x`.
    fn lowest(&self, r: f64, x: f64) -> f64 {
        let mut z = f64::NEG_INFINITY;
        for p in &self.joints {
            let d = x - p[0];
            // a vertical wall may be touched
            if d.abs() < r * (1.0 - 1e-12) {
                z = z.max(p[1] + (r * r - d * d).sqrt());
            }
        }
        for [a, b] in &self.lines {
            let (dx, dz) = (b[0] - a[0], b[1] - a[1]);
            let length = dx.hypot(dz);
            if dx.abs() < 1e-12 * length {
                continue;
            }
            // the normal that points up
            let n = [-dz / length * dx.signum(), dx.abs() / length];
            let (x0, x1) = (a[0] + r * n[0], b[0] + r * n[0]);
            let slack = ROUNDING * length;
            if x >= x0.min(x1) - slack && x <= x0.max(x1) + slack {
                let t = ((x - x0) / (x1 - x0)).clamp(0.0, 1.0);
                z = z.max(a[1] + t * dz + r * n[1]);
            }
        }
        for (arc, positive) in &self.arcs {
            let Piece::Arc {
                centre,
                radius,
                start,
                sweep,
            } = *arc
            else {
                continue;
            };
            let d = if *positive {
                x - centre[1]
            } else {
                -x - centre[1]
            };
            let concave = sweep > 0.0;
            let offset = if concave { radius - r } else { radius + r };
            if offset <= 0.0 || d.abs() > offset * (1.0 + ROUNDING) {
                continue;
            }
            let up = (offset * offset - d * d).max(0.0).sqrt();
            let axial = if concave { -up } else { up };
            let ahead = sweep.signum() * (axial_angle(axial, d) - start);
            // near a vertical the angle is known to the root of the place's rounding
            let slack = 2.0 * ROUNDING.sqrt();
            if (ahead + slack).rem_euclid(2.0 * PI) <= sweep.abs() + 2.0 * slack {
                z = z.max(centre[0] + axial);
            }
        }
        z
    }

    fn breaks(&self, r: f64) -> Vec<f64> {
        let reach = self.widest + 2.0 * r;
        let mut x: Vec<f64> = Vec::new();
        for p in &self.joints {
            x.extend([p[0] - r, p[0], p[0] + r]);
        }
        for [a, b] in &self.lines {
            let (dx, dz) = (b[0] - a[0], b[1] - a[1]);
            let shift = -r * dz / dx.hypot(dz) * dx.signum();
            x.extend([a[0] + shift, b[0] + shift]);
        }
        for (arc, positive) in &self.arcs {
            if let Piece::Arc { centre, .. } = arc {
                x.push(if *positive { centre[1] } else { -centre[1] });
            }
        }
        x.extend((0..=ACROSS).map(|k| reach * (2.0 * k as f64 / ACROSS as f64 - 1.0)));
        x.retain(|x| x.abs() <= reach);
        x.sort_by(f64::total_cmp);
        // twins, though rounding tells them apart, would be brackets of no width
        x.dedup_by(|next, x| *next - *x <= ROUNDING * reach);
        x
    }

    /// Depth of the deepest tip of a ball of radius `r`, below z = 0.
    pub fn deepest(&self, r: f64) -> f64 {
        let x = self.breaks(r);
        -(least(&x, |x| self.lowest(r, x)) - r)
    }

    /// Largest height that a ball of radius `r` leaves, normal to the surface, and where: `[x, z]`.
    pub fn left(&self, r: f64) -> (f64, [f64; 2]) {
        let x = self.breaks(r);
        let lowest: Vec<f64> = x.iter().map(|&x| self.lowest(r, x)).collect();
        let left = |p: Place| {
            let (px, pz) = (p[1], p[0]);
            let away = |x: f64, z: f64| (x - px).hypot(z.max(pz) - pz);
            let known: Vec<f64> = x.iter().zip(&lowest).map(|(&x, &z)| away(x, z)).collect();
            (least_of(&x, &known, |x| away(x, self.lowest(r, x))) - r).max(0.0)
        };
        let mut best = (0.0, [0.0; 2]);
        for piece in &self.cavity {
            let at = |t: f64| left(piece.at(t));
            let t: Vec<f64> = (0..=ALONG).map(|k| k as f64 / ALONG as f64).collect();
            let negative: Vec<f64> = t.iter().map(|&t| -at(t)).collect();
            if negative.iter().all(|&h| h > -1e-12) {
                continue;
            }
            let k = (0..t.len())
                .min_by(|&a, &b| negative[a].total_cmp(&negative[b]))
                .unwrap_or(0);
            let around = [t[k.saturating_sub(1)], t[(k + 1).min(ALONG)]];
            let (place, height) = golden(around, |t| -at(t));
            let (place, height) = if height < negative[k] {
                (place, -height)
            } else {
                (t[k], -negative[k])
            };
            if height > best.0 {
                let p = piece.at(place);
                best = (height, [p[1], p[0]]);
            }
        }
        best
    }
}

fn axial_angle(axial: f64, radial: f64) -> f64 {
    radial.atan2(axial)
}

/// Least value of `f` over sorted samples `x`, refined around the lowest of them.
fn least(x: &[f64], f: impl Fn(f64) -> f64) -> f64 {
    let known: Vec<f64> = x.iter().map(|&x| f(x)).collect();
    least_of(x, &known, f)
}

fn least_of(x: &[f64], known: &[f64], f: impl Fn(f64) -> f64) -> f64 {
    let last = x.len() - 1;
    let mut dips: Vec<usize> = (0..=last)
        .filter(|&k| known[k] <= known[k.saturating_sub(1)] && known[k] <= known[(k + 1).min(last)])
        .collect();
    dips.sort_by(|&a, &b| known[a].total_cmp(&known[b]));
    let mut best = f64::INFINITY;
    for k in dips.into_iter().take(3) {
        let (lo, hi) = (x[k.saturating_sub(1)], x[(k + 1).min(last)]);
        best = best.min(known[k]);
        for bracket in [[lo, x[k]], [x[k], hi]] {
            best = best.min(golden(bracket, &f).1);
        }
    }
    best
}

/// Least of a function with one dip in the bracket: place and value.
fn golden(bracket: [f64; 2], f: impl Fn(f64) -> f64) -> (f64, f64) {
    let ratio = 0.5 * (5f64.sqrt() - 1.0);
    let [mut a, mut b] = bracket;
    let (mut c, mut d) = (b - ratio * (b - a), a + ratio * (b - a));
    let (mut fc, mut fd) = (f(c), f(d));
    for _ in 0..GOLDEN {
        if fc < fd {
            (b, d, fd) = (d, c, fc);
            c = b - ratio * (b - a);
            fc = f(c);
        } else {
            (a, c, fc) = (c, d, fd);
            d = a + ratio * (b - a);
            fd = f(d);
        }
    }
    if fc < fd { (c, fc) } else { (d, fd) }
}
