//! Parallel passes of one ball over the cavity: cusps for a step and direction, the step for a wanted cusp height, the
//! direction of least time, the one of most even cusps, and passes at right angles where one direction does not do.
//!
//! Directions are degrees from the tool frame's X, counter-clockwise seen from the spindle, 0 to 180 in results. Lengths,
//! radii and steps are mm.

use super::curve::Form;
use super::cusp;
use super::places::Place;
use super::time::Passes;
use crate::mesh::{Mesh, Point, Vector};
use rayon::prelude::*;
use std::collections::BTreeMap;

/// Directions tried first, and the steps in which the best is then moved, degrees.
const COARSE_DEG: f64 = 3.0;
/// See [`COARSE_DEG`].
const FINE_DEG: f64 = 0.25;
/// No step is taken finer than this share of that on level ground: what it does not do is told instead.
const FINEST: f64 = 0.2;
/// Most patches in the first search of a direction.
const FEW: usize = 2500;

/// A piece of surface that the ball touches.
#[derive(Debug, Clone, Copy)]
pub struct Patch {
    normal: Vector,
    triangle: u32,
    area: f64,
    /// Area of the ball's centres over it, mm².
    centre_area: f64,
    hollow: u32,
    at: Point,
}

/// The surface that one ball touches, in patches; tool frame.
#[derive(Debug, Clone)]
pub struct Sheet<'a> {
    form: &'a Form,
    radius: f64,
    patches: Vec<Patch>,
}

/// What is wanted of passes, and how fast they are run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rules {
    /// Cusp height, mm.
    pub height: f64,
    /// Share of the surface that must be within it, 0 to 1.
    pub share: f64,
    /// Feed, mm/min.
    pub feed: f64,
    /// Acceleration, mm/s².
    pub acceleration: f64,
}

/// Passes in one direction, and those at right angles where they are needed.
#[derive(Debug, Clone, PartialEq)]
pub struct Way {
    /// Direction of the passes, degrees.
    pub direction_deg: f64,
    /// Step in plan, mm.
    pub step: f64,
    /// Share of the surface within the wanted height, 0 to 1.
    pub share: f64,
    /// The passes.
    pub passes: Passes,
    /// Those at right angles, in the same step, over the part that needs them; `None`: one direction alone.
    pub crossing: Option<Passes>,
    /// Area of that part, mm².
    pub crossing_area: f64,
    /// Time, min.
    pub minutes: f64,
}

/// Cusps over a surface.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cusps {
    /// Height that half of the area is within, mm.
    pub median: f64,
    /// Height that 95 % of the area is within, mm.
    pub most: f64,
    /// Largest, mm; infinite where passes do not meet.
    pub largest: f64,
    /// Share of the area within the wanted height, 0 to 1.
    pub share: f64,
}

impl<'a> Sheet<'a> {
    /// The places that a ball of `radius` touches or leaves no more than `leave` at; `left` is what it leaves at each, mm.
    pub fn of(form: &'a Form, radius: f64, places: &[Place], left: &[f64], leave: f64) -> Self {
        let patches = places
            .iter()
            .zip(left)
            .filter(|(p, left)| p.area > 0.0 && **left <= leave)
            .map(|(p, _)| Patch {
                normal: p.normal,
                triangle: p.triangle,
                area: p.area,
                centre_area: p.area * form.offset_area(p.triangle as usize, radius),
                hollow: p.hollow,
                at: p.at,
            })
            .collect();
        Sheet {
            form,
            radius,
            patches,
        }
    }

    /// All of `mesh`, whose form `form` is, tool frame, that faces the spindle and that `take` takes by its centroid: one patch a
    /// triangle, in their order.
    pub fn of_mesh(
        form: &'a Form,
        mesh: &Mesh,
        radius: f64,
        take: impl Fn(&Point) -> bool,
    ) -> Self {
        let patches = (0..mesh.triangles.len())
            .filter_map(|t| {
                let [a, b, c] = mesh.corners(t);
                let at = Point::from((a.coords + b.coords + c.coords) / 3.0);
                let area = mesh.area(t);
                (area > 0.0 && mesh.normal(t)?.z > 0.0 && take(&at)).then(|| Patch {
                    normal: form.normal(mesh, t, &at),
                    triangle: t as u32,
                    area,
                    centre_area: area * form.offset_area(t, radius),
                    hollow: 0,
                    at,
                })
            })
            .collect();
        Sheet {
            form,
            radius,
            patches,
        }
    }

    /// Area of the surface, mm².
    pub fn area(&self) -> f64 {
        self.patches.iter().map(|p| p.area).sum()
    }

    /// Cusp height at each patch by passes at `direction_deg` with `step`, mm; infinite where they do not meet.
    pub fn heights(&self, direction_deg: f64, step: f64) -> Vec<f64> {
        let c = cusp::across(direction_deg);
        let of = |p: &Patch| {
            let short = cusp::foreshortening(&p.normal, &c);
            match cusp::across_on(&p.normal, &c) {
                Some(w) if short > 0.0 => {
                    let k = self.form.curvature(p.triangle as usize, &w);
                    cusp::height(self.radius, step / short, k)
                }
                _ => f64::INFINITY,
            }
        };
        self.patches.iter().map(of).collect()
    }

    /// Largest step in plan at each patch that leaves no more than `height`, mm.
    fn steps(&self, direction_deg: f64, height: f64) -> Vec<f64> {
        let c = cusp::across(direction_deg);
        let of = |p: &Patch| match cusp::across_on(&p.normal, &c) {
            Some(w) => {
                let k = self.form.curvature(p.triangle as usize, &w);
                cusp::spacing_for(self.radius, height, k) * cusp::foreshortening(&p.normal, &c)
            }
            None => 0.0,
        };
        self.patches.iter().map(of).collect()
    }

    /// Cusps of passes at `direction_deg` with `step`, those at right angles added all over if `crossed`; `wanted` is the height
    /// that [`Cusps::share`] is within, mm.
    pub fn cusps(&self, direction_deg: f64, step: f64, crossed: bool, wanted: f64) -> Cusps {
        let mut heights = self.heights(direction_deg, step);
        if crossed {
            // where both families run, the lower cusp stays
            let other = self.heights(direction_deg + 90.0, step);
            heights
                .iter_mut()
                .zip(other)
                .for_each(|(h, o)| *h = h.min(o));
        }
        let within: f64 = self
            .patches
            .iter()
            .zip(&heights)
            .filter(|(_, h)| **h <= wanted * (1.0 + 1e-9))
            .map(|(p, _)| p.area)
            .sum();
        let mut sorted = self.by_value(&heights);
        Cusps {
            median: quantile(&mut sorted, 0.5),
            most: quantile(&mut sorted, 0.95),
            largest: heights.iter().copied().fold(0.0, f64::max),
            share: within / self.area().max(f64::MIN_POSITIVE),
        }
    }

    fn by_value(&self, values: &[f64]) -> Vec<(f64, f64)> {
        let areas = self.patches.iter().map(|p| p.area);
        let mut sorted: Vec<(f64, f64)> = values.iter().copied().zip(areas).collect();
        sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
        sorted
    }

    /// How uneven the cusps of equal steps, a tenth of the radius, are: (95th − 5th percentile) over the median; infinite where
    /// the median is 0.
    pub fn unevenness(&self, direction_deg: f64) -> f64 {
        let heights = self.heights(direction_deg, 0.1 * self.radius);
        let mut sorted = self.by_value(&heights);
        let [low, mid, high] = [0.05, 0.5, 0.95].map(|q| quantile(&mut sorted, q));
        if mid > 0.0 {
            (high - low) / mid
        } else {
            f64::INFINITY
        }
    }

    /// Passes at `direction_deg` that hold the rules, by one direction alone or with passes at right angles. The step is no finer
    /// than a fifth of that on level ground: where even this leaves too much, [`Way::share`] is less than what was asked for.
    pub fn way(&self, direction_deg: f64, crossed: bool, rules: &Rules) -> Way {
        let first = self.steps(direction_deg, rules.height);
        let second = if crossed {
            self.steps(direction_deg + 90.0, rules.height)
        } else {
            vec![0.0; first.len()]
        };
        let both: Vec<f64> = first.iter().zip(&second).map(|(a, b)| a.max(*b)).collect();
        let mut sorted = self.by_value(&both);
        let level = cusp::spacing_for(self.radius, rules.height, 0.0);
        let step = quantile(&mut sorted, 1.0 - rules.share)
            .max(FINEST * level)
            .min(2.0 * self.radius);
        let hair = step * (1.0 - 1e-9);
        let whole = self.area().max(f64::MIN_POSITIVE);
        let area = |take: &dyn Fn(usize) -> bool| -> f64 {
            let patches = self.patches.iter().enumerate();
            patches.filter(|(k, _)| take(*k)).map(|(_, p)| p.area).sum()
        };
        let share = area(&|k| both[k] >= hair) / whole;
        let passes = self.passes(direction_deg, step, |_| true);
        let needs = |k: usize| first[k] < hair && second[k] >= hair;
        let crossing = crossed.then(|| self.passes(direction_deg + 90.0, step, needs));
        let mut minutes = passes.minutes(rules.feed, rules.acceleration);
        if let Some(c) = &crossing {
            minutes += c.minutes(rules.feed, rules.acceleration);
        }
        Way {
            direction_deg: direction_deg.rem_euclid(180.0),
            step,
            share,
            passes,
            crossing,
            crossing_area: if crossed { area(&needs) } else { 0.0 },
            minutes,
        }
    }

    /// Passes over the patches that `take` takes.
    fn passes(&self, direction_deg: f64, step: f64, take: impl Fn(usize) -> bool) -> Passes {
        let c = cusp::across(direction_deg);
        let mut length = 0.0;
        let mut wide: BTreeMap<u32, [f64; 2]> = BTreeMap::new();
        for (k, p) in self.patches.iter().enumerate() {
            if !take(k) {
                continue;
            }
            length += p.centre_area * cusp::foreshortening(&p.normal, &c) / step;
            let v = p.at.coords.dot(&c);
            let w = wide
                .entry(p.hollow)
                .or_insert([f64::INFINITY, f64::NEG_INFINITY]);
            *w = [w[0].min(v), w[1].max(v)];
        }
        let count = wide.values().map(|[lo, hi]| (hi - lo) / step + 1.0).sum();
        Passes {
            length,
            count,
            step,
        }
    }

    /// For each of the places that [`Sheet::of`] took, in their order, its part of the way's time, min.
    pub fn minutes_by_patch(&self, way: &Way, rules: &Rules) -> Vec<f64> {
        let c = cusp::across(way.direction_deg);
        let d = cusp::along(way.direction_deg);
        let first = self.steps(way.direction_deg, rules.height);
        let hair = way.step * (1.0 - 1e-9);
        let lengths: Vec<f64> = self
            .patches
            .iter()
            .zip(first)
            .map(|(p, first)| {
                let mut width = cusp::foreshortening(&p.normal, &c);
                if way.crossing.is_some() && first < hair {
                    width += cusp::foreshortening(&p.normal, &d);
                }
                p.centre_area * width
            })
            .collect();
        let whole: f64 = lengths.iter().sum();
        let share = if whole > 0.0 {
            way.minutes / whole
        } else {
            0.0
        };
        lengths.into_iter().map(|l| l * share).collect()
    }

    /// Time of passes at `direction_deg` with `step`, with those at right angles where they gain if `crossed`, min.
    pub fn minutes_at(&self, direction_deg: f64, step: f64, crossed: bool, rules: &Rules) -> f64 {
        let time = |passes: Passes| passes.minutes(rules.feed, rules.acceleration);
        let first = time(self.passes(direction_deg, step, |_| true));
        if !crossed {
            return first;
        }
        let heights = self.heights(direction_deg, step);
        let others = self.heights(direction_deg + 90.0, step);
        let needs = |k: usize| gains(heights[k], others[k], rules.height);
        first + time(self.passes(direction_deg + 90.0, step, needs))
    }

    /// Where passes at `direction_deg` with `step` leave more than `height` and those at right angles leave less than they do:
    /// its area, mm², and the place where they gain most.
    pub fn crossing(&self, direction_deg: f64, step: f64, height: f64) -> (f64, Option<Point>) {
        let first = self.heights(direction_deg, step);
        let second = self.heights(direction_deg + 90.0, step);
        let mut area = 0.0;
        let mut most: Option<(f64, Point)> = None;
        for ((p, first), second) in self.patches.iter().zip(first).zip(second) {
            if !gains(first, second, height) {
                continue;
            }
            area += p.area;
            let gain = first.min(self.radius) - second;
            if most.is_none_or(|m| gain > m.0) {
                most = Some((gain, p.at));
            }
        }
        (area, most.map(|m| m.1))
    }

    /// Every few of the patches, where there are many.
    fn thinned(&self) -> Sheet<'a> {
        let every = self.patches.len().div_ceil(FEW).max(1);
        Sheet {
            form: self.form,
            radius: self.radius,
            patches: self.patches.iter().step_by(every).copied().collect(),
        }
    }

    /// The way of least time, to a quarter of a degree; if `crossed`, of the directions below 90° alone.
    pub fn best(&self, crossed: bool, rules: &Rules) -> Way {
        let thin = self.thinned();
        let direction = least(if crossed { 90.0 } else { 180.0 }, |d| {
            thin.way(d, crossed, rules).minutes
        });
        self.way(direction, crossed, rules)
    }

    /// The direction of most even cusps, degrees, and their unevenness: see [`Sheet::unevenness`].
    pub fn most_even(&self) -> (f64, f64) {
        let thin = self.thinned();
        let direction = least(180.0, |d| thin.unevenness(d));
        (direction.rem_euclid(180.0), self.unevenness(direction))
    }
}

/// Whether passes at right angles gain anything worth having where the others leave `first` and they `second` mm.
fn gains(first: f64, second: f64, height: f64) -> bool {
    first > height * (1.0 + 1e-9) && second < first
}

/// The direction in 0..`turn` at which `cost` is least: in coarse steps, then around the best in fine ones; the first of
/// equals.
fn least(turn: f64, cost: impl Fn(f64) -> f64 + Sync) -> f64 {
    let pick = |directions: Vec<f64>| {
        let costs: Vec<f64> = directions.par_iter().map(|&d| cost(d)).collect();
        let best = (0..costs.len()).min_by(|&a, &b| costs[a].total_cmp(&costs[b]));
        best.map_or(0.0, |k| directions[k])
    };
    let count = (turn / COARSE_DEG).round() as usize;
    let coarse = pick((0..count).map(|k| k as f64 * COARSE_DEG).collect());
    let around = (COARSE_DEG / FINE_DEG) as i32;
    // the coarse one first: it stays where nothing is better
    let mut fine = vec![coarse];
    fine.extend((-around..=around).map(|k| coarse + f64::from(k) * FINE_DEG));
    pick(fine)
}

/// Value below which a share `q` of the weight lies, in (value, weight) sorted by value.
fn quantile(sorted: &mut [(f64, f64)], q: f64) -> f64 {
    let whole: f64 = sorted.iter().map(|s| s.1).sum();
    let mut sum = 0.0;
    for (value, weight) in sorted.iter() {
        sum += weight;
        if sum >= q * whole * (1.0 - 1e-12) && sum > 0.0 {
            return *value;
        }
    }
    sorted.last().map_or(0.0, |s| s.0)
}
