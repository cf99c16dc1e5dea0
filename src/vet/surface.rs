//! The cavity's surface: its facets below the parting level, and samples spread over them.

use crate::mesh::{Creases, Point, Vector, noise_deg};
use crate::report::HollowKind;
use crate::setup::{Half, Parting, Survey};

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
    /// Angle by which rounding may tilt it, degrees.
    pub noise_deg: f64,
    /// Distance between it and the surface it stands for, mm.
    pub chord_error: f64,
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
    /// Facet it lies on.
    pub facet: u32,
    /// Area it stands for, mm².
    pub area: f64,
}

impl Surface {
    /// The facets of `half` that bound its hollows.
    pub fn of(half: &Half, survey: &Survey, crease_deg: f64) -> Surface {
        let mesh = &half.mesh;
        let creases = Creases::read(mesh, &half.topology, crease_deg, half.rounding);
        let mut facets = Vec::new();
        let mut of_triangle = vec![None; mesh.triangles.len()];
        for (t, owner) in survey.owner.iter().enumerate() {
            let (Some(hollow), Some(normal)) = (*owner, mesh.normal(t)) else { continue };
            let flat = !matches!(half.parting, Parting::Contact { .. });
            let part = if flat { below(mesh.corners(t)) } else { mesh.corners(t).to_vec() };
            let Some((area, centroid)) = area_centroid(&part) else { continue };
            let low = part.iter().map(|p| p.z).fold(f64::INFINITY, f64::min);
            let high = part.iter().map(|p| p.z).fold(f64::NEG_INFINITY, f64::max);
            of_triangle[t] = Some(facets.len() as u32);
            facets.push(Facet {
                triangle: t as u32,
                hollow,
                normal,
                area,
                centroid,
                z: [low, high],
                draft_deg: draft_deg(&normal),
                spread_deg: [0.0; 2],
                noise_deg: noise_deg(mesh, t, half.rounding),
                chord_error: f64::from(creases.chord_error[t]),
            });
        }
        let mut surface = Surface { facets, of_triangle, creases };
        surface.spread(half);
        surface
    }

    /// Facets of hollows of kind cavity.
    pub fn cavity<'a>(&'a self, survey: &'a Survey) -> impl Iterator<Item = (usize, &'a Facet)> + 'a {
        let is = |f: &Facet| survey.hollows[f.hollow as usize].kind == HollowKind::Cavity;
        self.facets.iter().enumerate().filter(move |(_, f)| is(f))
    }

    /// Across each smooth edge a facet stands for its share of the turn towards its neighbour.
    fn spread(&mut self, half: &Half) {
        let drafts: Vec<f64> = self.facets.iter().map(|f| f.draft_deg).collect();
        for (e, edge) in half.topology.edges.iter().enumerate() {
            let (a, Some(b)) = edge.triangles else { continue };
            if !self.creases.smooth[e] {
                continue;
            }
            let share = self.creases.share[e];
            for (own, other, share) in [(a, b, share[0]), (b, a, share[1])] {
                let (Some(own), Some(other)) = (self.of_triangle[own as usize], self.of_triangle[other as usize])
                else {
                    continue;
                };
                let towards = f64::from(share) * (drafts[other as usize] - drafts[own as usize]);
                let spread = &mut self.facets[own as usize].spread_deg;
                spread[0] = spread[0].max(-towards);
                spread[1] = spread[1].max(towards);
            }
        }
        self.even_out(half);
        // where the surface ends at the parting face it goes on turning to the facet's own rim
        self.spread_at_rims(half);
    }

    /// Slivers in a curved surface stand for as much as the facets about them: spread and chord error are the largest of
    /// a facet and its neighbours across curved edges.
    fn even_out(&mut self, half: &Half) {
        let own: Vec<([f64; 2], f64)> = self.facets.iter().map(|f| (f.spread_deg, f.chord_error)).collect();
        for (e, edge) in half.topology.edges.iter().enumerate() {
            let (a, Some(b)) = edge.triangles else { continue };
            let share = self.creases.share[e];
            for (to, from, share) in [(a, b, share[0]), (b, a, share[1])] {
                let (Some(to), Some(from)) = (self.of_triangle[to as usize], self.of_triangle[from as usize]) else {
                    continue;
                };
                let flat = !self.creases.smooth[e] || (share == 0.0 && own[to as usize].1 == 0.0);
                if !flat {
                    let (spread, chord) = own[from as usize];
                    let f = &mut self.facets[to as usize];
                    f.spread_deg = [f.spread_deg[0].max(spread[0]), f.spread_deg[1].max(spread[1])];
                    f.chord_error = f.chord_error.max(chord);
                }
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

    /// Samples no farther apart than about `spacing` mm over the facets that `wanted` takes.
    pub fn samples(&self, half: &Half, spacing: f64, wanted: impl Fn(&Facet) -> bool) -> Vec<Sample> {
        let mut samples = Vec::new();
        for (k, facet) in self.facets.iter().enumerate().filter(|(_, f)| wanted(f)) {
            let corners = half.mesh.corners(facet.triangle as usize);
            let part = if facet.z[1] <= 0.0 && corners.iter().any(|p| p.z > 0.0) {
                below(corners)
            } else {
                corners.to_vec()
            };
            for i in 1..part.len() - 1 {
                split([part[0], part[i], part[i + 1]], spacing * spacing, &mut |at, area| {
                    samples.push(Sample { at, facet: k as u32, area });
                });
            }
        }
        samples
    }
}

/// Draft of a surface with unit normal `n`, degrees: asin of its component along the axis.
pub fn draft_deg(n: &Vector) -> f64 {
    // atan2 keeps its digits near 90°, where asin loses half of them
    n.z.atan2(n.x.hypot(n.y)).to_degrees()
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
    let sides = [(b - a).norm_squared(), (c - b).norm_squared(), (a - c).norm_squared()];
    let longest = (0..3).max_by(|&i, &j| sides[i].total_cmp(&sides[j])).unwrap_or(0);
    if sides[longest] <= 2.0 * spacing2 {
        let area = 0.5 * (b - a).cross(&(c - a)).norm();
        if area > 0.0 {
            emit(Point::from((a.coords + b.coords + c.coords) / 3.0), area);
        }
        return;
    }
    let (p, q, r) = (corners[longest], corners[(longest + 1) % 3], corners[(longest + 2) % 3]);
    let middle = nalgebra::center(&p, &q);
    split([p, middle, r], spacing2, emit);
    split([middle, q, r], spacing2, emit);
}
