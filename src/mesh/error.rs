//! Why a model cannot be read.

use std::fmt;

/// A model that cannot be used: which file, and why.
#[derive(Debug, thiserror::Error)]
#[error("{file}: {fault}")]
pub struct ReadError {
    /// Name of the file, without its folder.
    pub file: String,
    /// What is wrong with it.
    pub fault: Fault,
}

/// What is wrong with a file. Each message says what, where, and what to do.
#[derive(Debug, thiserror::Error)]
pub enum Fault {
    /// The operating system gives no bytes.
    #[error("the file cannot be read ({0}): check its name and whether you may open it")]
    Io(#[from] std::io::Error),
    /// No bytes.
    #[error("the file is empty: export the model again")]
    Empty,
    /// A well-formed file without a triangle.
    #[error("the file holds no triangles: select the solid and export it again")]
    NoTriangles,
    /// Some other kind of file, and what it seems to be.
    #[error("this is not an STL, 3MF, OBJ or PLY file but {0}: export the model as one of these")]
    NotStl(&'static str),
    /// A file of a known kind that breaks its rules.
    #[error("the {kind} file is damaged ({what}): export the model again")]
    Damaged {
        /// 3MF, OBJ or PLY.
        kind: &'static str,
        /// What is wrong, and where.
        what: String,
    },
    /// A shape that is described in a way that is not read.
    #[error("the {kind} file holds {what}, which is not read: {remedy} and export it again")]
    NotRead {
        /// 3MF, OBJ or PLY.
        kind: &'static str,
        /// What it holds.
        what: String,
        /// What to do about it.
        remedy: &'static str,
    },
    /// Neither text nor of the length that its header calls for.
    #[error(
        "the header declares {declared} triangles but the file has room for {present}{}: it was cut short, \
         damaged, or is not an STL file; export the model again",
        Rest(*.rest)
    )]
    Count {
        /// Triangles that the header declares.
        declared: u32,
        /// Whole triangles that follow.
        present: u64,
        /// Bytes left over behind them.
        rest: u64,
    },
    /// The text stops before its end.
    #[error(
        "the text ends early at line {line}, where `{expected}` should follow: the file was cut short; \
         export the model again"
    )]
    EndsEarly {
        /// Last line, from 1.
        line: usize,
        /// What should have come.
        expected: &'static str,
    },
    /// A word that does not belong there.
    #[error(
        "line {line} has `{found}` where `{expected}` belongs: export the model again, best as binary STL"
    )]
    Word {
        /// Line, from 1.
        line: usize,
        /// What stands there, shortened.
        found: String,
        /// What belongs there.
        expected: &'static str,
    },
    /// A coordinate that is no number.
    #[error(
        "line {line} has `{found}`, which is not a number: write numbers with a decimal point, or export the \
         model as binary STL"
    )]
    Number {
        /// Line, from 1.
        line: usize,
        /// What stands there, shortened.
        found: String,
    },
    /// A coordinate that is not finite, or too large for STL's 32-bit numbers.
    #[error(
        "triangle {} (index {triangle}{}) has a coordinate that is not a finite number: repair the model and \
         export it again",
        triangle + 1,
        Line(*.line)
    )]
    NotFinite {
        /// Triangle, from 0.
        triangle: usize,
        /// Its line in a text file, from 1.
        line: Option<usize>,
    },
    /// Nothing but degenerate triangles.
    #[error("none of the {triangles} triangles has an area: export the model again")]
    NoArea {
        /// Triangles in the file.
        triangles: usize,
    },
    /// Nothing but surfaces.
    #[error(
        "the model has no volume, it is a surface and not a solid: give it thickness and export it again"
    )]
    NoVolume,
    /// Larger than any mold: more than 100 m.
    #[error(
        "the model is {size:.3e} mm across, a size out of range (at most {limit} mm): check the units and export \
         it again"
    )]
    TooLarge {
        /// Longest side, mm.
        size: f64,
        /// Largest longest side, mm.
        limit: f64,
    },
    /// Smaller than any mold: less than 10 µm.
    #[error(
        "the model is only {size:.3e} mm across, a size out of range (at least {limit} mm): the units are likely \
         wrong; state them, or scale the model and export it again"
    )]
    TooSmall {
        /// Longest side, mm.
        size: f64,
        /// Smallest longest side, mm.
        limit: f64,
    },
    /// So far from the origin that 32-bit numbers do not tell its shape: less than 100 times their spacing across.
    #[error(
        "the model's precision is lost: its coordinates are rounded to {rounding:.3e} mm and it is only {size:.3e} \
         mm across; move it to the origin and export it again"
    )]
    PrecisionLost {
        /// Spacing of the coordinates, mm.
        rounding: f64,
        /// Longest side, mm.
        size: f64,
    },
    /// More triangles than allowed.
    #[error(
        "the file has {count} triangles, more than the limit of {limit}; write a coarser mesh, or allow more with \
         --max-triangles"
    )]
    TooManyTriangles {
        /// Triangles in the file, or read so far.
        count: u64,
        /// The limit.
        limit: u64,
    },
    /// More memory than allowed.
    #[error(
        "reading the file takes about {} of memory, more than the limit of {}; write a coarser mesh, or allow more \
         with --memory",
        Bytes(*.need),
        Bytes(*.limit)
    )]
    TooMuchMemory {
        /// Estimate, bytes.
        need: u64,
        /// The limit, bytes.
        limit: u64,
    },
}

/// An amount of memory, as people write it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Bytes(pub u64);

impl fmt::Display for Bytes {
    /// In the largest binary unit of which it is one or more, with a decimal.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let units = [
            (1 << 40, "TiB"),
            (1 << 30, "GiB"),
            (1 << 20, "MiB"),
            (1 << 10, "KiB"),
        ];
        match units.iter().find(|(size, _)| self.0 >= *size) {
            Some((size, name)) => write!(f, "{:.1} {name}", self.0 as f64 / *size as f64),
            None => write!(f, "{} bytes", self.0),
        }
    }
}

/// Most characters of what a library says of a damaged file.
const MOST_SAID: usize = 160;

/// The first `most` characters of what a file holds, fit to be printed: no control character reaches a terminal.
pub(super) fn shortened(text: &str, most: usize) -> String {
    let plain = |c: char| if c.is_control() { '\u{fffd}' } else { c };
    let mut short: String = text.chars().take(most).map(plain).collect();
    if text.chars().nth(most).is_some() {
        short.push('…');
    }
    short
}

impl Fault {
    /// A file of this kind that breaks its rules; what libraries say may quote the file at any length.
    pub(super) fn damaged(kind: &'static str, what: impl ToString) -> Fault {
        Fault::Damaged {
            kind,
            what: shortened(&what.to_string(), MOST_SAID),
        }
    }

    /// The fault as found in `file`.
    pub fn in_file(self, file: &str) -> ReadError {
        ReadError {
            file: file.to_owned(),
            fault: self,
        }
    }
}

/// Bytes left over behind the last whole triangle, as words.
struct Rest(u64);

impl fmt::Display for Rest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.0 {
            0 => Ok(()),
            rest => write!(f, " whole ones and {rest} bytes over"),
        }
    }
}

/// A line number, as words where there is one.
struct Line(Option<usize>);

impl fmt::Display for Line {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.0 {
            None => Ok(()),
            Some(line) => write!(f, ", line {line}"),
        }
    }
}
