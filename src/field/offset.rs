//! The cutter-centre surface of a ball, exact at every cell of a grid.
//!
//! A ball lowered onto a mesh touches a facet, an edge or a corner. Its centre then lies on the
//! facet moved by R along its normal, on a cylinder about the edge or on a sphere about the
//! corner. The cutter-centre surface is the upper envelope of these pieces; each is drawn into the
//! height map where it can be part of the envelope, and the largest height stays:
//!
//! - a facet that faces up: the moved facet;
//! - a convex edge: the sector of its cylinder between the two facets' normals, up-facing part
//!   only. A concave edge gives nothing: the moved facets overlap there;
//! - a corner: the part of its sphere whose directions d have d · e ≤ 0 for every edge e that
//!   leaves it. Only there does the ball cut none of them.
//!
//! The heights drawn for edges and corners are those of a ball that touches a stated point of the
//! surface, so they are valid wherever they are drawn, and footprints may be generous. The mesh must
//! be turned outward and closed; where it is open or has slivers without area, the whole upper half
//! of the edge's cylinder is drawn.
//!
//! Cells drawn per column (`benches/offset.rs`, 500,000 triangles facing up, 100 × 100 mm, 0.05 mm cells):
//!
//! | mesh | R | facets | edges | corners |
//! | --- | --- | --- | --- | --- |
//! | pocket | 1.6 mm | 1.13 | 0.58 | 0.26 |
//! | pocket | 3.2 mm | 1.14 | 1.34 | 1.06 |
//! | noisy scan | 1.6 mm | 1.00 | 2.12 | 0.90 |
//! | noisy scan | 3.2 mm | 0.99 | 4.68 | 3.58 |
//!
//! A dilation of sampled heights has the ball's 3,200 and 12,900 cells to look at.

use self::draw::{BAND, Band, by_band, extent};
use super::drop::STEEP;
use super::{Grid, HeightMap};
use crate::mesh::{Edge, Mesh, Point, Topology, Vector};
use rayon::iter::Either;
use rayon::prelude::*;

/// Widening of a moved facet against cracks to its coplanar neighbours, mm.
const CRACK: f64 = 1e-8;
/// Edges that turn by less than this (sine) are flat.
const FLAT: f64 = 1e-9;
/// Facets with a smaller slope are taken for level: over a flat radius they rise by a ten-millionth of it.
const LEVEL: f64 = 1e-7;

/// The cutter-centre surface of a ball of `radius` mm over `mesh` (tool frame): for each cell centre
/// the lowest height of the ball's centre at which it cuts nothing; no value where no surface is in reach.
///
/// For several radii make a [`BallOffset`] once.
pub fn ball_offset(mesh: &Mesh, topology: &Topology, grid: Grid, radius: f64) -> HeightMap {
    BallOffset::new(mesh, topology).height_map(grid, radius)
}

/// The pieces of a mesh that a ball from above can touch, whatever its radius.
#[derive(Debug)]
pub struct BallOffset<'a> {
    mesh: &'a Mesh,
    facets: Vec<Facet>,
    ridges: Vec<Ridge>,
    /// Edges that turn as good as nothing between facets that are level but for rounding: a flat cutter needs them.
    seams: Vec<Ridge>,
    peaks: Vec<Peak>,
}

/// A facet that faces up.
#[derive(Debug, Clone, Copy)]
struct Facet {
    triangle: u32,
    normal: Vector,
}

/// An exposed edge, in its own plan frame: along its plan direction, and across to the left of it.
#[derive(Debug, Clone, Copy)]
struct Ridge {
    start: Point,
    /// Plan direction.
    along: [f64; 2],
    /// Plan length, mm.
    length: f64,
    /// Rise over plan length, and over length.
    tangent: f64,
    sine: f64,
    /// Across components of the exposed unit directions, smallest and largest.
    across: [f64; 2],
    /// Whether one of its facets is level.
    level: bool,
}

/// An exposed corner.
#[derive(Debug, Clone, Copy)]
struct Peak {
    place: Point,
    /// Plan box of the exposed unit directions: smallest x and y, largest x and y.
    directions: [f64; 4],
    /// The same of their plan directions, brought to length 1; `None` where only the upright one is exposed.
    heading: Option<[f64; 4]>,
}

impl Peak {
    /// Plan box of all centres of a cutter touching it.
    fn reach(&self, flat: f64, corner: f64) -> [f64; 4] {
        let heading = self.heading.unwrap_or_default();
        let place = [self.place.x, self.place.y];
        std::array::from_fn(|k| place[k % 2] + corner * self.directions[k] + flat * heading[k])
    }
}

/// How many cells were drawn for each kind of piece.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Drawn {
    /// For moved facets.
    pub facets: usize,
    /// For cylinders about edges.
    pub edges: usize,
    /// For spheres about corners.
    pub corners: usize,
}

impl<'a> BallOffset<'a> {
    /// Finds the pieces of `mesh`, whose edges are `topology`.
    pub fn new(mesh: &'a Mesh, topology: &Topology) -> BallOffset<'a> {
        let normals: Vec<Option<Vector>> = (0..mesh.triangles.len())
            .into_par_iter()
            .map(|t| mesh.normal(t))
            .collect();
        let facets = normals
            .par_iter()
            .enumerate()
            .filter_map(|(t, normal)| {
                let normal = normal.filter(|n| n.z > STEEP)?;
                let triangle = t as u32;
                Some(Facet { triangle, normal })
            })
            .collect();
        let sides = |edge: &Edge| {
            let first = normals[edge.triangles.0 as usize];
            let second = edge.triangles.1.and_then(|t| normals[t as usize]);
            first.zip(second)
        };
        let ends = |edge: &Edge| {
            let [a, b] = edge.vertices;
            [mesh.vertices[a as usize], mesh.vertices[b as usize]]
        };
        let exposed = |edge: &Edge| {
            let sides = sides(edge);
            if sides.is_some_and(is_seam) {
                Some(Either::Right(Ridge::new(ends(edge), None)?))
            } else {
                Some(Either::Left(Ridge::new(ends(edge), sides)?))
            }
        };
        let edges = topology.edges.par_iter();
        let (ridges, seams) = edges.filter_map(exposed).partition_map(|either| either);
        BallOffset {
            mesh,
            facets,
            ridges,
            seams,
            peaks: peaks(mesh, topology),
        }
    }

    /// The cutter-centre surface of a ball of `radius` mm at the cell centres of `grid`.
    pub fn height_map(&self, grid: Grid, radius: f64) -> HeightMap {
        self.draw(grid, radius).0
    }

    /// As [`BallOffset::height_map`], with the number of cells drawn.
    pub fn draw(&self, grid: Grid, radius: f64) -> (HeightMap, Drawn) {
        let mut map = HeightMap::empty(grid);
        let facets = by_band(&self.facets, &grid, |facet| {
            let y = self.mesh.corners(facet.triangle as usize).map(|p| p.y);
            let (lo, hi) = extent(&y);
            let moved = radius * facet.normal.y;
            (lo + moved - CRACK, hi + moved + CRACK)
        });
        let ridges = by_band(&self.ridges, &grid, |ridge| {
            extent(&ridge.footprint(0.0, radius).map(|p| p[1]))
        });
        let peaks = by_band(&self.peaks, &grid, |peak| {
            let [_, lo, _, hi] = peak.directions;
            (peak.place.y + radius * lo, peak.place.y + radius * hi)
        });
        let drawn = map
            .values_mut()
            .par_chunks_mut(grid.nx * BAND)
            .enumerate()
            .map(|(k, cells)| {
                let mut band = Band::new(grid, k, cells);
                for chunk in &facets {
                    for &f in &chunk[k] {
                        let facet = &self.facets[f as usize];
                        let by = facet.normal * radius;
                        band.draw_facet(self.mesh, facet, by.into(), CRACK);
                    }
                }
                let facets = std::mem::take(&mut band.drawn);
                for chunk in &ridges {
                    for &r in &chunk[k] {
                        band.draw_ridge(&self.ridges[r as usize], radius);
                    }
                }
                let edges = std::mem::take(&mut band.drawn);
                for chunk in &peaks {
                    for &p in &chunk[k] {
                        band.draw_peak(&self.peaks[p as usize], radius);
                    }
                }
                Drawn {
                    facets,
                    edges,
                    corners: band.drawn,
                }
            })
            .reduce(Drawn::default, |a, b| Drawn {
                facets: a.facets + b.facets,
                edges: a.edges + b.edges,
                corners: a.corners + b.corners,
            });
        (map, drawn)
    }
}

impl Ridge {
    /// `normals`: those of the triangle that runs from the first end to the second and of the other;
    /// where one is missing, or they fold back on each other, the whole upper half is exposed.
    fn new(ends: [Point; 2], normals: Option<(Vector, Vector)>) -> Option<Ridge> {
        let edge = ends[1] - ends[0];
        let whole = edge.norm();
        let normals = normals.filter(|(n1, n2)| n1.dot(n2) > -1.0 + 1e-6);
        if let Some((n1, n2)) = normals {
            let turn = n1.cross(&n2).dot(&edge);
            if turn <= FLAT * whole || (n1.z <= 0.0 && n2.z <= 0.0) {
                return None;
            }
        }
        let length = (edge.x * edge.x + edge.y * edge.y).sqrt();
        if length <= 1e-9 * whole || length == 0.0 {
            return None; // upright: its upper corner serves
        }
        let along = [edge.x / length, edge.y / length];
        let across_of = |n: Vector| along[0] * n.y - along[1] * n.x;
        let across = normals.map_or([-1.0, 1.0], |(n1, n2)| {
            // what faces down is cut off: there the sector ends in a level direction
            let [p, q] = [(n1, n2), (n2, n1)].map(|(n, other)| {
                if n.z >= 0.0 {
                    across_of(n)
                } else {
                    across_of(other * -n.z + n * other.z).signum()
                }
            });
            [p.min(q), p.max(q)]
        });
        Some(Ridge {
            start: ends[0],
            along,
            length,
            tangent: edge.z / length,
            sine: edge.z / whole,
            across,
            level: normals.is_some_and(|(n, m)| is_level(&n) || is_level(&m)),
        })
    }

    /// Rectangle in the ridge's frame that holds all centres of a cutter touching it, with a flat part of radius `flat` and
    /// corners of radius `corner`: along from, to, across from, to.
    ///
    /// At a unit normal with `b` across, and ρ² = 1 − b², the contact is ρ · sine further along than the centre of the
    /// corner's circle; the flat part moves that on in the normal's plan direction.
    fn rectangle(&self, flat: f64, corner: f64) -> [f64; 4] {
        let [b0, b1] = self.across;
        // how far along and across the centre lies from the contact
        let moved = |b: f64| {
            let back = self.sine * ((1.0 - b) * (1.0 + b)).max(0.0).sqrt();
            let plan = (back * back + b * b).sqrt();
            let out = corner + if plan > 0.0 { flat / plan } else { 0.0 };
            [out * back, out * b]
        };
        let ([mut p0, mut q0], [mut p1, mut q1]) = (moved(b0), moved(b1));
        if self.level {
            // level facets stay where they are
            (p0, q0) = (p0.min(0.0), q0.min(0.0));
            (p1, q1) = (p1.max(0.0), q1.max(0.0));
        }
        // most along where the normal is steepest
        let steepest = if b0 <= 0.0 && b1 >= 0.0 {
            self.sine.signum() * (corner * self.sine.abs() + flat)
        } else {
            p1
        };
        let hair = 1e-6 * (flat + corner);
        [
            -p0.max(p1).max(steepest) - hair,
            self.length - p0.min(p1).min(steepest) + hair,
            q0 - hair,
            q1 + hair,
        ]
    }

    /// Corners of that rectangle in plan.
    fn footprint(&self, flat: f64, corner: f64) -> [[f64; 2]; 4] {
        let [a0, a1, b0, b1] = self.rectangle(flat, corner);
        let [ux, uy] = self.along;
        [(a0, b0), (a1, b0), (a1, b1), (a0, b1)].map(|(a, b)| {
            [
                self.start.x + a * ux - b * uy,
                self.start.y + a * uy + b * ux,
            ]
        })
    }

    /// A plan place in the ridge's frame.
    fn in_frame(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        let [ux, uy] = self.along;
        let (dx, dy) = (x - self.start.x, y - self.start.y);
        [dx * ux + dy * uy, dy * ux - dx * uy]
    }
}

fn is_level(normal: &Vector) -> bool {
    normal.z > 0.0 && normal.x * normal.x + normal.y * normal.y <= LEVEL * LEVEL
}

/// Whether an edge between facets of these normals turns by so little that it counts as flat, and the facets are level but for
/// rounding: a cutter's flat part tells the plan directions of such normals apart.
fn is_seam((n, m): (Vector, Vector)) -> bool {
    let level = |n: &Vector| n.x.abs().max(n.y.abs());
    let (low, high) = (level(&n).min(level(&m)), level(&n).max(level(&m)));
    low < 1e-5 && high > 1e-12 && n.z > 0.0 && m.z > 0.0 && n.cross(&m).norm() <= 2.0 * FLAT
}

/// The exposed corners of a mesh.
fn peaks(mesh: &Mesh, topology: &Topology) -> Vec<Peak> {
    // edges at each corner, in one array with offsets
    let mut starts = vec![0u32; mesh.vertices.len() + 1];
    for edge in &topology.edges {
        for v in edge.vertices {
            starts[v as usize + 1] += 1;
        }
    }
    for v in 0..mesh.vertices.len() {
        starts[v + 1] += starts[v];
    }
    let mut next = starts.clone();
    let mut ends = vec![0u32; 2 * topology.edges.len()];
    for edge in &topology.edges {
        let [a, b] = edge.vertices;
        for (v, end) in [(a, b), (b, a)] {
            ends[next[v as usize] as usize] = end;
            next[v as usize] += 1;
        }
    }
    (0..mesh.vertices.len())
        .into_par_iter()
        .map_init(
            || [Vec::new(), Vec::new()],
            |work, v| {
                let place = mesh.vertices[v];
                let ends = &ends[starts[v] as usize..starts[v + 1] as usize];
                let edges = ends.iter().map(|&e| mesh.vertices[e as usize] - place);
                let (directions, heading) = exposed(edges, ends.is_empty(), work)?;
                Some(Peak {
                    place,
                    directions,
                    heading,
                })
            },
        )
        .flatten_iter()
        .collect()
}

/// Plan box of the upward unit directions d with d · e ≤ 0 for all `edges` e, and that of their plan directions; `None` if
/// there are none.
///
/// Seen on the plane z = 1 the directions are a convex polygon, cut out by a line an edge.
fn exposed(
    edges: impl Iterator<Item = Vector>,
    unused: bool,
    work: &mut [Vec<[f64; 2]>; 2],
) -> Option<([f64; 4], Option<[f64; 4]>)> {
    if unused {
        return None;
    }
    /// Directions nearer to the level than 1e-4 rad are cut off: 5e-9 of the radius in plan.
    const FAR: f64 = 1e4;
    let [polygon, cut] = work;
    polygon.clear();
    polygon.extend([[-FAR, -FAR], [FAR, -FAR], [FAR, FAR], [-FAR, FAR]]);
    for e in edges {
        let over = |p: &[f64; 2]| p[0] * e.x + p[1] * e.y + e.z;
        cut.clear();
        let mut last = *polygon.last()?;
        let mut last_over = over(&last);
        for &p in polygon.iter() {
            let p_over = over(&p);
            if (last_over > 0.0) != (p_over > 0.0) {
                let t = last_over / (last_over - p_over);
                cut.push([0, 1].map(|k| last[k] + t * (p[k] - last[k])));
            }
            if p_over <= 0.0 {
                cut.push(p);
            }
            (last, last_over) = (p, p_over);
        }
        std::mem::swap(polygon, cut);
    }
    Some((box_of(polygon, 1.0), heading(polygon)))
}

/// Plan box of the directions from the origin to a convex polygon's points; `None` where it is the origin.
fn heading(polygon: &[[f64; 2]]) -> Option<[f64; 4]> {
    /// The origin within this of a corner is in the polygon.
    const NEAR: f64 = 1e-5;
    let nearest = |near: f64, p: &[f64; 2]| near.min(p[0].abs().max(p[1].abs()));
    let farthest = |far: f64, p: &[f64; 2]| far.max(p[0].abs().max(p[1].abs()));
    if polygon.iter().fold(0.0, farthest) < 1e-9 {
        return None;
    }
    let mut before = polygon.last()?;
    let around = polygon.iter().all(|p| {
        let left = before[0] * p[1] - before[1] * p[0];
        let scale = (before[0].abs() + before[1].abs()) * (p[0].abs() + p[1].abs());
        before = p;
        left >= -1e-9 * scale
    });
    if around || polygon.iter().fold(f64::INFINITY, nearest) < NEAR {
        return Some([-1.0, -1.0, 1.0, 1.0]);
    }
    Some(box_of(polygon, 0.0))
}

/// Plan box of the unit directions to the points of a convex polygon in the plane z = `height`.
fn box_of(polygon: &[[f64; 2]], height: f64) -> [f64; 4] {
    let unit = |p: &[f64; 2]| Vector::new(p[0], p[1], height).normalize();
    let mut before = polygon.last().map(unit).unwrap_or_default();
    let mut found = [1.0f64, 1.0, -1.0, -1.0];
    let mut bulge = 0.0f64;
    for p in polygon {
        let d = unit(p);
        found = [
            found[0].min(d.x),
            found[1].min(d.y),
            found[2].max(d.x),
            found[3].max(d.y),
        ];
        // the polygon's sides are great circles: over a chord c they bulge by 1 − √(1 − c²/4)
        let quarter = (0.25 * (d - before).norm_squared()).min(1.0);
        bulge = bulge.max(1.0 - (1.0 - quarter).sqrt());
        before = d;
    }
    let hair = bulge + 1e-6;
    [
        (found[0] - hair).max(-1.0),
        (found[1] - hair).max(-1.0),
        (found[2] + hair).min(1.0),
        (found[3] + hair).min(1.0),
    ]
}

mod cutter;
mod draw;
#[cfg(test)]
mod tests;
