//! `moldvet compare`.

use super::args::{CompareArgs, JudgeArgs, ReportArgs};
use super::config::Job;
use super::ending::Ending;
use super::error::CliError;
use super::{WIDTH, limit_time, on_threads, output, vetted};
use moldvet::report::compare::{Comparison, render};
use moldvet::report::terminal::Style;
use moldvet::report::{FORMAT, Report, Verdict};
use moldvet::units::Unit;
use std::fs::{self, File};
use std::io::Read;
use std::path::Path;

/// Compares two reports or models; [`Verdict::Fail`] if a verdict got worse or anything fails in the new one.
pub fn run(args: &CompareArgs, ending: &Ending) -> Result<Verdict, CliError> {
    limit_time(&args.judge.common, ending)?;
    let paths = [&args.old, &args.new];
    let [a, b] = paths.map(|path| is_report(path));
    let reports = [a?, b?];
    if let ([true, true], Some(option)) = (reports, args.judge.judges()) {
        return Err(CliError::Judged { option });
    }
    let mut unit = match &args.judge.common.units {
        Some(text) => text.parse().map_err(|source| CliError::Figure {
            option: "--units",
            source,
        })?,
        None => Unit::Mm,
    };
    let mut read = Vec::with_capacity(2);
    for (path, is_report) in paths.into_iter().zip(reports) {
        if is_report {
            read.push(report(path)?);
        } else {
            let (checked, drawn_in) = check(path, &args.judge, args.quiet)?;
            unit = drawn_in;
            read.push(checked);
        }
    }
    ending.work_is_done();
    let [old, new] = [&read[0], &read[1]];
    let comparison = Comparison::of(old, new);
    if !args.quiet {
        let style = Style {
            colour: output::colour(),
            width: WIDTH,
            unit,
        };
        output::print(&render(&comparison, style))?;
    }
    if comparison.worse() {
        return Ok(Verdict::Fail);
    }
    Ok(new.verdict)
}

/// Whether `path` holds a report rather than a model, by its name or by how it begins.
fn is_report(path: &Path) -> Result<bool, CliError> {
    if path
        .extension()
        .is_some_and(|e| e.eq_ignore_ascii_case("json"))
    {
        return Ok(true);
    }
    let mut begin = Vec::new();
    let read = File::open(path).and_then(|f| f.take(64).read_to_end(&mut begin));
    read.map_err(|source| CliError::Open {
        path: path.to_path_buf(),
        source,
    })?;
    Ok(begin.trim_ascii_start().first() == Some(&b'{'))
}

/// The report on the model in `path`, and the unit that it is drawn in.
fn check(path: &Path, judge: &JudgeArgs, quiet: bool) -> Result<(Report, Unit), CliError> {
    let to = ReportArgs { json: None, quiet };
    let job = Job::judged(judge, &to, &[path.to_path_buf()])?;
    let (report, _) = on_threads(job.threads, || vetted(&job, false))?;
    Ok((report, job.unit))
}

fn report(path: &Path) -> Result<Report, CliError> {
    let text = fs::read_to_string(path).map_err(|source| CliError::Open {
        path: path.to_path_buf(),
        source,
    })?;
    let wrong = |source| CliError::NoReport {
        path: path.to_path_buf(),
        source,
    };
    let value: serde_json::Value = serde_json::from_str(&text).map_err(wrong)?;
    match value.get("format").and_then(|f| f.as_str()) {
        Some(format) if format != FORMAT => Err(CliError::Format {
            path: path.to_path_buf(),
            format: format
                .chars()
                .filter(|c| !c.is_control())
                .take(48)
                .collect(),
        }),
        _ => serde_json::from_value(value).map_err(wrong),
    }
}
