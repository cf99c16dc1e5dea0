//! Lowering a rotating body onto a mesh, exactly, at any place.
//!
//! The lowest height at (x, y) is the largest of *height of q + rise at the plan distance of q*
//! over all surface points q within the body's reach. That sum is concave on each triangle, so it
//! is largest at the contact with the facet's plane if that lies in the facet, else on a side,
//! and there at the contact with the side's line, moved to the nearest place of the side. Rims
//! of flats and cones need no case of their own: on a facet the sum is largest in the uphill
//! direction, or where a side cuts the rim.

use super::Profile;
use super::profile::Side;
use super::waiting::{Waiting, quarters};
use crate::mesh::{Mesh, Point, Vector};

/// A contact of a lowered body.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Contact {
    /// Height of the body's reference point, mm.
    pub z: f64,
    /// The triangle touched.
    pub triangle: u32,
    /// The place touched.
    pub point: Point,
}

/// A mesh made ready for lowering bodies onto it along −Z.
///
/// Triangles lie in square buckets of the tool plane; above these, each level of squares twice as
/// large holds the greatest height below it, so that a search leaves out what cannot be touched.
#[derive(Debug)]
pub struct Dropper<'a> {
    mesh: &'a Mesh,
    origin: [f64; 2],
    side: f64,
    /// Finest level first; the last has one square.
    levels: Vec<Level>,
    /// First entry of each bucket, and the end.
    starts: Vec<u32>,
    entries: Vec<Entry>,
}

#[derive(Debug)]
struct Level {
    nx: usize,
    ny: usize,
    /// Greatest height in each square; −∞ where there is nothing.
    tops: Vec<f64>,
}

#[derive(Debug, Clone, Copy)]
struct Entry {
    triangle: u32,
    /// No point of the triangle in this bucket is higher.
    top: f64,
}

/// Most buckets each way.
const MOST_BUCKETS: usize = 2048;
/// Squares that may wait in a search: each level above the finest leaves three of four behind.
const MOST_WAITING: usize = 3 * (MOST_BUCKETS.ilog2() as usize + 1) + 1;

/// Facets steeper than this (vertical part of the unit normal) are left to their sides, which
/// bound them within this share of their length.
pub(super) const STEEP: f64 = 1e-7;

impl<'a> Dropper<'a> {
    /// Sorts the triangles of `mesh` (tool frame) into buckets.
    pub fn new(mesh: &'a Mesh) -> Dropper<'a> {
        let (lo, hi) = mesh.bounds().unwrap_or((Point::origin(), Point::origin()));
        let (dx, dy) = (hi.x - lo.x, hi.y - lo.y);
        // about two triangles a bucket
        let wanted = 0.5 * mesh.triangles.len() as f64 + 1.0;
        let side = (dx * dy / wanted)
            .sqrt()
            .max(dx.max(dy) / MOST_BUCKETS as f64)
            .max(f64::MIN_POSITIVE.sqrt());
        let count = |d: f64| ((d / side).floor() as usize + 1).min(MOST_BUCKETS + 1);
        let (nx, ny) = (count(dx), count(dy));

        let mut starts = vec![0u32; nx * ny + 1];
        let covered = |visit: &mut dyn FnMut(usize, u32, f64)| {
            for t in 0..mesh.triangles.len() {
                let corners = mesh.corners(t);
                cover(&corners, [lo.x, lo.y], side, nx, ny, |bucket, top| {
                    visit(bucket, t as u32, top);
                });
            }
        };
        covered(&mut |bucket, _, _| starts[bucket + 1] += 1);
        for k in 0..nx * ny {
            starts[k + 1] += starts[k];
        }
        let mut next = starts.clone();
        let unset = Entry {
            triangle: 0,
            top: f64::NEG_INFINITY,
        };
        let mut entries = vec![unset; starts[nx * ny] as usize];
        let mut tops = vec![f64::NEG_INFINITY; nx * ny];
        covered(&mut |bucket, triangle, top| {
            entries[next[bucket] as usize] = Entry { triangle, top };
            next[bucket] += 1;
            tops[bucket] = tops[bucket].max(top);
        });
        Dropper {
            mesh,
            origin: [lo.x, lo.y],
            side,
            levels: pyramid(nx, ny, tops),
            starts,
            entries,
        }
    }

    /// The lowest height of `profile`'s reference point at plan place (x, y) at which it cuts
    /// nothing, and what it touches there; `None` where there is no surface within its reach.
    ///
    /// Everything above this height is free too.
    pub fn centre_height(&self, profile: Profile, x: f64, y: f64) -> Option<Contact> {
        self.highest(profile, [x, y], f64::NEG_INFINITY, f64::INFINITY)
    }

    /// Whether `profile` with its reference point at (x, y, z) cuts nowhere deeper than `tolerance`, mm.
    ///
    /// The body is shrunk by the tolerance, so a ball that touches a vertical wall is clear in
    /// spite of rounding.
    pub fn clear_at(&self, profile: Profile, x: f64, y: f64, z: f64, tolerance: f64) -> bool {
        match profile.inset(tolerance) {
            Some((inner, raised)) => {
                let z = z + raised;
                self.highest(inner, [x, y], z, z).is_none()
            }
            None => true,
        }
    }

    /// The highest contact above `floor`; or any that is above `ceiling`, as soon as one is found: as [`Dropper::centre_height`],
    /// sooner told the nearer the two are.
    pub fn highest(
        &self,
        profile: Profile,
        at: [f64; 2],
        floor: f64,
        ceiling: f64,
    ) -> Option<Contact> {
        let mut best = Best {
            profile,
            at,
            z: floor,
            contact: None,
        };
        // the most promising is taken next
        let mut waiting = Waiting::<(u32, u32, u32), MOST_WAITING>::new((0, 0, 0));
        let root = self.levels.len() - 1;
        if let Some(bound) = self.bound(&best, root, 0, 0) {
            waiting.add(0, -bound, (root as u32, 0, 0));
        }
        while let Some((bound, (level, i, j))) = waiting.next() {
            if -bound <= best.z {
                continue;
            }
            let level = level as usize;
            if level == 0 {
                self.visit_bucket(&mut best, i as usize, j as usize);
                if best.z > ceiling {
                    break;
                }
                continue;
            }
            let mark = waiting.count();
            let below = &self.levels[level - 1];
            for (i, j) in quarters(i, j) {
                let (u, v) = (i as usize, j as usize);
                if u < below.nx
                    && v < below.ny
                    && let Some(bound) = self.bound(&best, level - 1, u, v)
                {
                    waiting.add(mark, -bound, (level as u32 - 1, i, j));
                }
            }
        }
        best.contact
    }

    /// No contact in a square is higher than this; `None` if none is higher than the best.
    fn bound(&self, best: &Best, level: usize, i: usize, j: usize) -> Option<f64> {
        let squares = &self.levels[level];
        let top = squares.tops[j * squares.nx + i];
        if top == f64::NEG_INFINITY {
            return None;
        }
        let side = self.side * (1u64 << level) as f64;
        let gap = |k: usize, n: usize| {
            let lo = self.origin[k] + side * n as f64;
            (lo - best.at[k]).max(best.at[k] - (lo + side)).max(0.0)
        };
        // a hair less, for the rounding of the squares' sides
        let (dx, dy) = (gap(0, i), gap(1, j));
        let d = ((dx * dx + dy * dy).sqrt() - 1e-9 * self.side).max(0.0);
        let bound = top + best.profile.rise(d)?;
        (bound > best.z).then_some(bound)
    }

    fn visit_bucket(&self, best: &mut Best, i: usize, j: usize) {
        let Some(bound) = self.bound(best, 0, i, j) else {
            return;
        };
        let bucket = j * self.levels[0].nx + i;
        let rise = bound - self.levels[0].tops[bucket];
        let range = self.starts[bucket] as usize..self.starts[bucket + 1] as usize;
        for entry in &self.entries[range] {
            if entry.top + rise > best.z {
                best.try_triangle(self.mesh, entry.triangle);
            }
        }
    }
}

/// The best contact of a search so far.
struct Best {
    profile: Profile,
    at: [f64; 2],
    z: f64,
    contact: Option<Contact>,
}

impl Best {
    fn take(&mut self, z: f64, triangle: u32, point: Point) {
        if z > self.z {
            self.z = z;
            self.contact = Some(Contact { z, triangle, point });
        }
    }

    fn try_triangle(&mut self, mesh: &Mesh, triangle: u32) {
        let corners = mesh.corners(triangle as usize);
        // relative to the axis, so that a mesh far from the origin keeps its digits
        let local = corners.map(|p| Vector::new(p.x - self.at[0], p.y - self.at[1], p.z));
        if self.try_facet(&local, triangle) {
            return;
        }
        for k in 0..3 {
            self.try_corner(local[k], triangle);
            self.try_side(local[k], local[(k + 1) % 3], triangle);
        }
    }

    fn try_corner(&mut self, v: Vector, triangle: u32) {
        if let Some(rise) = self.profile.rise((v.x * v.x + v.y * v.y).sqrt()) {
            self.take(v.z + rise, triangle, self.place(v));
        }
    }

    fn try_side(&mut self, a: Vector, b: Vector, triangle: u32) {
        let (dx, dy) = (b.x - a.x, b.y - a.y);
        let length = (dx * dx + dy * dy).sqrt();
        if length <= 1e-12 * (a - b).norm() || length == 0.0 {
            return; // upright: its corners serve
        }
        let (ux, uy) = (dx / length, dy / length);
        let from = a.x * ux + a.y * uy;
        let side = Side {
            aside: (a.x * uy - a.y * ux).abs(),
            from,
            z: a.z,
            to: from + length,
            slope: (b.z - a.z) / length,
        };
        if let Some((along, rise)) = self.profile.on_side(&side, self.z) {
            let q = a + (b - a) * ((along - from) / length).clamp(0.0, 1.0);
            self.take(q.z + rise, triangle, self.place(q));
        }
    }

    /// Whether that settles the triangle: its plane holds the body no higher than the best, or the
    /// contact with the plane lies in the facet.
    fn try_facet(&mut self, corners: &[Vector; 3], triangle: u32) -> bool {
        let [a, b, c] = *corners;
        let normal = (b - a).cross(&(c - a));
        if normal.z.abs() <= STEEP * normal.norm() {
            return false;
        }
        let flat = (normal.x * normal.x + normal.y * normal.y).sqrt();
        let (d, rise) = self.profile.contact_on_plane(flat / normal.z.abs());
        let uphill = -d * normal.z.signum() / flat.max(f64::MIN_POSITIVE);
        let (qx, qy) = (normal.x * uphill, normal.y * uphill);
        let over_a = (normal.x * (qx - a.x) + normal.y * (qy - a.y)) / -normal.z;
        // a hair more than the plane's height, for rounding on steep facets
        if a.z + over_a + rise + 1e-12 * (a.z.abs() + over_a.abs()) <= self.z {
            return true;
        }
        // shares of the corners: the contact lies in the facet when none is negative
        let share =
            |u: Vector, v: Vector| ((u.x - qx) * (v.y - qy) - (u.y - qy) * (v.x - qx)) / normal.z;
        let shares = [share(b, c), share(c, a), share(a, b)];
        if shares.iter().any(|&s| s < 0.0) {
            return false;
        }
        let z = shares[0] * a.z + shares[1] * b.z + shares[2] * c.z;
        self.take(z + rise, triangle, self.place(Vector::new(qx, qy, z)));
        true
    }

    fn place(&self, local: Vector) -> Point {
        Point::new(local.x + self.at[0], local.y + self.at[1], local.z)
    }
}

/// Calls `visit` with each bucket that a triangle covers and a height it does not exceed there.
fn cover(
    corners: &[Point; 3],
    origin: [f64; 2],
    side: f64,
    nx: usize,
    ny: usize,
    mut visit: impl FnMut(usize, f64),
) {
    let [a, b, c] = *corners;
    let normal = (b - a).cross(&(c - a));
    let top = a.z.max(b.z).max(c.z);
    let plane = (normal.z.abs() > 1e-4 * normal.norm())
        .then(|| (-normal.x / normal.z, -normal.y / normal.z));
    // a hair wider than the triangle, for rounding
    let hair = 1e-9 * side;
    let index = |v: f64, k: usize, n: usize| {
        (((v - origin[k]) / side).floor().max(0.0) as usize).min(n - 1)
    };
    let (low, high) = (a.y.min(b.y).min(c.y), a.y.max(b.y).max(c.y));
    for j in index(low - hair, 1, ny)..=index(high + hair, 1, ny) {
        let y0 = origin[1] + side * j as f64;
        let (from, to) = strip_extent(corners, y0 - hair, y0 + side + hair);
        if from > to {
            continue;
        }
        for i in index(from - hair, 0, nx)..=index(to + hair, 0, nx) {
            let here = plane.map_or(top, |(gx, gy)| {
                let x = origin[0] + side * (i as f64 + 0.5) - a.x;
                let y = y0 + 0.5 * side - a.y;
                let half = (0.5 * side + hair) * (gx.abs() + gy.abs());
                (a.z + gx * x + gy * y + half).min(top)
            });
            visit(j * nx + i, here + 1e-12 * top.abs());
        }
    }
}

/// Smallest and largest x of the part of a triangle with y between `y0` and `y1`.
fn strip_extent(corners: &[Point; 3], y0: f64, y1: f64) -> (f64, f64) {
    let mut extent = (f64::INFINITY, f64::NEG_INFINITY);
    let mut add = |x: f64| extent = (extent.0.min(x), extent.1.max(x));
    for k in 0..3 {
        let (p, q) = (corners[k], corners[(k + 1) % 3]);
        if p.y >= y0 && p.y <= y1 {
            add(p.x);
        }
        for y in [y0, y1] {
            if (p.y < y) != (q.y < y) {
                add(p.x + (q.x - p.x) * ((y - p.y) / (q.y - p.y)));
            }
        }
    }
    extent
}

/// All levels above (and with) the finest: each square holds the maximum of the four below it.
fn pyramid(nx: usize, ny: usize, tops: Vec<f64>) -> Vec<Level> {
    let mut levels = vec![Level { nx, ny, tops }];
    while let Some(below) = levels.last().filter(|l| l.nx * l.ny > 1) {
        let (nx, ny) = (below.nx.div_ceil(2), below.ny.div_ceil(2));
        let mut tops = vec![f64::NEG_INFINITY; nx * ny];
        for j in 0..below.ny {
            for i in 0..below.nx {
                let top = &mut tops[(j / 2) * nx + i / 2];
                *top = top.max(below.tops[j * below.nx + i]);
            }
        }
        levels.push(Level { nx, ny, tops });
    }
    levels
}

#[cfg(test)]
mod tests;
