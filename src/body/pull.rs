//! Which way to pull: a search over all directions, a direction and its opposite being one.
//!
//! Ranked by hidden area; of those that hide no more than the least one within their ±, by area short of draft; of those
//! alike in that, by how far the parting line is from flat, then by its length.

use super::parting::{self, PartingLine};
use super::skin::{Hidden, Skin};
use crate::mesh::Vector;
use crate::setup::flat_normals;
use nalgebra::Matrix3;
use rayon::prelude::*;
use std::sync::OnceLock;

/// Directions of the coarse look: about 5° apart over the half sphere.
const COARSE: usize = 820;
/// Every so many samples are used in the coarse look, and in refining.
const COARSE_STEP: usize = 32;
const FINE_STEP: usize = 8;
/// Directions that are refined.
const REFINED: usize = 6;
/// Of directions that hide alike, those whose parting line is looked at, by least area short of draft.
const PARTED: usize = 64;
/// Directions closer than this are one, degrees.
const APART_DEG: f64 = 15.0;
/// How far from the best pull one that parts flat is looked for, degrees.
const BESIDE_DEG: f64 = 10.0;
/// A parting line that keeps within this is flat, mm.
const FLAT: f64 = 0.01;
/// First and last step of refining, degrees.
const FIRST_STEP_DEG: f64 = 3.0;
const LAST_STEP_DEG: f64 = 0.1;
/// Share of the ± of hidden area by which directions of one step differ for lack of samples.
const STEP_PM: f64 = 0.3;
/// Facets stand for a surface whose normals are known to about this; area that is short or not by less is uncertain.
const DRAFT_PM_DEG: f64 = 0.1;

/// A direction and what it would be like to pull along it; costly figures are found when asked for.
pub(super) struct Candidate {
    pub(super) d: Vector,
    pub(super) hidden: Hidden,
    short: OnceLock<(f64, f64)>,
    line: OnceLock<PartingLine>,
}

impl Candidate {
    pub(super) fn new(skin: &Skin, d: Vector, step: usize) -> Candidate {
        Candidate {
            hidden: skin.hidden(&d, step),
            d,
            short: OnceLock::new(),
            line: OnceLock::new(),
        }
    }

    /// Area short of `draft_deg` and its ±, mm².
    pub(super) fn short(&self, skin: &Skin, draft_deg: f64) -> (f64, f64) {
        *self.short.get_or_init(|| {
            let at = |deg: f64| skin.short(&self.d, deg.max(0.0).to_radians().sin());
            let spread = at(draft_deg + DRAFT_PM_DEG) - at(draft_deg - DRAFT_PM_DEG);
            (at(draft_deg), 0.5 * spread + 1e-3 * skin.area)
        })
    }

    /// The parting line.
    pub(super) fn line(&self, skin: &Skin) -> &PartingLine {
        self.line.get_or_init(|| parting::line(skin, &self.d))
    }
}

/// Of `candidates`, the index of the best; of equals the first.
fn best(skin: &Skin, draft_deg: f64, candidates: &[Candidate], among: &[usize]) -> Option<usize> {
    let least = |values: &[(usize, f64, f64)]| -> Vec<usize> {
        let lowest = values.iter().min_by(|a, b| a.1.total_cmp(&b.1));
        let limit = lowest.map_or(0.0, |l| l.1 + l.2);
        values
            .iter()
            .filter(|v| v.1 <= limit)
            .map(|v| v.0)
            .collect()
    };
    let hidden: Vec<_> = among
        .iter()
        .map(|&k| (k, candidates[k].hidden.area, candidates[k].hidden.pm))
        .collect();
    let alike = least(&hidden);
    let shorts: Vec<_> = alike
        .par_iter()
        .map(|&k| {
            let (short, pm) = candidates[k].short(skin, draft_deg);
            (k, short, pm)
        })
        .collect();
    let mut alike = least(&shorts);
    if alike.len() > PARTED {
        let short = |k: &usize| candidates[*k].short(skin, draft_deg).0;
        alike.sort_by(|a, b| short(a).total_cmp(&short(b)).then(a.cmp(b)));
        alike.truncate(PARTED);
        alike.sort_unstable();
    }
    let flats: Vec<_> = alike
        .par_iter()
        .map(|&k| (k, candidates[k].line(skin).flatness, skin.tolerance))
        .collect();
    let alike = least(&flats);
    let length = |k: &usize| candidates[*k].line(skin).length;
    alike.into_iter().min_by(|a, b| {
        let (a_mm, b_mm) = (length(a), length(b));
        // a difference in the last digits is none
        if (a_mm - b_mm).abs() <= 1e-6 * a_mm.max(b_mm) {
            a.cmp(b)
        } else {
            a_mm.total_cmp(&b_mm)
        }
    })
}

/// The best directions, best first, at most `count`.
pub(super) fn search(skin: &Skin, draft_deg: f64, count: usize) -> Vec<Candidate> {
    let seeds = seeds(skin);
    let directions: Vec<Vector> = seeds.iter().copied().chain(half_sphere(COARSE)).collect();
    let coarse = evaluated(skin, &directions, COARSE_STEP);
    let mut chosen = Vec::new();
    let mut among: Vec<usize> = (0..coarse.len()).collect();
    while chosen.len() < REFINED.max(count) {
        let Some(k) = best(skin, draft_deg, &coarse, &among) else {
            break;
        };
        chosen.push(coarse[k].d);
        among.retain(|&other| !near(&coarse[other].d, &coarse[k].d));
    }
    let refined: Vec<Vector> = chosen
        .par_iter()
        .map(|d| refine(skin, draft_deg, *d, &seeds, &[]))
        .collect();
    // where several walk to the same one, those that they came from stand for what is next best
    // and what the body itself suggests near the first of them, which fewer samples may not have told from it
    let beside = refined.first().copied();
    let beside = seeds
        .iter()
        .filter(|seed| beside.is_some_and(|d| near(seed, &d)));
    let all: Vec<Vector> = beside
        .copied()
        .chain(refined.iter().copied())
        .chain(chosen.iter().copied())
        .collect();
    let walked = all.len() - chosen.len();
    let mut finals = evaluated(skin, &all, 1);
    let mut among: Vec<usize> = (0..finals.len()).collect();
    let mut order: Vec<usize> = Vec::new();
    while order.len() < count {
        let Some(k) = best(skin, draft_deg, &finals, &among) else {
            break;
        };
        // one that walked to a better direction stands unrefined for what is next best: refined clear of the better ones
        let k = if k < walked {
            k
        } else {
            let better: Vec<Vector> = order.iter().map(|&k| finals[k].d).collect();
            let d = refine(skin, draft_deg, finals[k].d, &seeds, &better);
            finals.push(Candidate::new(skin, d, 1));
            best(skin, draft_deg, &finals, &[k, finals.len() - 1]).unwrap_or(k)
        };
        order.push(k);
        among.retain(|&other| !near(&finals[other].d, &finals[k].d));
    }
    let mut ranked = Vec::new();
    while let Some(k) = best(skin, draft_deg, &finals, &order) {
        ranked.push(k);
        order.retain(|&other| other != k);
    }
    let mut finals: Vec<Option<Candidate>> = finals.into_iter().map(Some).collect();
    ranked
        .into_iter()
        .filter_map(|k| finals[k].take())
        .collect()
}

/// A direction no farther than [`BESIDE_DEG`] from `first` along which the body parts flat and hides no more, the one with
/// least area short of draft; `None` where there is none, or `first` itself parts flat.
pub(super) fn flat_beside(skin: &Skin, draft_deg: f64, first: &Candidate) -> Option<Candidate> {
    let flat = |c: &Candidate| c.line(skin).flatness <= FLAT.max(4.0 * skin.tolerance);
    if flat(first) {
        return None;
    }
    let mut directions = seeds(skin);
    directions.extend(upright_axis(skin, &first.d, BESIDE_DEG).map(|d| upward(&d)));
    directions.retain(|d| d.dot(&first.d).abs() > BESIDE_DEG.to_radians().cos());
    let found = evaluated(skin, &directions, 1);
    let most = first.hidden.area + first.hidden.pm;
    let short = |c: &Candidate| c.short(skin, draft_deg).0;
    found
        .into_iter()
        .filter(|c| c.hidden.area <= most && flat(c))
        .min_by(|a, b| short(a).total_cmp(&short(b)))
}

fn evaluated(skin: &Skin, directions: &[Vector], step: usize) -> Vec<Candidate> {
    directions
        .par_iter()
        .map(|d| Candidate::new(skin, *d, step))
        .collect()
}

fn near(a: &Vector, b: &Vector) -> bool {
    a.dot(b).abs() > APART_DEG.to_radians().cos()
}

/// Walks from `d` to the best direction around it, in ever smaller steps; tries the `seeds` near it first, for the coarse
/// look may have taken another direction for as good. Keeps clear of the directions `better`.
fn refine(skin: &Skin, draft_deg: f64, d: Vector, seeds: &[Vector], better: &[Vector]) -> Vector {
    let mut at = Candidate::new(skin, d, FINE_STEP);
    let mut least = at.hidden.area;
    let mut step = FIRST_STEP_DEG.to_radians();
    let mut turn = 0.0f64;
    let mut first: Vec<Vector> = seeds
        .iter()
        .filter(|seed| near(seed, &d))
        .copied()
        .collect();
    while step > LAST_STEP_DEG.to_radians() {
        let x = crate::setup::Frame::new(at.d, 0.0).to_tool.inverse() * Vector::x();
        let y = at.d.cross(&x);
        let ring = (0..5).map(|k| {
            let (sin, cos) = (turn + f64::from(k) * std::f64::consts::TAU / 5.0).sin_cos();
            (at.d + (x * cos + y * sin) * step.tan()).normalize()
        });
        let upright = [upright_axis(skin, &at.d, step.to_degrees().max(0.5))];
        let mut around: Vec<Vector> = ring.chain(upright.into_iter().flatten()).collect();
        around.append(&mut first);
        around.retain(|d| !better.iter().any(|other| near(other, d)));
        let mut candidates = vec![at];
        candidates.extend(evaluated(skin, &around, FINE_STEP));
        // directions so close are seen by the same samples: a few that flip tell them apart, and many small steps
        // within the ± must not add up to a large one
        for candidate in &mut candidates {
            candidate.hidden.pm *= STEP_PM;
            least = least.min(candidate.hidden.area);
        }
        let among: Vec<usize> = (0..candidates.len())
            .filter(|&k| candidates[k].hidden.area <= least + candidates[k].hidden.pm)
            .collect();
        let k = best(skin, draft_deg, &candidates, &among).unwrap_or(0);
        candidates.iter_mut().for_each(|c| c.hidden.pm /= STEP_PM);
        if k == 0 {
            step *= 0.5;
            turn += 0.4;
        }
        at = candidates.swap_remove(k);
    }
    upward(&at.d)
}

/// The direction nearest to `d` that is square to the normals of all surface that is upright along `d` to within `deg`:
/// the axis of its upright walls.
fn upright_axis(skin: &Skin, d: &Vector, deg: f64) -> Option<Vector> {
    let sin = deg.to_radians().sin();
    let walls = skin.samples.iter().step_by(FINE_STEP);
    let walls = walls.filter(|s| s.smooth.dot(d).abs() < sin);
    let spread: Matrix3<f64> = walls.map(|s| s.smooth * s.smooth.transpose()).sum();
    let eigen = spread.symmetric_eigen();
    let k = eigen.eigenvalues.imin();
    // walls that all face one way have no axis
    let second = eigen
        .eigenvalues
        .iter()
        .enumerate()
        .filter(|(j, _)| *j != k)
        .map(|(_, v)| *v)
        .fold(f64::MAX, f64::min);
    let axis: Vector = eigen.eigenvectors.column(k).into_owned();
    let clear = second > 4.0 * eigen.eigenvalues[k] && second > 0.0;
    (clear && axis.dot(d).abs() > (2.0 * deg).to_radians().cos())
        .then(|| axis * axis.dot(d).signum())
}

/// Directions that the body itself suggests: the file's axes, normals of its flats and what is square to two of
/// them, and the axes of its normals and of its surface.
fn seeds(skin: &Skin) -> Vec<Vector> {
    let mut seeds = vec![Vector::z(), Vector::x(), Vector::y()];
    let flats = flat_normals(skin.mesh);
    seeds.extend(&flats);
    for (k, a) in flats.iter().take(8).enumerate() {
        for b in flats.iter().take(k) {
            seeds.extend(a.cross(b).try_normalize(0.05));
        }
    }
    let samples = skin.samples.iter().step_by(FINE_STEP);
    let normals: Matrix3<f64> = samples
        .clone()
        .map(|s| s.smooth * s.smooth.transpose())
        .sum();
    let count = samples.len().max(1) as f64;
    let middle: Vector = samples.clone().map(|s| s.at.coords).sum::<Vector>() / count;
    let places: Matrix3<f64> = samples
        .map(|s| s.at.coords - middle)
        .map(|p| p * p.transpose())
        .sum();
    for spread in [normals, places] {
        let eigen = spread.symmetric_eigen();
        seeds.extend((0..3).map(|k| eigen.eigenvectors.column(k).into_owned()));
    }
    let mut kept: Vec<Vector> = Vec::new();
    for seed in seeds {
        let seed = upward(&seed);
        // the first of those that are the same to 0.01°
        if kept.iter().all(|other| other.dot(&seed) < 1.0 - 1.5e-8) {
            kept.push(seed);
        }
    }
    kept
}

/// `d` or its opposite: the one with the last of Z, Y and X that is not 0 positive.
pub(super) fn upward(d: &Vector) -> Vector {
    let sign = [d.z, d.y, d.x].into_iter().find(|c| c.abs() > 1e-9);
    d * sign.unwrap_or(1.0).signum()
}

/// `count` directions spread evenly over the upper half sphere, along a spiral by the golden angle (Vogel 1979).
fn half_sphere(count: usize) -> impl Iterator<Item = Vector> {
    let golden = std::f64::consts::PI * (3.0 - 5f64.sqrt());
    (0..count).map(move |k| {
        let z = 1.0 - (k as f64 + 0.5) / count as f64;
        let r = (1.0 - z * z).sqrt();
        let (sin, cos) = (golden * k as f64).sin_cos();
        Vector::new(r * cos, r * sin, z)
    })
}
