//! The sample models: the committed files are what the generator makes, the meshes are closed and lie on the
//! true shapes, and the closed forms of the truths agree with what is measured on the meshes.

#[allow(dead_code, reason = "the example uses more of it")]
#[path = "../examples/samples/mod.rs"]
mod samples;

use samples::pins::Pin;
use samples::profile::Profile;
use samples::solid::Solid;
use samples::truth::Half;
use samples::turned::CHORD_MM;
use samples::{flawed, models, sound, truth};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

type P = [f64; 3];

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-models")
}

#[test]
fn committed_files_are_what_the_generator_makes() {
    let mut total = 0;
    for model in models() {
        let committed = std::fs::read(folder().join(model.name)).unwrap();
        assert!(
            committed == model.stl(),
            "{}: run `cargo run --example make_samples`",
            model.name
        );
        total += committed.len();
    }
    assert!(
        total <= 8_000_000,
        "all sample models together have {total} bytes"
    );
    let text = |name: &str| std::fs::read_to_string(folder().join(name)).unwrap();
    assert_eq!(text("truth.json"), truth::json());
    assert_eq!(
        samples::readme_with_table(&text("README.md")),
        Some(text("README.md"))
    );
}

#[test]
fn every_directed_edge_has_its_reverse_exactly_once() {
    for model in models() {
        for (k, solid) in model.solids.iter().enumerate() {
            let mut edges = BTreeMap::new();
            for [a, b, c] in &solid.triangles {
                for edge in [(a, b), (b, c), (c, a)] {
                    *edges.entry(edge).or_insert(0) += 1;
                }
            }
            for (&(a, b), &n) in &edges {
                let back = edges.get(&(b, a));
                assert_eq!(
                    (n, back),
                    (1, Some(&1)),
                    "{} solid {k}, edge {a}-{b}",
                    model.name
                );
            }
        }
    }
}

#[test]
fn file_corners_weld_by_equal_bits_into_as_many_as_the_solids_have() {
    for model in models() {
        let bytes = model.stl();
        let mut corners = std::collections::BTreeSet::new();
        for facet in bytes[84..].chunks_exact(50) {
            corners.extend(facet[12..48].chunks_exact(12));
        }
        // halves that touch share corners in the file, so there are fewer than in the solids together
        let most: usize = model.solids.iter().map(|s| s.points.len()).sum();
        let touching = model.name == "acorn-sound.stl";
        assert!(
            if touching {
                corners.len() < most
            } else {
                corners.len() == most
            },
            "{}: {} of {most}",
            model.name,
            corners.len()
        );
    }
}

/// A half as a solid, in the frame of its cavity: parting plane Z = 0, material below.
struct Case {
    solid: Solid,
    truth: Half,
    /// Generatrix, and whether its axis is X (else Z).
    profile: Profile,
    lying: bool,
    /// Half sizes of the block and its thickness.
    block: [f64; 3],
    pins: [Pin; 2],
    sockets: bool,
}

fn cases() -> [Case; 4] {
    let sound = |sockets: bool| Case {
        solid: if sockets {
            sound::half_b().mapped(true, |[x, y, z]| [x, y, -z])
        } else {
            sound::half_a()
        },
        truth: truth::sound_half(false),
        profile: sound::generatrix(),
        lying: true,
        block: [sound::BLOCK_MM[0], sound::BLOCK_MM[1], sound::THICKNESS_MM],
        pins: sound::PINS,
        sockets,
    };
    let flawed = |sockets: bool| {
        let (solid, shift) = if sockets {
            (flawed::half_b(), -flawed::APART_MM)
        } else {
            (flawed::half_a(), flawed::APART_MM)
        };
        Case {
            solid: solid.mapped(false, |[x, y, z]| [x + shift, y, z]),
            truth: if sockets {
                truth::flawed_b()
            } else {
                truth::flawed_a()
            },
            profile: if sockets {
                flawed::nut()
            } else {
                flawed::cap()
            },
            lying: false,
            block: [
                flawed::BLOCK_MM[0],
                flawed::BLOCK_MM[1],
                flawed::THICKNESS_MM,
            ],
            pins: flawed::PINS,
            sockets,
        }
    };
    [sound(false), sound(true), flawed(false), flawed(true)]
}

impl Case {
    /// Corners of the triangles of the cavity: below Z = 0, off the block's sides, not in a socket.
    fn cavity(&self) -> Vec<[P; 3]> {
        let [hx, hy, t] = self.block;
        let on_block =
            |axis: usize, at: f64, t: &[P; 3]| t.iter().all(|p| (p[axis] - at).abs() < 1e-4);
        let in_feature = |t: &[P; 3]| {
            self.pins.iter().any(|pin| {
                let x = if !self.lying && self.sockets {
                    -pin.at[0]
                } else {
                    pin.at[0]
                };
                t.iter().all(|p| (p[0] - x).hypot(p[1] - pin.at[1]) < 4.0)
            })
        };
        triangles(&self.solid)
            .into_iter()
            .filter(|c| {
                let side = [(0, hx), (1, hy)]
                    .iter()
                    .any(|&(k, h)| on_block(k, h, c) || on_block(k, -h, c));
                !side && !on_block(2, 0.0, c) && !on_block(2, -t, c) && !in_feature(c)
            })
            .collect()
    }

    /// Distance of a place from the true cavity surface.
    fn off_surface(&self, [x, y, z]: P) -> f64 {
        self.profile.distance(if self.lying {
            [x, y.hypot(z)]
        } else {
            [z, x.hypot(y)]
        })
    }
}

fn triangles(solid: &Solid) -> Vec<[P; 3]> {
    let corner = |k: u32| solid.points[k as usize].map(f64::from);
    solid.triangles.iter().map(|t| t.map(corner)).collect()
}

fn area_normal([a, b, c]: &[P; 3]) -> P {
    let d = |p: &P| [p[0] - a[0], p[1] - a[1], p[2] - a[2]];
    let (u, v) = (d(b), d(c));
    [
        0.5 * (u[1] * v[2] - u[2] * v[1]),
        0.5 * (u[2] * v[0] - u[0] * v[2]),
        0.5 * (u[0] * v[1] - u[1] * v[0]),
    ]
}

fn norm(v: P) -> f64 {
    (v[0] * v[0] + v[1] * v[1] + v[2] * v[2]).sqrt()
}

/// By the divergence theorem: a third of the sum of place · area vector.
fn volume(solid: &Solid) -> f64 {
    let of = |t: &[P; 3]| {
        let n = area_normal(t);
        (t[0][0] * n[0] + t[0][1] * n[1] + t[0][2] * n[2]) / 3.0
    };
    triangles(solid).iter().map(of).sum()
}

fn area(triangles: &[[P; 3]]) -> f64 {
    triangles.iter().map(|t| norm(area_normal(t))).sum()
}

#[test]
fn facets_lie_within_the_chord_error_of_the_true_surface() {
    for (k, case) in cases().iter().enumerate() {
        let mut worst = 0f64;
        for t in case.cavity() {
            for i in 0..=6 {
                for j in 0..=6 - i {
                    let w = [i, j, 6 - i - j].map(|n| f64::from(n) / 6.0);
                    let p = [0, 1, 2].map(|a| w[0] * t[0][a] + w[1] * t[1][a] + w[2] * t[2][a]);
                    worst = worst.max(case.off_surface(p));
                }
            }
        }
        assert!(worst <= CHORD_MM, "case {k}: {worst} mm");
        assert!(
            worst > 0.2 * CHORD_MM,
            "case {k}: needlessly fine, {worst} mm"
        );
    }
}

#[test]
fn volumes_and_surfaces_agree_with_the_closed_forms() {
    for (k, case) in cases().iter().enumerate() {
        let [hx, hy, thickness] = case.block;
        let block = 4.0 * hx * hy * thickness;
        let features: f64 = case
            .pins
            .iter()
            .map(|p| {
                if case.sockets {
                    -p.socket_volume()
                } else {
                    p.volume()
                }
            })
            .sum();
        let round: f64 = case
            .pins
            .iter()
            .map(|p| {
                if case.sockets {
                    p.socket_area()
                } else {
                    p.area()
                }
            })
            .sum();
        let true_volume = block + features - case.truth.volume;
        // no facet strays more than the chord error from the surface it stands for
        let bound = CHORD_MM * (case.truth.surface + round);
        let off = volume(&case.solid) - true_volume;
        assert!(
            off.abs() <= bound,
            "case {k}: volume off by {off}, bound {bound}"
        );
        // inscribed facets have less area, by up to (1 − cos(half a step)) each way: below 0.3 % at 32 sides
        let ratio = area(&case.cavity()) / case.truth.surface;
        assert!(
            (0.997..=1.0 + 1e-6).contains(&ratio),
            "case {k}: area ratio {ratio}"
        );
        // the whole solid: block, less mouths, plus what is in them
        let mouth = if case.lying {
            2.0 * case.profile.section_area()
        } else {
            std::f64::consts::PI * flawed::RIM_MM * flawed::RIM_MM
        };
        let ends: f64 = if case.lying {
            let pieces = &case.profile.pieces;
            [pieces[0].at(0.0), pieces[pieces.len() - 1].at(1.0)]
                .iter()
                .map(|e| 0.5 * std::f64::consts::PI * e[1] * e[1])
                .sum()
        } else {
            0.0
        };
        let feet: f64 = case
            .pins
            .iter()
            .map(|p| {
                if case.sockets {
                    p.mouth_area()
                } else {
                    p.foot_area()
                }
            })
            .sum();
        let whole = 8.0 * hx * hy + 4.0 * (hx + hy) * thickness - mouth - ends - feet
            + round
            + case.truth.surface;
        let ratio = area(&triangles(&case.solid)) / whole;
        assert!(
            (ratio - 1.0).abs() < 1e-3,
            "case {k}: total area ratio {ratio}"
        );
    }
}

#[test]
fn candle_agrees_with_its_closed_forms() {
    let solid = sound::candle();
    let [volume_mm3, surface, height, width] = truth::candle();
    assert!((volume(&solid) - volume_mm3).abs() <= CHORD_MM * surface);
    let all = triangles(&solid);
    assert!((0.997..=1.0).contains(&(area(&all) / surface)));
    let extent = |axis: usize| {
        let along = all.iter().flatten().map(|p| p[axis]);
        along.clone().fold(f64::MIN, f64::max) - along.fold(f64::MAX, f64::min)
    };
    assert!((extent(2) - height).abs() < 1e-5);
    assert!((extent(0) - width).abs() <= 2.0 * CHORD_MM && extent(0) <= width + 1e-5);
}

/// Sum over vertical lines 0.1 mm apart of the hollow below Z = 0 that is open to the sky, of the
/// hollow that is not, and the deepest crossing.
fn hollows(case: &Case) -> [f64; 3] {
    let step = 0.1;
    let [hx, hy, thickness] = case.block;
    let mut lines: BTreeMap<(i64, i64), Vec<f64>> = BTreeMap::new();
    // lines off the corners' round coordinates, so that none runs along an edge
    let (ox, oy) = (0.0371, 0.0213);
    for t in case.cavity() {
        let n = area_normal(&t);
        if n[2].abs() < 1e-12 {
            continue;
        }
        let range = |axis: usize, o: f64| {
            let along = t.iter().map(|p| (p[axis] - o) / step);
            let lo = along.clone().fold(f64::MAX, f64::min).ceil() as i64;
            lo..=along.fold(f64::MIN, f64::max).floor() as i64
        };
        for i in range(0, ox) {
            for j in range(1, oy) {
                let (x, y) = (ox + step * i as f64, oy + step * j as f64);
                let side = |a: P, b: P| {
                    ((b[0] - a[0]) * (y - a[1]) - (b[1] - a[1]) * (x - a[0])) * n[2] >= 0.0
                };
                if x.abs() < hx
                    && y.abs() < hy
                    && side(t[0], t[1])
                    && side(t[1], t[2])
                    && side(t[2], t[0])
                {
                    let z = t[0][2] - ((x - t[0][0]) * n[0] + (y - t[0][1]) * n[1]) / n[2];
                    lines.entry((i, j)).or_default().push(z);
                }
            }
        }
    }
    let mut sums = [0.0; 3];
    for zs in lines.values_mut() {
        zs.sort_by(|a, b| b.total_cmp(a));
        zs.dedup_by(|a, b| (*a - *b).abs() < 1e-9);
        assert!(zs[zs.len() - 1] > -thickness, "above the underside");
        // from above: an odd number of crossings if the line starts in the open, even below a lip
        let first = if zs.len() % 2 == 1 { zs.remove(0) } else { 0.0 };
        sums[0] -= step * step * first;
        sums[1] += step * step * zs.chunks_exact(2).map(|c| c[0] - c[1]).sum::<f64>();
        sums[2] = zs.iter().copied().chain([first]).fold(sums[2], f64::min);
    }
    sums
}

#[test]
fn hidden_space_and_depth_agree_with_vertical_lines() {
    for (k, case) in cases().iter().enumerate() {
        let [open, hidden, deepest] = hollows(case);
        let t = &case.truth;
        // a grid of 0.1 mm against a rim: a random-like error of about cell × √(rim cells) × depth
        assert!(
            (open - (t.volume - t.hidden_volume)).abs() < 2e-3 * t.volume,
            "case {k}: {open}"
        );
        assert!(
            (hidden - t.hidden_volume).abs() <= 5e-3 * t.hidden_volume,
            "case {k}: {hidden}"
        );
        assert!(
            (deepest + t.depth).abs() < 2.0 * CHORD_MM,
            "case {k}: {deepest}"
        );
    }
}

#[test]
fn facets_that_face_down_are_only_the_lip() {
    for (k, case) in cases().iter().enumerate() {
        let down: f64 = case
            .cavity()
            .iter()
            .map(area_normal)
            .filter(|n| n[2] < -1e-3 * norm(*n))
            .map(norm)
            .sum();
        let ledge = case.truth.bands[0];
        assert!(
            (down - ledge).abs() <= 2e-3 * ledge,
            "case {k}: {down} against {ledge}"
        );
    }
}

#[test]
fn draft_bands_add_up_and_agree_with_the_facets() {
    for (k, case) in cases().iter().enumerate() {
        let t = &case.truth;
        assert!(
            (t.bands.iter().sum::<f64>() - t.surface).abs() < 1e-6 * t.surface,
            "case {k}"
        );
        // the steep end: 15° is far from any flat's draft, and a facet's draft strays by under 4° at 32 sides
        let steep: f64 = case
            .cavity()
            .iter()
            .map(area_normal)
            .filter(|n| n[2] >= 15f64.to_radians().sin() * norm(*n))
            .map(norm)
            .sum();
        assert!(
            (steep - t.bands[5]).abs() < 0.01 * t.surface,
            "case {k}: {steep}"
        );
        // the wall bands of the standing halves hold upright walls only, exact on facets
        if !case.lying {
            let upright: f64 = case
                .cavity()
                .iter()
                .map(area_normal)
                .filter(|n| n[2].abs() < 1e-6 * norm(*n))
                .map(norm)
                .sum();
            assert!(
                (upright - t.bands[1]).abs() <= 2e-3 * t.bands[1],
                "case {k}: {upright}"
            );
        }
    }
}

/// Whether a ball of radius `r` that touches the surface of revolution at a place of the generatrix, from
/// inside, stays inside: its centre is nowhere nearer than `r` to the generatrix or its mirror image.
fn ball_fits(profile: &Profile, r: f64) -> bool {
    profile.pieces.iter().all(|piece| {
        (1..400).all(|k| {
            let t = f64::from(k) / 400.0;
            let (p, u) = (piece.at(t), piece.tangent(t));
            // towards the axis: right of the direction of travel for a generatrix that runs along +axis
            let side = if u[0] >= 0.0 { 1.0 } else { -1.0 };
            let c = [p[0] + side * u[1] * r, p[1] - side * u[0] * r];
            let nearest = profile.distance(c).min(profile.distance([c[0], -c[1]]));
            nearest > r - 1e-7
        })
    })
}

#[test]
fn smallest_concave_radius_is_where_balls_stop_fitting() {
    for (profile, smallest) in [
        (
            sound::generatrix(),
            truth::sound_half(false).smallest_radius,
        ),
        (flawed::nut(), truth::flawed_b().smallest_radius),
    ] {
        for share in [0.2, 0.5, 0.9, 0.999] {
            assert!(
                ball_fits(&profile, share * smallest),
                "{share} of {smallest}"
            );
        }
        assert!(!ball_fits(&profile, 1.01 * smallest), "over {smallest}");
    }
}

#[test]
fn halves_close_one_way_only_and_pins_stay_clear() {
    for (pins, block) in [
        (sound::PINS, sound::BLOCK_MM),
        (flawed::PINS, flawed::BLOCK_MM),
    ] {
        let [a, b] = pins;
        // turned half around, pin a would have to enter b's socket
        let turned = [-a.at[0] - b.at[0], -a.at[1] - b.at[1]];
        assert!(turned[0].hypot(turned[1]) > 0.5 || a.diameter > b.diameter + 0.5);
        for pin in pins {
            let r = 0.5 * pin.diameter + 1.5;
            assert!(
                (0..2).all(|k| pin.at[k].abs() + r < block[k]),
                "{pin:?} near the side"
            );
        }
    }
}
