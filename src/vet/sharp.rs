//! Sharp concave edges of the cavity: where no ball reaches the bottom.

use super::reach::Place;
use super::shade::Shade;
use super::surface::Surface;
use crate::mesh::{Point, ROUGH_STEP, Vector};
use crate::report::{HollowKind, SharpEdgeKind};
use crate::setup::{Half, Survey};
use std::collections::BTreeMap;

/// Connected sharp concave edges of one kind, as far as they are visible.
#[derive(Debug, Clone, PartialEq)]
pub struct Sharp {
    /// What it is.
    pub kind: SharpEdgeKind,
    /// Visible length, mm; 0 for a point.
    pub length: f64,
    /// A place on it, tool frame.
    pub at: Point,
    /// Places along it, tool frame: its corners and the middles of its visible pieces.
    pub places: Vec<Place>,
}

/// A facet this close to level is a flat floor, degrees.
const FLOOR_DEG: f64 = 0.5;
/// Facets round a corner that lean this much apart, while the surface goes on straight outward, meet in a point, degrees.
const POINT_DEG: f64 = 20.0;

/// Visible sharp concave edges, floors first, longest first within a kind.
pub fn sharp_edges(half: &Half, survey: &Survey, surface: &Surface, shade: &Shade) -> Vec<Sharp> {
    let mesh = &half.mesh;
    let cavity = |t: u32| {
        surface.of_triangle[t as usize]
            .map(|f| &surface.facets[f as usize])
            .filter(|f| survey.hollows[f.hollow as usize].kind == HollowKind::Cavity)
    };
    let step = 4.0 * survey.grid().cell;
    let tolerance = half.tolerance();
    let mut groups: BTreeMap<(SharpEdgeKind, u32), Sharp> = BTreeMap::new();
    let mut edges = Vec::new();
    for (e, edge) in half.topology.edges.iter().enumerate() {
        if surface.creases.smooth[e] || surface.creases.turn_deg[e] <= 0.0 {
            continue;
        }
        let (a, Some(b)) = edge.triangles else {
            continue;
        };
        let (Some(fa), Some(fb)) = (cavity(a), cavity(b)) else {
            continue;
        };
        let [p, q] = edge.vertices.map(|v| mesh.vertices[v as usize]);
        let off = (fa.normal + fb.normal) * tolerance;
        let pieces = ((q - p).norm() / step).ceil().max(1.0) as usize;
        let along = |share: f64| p + (q - p) * share;
        let open = |share: f64| !shade.covers(survey, &(along(share) + off));
        let seen: Vec<bool> = (0..pieces)
            .map(|k| open((k as f64 + 0.5) / pieces as f64))
            .collect();
        if !seen.contains(&true) {
            continue;
        }
        let mut shares: Vec<f64> = (0..pieces)
            .filter(|&k| seen[k])
            .map(|k| (k as f64 + 0.5) / pieces as f64)
            .collect();
        let middle = along(shares[shares.len() / 2]);
        let mut length = shares.len() as f64;
        // to where the shade begins between two pieces, and to the ends
        for k in 1..pieces {
            if seen[k - 1] != seen[k] {
                let ends = [k as f64 - 0.5, k as f64 + 0.5].map(|x| x / pieces as f64);
                let border = border(ends, seen[k - 1], &open);
                let beyond = border * pieces as f64 - k as f64;
                length += if seen[k - 1] { beyond } else { -beyond };
                shares.push(border);
            }
        }
        shares.extend(
            [0.0, 1.0]
                .into_iter()
                .filter(|&end| open(end + if end == 0.0 { 1e-6 } else { -1e-6 })),
        );
        let length = (q - p).norm() * length / pieces as f64;
        let places: Vec<Place> = shares
            .into_iter()
            .map(|s| Place {
                at: along(s),
                normals: vec![fa.normal, fb.normal],
            })
            .collect();
        let floor = [fa, fb].iter().any(|f| f.draft_deg > 90.0 - FLOOR_DEG);
        let kind = if floor {
            SharpEdgeKind::Floor
        } else {
            SharpEdgeKind::Upright
        };
        edges.push((kind, edge.vertices, length, middle, places));
    }
    // join edges of a kind at shared corners
    let mut parent: BTreeMap<(SharpEdgeKind, u32), u32> = BTreeMap::new();
    for (kind, [p, q], ..) in &edges {
        let (a, b) = (root(&mut parent, *kind, *p), root(&mut parent, *kind, *q));
        parent.insert((*kind, a.max(b)), a.min(b));
    }
    let mut meet: BTreeMap<u32, (usize, [bool; 2])> = BTreeMap::new();
    let mut longest: BTreeMap<(SharpEdgeKind, u32), f64> = BTreeMap::new();
    for (kind, ends, length, at, places) in edges {
        let key = (kind, root(&mut parent, kind, ends[0]));
        let group = groups.entry(key).or_insert_with(|| Sharp {
            kind,
            length: 0.0,
            at,
            places: Vec::new(),
        });
        let best = longest.entry(key).or_default();
        if length > *best {
            (*best, group.at) = (length, at);
        }
        group.length += length;
        group.places.extend(places);
        for v in ends {
            let m = meet.entry(v).or_default();
            m.0 += 1;
            m.1[usize::from(kind == SharpEdgeKind::Upright)] = true;
        }
    }
    let mut around: BTreeMap<u32, Vec<Vector>> = meet.keys().map(|&v| (v, Vec::new())).collect();
    for f in &surface.facets {
        for v in mesh.triangles[f.triangle as usize] {
            if let Some(normals) = around.get_mut(&v) {
                normals.push(f.normal);
            }
        }
    }
    let corner = |v: u32| {
        let at = mesh.vertices[v as usize];
        let normals = around.get(&v).cloned().unwrap_or_default();
        Sharp {
            kind: SharpEdgeKind::Point,
            length: 0.0,
            at,
            places: vec![Place { at, normals }],
        }
    };
    let mut found: Vec<Sharp> = groups.into_values().collect();
    let corners = meet
        .iter()
        .filter(|(_, m)| m.0 >= 3 || m.1 == [true; 2])
        .map(|(&v, _)| v);
    found.extend(corners.map(corner));
    found.extend(
        tips(half, surface, &cavity)
            .into_iter()
            .filter(|v| !meet.contains_key(v))
            .map(corner),
    );
    found.sort_by(|a, b| a.kind.cmp(&b.kind).then(b.length.total_cmp(&a.length)));
    found
}

/// Where along an edge the shade begins, between a place that is open as `first` says and one that is not.
fn border([mut a, mut b]: [f64; 2], first: bool, open: &impl Fn(f64) -> bool) -> f64 {
    for _ in 0..24 {
        let middle = 0.5 * (a + b);
        if open(middle) == first {
            a = middle
        } else {
            b = middle
        }
    }
    if first { a } else { b }
}

fn root(parent: &mut BTreeMap<(SharpEdgeKind, u32), u32>, kind: SharpEdgeKind, mut v: u32) -> u32 {
    loop {
        let up = *parent.entry((kind, v)).or_insert(v);
        if up == v {
            return v;
        }
        v = up;
    }
}

/// Corners where smooth facets meet in a point, as in a conical pit: they lean well apart, while
/// across their far sides the surface goes on without turning alike.
fn tips<'a>(
    half: &Half,
    surface: &Surface,
    cavity: &dyn Fn(u32) -> Option<&'a super::surface::Facet>,
) -> Vec<u32> {
    let mesh = &half.mesh;
    let mut turn = vec![0.0_f32; mesh.vertices.len()];
    for (e, edge) in half.topology.edges.iter().enumerate() {
        let t = surface.creases.turn_deg[e];
        // a convex or sharp edge rules its corners out
        let t = if surface.creases.smooth[e] && t >= -0.01 {
            t
        } else {
            f32::NEG_INFINITY
        };
        for v in edge.vertices {
            turn[v as usize] += t;
        }
    }
    let mut around: BTreeMap<u32, Vec<u32>> = BTreeMap::new();
    for (t, corners) in mesh.triangles.iter().enumerate() {
        for &v in corners {
            if turn[v as usize] > POINT_DEG as f32 && cavity(t as u32).is_some() {
                around.entry(v).or_default().push(t as u32);
            }
        }
    }
    around
        .into_iter()
        .filter(|(v, triangles)| {
            let normals: Vec<Vector> = triangles
                .iter()
                .filter_map(|&t| mesh.normal(t as usize))
                .collect();
            let mean = normals
                .iter()
                .sum::<Vector>()
                .try_normalize(0.0)
                .unwrap_or_default();
            let lean = normals
                .iter()
                .map(|n| n.dot(&mean).clamp(-1.0, 1.0).acos().to_degrees())
                .fold(0.0, f64::max);
            let outward = triangles
                .iter()
                .filter_map(|&t| {
                    let far = (0..3).find(|&k| {
                        let c = mesh.triangles[t as usize];
                        c[k] != *v && c[(k + 1) % 3] != *v
                    })?;
                    Some(f64::from(
                        surface.creases.turn_deg[half.topology.sides[t as usize][far] as usize],
                    ))
                })
                .fold(0.0, f64::max);
            let at = mesh.vertices[*v as usize];
            let deep = triangles
                .iter()
                .flat_map(|&t| mesh.corners(t as usize))
                .filter(|p| *p != at)
                .map(|p| (p - at).dot(&mean))
                .fold(f64::INFINITY, f64::min);
            2.0 * lean > POINT_DEG && outward < 0.5 * lean && deep > ROUGH_STEP
        })
        .map(|(v, _)| v)
        .collect()
}
