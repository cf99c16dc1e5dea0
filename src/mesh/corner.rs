//! Unit normals of the surface at the corners of its facets.
//!
//! Facets joined around a corner by smooth edges, a ring, have one normal there. Corners are gone through once, each with all
//! the facets at it: for 5 million triangles with noise a tenth of the time of walking around from each facet anew.

use super::crease::{Creases, FAR_WIDER, WIDER};
use super::flats::{Facets, Flats};
use super::{Mesh, Topology, Vector};
use nalgebra::Vector3;
use rayon::prelude::*;

/// Facets that lean less off the mean normal at a corner meet in no tip, degrees.
const TIP_DEG: f64 = 10.0;
/// Corners of the mesh that one task takes.
const CHUNK: usize = 1 << 12;
/// Of more facets than this at a corner neighbours are found by sorting.
const FEW: usize = 16;
const NONE: u32 = u32::MAX;
/// Nor do sides that follow each other along one differ by this much in length,
const FAR_LONGER: f64 = 4.0;
/// if the cosine of the angle between them is less than minus this.
const OPPOSITE: f64 = 0.7;

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

/// The facets at each corner of a mesh.
struct Corners {
    /// Those of corner `v` are `members[starts[v]..starts[v + 1]]`, ascending: three times the triangle plus which of its corners.
    starts: Vec<u32>,
    members: Vec<u32>,
}

impl Corners {
    fn of(mesh: &Mesh) -> Corners {
        let corners = mesh.triangles.as_flattened();
        // shifted by two while counting, by one while filling
        let mut starts = vec![0u32; mesh.vertices.len() + 2];
        for &v in corners {
            starts[v as usize + 2] += 1;
        }
        for v in 2..starts.len() {
            starts[v] += starts[v - 1];
        }
        let mut members = vec![0; corners.len()];
        for (c, &v) in corners.iter().enumerate() {
            let free = &mut starts[v as usize + 1];
            members[*free as usize] = c as u32;
            *free += 1;
        }
        Corners { starts, members }
    }

    fn at(&self, v: usize) -> &[u32] {
        &self.members[self.starts[v] as usize..self.starts[v + 1] as usize]
    }
}

/// What is found at one corner, and room to find it.
#[derive(Default)]
struct Fan {
    /// For each facet at the corner its side out of the corner and its side into it.
    sides: Vec<[u32; 2]>,
    /// For each the one beyond its side into the corner, and beyond that out of it.
    links: Vec<[u32; 2]>,
    /// For each the normal, and whether what lies all around is known.
    normals: Vec<(Vector, bool)>,
    done: Vec<bool>,
    sorted: Vec<(u32, u32)>,
    ring: Vec<Spoke>,
    splits: Vec<Option<bool>>,
    /// Places of the ring's facets among those at the corner.
    places: Vec<u32>,
    /// Rings of which one end is unknown: where they start.
    unknown: Vec<u32>,
}

/// What normals at corners are found from.
struct Reading<'a> {
    creases: &'a Creases,
    mesh: &'a Mesh,
    topology: &'a Topology,
    facets: &'a Facets<'a>,
    flats: &'a Flats,
    corners: Corners,
}

/// For each triangle the normals at its corners: over the facets joined to it around the corner by smooth
/// edges, weighted so that they are exact where the corners lie on a sphere or along a cylinder (N. Max, "Weights for
/// computing vertex normals from facet normals", Journal of Graphics Tools 4(2), 1–6, 1999; cited from memory). Where
/// a curved surface runs out into a flat one, the flat one's. Where it ends, what lies beyond is unknown, and the
/// normals of the corners next to it are mirrored instead: those at the ends of a chord of a circle are mirror images.
/// A flat one has one normal: slivers in it are tilted by their corners' rounding.
pub(super) fn corner_normals(
    creases: &Creases,
    facets: &Facets,
    flats: &Flats,
) -> Vec<[Vector3<f32>; 3]> {
    let &Facets { mesh, topology, .. } = facets;
    let reading = Reading {
        creases,
        mesh,
        topology,
        facets,
        flats,
        corners: Corners::of(mesh),
    };
    let corners = &reading.corners;
    let mut found = vec![Vector3::zeros(); corners.members.len()];
    let mut rest = found.as_mut_slice();
    let mut jobs = Vec::new();
    for first in (0..mesh.vertices.len()).step_by(CHUNK) {
        let end = (first + CHUNK).min(mesh.vertices.len());
        let (mine, others) =
            rest.split_at_mut((corners.starts[end] - corners.starts[first]) as usize);
        rest = others;
        jobs.push((first..end, mine));
    }
    jobs.into_par_iter().for_each_init(
        || (Fan::default(), Fan::default()),
        |(fan, aside), (range, mine)| {
            let mut rest = mine;
            for v in range {
                let normals = reading.normals_at(v, fan, aside);
                let (mine, others) = std::mem::take(&mut rest).split_at_mut(normals.len());
                rest = others;
                for (mine, (normal, _)) in mine.iter_mut().zip(normals) {
                    *mine = normal.cast();
                }
            }
        },
    );
    let at = |c: u32, v: u32| {
        let place = corners.at(v as usize).binary_search(&c).unwrap_or_default();
        found[corners.starts[v as usize] as usize + place]
    };
    mesh.triangles
        .par_iter()
        .enumerate()
        .with_min_len(1024)
        .map(|(t, &[a, b, c])| {
            let first = 3 * t as u32;
            [at(first, a), at(first + 1, b), at(first + 2, c)]
        })
        .collect()
}

impl Reading<'_> {
    fn own(&self, t: u32) -> Vector {
        self.facets.normals[t as usize].unwrap_or_default()
    }

    /// The normal of the flat surface that triangle `t` belongs to.
    fn flat(&self, t: u32) -> Vector {
        *self.flats.normal(self.flats.of[t as usize])
    }

    /// The normal at corner `v` of each facet there.
    fn normals_at<'f>(&self, v: usize, fan: &'f mut Fan, aside: &mut Fan) -> &'f [(Vector, bool)] {
        self.known_at(v, fan);
        while let Some(start) = fan.unknown.pop() {
            self.take_ring(v, fan, start as usize);
            if let Some(normal) = self.mirrored(&fan.ring, aside) {
                for &i in &fan.places {
                    let t = self.corners.at(v)[i as usize] / 3;
                    if !self.creases.plane[t as usize] {
                        fan.normals[i as usize].0 = normal;
                    }
                }
            }
        }
        &fan.normals
    }

    /// The normals that the facets around corner `v` tell, put into `fan`.
    fn known_at(&self, v: usize, fan: &mut Fan) {
        let members = self.corners.at(v);
        self.link(members, fan);
        fan.normals.clear();
        fan.done.clear();
        fan.unknown.clear();
        for &m in members {
            let plane = self.creases.plane[m as usize / 3];
            let own = if plane {
                self.flat(m / 3)
            } else {
                Vector::zeros()
            };
            fan.normals.push((own, true));
            fan.done.push(plane);
        }
        for i in 0..members.len() {
            if fan.done[i] {
                continue;
            }
            let closed = self.take_ring(v, fan, i);
            let (normal, known) = self.ring_normal(&mut fan.ring, closed, &mut fan.splits);
            for &place in &fan.places {
                let place = place as usize;
                let own = members[place] / 3;
                if !self.creases.plane[own as usize] {
                    fan.done[place] = true;
                    fan.normals[place] = (normal.unwrap_or_else(|| self.own(own)), known);
                }
            }
            if !known {
                fan.unknown.push(i as u32);
            }
        }
    }

    /// Finds which of the facets `members` at a corner follow each other across smooth edges.
    fn link(&self, members: &[u32], fan: &mut Fan) {
        fan.sides.clear();
        fan.links.clear();
        for &m in members {
            let sides = self.topology.sides[m as usize / 3];
            let k = m as usize % 3;
            fan.sides.push([sides[k], sides[(k + 2) % 3]]);
            fan.links.push([NONE; 2]);
        }
        let few = members.len() <= FEW;
        fan.sorted.clear();
        if !few {
            let out = fan.sides.iter().enumerate();
            fan.sorted
                .extend(out.map(|(i, sides)| (sides[0], i as u32)));
            fan.sorted.sort_unstable();
        }
        for i in 0..members.len() {
            let into = fan.sides[i][1];
            if !self.creases.smooth[into as usize] {
                continue;
            }
            // the neighbour runs along the edge the other way, out of the corner
            let before = if few {
                fan.sides.iter().position(|sides| sides[0] == into)
            } else {
                let at = fan.sorted.partition_point(|&(e, _)| e < into);
                let found = fan.sorted.get(at).filter(|(e, _)| *e == into);
                found.map(|&(_, j)| j as usize)
            };
            if let Some(j) = before {
                fan.links[i][0] = j as u32;
                fan.links[j][1] = i as u32;
            }
        }
    }

    /// Puts the ring of facet `i` of those at corner `v` in order into `fan`; true if it closes around the corner. A ring that
    /// does not close begins at its end, one that does with `i`.
    fn take_ring(&self, v: usize, fan: &mut Fan, i: usize) -> bool {
        let mut start = i;
        let closed = loop {
            match fan.links[start][0] {
                NONE => break false,
                back if back as usize == i => break true,
                back => start = back as usize,
            }
        };
        let mut now = if closed { i } else { start };
        let first = now;
        fan.ring.clear();
        fan.places.clear();
        loop {
            let m = self.corners.at(v)[now];
            let next = fan.links[now][1];
            fan.places.push(now as u32);
            fan.ring.push(Spoke {
                triangle: m / 3,
                corner: m as usize % 3,
                onward: (next != NONE).then_some(fan.sides[now][0]),
                narrow: false,
            });
            if next == NONE || next as usize == first {
                return closed;
            }
            now = next as usize;
        }
    }

    /// The normal that a ring's facets tell, `None` for each facet's own; and whether what lies all around is known.
    fn ring_normal(
        &self,
        ring: &mut [Spoke],
        closed: bool,
        splits: &mut Vec<Option<bool>>,
    ) -> (Option<Vector>, bool) {
        let split = self.mark_narrow(ring, closed, splits);
        let all_narrow = ring.iter().all(|r| r.narrow);
        // a long strip beside a round end is the wide one at their edge, but goes on beyond the rim no less than the end does
        let mut ends = [ring.first(), ring.last()].into_iter().flatten();
        let bends_on = |r: &Spoke| !r.narrow && !self.creases.plane[r.triangle as usize];
        let known = closed || (split && !all_narrow && !ends.any(bends_on));
        let speaks = ring.iter().filter(|r| all_narrow || !r.narrow);
        let says = |r: &Spoke| {
            let own = weighted(self.mesh, r);
            if self.creases.plane[r.triangle as usize] {
                self.flat(r.triangle) * own.norm()
            } else {
                own
            }
        };
        let sum: Vector = speaks.map(says).sum();
        let Some(normal) = sum.try_normalize(0.0) else {
            return (None, known);
        };
        let normal = self.square_to_lone(ring, &normal);
        // at a rim, coarse facets lean off each other as well and end across from there
        if closed && ring.iter().all(|r| self.is_tip(r, &normal)) {
            return (None, true);
        }
        (Some(normal), known)
    }

    /// `normal` turned square to a side at the corner that runs on straight where all beyond it is far shorter: along a facet as
    /// long as that the surface does not bend, or a mesh made to a tolerance had cut it up. What bends begins at the corner.
    fn square_to_lone(&self, ring: &[Spoke], normal: &Vector) -> Vector {
        let sides = |r: &Spoke| {
            let corners = self.mesh.corners(r.triangle as usize);
            [1, 2].map(|k| corners[(r.corner + k) % 3] - corners[r.corner])
        };
        let (mut least, mut most) = (f64::INFINITY, 0.0_f64);
        for length in ring.iter().flat_map(&sides).map(|s| s.norm_squared()) {
            (least, most) = (least.min(length), most.max(length));
        }
        if most < FAR_LONGER * FAR_LONGER * least {
            return *normal;
        }
        let lone = |d: &Vector| {
            let opposite = |s: &Vector| s.dot(d) < -OPPOSITE * s.norm() * d.norm();
            let mut beyond = ring.iter().flat_map(&sides).filter(opposite);
            // as far as it runs their way: a diagonal is longer than the side beside it
            let far = |s: Vector| FAR_LONGER * s.norm_squared() < -s.dot(d);
            beyond.next().is_some_and(far) && beyond.all(far)
        };
        // the shortest: a diagonal beside it is longer
        let lone = (ring.iter().flat_map(sides).filter(lone))
            .min_by(|a, b| a.norm_squared().total_cmp(&b.norm_squared()));
        let Some(along) = lone.and_then(|d| d.try_normalize(0.0)) else {
            return *normal;
        };
        (normal - along * normal.dot(&along))
            .try_normalize(0.5)
            .unwrap_or(*normal)
    }

    /// The normal at a ring that ends, from those at the far ends of its sides.
    fn mirrored(&self, ring: &[Spoke], aside: &mut Fan) -> Option<Vector> {
        let along = rim_direction(self.mesh, self.topology, ring);
        // the chord most nearly square to the rim: where the surface bends along the rim only, mirrored at a
        // slanting chord its normal would lean
        let mut squarest: Option<(f64, Vector, (u32, usize))> = None;
        for r in ring {
            let corners = self.mesh.corners(r.triangle as usize);
            for far in [(r.corner + 1) % 3, (r.corner + 2) % 3] {
                let chord = (corners[far] - corners[r.corner]).try_normalize(0.0);
                let Some(chord) = chord else {
                    continue;
                };
                let slant = chord.dot(&along).abs();
                if squarest.is_none_or(|s| slant.total_cmp(&s.0).is_lt()) {
                    squarest = Some((slant, chord, (r.triangle, far)));
                }
            }
        }
        let (_, chord, (t, far)) = squarest?;
        let (n, known) = self.known_of(t, far, aside);
        if !known {
            // one facet wide, from rim to rim
            return None;
        }
        (n - chord * (2.0 * n.dot(&chord))).try_normalize(0.5)
    }

    /// What the facets around corner `k` of triangle `t` tell of its normal there.
    fn known_of(&self, t: u32, k: usize, fan: &mut Fan) -> (Vector, bool) {
        if self.creases.plane[t as usize] {
            return (self.flat(t), true);
        }
        let v = self.mesh.triangles[t as usize][k] as usize;
        self.known_at(v, fan);
        let place = self.corners.at(v).binary_search(&(3 * t + k as u32));
        fan.normals[place.unwrap_or_default()]
    }

    /// Whether a facet comes to a point at its corner, as those around the tip of a cone do: it leans off the mean
    /// normal there, while across its far side the surface goes on straighter.
    fn is_tip(&self, r: &Spoke, normal: &Vector) -> bool {
        let cosine = self.own(r.triangle).dot(normal);
        if cosine > 0.99 {
            return false; // 8.1°: most facets, told without the arc cosine
        }
        let lean = cosine.clamp(-1.0, 1.0).acos().to_degrees();
        let far = self.topology.sides[r.triangle as usize][(r.corner + 1) % 3] as usize;
        let onward = if self.creases.smooth[far] {
            f64::from(self.creases.turn_deg[far].abs())
        } else {
            0.0
        };
        lean > TIP_DEG && onward < 0.5 * lean
    }

    /// Marks in a ring what lies on the narrow side of an edge where a curved surface runs out into a wide one, up to the next
    /// such edge; true if there is any. Where the turn is lost in the coordinates' rounding, as beside the gentle part of a
    /// rounded end, facets of unlike width tell.
    fn mark_narrow(
        &self,
        ring: &mut [Spoke],
        closed: bool,
        splits: &mut Vec<Option<bool>>,
    ) -> bool {
        let n = ring.len();
        let edges = if closed { n } else { n - 1 };
        // of the edge after the i-th facet: whether that facet is the narrow one, if one is
        let narrow_first = |i: usize| {
            let e = ring[i].onward? as usize;
            let [own, next] = [ring[i].triangle, ring[(i + 1) % n].triangle];
            match self.creases.share[e] {
                // the narrow one carries the whole turn
                [1.0, _] => Some(self.topology.edges[e].triangles.0 == own),
                [_, 1.0] => Some(self.topology.edges[e].triangles.0 != own),
                share => {
                    let [own, next] = [own, next].map(|t| self.facets.areas[t as usize]);
                    let wider = if share == [0.0; 2] { WIDER } else { FAR_WIDER };
                    (own > wider * next || next > wider * own).then_some(own < next)
                }
            }
        };
        splits.clear();
        splits.extend((0..edges).map(narrow_first));
        if splits.iter().all(Option::is_none) {
            return false;
        }
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
        true
    }
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
