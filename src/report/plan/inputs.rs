//! What a plan went by, in words.

use crate::report::figures::percent;
use crate::report::page::Page;
use crate::report::text::{JOIN, clean};
use crate::units::{MM_PER_INCH, Unit};
use std::collections::BTreeMap;

/// How an input is shown.
#[derive(Clone, Copy)]
enum Shown {
    Length,
    /// A number with this behind it.
    Plain(&'static str),
    /// mm/min, or mm/s² with that behind it.
    Rate(&'static str),
    /// m/min.
    Speed,
    Percent,
    /// Numbers by name.
    Each,
    /// Whatever it is.
    Text,
}

/// The inputs in words, in the order in which they are shown.
const INPUTS: [(&str, &str, Shown); 23] = [
    ("material", "material", Shown::Text),
    ("speed_m_min", "cutting speed", Shown::Speed),
    ("chip_share", "chip load of diameter", Shown::Percent),
    (
        "teeth_not_stated",
        "teeth where not stated",
        Shown::Plain(""),
    ),
    ("rough_depth", "roughing depth of diameter", Shown::Percent),
    ("rough_width", "roughing width of diameter", Shown::Percent),
    ("machine_rpm", "spindle at most", Shown::Plain("1/min")),
    ("machine_feed_mm_min", "feed at most", Shown::Rate("/min")),
    (
        "machine_acceleration_mm_s2",
        "acceleration",
        Shown::Rate("/s²"),
    ),
    ("tool_change_s", "tool change", Shown::Plain("s")),
    ("cusp_mm", "cusp height", Shown::Length),
    ("semi_cusp_mm", "in semi-finishing", Shown::Length),
    ("share", "on", Shown::Percent),
    ("stock_mm", "depth of cut in finishing", Shown::Length),
    ("leave_mm", "leave", Shown::Length),
    ("side_load_n", "side load", Shown::Plain("N")),
    ("bend_mm", "bending at most", Shown::Length),
    (
        "slender",
        "stickout over diameter at most",
        Shown::Plain(""),
    ),
    ("modulus_n_mm2", "stiffness in N/mm²", Shown::Each),
    (
        "time_range",
        "times may be longer by a factor of",
        Shown::Plain(""),
    ),
    ("direction_deg", "direction asked for", Shown::Plain("°")),
    ("step_mm", "step asked for", Shown::Length),
    ("shop", "shop file", Shown::Text),
];

/// Everything that the estimates went by.
pub(super) fn inputs(page: &mut Page, inputs: &BTreeMap<String, serde_json::Value>) {
    let f = page.figures;
    let per_inch = |mm: f64| match f.unit {
        Unit::Mm => (mm, "mm"),
        Unit::Inch => (mm / MM_PER_INCH, "in"),
    };
    let short = |x: f64| format!("{}", (1e4 * x).round() / 1e4);
    let say = |value: &serde_json::Value, shown: Shown| match (shown, value.as_f64()) {
        (Shown::Length, Some(mm)) => f.length(mm),
        (Shown::Plain(""), Some(x)) => short(x),
        (Shown::Plain("°"), Some(x)) => format!("{}°", short(x)),
        (Shown::Plain(unit), Some(x)) => format!("{}{JOIN}{unit}", short(x)),
        (Shown::Rate(per), Some(mm)) => {
            let (value, unit) = per_inch(mm);
            format!("{}{JOIN}{unit}{per}", short((10.0 * value).round() / 10.0))
        }
        (Shown::Percent, Some(x)) => percent(x),
        (Shown::Speed, _) => {
            let [low, high] = [0, 1].map(|k| value[k].as_f64().unwrap_or(0.0));
            let (unit, factor) = match f.unit {
                Unit::Mm => ("m/min", 1.0),
                Unit::Inch => ("ft/min", 1e3 / (12.0 * MM_PER_INCH)),
            };
            format!("{:.0} to {:.0}{JOIN}{unit}", low * factor, high * factor)
        }
        (Shown::Each, _) => {
            let each = value.as_object().into_iter().flatten();
            let each = each.map(|(name, v)| {
                format!(
                    "{} {}",
                    clean(&name.replace('_', " ")),
                    short(v.as_f64().unwrap_or(0.0))
                )
            });
            each.collect::<Vec<_>>().join(", ")
        }
        _ => clean(&value.to_string().replace('"', "")),
    };
    let named = INPUTS.iter().filter_map(|&(key, words, shown)| {
        let value = inputs.get(key).filter(|v| !v.is_null())?;
        Some(format!("{words} {}", say(value, shown)))
    });
    let told: Vec<String> = named.collect();
    page.paragraph(&format!("{}.", told.join("; ")));
    let common = inputs.get("material_is_common_practice");
    if common.and_then(serde_json::Value::as_bool) == Some(true) {
        page.paragraph("The material's values are common practice, no source.");
    }
    page.paragraph(
        "Values that the shop file does not state are common practice, no source; state your own.",
    );
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::PlanConfig;
    use crate::shop::Shop;
    use crate::vet::CheckConfig;

    #[test]
    fn every_input_is_shown() {
        let config = PlanConfig {
            check: CheckConfig {
                shop: Shop::builtin(),
                axis: None,
                cell: None,
                not_cavity: Vec::new(),
                meets: Vec::new(),
                fill_density: None,
            },
            direction_deg: Some(30.0),
            step: Some(0.1),
        };
        for key in crate::plan::inputs(&config).keys() {
            let said = INPUTS.iter().any(|i| i.0 == key);
            assert!(said || key == "material_is_common_practice", "{key}");
        }
    }
}
