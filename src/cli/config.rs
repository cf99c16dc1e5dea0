//! What is to be done, judged and complete: no question is left that an argument could answer wrongly.

use super::args::{BodyArgs, CheckArgs, JudgeArgs, OutputArgs, PlanArgs};
use super::error::CliError;
use super::figures::{density, direction, factor, length, place, positive, shrink};
use super::output::{Folder, Halves, Sink};
use moldvet::body::{BodyConfig, MARGIN};
use moldvet::mesh;
use moldvet::plan::PlanConfig;
use moldvet::shop::Shop;
use moldvet::units::{Unit, UnitError, parse_angle, parse_area, parse_coordinate};
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
    /// Where the page goes.
    pub html: Option<Sink>,
    /// Where the maps go.
    pub maps: Option<Folder>,
    /// Threads to work on.
    pub threads: Option<usize>,
    /// Print nothing but errors.
    pub quiet: bool,
}

impl Job {
    /// Makes sense of the arguments of `moldvet check`; reads the shop file.
    ///
    /// # Errors
    /// If an argument or the shop file makes no sense, or nothing tells the models' unit.
    pub fn check(args: &CheckArgs) -> Result<Job, CliError> {
        let mut job = Job::new(&args.judge, &args.output, &args.models)?;
        let places = args.not_cavity.iter().map(|text| place(text, job.unit));
        job.check.not_cavity = places.collect::<Result<_, _>>()?;
        let axis = args.axis.as_deref().map(|text| direction("--axis", text));
        job.check.axis = axis.transpose()?;
        Ok(job)
    }

    /// Whether anything is to be drawn.
    pub fn pictures(&self) -> bool {
        self.html.is_some() || self.maps.is_some()
    }

    /// Finds out, before a long check is done, what would keep its reports from being written.
    ///
    /// # Errors
    /// As [`Sink::check`] and [`Folder::check`].
    pub fn check_sinks(&self) -> Result<(), CliError> {
        if let Some(sink) = &self.json {
            sink.check("--json", &self.inputs)?;
        }
        if let Some(sink) = &self.html {
            sink.check("--html", &self.inputs)?;
        }
        match &self.maps {
            Some(folder) => folder.check("--maps"),
            None => Ok(()),
        }
    }

    /// Makes sense of what a mold is judged by and of where reports go; reads the shop file.
    ///
    /// # Errors
    /// As [`Job::check`].
    pub fn new(args: &JudgeArgs, output: &OutputArgs, models: &[PathBuf]) -> Result<Job, CliError> {
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
            None => match ask_for_units(models)? {
                Some(question) => return Err(question),
                None => Unit::Mm,
            },
        };
        limits(&mut shop, args, unit)?;
        rack(&mut shop, args, unit)?;
        let check = CheckConfig {
            shop,
            axis: None,
            cell: args
                .cell
                .as_deref()
                .map(|text| positive("--cell", text, unit))
                .transpose()?,
            not_cavity: Vec::new(),
            fill_density: args.fill_density.as_deref().map(density).transpose()?,
        };
        Ok(Job {
            models: models.to_vec(),
            inputs: models.iter().chain(&args.shop).cloned().collect(),
            unit,
            check,
            json: output.json.as_deref().map(Sink::new),
            html: output.html.as_deref().map(|name| Sink::File(name.into())),
            maps: output.maps.as_deref().map(|name| Folder(name.into())),
            threads: args.threads,
            quiet: output.quiet,
        })
    }
}

/// A body to be looked at.
#[derive(Debug)]
pub struct BodyJob {
    /// What it has in common with a check.
    pub job: Job,
    /// The question.
    pub body: BodyConfig,
    /// Where the halves go.
    pub halves: Option<Halves>,
}

impl BodyJob {
    /// Makes sense of the arguments of `moldvet body`; reads the shop file.
    ///
    /// # Errors
    /// As [`Job::check`].
    pub fn new(args: &BodyArgs) -> Result<BodyJob, CliError> {
        let models = std::slice::from_ref(&args.model);
        let job = Job::new(&args.judge, &args.output, models)?;
        let pull = args.pull.as_deref().map(|text| direction("--pull", text));
        let level = args.level.as_deref().map(|text| {
            parse_coordinate(text, Some(job.unit)).map_err(|source| CliError::Figure {
                option: "--level",
                source,
            })
        });
        let margin = args.margin.as_deref();
        let margin = margin.map(|text| positive("--margin", text, job.unit));
        let scale = args.scale.as_deref().map(factor).transpose()?;
        let shrink = args.shrink.as_deref().map(shrink).transpose()?;
        let body = BodyConfig {
            check: job.check.clone(),
            pull: pull.transpose()?,
            level: level.transpose()?,
            scale: scale.unwrap_or(1.0) * (1.0 + shrink.unwrap_or(0.0)),
            margin: margin.transpose()?.unwrap_or(MARGIN),
        };
        Ok(BodyJob {
            halves: args
                .write_halves
                .as_deref()
                .map(|name| Halves::new(name, &args.model)),
            job,
            body,
        })
    }
}

/// Puts the limits of the command line in place of the shop's.
fn limits(shop: &mut Shop, args: &JudgeArgs, unit: Unit) -> Result<(), CliError> {
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
fn rack(shop: &mut Shop, args: &JudgeArgs, unit: Unit) -> Result<(), CliError> {
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

/// The question for the unit, with what the models' size suggests; none where each model states its own.
///
/// # Errors
/// If a model cannot be read, which is to be told first.
fn ask_for_units(models: &[PathBuf]) -> Result<Option<CliError>, CliError> {
    let mut longest: Option<(f64, String)> = None;
    for path in models {
        if mesh::states_unit(path)? {
            continue;
        }
        let model = mesh::read(path, Unit::Mm, &mesh::Limits::default())?;
        let sizes = model.bodies.iter().filter_map(|b| b.mesh.bounds());
        let side = sizes.map(|(lo, hi)| (hi - lo).max()).fold(0.0, f64::max);
        if longest.as_ref().is_none_or(|(most, _)| side > *most) {
            longest = Some((side, path.display().to_string()));
        }
    }
    Ok(longest.map(|(side, file)| CliError::NoUnits { file, side }))
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
