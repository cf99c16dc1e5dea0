//! Corners joined around a vertex by smooth edges, and the surface's normal there.

use crate::mesh::{Creases, Mesh, Sets, Topology, Vector};
use nalgebra::Vector2;

/// Fans at the surface's end that are wider than this have facets on both sides, degrees.
const TWO_SIDED_DEG: f64 = 215.0;
/// Fans narrower than this lie in a corner: one-sided in both directions, degrees.
const CORNER_DEG: f64 = 150.0;
/// Rounds in which normals at the surface's end are set by those around.
const ROUNDS: usize = 3;

/// The fans of a mesh.
pub(super) struct Fans {
    /// The fan of each triangle's corners.
    pub(super) of_corner: Vec<[u32; 3]>,
    list: Vec<Fan>,
    /// Whether the surface ends at each triangle's sides.
    ends: Vec<[bool; 3]>,
}

/// Corners joined around a vertex by smooth edges.
struct Fan {
    /// The vertex.
    vertex: u32,
    /// First mean normal.
    mean: Vector,
    /// Its angle, radians.
    angle: f64,
    /// Whether it ends at an edge.
    open: bool,
    /// Area and normal of the largest flat that sets its normal.
    flat: Option<(f64, Vector)>,
}

impl Fan {
    /// Whether its facets lie on one side of its vertex, and no flat sets its normal.
    fn one_sided(&self) -> bool {
        self.open && self.flat.is_none() && self.angle <= TWO_SIDED_DEG.to_radians()
    }

    /// Whether they lie on one side of it in both directions.
    fn in_corner(&self) -> bool {
        self.open && self.flat.is_none() && self.angle < CORNER_DEG.to_radians()
    }

    /// Takes in the corner between sides `d` and `e`.
    fn widen(&mut self, d: &Vector, e: &Vector) {
        let weight = d.norm_squared() * e.norm_squared();
        if weight > 0.0 {
            self.mean += d.cross(e) / weight;
        }
        self.angle += d.cross(e).norm().atan2(d.dot(e));
    }

    /// Runs out into a flat facet of this area and normal.
    fn run_out(&mut self, area: f64, normal: &Vector) {
        let flat = self.flat.get_or_insert((0.0, Vector::zeros()));
        if area > flat.0 {
            *flat = (area, *normal);
        }
    }

    /// The flat's normal, or else the mean.
    fn normal(&self) -> Vector {
        match self.flat {
            Some((_, normal)) => normal,
            None => self.mean.try_normalize(1e-12).unwrap_or_default(),
        }
    }
}

/// What lies beside each corner, number 3 t + k that of triangle t.
struct Corners {
    /// Those joined by smooth edges.
    sets: Sets,
    /// Whether the surface ends beside it.
    ends: Vec<bool>,
    /// Whether its triangle is flat and a curved surface runs out into it beside it.
    flat: Vec<bool>,
}

impl Corners {
    fn of(mesh: &Mesh, topology: &Topology, creases: &Creases) -> Corners {
        let corner = |t: u32, v: u32| {
            let k = mesh.triangles[t as usize].iter().position(|&c| c == v);
            k.map(|k| 3 * t + k as u32)
        };
        let count = 3 * mesh.triangles.len();
        let mut corners = Corners {
            sets: Sets((0..count as u32).collect()),
            ends: vec![false; count],
            flat: vec![false; count],
        };
        for (e, edge) in topology.edges.iter().enumerate() {
            let (a, b) = edge.triangles;
            let across = b.filter(|_| creases.smooth[e]);
            for v in edge.vertices {
                if let Some(b) = across {
                    if let (Some(ca), Some(cb)) = (corner(a, v), corner(b, v)) {
                        corners.sets.join(ca, cb);
                        let [sa, sb] = creases.share[e];
                        corners.flat[ca as usize] |= sa == 0.0 && sb > 0.0;
                        corners.flat[cb as usize] |= sb == 0.0 && sa > 0.0;
                    }
                    continue;
                }
                for c in [Some(a), b]
                    .into_iter()
                    .flatten()
                    .filter_map(|t| corner(t, v))
                {
                    corners.ends[c as usize] = true;
                }
            }
        }
        corners
    }
}

impl Fans {
    /// The fans around the corners of `mesh`, whose triangles have the normals `facets`.
    pub(super) fn of(
        mesh: &Mesh,
        topology: &Topology,
        creases: &Creases,
        facets: &[Vector],
    ) -> Fans {
        let mut corners = Corners::of(mesh, topology, creases);
        let mut number = vec![u32::MAX; corners.ends.len()];
        let mut of_corner = vec![[0; 3]; mesh.triangles.len()];
        let mut list: Vec<Fan> = Vec::new();
        for (t, facet) in facets.iter().enumerate() {
            let p = mesh.corners(t);
            for k in 0..3 {
                let c = 3 * t + k;
                let first = corners.sets.find(c as u32) as usize;
                if number[first] == u32::MAX {
                    number[first] = list.len() as u32;
                    list.push(Fan {
                        vertex: mesh.triangles[t][k],
                        mean: Vector::zeros(),
                        angle: 0.0,
                        open: false,
                        flat: None,
                    });
                }
                of_corner[t][k] = number[first];
                let fan = &mut list[number[first] as usize];
                fan.widen(&(p[(k + 1) % 3] - p[k]), &(p[(k + 2) % 3] - p[k]));
                fan.open |= corners.ends[c];
                if corners.flat[c] {
                    fan.run_out(mesh.area(t), facet);
                }
            }
        }
        for fan in &mut list {
            fan.mean = fan.normal();
        }
        let ends = |sides: &[u32; 3]| sides.map(|e| !creases.smooth[e as usize]);
        Fans {
            of_corner,
            list,
            ends: topology.sides.iter().map(ends).collect(),
        }
    }

    /// The fans' normals, those at the surface's end set by chords.
    pub(super) fn normals(&self, mesh: &Mesh, facets: &[Vector]) -> Vec<Vector> {
        let mut normals: Vec<Vector> = self.list.iter().map(|f| f.mean).collect();
        let sides = self.one_sided();
        let level = self.level(facets);
        let in_corner = |f: usize| self.list[f].in_corner();
        for _ in 0..ROUNDS {
            for in_corners in [false, true] {
                for group in sides.chunk_by(|a, b| a.0 == b.0) {
                    let f = group[0].0 as usize;
                    if in_corner(f) != in_corners || level[f] {
                        continue;
                    }
                    let place = |f: usize| mesh.vertices[self.list[f].vertex as usize];
                    let chords: Vec<Chord> = group
                        .iter()
                        .filter_map(|&(_, o, end)| {
                            let o = o as usize;
                            Some(Chord {
                                way: (place(o) - place(f)).try_normalize(0.0)?,
                                normal: normals[o],
                                end,
                                // what is in a corner is set last, by what is not
                                counts: in_corners || !in_corner(o),
                            })
                        })
                        .collect();
                    normals[f] = by_chords(&normals[f], &chords, in_corners);
                }
            }
        }
        normals
    }

    /// Sides of the facets of fans with facets on one side only: from that fan, to which, and whether the surface ends there.
    fn one_sided(&self) -> Vec<(u32, u32, bool)> {
        let mut sides = Vec::new();
        for (three, ends) in self.of_corner.iter().zip(&self.ends) {
            for k in 0..3 {
                if !self.list[three[k] as usize].one_sided() {
                    continue;
                }
                let (next, last) = ((k + 1) % 3, (k + 2) % 3);
                sides.push((three[k], three[next], ends[k]));
                sides.push((three[k], three[last], ends[last]));
            }
        }
        sides.sort_unstable();
        sides.dedup();
        sides
    }

    /// Fans whose own facets, and those of the fans beside them, do not turn: nothing is to be set there.
    fn level(&self, facets: &[Vector]) -> Vec<bool> {
        let mut level = vec![true; self.list.len()];
        let turns: Vec<bool> = self
            .of_corner
            .iter()
            .zip(facets)
            .map(|(three, n)| {
                three
                    .iter()
                    .any(|&f| (self.list[f as usize].mean - n).norm() > 1e-6)
            })
            .collect();
        for (three, turns) in self.of_corner.iter().zip(turns) {
            if turns {
                three.iter().for_each(|&f| level[f as usize] = false);
            }
        }
        level
    }
}

/// A chord of the surface, from the corner whose normal is sought.
struct Chord {
    /// Its direction.
    way: Vector,
    /// The normal at its other end.
    normal: Vector,
    /// Whether the surface ends along it.
    end: bool,
    /// Whether that normal is to be relied on.
    counts: bool,
}

/// The normal near `mean` for which each chord meets the surface alike at both ends, as nearly as can be: changed only
/// in the direction in which the chords lie on one side, or in every direction in a corner.
fn by_chords(mean: &Vector, chords: &[Chord], in_corner: bool) -> Vector {
    // along the end, from one of its sides to the other
    let mut ends = chords.iter().filter(|c| c.end).map(|c| c.way);
    let (Some(first), Some(second)) = (ends.next(), ends.next()) else {
        return *mean;
    };
    let along = second - first;
    let Some(v) = (along - mean * mean.dot(&along)).try_normalize(1e-6) else {
        return *mean;
    };
    let u = v.cross(mean);
    let mut normal = nalgebra::Matrix2::identity() * 1e-6;
    let mut right = Vector2::zeros();
    for c in chords.iter().filter(|c| c.counts) {
        let sideways = if in_corner { c.way.dot(&v) } else { 0.0 };
        let row = Vector2::new(c.way.dot(&u), sideways);
        normal += row * row.transpose();
        right -= row * (mean + c.normal).dot(&c.way);
    }
    let Some(inverse) = normal.try_inverse() else {
        return *mean;
    };
    let x = inverse * right;
    (mean + u * x.x + v * x.y)
        .try_normalize(1e-9)
        .unwrap_or(*mean)
}
