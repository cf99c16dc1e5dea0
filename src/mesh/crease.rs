//! Smooth or sharp: which edges are facets of a curved surface and which are edges.
//!
//! A mesh of a cylinder and a prism are the same mesh. The reading here: an edge that turns by less
//! than the crease angle, and whose neighbours across the adjoining facets turn alike, belongs to a
//! curved surface; every other edge that turns is an edge.

use super::corner::corner_normals;
use super::flats::{Facets, Flats};
use super::{Mesh, Point, Topology, Vector};
use nalgebra::Vector3;
use rayon::prelude::*;

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
/// Up to this turn, degrees, a turn of like size the other way is company too: a saddle's facets, and a scan's roughness, turn
/// both ways.
const ROUGH_DEG: f64 = 20.0;
/// A short line of sharp edges whose facets stand off each other by less than this is roughness, mm: ten times a good scan's
/// noise. What a cutter leaves there is measured all the same; the facets' chord error, and with it the ±, grows.
pub const ROUGH_STEP: f64 = 0.1;
/// A line of sharp edges means something if it has more of them.
const MOST_ROUGH: usize = 8;
/// Facets of one curved surface are alike in width up to this ratio; a flat much wider than its neighbour is no facet.
const LIKE_WIDTH: f64 = 4.0;
/// A facet this much wider than the one across the edge may be flat, and the turn belong to the other.
pub(super) const WIDER: f64 = 3.0;

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
    /// For each triangle the unit normals of the surface that it stands for, at its corners; out of the material.
    pub normals: Vec<[Vector3<f32>; 3]>,
    /// Whether each triangle belongs to a flat surface rather than being a facet of a curved one.
    pub plane: Vec<bool>,
    /// Estimated distance between each triangle and the surface that it stands for, mm.
    pub chord_error: Vec<f32>,
}

impl Creases {
    /// Reads all edges of `mesh`; `crease_deg` is the crease angle and `rounding` the coordinates' rounding, mm.
    pub fn read(mesh: &Mesh, topology: &Topology, crease_deg: f64, rounding: f64) -> Creases {
        let normals: Vec<Option<Vector>> = (0..mesh.triangles.len())
            .into_par_iter()
            .map(|t| mesh.normal(t))
            .collect();
        let turns: Vec<f64> = topology
            .edges
            .par_iter()
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
            .into_par_iter()
            .map(|t| noise_deg(mesh, t, rounding))
            .collect();
        let areas: Vec<f64> = (0..mesh.triangles.len())
            .into_par_iter()
            .map(|t| mesh.area(t))
            .collect();
        let flat_edge: Vec<bool> = topology
            .edges
            .par_iter()
            .zip(&turns)
            .map(|(e, turn)| match e.triangles {
                (a, Some(b)) => {
                    // one corner may be off one way, the side across the other way
                    let noise = 2.0 * (noise[a as usize] + noise[b as usize]);
                    // both are as wide as their areas say, for the side is the same
                    let [one, other] = [areas[a as usize], areas[b as usize]];
                    let alike = one <= WIDER * other && other <= WIDER * one;
                    turn.abs() <= noise || (alike && turn.abs() <= FLAT_DEG + noise)
                }
                _ => false,
            })
            .collect();
        let facets = Facets {
            mesh,
            topology,
            normals: &normals,
            areas: &areas,
        };
        let flats = Flats::join(&facets, &flat_edge, |t, n, off| {
            off <= FLAT_DEG + 2.0 * (noise[t as usize] + noise[n as usize])
        });
        drop(noise);
        let direction = |e: usize| {
            let [a, b] = topology.edges[e].vertices;
            let along = mesh.vertices[b as usize] - mesh.vertices[a as usize];
            along.try_normalize(0.0).unwrap_or_default()
        };
        // flat patches beside each flat patch, across edges that turn less than the crease
        let (flats_ref, turns_ref) = (&flats, &turns);
        let beside = move |own: u32| {
            flats_ref.edges(own).iter().filter_map(move |&o| {
                let (a, Some(b)) = topology.edges[o as usize].triangles else {
                    return None;
                };
                let far = if flats_ref.of[a as usize] == own {
                    flats_ref.of[b as usize]
                } else {
                    flats_ref.of[a as usize]
                };
                (turns_ref[o as usize].abs() < crease_deg && far != own).then_some(far)
            })
        };
        // turn from the flat patch `own` to `far` in the plane across edge `e`, positive in the sense of the edge's own
        let turns_on = |e: usize, own: u32, far: u32, out: Vector| {
            // concave: walking outward the normal leans back over the way come
            let lean = (flats.normal(own) - flats.normal(far)).dot(&out) * turns[e].signum();
            lean.clamp(-1.0, 1.0).asin().to_degrees()
        };
        // whether the surface beyond the flat patch `own` goes on turning as it does across edge `e`: towards patches one or
        // two farther on (in a lattice of triangles every other one turns only aside), about as wide as itself,
        // the normal moves on in the plane across the edge by as much
        let alike = |e: usize, along: &Vector, own: u32, other: u32, out: Vector| {
            let turn = turns[e].abs();
            let ratio = {
                let part = ((turn - GENTLE_DEG) / (2.0 * GENTLE_DEG)).clamp(0.0, 1.0);
                ALIKE_GENTLE + (ALIKE - ALIKE_GENTLE) * part
            };
            let width = flats.width(own, along);
            let goes_on = |far: u32| {
                let wide = flats.width(far, along);
                if wide > LIKE_WIDTH * width || width > LIKE_WIDTH * wide {
                    return false;
                }
                let on = turns_on(e, own, far, out);
                let on = if turn <= ROUGH_DEG { on.abs() } else { on };
                on > 0.0 && on * ratio > turn && on < ratio * turn
            };
            beside(own).any(|far| {
                far != other
                    && (goes_on(far) || beside(far).any(|f| f != own && f != other && goes_on(f)))
            })
        };
        let read = |e: usize| -> (bool, [f32; 2]) {
            let edge = &topology.edges[e];
            let (a, Some(b)) = edge.triangles else {
                return (false, [0.0; 2]);
            };
            let [fa, fb] = [flats.of[a as usize], flats.of[b as usize]];
            if fa == fb {
                return (true, [0.0; 2]);
            }
            let turn = turns[e].abs();
            let along = direction(e);
            let outward = |t: u32| {
                let n = normals[t as usize].unwrap_or_default();
                let across = along.cross(&n);
                // the first triangle has the edge's direction counter-clockwise: it lies to the left
                if t == a { -across } else { across }
            };
            let [wa, wb] = [flats.width(fa, &along), flats.width(fb, &along)];
            let faint = flat_edge[e]
                || turn < FAINT_DEG
                || wa.min(wb) * turn.to_radians().sin() < FAINT_STEP;
            let smooth = turn < crease_deg
                && (faint
                    || alike(e, &along, fa, fb, outward(a))
                    || alike(e, &along, fb, fa, outward(b)));
            // whether the wider of two facets, `other`, is flat rather than a wide facet of the same curve. By their widths w, with
            // v that of the facet beyond, the turn would be to the next one as w(own) to w(own) + v if it is, and as w(own) +
            // w(other) to that if not: the nearer of the two, between them their geometric mean
            let runs_out = |own: u32, other: u32, t: u32| {
                let width = |f: u32| flats.width(f, &along);
                let (narrow, wide) = (width(own), width(other));
                let mean = (narrow * (narrow + wide)).sqrt();
                let on = |far: u32| turns_on(e, own, far, outward(t));
                let beyond = |far: u32| turn * (narrow + width(far)) < on(far) * mean;
                let aside = |far: u32| on(far).abs() < turn;
                beside(own).filter(|&far| far != other).any(|far| {
                    beyond(far)
                        || (aside(far) && beside(far).any(|f| f != own && f != other && beyond(f)))
                })
            };
            let share = if !smooth {
                [0.0; 2]
            } else if wa > WIDER * wb && runs_out(fb, fa, b) {
                [0.0, 1.0]
            } else if wb > WIDER * wa && runs_out(fa, fb, a) {
                [1.0, 0.0]
            } else {
                [0.5; 2]
            };
            (smooth, share)
        };
        let (mut smooth, mut share): (Vec<bool>, Vec<[f32; 2]>) =
            (0..topology.edges.len()).into_par_iter().map(read).unzip();
        for e in roughness(mesh, topology, &turns, &smooth, crease_deg) {
            (smooth[e], share[e]) = (true, [0.5; 2]);
        }
        let mut creases = Creases {
            turn_deg: turns.iter().map(|&t| t as f32).collect(),
            smooth,
            share,
            normals: Vec::new(),
            plane: Vec::new(),
            chord_error: Vec::new(),
        };
        // flat where no turn across its border is its own to carry
        let plane = |p: u32| {
            let carries = |&e: &u32| {
                let (a, _) = topology.edges[e as usize].triangles;
                let first = flats.of[a as usize] == p;
                creases.share[e as usize][usize::from(!first)] > 0.0
            };
            !flats.edges(p).iter().any(carries)
        };
        let planes: Vec<bool> = (0..flats.len() as u32).into_par_iter().map(plane).collect();
        creases.plane = flats.of.iter().map(|&p| planes[p as usize]).collect();
        drop((flat_edge, turns));
        creases.normals = corner_normals(&creases, &facets, &flats);
        creases.chord_error = (0..mesh.triangles.len())
            .into_par_iter()
            .map(|t| chord_error(mesh.corners(t), &creases.normals[t]))
            .collect();
        creases
    }

    /// How far the curved surfaces on either side of side `k` of triangle `t` stand off it in its middle, mm, that of `t` first, and
    /// the angle between their normals: where the edge is sharp, the true edge is where those surfaces meet.
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
