//! The cavity's surface: its facets below the parting level, and samples spread over them.

use crate::mesh::{Creases, Point, Vector, noise_deg};
use crate::report::HollowKind;
use crate::setup::{Half, Parting, Survey};
use rayon::prelude::*;

/// Facets that one thread samples in a row.
const FACETS_AT_A_TIME: usize = 4096;

/// One facet of the cavity, or the part of it that lies below the parting level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Facet {
    /// Triangle of the half's mesh.
    pub triangle: u32,
    /// Hollow that it bounds.
    pub hollow: u32,
    /// Unit normal, out of the material.
    pub normal: Vector,
    /// Area below the parting level, mm².
    pub area: f64,
    /// Centroid of that area, tool frame.
    pub centroid: Point,
    /// Lowest and highest point of it, mm.
    pub z: [f64; 2],
    /// Draft of the facet, degrees.
    pub draft_deg: f64,
    /// The surface it stands for has drafts from `draft_deg - spread_deg[0]` to `draft_deg + spread_deg[1]`.
    pub spread_deg: [f64; 2],
    /// Draft of the surface at its corners, degrees, the least first.
    pub corners_deg: [f64; 3],
    /// Angle by which rounding may tilt it, degrees.
    pub noise_deg: f64,
    /// Distance between it and the surface it stands for, mm.
    pub chord_error: f64,
    /// The largest such distance among the facets about it, two rings wide: what a ball that touches here may meet.
    pub chord_near: f64,
}

/// The surface of one half that hollows are bounded by.
#[derive(Debug, Clone)]
pub struct Surface {
    /// Facets of all hollows, by triangle.
    pub facets: Vec<Facet>,
    /// The facet of each triangle.
    pub of_triangle: Vec<Option<u32>>,
    /// Smooth or sharp.
    pub creases: Creases,
}

/// A place on the cavity's surface that stands for some area around it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    /// Place, tool frame.
    pub at: Point,
    /// Unit normal of the surface that the facet stands for.
    pub normal: Vector,
    /// Facet it lies on.
    pub facet: u32,
    /// Area it stands for, mm².
    pub area: f64,
}

/// A facet and the surface that it stands for.
#[derive(Debug, Clone, PartialEq)]
pub struct Shape {
    /// Corners of the part of it that counts: three or four.
    pub part: Vec<Point>,
    /// Its corners.
    pub corners: [Point; 3],
    /// Unit normals of the surface at its corners.
    normals: [Vector; 3],
    flat: bool,
    facet_normal: Vector,
    /// One over twice its area.
    inverse: f64,
}

impl Shape {
    /// Unit normal of the surface at the place `at` of the facet, between those at its corners.
    pub fn normal(&self, at: &Point) -> Vector {
        if self.flat {
            return self.normals[0];
        }
        let share = |k: usize| {
            let (p, q) = (
                self.corners[(k + 1) % 3] - at,
                self.corners[(k + 2) % 3] - at,
            );
            p.cross(&q).dot(&self.facet_normal) * self.inverse
        };
        let sum: Vector = (0..3).map(|k| self.normals[k] * share(k)).sum();
        sum.try_normalize(0.0).unwrap_or(self.facet_normal)
    }
}

impl Surface {
    /// The facets of `half` that bound its hollows, its edges read as `creases` says.
    pub fn of(half: &Half, survey: &Survey, creases: Creases) -> Surface {
        let mesh = &half.mesh;
        let flat = !matches!(half.parting, Parting::Contact { .. });
        let facet = |(t, owner): (usize, &Option<u32>)| {
            let (hollow, normal) = ((*owner)?, mesh.normal(t)?);
            let part = if flat {
                below(mesh.corners(t))
            } else {
                mesh.corners(t).to_vec()
            };
            let (area, centroid) = area_centroid(&part)?;
            let low = part.iter().map(|p| p.z).fold(f64::INFINITY, f64::min);
            let high = part.iter().map(|p| p.z).fold(f64::NEG_INFINITY, f64::max);
            let mut corners_deg = creases.normals[t].map(|n| draft_deg(&n.cast()));
            corners_deg.sort_by(f64::total_cmp);
            Some(Facet {
                triangle: t as u32,
                hollow,
                normal,
                area,
                centroid,
                z: [low, high],
                draft_deg: draft_deg(&normal),
                spread_deg: [0.0; 2],
                corners_deg,
                noise_deg: noise_deg(mesh, t, half.rounding),
                chord_error: f64::from(creases.chord_error[t]),
                chord_near: 0.0,
            })
        };
        let facets: Vec<Facet> = (survey.owner.par_iter().enumerate())
            .filter_map(facet)
            .collect();
        let mut of_triangle = vec![None; mesh.triangles.len()];
        for (k, f) in facets.iter().enumerate() {
            of_triangle[f.triangle as usize] = Some(k as u32);
        }
        let mut surface = Surface {
            facets,
            of_triangle,
            creases,
        };
        surface.spread(half);
        surface
    }

    /// Facets of hollows of kind cavity.
    pub fn cavity<'a>(
        &'a self,
        survey: &'a Survey,
    ) -> impl Iterator<Item = (usize, &'a Facet)> + 'a {
        let is = |f: &Facet| survey.hollows[f.hollow as usize].kind == HollowKind::Cavity;
        self.facets.iter().enumerate().filter(move |(_, f)| is(f))
    }

    /// Largest distance between the cavity's facets and the surface they stand for, mm.
    pub fn chord_error(&self, survey: &Survey) -> f64 {
        (self.cavity(survey))
            .map(|(_, f)| f.chord_error)
            .fold(0.0, f64::max)
    }

    /// Across each smooth edge a facet stands for its share of the turn towards its neighbour; in a lattice of triangles,
    /// where every other neighbour lies aside, for half of the turn to the one beyond it.
    fn spread(&mut self, half: &Half) {
        let drafts: Vec<f64> = self.facets.iter().map(|f| f.draft_deg).collect();
        let this = &*self;
        let carried = |t: u32| -> Vec<(u32, u32, f32)> {
            let step = |k: usize| {
                let e = half.topology.sides[t as usize][k] as usize;
                let edge = &half.topology.edges[e];
                let share = this.creases.share[e][usize::from(edge.triangles.0 != t)];
                let next = half.topology.across(t, k)?;
                (this.creases.smooth[e] && share > 0.0).then_some((
                    next,
                    this.of_triangle[next as usize]?,
                    share,
                ))
            };
            (0..3).filter_map(step).collect()
        };
        let spreads: Vec<[f64; 2]> = this
            .facets
            .par_iter()
            .enumerate()
            .map(|(own, f)| {
                let mut spread = [0.0_f64; 2];
                let mut reach = |to: usize, share: f32| {
                    let towards = f64::from(share) * (drafts[to] - drafts[own]);
                    spread = [spread[0].max(-towards), spread[1].max(towards)];
                };
                for (next, to, share) in carried(f.triangle) {
                    reach(to as usize, share);
                    for (_, beyond, share) in carried(next) {
                        if share == 0.5 {
                            reach(beyond as usize, share);
                        }
                    }
                }
                spread
            })
            .collect();
        for (f, spread) in self.facets.iter_mut().zip(spreads) {
            f.spread_deg = spread;
        }
        // where the surface ends at the parting face it goes on turning to the facet's own rim
        self.spread_at_rims(half);
        self.chords_near(half);
    }

    fn chords_near(&mut self, half: &Half) {
        let corners = |f: &Facet| half.mesh.triangles[f.triangle as usize];
        self.facets
            .iter_mut()
            .for_each(|f| f.chord_near = f.chord_error);
        for _ in 0..2 {
            let mut at = vec![0.0_f64; half.mesh.vertices.len()];
            for f in &self.facets {
                corners(f)
                    .into_iter()
                    .for_each(|v| at[v as usize] = at[v as usize].max(f.chord_near));
            }
            for f in &mut self.facets {
                f.chord_near = corners(f)
                    .into_iter()
                    .map(|v| at[v as usize])
                    .fold(0.0, f64::max);
            }
        }
    }

    /// A curved facet at the rim of the surface stands for as much turn outward as inward.
    fn spread_at_rims(&mut self, half: &Half) {
        for k in 0..self.facets.len() {
            let t = self.facets[k].triangle;
            let at_rim = (0..3).any(|s| {
                let e = half.topology.sides[t as usize][s] as usize;
                !self.creases.smooth[e]
            });
            if at_rim {
                let spread = &mut self.facets[k].spread_deg;
                let most = spread[0].max(spread[1]);
                let draft = self.facets[k].draft_deg;
                // never beyond straight up or down
                self.facets[k].spread_deg = [most.min(draft + 90.0), most.min(90.0 - draft)];
            }
        }
    }

    /// Facet `k` with the normals at its corners.
    pub fn shape(&self, half: &Half, k: u32) -> Shape {
        let facet = &self.facets[k as usize];
        let corners = half.mesh.corners(facet.triangle as usize);
        let normals = self.creases.normals[facet.triangle as usize].map(|n| n.cast::<f64>());
        let across = (corners[1] - corners[0]).cross(&(corners[2] - corners[0]));
        Shape {
            part: part_of(facet, corners),
            corners,
            normals,
            flat: normals.iter().all(|n| *n == normals[0]),
            facet_normal: facet.normal,
            inverse: 1.0 / across.norm(),
        }
    }

    /// Samples no farther apart than about `spacing` mm over the facets that `wanted` takes.
    pub fn samples(
        &self,
        half: &Half,
        spacing: f64,
        wanted: impl Fn(usize, &Facet) -> bool + Sync,
    ) -> Vec<Sample> {
        let numbers: Vec<usize> = (0..self.facets.len()).collect();
        let parts: Vec<Vec<Sample>> = (numbers.par_chunks(FACETS_AT_A_TIME))
            .map(|numbers| {
                let mut samples = Vec::new();
                for &k in numbers.iter().filter(|&&k| wanted(k, &self.facets[k])) {
                    self.sample(half, k as u32, spacing, &mut samples);
                }
                samples
            })
            .collect();
        parts.concat()
    }

    fn sample(&self, half: &Half, facet: u32, spacing: f64, samples: &mut Vec<Sample>) {
        let shape = self.shape(half, facet);
        let mut emit = |at: Point, area: f64| {
            samples.push(Sample {
                at,
                normal: shape.normal(&at),
                facet,
                area,
            });
        };
        for corners in shape.part[1..].windows(2) {
            let corners = [shape.part[0], corners[0], corners[1]];
            split(corners, spacing * spacing, &mut emit);
        }
    }
}

/// Draft of a surface with unit normal `n`, degrees: asin of its component along the axis.
pub fn draft_deg(n: &Vector) -> f64 {
    // atan2 keeps its digits near 90°, where asin loses half of them
    n.z.atan2(n.x.hypot(n.y)).to_degrees()
}

/// The part of a facet that lies below the parting level, if it ends there.
fn part_of(facet: &Facet, corners: [Point; 3]) -> Vec<Point> {
    if facet.z[1] <= 0.0 && corners.iter().any(|p| p.z > 0.0) {
        below(corners)
    } else {
        corners.to_vec()
    }
}

/// The part of a triangle at or below Z = 0: no corner, or three or four.
fn below(corners: [Point; 3]) -> Vec<Point> {
    let mut part = Vec::with_capacity(4);
    for k in 0..3 {
        let (p, q) = (corners[k], corners[(k + 1) % 3]);
        if p.z <= 0.0 {
            part.push(p);
        }
        if (p.z < 0.0 && q.z > 0.0) || (p.z > 0.0 && q.z < 0.0) {
            let mut cut = p + (q - p) * (p.z / (p.z - q.z));
            cut.z = 0.0;
            part.push(cut);
        }
    }
    part
}

fn area_centroid(polygon: &[Point]) -> Option<(f64, Point)> {
    if polygon.len() < 3 {
        return None;
    }
    let (mut area, mut sum) = (0.0, Vector::zeros());
    for i in 1..polygon.len() - 1 {
        let [a, b, c] = [polygon[0], polygon[i], polygon[i + 1]];
        let part = 0.5 * (b - a).cross(&(c - a)).norm();
        area += part;
        sum += (a.coords + b.coords + c.coords) * (part / 3.0);
    }
    (area > 0.0).then(|| (area, Point::from(sum / area)))
}

/// Halves a triangle across its longest side until its sides are no longer than the spacing.
fn split(corners: [Point; 3], spacing2: f64, emit: &mut impl FnMut(Point, f64)) {
    let [a, b, c] = corners;
    let sides = [
        (b - a).norm_squared(),
        (c - b).norm_squared(),
        (a - c).norm_squared(),
    ];
    let longest = (0..3)
        .max_by(|&i, &j| sides[i].total_cmp(&sides[j]))
        .unwrap_or(0);
    if sides[longest] <= 2.0 * spacing2 {
        let area = 0.5 * (b - a).cross(&(c - a)).norm();
        if area > 0.0 {
            emit(Point::from((a.coords + b.coords + c.coords) / 3.0), area);
        }
        return;
    }
    let (p, q, r) = (
        corners[longest],
        corners[(longest + 1) % 3],
        corners[(longest + 2) % 3],
    );
    let middle = nalgebra::center(&p, &q);
    split([p, middle, r], spacing2, emit);
    split([middle, q, r], spacing2, emit);
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Area of what of a triangle lies at or below Z = 0, whichever of its corners comes first; none of it lies above.
    fn area_below(corners: [[f64; 3]; 3]) -> [f64; 3] {
        [0, 1, 2].map(|first| {
            let part = below([0, 1, 2].map(|k| Point::from(corners[(first + k) % 3])));
            assert!(part.iter().all(|p| p.z <= 0.0), "{part:?}");
            area_centroid(&part).map_or(0.0, |(area, _)| area)
        })
    }

    #[test]
    fn a_triangle_ends_at_the_parting_level() {
        // upright, 4 wide and 4 high, its tip up or down: by similar triangles 1/4 of its 8 mm² lies beyond half its height
        assert_eq!(
            area_below([[0.0, 0.0, -2.0], [4.0, 0.0, -2.0], [0.0, 0.0, 2.0]]),
            [6.0; 3]
        );
        assert_eq!(
            area_below([[0.0, 0.0, 2.0], [4.0, 0.0, 2.0], [0.0, 0.0, -2.0]]),
            [2.0; 3]
        );
        assert_eq!(
            area_below([[0.0, 0.0, -4.0], [4.0, 0.0, -4.0], [0.0, 0.0, 0.0]]),
            [8.0; 3]
        );
        assert_eq!(
            area_below([[0.0, 0.0, 4.0], [4.0, 0.0, 4.0], [0.0, 0.0, 0.0]]),
            [0.0; 3]
        );
    }

    #[test]
    fn only_what_ends_at_the_parting_level_is_cut_there() {
        let corners = [[0.0, 0.0, -2.0], [4.0, 0.0, -2.0], [0.0, 0.0, 2.0]].map(Point::from);
        let facet = |top: f64| Facet {
            triangle: 0,
            hollow: 0,
            normal: Vector::y(),
            area: 0.0,
            centroid: Point::origin(),
            z: [-2.0, top],
            draft_deg: 0.0,
            spread_deg: [0.0; 2],
            corners_deg: [0.0; 3],
            noise_deg: 0.0,
            chord_error: 0.0,
            chord_near: 0.0,
        };
        let area = |part: &[Point]| area_centroid(part).map(|(area, _)| area);
        assert_eq!(area(&part_of(&facet(0.0), corners)), Some(6.0));
        // where the parting is not flat the facet goes on
        assert_eq!(area(&part_of(&facet(2.0), corners)), Some(8.0));
        let below = corners.map(|p| p - Vector::z() * 3.0);
        assert_eq!(part_of(&facet(-1.0), below), below.to_vec());
    }

    #[test]
    fn halves_of_a_triangle_add_up_and_are_no_larger_than_the_spacing() {
        let corners = [[0.0, 0.0, 0.0], [7.0, 0.0, 0.0], [0.0, 3.0, 0.0]].map(Point::from);
        let (mut sum, mut moment) = (0.0, Vector::zeros());
        split(corners, 0.25, &mut |at, area| {
            // half of a square whose sides are half a millimetre
            assert!(area > 0.0 && area <= 0.125 + 1e-12, "{area}");
            sum += area;
            moment += at.coords * area;
        });
        assert!((sum - 10.5).abs() < 1e-9, "{sum}");
        assert!((moment / sum - Vector::new(7.0 / 3.0, 1.0, 0.0)).norm() < 1e-9);
    }
}
