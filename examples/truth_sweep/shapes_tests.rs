//! The sweep's truths against sums over fine meshes and against brute force.

use crate::balls::Ground;
use crate::hollows::hollow_arc;
use crate::mesh::{Mesh, Place};
use crate::profile::Profile;
use crate::random::Random;
use crate::section::Section;
use crate::shapes::{CHORDS, KINDS, draft, shape, shape_with};
use crate::wall::Facets;

/// About the finest that builds in a moment.
const FINE: Facets = Facets {
    chord: 1e-6,
    turn: [1.0, 1.5],
};

fn cross(a: Place, b: Place, c: Place) -> Place {
    let d = |p: Place| [p[0] - a[0], p[1] - a[1], p[2] - a[2]];
    let (u, v) = (d(b), d(c));
    [
        u[1] * v[2] - u[2] * v[1],
        u[2] * v[0] - u[0] * v[2],
        u[0] * v[1] - u[1] * v[0],
    ]
}

fn length(v: Place) -> f64 {
    v.iter().map(|c| c * c).sum::<f64>().sqrt()
}

fn corners(mesh: &Mesh, t: &[usize; 3]) -> [Place; 3] {
    t.map(|k| mesh.points[k])
}

/// Least and largest coordinates: the block.
fn bounds(mesh: &Mesh) -> [Place; 2] {
    let of = |k: usize, f: fn(f64, f64) -> f64| mesh.points.iter().map(|p| p[k]).reduce(f).unwrap();
    [
        [0, 1, 2].map(|k| of(k, f64::min)),
        [0, 1, 2].map(|k| of(k, f64::max)),
    ]
}

fn on_block(bounds: &[Place; 2], t: &[Place; 3]) -> bool {
    (0..3).any(|k| {
        bounds
            .iter()
            .any(|b| t.iter().all(|p| (p[k] - b[k]).abs() < 1e-9))
    })
}

#[test]
fn meshes_are_closed() {
    for seed in 0..60 {
        let mesh = shape(seed, None, seed % 2 == 1, CHORDS).mesh;
        let mut edges = std::collections::BTreeMap::new();
        for t in &mesh.triangles {
            for k in 0..3 {
                *edges.entry((t[k], t[(k + 1) % 3])).or_insert(0) += 1;
            }
        }
        for (&(a, b), &n) in &edges {
            assert_eq!((n, edges.get(&(b, a))), (1, Some(&1)), "seed {seed}");
        }
    }
}

/// A facet that turns by τ loses τ²/24 of its arc and up to τ²/6 of a disc: below 2e-4 at 1.5°.
#[test]
fn volumes_and_areas_agree_with_fine_meshes() {
    for (k, kind) in KINDS.into_iter().enumerate() {
        for seed in 0..6 {
            let shape = shape_with(100 * k as u64 + seed, Some(kind), false, CHORDS, Some(FINE));
            let bounds = bounds(&shape.mesh);
            let size = [0, 1, 2].map(|k| bounds[1][k] - bounds[0][k]);
            let volume = size.iter().product::<f64>() - shape.mesh.volume();
            let area: f64 = (shape.mesh.triangles.iter())
                .map(|t| corners(&shape.mesh, t))
                .filter(|t| !on_block(&bounds, t))
                .map(|[a, b, c]| 0.5 * length(cross(a, b, c)))
                .sum();
            let truth = &shape.truth;
            // no facet strays farther than a chord error each way
            assert!(
                (volume - truth.volume_mm3).abs() < 2.0 * truth.chord_mm * truth.surface_mm2 + 1e-6,
                "{kind} {seed} {volume} {truth:?}"
            );
            assert!(
                (area / truth.surface_mm2 - 1.0).abs() < 2e-4,
                "{kind} {seed} {area} {truth:?}"
            );
            assert!((bounds[1][2]).abs() < 1e-12);
        }
    }
}

#[test]
fn drafts_agree_with_fine_meshes() {
    for (k, kind) in KINDS.into_iter().enumerate() {
        for seed in 0..6 {
            let shape = shape_with(100 * k as u64 + seed, Some(kind), false, CHORDS, Some(FINE));
            let bounds = bounds(&shape.mesh);
            let least = (shape.mesh.triangles.iter())
                .map(|t| corners(&shape.mesh, t))
                .filter(|t| !on_block(&bounds, t))
                .map(|[a, b, c]| cross(a, b, c))
                .filter(|n| length(*n) > 1e-9)
                .map(|n| (n[2] / length(n)).asin().to_degrees())
                .fold(90.0, f64::min);
            if let Some(truth) = shape.truth.least_draft_deg {
                // facets lean half a turn off
                assert!((least - truth).abs() < 1.6, "{kind} {seed} {least} {truth}");
            }
        }
    }
}

/// Corner of a pocket, air angle 90° + draft: what a ball leaves is R(1/sin(θ/2) − 1), trade's corner formula.
#[test]
fn sections_agree_with_the_corner_formula() {
    for draft in [0.0_f64, 3.0, 20.0] {
        let (rim, depth, fillet) = (20.0, 15.0, 1.0);
        let foot = rim - depth * draft.to_radians().tan();
        let profile =
            Profile::rounded(&[(0.0, rim, 0.0), (-depth, foot, fillet), (-depth, 0.0, 0.0)]);
        for r in [0.5, 1.0, 1.02, 2.0, 5.0] {
            let k = 1.0 / (0.5 * (90.0 + draft)).to_radians().sin() - 1.0;
            let truth = k * (r - fillet).max(0.0);
            let (left, at) = Section::of(&profile).left(r);
            assert!(
                (left - truth).abs() < 1e-7,
                "{draft} {r} {left} {truth} {at:?}"
            );
            let deepest = Section::of(&profile).deepest(r);
            assert!((deepest - depth).abs() < 1e-7, "{draft} {r} {deepest}");
        }
    }
}

/// As above, of a ball hardly wider than a fillet far smaller than the pocket.
#[test]
fn a_ball_hardly_wider_than_a_small_fillet() {
    for k in 0..60 {
        let (rim, depth, fillet, draft) = (8.5 + 0.3 * f64::from(k), 39.0, 0.4927, 10.964_f64);
        let foot = rim - depth * draft.to_radians().tan();
        let profile =
            Profile::rounded(&[(0.0, rim, 0.0), (-depth, foot, fillet), (-depth, 0.0, 0.0)]);
        for r in [0.4932, 0.495, 0.5, 0.51] {
            let truth = (1.0 / (0.5 * (90.0 + draft)).to_radians().sin() - 1.0) * (r - fillet);
            let (left, at) = Section::of(&profile).left(r);
            assert!(
                (left - truth).abs() < 1e-7,
                "{rim} {r} {left} {truth} {at:?}"
            );
        }
    }
}

/// A ball on a hemisphere's rim, radius ρ: it sinks by R − √(R² − ρ²), and the bottom stays that much less than ρ.
#[test]
fn a_ball_on_the_rim_of_a_hemisphere() {
    for r in [12.0, 22.0, 60.0] {
        let section = Section::of(&hollow_arc(0.0, 0.0, 10.0, false));
        let sinks = r - (r * r - 100.0_f64).sqrt();
        let left = section.left(r).0;
        assert!((left - (10.0 - sinks)).abs() < 1e-7, "{r} {left} {sinks}");
        let deepest = section.deepest(r);
        assert!((deepest - sinks).abs() < 1e-7, "{r} {deepest} {sinks}");
    }
    let section = Section::of(&hollow_arc(0.0, 0.0, 10.0, false));
    for r in [9.0, 9.99, 10.0] {
        let left = section.left(r);
        assert!(left.0 < 1e-8, "{r} {left:?}");
    }
}

/// Free centres over a fine grid across the section, from a dense row of its places: the grid's step is what either may
/// be off by, at most once across and once along.
#[test]
fn left_heights_and_deepest_tips_agree_with_brute_force() {
    for (k, kind) in KINDS.into_iter().enumerate() {
        for seed in 0..8 {
            let mut random = Random::new(1000 * k as u64 + seed);
            let facets = Facets {
                chord: 0.1,
                turn: [9.0, 18.0],
            };
            let Some(drawn) = draft(kind, 40.0, &facets, &mut random) else {
                continue;
            };
            let Ground::Swept { parts, most } = &drawn.ground else {
                continue;
            };
            let r = (drawn.scale * random.scaled(0.5, 3.0)).min(*most);
            for (wall, _) in parts {
                let section = Section::of(&wall.profile);
                let (left, deepest) = brute(&wall.profile, r);
                let (found, at) = section.left(r);
                let about = format!("{kind} {seed} {}: ball radius {r}", drawn.about);
                assert!(
                    (left - found).abs() < 0.03,
                    "{about} {left} {found} at {at:?}"
                );
                assert!(
                    (deepest - section.deepest(r)).abs() < 0.03,
                    "{about} {deepest}"
                );
            }
        }
    }
}

fn brute(profile: &Profile, r: f64) -> (f64, f64) {
    let mut places: Vec<[f64; 2]> = Vec::new();
    for piece in &profile.pieces {
        let n = (piece.length() / 0.01).ceil() as usize;
        places.extend(
            (0..=n)
                .map(|k| piece.at(k as f64 / n as f64))
                .map(|p| [p[1], p[0]]),
        );
    }
    let judged = places.clone();
    let (first, last) = (places[0], places[places.len() - 1]);
    let outside = ((2.0 * r + 1.0) / 0.02) as usize;
    places.extend((0..outside).map(|k| [first[0] + 0.02 * k as f64, first[1]]));
    let inside = (last[0] / 0.02) as usize;
    places.extend((0..inside).map(|k| [0.02 * k as f64, last[1]]));
    let mirrored: Vec<_> = places.iter().map(|p| [-p[0], p[1]]).collect();
    places.extend(mirrored);
    places.sort_by(|a, b| a[0].total_cmp(&b[0]));
    let reach = first[0] + r;
    let x: Vec<f64> = (-4000..=4000)
        .map(|k| reach * f64::from(k) / 4000.0)
        .collect();
    let lowest: Vec<f64> = (x.iter())
        .map(|&x| {
            let from = places.partition_point(|p| p[0] < x - r);
            (places[from..].iter().take_while(|p| p[0] < x + r))
                // beside a wall the grid misses the place that just fits
                .filter(|p| (p[0] - x).abs() < r - reach / 4000.0)
                .map(|p| p[1] + (r * r - (p[0] - x).powi(2)).sqrt())
                .fold(f64::NEG_INFINITY, f64::max)
        })
        .collect();
    let left = (judged.iter().step_by(7))
        .map(|p| {
            let each = x
                .iter()
                .zip(&lowest)
                .map(|(x, z)| (x - p[0]).hypot(z.max(p[1]) - p[1]));
            (each.fold(f64::INFINITY, f64::min) - r).max(0.0)
        })
        .fold(0.0, f64::max);
    (
        left,
        r - lowest.iter().copied().fold(f64::INFINITY, f64::min),
    )
}
