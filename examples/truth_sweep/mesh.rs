//! Closed meshes of mold halves in double precision: corners lie on the true surface until the file rounds them.

use super::solid::filled;
use spade::Point2;
use std::collections::BTreeMap;

/// A place in the local frame: parting level z = 0, tool axis +Z, mm.
pub type Place = [f64; 3];

/// Places that round to the same multiple of this are one corner, mm: arithmetic strays by less, files by more.
const SAME: f64 = 1e-9;

/// Triangles over corners, counter-clockwise seen from the air.
#[derive(Debug, Clone, Default)]
pub struct Mesh {
    /// Corners, mm.
    pub points: Vec<Place>,
    /// Corners of each triangle.
    pub triangles: Vec<[usize; 3]>,
    /// Sides of a flat face crossed: what was drawn does not fit together.
    pub crossed: bool,
    index: BTreeMap<[i64; 3], usize>,
}

impl Mesh {
    fn corner(&mut self, p: Place) -> usize {
        let next = self.points.len();
        let k = *(self.index.entry(p.map(|c| (c / SAME).round() as i64))).or_insert(next);
        if k == next {
            self.points.push(p);
        }
        k
    }

    /// Adds a triangle; one with two equal corners is left out.
    pub fn triangle(&mut self, corners: [Place; 3]) {
        let t = corners.map(|p| self.corner(p));
        if t[0] != t[1] && t[1] != t[2] && t[2] != t[0] {
            self.triangles.push(t);
        }
    }

    /// Joins two closed rings of equally many places; seen from the air `upper` runs to the right above `lower`
    /// when `outward` is false.
    pub fn between(&mut self, upper: &[Place], lower: &[Place], skip: Option<usize>) {
        let n = upper.len();
        for k in (0..n).filter(|&k| Some(k) != skip) {
            let next = (k + 1) % n;
            let (a, b, c, d) = (upper[k], upper[next], lower[next], lower[k]);
            // the same diagonal everywhere would lean one way round the axis; either is on the surface
            if k % 2 == 0 {
                self.triangle([a, b, d]);
                self.triangle([b, c, d]);
            } else {
                self.triangle([a, b, c]);
                self.triangle([a, c, d]);
            }
        }
    }

    /// Fills a flat face square to `axis` inside the ring `outline` and outside `holes`, its air on the positive side
    /// of the axis or on the other. Rings may run either way.
    pub fn flat(&mut self, axis: usize, positive: bool, outline: &[Place], holes: &[Vec<Place>]) {
        let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
        let level = outline[0][axis];
        let (mut places, mut sides) = (Vec::new(), Vec::new());
        let rings = std::iter::once((outline, true)).chain(holes.iter().map(|h| (&h[..], false)));
        for (ring, counter_clockwise) in rings {
            let mut ring: Vec<[f64; 2]> = ring.iter().map(|p| [p[u], p[v]]).collect();
            ring.dedup();
            if ring.len() > 1 && ring[0] == ring[ring.len() - 1] {
                ring.pop();
            }
            if (signed_area(&ring) > 0.0) != counter_clockwise {
                ring.reverse();
            }
            let (first, n) = (places.len(), ring.len());
            places.extend(ring.iter().map(|p| Point2::new(p[0] + 0.0, p[1] + 0.0)));
            sides.extend((0..n).map(|k| [first + k, first + (k + 1) % n]));
        }
        let Some(within) = filled(places, &sides) else {
            self.crossed = true;
            return;
        };
        for triangle in within {
            let [a, b, c] = triangle.map(|p| {
                let mut q = [level; 3];
                (q[u], q[v]) = (p.x, p.y);
                q
            });
            self.triangle(if positive { [a, b, c] } else { [a, c, b] });
        }
    }

    /// The top face at z = 0 around `openings`, the four sides and the underside of a block.
    pub fn block(&mut self, lo: [f64; 2], hi: [f64; 2], bottom: f64, openings: &[Vec<Place>]) {
        let corner = |k: usize, z: f64| {
            let [x, y] = [
                [lo[0], lo[1]],
                [hi[0], lo[1]],
                [hi[0], hi[1]],
                [lo[0], hi[1]],
            ][k % 4];
            [x, y, z]
        };
        let ring = |z: f64| (0..4).map(|k| corner(k, z)).collect::<Vec<_>>();
        self.flat(2, true, &ring(0.0), openings);
        self.flat(2, false, &ring(bottom), &[]);
        for k in 0..4 {
            let (a, b) = (corner(k, bottom), corner(k + 1, bottom));
            let (c, d) = (corner(k + 1, 0.0), corner(k, 0.0));
            self.triangle([a, b, c]);
            self.triangle([a, c, d]);
        }
    }

    /// Volume enclosed, mm³.
    #[cfg(test)]
    pub fn volume(&self) -> f64 {
        let each = |t: &[usize; 3]| {
            let [a, b, c] = t.map(|k| self.points[k]);
            a[0] * (b[1] * c[2] - b[2] * c[1])
                + a[1] * (b[2] * c[0] - b[0] * c[2])
                + a[2] * (b[0] * c[1] - b[1] * c[0])
        };
        self.triangles.iter().map(each).sum::<f64>() / 6.0
    }

    /// Binary STL of the mesh laid by `to_file`, which gives mm, in units of `mm_per_unit`.
    pub fn stl(&self, mm_per_unit: f64, to_file: impl Fn(Place) -> Place) -> Vec<u8> {
        let stored: Vec<[f32; 3]> = (self.points.iter())
            .map(|&p| to_file(p).map(|c| (c / mm_per_unit) as f32))
            .collect();
        let mut bytes = vec![b' '; 80];
        bytes.extend((self.triangles.len() as u32).to_le_bytes());
        for t in &self.triangles {
            bytes.extend([0; 12]);
            bytes.extend(t.iter().flat_map(|&k| stored[k]).flat_map(f32::to_le_bytes));
            bytes.extend([0; 2]);
        }
        bytes
    }
}

fn signed_area(ring: &[[f64; 2]]) -> f64 {
    let next = ring.iter().cycle().skip(1);
    (ring.iter().zip(next))
        .map(|(p, q)| p[0] * q[1] - p[1] * q[0])
        .sum()
}
