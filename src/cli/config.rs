//! What is to be done, judged and complete: no question is left that an argument could answer wrongly.

use super::args::{CheckArgs, PlanArgs};
use super::error::CliError;
use super::figures::{direction, length, place, positive};
use super::output::Sink;
use moldvet::mesh;
use moldvet::plan::PlanConfig;
use moldvet::shop::Shop;
use moldvet::units::{Unit, UnitError, parse_angle, parse_area};
use moldvet::vet::CheckConfig;
use std::path::PathBuf;

/// A check to be done.
#[derive(Debug)]
pub struct Job {
    /// Model files, one or two.
    pub models: Vec<PathBuf>,
    /// All files that are read.
    pub inputs: Vec<PathBuf>,
    /// Unit of the models, and of the report for people.
    pub unit: Unit,
    /// The question.
    pub check: CheckConfig,
    /// Where the JSON report goes.
    pub json: Option<Sink>,
    /// Threads to work on.
    pub threads: Option<usize>,
    /// Print nothing but errors.
    pub quiet: bool,
}

impl Job {
    /// Makes sense of `args`; reads the shop file.
    ///
    /// # Errors
    /// If an argument or the shop file makes no sense, or nothing tells the models' unit.
    pub fn new(args: &CheckArgs) -> Result<Job, CliError> {
        let mut shop = match &args.shop {
            Some(path) => Shop::read(path)?,
            None => Shop::builtin(),
        };
        let typed = args.units.as_deref().map(str::parse::<Unit>).transpose();
        let typed = typed.map_err(|source| CliError::Figure {
            option: "--units",
            source,
        })?;
        let unit = match typed.or(shop.units) {
            Some(unit) => unit,
            None => return Err(ask_for_units(args)?),
        };
        limits(&mut shop, args, unit)?;
        rack(&mut shop, args, unit)?;
        let places = args.not_cavity.iter().map(|text| place(text, unit));
        let check = CheckConfig {
            shop,
            axis: args.axis.as_deref().map(direction).transpose()?,
            cell: args
                .cell
                .as_deref()
                .map(|text| positive("--cell", text, unit))
                .transpose()?,
            not_cavity: places.collect::<Result<_, _>>()?,
        };
        Ok(Job {
            models: args.models.clone(),
            inputs: args.models.iter().chain(&args.shop).cloned().collect(),
            unit,
            check,
            json: args.json.as_deref().map(Sink::new),
            threads: args.threads,
            quiet: args.quiet,
        })
    }
}

/// Puts the limits of the command line in place of the shop's.
fn limits(shop: &mut Shop, args: &CheckArgs, unit: Unit) -> Result<(), CliError> {
    let limits = &mut shop.limits;
    let lengths = [
        ("--leave", &args.leave, &mut limits.leave),
        ("--wall", &args.wall, &mut limits.wall),
        ("--forgive", &args.forgive, &mut limits.forgive),
        ("--clearance", &args.clearance, &mut limits.shank_clearance),
        ("--clearance", &args.clearance, &mut limits.holder_clearance),
        ("--contact", &args.contact, &mut limits.contact),
    ];
    for (option, text, limit) in lengths {
        if let Some(text) = text {
            *limit = length(option, text, unit)?;
        }
    }
    let figure = |option, parsed: Result<f64, UnitError>| {
        parsed.map_err(|source| CliError::Figure { option, source })
    };
    if let Some(text) = &args.draft {
        limits.draft_deg = figure("--draft", parse_angle(text))?;
    }
    if let Some(text) = &args.crease {
        limits.crease_deg = figure("--crease", parse_angle(text))?;
    }
    if let Some(text) = &args.draft_min_area {
        limits.draft_min_area = figure("--draft-min-area", parse_area(text))?;
    }
    Ok(shop.check()?)
}

/// Puts the cutters and stickouts of the command line in place of the shop's.
fn rack(shop: &mut Shop, args: &CheckArgs, unit: Unit) -> Result<(), CliError> {
    let all = |option, texts: &[String]| -> Result<Vec<f64>, CliError> {
        texts
            .iter()
            .map(|text| positive(option, text, unit))
            .collect()
    };
    if !args.ball.is_empty() {
        shop.with_balls(all("--ball", &args.ball)?)?;
    }
    if !args.stickout.is_empty() {
        shop.with_stickouts(all("--stickout", &args.stickout)?)?;
    }
    Ok(())
}

/// The question for the unit, with what the models' size suggests.
///
/// # Errors
/// If a model cannot be read, which is to be told first.
fn ask_for_units(args: &CheckArgs) -> Result<CliError, CliError> {
    let mut question = CliError::NoUnits {
        file: String::new(),
        side: 0.0,
    };
    for path in &args.models {
        let model = mesh::read(path, Unit::Mm, &mesh::Limits::default())?;
        let sizes = model.bodies.iter().filter_map(|b| b.mesh.bounds());
        let longest = sizes.map(|(lo, hi)| (hi - lo).max()).fold(0.0, f64::max);
        if let CliError::NoUnits { file, side } = &mut question
            && longest > *side
        {
            *side = longest;
            *file = path.display().to_string();
        }
    }
    Ok(question)
}

/// The question of `moldvet plan`: that of the check, with the passes typed.
///
/// # Errors
/// If an argument makes no sense.
pub fn plan_config(args: &PlanArgs, job: &Job) -> Result<PlanConfig, CliError> {
    let mut check = job.check.clone();
    let planning = &mut check.shop.planning;
    if let Some(text) = &args.cusp {
        planning.wanted.cusp = positive("--cusp", text, job.unit)?;
    }
    if let Some(name) = &args.material {
        planning.material.clone_from(name);
    }
    check.shop.check()?;
    let direction = args.direction.as_deref().map(parse_angle).transpose();
    Ok(PlanConfig {
        direction_deg: direction.map_err(|source| CliError::Figure {
            option: "--direction",
            source,
        })?,
        step: args
            .step
            .as_deref()
            .map(|text| positive("--step", text, job.unit))
            .transpose()?,
        check,
    })
}
