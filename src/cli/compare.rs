//! `moldvet compare`.

use super::args::CompareArgs;
use super::error::CliError;
use super::{WIDTH, output};
use moldvet::report::compare::{Comparison, render};
use moldvet::report::terminal::Style;
use moldvet::report::{FORMAT, Report, Verdict};
use moldvet::units::Unit;
use std::fs;
use std::path::Path;

/// Compares two reports; [`Verdict::Fail`] if a verdict got worse or anything fails in the new one.
pub fn run(args: &CompareArgs) -> Result<Verdict, CliError> {
    let unit = match &args.units {
        Some(text) => text.parse().map_err(|source| CliError::Figure {
            option: "--units",
            source,
        })?,
        None => Unit::Mm,
    };
    let (old, new) = (read(&args.old)?, read(&args.new)?);
    let comparison = Comparison::of(&old, &new);
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

fn read(path: &Path) -> Result<Report, CliError> {
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
