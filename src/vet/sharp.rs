//! Sharp concave edges of the cavity: where no ball reaches the bottom.

use super::reach::Place;
use super::shade::Shade;
use super::surface::{Facet, Surface};
use crate::mesh::{Point, Sets, Vector};
use crate::report::{HollowKind, SharpEdgeKind};
use crate::setup::{Half, Survey};
use std::collections::BTreeMap;
use tips::tips;

mod tips;

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

/// The surface in which sharp edges are sought.
struct Facets<'a> {
    half: &'a Half,
    survey: &'a Survey,
    surface: &'a Surface,
}

impl Facets<'_> {
    /// The facet of triangle `t` if it bounds a cavity.
    fn cavity(&self, t: u32) -> Option<&Facet> {
        self.surface.of_triangle[t as usize]
            .map(|f| &self.surface.facets[f as usize])
            .filter(|f| self.survey.hollows[f.hollow as usize].kind == HollowKind::Cavity)
    }
}

/// One edge of the mesh that is sharp and seen.
struct Edge {
    kind: SharpEdgeKind,
    /// Its corners.
    ends: [u32; 2],
    /// Visible length, mm.
    length: f64,
    /// A place in the middle of what is seen.
    middle: Point,
    places: Vec<Place>,
}

impl Edge {
    fn is_upright(&self) -> bool {
        self.kind == SharpEdgeKind::Upright
    }
}

/// Visible sharp concave edges, floors first, longest first within a kind.
pub fn sharp_edges(half: &Half, survey: &Survey, surface: &Surface, shade: &Shade) -> Vec<Sharp> {
    let facets = Facets {
        half,
        survey,
        surface,
    };
    let edges = (0..half.topology.edges.len()).filter_map(|e| seen(&facets, shade, e));
    let (lines, meet) = joined(half.mesh.vertices.len(), edges.collect());
    let corners: Vec<u32> = (meet.iter())
        .filter(|(_, m)| m.edges >= 3 || m.kinds == [true; 2])
        .map(|(&v, _)| v)
        .collect();
    let around = normals_around(&facets, &corners);
    let alone = |v: &u32| !meet.contains_key(v);
    // round a tip there are as many normals as a cone has
    let tips = tips(&facets).into_iter().filter(alone);
    let points = (corners.into_iter().zip(around)).chain(tips.map(|v| (v, Vec::new())));
    let mut found = lines;
    found.extend(points.map(|(v, normals)| {
        let at = half.mesh.vertices[v as usize];
        Sharp {
            kind: SharpEdgeKind::Point,
            length: 0.0,
            at,
            places: vec![Place { at, normals }],
        }
    }));
    found.sort_by(|a, b| a.kind.cmp(&b.kind).then(b.length.total_cmp(&a.length)));
    found
}

/// Edge `e` of the mesh as far as it is seen, if it is a sharp concave one of a cavity.
fn seen(facets: &Facets, shade: &Shade, e: usize) -> Option<Edge> {
    let &Facets {
        half,
        survey,
        surface,
    } = facets;
    if surface.creases.smooth[e] || surface.creases.turn_deg[e] <= 0.0 {
        return None;
    }
    let edge = &half.topology.edges[e];
    let (a, b) = (edge.triangles.0, edge.triangles.1?);
    let [fa, fb] = [facets.cavity(a)?, facets.cavity(b)?];
    let [p, q] = edge.vertices.map(|v| half.mesh.vertices[v as usize]);
    let off = (fa.normal + fb.normal) * half.tolerance();
    let pieces = ((q - p).norm() / (4.0 * survey.grid().cell))
        .ceil()
        .max(1.0) as usize;
    let along = |share: f64| p + (q - p) * share;
    let stretch = stretch(pieces, &|share| !shade.covers(&(along(share) + off)))?;
    let place = |&share: &f64| Place {
        at: along(share),
        normals: vec![fa.normal, fb.normal],
    };
    let floor = [fa, fb].iter().any(|f| f.draft_deg > 90.0 - FLOOR_DEG);
    Some(Edge {
        kind: if floor {
            SharpEdgeKind::Floor
        } else {
            SharpEdgeKind::Upright
        },
        ends: edge.vertices,
        length: (q - p).norm() * stretch.length / pieces as f64,
        middle: along(stretch.middle),
        places: stretch.places.iter().map(place).collect(),
    })
}

/// What is open of an edge; places as shares of it.
struct Stretch {
    /// In pieces.
    length: f64,
    middle: f64,
    /// Middles of open pieces, where the shade begins, and open ends.
    places: Vec<f64>,
}

/// What is `open` of an edge looked at in so many `pieces`; `None` if nothing is.
fn stretch(pieces: usize, open: &impl Fn(f64) -> bool) -> Option<Stretch> {
    let middle = |k: usize| (k as f64 + 0.5) / pieces as f64;
    let seen: Vec<bool> = (0..pieces).map(|k| open(middle(k))).collect();
    let mut places: Vec<f64> = (0..pieces).filter(|&k| seen[k]).map(middle).collect();
    let middle = *places.get(places.len() / 2)?;
    let mut length = places.len() as f64;
    // to where the shade begins between two pieces, and to the ends
    for k in 1..pieces {
        if seen[k - 1] != seen[k] {
            let ends = [k as f64 - 0.5, k as f64 + 0.5].map(|x| x / pieces as f64);
            let border = border(ends, seen[k - 1], open);
            let beyond = border * pieces as f64 - k as f64;
            length += if seen[k - 1] { beyond } else { -beyond };
            places.push(border);
        }
    }
    let ends = [(0.0, 1e-6), (1.0, 1.0 - 1e-6)];
    places.extend(ends.iter().filter(|(_, near)| open(*near)).map(|e| e.0));
    Some(Stretch {
        length,
        middle,
        places,
    })
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

/// What meets at a corner of the mesh.
#[derive(Default)]
struct Meet {
    edges: usize,
    /// Whether a floor's edge does, and whether an upright one.
    kinds: [bool; 2],
}

/// Edges of a kind joined at shared ones of the mesh's `corners`, and what meets at each.
fn joined(corners: usize, edges: Vec<Edge>) -> (Vec<Sharp>, BTreeMap<u32, Meet>) {
    let mut sets = [(); 2].map(|()| Sets((0..corners as u32).collect()));
    for edge in &edges {
        sets[usize::from(edge.is_upright())].join(edge.ends[0], edge.ends[1]);
    }
    let mut meet: BTreeMap<u32, Meet> = BTreeMap::new();
    // with the length of the longest edge so far
    let mut lines: BTreeMap<(SharpEdgeKind, u32), (Sharp, f64)> = BTreeMap::new();
    for edge in edges {
        let upright = usize::from(edge.is_upright());
        let key = (edge.kind, sets[upright].find(edge.ends[0]));
        let (line, longest) = lines.entry(key).or_insert_with(|| {
            let line = Sharp {
                kind: edge.kind,
                length: 0.0,
                at: edge.middle,
                places: Vec::new(),
            };
            (line, 0.0)
        });
        if edge.length > *longest {
            (*longest, line.at) = (edge.length, edge.middle);
        }
        line.length += edge.length;
        line.places.extend(edge.places);
        for v in edge.ends {
            let m = meet.entry(v).or_default();
            m.edges += 1;
            m.kinds[upright] = true;
        }
    }
    (lines.into_values().map(|(line, _)| line).collect(), meet)
}

/// The normals of the hollows' facets at each of these corners of the mesh.
fn normals_around(facets: &Facets, corners: &[u32]) -> Vec<Vec<Vector>> {
    let place: BTreeMap<u32, usize> = corners.iter().enumerate().map(|(k, &v)| (v, k)).collect();
    let mut around = vec![Vec::new(); corners.len()];
    for f in &facets.surface.facets {
        for v in facets.half.mesh.triangles[f.triangle as usize] {
            if let Some(&k) = place.get(&v) {
                around[k].push(f.normal);
            }
        }
    }
    around
}
