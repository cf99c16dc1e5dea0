//! Smooth or sharp: which edges are facets of a curved surface and which are edges.
//!
//! A mesh of a cylinder and a prism are the same mesh. The reading here: an edge that turns by less
//! than the crease angle, and whose neighbours across the adjoining facets turn alike, belongs to a
//! curved surface; every other edge that turns is an edge.

use super::{Mesh, Point, Topology, Vector};
use nalgebra::{Matrix3, Vector3};
use rayon::prelude::*;
use std::collections::{BTreeMap, BTreeSet};

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
const WIDER: f64 = 3.0;

/// No facets of one curved surface differ this much in width: in a mesh made to a tolerance the wider stands off it as the square of
/// that.
const FAR_WIDER: f64 = 9.0;

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
        let flat_edge: Vec<bool> = topology
            .edges
            .par_iter()
            .zip(&turns)
            .map(|(e, turn)| match e.triangles {
                (a, Some(b)) => {
                    // one corner may be off one way, the side across the other way
                    let noise = 2.0 * (noise[a as usize] + noise[b as usize]);
                    // both are as wide as their areas say, for the side is the same
                    let [one, other] = [a, b].map(|t| mesh.area(t as usize));
                    let alike = one <= WIDER * other && other <= WIDER * one;
                    turn.abs() <= noise || (alike && turn.abs() <= FLAT_DEG + noise)
                }
                _ => false,
            })
            .collect();
        let (flat_of, flats) = flats(mesh, topology, &flat_edge, &noise);
        let directions: Vec<Vector> = topology
            .edges
            .par_iter()
            .map(|e| {
                let [a, b] = e.vertices.map(|v| mesh.vertices[v as usize]);
                (b - a).try_normalize(0.0).unwrap_or_default()
            })
            .collect();
        // flat patches beside each flat patch, across edges that turn less than the crease
        let (flats_ref, flat_of_ref, turns_ref) = (&flats, &flat_of, &turns);
        let beside = move |own: u32| {
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
        // turn from the flat patch `own` to `far` in the plane across edge `e`, positive in the sense of the edge's own
        let turns_on = |e: usize, own: u32, far: u32, out: Vector| {
            // concave: walking outward the normal leans back over the way come
            let lean = (flats[own as usize].normal - flats[far as usize].normal).dot(&out)
                * turns[e].signum();
            lean.clamp(-1.0, 1.0).asin().to_degrees()
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
            let [fa, fb] = [flat_of[a as usize], flat_of[b as usize]];
            if fa == fb {
                return (true, [0.0; 2]);
            }
            let turn = turns[e].abs();
            let outward = |t: u32| {
                let n = normals[t as usize].unwrap_or_default();
                let across = directions[e].cross(&n);
                // the first triangle has the edge's direction counter-clockwise: it lies to the left
                if t == a { -across } else { across }
            };
            let [wa, wb] = [fa, fb].map(|f| flats[f as usize].width(&directions[e]));
            let faint = flat_edge[e]
                || turn < FAINT_DEG
                || wa.min(wb) * turn.to_radians().sin() < FAINT_STEP;
            let smooth = turn < crease_deg
                && (faint || alike(e, fa, fb, outward(a)) || alike(e, fb, fa, outward(b)));
            // whether the wider of two facets, `other`, is flat rather than a wide facet of the same curve. By their widths w, with
            // v that of the facet beyond, the turn would be to the next one as w(own) to w(own) + v if it is, and as w(own) +
            // w(other) to that if not: the nearer of the two, between them their geometric mean
            let runs_out = |own: u32, other: u32, t: u32| {
                let width = |f: u32| flats[f as usize].width(&directions[e]);
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
        let plane = |flat: &Flat| {
            let carries = |&e: &u32| {
                let (a, _) = topology.edges[e as usize].triangles;
                let first = std::ptr::eq(&flats[flat_of[a as usize] as usize], flat);
                creases.share[e as usize][usize::from(!first)] > 0.0
            };
            !flat.edges.iter().any(carries)
        };
        let planes: Vec<bool> = flats.par_iter().map(plane).collect();
        creases.plane = flat_of.iter().map(|&f| planes[f as usize]).collect();
        creases.normals = creases.corner_normals(mesh, topology, &|t| {
            flats[flat_of[t as usize] as usize].normal
        });
        creases.chord_error = (0..mesh.triangles.len())
            .into_par_iter()
            .map(|t| chord_error(mesh.corners(t), &creases.normals[t]))
            .collect();
        creases
    }

    /// Unit normals of the surface at the corners of each triangle: over the facets joined to it around the corner by smooth
    /// edges, weighted so that they are exact where the corners lie on a sphere or along a cylinder (N. Max, "Weights for
    /// computing vertex normals from facet normals", Journal of Graphics Tools 4(2), 1–6, 1999; cited from memory). Where
    /// a curved surface runs out into a flat one, the flat one's. Where it ends, what lies beyond is unknown, and the
    /// normals of the corners next to it are mirrored instead: those at the ends of a chord of a circle are mirror images.
    /// A flat one has one normal: slivers in it are tilted by their corners' rounding.
    fn corner_normals(
        &self,
        mesh: &Mesh,
        topology: &Topology,
        flat_normal: &(impl Fn(u32) -> Vector + Sync),
    ) -> Vec<[Vector3<f32>; 3]> {
        let own = |t: u32| mesh.normal(t as usize).unwrap_or_default();
        let triangles = 0..mesh.triangles.len() as u32;
        let first: Vec<[(Vector, bool); 3]> = triangles
            .clone()
            .into_par_iter()
            .map_init(Vec::new, |ring, t| {
                [0, 1, 2].map(|k| {
                    if self.plane[t as usize] {
                        return (flat_normal(t), true);
                    }
                    let closed = self.around(mesh, topology, t, k, ring);
                    let split = self.mark_narrow(mesh, topology, ring, closed);
                    let all_narrow = ring.iter().all(|r| r.narrow);
                    let speaks = ring.iter().filter(|r| all_narrow || !r.narrow);
                    let says = |r: &Spoke| match self.plane[r.triangle as usize] {
                        true => flat_normal(r.triangle) * weighted(mesh, r).norm(),
                        false => weighted(mesh, r),
                    };
                    let sum: Vector = speaks.map(says).sum();
                    let normal = sum.try_normalize(0.0).unwrap_or_else(|| own(t));
                    let is_tip = |r: &Spoke| {
                        let cosine = own(r.triangle).dot(&normal);
                        self.is_tip(topology, r.triangle, r.corner, cosine)
                    };
                    if ring.iter().all(is_tip) {
                        return (own(t), true);
                    }
                    (normal, closed || (split && !all_narrow))
                })
            })
            .collect();
        triangles
            .into_par_iter()
            .map_init(Vec::new, |ring, t| {
                [0, 1, 2].map(|k| {
                    let (normal, known) = first[t as usize][k];
                    if known {
                        return normal.cast();
                    }
                    self.around(mesh, topology, t, k, ring);
                    let mut chords = Vec::new();
                    for r in ring.iter() {
                        let corners = mesh.corners(r.triangle as usize);
                        for far in [(r.corner + 1) % 3, (r.corner + 2) % 3] {
                            let (n, known) = first[r.triangle as usize][far];
                            let chord = corners[far] - corners[r.corner];
                            if let Some(chord) = chord.try_normalize(0.0).filter(|_| known) {
                                chords.push((chord, n));
                            }
                        }
                    }
                    // the chord most nearly square to the rim: where the surface bends along the rim only, mirrored at a
                    // slanting chord its normal would lean
                    let along = rim_direction(mesh, topology, ring);
                    let squarest = chords.into_iter().min_by(|a, b| {
                        let slant = |c: &(Vector, Vector)| c.0.dot(&along).abs();
                        slant(a).total_cmp(&slant(b))
                    });
                    let sum = squarest.map_or(Vector::zeros(), |(chord, n)| {
                        n - chord * (2.0 * n.dot(&chord))
                    });
                    sum.try_normalize(0.5).unwrap_or(normal).cast()
                })
            })
            .collect()
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

    /// Whether triangle `t` comes to a point at its corner `k`, as those around the tip of a cone do: the facet leans off the mean
    /// normal there, by an angle of which the cosine is given, while across its far side the surface goes on straighter.
    fn is_tip(&self, topology: &Topology, t: u32, k: usize, cosine: f64) -> bool {
        let lean = cosine.clamp(-1.0, 1.0).acos().to_degrees();
        let far = topology.sides[t as usize][(k + 1) % 3] as usize;
        let onward = if self.smooth[far] {
            f64::from(self.turn_deg[far].abs())
        } else {
            0.0
        };
        lean > TIP_DEG && onward < 0.5 * lean
    }

    /// The facets joined to triangle `t` around its corner `k` by smooth edges, in order, put into `ring`; true if they close
    /// around the corner.
    fn around(
        &self,
        mesh: &Mesh,
        topology: &Topology,
        t: u32,
        k: usize,
        ring: &mut Vec<Spoke>,
    ) -> bool {
        let v = mesh.triangles[t as usize][k];
        // out of a facet by side `side`, which starts or ends at the corner: the facet there, and its other side at the corner
        let step = |now: u32, side: usize| {
            let e = topology.sides[now as usize][side];
            let next = topology
                .across(now, side)
                .filter(|_| self.smooth[e as usize])?;
            let entry = topology.sides[next as usize].iter().position(|&x| x == e)?;
            let corner = mesh.triangles[next as usize].iter().position(|&c| c == v)?;
            let side = if entry == corner {
                (corner + 2) % 3
            } else {
                corner
            };
            Some((next, corner, side, e))
        };
        // back to where the ring begins
        let (mut start, mut corner, mut side) = (t, k, (k + 2) % 3);
        for _ in 0..MOST_AROUND {
            match step(start, side) {
                Some((next, at, out, _)) if next != t => (start, corner, side) = (next, at, out),
                _ => break,
            }
        }
        ring.clear();
        // and forward from there: the side not gone out by
        let mut now = start;
        let mut out = if side == corner {
            (corner + 2) % 3
        } else {
            corner
        };
        for _ in 0..MOST_AROUND {
            let onward = step(now, out);
            ring.push(Spoke {
                triangle: now,
                corner,
                onward: onward.map(|o| o.3),
                narrow: false,
            });
            match onward {
                Some((next, at, side, _)) if next != start => (now, corner, out) = (next, at, side),
                Some(_) => return true,
                None => return false,
            }
        }
        false
    }

    /// Marks in a ring what lies on the narrow side of an edge where a curved surface runs out into a wide one, up to the next
    /// such edge; true if there is any. Where the turn is lost in the coordinates' rounding, as beside the gentle part of a
    /// rounded end, facets of unlike width tell.
    fn mark_narrow(
        &self,
        mesh: &Mesh,
        topology: &Topology,
        ring: &mut [Spoke],
        closed: bool,
    ) -> bool {
        let n = ring.len();
        let edges = if closed { n } else { n - 1 };
        // of the edge after the i-th facet: whether that facet is the narrow one, if one is
        let narrow_first = |ring: &[Spoke], i: usize| {
            let e = ring[i].onward? as usize;
            let [own, next] = [ring[i].triangle, ring[(i + 1) % n].triangle];
            let first = topology.edges[e].triangles.0 == own;
            match self.share[e] {
                // the narrow one carries the whole turn
                [1.0, _] => Some(first),
                [_, 1.0] => Some(!first),
                share => {
                    let [own, next] = [own, next].map(|t| mesh.area(t as usize));
                    let wider = if share == [0.0; 2] { WIDER } else { FAR_WIDER };
                    (own > wider * next || next > wider * own).then_some(own < next)
                }
            }
        };
        let splits: Vec<Option<bool>> = (0..edges).map(|i| narrow_first(ring, i)).collect();
        for (i, narrow) in splits.iter().enumerate() {
            if let Some(first) = narrow {
                ring[if *first { i } else { (i + 1) % n }].narrow = true;
            }
        }
        // twice round, for a closed ring may start in the middle of a narrow part
        for i in (0..2 * edges).map(|i| i % edges) {
            if splits[i].is_none() && ring[i].narrow {
                ring[(i + 1) % n].narrow = true;
            }
        }
        for i in (0..2 * edges).rev().map(|i| i % edges) {
            if splits[i].is_none() && ring[(i + 1) % n].narrow {
                ring[i].narrow = true;
            }
        }
        splits.iter().any(Option::is_some)
    }
}

/// One facet of those around a corner.
#[derive(Debug, Clone, Copy)]
struct Spoke {
    triangle: u32,
    /// Which of its corners that is.
    corner: usize,
    /// The edge to the next facet.
    onward: Option<u32>,
    /// On the narrow side of an edge where a curved surface runs out into a wide one.
    narrow: bool,
}

/// Direction of the rim at the corner of a ring that does not close: between the far ends of its first and last side.
fn rim_direction(mesh: &Mesh, topology: &Topology, ring: &[Spoke]) -> Vector {
    let end = |r: &Spoke, inner: Option<u32>, other: bool| {
        // the side at the corner that is not the inner one
        let sides = topology.sides[r.triangle as usize];
        let starts = match inner {
            Some(e) => sides[r.corner] != e,
            None => other,
        };
        let far = if starts { r.corner + 1 } else { r.corner + 2 };
        let corners = mesh.corners(r.triangle as usize);
        (corners[far % 3] - corners[r.corner])
            .try_normalize(0.0)
            .unwrap_or_default()
    };
    match ring {
        [] => Vector::zeros(),
        [only] => end(only, None, true) - end(only, None, false),
        [first, .., before, last] => {
            end(first, first.onward, true) - end(last, before.onward, true)
        }
        [first, last] => end(first, first.onward, true) - end(last, first.onward, true),
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
    let mut at: BTreeMap<u32, Vec<usize>> = BTreeMap::new();
    let sharp = (0..smooth.len()).filter(|&e| !smooth[e] && turns[e] != 0.0);
    for e in sharp.clone() {
        for v in topology.edges[e].vertices {
            at.entry(v).or_default().push(e);
        }
    }
    let steps_off = |e: usize| {
        let edge = &topology.edges[e];
        let [p, q] = edge.vertices.map(|v| mesh.vertices[v as usize]);
        let height = |t: u32| 2.0 * mesh.area(t as usize) / (q - p).norm();
        let height = height(edge.triangles.0).min(edge.triangles.1.map_or(f64::INFINITY, height));
        height * turns[e].abs().min(90.0).to_radians().sin()
    };
    let mut seen = BTreeSet::new();
    let mut rough = Vec::new();
    for start in sharp {
        if !seen.insert(start) {
            continue;
        }
        let mut line = vec![start];
        let mut ends = BTreeSet::new();
        let mut next = 0;
        while next < line.len() {
            for v in topology.edges[line[next]].vertices {
                ends.insert(v);
                line.extend(at[&v].iter().copied().filter(|&e| seen.insert(e)));
            }
            next += 1;
        }
        // a tree has one corner more than edges: nothing runs round
        let dies_out = ends.len() == line.len() + 1;
        let faint =
            |&e: &usize| steps_off(e) < ROUGH_STEP || (dies_out && turns[e].abs() < crease_deg);
        if line.len() <= MOST_ROUGH && line.iter().all(faint) {
            rough.extend(line);
        }
    }
    rough
}

/// The normal of a facet by Max's weight at the corner.
fn weighted(mesh: &Mesh, r: &Spoke) -> Vector {
    let c = mesh.corners(r.triangle as usize);
    let (p, q) = (
        c[(r.corner + 1) % 3] - c[r.corner],
        c[(r.corner + 2) % 3] - c[r.corner],
    );
    let weight = p.norm_squared() * q.norm_squared();
    if weight > 0.0 {
        p.cross(&q) / weight
    } else {
        Vector::zeros()
    }
}

/// Facets that lean less off the mean normal at a corner meet in no tip, degrees.
const TIP_DEG: f64 = 10.0;
/// Facets around one corner that are looked at: as many as meet at the pole of a finely meshed sphere.
const MOST_AROUND: usize = 1024;

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

/// Joins triangles across flat edges, as long as they do not turn off the first: a fine ring of facets round a gentle slope
/// hardly turns from one to the next.
fn flats(
    mesh: &Mesh,
    topology: &Topology,
    flat_edge: &[bool],
    noise: &[f64],
) -> (Vec<u32>, Vec<Flat>) {
    let mut flat_of = vec![u32::MAX; mesh.triangles.len()];
    let mut flats: Vec<Flat> = Vec::new();
    let mut stack = Vec::new();
    // the largest first: their normals are the surest
    let mut order: Vec<(f64, usize)> = (0..mesh.triangles.len())
        .map(|t| (mesh.area(t), t))
        .collect();
    order.par_sort_unstable_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    for (_, start) in order {
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
        let in_line = |n: u32| {
            let normal = mesh.normal(n as usize).unwrap_or_default();
            let off = normal
                .cross(&flat.normal)
                .norm()
                .atan2(normal.dot(&flat.normal));
            off.to_degrees() <= FLAT_DEG + 2.0 * (noise[start] + noise[n as usize])
        };
        let mut sum = Vector::zeros();
        while let Some(t) = stack.pop() {
            flat.area += mesh.area(t as usize);
            sum += mesh.area_normal(t as usize);
            for (k, &e) in topology.sides[t as usize].iter().enumerate() {
                let next = topology.across(t, k).filter(|_| flat_edge[e as usize]);
                if let Some(n) = next
                    && (flat_of[n as usize] == number
                        || flat_of[n as usize] == u32::MAX && in_line(n))
                {
                    if flat_of[n as usize] == u32::MAX {
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
        flat.normal = sum.try_normalize(0.0).unwrap_or(flat.normal);
        flats.push(flat);
    }
    (flat_of, flats)
}
