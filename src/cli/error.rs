//! Why nothing was checked, each in one sentence.

use moldvet::body::BodyError;
use moldvet::mesh::{Bytes, ReadError};
use moldvet::shop::ShopError;
use moldvet::units::{Unit, UnitError};
use moldvet::vet::CheckError;
use std::io;
use std::path::PathBuf;

/// Why nothing was checked.
#[derive(Debug, thiserror::Error)]
pub enum CliError {
    /// A figure that cannot be read.
    #[error("{option}: {source}")]
    Figure {
        /// The option as typed.
        option: &'static str,
        /// What is wrong with its figure.
        source: UnitError,
    },
    /// A figure that must be more than 0.
    #[error("{option} must be more than 0")]
    NotPositive {
        /// The option as typed.
        option: &'static str,
    },
    /// No direction.
    #[error(
        "{option}: `{text}` is not a direction; write +x, -x, +y, -y, +z, -z, or three numbers such as 0,0.6,0.8"
    )]
    Axis {
        /// The option as typed.
        option: &'static str,
        /// What was typed.
        text: String,
    },
    /// No place.
    #[error(
        "--not-cavity: `{text}` is not a place; write its X and Y as in 12.5,-3 or 1/2in,-1/8in"
    )]
    Place {
        /// What was typed.
        text: String,
    },
    /// No factor.
    #[error("--scale: `{text}` is not a factor of more than 0; write for example 1.02")]
    Factor {
        /// What was typed.
        text: String,
    },
    /// No share.
    #[error(
        "--shrink: `{text}` is not a shrink in percent, from 0% to less than 50%; write for example 1.2%"
    )]
    Shrink {
        /// What was typed.
        text: String,
    },
    /// No time.
    #[error(
        "--time-limit: `{text}` is not a time of more than 0; write for example 90s, 10min or 1h"
    )]
    Time {
        /// What was typed.
        text: String,
    },
    /// No amount of memory.
    #[error(
        "--memory: `{text}` is not an amount of memory of more than 0; write for example 512MiB or 4GiB"
    )]
    MemorySize {
        /// What was typed.
        text: String,
    },
    /// More memory than allowed.
    #[error(
        "the work takes about {} of memory, more than the limit of {}; use a larger --cell or a coarser mesh, or \
         allow more with --memory",
        Bytes(*.need),
        Bytes(*.limit)
    )]
    TooMuchMemory {
        /// Estimate, bytes.
        need: u64,
        /// The limit, bytes.
        limit: u64,
    },
    /// No density.
    #[error(
        "--fill-density: `{text}` is not a density of more than 0; write for example 0.96g/cm3, 960kg/m3 or 60lb/ft3"
    )]
    Density {
        /// What was typed.
        text: String,
    },
    /// Nothing tells the unit of the models.
    #[error("{file} does not say in which unit it is drawn; add `--units mm` or `--units inch` (its longest side is {}{})", (side * 1e3).round() / 1e3, hint(*.side))]
    NoUnits {
        /// The file with the largest model.
        file: String,
        /// Its longest side in the file's own numbers.
        side: f64,
    },
    /// A unit typed that is not the file's own.
    #[error("{file} says itself that its unit is {mm} mm long, and `--units {}` says another; leave --units out", match typed { Unit::Mm => "mm", Unit::Inch => "inch" })]
    OtherUnit {
        /// The file.
        file: String,
        /// Millimetres in its unit.
        mm: f64,
        /// The unit typed.
        typed: Unit,
    },
    /// No pair of places.
    #[error(
        "--meet: `{text}` is not a place of half A and one of half B; write them as in 40,12,0=40,-12,0"
    )]
    Meet {
        /// What was typed.
        text: String,
    },
    /// The shop file or a setting.
    #[error(transparent)]
    Shop(#[from] ShopError),
    /// A model.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// The check itself.
    #[error(transparent)]
    Check(#[from] CheckError),
    /// The look at a body.
    #[error(transparent)]
    Body(#[from] BodyError),
    /// The threads asked for.
    #[error("--threads: the threads cannot be started ({0}); ask for fewer")]
    Threads(#[from] rayon::ThreadPoolBuildError),
    /// A report that would overwrite what it was made from.
    #[error("{option}: {} is one of the files to be read; name another file", path.display())]
    Overwrites {
        /// The option as typed.
        option: &'static str,
        /// The file.
        path: PathBuf,
    },
    /// A place where no file can be written.
    #[error("{option}: {} {reason}; name one in a folder that exists{}", path.display(), if *option == "--json" { ", or `-` for standard output" } else { "" })]
    NotAFile {
        /// The option as typed.
        option: &'static str,
        /// The file.
        path: PathBuf,
        /// What it is instead.
        reason: &'static str,
    },
    /// The system refuses to write.
    #[error("{} cannot be written ({source}); the file is as it was before: make room or name another place", path.display())]
    Write {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// Standard output fails.
    #[error("standard output cannot be written ({0})")]
    Print(io::Error),
    /// A report that cannot be opened.
    #[error("{} cannot be read ({source}); name a model, or a report written with --json", path.display())]
    Open {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// A file that is no report.
    #[error("{} is not a report of this program's format ({source}); write one with `moldvet check --json`", path.display())]
    NoReport {
        /// The file.
        path: PathBuf,
        /// What is wrong in it.
        source: serde_json::Error,
    },
    /// An option that has no meaning for reports.
    #[error(
        "{option} is for models; the reports were judged when they were written, so leave it out"
    )]
    Judged {
        /// The option as typed.
        option: &'static str,
    },
    /// A report in another format.
    #[error("{} is in the format `{format}`, not `{}`; write it anew with `moldvet check --json`", path.display(), moldvet::report::FORMAT)]
    Format {
        /// The file.
        path: PathBuf,
        /// Its format.
        format: String,
    },
    /// The page cannot be made.
    #[error(transparent)]
    Sheet(#[from] moldvet::sheet::SheetError),
    /// A picture cannot be packed.
    #[error("a picture cannot be packed ({0}); this is a defect of the program")]
    Picture(io::Error),
    /// The report cannot be put in JSON.
    #[error("the report cannot be written as JSON ({0})")]
    Json(#[from] serde_json::Error),
}

/// Which unit the size suggests: a mold's longest side is seldom less than 15 mm or more than 24 inches, nor
/// less than half an inch (common practice, no source).
fn hint(side: f64) -> &'static str {
    match side {
        0.5..15.0 => ", which looks like inches",
        _ if side > 24.0 => ", which looks like mm",
        _ => ", which may be either",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_size_suggests_a_unit() {
        let told = |side| {
            let file = "a.stl".to_string();
            CliError::NoUnits { file, side }.to_string()
        };
        assert_eq!(
            told(4.0),
            "a.stl does not say in which unit it is drawn; add `--units mm` or `--units inch` (its longest \
             side is 4, which looks like inches)"
        );
        assert!(told(100.0).ends_with("(its longest side is 100, which looks like mm)"));
        assert!(told(20.0).ends_with("which may be either)"));
        assert!(told(0.1).ends_with("which may be either)"));
    }
}
