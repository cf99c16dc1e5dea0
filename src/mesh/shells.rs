//! Shells: connected pieces of surface.

use super::{Mesh, Point, Topology, Vector};
use rayon::prelude::*;

/// A connected piece of surface.
#[derive(Debug, Clone)]
pub(super) struct Shell {
    /// Its triangles, ascending.
    pub(super) triangles: Vec<u32>,
    /// Signed volume, mm³.
    pub(super) volume: f64,
    /// Area, mm².
    pub(super) area: f64,
    /// Length of the vector sum of its areas, mm²: zero for a closed surface.
    opening: f64,
    /// Bounding box.
    pub(super) lo: Point,
    pub(super) hi: Point,
}

/// A surface is no solid when its opening is this share of its area: even a shallow tray without its
/// underside stays below.
const SHEET: f64 = 0.9;
/// A body is no solid when it is thinner, on average, than this many roundings.
const THIN: f64 = 4.0;

impl Shell {
    fn new(mesh: &Mesh, triangles: Vec<u32>) -> Shell {
        let all = || triangles.iter().map(|&t| mesh.corners(t as usize));
        let first = all().next().map_or(Point::origin(), |c| c[0]);
        let (lo, hi) = all()
            .flatten()
            .fold((first, first), |(lo, hi), p| (lo.inf(&p), hi.sup(&p)));
        // about its middle, so that a hole counts little
        let middle = nalgebra::center(&lo, &hi);
        let (mut volume, mut area, mut opening) = (0.0, 0.0, Vector::zeros());
        for [a, b, c] in all() {
            let normal = (b - a).cross(&(c - a));
            volume += normal.dot(&(a - middle));
            area += normal.norm();
            opening += normal;
        }
        Shell {
            triangles,
            volume: volume / 6.0,
            area: 0.5 * area,
            opening: 0.5 * opening.norm(),
            lo,
            hi,
        }
    }

    /// Whether it bounds a solid or a void at all, with coordinates rounded to `rounding` mm.
    pub(super) fn has_volume(&self, rounding: f64) -> bool {
        let thickness = 2.0 * self.volume.abs() / self.area;
        let least = THIN * rounding + 1e-9 * self.size();
        thickness > least && self.opening < SHEET * self.area
    }

    /// Diagonal of its bounding box, mm.
    pub(super) fn size(&self) -> f64 {
        (self.hi - self.lo).norm()
    }

    /// `count` places spread evenly by area, each with the unit normal there.
    pub(super) fn samples(&self, mesh: &Mesh, count: usize) -> Vec<(Point, Vector)> {
        let step = self.area / count as f64;
        let mut samples = Vec::with_capacity(count);
        let mut passed = 0.0;
        for &t in &self.triangles {
            let normal = mesh.area_normal(t as usize);
            passed += 0.5 * normal.norm();
            while samples.len() < count && (samples.len() as f64 + 0.5) * step < passed {
                let [a, b, c] = mesh.corners(t as usize);
                // a sequence without pattern (fractions of 1/g and 1/g², g³ = g + 1) folded into the triangle
                let k = samples.len() as f64 + 0.5;
                let (u, v) = ((k * 0.754_877_666).fract(), (k * 0.569_840_291).fract());
                let (u, v) = if u + v > 1.0 {
                    (1.0 - u, 1.0 - v)
                } else {
                    (u, v)
                };
                samples.push((a + (b - a) * u + (c - a) * v, normal.normalize()));
            }
        }
        samples
    }
}

/// The shells of `mesh`, in the order of their first triangles.
///
/// Triangles belong together across their edges, and around corners where open edges meet: a patch
/// whose sides do not match its neighbours' corner by corner is a part of the surface all the same.
pub(super) fn shells(mesh: &Mesh, topology: &Topology) -> Vec<Shell> {
    let mut sets = Sets((0..mesh.triangles.len() as u32).collect());
    for edge in &topology.edges {
        if let (a, Some(b)) = edge.triangles {
            sets.join(a, b);
        }
    }
    let ends = topology.open().flat_map(|e| {
        let edge = &topology.edges[e as usize];
        edge.vertices.map(|v| (v, edge.triangles.0))
    });
    let mut ends: Vec<(u32, u32)> = ends.collect();
    ends.sort_unstable();
    for pair in ends.windows(2).filter(|pair| pair[0].0 == pair[1].0) {
        sets.join(pair[0].1, pair[1].1);
    }
    // the first triangle of a set comes first, so its shell is there before the others ask for it
    let mut shell_of = vec![0u32; mesh.triangles.len()];
    let mut groups: Vec<Vec<u32>> = Vec::new();
    for t in 0..mesh.triangles.len() as u32 {
        let first = sets.find(t);
        if first == t {
            shell_of[t as usize] = groups.len() as u32;
            groups.push(Vec::new());
        }
        groups[shell_of[first as usize] as usize].push(t);
    }
    groups
        .into_par_iter()
        .map(|triangles| Shell::new(mesh, triangles))
        .collect()
}

/// Disjoint sets; each is known by its smallest member.
pub(crate) struct Sets(pub(crate) Vec<u32>);

impl Sets {
    /// Smallest member of the set of `t`.
    pub(crate) fn find(&mut self, mut t: u32) -> u32 {
        while self.0[t as usize] != t {
            let up = self.0[self.0[t as usize] as usize];
            self.0[t as usize] = up;
            t = up;
        }
        t
    }

    /// Makes the sets of `a` and `b` one.
    pub(crate) fn join(&mut self, a: u32, b: u32) {
        let (a, b) = (self.find(a), self.find(b));
        self.0[a.max(b) as usize] = a.min(b);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::testing::{ball, block, moved, together};

    fn shells_of(mesh: &Mesh) -> Vec<Shell> {
        shells(mesh, &Topology::new(mesh))
    }

    #[test]
    fn a_block_measures_as_it_should() {
        let shells = shells_of(&moved(&block([1.0, 2.0, 3.0]), [100.0, 0.0, 0.0]));
        assert_eq!(shells.len(), 1);
        // 1 * 2 * 3, and 2 * (1 * 2 + 2 * 3 + 3 * 1)
        assert!((shells[0].volume - 6.0).abs() < 1e-9);
        assert!((shells[0].area - 22.0).abs() < 1e-9);
        assert!(shells[0].opening < 1e-9);
    }

    #[test]
    fn patches_with_open_sides_stay_with_the_body_they_touch() {
        let mut mesh = block([1.0, 2.0, 3.0]);
        // the top, split at the middle of one of its sides on one side of the seam only
        let top = (0..12).find(|&t| mesh.area_normal(t).z > 0.0).unwrap();
        let [a, b, c] = mesh.triangles[top];
        mesh.vertices.push(nalgebra::center(
            &mesh.vertices[a as usize],
            &mesh.vertices[b as usize],
        ));
        mesh.triangles[top] = [a, 8, c];
        mesh.triangles.push([8, b, c]);
        assert_eq!(shells_of(&mesh).len(), 1);
    }

    #[test]
    fn sheets_have_no_volume_and_trays_do() {
        let mut tray = block([100.0, 100.0, 10.0]);
        tray.triangles.retain(|t| !t.iter().all(|&v| v < 4));
        assert!(shells_of(&tray)[0].has_volume(1e-5));
        let mut sheet = tray.clone();
        sheet.triangles.retain(|t| t.iter().all(|&v| v >= 4));
        assert!(!shells_of(&sheet)[0].has_volume(1e-5));
        // both sides of a sheet, 3 roundings apart
        assert!(!shells_of(&block([100.0, 100.0, 3e-5]))[0].has_volume(1e-5));
    }

    #[test]
    fn samples_lie_on_the_surface_in_proportion_to_area() {
        let mesh = together(&[block([4.0, 4.0, 1.0])]);
        let shell = &shells_of(&mesh)[0];
        let samples = shell.samples(&mesh, 480);
        assert_eq!(samples.len(), 480);
        // top and bottom are 32 of 48 mm²: 320 samples, by strata
        let flat = samples
            .iter()
            .filter(|(p, _)| p.z == 0.0 || p.z == 1.0)
            .count();
        assert!((310..=330).contains(&flat), "{flat}");
        let round = ball(5.0, 10);
        for (p, n) in shells_of(&round)[0].samples(&round, 100) {
            assert!((p + n * 0.2 - Point::origin()).norm() > p.coords.norm());
        }
    }
}
