//! What a cutter leaves at the samples of the cavity's surface, group by group.
//!
//! On a mesh that is finer than the samples need be, such as a scan of millions of facets, most of the samples of a group are told
//! by the one that seems to be cut most: places near each other are touched, or missed, from nearly the same place.

use super::Ground;
use crate::field::Nearest;
use crate::mesh::Point;
use crate::vet::cutting::Cutting;
use crate::vet::surface::Sample;
use rayon::prelude::*;
use std::cell::Cell;
use std::ops::Range;

/// Samples that one thread judges in a row.
const AT_A_TIME: usize = 256;
/// Groups take in a facet only if its longest side is no longer than this share of the spacing asked for.
const SMALL: f64 = 0.5;
/// Parts into which each component of a group's normals is divided: within 0.4 of each other.
const NORMALS: f64 = 2.5;

/// Samples, those of one group in a row.
pub struct Groups {
    /// The samples.
    pub samples: Vec<Sample>,
    /// Distance between them, mm, about; smaller facets have one each.
    pub spacing: f64,
    /// Where each group ends.
    ends: Vec<usize>,
}

impl Groups {
    /// Each sample by itself.
    pub fn single(samples: Vec<Sample>, spacing: f64) -> Groups {
        let ends = (1..=samples.len()).collect();
        Groups {
            samples,
            spacing,
            ends,
        }
    }

    /// Whether some samples are judged by others.
    pub fn shared(&self) -> bool {
        self.ends.len() < self.samples.len()
    }

    /// Number of groups.
    pub fn len(&self) -> usize {
        self.ends.len()
    }

    /// Samples on small facets in groups of nearly one normal and no wider than `spacing`, mm; each of the others by itself.
    pub fn of(ground: &Ground, samples: Vec<Sample>, spacing: f64) -> Groups {
        let small2 = (SMALL * spacing) * (SMALL * spacing);
        let key = |(k, s): (usize, &Sample)| {
            let triangle = ground.surface.facets[s.facet as usize].triangle;
            let [a, b, c] = ground.half.mesh.corners(triangle as usize);
            let longest2 = [b - a, c - b, a - c]
                .map(|side| side.norm_squared())
                .into_iter()
                .fold(0.0, f64::max);
            let cell = s.at.coords.map(|v| (v / spacing).floor() as i32);
            let facing = s.normal.map(|n| (n * NORMALS).round() as i8);
            // what is not small comes after all groups
            let alone = if longest2 > small2 { k + 1 } else { 0 };
            (
                alone,
                [cell.z, cell.y, cell.x],
                [facing.x, facing.y, facing.z],
                k,
            )
        };
        let mut keys: Vec<_> = samples.par_iter().enumerate().map(key).collect();
        keys.par_sort_unstable();
        let ends = (1..=keys.len())
            .filter(|&k| {
                k == keys.len()
                    || (keys[k].0, keys[k].1, keys[k].2)
                        != (keys[k - 1].0, keys[k - 1].1, keys[k - 1].2)
            })
            .collect();
        Groups {
            samples: keys.iter().map(|key| samples[key.3]).collect(),
            spacing,
            ends,
        }
    }

    /// What the cutter leaves at the samples by the nodes, nothing within a facet's chord error, where the triangles say that
    /// it does not touch; and where it touches with no node near, as in a hollow hardly wider than itself, its centre there.
    pub fn judged(
        &self,
        ground: &Ground,
        cutting: &Cutting,
        leave: f64,
    ) -> (Vec<Nearest>, Vec<Point>) {
        let parts = self.by_few(|groups| {
            let mut judge = Judge::new(ground, cutting, leave);
            groups.for_each(|group| judge.group(&self.samples[group]));
            (judge.nearest, judge.between)
        });
        let (nearest, between): (Vec<_>, Vec<_>) = parts.into_iter().unzip();
        (nearest.concat(), between.concat())
    }

    /// What `nearest` says is left, lowered by the places added since.
    pub fn nearer(
        &self,
        ground: &Ground,
        cutting: &Cutting,
        nearest: &[Nearest],
        leave: f64,
    ) -> Vec<Nearest> {
        let parts = self.by_few(|groups| {
            let mut judge = Judge::new(ground, cutting, leave);
            groups.for_each(|group| judge.again(&self.samples[group.clone()], &nearest[group]));
            judge.nearest
        });
        parts.concat()
    }

    /// The samples of each group.
    pub fn each(&self) -> impl Iterator<Item = Range<usize>> + '_ {
        (0..self.ends.len()).map(|k| self.group(k))
    }

    fn group(&self, k: usize) -> Range<usize> {
        k.checked_sub(1).map_or(0, |before| self.ends[before])..self.ends[k]
    }

    /// What `judge` makes of some groups in a row, in parallel.
    fn by_few<R: Send>(
        &self,
        judge: impl Fn(&mut dyn Iterator<Item = Range<usize>>) -> R + Sync,
    ) -> Vec<R> {
        let few = |first: usize| {
            let last = (first + AT_A_TIME).min(self.ends.len());
            judge(&mut (first..last).map(|k| self.group(k)))
        };
        let firsts: Vec<usize> = (0..self.ends.len()).step_by(AT_A_TIME).collect();
        firsts.into_par_iter().map(few).collect()
    }
}

/// Judges samples one after the other.
struct Judge<'g> {
    ground: &'g Ground<'g>,
    cutting: &'g Cutting<'g>,
    leave: f64,
    /// The triangle that last was in the cutter's way.
    last_met: Cell<Option<u32>>,
    /// The free place last found.
    last_free: Option<Point>,
    nearest: Vec<Nearest>,
    /// Places where it touches with no node near.
    between: Vec<Point>,
}

impl<'g> Judge<'g> {
    fn new(ground: &'g Ground, cutting: &'g Cutting, leave: f64) -> Judge<'g> {
        Judge {
            ground,
            cutting,
            leave,
            last_met: Cell::new(None),
            last_free: None,
            nearest: Vec::new(),
            between: Vec::new(),
        }
    }

    fn slack(&self, sample: &Sample) -> f64 {
        self.ground.slack(sample.facet, self.leave)
    }

    /// Judges the samples of one group: the one that the nodes show to be cut most, and by it the others. Where the nodes tell
    /// nothing each is judged by itself.
    fn group(&mut self, samples: &[Sample]) {
        let cut = |s: &Sample| {
            let centre = self.cutting.touching(&s.at, &s.normal);
            (self.cutting.shown_cut(&centre), centre)
        };
        let cuts: Vec<(f64, Point)> = samples.iter().map(cut).collect();
        let shown = (0..cuts.len()).filter(|&k| cuts[k].0.is_finite());
        let most = shown.reduce(|a, b| if cuts[b].0 > cuts[a].0 { b } else { a });
        let told = most.map(|k| (k, self.sample(&samples[k], cuts[k])));
        for (k, s) in samples.iter().enumerate() {
            let (cut, centre) = cuts[k];
            let nearest = match &told {
                Some((most, told)) if k == *most => *told,
                Some((_, told))
                    if cut <= self.slack(s) || (cut.is_finite() && told.left == 0.0) =>
                {
                    Nearest { left: 0.0, centre }
                }
                Some((_, told)) if cut.is_finite() => self.beside(s, cuts[k], told),
                _ => self.sample(s, cuts[k]),
            };
            self.nearest.push(nearest);
        }
    }

    /// Judges a sample that is cut as shown with the cutter's centre there.
    fn sample(&mut self, sample: &Sample, (cut, centre): (f64, Point)) -> Nearest {
        let slack = self.slack(sample);
        let touched = Nearest { left: 0.0, centre };
        if cut <= slack {
            return touched;
        }
        if self.cutting.free_after(&centre, slack, &self.last_met) {
            if cut > self.cutting.grid().cell {
                self.between.push(centre);
            }
            return touched;
        }
        let near = match &self.last_free {
            Some(free) => self.cutting.left_after(&sample.at, free),
            None => self.cutting.left(&sample.at),
        };
        self.last_free = near.left.is_finite().then_some(near.centre);
        slight(near, slack)
    }

    /// Judges a sample by what is `told` of the one in its group that is cut most: the place there is free for both. By itself where
    /// more than the leave seems to stay here and not there; else that is so on both sides of a border no farther off than the
    /// samples are spaced.
    fn beside(&mut self, sample: &Sample, cut: (f64, Point), told: &Nearest) -> Nearest {
        let near = self.cutting.places.left_from(&told.centre, &sample.at);
        if near.left > self.leave && told.left <= self.leave {
            return self.sample(sample, cut);
        }
        slight(near, self.slack(sample))
    }

    /// Judges one group again. A sample by itself has been held against all earlier places, so the last batch is enough; of a larger
    /// group only one was, so all are asked.
    fn again(&mut self, samples: &[Sample], nearest: &[Nearest]) {
        let left = |k: &usize| nearest[*k].left;
        let most = (0..samples.len()).reduce(|a, b| if left(&b) > left(&a) { b } else { a });
        let Some(most) = most else { return };
        let places = &self.cutting.places;
        let asked = |s: &Sample, n: Nearest| {
            let near = match samples.len() {
                1 => places.left_by_last(&s.at, n),
                _ => places.left(&s.at, n),
            };
            slight(near, self.slack(s))
        };
        let told = match left(&most) > 0.0 {
            true => asked(&samples[most], nearest[most]),
            false => nearest[most],
        };
        let judged = |(k, (s, n)): (usize, (&Sample, &Nearest))| {
            if k == most {
                return told;
            }
            if n.left == 0.0 {
                return *n;
            }
            let by_told = places.left_from(&told.centre, &s.at);
            let near = if by_told.left < n.left { by_told } else { *n };
            match near.left > self.leave && told.left <= self.leave {
                true => asked(s, near),
                false => slight(near, self.slack(s)),
            }
        };
        let judged: Vec<Nearest> = (samples.iter().zip(nearest).enumerate())
            .map(judged)
            .collect();
        self.nearest.extend(judged);
    }
}

/// What lies within a facet's chord error is not left.
fn slight(near: Nearest, slack: f64) -> Nearest {
    let left = if near.left <= slack { 0.0 } else { near.left };
    Nearest { left, ..near }
}
