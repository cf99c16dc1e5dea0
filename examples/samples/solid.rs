//! A closed triangle mesh in the making: swept strips, flat faces with holes, binary STL.

use spade::{ConstrainedDelaunayTriangulation, Point2, Triangulation};
use std::collections::{BTreeMap, BTreeSet};

/// A place in space, mm.
pub type Place3 = [f64; 3];

/// Triangles over corners that are stored, and told apart, as the file's 32-bit numbers.
#[derive(Debug, Clone, Default)]
pub struct Solid {
    /// Corners, mm.
    pub points: Vec<[f32; 3]>,
    /// Corners of each triangle, counter-clockwise seen from outside the material.
    pub triangles: Vec<[u32; 3]>,
    index: BTreeMap<[u32; 3], u32>,
}

/// A flat face square to an axis of the model.
#[derive(Debug, Clone, Copy)]
pub struct Facing {
    /// Axis of the outward normal: 0, 1, 2 for X, Y, Z.
    pub axis: usize,
    /// Whether the normal points along the axis (else against it).
    pub positive: bool,
}

impl Solid {
    /// Adds a triangle; one with two equal corners is left out.
    pub fn triangle(&mut self, corners: [Place3; 3]) {
        let t = corners.map(|p| self.corner(p));
        if t[0] != t[1] && t[1] != t[2] && t[2] != t[0] {
            self.triangles.push(t);
        }
    }

    fn corner(&mut self, p: Place3) -> u32 {
        // adding 0 turns −0 into 0, so that both are one corner
        let stored = p.map(|c| c as f32 + 0.0);
        let next = self.points.len() as u32;
        let k = *self.index.entry(stored.map(f32::to_bits)).or_insert(next);
        if k == next {
            self.points.push(stored);
        }
        k
    }

    /// Joins two rows of places that run side by side, each evenly spaced over the same span.
    ///
    /// Seen from the side that the triangles face, `first` runs to the right above `second`;
    /// with `turned` they face the other way.
    pub fn strip(&mut self, first: &[Place3], second: &[Place3], turned: bool) {
        let (n, m) = (first.len() - 1, second.len() - 1);
        let (mut i, mut j) = (0, 0);
        while i < n || j < m {
            // the row whose next place comes earlier steps on
            let corners = if j == m || (i < n && (i + 1) * m <= (j + 1) * n) {
                i += 1;
                [first[i - 1], second[j], first[i]]
            } else {
                j += 1;
                [first[i], second[j - 1], second[j]]
            };
            self.triangle(if turned {
                [corners[0], corners[2], corners[1]]
            } else {
                corners
            });
        }
    }

    /// Fills a flat face inside `outline` and outside `holes`; all run in either direction and do not touch.
    ///
    /// # Panics
    /// If the loops cross each other.
    pub fn flat(&mut self, facing: Facing, outline: &[Place3], holes: &[Vec<Place3>]) {
        let (u, v) = ((facing.axis + 1) % 3, (facing.axis + 2) % 3);
        let level = outline[0][facing.axis];
        let stored = |p: &Place3| [u, v].map(|k| f64::from(p[k] as f32));
        let mut places: Vec<Point2<f64>> = Vec::new();
        let mut sides: Vec<[usize; 2]> = Vec::new();
        let loops = std::iter::once((outline, true)).chain(holes.iter().map(|h| (&h[..], false)));
        for (ring, counter_clockwise) in loops {
            let mut ring: Vec<[f64; 2]> = ring.iter().map(stored).collect();
            if (signed_area(&ring) > 0.0) != counter_clockwise {
                ring.reverse();
            }
            let first = places.len();
            let n = ring.len();
            places.extend(ring.iter().map(|p| Point2::new(p[0], p[1])));
            sides.extend((0..n).map(|k| [first + k, first + (k + 1) % n]));
        }
        for [a, b, c] in filled(places, &sides).expect("finite places and sides that do not cross")
        {
            let back = |p: Point2<f64>| {
                let mut q = [level; 3];
                (q[u], q[v]) = (p.x, p.y);
                q
            };
            let (a, b, c) = (back(a), back(b), back(c));
            self.triangle(if facing.positive {
                [a, b, c]
            } else {
                [a, c, b]
            });
        }
    }

    /// The four sides and the underside of a block whose open face at `z` = 0 is made elsewhere.
    /// `ends` are extra places on the top edges of the sides at smallest and largest X, in the order of their Y.
    pub fn block_sides(&mut self, lo: [f64; 2], hi: [f64; 2], bottom: f64, ends: [&[Place3]; 2]) {
        for (x, end, positive) in [(lo[0], ends[0], false), (hi[0], ends[1], true)] {
            let mut ring = vec![[x, lo[1], bottom], [x, lo[1], 0.0]];
            ring.extend_from_slice(end);
            ring.extend([[x, hi[1], 0.0], [x, hi[1], bottom]]);
            self.flat(Facing { axis: 0, positive }, &ring, &[]);
        }
        for (y, positive) in [(lo[1], false), (hi[1], true)] {
            let ring = [
                [lo[0], y, bottom],
                [lo[0], y, 0.0],
                [hi[0], y, 0.0],
                [hi[0], y, bottom],
            ];
            self.flat(Facing { axis: 1, positive }, &ring, &[]);
        }
        let ring = [
            [lo[0], lo[1], bottom],
            [hi[0], lo[1], bottom],
            [hi[0], hi[1], bottom],
            [lo[0], hi[1], bottom],
        ];
        self.flat(
            Facing {
                axis: 2,
                positive: false,
            },
            &ring,
            &[],
        );
    }

    /// The solid moved by `f`, an affine map; `mirrored` says that it turns left into right.
    pub fn mapped(&self, mirrored: bool, f: impl Fn(Place3) -> Place3) -> Solid {
        let mut out = Solid::default();
        for t in &self.triangles {
            let [a, b, c] = t.map(|k| f(self.points[k as usize].map(f64::from)));
            out.triangle(if mirrored { [a, c, b] } else { [a, b, c] });
        }
        out
    }
}

/// Binary STL of `solids`, one after the other; coordinates are divided by `mm_per_unit`.
pub fn binary_stl(title: &str, mm_per_unit: f64, solids: &[&Solid]) -> Vec<u8> {
    let count: usize = solids.iter().map(|s| s.triangles.len()).sum();
    let mut bytes = title.as_bytes().to_vec();
    assert!(bytes.len() <= 80, "STL headers have 80 bytes");
    bytes.resize(80, b' ');
    bytes.extend((count as u32).to_le_bytes());
    for solid in solids {
        for t in &solid.triangles {
            let corners =
                t.map(|k| solid.points[k as usize].map(|c| (f64::from(c) / mm_per_unit) as f32));
            let numbers = std::iter::once(normal(corners)).chain(corners);
            bytes.extend(numbers.flatten().flat_map(f32::to_le_bytes));
            bytes.extend([0, 0]);
        }
    }
    bytes
}

fn normal(corners: [[f32; 3]; 3]) -> [f32; 3] {
    let [a, b, c] = corners.map(|p| p.map(f64::from));
    let d = |p: Place3| [p[0] - a[0], p[1] - a[1], p[2] - a[2]];
    let (u, v) = (d(b), d(c));
    let n = [
        u[1] * v[2] - u[2] * v[1],
        u[2] * v[0] - u[0] * v[2],
        u[0] * v[1] - u[1] * v[0],
    ];
    let length = (n[0] * n[0] + n[1] * n[1] + n[2] * n[2]).sqrt();
    n.map(|c| (c / length) as f32 + 0.0)
}

fn signed_area(ring: &[[f64; 2]]) -> f64 {
    let next = ring.iter().cycle().skip(1);
    ring.iter()
        .zip(next)
        .map(|(p, q)| p[0] * q[1] - p[1] * q[0])
        .sum()
}

/// Constrained Delaunay triangles left of the directed `sides`, counter-clockwise; `None` where sides cross.
pub fn filled(places: Vec<Point2<f64>>, sides: &[[usize; 2]]) -> Option<Vec<[Point2<f64>; 3]>> {
    let mut crossed = false;
    let cdt = ConstrainedDelaunayTriangulation::<Point2<f64>>::try_bulk_load_cdt(
        places,
        sides.to_vec(),
        |_| crossed = true,
    )
    .ok()
    .filter(|_| !crossed)?;
    let directed: BTreeSet<[usize; 2]> = sides.iter().copied().collect();
    let faces: Vec<_> = cdt.inner_faces().collect();
    let number: BTreeMap<usize, usize> = faces
        .iter()
        .enumerate()
        .map(|(k, f)| (f.fix().index(), k))
        .collect();
    let mut inside = vec![false; faces.len()];
    // triangles beside a side start the fill, which then never crosses a side: no centroid has to be
    // judged, so slivers cannot be misjudged
    let mut open: Vec<usize> = (0..faces.len())
        .filter(|&k| {
            faces[k]
                .adjacent_edges()
                .iter()
                .any(|e| directed.contains(&[e.from().fix().index(), e.to().fix().index()]))
        })
        .collect();
    while let Some(k) = open.pop() {
        if std::mem::replace(&mut inside[k], true) {
            continue;
        }
        for e in faces[k].adjacent_edges() {
            let across = e.rev().face().fix().index();
            if !e.is_constraint_edge()
                && let Some(&n) = number.get(&across)
            {
                open.push(n);
            }
        }
    }
    let within = faces
        .iter()
        .zip(inside)
        .filter(|(_, kept)| *kept)
        .map(|(f, _)| f.vertices().map(|v| v.position()));
    Some(within.collect())
}
