//! Generatrices: chains of lines and tangent arcs in the half plane (axial place, distance from the
//! axis), with the closed forms of the solids they sweep around the axis.
//!
//! Trigonometry comes from `libm`, not from the platform, so that the files are the same bytes everywhere.

use std::f64::consts::PI;

/// A place on a generatrix: along the axis, and away from it, mm.
pub type Place = [f64; 2];

/// A corner of the chain to be rounded: axial place, distance from the axis, radius (0: sharp), mm.
pub type Corner = (f64, f64, f64);

/// A line or a circular arc of a generatrix.
#[derive(Debug, Clone, Copy)]
pub enum Piece {
    /// Straight: a cone, cylinder or flat ring of the solid.
    Line {
        /// Where it starts.
        from: Place,
        /// Where it ends.
        to: Place,
    },
    /// Circular: a ring of a torus, or of a sphere where its centre lies on the axis.
    Arc {
        /// Centre.
        centre: Place,
        /// Radius, mm.
        radius: f64,
        /// Direction from the centre to its start, radians from the axis.
        start: f64,
        /// Angle swept, radians, positive from the axial direction to the radial one.
        sweep: f64,
    },
}

/// A chain of pieces, each starting where the one before ends.
#[derive(Debug, Clone)]
pub struct Profile {
    /// Lines and arcs in order.
    pub pieces: Vec<Piece>,
}

impl Profile {
    /// The polyline through `corners`, each rounded by an arc tangent to both sides.
    ///
    /// # Panics
    /// If two roundings need more of a side than it has.
    pub fn rounded(corners: &[Corner]) -> Profile {
        let place = |k: usize| [corners[k].0, corners[k].1];
        let mut pieces = Vec::new();
        let mut at = place(0);
        for (k, &(_, _, radius)) in corners.iter().enumerate().skip(1) {
            let mut to = place(k);
            let mut arc = None;
            if radius > 0.0 {
                let (u, v) = (unit(place(k - 1), place(k)), unit(place(k), place(k + 1)));
                let turn = libm::atan2(u[0] * v[1] - u[1] * v[0], u[0] * v[0] + u[1] * v[1]);
                let tangent = radius * libm::tan(0.5 * turn.abs());
                let side = turn.signum();
                to = [to[0] - u[0] * tangent, to[1] - u[1] * tangent];
                let centre = [to[0] - side * u[1] * radius, to[1] + side * u[0] * radius];
                let start = libm::atan2(to[1] - centre[1], to[0] - centre[0]);
                arc = Some((
                    Piece::Arc {
                        centre,
                        radius,
                        start,
                        sweep: turn,
                    },
                    [place(k)[0] + v[0] * tangent, place(k)[1] + v[1] * tangent],
                ));
            }
            let along = unit(place(k - 1), place(k));
            let length = (to[0] - at[0]) * along[0] + (to[1] - at[1]) * along[1];
            assert!(length > -1e-9, "roundings overlap before corner {k}");
            if length > 1e-9 {
                pieces.push(Piece::Line { from: at, to });
            }
            at = to;
            if let Some((piece, end)) = arc {
                pieces.push(piece);
                at = end;
            }
        }
        Profile { pieces }
    }

    /// Places along the chain, no farther from it than `chord` anywhere between, both ends included.
    pub fn sampled(&self, chord: f64) -> Vec<Place> {
        let mut places = vec![self.pieces[0].at(0.0)];
        for piece in &self.pieces {
            let steps = match *piece {
                Piece::Line { .. } => 1,
                Piece::Arc { radius, sweep, .. } => {
                    let widest = 2.0 * libm::acos(1.0 - chord / radius);
                    (sweep.abs() / widest).ceil() as usize
                }
            };
            places.extend((1..=steps).map(|k| piece.at(k as f64 / steps as f64)));
        }
        places
    }

    /// Distance from `p` to the chain, mm.
    pub fn distance(&self, p: Place) -> f64 {
        self.pieces
            .iter()
            .map(|piece| piece.distance(p))
            .fold(f64::INFINITY, f64::min)
    }

    /// Volume swept between the chain and the axis over the full turn, mm³: π ∫ r² da, with the sign of da.
    pub fn volume(&self) -> f64 {
        self.pieces.iter().map(Piece::volume).sum()
    }

    /// Area swept by the chain over the full turn, mm²: 2π ∫ r ds.
    pub fn area(&self) -> f64 {
        self.pieces.iter().map(Piece::area).sum()
    }

    /// Area between the chain and the axis in the half plane, mm²: ∫ r da, with the sign of da.
    pub fn section_area(&self) -> f64 {
        self.pieces.iter().map(Piece::section_area).sum()
    }

    /// Largest distance from the axis, mm, and its place along the axis.
    pub fn widest(&self) -> Place {
        let mut best = [0.0, 0.0];
        for piece in &self.pieces {
            for p in piece.extremes() {
                if p[1] > best[1] {
                    best = p;
                }
            }
        }
        best
    }

    /// Largest length of the normal from the chain to the axis, mm, and its place.
    ///
    /// Along an arc the normal's length is `radius + r_centre / sin`, monotone in the sine, so
    /// its extremes lie at the arc's ends and where the sine is ±1.
    pub fn longest_normal(&self) -> (f64, Place) {
        let mut best = (0.0, [0.0, 0.0]);
        for piece in &self.pieces {
            for t in piece.extreme_parameters() {
                let (p, axial) = (piece.at(t), piece.tangent(t)[0].abs());
                let length = p[1] / axial;
                if length > best.0 {
                    best = (length, p);
                }
            }
        }
        best
    }
}

impl Piece {
    /// The place at parameter `t` in 0..=1.
    pub fn at(&self, t: f64) -> Place {
        match *self {
            Piece::Line { to, .. } if t == 1.0 => to,
            Piece::Line { from, to } => [
                from[0] + t * (to[0] - from[0]),
                from[1] + t * (to[1] - from[1]),
            ],
            Piece::Arc {
                centre,
                radius,
                start,
                sweep,
            } => {
                let angle = start + t * sweep;
                [
                    centre[0] + radius * libm::cos(angle),
                    centre[1] + radius * libm::sin(angle),
                ]
            }
        }
    }

    /// Unit direction of travel at parameter `t`.
    pub fn tangent(&self, t: f64) -> Place {
        match *self {
            Piece::Line { from, to } => unit(from, to),
            Piece::Arc { start, sweep, .. } => {
                let (angle, side) = (start + t * sweep, sweep.signum());
                [-side * libm::sin(angle), side * libm::cos(angle)]
            }
        }
    }

    /// Length, mm.
    pub fn length(&self) -> f64 {
        match *self {
            Piece::Line { from, to } => libm::hypot(to[0] - from[0], to[1] - from[1]),
            Piece::Arc { radius, sweep, .. } => radius * sweep.abs(),
        }
    }

    /// The part between parameters `t0` and `t1`.
    pub fn part(&self, t0: f64, t1: f64) -> Piece {
        match *self {
            Piece::Line { .. } => Piece::Line {
                from: self.at(t0),
                to: self.at(t1),
            },
            Piece::Arc {
                centre,
                radius,
                start,
                sweep,
            } => Piece::Arc {
                centre,
                radius,
                start: start + t0 * sweep,
                sweep: (t1 - t0) * sweep,
            },
        }
    }

    /// π ∫ r² da, mm³.
    fn volume(&self) -> f64 {
        match *self {
            Piece::Line {
                from: [a0, r0],
                to: [a1, r1],
            } => PI * (a1 - a0) * (r0 * r0 + r0 * r1 + r1 * r1) / 3.0,
            // a = A + R cos φ, r = C + R sin φ: −πR ∫ (C + R sin φ)² sin φ dφ
            Piece::Arc {
                centre: [_, c],
                radius,
                ..
            } => self.between_angles(|f| {
                let (s, k) = (libm::sin(f), libm::cos(f));
                let sin2 = 0.5 * (f - s * k);
                let sin3 = k * k * k / 3.0 - k;
                -PI * radius * (-c * c * k + 2.0 * c * radius * sin2 + radius * radius * sin3)
            }),
        }
    }

    /// 2π ∫ r ds, mm².
    pub fn area(&self) -> f64 {
        match *self {
            Piece::Line { from, to } => PI * (from[1] + to[1]) * self.length(),
            Piece::Arc {
                centre: [_, c],
                radius,
                sweep,
                ..
            } => {
                sweep.signum()
                    * self.between_angles(|f| 2.0 * PI * radius * (c * f - radius * libm::cos(f)))
            }
        }
    }

    /// ∫ r da, mm².
    fn section_area(&self) -> f64 {
        match *self {
            Piece::Line { from, to } => 0.5 * (from[1] + to[1]) * (to[0] - from[0]),
            Piece::Arc {
                centre: [_, c],
                radius,
                ..
            } => self.between_angles(|f| {
                let (s, k) = (libm::sin(f), libm::cos(f));
                radius * (c * k - 0.5 * radius * (f - s * k))
            }),
        }
    }

    /// An antiderivative over the arc's angle, taken between its ends.
    fn between_angles(&self, antiderivative: impl Fn(f64) -> f64) -> f64 {
        match *self {
            Piece::Arc { start, sweep, .. } => {
                antiderivative(start + sweep) - antiderivative(start)
            }
            Piece::Line { .. } => unreachable!("a line has no angle"),
        }
    }

    /// Parameters of the ends and, for an arc, of the places where its radius stands square to the axis.
    fn extreme_parameters(&self) -> Vec<f64> {
        let mut at = vec![0.0, 1.0];
        if let Piece::Arc { start, sweep, .. } = *self {
            let square = [-1.5, -0.5, 0.5, 1.5].map(|k| (k * PI - start) / sweep);
            at.extend(square.iter().filter(|t| (0.0..=1.0).contains(*t)));
        }
        at
    }

    fn extremes(&self) -> Vec<Place> {
        self.extreme_parameters()
            .iter()
            .map(|&t| self.at(t))
            .collect()
    }

    fn distance(&self, p: Place) -> f64 {
        let ends = [self.at(0.0), self.at(1.0)].map(|e| libm::hypot(p[0] - e[0], p[1] - e[1]));
        let at_ends = ends[0].min(ends[1]);
        match *self {
            Piece::Line { from, .. } => {
                let u = self.tangent(0.0);
                let d = [p[0] - from[0], p[1] - from[1]];
                let along = d[0] * u[0] + d[1] * u[1];
                if (0.0..=self.length()).contains(&along) {
                    (d[0] * u[1] - d[1] * u[0]).abs()
                } else {
                    at_ends
                }
            }
            Piece::Arc {
                centre,
                radius,
                start,
                sweep,
            } => {
                let d = [p[0] - centre[0], p[1] - centre[1]];
                let ahead = sweep.signum() * (libm::atan2(d[1], d[0]) - start);
                if ahead.rem_euclid(2.0 * PI) <= sweep.abs() {
                    (libm::hypot(d[0], d[1]) - radius).abs()
                } else {
                    at_ends
                }
            }
        }
    }
}

fn unit(from: Place, to: Place) -> Place {
    let d = [to[0] - from[0], to[1] - from[1]];
    let length = libm::hypot(d[0], d[1]);
    [d[0] / length, d[1] / length]
}
