//! Reach: what each cutter touches of the visible cavity surface, and what it leaves.

use super::cutting::{Cutting, Nearest, TOUCH, nearest_centre};
use super::shade::Shade;
use super::sharp::Sharp;
use super::surface::{Sample, Surface};
use crate::field::{BallOffset, Dropper, Grid, Profile, Rays};
use crate::mesh::{Point, Vector};
use crate::report::HollowKind;
use crate::setup::{Half, Survey};
use rayon::prelude::*;

/// Nodes per cutting radius: leaves δ²/8R = R/4600 between nodes on gentle slopes.
const NODES_PER_RADIUS: f64 = 24.0;
/// Most nodes for one cutter.
const MOST_NODES: f64 = 3e6;
/// Samples per cutting radius along the surface.
const SAMPLES_PER_RADIUS: f64 = 8.0;
/// Most samples over the flat parts of one cavity.
const MOST_SAMPLES: f64 = 150_000.0;

/// What stands ready for all cutters of one half.
pub struct Ground<'m> {
    /// The half.
    pub half: &'m Half,
    /// Its columns and hollows.
    pub survey: &'m Survey,
    /// Its hollows' surface.
    pub surface: &'m Surface,
    /// What is hidden.
    pub shade: &'m Shade<'m>,
    /// Its pieces that a ball can touch.
    pub pieces: &'m BallOffset<'m>,
    /// Distances to its triangles.
    pub rays: &'m Rays<'m>,
    /// Exact contacts of lowered bodies.
    pub dropper: &'m Dropper<'m>,
    /// Sharp concave edges.
    pub sharp: &'m [Sharp],
}

/// A place on the surface, and the normals of the facets that meet there.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    /// Place, tool frame.
    pub at: Point,
    /// Unit normals, out of the material.
    pub normals: Vec<Vector>,
}

/// What one cutter touches and leaves.
pub struct Reached {
    /// Visible samples of the cavity.
    pub samples: Vec<Sample>,
    /// For each sample the height left, mm (0: touched), and the centre that touches or comes nearest.
    pub nearest: Vec<Nearest>,
    /// Largest height left, and its place.
    pub worst: Option<(f64, Point)>,
    /// Its ±.
    pub worst_pm: f64,
    /// Area left higher than the leave, mm².
    pub left_area: f64,
    /// Its ±.
    pub left_area_pm: f64,
    /// Visible space not covered, mm³.
    pub left_volume: f64,
    /// Its ±.
    pub left_volume_pm: f64,
}

impl<'m> Ground<'m> {
    /// Visible cavity samples about `spacing` mm apart.
    pub fn visible(&self, spacing: f64) -> Vec<Sample> {
        let is = |h: u32| self.survey.hollows[h as usize].kind == HollowKind::Cavity;
        let mut samples = self.surface.samples(self.half, spacing, |f| is(f.hollow));
        if self.shade.any() {
            let hidden: Vec<bool> = samples
                .par_iter()
                .map(|s| self.shade.hides(self.survey, self.surface, s))
                .collect();
            let mut hidden = hidden.into_iter();
            samples.retain(|_| hidden.next() == Some(false));
        }
        samples
    }

    /// Rectangle of the cavity in plan.
    pub fn plan(&self) -> Option<([f64; 2], [f64; 2])> {
        let mut corners = self
            .surface
            .cavity(self.survey)
            .flat_map(|(_, f)| self.half.mesh.corners(f.triangle as usize));
        let first = corners.next()?;
        let (lo, hi) = corners.fold((first, first), |(l, h), p| (l.inf(&p), h.sup(&p)));
        Some(([lo.x, lo.y], [hi.x, hi.y]))
    }

    /// The cutter over the cavity.
    pub fn cutting(&self, radius: f64, corner: f64) -> Option<Cutting<'m>> {
        let (lo, hi) = self.plan()?;
        let margin = 1.05 * radius;
        let area = (hi[0] - lo[0] + 2.0 * margin) * (hi[1] - lo[1] + 2.0 * margin);
        let cell = (radius / NODES_PER_RADIUS).max((area / MOST_NODES).sqrt());
        let grid = Grid::covering(lo, hi, margin, cell);
        Some(Cutting::new(self, radius, corner, grid))
    }

    /// Whether a cutter at `centre`, just off the surface, cuts nowhere deeper than `tolerance`, nor anywhere above on
    /// its way out. Where nothing overhangs, a ball that is clear stays clear on its way up.
    pub fn clear(&self, profile: Profile, centre: &Point, tolerance: f64) -> bool {
        match profile {
            Profile::Cutter {
                radius,
                corner_radius,
            } if corner_radius >= radius => {
                if tolerance >= radius {
                    return true;
                }
                !self.rays.any_within(centre, radius - tolerance)
                    && (!self.shade.any()
                        || self
                            .dropper
                            .clear_at(profile, centre.x, centre.y, centre.z, tolerance))
            }
            _ => self
                .dropper
                .clear_at(profile, centre.x, centre.y, centre.z, tolerance),
        }
    }

    fn spacing(&self, radius: f64) -> f64 {
        let area: f64 = self.surface.cavity(self.survey).map(|(_, f)| f.area).sum();
        (radius / SAMPLES_PER_RADIUS).max((area / MOST_SAMPLES).sqrt())
    }

    /// Judges one cutter; gives `cutting` the places between its nodes from which it touches.
    pub fn reach(&self, cutting: &mut Cutting, leave: f64) -> Reached {
        let radius = cutting.radius();
        let samples = self.visible(self.spacing(radius));
        let found: Vec<(Nearest, bool)> = samples
            .par_iter()
            .map(|s| self.touch(cutting, s, leave))
            .collect();
        let between = found.iter().filter(|f| f.1).map(|f| f.0.centre).collect();
        cutting.add_between(between);
        let nearest: Vec<Nearest> = samples
            .par_iter()
            .zip(&found)
            .map(|(s, (n, _))| {
                if n.left == 0.0 {
                    *n
                } else {
                    cutting.left(&s.at, *n)
                }
            })
            .collect();
        let cutting = &*cutting;
        let left_volume = self.left_volume(cutting, &samples, &nearest);
        let left_area: f64 = samples
            .iter()
            .zip(&nearest)
            .filter(|(_, n)| n.left > leave)
            .map(|(s, _)| s.area)
            .sum();
        let worst = self.worst(cutting, &samples, &nearest, leave);
        let chord = worst.map_or(0.0, |(_, p)| self.chord_near(&p, radius));
        // what a facet cuts off a curved corner is left too high or too low by no more than the corner's two chords,
        // seen from a ball that touches both sides of it
        let worst_pm = 2.0 * chord + 1e-3;
        let border = (4.0 * std::f64::consts::PI * left_area).sqrt();
        let depth = worst.map_or(0.0, |w| w.0);
        let spacing = self.spacing(radius);
        let left_volume_pm =
            left_area * (chord + 5e-4) + border * depth * 0.25 * spacing + 0.01 * left_volume;
        let left_area_pm = 0.5 * border * spacing;
        Reached {
            samples,
            nearest,
            worst,
            worst_pm,
            left_area,
            left_area_pm,
            left_volume,
            left_volume_pm,
        }
    }

    /// Depth to which a contact may seem to cut because facets stand for a curved surface.
    pub(super) fn slack(&self, facet: u32, leave: f64) -> f64 {
        let chord = self.surface.facets[facet as usize].chord_near;
        TOUCH + chord.min(0.25 * leave)
    }

    /// Whether the cutter touches a sample, cheapest question first; true beside it if only between the nodes.
    fn touch(&self, cutting: &Cutting, sample: &Sample, leave: f64) -> (Nearest, bool) {
        let n = self.surface.facets[sample.facet as usize].normal;
        let centre = cutting.touching(&sample.at, &n);
        let near = cutting.left_near(&sample.at, &centre);
        // nodes may miss a contact between them by δ² / 8R on a gentle slope
        let cell = cutting.grid().cell;
        let missed = cell * cell / (4.0 * cutting.radius()) + TOUCH;
        if near.left <= missed.min(0.1 * leave) {
            return (Nearest { left: 0.0, centre }, false);
        }
        match self.rests(
            cutting.profile,
            &sample.at,
            &centre,
            self.slack(sample.facet, leave),
        ) {
            Some(centre) => (Nearest { left: 0.0, centre }, true),
            None => (near, false),
        }
    }

    /// Where a cutter comes to rest that is brought to `centre` to touch `p`: pushed out of what it cuts there; `None` if
    /// it then leaves more than `slack` at `p`. Facets lean a little off the surface they stand for, so a contact may seem
    /// to cut beside itself.
    pub(super) fn rests(
        &self,
        profile: Profile,
        p: &Point,
        centre: &Point,
        slack: f64,
    ) -> Option<Point> {
        if self.clear(profile, centre, TOUCH) {
            return Some(*centre);
        }
        match profile {
            Profile::Cutter {
                radius,
                corner_radius,
            } if corner_radius >= radius => {
                // cutting much deeper than that beside itself is no leaning facet
                if !self.clear(profile, centre, 4.0 * slack) {
                    return None;
                }
                let lean = (centre - p).try_normalize(0.0)?;
                let moved = nearest_centre(&self.half.mesh, self.rays, p, &[lean], radius)?;
                let touches = (moved - p).norm() - radius <= slack;
                (touches && (!self.shade.any() || self.clear(profile, &moved, 2.0 * TOUCH)))
                    .then_some(moved)
            }
            _ => self.clear(profile, centre, slack).then_some(*centre),
        }
    }

    fn left_volume(&self, cutting: &Cutting, samples: &[Sample], nearest: &[Nearest]) -> f64 {
        let parts: Vec<f64> = samples
            .par_iter()
            .zip(nearest)
            .map(|(s, n)| {
                let up = self.surface.facets[s.facet as usize].normal.z;
                if n.left == 0.0 || up <= 0.0 {
                    return 0.0;
                }
                // what stands above the parting level is not cavity
                let covered = cutting
                    .covered_from(s.at.x, s.at.y)
                    .min(self.survey.parting_at(s.at.x, s.at.y));
                s.area * up * (covered - s.at.z).max(0.0)
            })
            .collect();
        parts.iter().sum()
    }

    /// Largest height left over samples, sharp edges and corners of facets that are not touched, each moved to the
    /// nearest place that the triangles allow.
    fn worst(
        &self,
        cutting: &Cutting,
        samples: &[Sample],
        nearest: &[Nearest],
        leave: f64,
    ) -> Option<(f64, Point)> {
        let mut candidates: Vec<(Nearest, Place)> = samples
            .iter()
            .zip(nearest)
            .filter(|(_, n)| n.left > 0.0)
            .map(|(s, n)| {
                (
                    *n,
                    Place {
                        at: s.at,
                        normals: vec![self.surface.facets[s.facet as usize].normal],
                    },
                )
            })
            .collect();
        // corners of facets that are not touched, unless touched from one of those facets
        let mut corners: Vec<(u32, u32)> = samples
            .iter()
            .zip(nearest)
            .filter(|(_, n)| n.left > 0.0)
            .flat_map(|(s, _)| {
                let t = self.surface.facets[s.facet as usize].triangle;
                self.half.mesh.triangles[t as usize].map(|v| (v, s.facet))
            })
            .collect();
        corners.par_sort_unstable();
        corners.dedup();
        let by_corner: Vec<&[(u32, u32)]> = corners.chunk_by(|a, b| a.0 == b.0).collect();
        let mut places: Vec<Place> = by_corner
            .into_par_iter()
            .filter_map(|facets| {
                let at = self.half.mesh.vertices[facets[0].0 as usize];
                let normals: Vec<Vector> = facets
                    .iter()
                    .map(|&(_, f)| self.surface.facets[f as usize].normal)
                    .collect();
                let slack = facets
                    .iter()
                    .map(|&(_, f)| self.slack(f, leave))
                    .fold(0.0, f64::max);
                let touched = normals.iter().any(|n| {
                    self.rests(cutting.profile, &at, &cutting.touching(&at, n), slack)
                        .is_some()
                });
                (at.z < 0.0 && !touched).then_some(Place { at, normals })
            })
            .collect();
        places.extend(self.sharp.iter().flat_map(|s| s.places.iter().cloned()));
        let off = self.half.tolerance();
        let lone: Vec<(Nearest, Place)> = places
            .into_par_iter()
            .filter(|p| {
                !self
                    .shade
                    .covers(self.survey, &Point::new(p.at.x, p.at.y, p.at.z + off))
            })
            .map(|p| {
                let far = Nearest {
                    left: f64::INFINITY,
                    centre: p.at,
                };
                (cutting.left(&p.at, far), p)
            })
            .collect();
        candidates.extend(lone);
        candidates.sort_by(|a, b| {
            b.0.left
                .total_cmp(&a.0.left)
                .then(a.1.at.z.total_cmp(&b.1.at.z))
                .then(a.1.at.x.total_cmp(&b.1.at.x))
                .then(a.1.at.y.total_cmp(&b.1.at.y))
        });
        let mut best: Option<(f64, Point)> = None;
        for chunk in candidates.chunks(16) {
            // what the nodes say is an upper bound
            let floor = best.map_or(0.0, |b: (f64, Point)| b.0);
            if chunk[0].0.left <= floor + (1e-3 * floor).max(2e-4) {
                break;
            }
            let refined: Vec<(f64, Point)> = chunk
                .par_iter()
                .map(|(n, p)| (cutting.refine(&p.at, &p.normals, *n).left, p.at))
                .collect();
            for r in refined {
                if best.is_none_or(|b| r.0 > b.0) {
                    best = Some(r);
                }
            }
        }
        best.or_else(|| samples.first().map(|s| (0.0, s.at)))
    }

    /// Largest chord error of the cavity's facets within `reach` of `p`.
    fn chord_near(&self, p: &Point, reach: f64) -> f64 {
        let near = |f: &super::surface::Facet| (f.centroid - p).norm() <= reach;
        self.surface
            .cavity(self.survey)
            .filter(|(_, f)| near(f))
            .map(|(_, f)| f.chord_error)
            .fold(0.0, f64::max)
    }
}
