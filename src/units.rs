//! Lengths, angles and areas with units, as a machinist writes them.
//!
//! ```
//! use moldvet::units::{Unit, format_size, parse_length};
//!
//! assert_eq!(parse_length("1/8in", None), Ok(3.175));
//! assert_eq!(parse_length("1-1/4\"", None), Ok(31.75));
//! assert_eq!(parse_length("0.5", Some(Unit::Inch)), Ok(12.7));
//! assert!(parse_length("0.5", None).is_err());
//! assert_eq!(format_size(3.175), "1/8in");
//! ```

use std::fmt;
use std::str::FromStr;

/// Millimetres in one inch, exact: the international inch (yard and pound agreement of 1959, from memory).
pub const MM_PER_INCH: f64 = 25.4;

/// A length nearer than this to a 64th of an inch is that 64th, mm (1 nm: arithmetic, not measuring).
const SAME_SIZE: f64 = 1e-6;

/// The unit in which a file's numbers are meant; `mm` or `inch` in reports.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Unit {
    /// Millimetre.
    Mm,
    /// International inch.
    Inch,
}

impl Unit {
    /// Millimetres in one of this unit.
    pub fn in_mm(self) -> f64 {
        match self {
            Unit::Mm => 1.0,
            Unit::Inch => MM_PER_INCH,
        }
    }

    /// Millimetres in one of this unit, as numerator and denominator that are exact in binary.
    fn ratio(self) -> (f64, f64) {
        match self {
            Unit::Mm => (1.0, 1.0),
            Unit::Inch => (127.0, 5.0),
        }
    }
}

impl fmt::Display for Unit {
    /// `mm` or `inch`, which [`Unit::from_str`] reads back.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Unit::Mm => "mm",
            Unit::Inch => "inch",
        })
    }
}

impl FromStr for Unit {
    type Err = UnitError;

    /// Reads `mm`, `millimetre(s)`, `millimeter(s)`, `in`, `inch` or `inches`, in any case.
    ///
    /// # Errors
    ///
    /// [`UnitError::NotAUnit`] for anything else.
    fn from_str(text: &str) -> Result<Self, UnitError> {
        match text.trim().to_lowercase().as_str() {
            "mm" | "millimetre" | "millimetres" | "millimeter" | "millimeters" => Ok(Unit::Mm),
            "in" | "inch" | "inches" => Ok(Unit::Inch),
            _ => Err(UnitError::NotAUnit {
                text: text.trim().to_owned(),
            }),
        }
    }
}

/// What kind of figure a text was to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quantity {
    /// A length, read in mm.
    Length,
    /// An angle, read in degrees.
    Angle,
    /// An area, read in mm².
    Area,
}

impl Quantity {
    fn example(self) -> &'static str {
        match self {
            Quantity::Length => "`3.175mm`, `1/8in` or `0.125\"`",
            Quantity::Angle => "`3deg` or `0.5°`",
            Quantity::Area => "`0.5mm2`",
        }
    }

    fn units(self) -> &'static str {
        match self {
            Quantity::Length => "mm, cm, um, in, \" or thou",
            Quantity::Angle => "deg or °",
            Quantity::Area => "mm2, cm2 or in2",
        }
    }
}

impl fmt::Display for Quantity {
    /// `a length`, `an angle` or `an area`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Quantity::Length => "a length",
            Quantity::Angle => "an angle",
            Quantity::Area => "an area",
        })
    }
}

/// Why a text is not the figure it was to be. Each message quotes the text and shows what is right.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum UnitError {
    /// Nothing but blanks.
    #[error("{quantity} is missing; write for example {}", quantity.example())]
    Empty {
        /// What was to be read.
        quantity: Quantity,
    },
    /// The part before the unit is no number, or one too large for f64; a fraction over 0, or `1-9/8`.
    #[error("`{text}` is not {quantity}; write for example {}", quantity.example())]
    NotANumber {
        /// The whole text.
        text: String,
        /// What was to be read.
        quantity: Quantity,
    },
    /// A number and something behind it that is no unit of this quantity.
    #[error(
        "`{text}` is not {quantity}, because `{unit}` is none of the units {}; write for example {}",
        quantity.units(), quantity.example()
    )]
    UnknownUnit {
        /// The whole text.
        text: String,
        /// What stands in the unit's place.
        unit: String,
        /// What was to be read.
        quantity: Quantity,
    },
    /// A bare length other than 0 where nothing says which unit is meant.
    #[error("`{text}` has no unit; add one, as in `{text}mm` or `{text}in`")]
    NoUnit {
        /// The whole text.
        text: String,
    },
    /// Less than zero where that has no meaning.
    #[error("`{text}` is negative; write {quantity} of 0 or more, for example {}", quantity.example())]
    Negative {
        /// The whole text.
        text: String,
        /// What was to be read.
        quantity: Quantity,
    },
    /// Neither millimetre nor inch.
    #[error("`{text}` is not a unit for models and shop files; write `mm` or `inch`")]
    NotAUnit {
        /// The whole text.
        text: String,
    },
}

/// Reads a length of 0 or more and returns it in mm.
///
/// A number is whole, decimal (`3.175`, `.5`), a fraction (`1/8`) or mixed (`1-1/4`, `1 1/4`). Units, in
/// any case: `mm` or `millimetre(s)`, `cm`, `um`, `µm` or `micron(s)`, `in`, `inch`, `inches`, `"` or `''`, and `thou`
/// (a thousandth of an inch). A number without one is in `default`; 0 needs none. The result is the f64 nearest to what a decimal
/// says, for up to 15 digits, in inches and `thou` up to 13.
///
/// # Errors
///
/// A [`UnitError`] for anything else; [`UnitError::NoUnit`] for a bare number other than 0 with no `default`.
pub fn parse_length(text: &str, default: Option<Unit>) -> Result<f64, UnitError> {
    not_negative(parse_coordinate(text, default)?, text, Quantity::Length)
}

/// Reads a coordinate and returns it in mm: as [`parse_length`], negative allowed.
///
/// # Errors
///
/// As [`parse_length`], never [`UnitError::Negative`].
pub fn parse_coordinate(text: &str, default: Option<Unit>) -> Result<f64, UnitError> {
    let measure = Measure::split(text, Quantity::Length)?;
    let ratio = match measure.unit.to_lowercase().as_str() {
        "" if measure.numerator == 0.0 => (1.0, 1.0),
        "" => default.map(Unit::ratio).ok_or_else(|| UnitError::NoUnit {
            text: text.trim().to_owned(),
        })?,
        "mm" | "millimetre" | "millimetres" | "millimeter" | "millimeters" => Unit::Mm.ratio(),
        "cm" => (10.0, 1.0),
        // Micro sign and Greek mu look the same and are both in use.
        "um" | "µm" | "μm" | "micron" | "microns" => (1.0, 1000.0),
        "in" | "inch" | "inches" | "\"" | "″" | "”" | "''" => Unit::Inch.ratio(),
        "thou" => (127.0, 5000.0),
        _ => return Err(measure.unknown_unit()),
    };
    measure.times(ratio)
}

/// Reads an angle of 0 or more, such as `3deg`, `3 degrees`, `3°` or `3`, and returns it in degrees.
///
/// # Errors
///
/// A [`UnitError`] for anything else.
pub fn parse_angle(text: &str) -> Result<f64, UnitError> {
    let measure = Measure::split(text, Quantity::Angle)?;
    let degrees = match measure.unit.to_lowercase().as_str() {
        "" | "deg" | "degree" | "degrees" | "°" => measure.times((1.0, 1.0))?,
        _ => return Err(measure.unknown_unit()),
    };
    not_negative(degrees, text, Quantity::Angle)
}

/// Reads an area of 0 or more, such as `0.5mm2`, `0.5 mm²`, `0.5 mm^2`, `0.1cm2`, `0.001in2` or `0.5` (mm²), and returns it in
/// mm².
///
/// # Errors
///
/// A [`UnitError`] for anything else.
pub fn parse_area(text: &str) -> Result<f64, UnitError> {
    let measure = Measure::split(text, Quantity::Area)?;
    let ratio = match measure.unit.to_lowercase().as_str() {
        "" | "mm2" | "mm²" | "mm^2" => (1.0, 1.0),
        "cm2" | "cm²" | "cm^2" => (100.0, 1.0),
        "in2" | "in²" | "in^2" => (127.0 * 127.0, 25.0),
        _ => return Err(measure.unknown_unit()),
    };
    not_negative(measure.times(ratio)?, text, Quantity::Area)
}

fn not_negative(value: f64, text: &str, quantity: Quantity) -> Result<f64, UnitError> {
    if value < 0.0 {
        let text = text.trim().to_owned();
        return Err(UnitError::Negative { text, quantity });
    }
    Ok(value)
}

/// A text split into number and unit. The number is kept as a fraction, so that it meets the unit's own
/// fraction in one division and is rounded once.
struct Measure<'a> {
    text: &'a str,
    quantity: Quantity,
    numerator: f64,
    denominator: f64,
    unit: &'a str,
}

impl<'a> Measure<'a> {
    fn split(text: &'a str, quantity: Quantity) -> Result<Self, UnitError> {
        let text = text.trim();
        if text.is_empty() {
            return Err(UnitError::Empty { quantity });
        }
        let of_number = |c: char| c.is_ascii_digit() || c.is_whitespace() || ".,/+-".contains(c);
        let end = text.find(|c| !of_number(c)).unwrap_or(text.len());
        let (number, unit) = text.split_at(end);
        let (numerator, denominator) =
            parse_number(number.trim()).ok_or_else(|| UnitError::NotANumber {
                text: text.to_owned(),
                quantity,
            })?;
        Ok(Measure {
            text,
            quantity,
            numerator,
            denominator,
            unit,
        })
    }

    fn times(&self, (numerator, denominator): (f64, f64)) -> Result<f64, UnitError> {
        let value = self.numerator * numerator / (self.denominator * denominator);
        if !value.is_finite() {
            return Err(UnitError::NotANumber {
                text: self.text.to_owned(),
                quantity: self.quantity,
            });
        }
        // Adding 0 turns -0 into 0.
        Ok(value + 0.0)
    }

    fn unknown_unit(&self) -> UnitError {
        UnitError::UnknownUnit {
            text: self.text.to_owned(),
            unit: self.unit.to_owned(),
            quantity: self.quantity,
        }
    }
}

/// Numerator and denominator of `3`, `3.175`, `1/8`, `1-1/4` or `1 1/4`, with or without a sign before it.
fn parse_number(text: &str) -> Option<(f64, f64)> {
    let (sign, text) = match text.strip_prefix('-') {
        Some(rest) => (-1.0, rest.trim_start()),
        None => (1.0, text.strip_prefix('+').unwrap_or(text).trim_start()),
    };
    let (numerator, denominator) = match text.split_once('/') {
        None => parse_decimal(text)?,
        Some((left, right)) => {
            let denominator = parse_whole(right.trim())?;
            let left = left.trim_end();
            let rest = left.trim_start_matches(|c: char| c.is_ascii_digit());
            let first = parse_whole(&left[..left.len() - rest.len()])?;
            let numerator = if rest.is_empty() {
                first
            } else {
                let rest = rest.trim_start();
                let over = parse_whole(rest.strip_prefix('-').unwrap_or(rest).trim_start())?;
                // `1-9/8` is a slip of the pen: nobody measures so.
                if over >= denominator {
                    return None;
                }
                first * denominator + over
            };
            (numerator, denominator)
        }
    };
    (denominator > 0.0).then_some((sign * numerator, denominator))
}

fn parse_decimal(text: &str) -> Option<(f64, f64)> {
    let (whole, decimals) = text.split_once('.').unwrap_or((text, ""));
    let numerator = parse_whole(&format!("{whole}{decimals}"))?;
    let places = i32::try_from(decimals.len()).ok()?;
    Some((numerator, 10_f64.powi(places)))
}

fn parse_whole(text: &str) -> Option<f64> {
    let digits = !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
    digits.then(|| text.parse().ok()).flatten()
}

/// A length to a nanometre (inches: to a millionth), for messages in which two near values must differ.
pub(crate) fn format_exact(mm: f64, unit: Unit) -> String {
    match unit {
        Unit::Mm => format!("{} mm", trimmed(mm, 6)),
        Unit::Inch => format!("{} in", trimmed(mm / MM_PER_INCH, 6)),
    }
}

/// A size of `mm` millimetres as it is spoken: a multiple of 1/64 in, to a nanometre, as a fraction (`1/8in`, `1-1/4in`, `2in`;
/// 127 mm is `5in`), any other in mm to a nanometre (`6mm`, `0.8mm`).
pub fn format_size(mm: f64) -> String {
    let steps = (mm / MM_PER_INCH * 64.0).round();
    let is_inch = (mm - steps * MM_PER_INCH / 64.0).abs() < SAME_SIZE;
    // Beyond a million 64ths nothing is a shop's size, and the cast below stays exact.
    if !(is_inch && (1.0..1e6).contains(&steps)) {
        return format!("{}mm", trimmed(mm, 6));
    }
    let steps = steps as u32;
    let shift = steps.trailing_zeros().min(6);
    let (numerator, denominator) = (steps >> shift, 64_u32 >> shift);
    match (numerator / denominator, numerator % denominator) {
        (whole, 0) => format!("{whole}in"),
        (0, over) => format!("{over}/{denominator}in"),
        (whole, over) => format!("{whole}-{over}/{denominator}in"),
    }
}

/// Fixed decimals without the zeros at their end, and without the sign of a zero.
fn trimmed(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    let text = if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.')
    } else {
        &text
    };
    if text == "-0" { "0" } else { text }.to_owned()
}

#[cfg(test)]
mod tests;
