//! What is to be done, judged and complete: no question is left that an argument could answer wrongly.

use super::args::{
    BodyArgs, CheckArgs, CommonArgs, JudgeArgs, MoldArgs, PictureArgs, PlanArgs, ReportArgs,
};
use super::error::CliError;
use super::figures::{self, density, direction, factor, length, meet, place, positive, shrink};
use super::memory;
use super::output::{Folder, Halves, Sink};
use moldvet::body::{BodyConfig, MARGIN};
use moldvet::mesh::{self, Model};
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
    /// Whether `--units` says so.
    unit_typed: bool,
    /// The question.
    pub check: CheckConfig,
    /// What the models may ask for.
    limits: mesh::Limits,
    /// The block that halves are made from around a body: factor that it is enlarged by, and margin, mm.
    block: Option<[f64; 2]>,
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
        let mut job = Job::judged(&args.judge, &args.report, &args.mold.models)?;
        job.mold(&args.mold)?;
        job.picture(&args.pictures);
        Ok(job)
    }

    fn picture(&mut self, args: &PictureArgs) {
        self.html = args.html.as_deref().map(|name| Sink::File(name.into()));
        self.maps = args.maps.as_deref().map(|name| Folder(name.into()));
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

    /// Makes sense of the arguments of `moldvet plan` that are not about the passes; reads the shop file.
    ///
    /// # Errors
    /// As [`Job::check`].
    pub fn plan(args: &PlanArgs) -> Result<Job, CliError> {
        let mut job = Job::new(&args.common, &args.report, &args.mold.models)?;
        job.mold(&args.mold)?;
        Ok(job)
    }

    /// Reads the models.
    ///
    /// # Errors
    /// If one cannot be read, all state their own unit and one another than `--units` says, or what is to be done with
    /// them takes too much memory.
    pub fn read(&self) -> Result<Vec<Model>, CliError> {
        let read = |path: &PathBuf| mesh::read(path, self.unit, &self.limits);
        let models: Vec<Model> = self.models.iter().map(read).collect::<Result<_, _>>()?;
        // where one of two files states none, --units is for that one
        let all_state = models.iter().all(|m| m.stated_mm.is_some());
        let other = |m: &&Model| m.stated_mm.is_some_and(|mm| mm != self.unit.in_mm());
        match models.iter().find(other) {
            Some(model) if self.unit_typed && all_state => Err(CliError::OtherUnit {
                file: model.name.clone(),
                mm: model.stated_mm.unwrap_or(1.0),
                typed: self.unit,
            }),
            _ => {
                let need = memory::needed(&models, self.block, &self.check);
                let limit = self.limits.memory;
                match need > limit {
                    true => Err(CliError::TooMuchMemory { need, limit }),
                    false => Ok(models),
                }
            }
        }
    }

    fn mold(&mut self, args: &MoldArgs) -> Result<(), CliError> {
        let places = args.not_cavity.iter().map(|text| place(text, self.unit));
        self.check.not_cavity = places.collect::<Result<_, _>>()?;
        let axis = args.axis.as_deref().map(|text| direction("--axis", text));
        self.check.axis = axis.transpose()?;
        let meets = args.meet.iter().map(|text| meet(text, self.unit));
        self.check.meets = meets.collect::<Result<_, _>>()?;
        Ok(())
    }

    /// Makes sense of what models are judged by; reads the shop file.
    ///
    /// # Errors
    /// As [`Job::check`].
    pub fn judged(
        args: &JudgeArgs,
        report: &ReportArgs,
        models: &[PathBuf],
    ) -> Result<Job, CliError> {
        let mut job = Job::new(&args.common, report, models)?;
        let unit = job.unit;
        let limits = &mut job.check.shop.limits;
        set(&mut limits.wall, "--wall", &args.wall, unit)?;
        set(&mut limits.forgive, "--forgive", &args.forgive, unit)?;
        set(&mut limits.contact, "--contact", &args.contact, unit)?;
        if let Some(text) = &args.draft {
            limits.draft_deg = figure("--draft", parse_angle(text))?;
        }
        if let Some(text) = &args.draft_min_area {
            limits.draft_min_area = figure("--draft-min-area", parse_area(text))?;
        }
        job.check.shop.check()?;
        job.check.fill_density = args.fill_density.as_deref().map(density).transpose()?;
        Ok(job)
    }

    fn new(args: &CommonArgs, report: &ReportArgs, models: &[PathBuf]) -> Result<Job, CliError> {
        let mut shop = match &args.shop {
            Some(path) => Shop::read(path)?,
            None => Shop::builtin(),
        };
        let typed = args.units.as_deref().map(str::parse::<Unit>).transpose();
        let typed = figure("--units", typed)?;
        let unit_typed = typed.is_some();
        let limits = limits(args)?;
        let unit = match typed.or(shop.units) {
            Some(unit) => unit,
            None => match ask_for_units(models, &limits)? {
                Some(question) => return Err(question),
                None => Unit::Mm,
            },
        };
        let shall_hold = &mut shop.limits;
        set(&mut shall_hold.leave, "--leave", &args.leave, unit)?;
        let clearances = [
            &mut shall_hold.shank_clearance,
            &mut shall_hold.holder_clearance,
        ];
        for clearance in clearances {
            set(clearance, "--clearance", &args.clearance, unit)?;
        }
        if let Some(text) = &args.crease {
            shall_hold.crease_deg = figure("--crease", parse_angle(text))?;
        }
        shop.check()?;
        rack(&mut shop, args, unit)?;
        let cell = args.cell.as_deref();
        let check = CheckConfig {
            shop,
            axis: None,
            cell: cell
                .map(|text| positive("--cell", text, unit))
                .transpose()?,
            not_cavity: Vec::new(),
            meets: Vec::new(),
            fill_density: None,
        };
        Ok(Job {
            models: models.to_vec(),
            inputs: models.iter().chain(&args.shop).cloned().collect(),
            unit,
            unit_typed,
            check,
            limits,
            block: None,
            json: report.json.as_deref().map(Sink::new),
            html: None,
            maps: None,
            threads: args.threads,
            quiet: report.quiet,
        })
    }
}

/// What models may ask for.
fn limits(args: &CommonArgs) -> Result<mesh::Limits, CliError> {
    let usual = mesh::Limits::default();
    let memory = match &args.memory {
        Some(text) => figures::memory(text)?,
        None => memory::half_of_free().unwrap_or(usual.memory),
    };
    Ok(mesh::Limits {
        triangles: args.max_triangles.unwrap_or(usual.triangles),
        memory,
    })
}

/// Puts a limit of the command line in place of the shop's.
fn set(
    limit: &mut f64,
    option: &'static str,
    text: &Option<String>,
    unit: Unit,
) -> Result<(), CliError> {
    if let Some(text) = text {
        *limit = length(option, text, unit)?;
    }
    Ok(())
}

/// What was parsed, or the option that it went wrong at.
fn figure<T>(option: &'static str, parsed: Result<T, UnitError>) -> Result<T, CliError> {
    parsed.map_err(|source| CliError::Figure { option, source })
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
        let mut job = Job::judged(&args.judge, &args.report, models)?;
        job.picture(&args.pictures);
        let pull = args.pull.as_deref().map(|text| direction("--pull", text));
        let level = args.level.as_deref();
        let level = level.map(|text| figure("--level", parse_coordinate(text, Some(job.unit))));
        let margin = args.margin.as_deref();
        let margin = margin.map(|text| positive("--margin", text, job.unit));
        let scale = args.scale.as_deref().map(factor).transpose()?;
        let shrink = args.shrink.as_deref().map(shrink).transpose()?;
        let scale = scale.unwrap_or(1.0) * (1.0 + shrink.unwrap_or(0.0));
        let margin = margin.transpose()?.unwrap_or(MARGIN);
        job.block = Some([scale, margin]);
        let body = BodyConfig {
            check: job.check.clone(),
            pull: pull.transpose()?,
            level: level.transpose()?,
            scale,
            margin,
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

/// Puts the cutters and stickouts of the command line in place of the shop's.
fn rack(shop: &mut Shop, args: &CommonArgs, unit: Unit) -> Result<(), CliError> {
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
fn ask_for_units(models: &[PathBuf], limits: &mesh::Limits) -> Result<Option<CliError>, CliError> {
    let mut longest: Option<(f64, String)> = None;
    for path in models {
        if mesh::states_unit(path)? {
            continue;
        }
        let model = mesh::read(path, Unit::Mm, limits)?;
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
    let direction = args.direction.as_deref();
    let direction = direction.map(|text| figure("--direction", parse_angle(text)));
    Ok(PlanConfig {
        direction_deg: direction.transpose()?,
        step: args
            .step
            .as_deref()
            .map(|text| positive("--step", text, job.unit))
            .transpose()?,
        check,
    })
}
