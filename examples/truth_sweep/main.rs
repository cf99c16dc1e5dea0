//! Random mold halves whose figures are known, run through the library, and how well its figures hold.
//!
//! `cargo run --release --example truth_sweep -- --shapes 10000` prints a table;
//! `--chord LO..HI` draws meshes with other chord errors, in mm;
//! `--minutes M` ends after a whole hundred of shapes when the time is up;
//! `--kept FILE` keeps what came of each hundred there, and goes on from what is there already, of the same code and options;
//! `--flats` runs only the shapes that a flat or a bull-nose is tried in;
//! `--near-crease` draws shapes whose facets turn by 24° to 60°;
//! `--seed S --shapes 1 --dump FILE.stl` runs one shape again and writes it, its truth and its report.

#[allow(dead_code, reason = "the sample models use more of it")]
#[path = "../samples/profile.rs"]
mod profile;
#[allow(dead_code, reason = "the sample models use more of it")]
#[path = "../samples/solid.rs"]
mod solid;

mod balls;
mod compare;
mod filed;
mod hollows;
mod mesh;
mod overhangs;
mod random;
mod section;
mod shapes;
#[cfg(test)]
mod shapes_tests;
mod table;
mod truth;
mod wall;

use compare::{Outcome, compare};
use filed::Filed;
use moldvet::mesh::Vector;
use moldvet::report::Report;
use moldvet::shop::{Cutter, Shop};
use moldvet::units::Unit;
use moldvet::vet::{CheckConfig, check};
use rayon::prelude::*;
use shapes::{KINDS, Shape};
use std::collections::HashSet;
use std::error::Error;
use std::fs::OpenOptions;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::time::Instant;

struct Args {
    shapes: u64,
    seed: u64,
    near_crease: bool,
    flats: bool,
    only: Option<String>,
    worst: usize,
    dump: Option<PathBuf>,
    cell: Option<f64>,
    chords: [f64; 2],
    minutes: f64,
    kept: Option<PathBuf>,
}

/// Shapes between two looks at the clock.
const BLOCK: usize = 100;

fn args() -> Result<Args, Box<dyn Error>> {
    let mut args = Args {
        shapes: 300,
        seed: 1,
        near_crease: false,
        flats: false,
        only: None,
        worst: 3,
        dump: None,
        cell: None,
        chords: shapes::CHORDS,
        minutes: f64::INFINITY,
        kept: None,
    };
    let mut given = std::env::args().skip(1);
    while let Some(option) = given.next() {
        let mut value = || {
            given
                .next()
                .ok_or_else(|| format!("{option} needs a value"))
        };
        match option.as_str() {
            "--shapes" => args.shapes = value()?.parse()?,
            "--seed" => args.seed = value()?.parse()?,
            "--near-crease" => args.near_crease = true,
            "--flats" => args.flats = true,
            "--only" => args.only = Some(value()?),
            "--worst" => args.worst = value()?.parse()?,
            "--dump" => args.dump = Some(value()?.into()),
            "--chord" => {
                let (from, to) = value()?
                    .split_once("..")
                    .map(|(a, b)| (a.to_owned(), b.to_owned()))
                    .ok_or("--chord takes a range such as 0.002..0.05")?;
                args.chords = [from.parse()?, to.parse()?];
            }
            "--minutes" => args.minutes = value()?.parse()?,
            "--kept" => args.kept = Some(value()?.into()),
            "--cell" => args.cell = Some(value()?.parse()?),
            other => return Err(format!("unknown argument {other}").into()),
        }
    }
    if let Some(only) = &args.only
        && !KINDS.contains(&only.as_str())
    {
        return Err(format!("no kind {only}; there are {}", KINDS.join(", ")).into());
    }
    Ok(args)
}

fn vetted(filed: &Filed, args: &Args) -> Result<(Report, bool), Box<dyn Error + Send + Sync>> {
    let truth = &filed.shape.truth;
    let limits = moldvet::mesh::Limits::default();
    let model = moldvet::mesh::from_bytes(&filed.bytes, "shape.stl", filed.unit, &limits)?;
    let mut shop = Shop::builtin();
    let widest = truth
        .balls
        .iter()
        .map(|b| b.diameter_mm)
        .chain(truth.flat.iter().map(|f| f.diameter_mm))
        .fold(0.0, f64::max);
    let stickout = (2.0 * truth.depth_mm + 2.0 * widest + 50.0).round();
    shop.cutters = (truth.balls.iter())
        .map(|b| Cutter {
            stickouts: vec![stickout],
            ..Cutter::ball(b.diameter_mm)
        })
        .collect();
    shop.cutters.extend(truth.flat.as_ref().map(|f| Cutter {
        name: compare::FLAT.to_owned(),
        corner_radius: f.corner_mm,
        stickouts: vec![stickout],
        ..Cutter::ball(f.diameter_mm)
    }));
    let mut config = CheckConfig {
        shop,
        axis: None,
        cell: args.cell,
        not_cavity: Vec::new(),
        fill_density: None,
        meets: Vec::new(),
    };
    let models = [model];
    let report = check(&models, &config, &|_| {})?;
    let found = report.halves.first().map_or([0.0; 3], |h| h.tool_axis);
    let along: f64 = found.iter().zip(truth.tool_axis).map(|(a, b)| a * b).sum();
    if along > 0.01_f64.to_radians().cos() {
        return Ok((report, true));
    }
    config.axis = Some(Vector::from(truth.tool_axis));
    Ok((check(&models, &config, &|_| {})?, false))
}

fn shape(seed: u64, args: &Args) -> Shape {
    shapes::shape(seed, args.only.as_deref(), args.near_crease, args.chords)
}

fn outcome(seed: u64, args: &Args) -> Outcome {
    let filed = Filed::new(seed, shape(seed, args));
    match vetted(&filed, args) {
        Ok((report, axis_found)) => {
            if let Some(path) = &args.dump {
                dump(path, &filed, &report)
                    .unwrap_or_else(|e| eprintln!("{}: {e}", path.display()));
            }
            let mut outcome = compare(
                &filed.shape,
                &report,
                axis_found,
                filed.at_parting,
                filed.rounding,
            );
            outcome.seed = seed;
            outcome
        }
        Err(error) => Outcome {
            seed,
            error: Some(error.to_string()),
            ..Outcome::default()
        },
    }
}

fn dump(path: &Path, filed: &Filed, report: &Report) -> Result<(), Box<dyn Error>> {
    std::fs::write(path, &filed.bytes)?;
    let unit = if filed.unit == Unit::Inch {
        "inch"
    } else {
        "mm"
    };
    let text = serde_json::json!({
        "kind": filed.shape.kind,
        "about": filed.shape.about,
        "units": unit,
        "triangles": filed.shape.mesh.triangles.len(),
        "truth": filed.shape.truth,
        "report": report,
    });
    std::fs::write(
        path.with_extension("json"),
        serde_json::to_string_pretty(&text)?,
    )?;
    eprintln!("{} {}, in {unit}", filed.shape.kind, filed.shape.about);
    Ok(())
}

/// What was kept of earlier runs, in a file that begins with their options. What was cut off in the middle of a line is taken away.
fn kept(path: &Path, options: &str) -> Result<Vec<Outcome>, Box<dyn Error>> {
    if !path.exists() {
        std::fs::write(path, format!("{options}\n"))?;
        return Ok(Vec::new());
    }
    let text = std::fs::read_to_string(path)?;
    let whole = text.rfind('\n').map_or(0, |end| end + 1);
    OpenOptions::new()
        .write(true)
        .open(path)?
        .set_len(whole as u64)?;
    let mut lines = text[..whole].lines();
    if lines.next() != Some(options) {
        return Err(format!("{}: kept with other options than {options}", path.display()).into());
    }
    let outcome = |line: &str| {
        serde_json::from_str(line).map_err(|e| format!("{}: {e}", path.display()).into())
    };
    lines.map(outcome).collect()
}

fn keep(path: &Path, outcomes: &[Outcome]) -> Result<(), Box<dyn Error>> {
    let lines = outcomes.iter().map(serde_json::to_string);
    let lines: Vec<String> = lines.collect::<Result<_, _>>()?;
    let mut file = OpenOptions::new().append(true).open(path)?;
    Ok(file.write_all((lines.join("\n") + "\n").as_bytes())?)
}

/// What the shapes drawn hang on beside their seeds.
fn options(args: &Args) -> String {
    let Args {
        near_crease,
        only,
        cell,
        chords,
        ..
    } = args;
    format!("near crease {near_crease}, only {only:?}, cell {cell:?}, chords {chords:?}")
}

fn main() -> Result<(), Box<dyn Error>> {
    let args = args()?;
    let begun = Instant::now();
    let seeds = args.seed..args.seed + args.shapes;
    let mut outcomes = match &args.kept {
        Some(path) => kept(path, &options(&args))?,
        None => Vec::new(),
    };
    let mut done = HashSet::new();
    outcomes.retain(|o| seeds.contains(&o.seed) && done.insert(o.seed));
    let asked = |&seed: &u64| !args.flats || shape(seed, &args).truth.flat.is_some();
    let seeds = seeds.into_par_iter().filter(|s| !done.contains(s));
    let seeds: Vec<u64> = seeds.filter(asked).collect();
    for block in seeds.chunks(BLOCK) {
        if begun.elapsed().as_secs_f64() > 60.0 * args.minutes {
            break;
        }
        let found = block.par_iter().with_max_len(1);
        let found: Vec<Outcome> = found.map(|&seed| outcome(seed, &args)).collect();
        if let Some(path) = &args.kept {
            keep(path, &found)?;
        }
        outcomes.extend(found);
        let rate = (outcomes.len() - done.len()) as f64 / begun.elapsed().as_secs_f64();
        eprintln!("{} shapes, {rate:.2} a second", outcomes.len());
    }
    println!("{} shapes, seeds {} and on\n", outcomes.len(), args.seed);
    print!("{}", table::table(&outcomes, args.worst));
    Ok(())
}
