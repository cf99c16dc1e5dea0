use super::*;
use crate::mesh::Point;
use nalgebra::Rotation3;
use std::f64::consts::{FRAC_PI_2, PI};

/// Distances from the origin, mm: rounding is another at each.
const PLACES: [f64; 9] = [3.0, 11.0, 28.0, 39.0, 72.0, 101.0, 127.0, 165.0, 240.0];

/// Corners as a file of single precision keeps them when turned and `at` from the origin, and how they are read.
fn read_at(at: f64, vertices: &[[f64; 3]], triangles: &[[u32; 3]]) -> (Mesh, Creases) {
    read_by(30.0, at, vertices, triangles)
}

/// The same by another crease angle.
fn read_by(
    crease_deg: f64,
    at: f64,
    vertices: &[[f64; 3]],
    triangles: &[[u32; 3]],
) -> (Mesh, Creases) {
    let turn = Rotation3::from_euler_angles(0.4, -0.3, 0.35);
    let kept = |c: f64| f64::from((c + at) as f32) - at;
    let kept = |v: &[f64; 3]| turn.inverse() * (turn * Point::from(*v)).map(kept);
    let mesh = Mesh {
        vertices: vertices.iter().map(kept).collect(),
        triangles: triangles.to_vec(),
    };
    let rounding = f64::from((at as f32).next_up()) - f64::from(at as f32);
    let topology = Topology::new(&mesh);
    let creases = Creases::read(&mesh, &topology, crease_deg, rounding);
    (mesh, creases)
}

/// Two triangles between neighbouring places `k` and `k + 1` of two rows that begin at `low` and `high`.
fn strip(low: u32, high: u32, k: u32, slant: bool) -> [[u32; 3]; 2] {
    let [a, b, c, d] = [low + k, low + k + 1, high + k + 1, high + k];
    if slant {
        [[a, b, c], [a, c, d]]
    } else {
        [[a, b, d], [b, c, d]]
    }
}

fn draft(normal: &Vector3<f32>) -> f64 {
    f64::from(normal.z).asin().to_degrees()
}

/// A round floor cut into triangles by cutting off corners has slivers all round that rounding tilts by degrees.
#[test]
fn a_fillet_runs_out_level_into_a_floor_of_slivers() {
    let (count, floor, fillet, turn) = (481_u32, 0.62, 3.94, 2.95_f64.to_radians());
    let mut vertices = Vec::new();
    for ring in 0..8 {
        let (sin, cos) = (turn * f64::from(ring)).sin_cos();
        let (r, z) = (floor + fillet * sin, fillet * (1.0 - cos));
        for k in 0..=count {
            let (y, x) = (2.0 * PI * f64::from(k % count) / f64::from(count)).sin_cos();
            vertices.push([r * x, r * y, z]);
        }
    }
    // the last place of a ring is its first
    let close = |v: u32| v - if v % (count + 1) == count { count } else { 0 };
    let mut triangles = Vec::new();
    let mut border: Vec<u32> = (0..count).collect();
    while border.len() > 2 {
        triangles.extend(border.chunks_exact(3).map(|c| [c[0], c[1], c[2]]));
        let whole = border.len() / 3 * 3;
        let cut_off = |k: usize| k % 3 == 1 && k < whole;
        border = (0..border.len())
            .filter(|&k| !cut_off(k))
            .map(|k| border[k])
            .collect();
    }
    for ring in 0..7 {
        let (low, high) = (ring * (count + 1), (ring + 1) * (count + 1));
        for k in 0..count {
            let pair = strip(low, high, k, k % 2 == 0);
            triangles.extend(pair.map(|[a, b, c]| [a, c, b].map(close)));
        }
    }
    for at in PLACES {
        let (mesh, creases) = read_at(at, &vertices, &triangles);
        let on_floor = |&(_, v): &(usize, &u32)| *v <= count;
        for (t, corners) in mesh.triangles.iter().enumerate() {
            for (k, _) in corners.iter().enumerate().filter(on_floor) {
                let draft = draft(&creases.normals[t][k]);
                assert!(draft > 89.5, "{at} from the origin, triangle {t}: {draft}");
            }
        }
    }
}

/// Places along each quarter ring of the trough, and degrees from ring to ring.
const ALONG: u32 = 47;
const RING_DEG: f64 = 3.75;

/// A trough with ball ends: its long facets end in a fan of slivers at either pole, the first two corners; the last corners are
/// those of its rim, six rings up.
fn trough() -> (Vec<[f64; 3]>, Vec<[u32; 3]>) {
    let (count, radius, half, turn) = (ALONG, 3.1, 5.3, RING_DEG.to_radians());
    let mut vertices = vec![[-half, 0.0, -radius], [half, 0.0, -radius]];
    let mut triangles = Vec::new();
    // two half rings, about either end, each from one side round to the other
    let first = |ring: u32, end: u32| 2 + (2 * (ring - 1) + end) * (count + 1);
    for ring in 1..7 {
        let (sin, cos) = (turn * f64::from(ring)).sin_cos();
        for end in [-1.0, 1.0] {
            for k in 0..=count {
                let (y, x) = (PI * f64::from(k) / f64::from(count) - FRAC_PI_2).sin_cos();
                let place = [half + radius * sin * x, radius * sin * y, -radius * cos];
                vertices.push([end * place[0], end * place[1], place[2]]);
            }
        }
    }
    for end in 0..2 {
        triangles.extend((0..count).map(|k| [end, first(1, end) + k, first(1, end) + k + 1]));
        for ring in 1..6 {
            let (low, high) = (first(ring, end), first(ring + 1, end));
            triangles.extend(
                (0..count)
                    .flat_map(|k| strip(low, high, k, false))
                    .map(|[a, b, c]| [a, c, b]),
            );
        }
    }
    // along the sides, from the last place of one end to the first of the other
    for (from, to) in [(0, 1), (1, 0)] {
        let last = |ring: u32| first(ring, from) + count;
        triangles.extend([[from, last(1), first(1, to)], [from, first(1, to), to]]);
        for ring in 1..6 {
            let [a, b, c, d] = [
                last(ring),
                first(ring, to),
                first(ring + 1, to),
                last(ring + 1),
            ];
            triangles.extend([[a, d, c], [a, c, b]]);
        }
    }
    (vertices, triangles)
}

#[test]
fn the_poles_of_a_trough_are_level() {
    let (vertices, triangles) = trough();
    for at in PLACES {
        let (mesh, creases) = read_at(at, &vertices, &triangles);
        for (t, corners) in mesh.triangles.iter().enumerate() {
            for (k, _) in corners.iter().enumerate().filter(|(_, v)| **v < 2) {
                let draft = draft(&creases.normals[t][k]);
                assert!(draft > 89.6, "{at} from the origin, triangle {t}: {draft}");
            }
        }
    }
}

/// The wide facets beside its ends tell no more of what lies beyond the rim than those of the ends do.
#[test]
fn the_rim_of_a_trough_leans_as_its_round_does() {
    let (vertices, triangles) = trough();
    let (mesh, creases) = read_at(40.0, &vertices, &triangles);
    let rim = vertices.len() as u32 - 2 * (ALONG + 1);
    for (t, corners) in mesh.triangles.iter().enumerate() {
        for (k, _) in corners.iter().enumerate().filter(|(_, v)| **v >= rim) {
            let draft = draft(&creases.normals[t][k]);
            let of_round = 90.0 - 6.0 * RING_DEG;
            assert!((draft - of_round).abs() < 0.1, "triangle {t}: {draft}");
        }
    }
}

/// A wall one facet high, straight and round: nothing lies farther in by which its ends could be told.
#[test]
fn a_wall_one_facet_high_has_its_own_draft_at_both_rims() {
    let (count, rim, height, side) = (9_u32, 1.48, 0.455, 4.7);
    let foot = rim - height * 2.0_f64.to_radians().tan();
    let mut vertices = Vec::new();
    for (r, z) in [(rim, 0.0), (foot, -height)] {
        for k in 0..=count {
            let (y, x) = (PI * f64::from(k) / f64::from(count) - FRAC_PI_2).sin_cos();
            vertices.push([r * x, r * y, z]);
        }
        vertices.push([-side, r, z]);
    }
    let triangles = (0..=count).flat_map(|k| strip(0, count + 2, k, [0, 2, 3, 6].contains(&k)));
    let triangles: Vec<[u32; 3]> = triangles.collect();
    let (mesh, creases) = read_at(40.0, &vertices, &triangles);
    for t in 0..mesh.triangles.len() {
        for normal in &creases.normals[t] {
            let draft = draft(normal);
            assert!((draft - 2.0).abs() < 0.2, "triangle {t}: {draft}");
        }
    }
}

/// Coarse facets lean off each other at the rim as those at a tip do, but come to no point there.
#[test]
fn a_round_wall_of_16_facets_bends_at_both_rims() {
    let (count, radius, height) = (16_u32, 30.0, 50.0);
    let row = |z: f64| {
        (0..count).map(move |k| {
            let (y, x) = (2.0 * PI * f64::from(k) / f64::from(count)).sin_cos();
            [radius * x, radius * y, z]
        })
    };
    let vertices: Vec<[f64; 3]> = row(0.0).chain(row(-height)).collect();
    let triangles = (0..count).flat_map(|k| {
        let [a, b] = [k, (k + 1) % count];
        let [c, d] = [a, b].map(|v| v + count);
        // every other corner has no diagonal
        if k % 2 == 0 {
            [[a, b, c], [b, d, c]]
        } else {
            [[a, b, d], [a, d, c]]
        }
    });
    let triangles: Vec<[u32; 3]> = triangles.collect();
    let (_, creases) = read_at(40.0, &vertices, &triangles);
    // Δn is 2 sin(turn / 2) long: h = 2 R sin²(turn / 2) / 4 for the arc's R (1 − cos(turn / 2))
    let sagitta = 0.5 * radius * (PI / f64::from(count)).sin().powi(2);
    for (t, &error) in creases.chord_error.iter().enumerate() {
        let error = f64::from(error);
        assert!(
            (error - sagitta).abs() < 1e-4 * sagitta,
            "triangle {t}: {error}"
        );
    }
}

/// A bowl of a floor and one ring of facets that lean by 40°: with few sides it may be a coarse cap, with many it is a cone and
/// a floor.
#[test]
fn a_floor_of_many_sides_is_no_facet() {
    for (count, smooth) in [(12_u32, true), (240, false)] {
        let row = |radius: f64, z: f64| {
            (0..count).map(move |k| {
                let (y, x) = (2.0 * PI * f64::from(k) / f64::from(count)).sin_cos();
                [radius * x, radius * y, z]
            })
        };
        let floor = 2 * count;
        let depth = 10.0 * 40.0_f64.to_radians().tan();
        let rows = row(20.0, 0.0).chain(row(10.0, -depth));
        let vertices: Vec<[f64; 3]> = rows.chain([[0.0, 0.0, -depth]]).collect();
        let triangles = (0..count).flat_map(|k| {
            let [a, b] = [k, (k + 1) % count];
            let [c, d] = [a, b].map(|v| v + count);
            [[a, b, c], [b, d, c], [c, d, floor]]
        });
        let triangles: Vec<[u32; 3]> = triangles.collect();
        let (mesh, creases) = read_by(59.9, 40.0, &vertices, &triangles);
        let topology = Topology::new(&mesh);
        let of_floor = |v: u32| (count..floor).contains(&v);
        let around = (0..topology.edges.len())
            .filter(|&e| topology.edges[e].vertices.into_iter().all(of_floor));
        for e in around {
            assert!((creases.turn_deg[e] - 40.0).abs() < 2.0);
            assert_eq!(creases.smooth[e], smooth, "{count} sides, edge {e}");
        }
    }
}

/// A flat five times as wide as the facets of the round that it runs out into, at half of their turn: where its border has many
/// edges it is no few triangles joined by chance.
#[test]
fn a_flat_of_many_edges_is_flat_beside_a_fine_round() {
    const PIECES: u32 = 6;
    let (radius, turn) = (20.0, 1.73_f64.to_radians());
    let facet = 2.0 * radius * (0.5 * turn).sin();
    let round = (0..8).map(|k| {
        let (x, z) = (turn * f64::from(k)).sin_cos();
        [radius * x, radius * (z - 1.0)]
    });
    let rows: Vec<[f64; 2]> = [[-5.0 * facet, 0.0]].into_iter().chain(round).collect();
    let points = |[x, z]: &[f64; 2]| (0..=PIECES).map(move |k| [*x, f64::from(k), *z]).collect();
    let vertices: Vec<[f64; 3]> = rows
        .iter()
        .flat_map(|r| -> Vec<[f64; 3]> { points(r) })
        .collect();
    let rows = rows.len() as u32;
    let triangles = (0..rows - 1).flat_map(|r| {
        let of_row = move |k: u32| {
            let [a, b] = [r, r + 1].map(|row| row * (PIECES + 1) + k);
            [[a, b, b + 1], [a, b + 1, a + 1]]
        };
        (0..PIECES).flat_map(of_row)
    });
    let triangles: Vec<[u32; 3]> = triangles.collect();
    let (mesh, creases) = read_by(30.0, 0.0, &vertices, &triangles);
    for t in 0..mesh.triangles.len() {
        let flat = t < 2 * PIECES as usize;
        assert_eq!(creases.plane[t], flat, "triangle {t}");
    }
    let topology = Topology::new(&mesh);
    for t in 0..2 * PIECES {
        for (k, &e) in topology.sides[t as usize].iter().enumerate() {
            let onward = topology.across(t, k).filter(|&n| n >= 2 * PIECES);
            if onward.is_some() {
                let own = usize::from(topology.edges[e as usize].triangles.0 != t);
                assert_eq!(creases.share[e as usize][own], 0.0, "triangle {t}");
            }
        }
    }
}

/// A straight round that goes on round a corner: the first facets of the corner are three times as wide as the next, their diagonals
/// four times as long as those are wide.
#[test]
fn facets_of_unlike_width_round_a_corner_are_one_curve() {
    let (ring, tube, step) = (3.0, 2.0, 4.74_f64.to_radians());
    // along the round, from the far end of the straight part on: how far off the corner, and the angle round it
    let columns = [
        (20.0, 0.0),
        (0.0, 0.0),
        (0.0, 0.048),
        (0.0, 0.0627),
        (0.0, 0.097),
        (0.0, 0.129),
        (0.0, 0.163),
    ];
    let count = columns.len() as u32;
    let (mut vertices, mut normals) = (Vec::new(), Vec::new());
    for row in 0..16 {
        let (across, down) = (1.5 - step * f64::from(row)).sin_cos();
        for (off, round) in columns {
            let (sin, cos) = f64::sin_cos(round);
            let far = ring + tube * across;
            vertices.push([far * cos, far * sin - off, -tube * down]);
            normals.push(Vector::new(-across * cos, -across * sin, down));
        }
    }
    let mut triangles = Vec::new();
    for row in 0..15 {
        for k in 0..count - 1 {
            triangles.extend(strip(row * count, (row + 1) * count, k, k % 2 == 0));
        }
    }
    for at in PLACES {
        let (mesh, creases) = read_at(at, &vertices, &triangles);
        for (t, corners) in mesh.triangles.iter().enumerate() {
            for (k, &v) in corners.iter().enumerate() {
                let (row, column) = (v / count, v % count);
                if (1..15).contains(&row) && (1..count - 1).contains(&column) {
                    let found: Vector = creases.normals[t][k].cast();
                    let off = found.angle(&normals[v as usize]).to_degrees();
                    assert!(off < 0.25, "{at}: row {row}, column {column}: {off}°");
                }
            }
        }
    }
}
