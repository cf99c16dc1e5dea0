//! The command line: arguments, progress, output and exit status.

mod args;
mod compare;
mod config;
mod ending;
mod error;
mod figures;
mod memory;
mod output;
mod progress;

use args::{Args, BodyArgs, CheckArgs, Command, CommonArgs, PlanArgs};
use clap::Parser;
use config::{BodyJob, Job, plan_config};
use ending::Ending;
use error::CliError;
use moldvet::plan::{self, PlanConfig};
use moldvet::report::plan::render_plan;
use moldvet::report::terminal::{Style, render_with};
use moldvet::report::{Relief, Report, Verdict, json};
use moldvet::vet::{self, Evidence};
use moldvet::{body, picture, sheet};
use output::Sink;
use progress::Progress;
use rayon::prelude::*;
use std::io::{self, IsTerminal, Write};
use std::process::ExitCode;

/// Columns of the terminal report: what fits every terminal and every printed page.
const WIDTH: usize = 80;

/// Exit status when something failed.
const FAILED: u8 = 1;
/// Exit status when nothing could be checked.
const NOT_CHECKED: u8 = 2;

/// Reads the command line and does what it asks for.
pub fn run() -> ExitCode {
    let command = match Args::try_parse() {
        Ok(args) => args.command,
        Err(error) if error.use_stderr() && !args::is_help(&error) => {
            complain(&args::sentence(&error));
            return NOT_CHECKED.into();
        }
        Err(help) => {
            // whoever closed the pipe has read enough
            let _ = help.print();
            return (help.exit_code() as u8).into();
        }
    };
    let ending = Ending::on_signals();
    let done = match &command {
        Command::Check(args) => check(args, &ending),
        Command::Body(args) => look_at(args, &ending),
        Command::Compare(args) => compare::run(args, &ending),
        Command::Plan(args) => planned(args, &ending).map(|()| Verdict::Pass),
    };
    match done {
        Ok(Verdict::Fail) => FAILED.into(),
        Ok(Verdict::Pass | Verdict::Watch | Verdict::Unsure) => ExitCode::SUCCESS,
        Err(error) => {
            complain(&error.to_string());
            NOT_CHECKED.into()
        }
    }
}

/// `moldvet check`.
fn check(args: &CheckArgs, ending: &Ending) -> Result<Verdict, CliError> {
    limit_time(&args.judge.common, ending)?;
    let job = Job::check(args)?;
    job.check_sinks()?;
    let (report, evidence, drawn) = on_threads(job.threads, || {
        let (report, evidence) = vetted(&job, args.plan)?;
        let drawn = draw(&job, &report, &evidence)?;
        Ok((report, evidence, drawn))
    })?;
    ending.work_is_done();
    drawn.write(&job, ending)?;
    tell(&job, &report, &evidence.reliefs, ending)?;
    Ok(report.verdict)
}

/// Starts the time limit, if there is one.
fn limit_time(args: &CommonArgs, ending: &Ending) -> Result<(), CliError> {
    if let Some(text) = &args.time_limit {
        ending.after(figures::time(text)?, text.trim());
    }
    Ok(())
}

/// `moldvet body`.
fn look_at(args: &BodyArgs, ending: &Ending) -> Result<Verdict, CliError> {
    limit_time(&args.judge.common, ending)?;
    let BodyJob { job, body, halves } = BodyJob::new(args)?;
    job.check_sinks()?;
    if let Some(halves) = &halves {
        halves.check(&job.inputs)?;
    }
    let (outcome, evidence, drawn) = on_threads(job.threads, || {
        let models = job.read()?;
        let progress = Progress::new(!job.quiet && io::stderr().is_terminal());
        let show = |stage| progress.show(stage);
        let looked = body::vet_with_evidence(&models[0], &body, &show, job.pictures());
        progress.clear();
        let (mut outcome, evidence) = looked?;
        if let Some(halves) = &halves {
            outcome.name_files(|name| halves.path(name));
        }
        let drawn = draw(&job, &outcome.report, &evidence)?;
        Ok((outcome, evidence, drawn))
    })?;
    ending.work_is_done();
    if let Some(halves) = &halves {
        for half in &outcome.halves {
            halves.write(half.name, &half.stl(), ending)?;
        }
    }
    drawn.write(&job, ending)?;
    tell(&job, &outcome.report, &evidence.reliefs, ending)?;
    Ok(outcome.report.verdict)
}

/// Prints and writes the report as asked for; `reliefs` as for [`render_with`].
fn tell(job: &Job, report: &Report, reliefs: &[Relief], ending: &Ending) -> Result<(), CliError> {
    let to_stdout = matches!(job.json, Some(Sink::Stdout));
    if !job.quiet && !to_stdout {
        output::print(&render_with(report, reliefs, style(job)))?;
        if let Some(plan) = &report.plan {
            output::print("\n")?;
            output::print(&render_plan(plan, style(job)))?;
        }
    }
    if let Some(sink) = &job.json {
        sink.write(&json::to_json(report)?, ending)?;
    }
    Ok(())
}

/// The page and the maps that were asked for, before any is written.
#[derive(Default)]
struct Drawn {
    /// Name and bytes of each map.
    maps: Vec<(String, Vec<u8>)>,
    page: Option<String>,
}

impl Drawn {
    fn write(&self, job: &Job, ending: &Ending) -> Result<(), CliError> {
        if let Some(folder) = &job.maps {
            for (name, bytes) in &self.maps {
                folder.write(name, bytes, ending)?;
            }
        }
        if let (Some(sink), Some(page)) = (&job.html, &self.page) {
            sink.write(page, ending)?;
        }
        Ok(())
    }
}

/// Draws the page and the maps that were asked for.
fn draw(job: &Job, report: &Report, evidence: &Evidence) -> Result<Drawn, CliError> {
    let mut drawn = Drawn::default();
    if !job.pictures() {
        return Ok(drawn);
    }
    let drawing = picture::Drawing::new(report, evidence, &job.check.shop);
    if job.maps.is_some() {
        let pictures = drawing.pictures(job.unit, |_| true);
        drawn.maps = pictures
            .par_iter()
            .map(|p| Ok((format!("{}.png", p.key), p.canvas.png()?)))
            .collect::<Result<_, io::Error>>()
            .map_err(CliError::Picture)?;
    }
    if job.html.is_some() {
        drawn.page = Some(sheet::page_of(&drawing, job.unit)?);
    }
    Ok(drawn)
}

/// `moldvet plan`.
fn planned(args: &PlanArgs, ending: &Ending) -> Result<(), CliError> {
    limit_time(&args.common, ending)?;
    let job = Job::plan(args)?;
    let config = plan_config(args, &job)?;
    if let Some(sink) = &job.json {
        sink.check("--json", &job.inputs)?;
    }
    let plan = on_threads(job.threads, || {
        let models = job.read()?;
        let progress = Progress::new(!job.quiet && io::stderr().is_terminal());
        let plan = plan::plan(&models, &config, &|stage| progress.show(stage));
        progress.clear();
        Ok(plan?)
    })?;
    ending.work_is_done();
    let to_stdout = matches!(job.json, Some(Sink::Stdout));
    if !job.quiet && !to_stdout {
        output::print(&render_plan(&plan, style(&job)))?;
    }
    if let Some(sink) = &job.json {
        sink.write(&json::plan_to_json(&plan)?, ending)?;
    }
    Ok(())
}

fn style(job: &Job) -> Style {
    Style {
        colour: output::colour(),
        width: WIDTH,
        unit: job.unit,
    }
}

/// Reads the models and vets them, plans too if asked to; keeps the evidence only if pictures were asked for.
fn vetted(job: &Job, with_plan: bool) -> Result<(Report, Evidence), CliError> {
    let models = job.read()?;
    let progress = Progress::new(!job.quiet && io::stderr().is_terminal());
    let show = |stage| progress.show(stage);
    let checked = vet::check_with_evidence(&models, &job.check, &show, job.pictures());
    let plan = with_plan.then(|| {
        let config = PlanConfig {
            check: job.check.clone(),
            direction_deg: None,
            step: None,
        };
        plan::plan(&models, &config, &show)
    });
    progress.clear();
    let (mut report, mut evidence) = checked?;
    report.plan = plan.transpose()?;
    let limits = &job.check.shop.limits;
    for half in report.plan.iter().flat_map(|p| &p.halves) {
        let named = report.halves.iter().position(|h| h.name == half.name);
        if let Some(kept) = named.and_then(|k| evidence.halves.get_mut(k)) {
            kept.cusps = plan::cusp_map(half, kept, limits.leave, limits.crease_deg);
        }
    }
    Ok((report, evidence))
}

/// Does `work` on that many threads, or on as many as there are processors.
fn on_threads<T: Send>(
    threads: Option<usize>,
    work: impl FnOnce() -> Result<T, CliError> + Send,
) -> Result<T, CliError> {
    match threads {
        None => work(),
        Some(threads) => {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads);
            pool.build()?.install(work)
        }
    }
}

/// Tells on stderr, in one line, why nothing was checked.
fn complain(sentence: &str) {
    let words: Vec<&str> = sentence.split_whitespace().collect();
    // names of files and what they hold must not steer a terminal
    let plain = words.join(" ").replace(char::is_control, "\u{fffd}");
    // with stderr closed there is nobody to tell
    let _ = writeln!(io::stderr(), "moldvet: {plain}");
}
