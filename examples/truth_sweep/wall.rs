//! Surfaces swept by a generatrix around a rounded rectangle: its mesh and its closed forms.

use super::mesh::{Mesh, Place};
use super::profile::{self, Corner, Piece, Profile};
use std::f64::consts::{FRAC_PI_2, PI};

/// A generatrix (axial place, offset from the core) carried around the core, a rectangle of these half sizes; a core
/// of no size gives a surface of revolution, one of no width a slot. Corners are round, or mitred.
#[derive(Debug, Clone)]
pub struct Wall {
    /// Half sizes of the core, mm.
    pub core: [f64; 2],
    /// Corners are sharp and vertical planes meet there.
    pub mitred: bool,
    /// From the rim to the floor's middle or to the inner rim.
    pub profile: Profile,
}

/// Turn from which facets may stand for themselves, degrees: 0.8 of the crease angle of 30°, from where both readings are vetted.
const NEAR_DEG: f64 = 24.0;

/// How finely a surface is meshed.
#[derive(Debug, Clone, Copy)]
pub struct Facets {
    /// Chord error aimed at, mm.
    pub chord: f64,
    /// Least and largest turn from facet to facet, degrees.
    pub turn: [f64; 2],
}

impl Facets {
    /// Steps over an arc of `radius` that sweeps `sweep` radians.
    pub fn steps(&self, radius: f64, sweep: f64) -> usize {
        let aimed = 2.0 * (1.0 - self.chord / radius).clamp(-1.0, 1.0).acos();
        let turn = aimed.clamp(self.turn[0].to_radians(), self.turn[1].to_radians());
        ((sweep.abs() / turn - 1e-9).ceil() as usize).max(1)
    }
}

/// How fine a mesh came out.
#[derive(Debug, Clone, Copy, Default)]
pub struct Fineness {
    /// Largest turn from facet to facet, degrees.
    pub turn: f64,
    /// Largest chord error of an arc or a circle, mm.
    pub chord: f64,
}

impl Fineness {
    /// Takes in an arc of `radius` whose facets turn by `turn` radians.
    pub fn add(&mut self, radius: f64, turn: f64) {
        self.turn = self.turn.max(turn.to_degrees());
        self.chord = self.chord.max(radius * (1.0 - (0.5 * turn).cos()));
    }

    /// The coarser of two, each way.
    pub fn with(self, other: Fineness) -> Fineness {
        Fineness {
            turn: self.turn.max(other.turn),
            chord: self.chord.max(other.chord),
        }
    }
}

impl Wall {
    /// Volume between the surface and its axial planes towards the core, mm³; positive where the generatrix goes down.
    pub fn volume(&self) -> f64 {
        let [x, y] = self.core;
        let ends = self.profile.pieces[self.profile.pieces.len() - 1].at(1.0)[0]
            - self.profile.pieces[0].at(0.0)[0];
        -(self.round() * self.profile.volume()
            + 4.0 * (x + y) * self.profile.section_area()
            + 4.0 * x * y * ends)
    }

    /// Area of the surface, the flat over the core included where the generatrix ends there, mm².
    pub fn area(&self) -> f64 {
        let [x, y] = self.core;
        let length: f64 = self.profile.pieces.iter().map(Piece::length).sum();
        let flat = if self.end()[1] < 1e-9 {
            4.0 * x * y
        } else {
            0.0
        };
        self.round() * self.profile.area() + 4.0 * (x + y) * length + flat
    }

    /// Plan area within the offset `r` of the core, mm².
    pub fn within(&self, r: f64) -> f64 {
        let [x, y] = self.core;
        self.round() * PI * r * r + 4.0 * (x + y) * r + 4.0 * x * y
    }

    /// Where mitred corners hold 4/π of what round ones do.
    fn round(&self) -> f64 {
        if self.mitred { 4.0 / PI } else { 1.0 }
    }

    fn end(&self) -> profile::Place {
        self.profile.pieces[self.profile.pieces.len() - 1].at(1.0)
    }

    /// Adds the surface to a mesh, the flat at its end too unless it has `holes` or is open; gives its first ring and
    /// the largest turn between facets, degrees. `skip` leaves out the straight wall towards +Y of the first piece.
    pub fn mesh(
        &self,
        mesh: &mut Mesh,
        facets: &Facets,
        holes: Option<&[Vec<Place>]>,
        skip: bool,
    ) -> (Vec<Place>, Fineness) {
        let (rows, quarter, flat, fine) = self.rows(facets);
        let rings: Vec<Vec<Place>> = rows.iter().map(|&row| self.ring(row, quarter)).collect();
        for (k, pair) in rings.windows(2).enumerate() {
            mesh.between(&pair[0], &pair[1], (skip && k == 0).then_some(quarter));
        }
        let end = &rings[rings.len() - 1];
        let core_flat = self.end()[1] < 1e-9 && self.core[0] > 0.0 && self.core[1] > 0.0;
        if (flat || core_flat)
            && let Some(holes) = holes
        {
            mesh.flat(2, true, end, holes);
        }
        (rings[0].clone(), fine)
    }

    /// Places of the generatrix where rings stand, facets to a quarter turn, whether a flat floor ends it, how fine.
    fn rows(&self, facets: &Facets) -> (Vec<profile::Place>, usize, bool, Fineness) {
        let mut rows = vec![self.profile.pieces[0].at(0.0)];
        let mut fine = Fineness::default();
        let mut flat = false;
        let last = self.profile.pieces.len() - 1;
        for (k, piece) in self.profile.pieces.iter().enumerate() {
            let steps = match *piece {
                Piece::Line { from, to } => {
                    flat = k == last && from[0] == to[0] && to[1] == 0.0;
                    usize::from(!flat)
                }
                Piece::Arc { radius, sweep, .. } => {
                    let steps = facets.steps(radius, sweep);
                    fine.add(radius, sweep.abs() / steps as f64);
                    steps
                }
            };
            rows.extend((1..=steps).map(|k| piece.at(k as f64 / steps as f64)));
        }
        let widest = self.profile.widest()[1];
        let quarter = if self.mitred {
            0
        } else {
            facets.steps(widest, FRAC_PI_2)
        };
        if !self.mitred {
            fine.add(widest, FRAC_PI_2 / quarter as f64);
        }
        (rows, quarter, flat, fine)
    }

    /// The generatrix as the facets have it where they turn by [`NEAR_DEG`] or more, and the turn from facet to facet in plan,
    /// radians (0 where corners are mitred or turn by less than that): finer facets stand for one shape only.
    pub fn faceted(&self, facets: &Facets) -> (Profile, f64) {
        let near = NEAR_DEG.to_radians() - 1e-9;
        let mut pieces = Vec::new();
        for &piece in &self.profile.pieces {
            match piece {
                Piece::Arc { radius, sweep, .. } => {
                    let steps = facets.steps(radius, sweep);
                    if sweep.abs() / (steps as f64) < near {
                        pieces.push(piece);
                        continue;
                    }
                    let at = |k: usize| piece.at(k as f64 / steps as f64);
                    pieces.extend((0..steps).map(|k| Piece::Line {
                        from: at(k),
                        to: at(k + 1),
                    }));
                }
                Piece::Line { .. } => pieces.push(piece),
            }
        }
        let quarter = facets.steps(self.profile.widest()[1], FRAC_PI_2);
        let turn = FRAC_PI_2 / quarter as f64;
        let round = !self.mitred && turn >= near;
        (Profile { pieces }, if round { turn } else { 0.0 })
    }

    /// The ring of the surface through a place of the generatrix, `quarter` facets to a quarter turn.
    pub fn ring(&self, [z, r]: profile::Place, quarter: usize) -> Vec<Place> {
        let r = if r.abs() < 1e-9 { 0.0 } else { r };
        let signs = [[1.0, 1.0], [-1.0, 1.0], [-1.0, -1.0], [1.0, -1.0]];
        let mut ring = Vec::new();
        for (q, s) in signs.iter().enumerate() {
            for k in 0..=quarter {
                let d = if self.mitred {
                    *s
                } else {
                    let along = match k {
                        0 => [1.0, 0.0],
                        k if k == quarter => [0.0, 1.0],
                        k => {
                            let a = FRAC_PI_2 * k as f64 / quarter as f64;
                            [a.cos(), a.sin()]
                        }
                    };
                    let [x, y] = along;
                    [[x, y], [-y, x], [-x, -y], [y, -x]][q]
                };
                ring.push([
                    s[0] * self.core[0] + r * d[0],
                    s[1] * self.core[1] + r * d[1],
                    z,
                ]);
            }
        }
        ring
    }

    /// Least draft, degrees, and area of the straight pieces that have it (infinite where an arc has it).
    pub fn least_draft(&self) -> (f64, f64) {
        let mut least = (f64::INFINITY, 0.0);
        for piece in &self.profile.pieces {
            let draft = draft_at(piece, 0.0).min(draft_at(piece, 1.0));
            let part = Wall {
                profile: Profile {
                    pieces: vec![*piece],
                },
                ..self.clone()
            };
            let area = if matches!(piece, Piece::Line { .. }) {
                part.area()
            } else {
                f64::INFINITY
            };
            if draft < least.0 {
                least = (draft, area);
            }
        }
        least
    }

    /// Largest height along the axis of connected surface with less draft than `required` degrees.
    pub fn tallest_short(&self, required: f64) -> f64 {
        let (mut tallest, mut run): (f64, Option<[f64; 2]>) = (0.0, None);
        let mut add = |run: &mut Option<[f64; 2]>, piece: &Piece, t: [f64; 2]| {
            let z = t.map(|t| piece.at(t)[0]);
            let [lo, hi] = run.get_or_insert([z[0], z[0]]);
            *lo = lo.min(z[0]).min(z[1]);
            *hi = hi.max(z[0]).max(z[1]);
            tallest = tallest.max(*hi - *lo);
        };
        for piece in &self.profile.pieces {
            let short = [0.0, 1.0].map(|t| draft_at(piece, t) < required);
            match *piece {
                Piece::Line { .. } if short[0] => add(&mut run, piece, [0.0, 1.0]),
                Piece::Line { .. } => run = None,
                Piece::Arc { start, sweep, .. } => {
                    let steepest = ((PI - start) / sweep).clamp(0.0, 1.0);
                    if short[0] {
                        add(
                            &mut run,
                            piece,
                            [0.0, crossing(piece, required, 0.0, steepest)],
                        );
                    }
                    run = None;
                    if short[1] {
                        add(
                            &mut run,
                            piece,
                            [1.0, crossing(piece, required, 1.0, steepest)],
                        );
                    }
                }
            }
        }
        tallest
    }
}

/// Draft at parameter `t` of a piece whose air lies to the side of the axis when going down, degrees.
fn draft_at(piece: &Piece, t: f64) -> f64 {
    (-piece.tangent(t)[1]).clamp(-1.0, 1.0).asin().to_degrees()
}

fn crossing(piece: &Piece, required: f64, mut short: f64, mut enough: f64) -> f64 {
    for _ in 0..60 {
        let middle = 0.5 * (short + enough);
        if draft_at(piece, middle) < required {
            short = middle;
        } else {
            enough = middle;
        }
    }
    0.5 * (short + enough)
}

/// The chain through `corners` if its roundings find room.
pub fn rounded(corners: &[Corner]) -> Option<Profile> {
    let away = |a: &Corner, b: &Corner| (b.0 - a.0).hypot(b.1 - a.1);
    let mut used = vec![0.0; corners.len()];
    for k in 1..corners.len() - 1 {
        let (a, b, c) = (&corners[k - 1], &corners[k], &corners[k + 1]);
        let (u, v) = ([b.0 - a.0, b.1 - a.1], [c.0 - b.0, c.1 - b.1]);
        let turn = (u[0] * v[1] - u[1] * v[0]).atan2(u[0] * v[0] + u[1] * v[1]);
        used[k] = b.2 * (0.5 * turn.abs()).tan();
    }
    (1..corners.len())
        .all(|k| used[k - 1] + used[k] <= away(&corners[k - 1], &corners[k]))
        .then(|| Profile::rounded(corners))
}
