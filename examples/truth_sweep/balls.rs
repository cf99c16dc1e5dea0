//! What balls and other cutters leave of the shapes, and how deep they reach.

use super::profile::{Corner, Piece};
use super::random::Random;
use super::section::Section;
use super::truth::{Ball, Flat, Truth};
use super::wall::{Facets, Wall, rounded};
use std::f64::consts::FRAC_PI_2;

/// What balls meet.
pub enum Ground {
    /// Hollow swept around a core; `most`: the largest ball that its corners take.
    Swept {
        parts: Vec<(Wall, Vec<Corner>)>,
        most: f64,
    },
    /// Three planes meet in the corners of its floor, walls with this draft; balls up to `most`.
    Corner { draft: f64, most: f64, depth: f64 },
}

pub fn ball(diameter: f64, ground: &Ground, truth: &Truth, coarse: Option<&Facets>) -> Ball {
    let r = 0.5 * diameter;
    let mut ball = Ball {
        diameter_mm: diameter,
        ..Ball::default()
    };
    match ground {
        Ground::Corner { draft, most, depth } => {
            if r <= *most {
                // the centre touches floor and both walls: its distance to each wall along the floor is r·cot(θ/2)
                let along = r / (0.5 * (90.0 + draft)).to_radians().tan();
                ball.left_mm = Some((2.0 * along * along + r * r).sqrt() - r);
                ball.deepest_mm = Some(*depth);
            }
        }
        Ground::Swept { parts, most } => {
            if r > *most {
                return ball;
            }
            let sections = parts.iter().map(|(wall, _)| Section::of(&wall.profile));
            ball.left_mm = match truth.radius_mm {
                // by that radius' definition
                Some(least) if r <= least => Some(0.0),
                _ => sections.map(|s| s.left(r).0).reduce(f64::max),
            };
            ball.left_faceted_mm = coarse.map(|facets| faceted(parts, facets, r));
            ball.deepest_mm = Some(if parts.len() == 1 {
                Section::of(&parts[0].0.profile).deepest(r)
            } else {
                truth.depth_mm
            });
            ball.left_volume_mm3 = parts
                .iter()
                .map(|(wall, corners)| left_volume(wall, corners, r))
                .sum();
        }
    }
    ball
}

/// A flat or bull-nose cutter no wider than the floor's corners in plan, its own corner no larger than the floor's fillet if there is
/// one; for a hollow whose walls lean out from a floor. Rolled along the fillet and the wall it touches all, and of a sharp edge
/// between them, which opens by θ, its corner of r leaves r(1/sin(θ/2) − 1).
pub fn flat(ground: &Ground, depth: f64, random: &mut Random) -> Option<Flat> {
    let Ground::Swept { parts, .. } = ground else {
        return None;
    };
    let [(wall, corners)] = &parts[..] else {
        return None;
    };
    let &[(_, rim, _), (_, foot, fillet), (_, end, _)] = &corners[..] else {
        return None;
    };
    if end != 0.0 || wall.mitred {
        return None;
    }
    let opening = 0.5 * (FRAC_PI_2 + ((rim - foot) / depth).atan());
    let floor = foot - fillet / opening.tan();
    let radius = floor * random.within(0.2, 0.95);
    let most = radius.min(if fillet > 0.0 { fillet } else { 0.5 * depth });
    let corner = match random.chance(0.5) {
        true => 0.0,
        false => most * random.within(0.1, 0.9),
    };
    let sharp = corner * (1.0 / opening.sin() - 1.0);
    (radius > 0.05).then_some(Flat {
        diameter_mm: 2.0 * radius,
        corner_mm: corner,
        left_mm: if fillet > 0.0 { 0.0 } else { sharp },
    })
}

/// What a ball leaves where each facet is taken for a face of its own: in the folds along the generatrix, and in the
/// upright ones, of interior angle π − τ: R(1/cos(τ/2) − 1), for balls that fit between the facets there.
fn faceted(parts: &[(Wall, Vec<Corner>)], facets: &Facets, r: f64) -> f64 {
    let each = parts.iter().map(|(wall, _)| {
        let (profile, turn) = wall.faceted(facets);
        let along = Section::of(&profile).left(r).0;
        let first = wall.profile.pieces[0].at(0.0);
        let next = wall.profile.pieces[0].at(1.0);
        // a wall that is round in plan and taller than the ball
        let upright = first[0] - next[0] > r && r < next[1] * (0.5 * turn).cos();
        if upright {
            along.max(r / (0.5 * turn).cos() - r)
        } else {
            along
        }
    });
    each.fold(0.0, f64::max)
}

/// What a ball leaves in concave edges: the volume between the chain and the chain whose concave roundings are at least
/// the ball's, where those find room.
fn left_volume(wall: &Wall, corners: &[Corner], r: f64) -> Option<f64> {
    if let ([Piece::Arc { radius, .. }], true) = (&wall.profile.pieces[..], corners.is_empty()) {
        return (r <= *radius).then_some(0.0);
    }
    let mut filled = corners.to_vec();
    for k in 1..corners.len() - 1 {
        let (a, b, c) = (corners[k - 1], corners[k], corners[k + 1]);
        let concave = (b.0 - a.0) * (c.1 - b.1) - (b.1 - a.1) * (c.0 - b.0) > 0.0;
        if concave {
            filled[k].2 = b.2.max(r);
        }
    }
    let filled = Wall {
        profile: rounded(&filled)?,
        ..wall.clone()
    };
    (wall.volume() - filled.volume()).into()
}
