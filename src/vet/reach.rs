//! Reach: what each cutter touches of the visible cavity surface, and what it leaves.

use super::cutting::{Cutting, TOUCH};
use super::left::left_volume;
use super::shade::Shade;
use super::sharp::{Sharp, sharp_edges};
use super::surface::{Sample, Surface};
use crate::field::{BallOffset, Dropper, Grid, Nearest, Rays};
use crate::mesh::{Creases, Point, Vector};
use crate::report::HollowKind;
use crate::setup::{Half, Survey};
use rayon::prelude::*;
use std::sync::Arc;

mod area;
mod judged;
mod worst;

pub use judged::Groups;

/// Nodes per cutting radius: leaves δ²/8R = R/4600 between nodes on gentle slopes.
const NODES_PER_RADIUS: f64 = 24.0;
/// Most nodes for one cutter.
const MOST_NODES: f64 = 3e6;
/// Samples per cutting radius along the surface.
const SAMPLES_PER_RADIUS: f64 = 8.0;
/// Most samples over the flat parts of one cavity.
const MOST_SAMPLES: f64 = 50_000.0;

/// A wall is steep if its normal rises by less than this.
const STEEP: f64 = 0.3;
/// Most places in upright corners that are sought exactly.
const MOST_CORNERS: usize = 600;
/// What answers where a mesh is met, however its edges are read.
pub struct Contacts<'m> {
    /// Distances to its triangles.
    pub rays: Rays<'m>,
    /// Exact contacts of lowered bodies.
    pub dropper: Dropper<'m>,
    /// Its pieces that a ball can touch.
    pub pieces: BallOffset<'m>,
}

impl<'m> Contacts<'m> {
    /// Sorts the mesh of `half`.
    pub fn of(half: &'m Half) -> Contacts<'m> {
        let (rays, (dropper, pieces)) = rayon::join(
            || Rays::new(&half.mesh),
            || {
                (
                    Dropper::new(&half.mesh),
                    BallOffset::new(&half.mesh, &half.topology),
                )
            },
        );
        Contacts {
            rays,
            dropper,
            pieces,
        }
    }
}

/// What stands ready for all cutters of one half, in one reading of its edges.
pub struct Ground<'m> {
    /// The half.
    pub half: &'m Half,
    /// Its columns and hollows.
    pub survey: &'m Survey,
    /// Where its mesh is met.
    pub contacts: &'m Contacts<'m>,
    /// Its hollows' surface.
    pub surface: Surface,
    /// What is hidden.
    pub shade: Shade<'m>,
    /// Sharp concave edges.
    pub sharp: Vec<Sharp>,
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
    pub groups: Arc<Groups>,
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

impl Reached {
    /// Its samples, each with what is left there.
    pub fn judged(&self) -> impl Iterator<Item = (&Sample, &Nearest)> + '_ {
        self.groups.samples.iter().zip(&self.nearest)
    }

    /// Samples that are not touched, with what is left there, mm.
    pub fn untouched(&self) -> impl Iterator<Item = (f64, Sample)> + '_ {
        let left = self.judged().filter(|(_, n)| n.left > 0.0);
        left.map(|(s, n)| (n.left, *s))
    }
}

impl<'m> Ground<'m> {
    /// Reads the hollows' surface of `half` with its edges read as `creases` says.
    pub fn of(
        half: &'m Half,
        survey: &'m Survey,
        contacts: &'m Contacts<'m>,
        creases: Creases,
    ) -> Ground<'m> {
        let surface = Surface::of(half, survey, creases);
        let shade = Shade::of(half, survey, &surface, &contacts.rays);
        let sharp = sharp_edges(half, survey, &surface, &shade);
        Ground {
            half,
            survey,
            contacts,
            surface,
            shade,
            sharp,
        }
    }

    /// Visible cavity samples about `spacing` mm apart.
    pub fn visible(&self, spacing: f64) -> Vec<Sample> {
        let is = |h: u32| self.survey.hollows[h as usize].kind == HollowKind::Cavity;
        let mut samples = self
            .surface
            .samples(self.half, spacing, |_, f| is(f.hollow));
        if self.shade.any() {
            let hides = |s: &Sample| self.shade.hides(&self.surface, s);
            let hidden: Vec<bool> = samples.par_iter().map(hides).collect();
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
    pub fn cutting<'g>(&'g self, radius: f64, corner: f64) -> Option<Cutting<'g>> {
        let fine = radius / NODES_PER_RADIUS;
        self.cutting_on(radius, corner, |area| fine.max((area / MOST_NODES).sqrt()))
    }

    /// A ball over the cavity on a grid of about `nodes` nodes.
    pub fn with_nodes<'g>(&'g self, radius: f64, nodes: f64) -> Option<Cutting<'g>> {
        self.cutting_on(radius, radius, |area| (area / nodes).sqrt())
    }

    /// The cutter on nodes as far apart as `cell` says for the area that they cover.
    fn cutting_on<'g>(
        &'g self,
        radius: f64,
        corner: f64,
        cell: impl Fn(f64) -> f64,
    ) -> Option<Cutting<'g>> {
        let (lo, hi) = self.plan()?;
        let margin = 1.05 * radius;
        let area = (hi[0] - lo[0] + 2.0 * margin) * (hi[1] - lo[1] + 2.0 * margin);
        let grid = Grid::covering(lo, hi, margin, cell(area));
        Some(Cutting::new(self, radius, corner, grid))
    }

    /// Samples to judge a cutter of `radius` mm by: those `kept` from the one before, with the spacing that was asked for, where the
    /// same is asked.
    pub fn samples_for(&self, radius: f64, kept: &mut Option<(f64, Arc<Groups>)>) -> Arc<Groups> {
        let area: f64 = self.surface.cavity(self.survey).map(|(_, f)| f.area).sum();
        let spacing = (radius / SAMPLES_PER_RADIUS).max((area / MOST_SAMPLES).sqrt());
        let most = 0.5 * radius;
        let serves = |k: &&(f64, Arc<Groups>)| k.0 == spacing && k.1.spacing <= most.max(spacing);
        if let Some((_, same)) = kept.as_ref().filter(serves) {
            return same.clone();
        }
        let groups = Arc::new(self.groups(spacing, most));
        *kept = Some((spacing, groups.clone()));
        groups
    }

    /// Samples `spacing` apart, farther where they would be too many, but not beyond `most`.
    fn groups(&self, mut spacing: f64, most: f64) -> Groups {
        let many = 2.0 * MOST_SAMPLES;
        let samples = self.visible(spacing);
        if samples.len() as f64 <= many {
            return Groups::single(samples, spacing);
        }
        // many small facets take at least one sample each
        let mut groups = Groups::of(self, samples, spacing);
        // long thin facets take more than their area calls for
        while groups.len() as f64 > many && groups.samples.len() as f64 > many && spacing < most {
            spacing *= 2.0;
            groups = Groups::of(self, self.visible(spacing), spacing);
        }
        groups
    }

    /// Judges one cutter at the samples of `groups`.
    pub fn reach(&self, cutting: &mut Cutting, leave: f64, groups: Arc<Groups>) -> Reached {
        let (mut nearest, between) = groups.judged(self, cutting, leave);
        // between the nodes where samples are left
        let left = (groups.samples.iter().zip(&nearest)).filter(|(_, n)| n.left > 0.0);
        let open: Vec<(Point, f64)> = left.map(|(s, n)| (s.at, n.left)).collect();
        cutting.look_between(&open, leave, between);
        nearest = groups.nearer(self, cutting, &nearest, leave);
        let samples = &groups.samples;
        let corners = self.corners(cutting, samples, &nearest);
        let mut pits = match cutting.is_ball() {
            true => cutting.pits(0.2 * leave),
            false => Vec::new(),
        };
        pits.truncate(MOST_CORNERS);
        if !corners.is_empty() || !pits.is_empty() {
            cutting.add_corners(&corners, &pits);
            nearest = groups.nearer(self, cutting, &nearest, leave);
        }
        let cutting = &*cutting;
        let judged = (&samples[..], &nearest[..]);
        let (worst, worst_pm) = match worst::worst(self, cutting, judged, leave) {
            Some((left, at, pm)) => (Some((left, at)), pm),
            None => (None, 0.0),
        };
        let (left_area, left_area_pm) =
            area::left_area(cutting, (&groups, &nearest), leave, worst_pm);
        let (left_volume, left_volume_pm) =
            left_volume(self, cutting, (&groups, &nearest), leave, worst_pm);
        Reached {
            groups,
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

    /// Samples on steep walls that are not touched, the one with the most left in each cell of the nodes' grid, the most left
    /// first: where an upright corner may hold more than the nodes show.
    fn corners(
        &self,
        cutting: &Cutting,
        samples: &[Sample],
        nearest: &[Nearest],
    ) -> Vec<(Point, Vector, Nearest)> {
        let grid = cutting.grid();
        let mut steep: Vec<(usize, usize)> = (samples.iter().zip(nearest).enumerate())
            .filter(|(_, (s, n))| n.left > 0.0 && s.normal.z.abs() < STEEP)
            .filter_map(|(k, (s, _))| {
                let (i, j) = grid.cell_at(s.at.x, s.at.y)?;
                Some((grid.index(i, j), k))
            })
            .collect();
        let left = |k: usize| nearest[k].left;
        steep.par_sort_by(|a, b| {
            (a.0.cmp(&b.0))
                .then(left(b.1).total_cmp(&left(a.1)))
                .then(a.1.cmp(&b.1))
        });
        steep.dedup_by_key(|s| s.0);
        steep.sort_by(|a, b| left(b.1).total_cmp(&left(a.1)).then(a.1.cmp(&b.1)));
        steep.truncate(MOST_CORNERS);
        let of = |&(_, k): &(usize, usize)| (samples[k].at, samples[k].normal, nearest[k]);
        steep.iter().map(of).collect()
    }
}
