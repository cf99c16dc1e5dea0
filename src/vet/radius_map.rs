//! The concave radius as a map: at each place of the visible cavity surface the largest ball that reaches it.

use super::cutting::TOUCH;
use super::evidence::Valued;
use super::radius::brow_in_the_way;
use super::reach::Ground;
use super::shade::BrowIndex;
use super::surface::Sample;
use crate::field::Touching;
use crate::mesh::{Point, Sets};
use crate::report;
use rayon::prelude::*;

/// Squares of the samples' spacing in the cavity's surface; halved triangles make two to four samples of each.
const SQUARES: f64 = 7000.0;
/// Most samples; of a mesh with more facets so many are taken, each for the same area.
const MOST_SAMPLES: usize = 20_000;
/// Samples in a row that start from what stopped the one before.
const CHUNK: usize = 256;
/// Radii of the steps, times a power of ten: every other number of the series R20 of ISO 3 (from memory), those that lie midway
/// between the numbers of R10, since fillets are mostly drawn with round numbers.
const LADDER: [f64; 10] = [1.12, 1.4, 1.8, 2.24, 2.8, 3.55, 4.5, 5.6, 7.1, 9.0];
/// Most regions listed for one step.
const MOST_REGIONS: usize = 8;
/// Samples no farther apart than this many spacings belong to one region if both need a small ball.
const LINK: f64 = 1.5;
/// A step says something from an area of so many times its ± on.
const TELLS: f64 = 2.0;
/// Two cells meet if their centroids are no farther apart than this share of the sum of their areas' square roots: 0.47 where
/// right isosceles triangles share a leg, 0.75 where triangles of one tenth as wide as long do.
const MEET: f64 = 0.75;
/// Cosine between the normals of neighbours, at the least: the two sides of a thin rib are none.
const SAME_SIDE: f64 = -0.5;

/// The largest ball that reaches each sample.
pub struct RadiusMap {
    /// In the order of the cells that they lie in.
    samples: Vec<Reached>,
    /// Spacing of the samples, mm.
    spacing: f64,
    /// Cells of all samples, as wide as neighbours may be apart.
    cells: Cells,
    /// Visible surface on which only the edge of an overhang holds a ball off, mm².
    overhung: f64,
    /// Largest radius that was looked for, mm.
    most: f64,
}

#[derive(Debug, Clone, Copy)]
struct Reached {
    sample: Sample,
    /// Radius of the largest ball that touches, mm; infinite beyond the most that was looked for.
    radius: f64,
    /// Its ±.
    pm: f64,
}

impl RadiusMap {
    /// Looks for the largest ball at samples of the visible surface; `None` where there is none.
    ///
    /// The ball that touches at a sample is searched exactly against the triangles. Facets stand for a curved surface, so it may
    /// cut as deep as their chord error s, and half of that more. Where it is stopped at a height h over the tangent plane, dr/ds
    /// = r / (h − s) at the most; s may be off by itself and by the chord error at the stop, and the radius by the product.
    pub fn of(ground: &Ground) -> Option<RadiusMap> {
        let (lo, hi) = ground.plan()?;
        let most = (hi[0] - lo[0]).hypot(hi[1] - lo[1]);
        let area: f64 = (ground.surface.cavity(ground.survey))
            .map(|(_, f)| f.area)
            .sum();
        let spacing = (area / SQUARES).sqrt();
        let wide = LINK * spacing;
        let samples = thinned(ground.visible(spacing), wide);
        let index = BrowIndex::new(&ground.shade.brows, 8.0 * ground.survey.grid().cell);
        let all: Vec<(Reached, bool)> = samples
            .par_chunks(CHUNK)
            .flat_map_iter(|chunk| {
                let mut near = None;
                let index = &index;
                chunk.iter().map(move |s| {
                    let (reached, ball) = reached(ground, s, most, near.as_ref());
                    near = Some(ball);
                    let held =
                        brow_in_the_way(ground, index, s, 1.05 * reached.radius.min(most) + TOUCH);
                    (reached, held)
                })
            })
            .collect();
        let overhung = (all.iter().filter(|r| r.1))
            .map(|(r, _)| r.sample.area)
            .sum();
        let samples: Vec<Reached> = all.into_iter().filter(|r| !r.1).map(|r| r.0).collect();
        let cells = Cells::of(samples.iter().map(|r| &r.sample.at), wide);
        Some(RadiusMap {
            samples,
            spacing,
            cells,
            overhung,
            most,
        })
    }

    /// The radius at places all over the visible surface, for pictures: at each the one of the nearest sample.
    pub fn valued(&self, ground: &Ground) -> Vec<Valued> {
        let triangle = |s: &Sample| ground.surface.facets[s.facet as usize].triangle;
        let places = ground.visible(self.spacing);
        places
            .par_iter()
            .filter_map(|p| {
                let away = |k: &usize| (self.samples[*k].sample.at - p.at).norm_squared();
                let nearest = self
                    .cells
                    .around(&p.at)
                    .min_by(|a, b| away(a).total_cmp(&away(b)))?;
                Some(Valued {
                    at: [p.at.x as f32, p.at.y as f32, p.at.z as f32],
                    triangle: triangle(p),
                    value: self.samples[nearest].radius.min(self.most) as f32,
                })
            })
            .collect()
    }

    /// Area and regions that need a ball smaller than each radius of a ladder, from the first step at which some surely does
    /// to the one at which all does.
    ///
    /// The ± of an area: samples whose radius may be on the other side by its own ±, and the samples along the border, on that
    /// side of it where they are more: the border may run anywhere in what they stand for.
    pub fn figures(&self, ground: &Ground) -> report::RadiusMap {
        let reached: f64 = self.samples.iter().map(|r| r.sample.area).sum();
        let visible = reached + self.overhung;
        let mut pairs = self.neighbours();
        let range = self.range_about(&pairs);
        let radius = |k: u32| self.samples[k as usize].radius;
        let joined_from = |p: &(u32, u32)| radius(p.0).max(radius(p.1));
        pairs.par_sort_by(|a, b| joined_from(a).total_cmp(&joined_from(b)).then(a.cmp(b)));
        let least = (self.samples.iter().map(|r| r.radius)).fold(f64::INFINITY, f64::min);
        let mut sets = Sets((0..self.samples.len() as u32).collect());
        let mut pairs = pairs.into_iter().peekable();
        let mut steps: Vec<report::RadiusStep> = Vec::new();
        for step in ladder(least).take_while(|r| *r <= self.most) {
            while let Some((a, b)) = pairs.next_if(|p| joined_from(p) < step) {
                sets.join(a, b);
            }
            let (area, pm) = self.area_under(step, &range);
            if steps.is_empty() && area <= TELLS * pm {
                continue;
            }
            let (places, regions) = self.regions_under(step, &mut sets, ground);
            steps.push(report::RadiusStep {
                radius_mm: step,
                area_mm2: area,
                area_mm2_pm: pm,
                share: area / visible,
                share_pm: pm / visible,
                places,
                regions,
            });
            if area >= (1.0 - 1e-9) * reached {
                break;
            }
        }
        report::RadiusMap {
            visible_area_mm2: visible,
            overhung_area_mm2: self.overhung,
            most_radius_mm: self.most,
            steps,
        }
    }

    /// Neighbouring samples on the same side of the material.
    fn neighbours(&self) -> Vec<(u32, u32)> {
        let near2 = self.cells.side * self.cells.side;
        (0..self.samples.len())
            .into_par_iter()
            .flat_map_iter(|k| {
                let own = &self.samples[k].sample;
                self.cells.around(&own.at).filter_map(move |n| {
                    let other = &self.samples[n].sample;
                    let near = n > k
                        && (other.at - own.at).norm_squared() < near2
                        && other.normal.dot(&own.normal) > SAME_SIDE;
                    near.then_some((k as u32, n as u32))
                })
            })
            .collect()
    }

    /// Smallest and largest radius of each sample and those whose cells meet its own.
    fn range_about(&self, pairs: &[(u32, u32)]) -> Vec<[f64; 2]> {
        let mut range: Vec<[f64; 2]> = self.samples.iter().map(|r| [r.radius; 2]).collect();
        let meet = |&&(a, b): &&(u32, u32)| {
            let [a, b] = [a, b].map(|k| &self.samples[k as usize].sample);
            (a.at - b.at).norm() <= MEET * (a.area.sqrt() + b.area.sqrt())
        };
        for &(a, b) in pairs.iter().filter(meet) {
            for (own, other) in [(a, b), (b, a)] {
                let radius = self.samples[other as usize].radius;
                let [lo, hi] = &mut range[own as usize];
                (*lo, *hi) = (lo.min(radius), hi.max(radius));
            }
        }
        range
    }

    /// Area that needs a ball smaller than `step`, and its ±.
    fn area_under(&self, step: f64, range: &[[f64; 2]]) -> (f64, f64) {
        let [mut area, mut surely, mut perhaps] = [0.0; 3];
        let mut border = [0.0; 2];
        for (r, [lo, hi]) in self.samples.iter().zip(range) {
            let own = r.sample.area;
            let under = r.radius < step;
            area += if under { own } else { 0.0 };
            surely += if r.radius + r.pm < step { own } else { 0.0 };
            perhaps += if r.radius - r.pm < step { own } else { 0.0 };
            if *lo < step && *hi >= step {
                border[usize::from(under)] += own;
            }
        }
        let chord = (area - surely).max(perhaps - area);
        (area, chord + border[0].max(border[1]))
    }

    /// Connected surface that needs a ball smaller than `step`: how many pieces, and the largest of them.
    fn regions_under(
        &self,
        step: f64,
        sets: &mut Sets,
        ground: &Ground,
    ) -> (usize, Vec<report::RadiusRegion>) {
        let mut by_root: Vec<(u32, u32)> = (self.samples.iter().enumerate())
            .filter(|(_, r)| r.radius < step)
            .map(|(k, _)| (sets.find(k as u32), k as u32))
            .collect();
        by_root.sort_unstable();
        let mut regions: Vec<report::RadiusRegion> = by_root
            .chunk_by(|a, b| a.0 == b.0)
            .filter_map(|part| {
                let of = || part.iter().map(|&(_, k)| &self.samples[k as usize]);
                let tightest = of().min_by(|a, b| a.radius.total_cmp(&b.radius))?;
                Some(report::RadiusRegion {
                    at_mm: ground.half.frame.place(&tightest.sample.at),
                    area_mm2: of().map(|r| r.sample.area).sum(),
                    smallest_radius_mm: tightest.radius,
                    smallest_radius_mm_pm: tightest.pm,
                })
            })
            .collect();
        let places = regions.len();
        regions.sort_by(|a, b| b.area_mm2.total_cmp(&a.area_mm2));
        regions.truncate(MOST_REGIONS);
        (places, regions)
    }
}

/// The largest ball that touches the sample.
fn reached(
    ground: &Ground,
    sample: &Sample,
    most: f64,
    near: Option<&Touching>,
) -> (Reached, Touching) {
    let facets = &ground.surface.facets;
    let slack = TOUCH + facets[sample.facet as usize].chord_near;
    let rays = &ground.contacts.rays;
    let ball = rays.touching(&sample.at, &sample.normal, slack, most, near);
    let radius = ball.radius;
    let Some((q, t)) = ball.stop else {
        let none = Reached {
            sample: *sample,
            radius: f64::INFINITY,
            pm: 0.0,
        };
        return (none, ball);
    };
    let there = ground.surface.of_triangle[t as usize];
    let there = there.map_or(0.0, |f| facets[f as usize].chord_error);
    let over = (q - sample.at).dot(&sample.normal) - slack;
    let pm = radius * ((slack + there) / over.max(TOUCH)).min(1.0);
    let found = Reached {
        sample: *sample,
        radius,
        pm,
    };
    (found, ball)
}

/// The ladder ends below ten times ten to this, mm: no half is larger.
const MOST_DECADE: i32 = 6;

/// Steps of the ladder, from the one above `least`.
fn ladder(least: f64) -> impl Iterator<Item = f64> {
    let decade = least.max(TOUCH).log10().floor() as i32;
    (decade - 1..=MOST_DECADE)
        // divided by a whole power of ten, the steps are the decimal numbers that they look like
        .flat_map(|d| {
            LADDER.map(|m| {
                if d < 0 {
                    m / 10f64.powi(-d)
                } else {
                    m * 10f64.powi(d)
                }
            })
        })
        .skip_while(move |r| *r <= least)
}

/// Samples by the cell that they lie in, no more than [`MOST_SAMPLES`], of the same area each if there were more.
fn thinned(samples: Vec<Sample>, side: f64) -> Vec<Sample> {
    let mut keyed: Vec<([i32; 3], Sample)> = samples
        .into_par_iter()
        .map(|s| (key(&s.at, side), s))
        .collect();
    keyed.par_sort_by_key(|s| s.0);
    let sorted = keyed.into_iter().map(|s| s.1);
    if sorted.len() <= MOST_SAMPLES {
        return sorted.collect();
    }
    let all: Vec<Sample> = sorted.collect();
    let total: f64 = all.iter().map(|s| s.area).sum();
    let share = total / MOST_SAMPLES as f64;
    let mut passed = 0.0;
    let mut taken = 0;
    let mut few: Vec<Sample> = Vec::with_capacity(MOST_SAMPLES);
    for s in all {
        passed += s.area;
        // the middle of each share of the area, passed one after another
        while taken < MOST_SAMPLES && passed > (taken as f64 + 0.5) * share {
            taken += 1;
            few.push(Sample { area: share, ..s });
        }
    }
    few
}

fn key(p: &Point, side: f64) -> [i32; 3] {
    [p.x, p.y, p.z].map(|c| (c / side).floor() as i32)
}

/// Cells of space, and which samples lie in each.
struct Cells {
    side: f64,
    keys: Vec<[i32; 3]>,
}

impl Cells {
    /// Of places that are sorted by their cell.
    fn of<'p>(places: impl Iterator<Item = &'p Point>, side: f64) -> Cells {
        Cells {
            side,
            keys: places.map(|p| key(p, side)).collect(),
        }
    }

    /// Samples in the cell of `p` and those around it.
    fn around(&self, p: &Point) -> impl Iterator<Item = usize> + '_ {
        let [x, y, z] = key(p, self.side);
        (x - 1..=x + 1).flat_map(move |x| {
            (y - 1..=y + 1).flat_map(move |y| {
                let from = self.keys.partition_point(|k| *k < [x, y, z - 1]);
                let row = self.keys[from..].iter();
                let count = row.take_while(|k| **k <= [x, y, z + 1]).count();
                from..from + count
            })
        })
    }
}
