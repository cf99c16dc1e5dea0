//! Smooth or sharp: which edges are facets of a curved surface and which are edges.
//!
//! A mesh of a cylinder and a prism are the same mesh. The reading here: an edge that turns by less
//! than the crease angle, and whose neighbours across the adjoining facets turn alike, belongs to a
//! curved surface; every other edge that turns is an edge.

mod edge;
#[cfg(test)]
mod tests;

use super::corner::corner_normals;
use super::flats::{Facets, Flats};
use super::{Edge, Mesh, Point, Topology, Vector};
use edge::Reading;
use nalgebra::Vector3;
use rayon::prelude::*;

/// Turns below this are a flat surface's rounding, degrees.
const FLAT_DEG: f64 = 0.02;
/// A short line of sharp edges whose facets stand off each other by less than this is roughness, mm: ten times a good scan's
/// noise (no source). What a cutter leaves there is measured all the same; the facets' chord error, and with it the ±, grows.
pub const ROUGH_STEP: f64 = 0.1;
/// A line of sharp edges means something if it has more of them.
const MOST_ROUGH: usize = 8;
/// A facet this much wider than the one across the edge may be flat, and the turn belong to the other.
pub(super) const WIDER: f64 = 3.0;
/// No facets of one curved surface differ this much in width: in a mesh made to a tolerance the wider stands off it as the square
/// of that.
pub(super) const FAR_WIDER: f64 = 9.0;

/// The reading of every edge of a mesh. By edge: in the order of [`Topology::edges`]; by triangle: in that of [`Mesh::triangles`].
#[derive(Debug, Clone, Default)]
pub struct Creases {
    /// By edge, its turn, degrees: positive where the surface is concave, negative where convex, 0 at open edges.
    pub turn_deg: Vec<f32>,
    /// By edge, whether it lies within a smooth (flat or curved) surface; an open edge does not.
    pub smooth: Vec<bool>,
    /// By edge, the share of its turn that its first and its second triangle carry: a half each between facets of a curved
    /// surface, all on the narrower one where a curved surface meets a flat one, none within a flat and at sharp or open edges.
    pub share: Vec<[f32; 2]>,
    /// By triangle, the unit normals of the surface that it stands for, at its three corners; out of the material.
    pub normals: Vec<[Vector3<f32>; 3]>,
    /// By triangle, whether it belongs to a flat surface rather than being a facet of a curved one.
    pub plane: Vec<bool>,
    /// By triangle, the largest distance between it and the surface that it stands for, mm: an estimate from the normals, not
    /// negative.
    pub chord_error: Vec<f32>,
}

impl Creases {
    /// Reads all edges of `mesh`, which `topology` are the edges of; `crease_deg` is the crease angle, degrees, and `rounding`
    /// that of the coordinates, mm.
    ///
    /// # Panics
    /// If `topology` is another mesh's.
    pub fn read(mesh: &Mesh, topology: &Topology, crease_deg: f64, rounding: f64) -> Creases {
        let triangles = || (0..mesh.triangles.len()).into_par_iter();
        let normals: Vec<Option<Vector>> = triangles().map(|t| mesh.normal(t)).collect();
        let areas: Vec<f64> = triangles().map(|t| mesh.area(t)).collect();
        let facets = Facets {
            mesh,
            topology,
            normals: &normals,
            areas: &areas,
        };
        let first_turns = turns(&facets, |t| normals[t as usize]);
        // coordinates off by their rounding tilt a facet by that over its height
        let noise: Vec<f64> = triangles().map(|t| noise_deg(mesh, t, rounding)).collect();
        let flat_edge = flat_edges(&facets, &first_turns, &noise);
        let flats = Flats::join(&facets, &flat_edge, |t, n, off| {
            off <= FLAT_DEG + 2.0 * (noise[t as usize] + noise[n as usize])
        });
        drop((noise, first_turns));
        // a flat's slivers are tilted by rounding: at its border its own normal tells the turn
        let turns = turns(&facets, |t| Some(*flats.normal(flats.of[t as usize])));
        let reading = Reading {
            facets: &facets,
            flats: &flats,
            turns: &turns,
            flat_edge: &flat_edge,
            crease_deg,
        };
        let (mut smooth, mut share): (Vec<bool>, Vec<[f32; 2]>) = (0..topology.edges.len())
            .into_par_iter()
            .map(|e| reading.edge(e))
            .unzip();
        for e in roughness(mesh, topology, &turns, &smooth, crease_deg) {
            (smooth[e], share[e]) = (true, [0.5; 2]);
        }
        let mut creases = Creases {
            turn_deg: turns.iter().map(|&t| t as f32).collect(),
            plane: planes(topology, &flats, &share),
            smooth,
            share,
            normals: Vec::new(),
            chord_error: Vec::new(),
        };
        drop((flat_edge, turns));
        creases.normals = corner_normals(&creases, &facets, &flats);
        creases.chord_error = triangles()
            .map(|t| chord_error(mesh.corners(t), &creases.normals[t]))
            .collect();
        creases
    }

    /// How far the curved surfaces on either side of side `k` of triangle `t` stand off it in its middle, mm, that of `t` first,
    /// out of the material positive, and how far the edge turns, radians: where it is sharp, the true edge is where those
    /// surfaces meet.
    pub fn sagittas(&self, mesh: &Mesh, topology: &Topology, t: u32, k: usize) -> ([f64; 2], f64) {
        let e = topology.sides[t as usize][k] as usize;
        let ends = [k, (k + 1) % 3].map(|c| mesh.triangles[t as usize][c]);
        let along = mesh.vertices[ends[1] as usize] - mesh.vertices[ends[0] as usize];
        let of = |triangle: u32| {
            let normal = |v: u32| -> Option<Vector> {
                let corner = mesh.triangles[triangle as usize]
                    .iter()
                    .position(|&c| c == v)?;
                Some(self.normals[triangle as usize][corner].cast())
            };
            match (normal(ends[0]), normal(ends[1])) {
                (Some(n), Some(m)) => along.dot(&(m - n)) / 8.0,
                _ => 0.0,
            }
        };
        let own = of(t);
        let other = topology.across(t, k).map_or(0.0, of);
        ([own, other], f64::from(self.turn_deg[e]).to_radians().abs())
    }
}

/// Turn at each edge between the normals of its triangles, degrees: positive where the surface is concave.
fn turns(facets: &Facets, normal: impl Fn(u32) -> Option<Vector> + Sync) -> Vec<f64> {
    let mesh = facets.mesh;
    let turn = |e: &Edge| {
        let (a, Some(b)) = e.triangles else {
            return 0.0;
        };
        let (Some(n), Some(m)) = (normal(a), normal(b)) else {
            return 0.0;
        };
        let along = mesh.vertices[e.vertices[1] as usize] - mesh.vertices[e.vertices[0] as usize];
        let cross = n.cross(&m);
        let turn = cross.norm().atan2(n.dot(&m)).to_degrees();
        if cross.dot(&along) > 0.0 { -turn } else { turn }
    };
    facets.topology.edges.par_iter().map(turn).collect()
}

/// Edges that turn by no more than a flat surface's rounding; `noise` is each triangle's tilt by that of the coordinates, degrees.
fn flat_edges(facets: &Facets, turns: &[f64], noise: &[f64]) -> Vec<bool> {
    let flat = |(e, turn): (&Edge, &f64)| {
        let (a, Some(b)) = e.triangles else {
            return false;
        };
        // one corner may be off one way, the side across the other way
        let noise = 2.0 * (noise[a as usize] + noise[b as usize]);
        // both are as wide as their areas say, for the side is the same
        let [one, other] = [a, b].map(|t| facets.areas[t as usize]);
        let alike = one <= WIDER * other && other <= WIDER * one;
        turn.abs() <= noise || (alike && turn.abs() <= FLAT_DEG + noise)
    };
    let edges = &facets.topology.edges;
    edges.par_iter().zip(turns).map(flat).collect()
}

/// Whether each triangle is part of a flat: where no turn across its patch's border is the patch's own to carry.
fn planes(topology: &Topology, flats: &Flats, share: &[[f32; 2]]) -> Vec<bool> {
    let plane = |p: u32| {
        let carries = |&e: &u32| {
            let (a, _) = topology.edges[e as usize].triangles;
            let first = flats.of[a as usize] == p;
            share[e as usize][usize::from(!first)] > 0.0
        };
        !flats.edges(p).iter().any(carries)
    };
    let planes: Vec<bool> = (0..flats.len() as u32).into_par_iter().map(plane).collect();
    flats.of.iter().map(|&p| planes[p as usize]).collect()
}

/// Edges that turn because the surface is rough, as a scan's is: short lines of sharp edges whose facets stand off each other by
/// less than [`ROUGH_STEP`], or that turn less than the crease angle and die out at every end. An edge that means something
/// runs on to others or round.
fn roughness(
    mesh: &Mesh,
    topology: &Topology,
    turns: &[f64],
    smooth: &[bool],
    crease_deg: f64,
) -> Vec<usize> {
    let sharp = (0..smooth.len()).filter(|&e| !smooth[e] && turns[e] != 0.0);
    let ends = |e: usize| topology.edges[e].vertices;
    let mut at: Vec<(u32, u32)> = sharp
        .clone()
        .flat_map(|e| ends(e).map(|v| (v, e as u32)))
        .collect();
    at.par_sort_unstable();
    let meeting = |v: u32| {
        let first = at.partition_point(|&(w, _)| w < v);
        at[first..].iter().take_while(move |(w, _)| *w == v)
    };
    let steps_off = |e: usize| {
        let edge = &topology.edges[e];
        let [p, q] = edge.vertices.map(|v| mesh.vertices[v as usize]);
        let height = |t: u32| 2.0 * mesh.area(t as usize) / (q - p).norm();
        let height = height(edge.triangles.0).min(edge.triangles.1.map_or(f64::INFINITY, height));
        height * turns[e].abs().min(90.0).to_radians().sin()
    };
    let mut seen = vec![false; smooth.len()];
    let mut rough = Vec::new();
    for start in sharp {
        if std::mem::replace(&mut seen[start], true) {
            continue;
        }
        let mut line = vec![start];
        let mut next = 0;
        while next < line.len() {
            for v in ends(line[next]) {
                for &(_, e) in meeting(v) {
                    if !std::mem::replace(&mut seen[e as usize], true) {
                        line.push(e as usize);
                    }
                }
            }
            next += 1;
        }
        if line.len() > MOST_ROUGH {
            continue;
        }
        let mut corners: Vec<u32> = line.iter().flat_map(|&e| ends(e)).collect();
        corners.sort_unstable();
        corners.dedup();
        // a tree has one corner more than edges: nothing runs round
        let dies_out = corners.len() == line.len() + 1;
        let faint =
            |&e: &usize| steps_off(e) < ROUGH_STEP || (dies_out && turns[e].abs() < crease_deg);
        if line.iter().all(faint) {
            rough.extend(line);
        }
    }
    rough
}

/// Largest distance between a triangle and the surface with these normals at its corners. Along a side `e` between
/// corners with normals n and m the surface, a parabola to second order, stands off by e · (m - n) / 8 in the middle; over the
/// triangle these three add up as 4 Σ h u v in barycentric coordinates: the largest is at the middle of a side or,
/// where all three are alike, at the centroid.
fn chord_error(corners: [Point; 3], normals: &[Vector3<f32>; 3]) -> f32 {
    let h = [0, 1, 2].map(|k| {
        let e = (corners[(k + 1) % 3] - corners[k]).cast::<f32>();
        e.dot(&(normals[(k + 1) % 3] - normals[k])) / 8.0
    });
    let centroid = 4.0 / 9.0 * (h[0] + h[1] + h[2]);
    h.into_iter().fold(centroid.abs(), |m, h| m.max(h.abs()))
}

/// Angle by which the coordinates' rounding may tilt triangle `t`, degrees.
pub fn noise_deg(mesh: &Mesh, t: usize, rounding: f64) -> f64 {
    let [a, b, c] = mesh.corners(t);
    let longest = (b - a).norm().max((c - b).norm()).max((a - c).norm());
    let height = mesh.area_normal(t).norm() / longest;
    if height > 0.0 {
        (rounding / height).atan().to_degrees()
    } else {
        180.0
    }
}
