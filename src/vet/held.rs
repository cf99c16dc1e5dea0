//! What holds a ball off a place, and how far the surface's own uncertainty can move it.

use super::cavity::BLUNT;
use super::cone::{cone_shares, nearest_point};
use super::cutting::{Cutting, TOUCH};
use super::halving::lowest;
use super::reach::Ground;
use crate::field::{Nearest, Profile};
use crate::mesh::{Point, Vector};

/// What a ball is placed to, mm.
const PLACED: f64 = 4.0 * TOUCH;
/// What may hold a ball is this near to it, as a share of its radius: places known by nodes only stand a little off.
const RESTS: f64 = 0.005;
/// Cosine between the normals of contacts that are one.
const ONE: f64 = 0.999_999;

/// Slides of a ball towards a place, halvings of each, and what each has to gain, mm.
const MOST_SLIDES: usize = 40;
const SLIDE_HALVINGS: i32 = 12;
const SLIDE_GAIN: f64 = TOUCH;
/// What the last step of a ball that rolls on may miss in plan, mm.
const ROLLED: f64 = 1e-4;

/// A half-space in which the centre stays: normal · centre ≥ level, and how far the true surface may move that, mm.
struct Stop {
    normal: Vector,
    level: f64,
    error: f64,
}

/// How far the height left at `p`, with the ball at its nearest place `near`, may be from that of the true surface, mm.
///
/// Let the centre stay in the half-spaces n_i · c ≥ b_i that the surface at its contacts gives. For any λ_i ≥ 0 with m = |Σ λ_i
/// n_i|, every allowed c is Σ λ_i (b_i − n_i · p) / m away from p or more (weak duality), and with the λ that best make up the
/// direction of c − p that bound is reached where the contacts explain the place (Karush, Kuhn and Tucker). What is missing to it
/// is one part of the ±. The true surface lies within e_i, its chord error, of the mesh at each contact and within e_p at `p`,
/// with the coordinates' rounding in both: to first order that moves the distance by Σ λ_i e_i / m and e_p. In a corner of
/// opening 2α between two faces Σ λ_i / m is 1 / sin α.
pub fn uncertainty(ground: &Ground, cutting: &Cutting, p: &Point, near: &Nearest) -> f64 {
    let own = chord_at(ground, p, PLACED) + ground.half.rounding;
    if near.left <= 0.0 {
        return 2.0 * own + PLACED;
    }
    if !cutting.is_ball() {
        return 2.0 * own + PLACED + cutting.overlooked(p, near);
    }
    let radius = cutting.radius();
    let stops = stops(ground, cutting, radius, p, &near.centre);
    let far = near.centre - p;
    let towards = far.try_normalize(0.0).unwrap_or_default();
    let normals: Vec<Vector> = stops.iter().map(|s| s.normal).collect();
    let shares = cone_shares(&normals, &towards);
    let of = |f: &dyn Fn(&Stop) -> f64| -> f64 {
        shares.iter().map(|&(k, share)| share * f(&stops[k])).sum()
    };
    let sum: Vector = shares
        .iter()
        .map(|&(k, share)| stops[k].normal * share)
        .sum();
    let length = sum.norm();
    if length < 0.5 {
        // nothing that was found holds it
        return near.left + own;
    }
    let least = of(&|s| s.level - s.normal.dot(&p.coords)) / length;
    let missing = (far.norm() - least.max(radius)).max(0.0);
    own + of(&|s| s.error) / length + missing + PLACED
}

/// How far the lowest place of a ball, with its centre at `c`, may lie from that over the true surface, mm.
///
/// The surface it rests on lies within e of the facets. A ball on a surface moved out, or in, by e stands as one of radius R + e,
/// or R − e, does on the facets: a ball that only just does not fall between two rims sinks by far more than e. Where facets hold
/// it aside of the lowest place, as in a hollow hardly narrower than itself, it also moves there: the smaller one is let roll on.
pub fn sinking(ground: &Ground, cutting: &Cutting, c: &Point) -> f64 {
    let radius = cutting.radius();
    let stops = stops(ground, cutting, radius, &(c - Vector::z()), c);
    let error = stops.iter().map(|s| s.error).fold(0.0, f64::max);
    let dropper = &ground.contacts.dropper;
    let height = |radius: f64, [x, y]: [f64; 2]| {
        let contact = dropper.centre_height(Profile::ball(radius), x, y);
        contact.map_or(c.z, |h| h.z)
    };
    let at = [c.x, c.y];
    let own = height(radius, at);
    let up = height(radius + error, at) - own;
    let smaller = (radius - error).max(0.0);
    let steps = [radius.min(4.0 * (radius * error).sqrt()), ROLLED];
    let under = (at, height(smaller, at));
    let (_, lower) = lowest(under, steps, |at, _| height(smaller, at));
    up.abs().max(own - lower)
}

/// The ball slid on from its free place `start` towards the surface point `p`, along what it rests on, until that lets it no
/// nearer.
pub fn slid(ground: &Ground, cutting: &Cutting, p: &Point, start: Nearest) -> Nearest {
    let radius = cutting.radius();
    let free = |c: &Point| cutting.rests_free(c);
    let at = slid_towards(ground, cutting, radius, p, start.centre, free);
    let left = ((at - p).norm() - radius).max(0.0);
    if left < start.left {
        Nearest { left, centre: at }
    } else {
        start
    }
}

/// How much nearer to `p` the ball might get over the true surface than at its nearest place `near`, mm: as much as one smaller
/// by what that may lie off the facets does. A ball hardly wider than the hollow it stands in sinks by far more than that.
pub fn eased(ground: &Ground, cutting: &Cutting, p: &Point, near: &Nearest) -> f64 {
    let stops = stops(ground, cutting, cutting.radius(), p, &near.centre);
    let error = stops.iter().map(|s| s.error).fold(0.0, f64::max);
    let radius = cutting.radius() - error;
    if !cutting.is_ball() || near.left <= 0.0 || radius <= 0.0 || cutting.under(&near.centre) {
        return 0.0;
    }
    let rays = &ground.contacts.rays;
    let free = |c: &Point| !rays.any_within(c, radius - 2.0 * TOUCH);
    let at = slid_towards(ground, cutting, radius, p, near.centre, free);
    let left = ((at - p).norm() - radius).max(0.0);
    (near.left - left).max(0.0)
}

/// The centre of a ball of `radius` slid on from `start` towards `p`: each time as near as the half-spaces of its contacts allow,
/// and as far on the way there as it stays `free`.
fn slid_towards(
    ground: &Ground,
    cutting: &Cutting,
    radius: f64,
    p: &Point,
    start: Point,
    free: impl Fn(&Point) -> bool,
) -> Point {
    let mut at = start;
    for _ in 0..MOST_SLIDES {
        let planes: Vec<(Vector, f64)> = stops(ground, cutting, radius, p, &at)
            .into_iter()
            .map(|s| (s.normal, s.level))
            .collect();
        let Some(to) = nearest_point(p, &planes, TOUCH) else {
            break;
        };
        let way = to - at;
        let share = (0..SLIDE_HALVINGS)
            .map(|k| 0.5_f64.powi(k))
            .find(|share| free(&(at + way * *share)));
        let Some(next) = share.map(|s| at + way * s) else {
            break;
        };
        if (next - p).norm() > (at - p).norm() - SLIDE_GAIN {
            break;
        }
        at = next;
    }
    at
}

/// What a ball of `radius` rests on at `c`.
fn stops(ground: &Ground, cutting: &Cutting, radius: f64, p: &Point, c: &Point) -> Vec<Stop> {
    let rests = PLACED.max(RESTS * radius);
    let rays = &ground.contacts.rays;
    let aside = Vector::repeat(radius + rests);
    let mut stops: Vec<Stop> = Vec::new();
    rays.for_each_triangle_in_box(&(c - aside), &(c + aside), |t| {
        let q = rays.closest_on(t, c);
        let out = c - q;
        let Some(normal) = out
            .try_normalize(0.0)
            .filter(|_| out.norm() <= radius + rests)
        else {
            return;
        };
        let level = |n: &Vector| n.dot(&q.coords) + radius;
        let error = error_at(ground, t, &q) + ground.half.rounding;
        match stops.iter_mut().find(|s| s.normal.dot(&normal) > ONE) {
            Some(s) => {
                s.error = s.error.max(error);
                s.level = s.level.max(level(&s.normal));
            }
            None => stops.push(Stop {
                normal,
                level: level(&normal),
                error,
            }),
        }
    });
    let aside = cutting.held_aside(c, p);
    let error = match aside.is_empty() {
        true => 0.0,
        false => chord_at(ground, c, 1.5 * radius),
    };
    for (normal, level) in aside {
        stops.push(Stop {
            normal,
            level,
            error,
        });
    }
    stops
}

/// How far the true surface may lie from the point `q` of triangle `t`: its chord error, and on a sharp edge how far the edge
/// where the surfaces of either side meet may: (s + s') / sin φ, with their sagittas and the angle between them.
fn error_at(ground: &Ground, t: u32, q: &Point) -> f64 {
    let (mesh, topology) = (&ground.half.mesh, &ground.half.topology);
    let creases = &ground.surface.creases;
    let corners = mesh.corners(t as usize);
    let on_side = |k: usize| {
        let (p, side) = (corners[k], corners[(k + 1) % 3] - corners[k]);
        (q - p).cross(&side).norm() <= PLACED * side.norm()
    };
    let sharp = |k: usize| !creases.smooth[topology.sides[t as usize][k] as usize];
    (0..3)
        .filter(|&k| sharp(k) && on_side(k))
        .map(|k| {
            let ([own, other], angle) = creases.sagittas(mesh, topology, t, k);
            (own.abs() + other.abs()) / angle.sin().max(BLUNT)
        })
        .fold(f64::from(creases.chord_error[t as usize]), f64::max)
}

/// Largest chord error of the facets within `reach` of `p`.
fn chord_at(ground: &Ground, p: &Point, reach: f64) -> f64 {
    let mut most = 0.0_f64;
    let aside = Vector::repeat(reach);
    let rays = &ground.contacts.rays;
    rays.for_each_triangle_in_box(&(p - aside), &(p + aside), |t| {
        most = most.max(f64::from(ground.surface.creases.chord_error[t as usize]));
    });
    most
}
