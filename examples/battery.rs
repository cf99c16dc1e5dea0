//! Breaks meshes in twelve ways at three strengths and compares the verdicts: `battery CELL_MM [inch:]MODEL.stl...`.
//!
//! A wrong pass is a question that fails on the sound mesh, is anything but failing or unsure on the broken one, and no
//! finding on the mesh or on what was taken for the mold is there that was not there before.

#[allow(dead_code, reason = "shared with tests")]
#[path = "../tests/common/stl.rs"]
mod stl;

use moldvet::mesh::{Limits, from_bytes};
use moldvet::report::{Finding, Report, Verdict};
use moldvet::shop::Shop;
use moldvet::units::Unit;
use moldvet::vet::{CheckConfig, check};
use std::collections::{BTreeMap, BTreeSet};
use std::panic::catch_unwind;
use std::time::{Duration, Instant};
use stl::{Facet, binary_stl, facets_of};

type Failure = Box<dyn std::error::Error>;

/// A linear congruential generator with the constants of Knuth's MMIX (from memory).
struct Random(u64);

impl Random {
    fn below(&mut self, n: usize) -> usize {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as usize % n.max(1)
    }

    /// From -1 to 1.
    fn unit(&mut self) -> f32 {
        self.below(1 << 20) as f32 / (1 << 19) as f32 - 1.0
    }
}

/// Name and deed of each way to break a mesh; a strength is 1, 2 or 3.
type Break = (&'static str, fn(&mut Vec<Facet>, usize, &mut Random));

const BREAKS: [Break; 12] = [
    ("holes", |f, s, r| {
        for _ in 0..amount(f, s) {
            f.swap_remove(r.below(f.len()));
        }
    }),
    ("flipped patches", |f, s, r| {
        let n = amount(f, s);
        let from = r.below(f.len() - n);
        f[from..from + n].iter_mut().for_each(|t| t.reverse());
    }),
    ("inside out", |f, s, r| {
        // wholly, and then with some turned back
        f.iter_mut().for_each(|t| t.reverse());
        for _ in 0..(s - 1) * amount(f, 1) {
            let k = r.below(f.len());
            f[k].reverse();
        }
    }),
    ("duplicated shell", |f, s, _| {
        let n = f.len();
        for _ in 0..s {
            f.extend_from_within(..n);
        }
    }),
    ("overlapping shells", |f, s, _| {
        let by = 0.001 * s as f32 * size(f);
        let moved: Vec<Facet> = f
            .iter()
            .map(|t| t.map(|[x, y, z]| [x + by, y, z]))
            .collect();
        f.extend(moved);
    }),
    ("self-intersection", |f, s, r| {
        let most = 0.02 * s as f32 * size(f);
        for _ in 0..3 * s {
            let k = r.below(f.len());
            let at = f[k][0];
            let by = [r.unit() * most, r.unit() * most, r.unit() * most];
            shift(f, at, by);
        }
    }),
    ("zero-thickness sheet", |f, s, r| {
        for _ in 0..s {
            let k = r.below(f.len());
            let [x, y, z] = f[k][0];
            let d = 0.1 * size(f);
            let t = [[x, y, z], [x + d, y, z], [x, y + d, z]];
            f.extend([t, [t[0], t[2], t[1]]]);
        }
    }),
    ("T-junctions", |f, s, r| {
        for _ in 0..amount(f, s) {
            let k = r.below(f.len());
            let [a, b, c] = f[k];
            let m = middle(a, b);
            f[k] = [a, m, c];
            f.push([m, b, c]);
        }
    }),
    ("slivers", |f, s, r| {
        for _ in 0..amount(f, s) {
            let [a, b, _] = f[r.below(f.len())];
            let mut m = middle(a, b);
            m[2] += 1e-5 * r.unit();
            f.push([a, b, m]);
        }
    }),
    ("internal leftovers", |f, s, r| {
        for _ in 0..10 * s {
            let t = f[r.below(f.len())];
            f.push(t.map(|[x, y, z]| [x * 0.9, y * 0.9, z - 0.02]));
        }
    }),
    ("many stray bodies", |f, s, r| {
        let (d, n) = (size(f), [10, 100, 1000][s - 1]);
        for _ in 0..n {
            let p = [r.unit() * d, r.unit() * d, r.unit() * d];
            let q = |k: usize| {
                let mut q = p;
                q[k] += 0.002 * d;
                q
            };
            let (x, y, z) = (q(0), q(1), q(2));
            f.extend([[p, y, x], [p, x, z], [p, z, y], [x, y, z]]);
        }
    }),
    ("jitter", |f, s, r| {
        // a corner goes the same way in all triangles that have it
        let most = [1e-5, 1e-4, 1e-3][s - 1] * size(f);
        let mut moved = BTreeMap::new();
        for c in f.as_flattened_mut() {
            let by = || [r.unit(), r.unit(), r.unit()];
            let by = *moved.entry(c.map(f32::to_bits)).or_insert_with(by);
            *c = [0, 1, 2].map(|k| c[k] + most * by[k]);
        }
    }),
];

/// One in a thousand, a hundred or twenty triangles, at least one.
fn amount(facets: &[Facet], strength: usize) -> usize {
    (facets.len() / [1000, 100, 20][strength - 1]).max(1)
}

fn middle(a: [f32; 3], b: [f32; 3]) -> [f32; 3] {
    [0, 1, 2].map(|k| 0.5 * (a[k] + b[k]))
}

/// Longest side.
fn size(facets: &[Facet]) -> f32 {
    let side = |k: usize| {
        let all = facets.as_flattened().iter().map(|c| c[k]);
        all.clone().fold(f32::MIN, f32::max) - all.fold(f32::MAX, f32::min)
    };
    side(0).max(side(1)).max(side(2))
}

/// Moves one corner in all triangles that have it.
fn shift(facets: &mut [Facet], at: [f32; 3], by: [f32; 3]) {
    for c in facets.as_flattened_mut().iter_mut().filter(|c| **c == at) {
        *c = [0, 1, 2].map(|k| c[k] + by[k]);
    }
}

fn report(facets: &[Facet], unit: Unit, config: &CheckConfig) -> Result<Report, Failure> {
    let model = from_bytes(&binary_stl(facets), "broken.stl", unit, &Limits::default())?;
    Ok(check(&[model], config, &|_| {})?)
}

/// The verdict on each question.
fn verdicts(report: &Report) -> BTreeMap<String, Verdict> {
    let mut all = BTreeMap::new();
    for half in &report.halves {
        for (question, verdict) in half.verdicts() {
            all.insert(format!("{} {question}", half.name), verdict);
        }
    }
    if let Some(mating) = &report.mating {
        all.insert("mating".to_owned(), mating.verdict);
    }
    all
}

/// What warns of the mesh or of what was taken for the mold; what is merely noted warns of nothing.
fn warnings(report: &Report) -> BTreeSet<&str> {
    let warns =
        |f: &&Finding| ["mesh", "setup"].contains(&f.check.as_str()) && f.verdict != Verdict::Pass;
    let found = report.findings.iter().filter(warns);
    found.map(|f| f.message.as_str()).collect()
}

/// What became of a broken mesh, and the questions that are answered otherwise.
fn outcome(sound: &Report, broken: &Report) -> (&'static str, Vec<String>) {
    let (before, after) = (verdicts(sound), verdicts(broken));
    let questions = before.keys().chain(after.keys()).collect::<BTreeSet<_>>();
    let other: Vec<_> = questions
        .into_iter()
        .map(|q| (q, before.get(q), after.get(q)))
        .filter(|(_, was, is)| was != is)
        .collect();
    let told = other
        .iter()
        .map(|(question, was, is)| format!("{question} {was:?} -> {is:?}"));
    let told: Vec<String> = told.collect();
    let fails = |verdict: Option<&Verdict>| verdict == Some(&Verdict::Fail);
    let kind = if other.is_empty() {
        "same verdicts"
    } else if !warnings(broken).is_subset(&warnings(sound)) {
        "other, and a finding says why"
    } else if other.iter().all(|o| o.2 == Some(&Verdict::Unsure)) {
        "unsure"
    } else if other
        .iter()
        .any(|o| fails(o.1) && o.2 != Some(&Verdict::Unsure))
    {
        "WRONG PASS"
    } else if !before.keys().eq(after.keys()) {
        "other halves, no finding"
    } else if other
        .iter()
        .all(|o| fails(o.2) || o.2 == Some(&Verdict::Unsure))
    {
        "stricter, no finding"
    } else {
        "milder short of a fail, no finding"
    };
    (kind, told)
}

/// A model file, in mm unless its name follows `inch:`.
fn named(arg: &str) -> (Unit, &str) {
    match arg.strip_prefix("inch:") {
        Some(path) => (Unit::Inch, path),
        None => (Unit::Mm, arg),
    }
}

fn main() -> Result<(), Failure> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let [cell, models @ ..] = &args[..] else {
        return Err("usage: battery CELL_MM [inch:]MODEL.stl...".into());
    };
    let mut shop = Shop::builtin();
    shop.with_balls(vec![4.0, 8.0])?;
    shop.with_stickouts(vec![30.0])?;
    let config = CheckConfig {
        shop,
        axis: None,
        cell: Some(cell.parse()?),
        not_cavity: Vec::new(),
        meets: Vec::new(),
        fill_density: None,
    };
    let mut counts: BTreeMap<&str, BTreeMap<&str, usize>> = BTreeMap::new();
    let mut slowest = (Duration::ZERO, String::new());
    for arg in models {
        let (unit, path) = named(arg);
        let facets = facets_of(&std::fs::read(path)?);
        let sound = report(&facets, unit, &config)?;
        println!("{path}: {:?} {:?}", verdicts(&sound), warnings(&sound));
        for (way, (what, damage)) in BREAKS.iter().enumerate() {
            for strength in 1..=3 {
                let mut random = Random((10 * way + strength) as u64);
                let mut broken = facets.clone();
                damage(&mut broken, strength, &mut random);
                let start = Instant::now();
                // a panic is a count like any other, and its message stands on stderr
                let asked = catch_unwind(|| report(&broken, unit, &config));
                let (kind, told) = match &asked {
                    Ok(Ok(broken)) => outcome(&sound, broken),
                    Ok(Err(refusal)) => ("refused", vec![refusal.to_string()]),
                    Err(_) => ("PANIC", Vec::new()),
                };
                let case = format!("{path}, {what}, strength {strength}");
                slowest = slowest.max((start.elapsed(), case.clone()));
                *counts.entry(what).or_default().entry(kind).or_default() += 1;
                if kind != "same verdicts" {
                    println!("  {case}: {kind}: {}", told.join("; "));
                }
            }
        }
    }
    let mut total: BTreeMap<&str, usize> = BTreeMap::new();
    for (what, kinds) in &counts {
        println!("{what}: {kinds:?}");
        for (kind, n) in kinds {
            *total.entry(kind).or_default() += n;
        }
    }
    println!(
        "{} cases: {total:?}; the slowest took {:.1} s: {}",
        total.values().sum::<usize>(),
        slowest.0.as_secs_f64(),
        slowest.1
    );
    Ok(())
}
