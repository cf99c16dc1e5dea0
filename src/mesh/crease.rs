//! Smooth or sharp: which edges are facets of a curved surface and which are edges.
//!
//! A mesh of a cylinder and a prism are the same mesh. The reading here: an edge that turns by less
//! than the crease angle, and whose neighbours across the adjoining facets turn alike, belongs to a
//! curved surface; every other edge that turns is an edge.

use super::{Mesh, Topology, Vector};
use nalgebra::Matrix3;

/// Turns below this are a flat surface's rounding, degrees.
const FLAT_DEG: f64 = 0.02;
/// An isolated turn below this is no edge that any cutter would notice: a ball of radius R leaves
/// R (1 / cos(turn / 2) - 1), that is under R / 26 000, in it. Degrees.
const FAINT_DEG: f64 = 1.0;
/// A sliver that turns off its neighbour by less than this over its width is that surface's roughness, mm.
const FAINT_STEP: f64 = 0.002;
/// Neighbouring turns are alike up to this ratio: where a curved surface runs out tangentially into
/// a flat one, the last edge turns by half of what the others do; curvature that varies takes the rest.
const ALIKE: f64 = 2.6;
/// Faint turns need less company, for in irregular facets the turn is spread unevenly and a ball hardly notices the
/// edge: up to this ratio at [`GENTLE_DEG`] and below, falling to [`ALIKE`] at three times that.
const ALIKE_GENTLE: f64 = 8.0;
/// See [`ALIKE_GENTLE`], degrees.
const GENTLE_DEG: f64 = 4.0;
/// Facets of one curved surface are alike in width up to this ratio; a flat much wider than its neighbour is no facet.
const LIKE_WIDTH: f64 = 4.0;
/// A facet this much wider than the one across the edge is flat; the turn belongs to the other.
const WIDER: f64 = 3.0;

/// The reading of every edge.
#[derive(Debug, Clone, Default)]
pub struct Creases {
    /// Turn at each edge, degrees: positive where the surface is concave, negative where convex, 0 at open edges.
    pub turn_deg: Vec<f32>,
    /// Whether the edge lies within a smooth (flat or curved) surface.
    pub smooth: Vec<bool>,
    /// Of the edge's turn, the share that its first and its second triangle carry: a half each between
    /// facets of a curved surface, all on the narrower one where a curved surface meets a flat one, none at sharp edges.
    pub share: Vec<[f32; 2]>,
    /// Estimated distance between each triangle and the surface that it stands for, mm.
    pub chord_error: Vec<f32>,
}

/// A maximal flat patch.
#[derive(Debug, Clone, Default)]
struct Flat {
    normal: Vector,
    area: f64,
    /// Sum of d dᵀ |e| over its border edges e with direction d: its border's length by direction.
    border: Matrix3<f64>,
    edges: Vec<u32>,
}

impl Flat {
    /// Mean width across direction `along` (unit), mm.
    fn width(&self, along: &Vector) -> f64 {
        let length = 0.5 * along.dot(&(self.border * along));
        if length > 0.0 {
            self.area / length
        } else {
            f64::INFINITY
        }
    }
}

impl Creases {
    /// Reads all edges of `mesh`; `crease_deg` is the crease angle and `rounding` the coordinates' rounding, mm.
    pub fn read(mesh: &Mesh, topology: &Topology, crease_deg: f64, rounding: f64) -> Creases {
        let normals: Vec<Option<Vector>> =
            (0..mesh.triangles.len()).map(|t| mesh.normal(t)).collect();
        let turns: Vec<f64> = topology
            .edges
            .iter()
            .map(|e| {
                let (a, Some(b)) = e.triangles else {
                    return 0.0;
                };
                let (Some(n), Some(m)) = (normals[a as usize], normals[b as usize]) else {
                    return 0.0;
                };
                let along =
                    mesh.vertices[e.vertices[1] as usize] - mesh.vertices[e.vertices[0] as usize];
                let cross = n.cross(&m);
                let turn = cross.norm().atan2(n.dot(&m)).to_degrees();
                if cross.dot(&along) > 0.0 { -turn } else { turn }
            })
            .collect();
        // coordinates off by their rounding tilt a facet by that over its height
        let noise: Vec<f64> = (0..mesh.triangles.len())
            .map(|t| noise_deg(mesh, t, rounding))
            .collect();
        let flat_edge: Vec<bool> = topology
            .edges
            .iter()
            .zip(&turns)
            .map(|(e, turn)| match e.triangles {
                (a, Some(b)) => turn.abs() <= FLAT_DEG + noise[a as usize] + noise[b as usize],
                _ => false,
            })
            .collect();
        let (flat_of, flats) = flats(mesh, topology, &flat_edge);
        let directions: Vec<Vector> = topology
            .edges
            .iter()
            .map(|e| {
                let [a, b] = e.vertices.map(|v| mesh.vertices[v as usize]);
                (b - a).try_normalize(0.0).unwrap_or_default()
            })
            .collect();
        // flat patches beside each flat patch, across edges that turn less than the crease
        let (flats_ref, flat_of_ref, turns_ref) = (&flats, &flat_of, &turns);
        let beside = |own: u32| {
            flats_ref[own as usize].edges.iter().filter_map(move |&o| {
                let (a, Some(b)) = topology.edges[o as usize].triangles else {
                    return None;
                };
                let far = if flat_of_ref[a as usize] == own {
                    flat_of_ref[b as usize]
                } else {
                    flat_of_ref[a as usize]
                };
                (turns_ref[o as usize].abs() < crease_deg && far != own).then_some(far)
            })
        };
        // whether the surface beyond the flat patch `own` goes on turning as it does across edge `e`: towards patches one or
        // two farther on (in a lattice of triangles every other one turns only aside), about as wide as itself,
        // the normal moves on in the plane across the edge by as much
        let alike = |e: usize, own: u32, other: u32, out: Vector| {
            let turn = turns[e].abs();
            let ratio = {
                let part = ((turn - GENTLE_DEG) / (2.0 * GENTLE_DEG)).clamp(0.0, 1.0);
                ALIKE_GENTLE + (ALIKE - ALIKE_GENTLE) * part
            };
            let width = flats[own as usize].width(&directions[e]);
            let goes_on = |far: u32| {
                let wide = flats[far as usize].width(&directions[e]);
                if wide > LIKE_WIDTH * width || width > LIKE_WIDTH * wide {
                    return false;
                }
                // concave: walking outward the normal leans back over the way come
                let lean = (flats[own as usize].normal - flats[far as usize].normal).dot(&out)
                    * turns[e].signum();
                let on = lean.clamp(-1.0, 1.0).asin().to_degrees();
                on > 0.0 && on * ratio > turn && on < ratio * turn
            };
            beside(own).any(|far| {
                far != other
                    && (goes_on(far) || beside(far).any(|f| f != own && f != other && goes_on(f)))
            })
        };
        let mut creases = Creases {
            turn_deg: turns.iter().map(|&t| t as f32).collect(),
            smooth: vec![false; turns.len()],
            share: vec![[0.0; 2]; turns.len()],
            chord_error: vec![0.0; mesh.triangles.len()],
        };
        for (e, edge) in topology.edges.iter().enumerate() {
            let (a, Some(b)) = edge.triangles else {
                continue;
            };
            if flat_edge[e] {
                creases.smooth[e] = true;
                continue;
            }
            let turn = turns[e].abs();
            let [fa, fb] = [flat_of[a as usize], flat_of[b as usize]];
            let outward = |t: u32| {
                let n = normals[t as usize].unwrap_or_default();
                let across = directions[e].cross(&n);
                // the first triangle has the edge's direction counter-clockwise: it lies to the left
                if t == a { -across } else { across }
            };
            let curved =
                turn < crease_deg && (alike(e, fa, fb, outward(a)) || alike(e, fb, fa, outward(b)));
            let step = flats[fa as usize]
                .width(&directions[e])
                .min(flats[fb as usize].width(&directions[e]));
            let faint = turn < FAINT_DEG || step * turn.to_radians().sin() < FAINT_STEP;
            creases.smooth[e] = curved || (turn < crease_deg && faint);
            if !creases.smooth[e] {
                continue;
            }
            let [wa, wb] = [fa, fb].map(|f| flats[f as usize].width(&directions[e]));
            let (share, chord) = if wa > WIDER * wb {
                ([0.0, 1.0], wb)
            } else if wb > WIDER * wa {
                ([1.0, 0.0], wa)
            } else {
                ([0.5, 0.5], 0.5 * (wa + wb))
            };
            creases.share[e] = share;
            // sagitta of an arc over chord c that turns by t: c t / 8 to first order; an edge between a flat and a
            // curved surface turns by half of what its facet does
            let full = if share[0] == 0.5 { turn } else { 2.0 * turn };
            let sagitta = (chord * full.to_radians() / 8.0) as f32;
            for (t, share) in [(a, share[0]), (b, share[1])] {
                if share > 0.0 {
                    let error = &mut creases.chord_error[t as usize];
                    *error = error.max(sagitta);
                }
            }
        }
        creases
    }
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

/// Joins triangles across flat edges.
fn flats(mesh: &Mesh, topology: &Topology, flat_edge: &[bool]) -> (Vec<u32>, Vec<Flat>) {
    let mut flat_of = vec![u32::MAX; mesh.triangles.len()];
    let mut flats: Vec<Flat> = Vec::new();
    let mut stack = Vec::new();
    for start in 0..mesh.triangles.len() {
        if flat_of[start] != u32::MAX {
            continue;
        }
        let number = flats.len() as u32;
        let mut flat = Flat {
            normal: mesh.normal(start).unwrap_or_default(),
            ..Flat::default()
        };
        flat_of[start] = number;
        stack.push(start as u32);
        while let Some(t) = stack.pop() {
            flat.area += mesh.area(t as usize);
            for (k, &e) in topology.sides[t as usize].iter().enumerate() {
                if flat_edge[e as usize] {
                    if let Some(n) = topology.across(t, k)
                        && flat_of[n as usize] == u32::MAX
                    {
                        flat_of[n as usize] = number;
                        stack.push(n);
                    }
                } else {
                    let [p, q] = topology.edges[e as usize]
                        .vertices
                        .map(|v| mesh.vertices[v as usize]);
                    let side = q - p;
                    let length = side.norm();
                    if length > 0.0 {
                        flat.border += side * side.transpose() / length;
                    }
                    flat.edges.push(e);
                }
            }
        }
        flats.push(flat);
    }
    (flat_of, flats)
}
