//! Figures as text: in the reader's unit, rounded to what their uncertainty allows.

use super::Place;
use super::text::JOIN;
use crate::units::{MM_PER_INCH, Unit};

/// What a figure measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Quantity {
    /// Kept in mm.
    Length,
    /// Kept in mm².
    Area,
    /// Kept in mm³.
    Volume,
    /// Kept in degrees.
    Angle,
    /// A ratio or a number of things.
    Count,
}

/// Writes figures in the reader's unit.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Figures {
    /// The reader's unit.
    pub(crate) unit: Unit,
}

/// What stands for a figure that could not be computed.
pub(crate) const NOT_KNOWN: &str = "not known";

impl Figures {
    /// Factor from the kept unit, most decimals and unit sign of a quantity.
    fn scale(self, quantity: Quantity) -> (f64, usize, &'static str) {
        match (quantity, self.unit) {
            (Quantity::Length, Unit::Mm) => (1.0, 3, "mm"),
            (Quantity::Length, Unit::Inch) => (1.0 / MM_PER_INCH, 4, "in"),
            (Quantity::Area, Unit::Mm) => (1.0, 2, "mm²"),
            (Quantity::Area, Unit::Inch) => (MM_PER_INCH.powi(-2), 4, "in²"),
            (Quantity::Volume, Unit::Mm) => (1.0, 2, "mm³"),
            (Quantity::Volume, Unit::Inch) => (MM_PER_INCH.powi(-3), 5, "in³"),
            (Quantity::Angle, _) => (1.0, 2, "°"),
            (Quantity::Count, _) => (1.0, 2, ""),
        }
    }

    /// Unit sign of a quantity.
    pub(crate) fn sign(self, quantity: Quantity) -> &'static str {
        self.scale(quantity).2
    }

    /// Plural of the unit of lengths, for a sentence.
    pub(crate) fn lengths(self) -> &'static str {
        match self.unit {
            Unit::Mm => "mm",
            Unit::Inch => "inches",
        }
    }

    /// The figure with its unit and, if given, its ±.
    pub(crate) fn text(self, quantity: Quantity, value: Option<f64>, pm: Option<f64>) -> String {
        let Some(value) = value.filter(|v| v.is_finite()) else {
            return NOT_KNOWN.to_string();
        };
        let (factor, most, sign) = match self.scale(quantity) {
            // what fills a mold is poured by the millilitre
            (_, _, "mm³") if value.abs() >= 1e4 => (1e-3, 3, "cm³"),
            scale => scale,
        };
        let number = number(value * factor, pm.map(|pm| pm * factor), most, quantity);
        let number = number.replace('±', &format!("{JOIN}±{JOIN}"));
        match sign {
            "" => number,
            "°" => number + sign,
            _ => format!("{number}{JOIN}{sign}"),
        }
    }

    /// The figure alone, for a column whose head tells the unit; `?` if not known.
    pub(crate) fn cell(self, quantity: Quantity, value: Option<f64>, pm: Option<f64>) -> String {
        let (factor, most, _) = self.scale(quantity);
        match value.filter(|v| v.is_finite()) {
            Some(value) => number(value * factor, pm.map(|pm| pm * factor), most, quantity),
            None => "?".to_string(),
        }
    }

    /// A length with its unit.
    pub(crate) fn length(self, mm: f64) -> String {
        self.text(Quantity::Length, Some(mm), None)
    }

    /// A place in the model's coordinates.
    pub(crate) fn place(self, place: Place) -> String {
        let [x, y, z] = place.map(|mm| self.cell(Quantity::Length, Some(mm), None));
        format!("X{JOIN}{x},{JOIN}Y{JOIN}{y},{JOIN}Z{JOIN}{z}")
    }

    /// ` at X …`, or nothing.
    pub(crate) fn at(self, place: Option<Place>) -> String {
        place.map_or_else(String::new, |place| format!(" at {}", self.place(place)))
    }
}

/// The share as a percentage, rounded down: what is not all never reads 100 %.
pub(crate) fn percent(share: f64) -> String {
    let percent = 100.0 * share.clamp(0.0, 1.0);
    let decimals = if !(1.0..=99.0).contains(&percent) {
        1
    } else {
        0
    };
    let scale = 10f64.powi(decimals);
    let down = (percent * scale + 1e-9).floor() / scale;
    format!("{}{JOIN}%", trimmed(down, decimals as usize))
}

/// `value` or `value±pm`.
///
/// A ± keeps one significant digit, two if the first is a 1, and sets the decimals of its figure. It
/// is rounded up and takes in the rounding of the figure, so the interval shown holds the true one.
fn number(value: f64, pm: Option<f64>, most: usize, quantity: Quantity) -> String {
    let Some(pm) = pm.filter(|&pm| pm != 0.0) else {
        return trimmed(value, plain_decimals(value, most, quantity));
    };
    if !pm.is_finite() {
        return format!(
            "{}±?",
            trimmed(value, plain_decimals(value, most, quantity))
        );
    }
    let pm = pm.abs();
    let exponent = pm.log10().floor();
    let first_digit = (pm / 10f64.powf(exponent) + 1e-9).floor();
    let digits = if first_digit < 2.0 { 1.0 } else { 0.0 };
    let decimals = ((digits - exponent).max(0.0) as usize).min(most);
    let scale = 10f64.powi(decimals as i32);
    let shown = (value * scale).round() / scale;
    // the small number forgives the arithmetic of this very line
    let margin = ((pm + (shown - value).abs()) * scale - 1e-6).ceil() / scale;
    format!("{}±{}", trimmed(shown, decimals), trimmed(margin, decimals))
}

/// Decimals of a figure without ±: all for a length, about five digits for an area or a volume.
fn plain_decimals(value: f64, most: usize, quantity: Quantity) -> usize {
    match quantity {
        Quantity::Area | Quantity::Volume if value.abs() >= 1.0 => {
            let whole = value.abs().log10().floor() as usize + 1;
            most.min(5usize.saturating_sub(whole))
        }
        _ => most,
    }
}

/// `value` with at most `decimals` decimals, without trailing zeros, never `-0`.
fn trimmed(value: f64, decimals: usize) -> String {
    let mut text = format!("{value:.decimals$}");
    if text.contains('.') {
        text.truncate(text.trim_end_matches('0').trim_end_matches('.').len());
    }
    if text == "-0" { "0".to_string() } else { text }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::text::plain_spaces;
    use proptest::prelude::*;

    const MM: Figures = Figures { unit: Unit::Mm };
    const INCH: Figures = Figures { unit: Unit::Inch };

    fn shown(figures: Figures, quantity: Quantity, value: f64, pm: Option<f64>) -> String {
        plain_spaces(&figures.text(quantity, Some(value), pm))
    }

    #[test]
    fn lengths_have_three_decimals_in_mm_and_four_in_inches() {
        assert_eq!(shown(MM, Quantity::Length, 3.17549, None), "3.175 mm");
        assert_eq!(shown(MM, Quantity::Length, 20.0, None), "20 mm");
        assert_eq!(shown(MM, Quantity::Length, -0.0001, None), "0 mm");
        // 1/8 in and 3/32 in are 0.125 and 0.09375 exactly; 3.1751 / 25.4 = 0.125004
        assert_eq!(shown(INCH, Quantity::Length, 3.1751, None), "0.125 in");
        assert_eq!(
            shown(INCH, Quantity::Length, 25.4 * 0.09374, None),
            "0.0937 in"
        );
    }

    #[test]
    fn an_uncertainty_sets_the_decimals_and_is_never_understated() {
        assert_eq!(
            shown(MM, Quantity::Length, 12.3456, Some(0.2)),
            "12.3 ± 0.3 mm"
        );
        assert_eq!(
            shown(MM, Quantity::Length, 12.3, Some(0.2)),
            "12.3 ± 0.2 mm"
        );
        // a first digit of 1 keeps two digits: 0.012 + 0.0004 of rounding, rounded up
        assert_eq!(
            shown(MM, Quantity::Length, 12.3456, Some(0.012)),
            "12.346 ± 0.013 mm"
        );
        assert_eq!(shown(MM, Quantity::Length, 5.0, Some(1e-6)), "5 ± 0.001 mm");
        assert_eq!(shown(MM, Quantity::Length, 5.0, Some(0.0)), "5 mm");
        assert_eq!(
            shown(MM, Quantity::Length, 5.0, Some(f64::INFINITY)),
            "5 ± ? mm"
        );
    }

    #[test]
    fn areas_and_volumes_keep_five_digits() {
        assert_eq!(shown(MM, Quantity::Area, 1234.567, None), "1234.6 mm²");
        assert_eq!(shown(MM, Quantity::Volume, 16755.161, None), "16.755 cm³");
        assert_eq!(
            shown(MM, Quantity::Volume, 16755.161, Some(13.0)),
            "16.755 ± 0.014 cm³"
        );
        // 16387.064 mm³ are one cubic inch
        assert_eq!(shown(INCH, Quantity::Volume, 16387.064, None), "1 in³");
    }

    #[test]
    fn what_is_not_known_is_said() {
        assert_eq!(MM.text(Quantity::Length, None, None), "not known");
        assert_eq!(MM.text(Quantity::Length, Some(f64::NAN), None), "not known");
        assert_eq!(MM.cell(Quantity::Area, None, None), "?");
    }

    #[test]
    fn nearly_all_is_not_all() {
        let shown = |share| plain_spaces(&percent(share));
        assert_eq!(shown(1.0), "100 %");
        assert_eq!(shown(0.99999), "99.9 %");
        assert_eq!(shown(0.639), "63 %");
        assert_eq!(shown(0.004), "0.4 %");
        assert_eq!(shown(0.0), "0 %");
    }

    proptest! {
        #[test]
        fn the_interval_shown_holds_the_interval_known(
            value in -1e5f64..1e5, log_pm in -6f64..4.0,
        ) {
            let pm = 10f64.powf(log_pm);
            let text = MM.cell(Quantity::Length, Some(value), Some(pm));
            let (v, p) = text.split_once('±').unwrap();
            let (v, p): (f64, f64) = (v.parse().unwrap(), p.parse().unwrap());
            // 1e-6 of the last decimal is forgiven, see `number`
            prop_assert!(v - p <= value - pm + 1e-5 * p && value + pm <= v + p + 1e-5 * p, "{text}");
        }
    }
}
