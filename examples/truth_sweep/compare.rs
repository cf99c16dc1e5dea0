//! A report's figures against what is true of its shape.

use crate::shapes::Shape;
use moldvet::report::{Report, Verdict};
use serde::{Deserialize, Serialize};
use std::borrow::Cow;

/// How a figure's ± is stated in the table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scale {
    /// As it is.
    Plain,
    /// As a share of the truth.
    Share,
    /// In turns between facets.
    Turns,
}

/// Numbers that may be none or have no end, as text.
mod number {
    use serde::{Deserialize, Deserializer, Serializer, de::Error};

    pub fn serialize<S: Serializer>(number: &f64, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(&number.to_string())
    }

    pub fn deserialize<'d, D: Deserializer<'d>>(from: D) -> Result<f64, D::Error> {
        String::deserialize(from)?.parse().map_err(D::Error::custom)
    }
}

/// A figure and its truth.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Trial {
    /// Name of the figure.
    pub figure: Cow<'static, str>,
    /// What it belongs to, such as a ball's size.
    pub of: String,
    /// What is true.
    #[serde(with = "number")]
    pub truth: f64,
    /// What is reported, if anything.
    pub value: Option<f64>,
    /// Its ±.
    #[serde(with = "number")]
    pub pm: f64,
    /// What the ± is divided by for the table, with how to say so.
    #[serde(with = "number")]
    pub by: f64,
}

impl Trial {
    /// Whether the truth lies inside the ±, arithmetic aside.
    pub fn holds(&self) -> bool {
        let slack = 1e-9 * self.truth.abs().max(1.0);
        self.value
            .is_some_and(|v| (v - self.truth).abs() <= self.pm + slack)
    }

    /// How many ± the figure is off.
    pub fn excess(&self) -> f64 {
        self.value.map_or(f64::INFINITY, |v| {
            (v - self.truth).abs() / self.pm.max(1e-12)
        })
    }
}

/// A verdict against what it should be.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Call {
    /// What is judged.
    pub what: Cow<'static, str>,
    /// More of it, for a reader.
    pub of: String,
    /// Whether it should pass.
    pub truth: bool,
    /// Whether it passes; `None` where the report says that it is too close to call.
    pub said: Option<bool>,
    /// How close the figure is to its limit.
    #[serde(with = "number")]
    pub margin: f64,
}

/// What came of a shape.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub struct Outcome {
    /// Its seed.
    pub seed: u64,
    /// Its kind.
    pub kind: Cow<'static, str>,
    /// Figures.
    pub trials: Vec<Trial>,
    /// Verdicts.
    pub calls: Vec<Call>,
    /// Why there is no report.
    pub error: Option<String>,
}

/// Name of the flat or bull-nose cutter.
pub const FLAT: &str = "flat or bull-nose";
/// Verdicts on it.
pub const CLEARS_FLAT: &str = "clears, flat or bull-nose";

/// Verdicts on balls drawn within 2 % of the smallest radius, counted apart.
pub const BORDERLINE: &str = "clears, ball within 2 % of the radius";

/// Those of the others on meshes with a chord error of a quarter of the leave at the most.
pub const FINE: &str = "clears, of these on meshes finer than a quarter of the leave";

/// Compares the first half of `report`; `at_parting` is the cavity's middle at the parting level in the file's frame,
/// `rounding` the coarsest step of the file's coordinates, mm.
pub fn compare(
    shape: &Shape,
    report: &Report,
    axis_found: bool,
    at_parting: [f64; 3],
    rounding: f64,
) -> Outcome {
    let truth = &shape.truth;
    let mut out = Outcome {
        kind: shape.kind.into(),
        ..Outcome::default()
    };
    let Some(half) = report.halves.first() else {
        out.error = Some("no half".into());
        return out;
    };
    let mut add = |figure: &'static str,
                   of: &str,
                   truth: f64,
                   value: Option<f64>,
                   pm: Option<f64>,
                   scale: Scale,
                   turn: f64| {
        let by = match scale {
            Scale::Plain => 1.0,
            Scale::Share => truth.abs().max(1e-12),
            Scale::Turns => turn.max(1e-12),
        };
        out.trials.push(Trial {
            figure: figure.into(),
            of: of.to_owned(),
            truth,
            value,
            pm: pm.unwrap_or(0.0),
            by,
        });
    };
    let turn = truth.turn_deg;
    let coarse = turn > 20.0;
    let axis = f64::from(u8::from(axis_found));
    add(
        "tool axis found",
        "",
        1.0,
        Some(axis),
        Some(0.0),
        Scale::Plain,
        turn,
    );
    add(
        "parting level",
        "",
        0.0,
        // told at the cavity: at the origin it is the axis that decides
        Some(half.parting_level_mm - dot(half.tool_axis, at_parting)),
        Some(2.0 * rounding),
        Scale::Plain,
        turn,
    );
    let c = &half.cavity;
    add(
        "volume (share)",
        "",
        truth.volume_mm3,
        c.volume_mm3,
        c.volume_mm3_pm,
        Scale::Share,
        turn,
    );
    add(
        "surface (share)",
        "",
        truth.surface_mm2,
        c.surface_mm2,
        c.surface_mm2_pm,
        Scale::Share,
        turn,
    );
    add(
        "depth (mm)",
        "",
        truth.depth_mm,
        c.depth_mm,
        c.depth_mm_pm,
        Scale::Plain,
        turn,
    );
    let u = &half.undercut;
    if truth.hidden_area_mm2 > 0.0 {
        add(
            "hidden area (share)",
            "",
            truth.hidden_area_mm2,
            u.hidden_area_mm2,
            u.hidden_area_mm2_pm,
            Scale::Share,
            turn,
        );
        add(
            "hidden volume (share)",
            "",
            truth.hidden_volume_mm3,
            u.hidden_volume_mm3,
            u.hidden_volume_mm3_pm,
            Scale::Share,
            turn,
        );
        add(
            "hook (mm)",
            "",
            truth.hook_mm,
            u.hook_mm,
            u.hook_mm_pm,
            Scale::Plain,
            turn,
        );
    } else {
        add(
            "hidden area, none (mm2)",
            "",
            0.0,
            u.hidden_area_mm2,
            u.hidden_area_mm2_pm,
            Scale::Plain,
            turn,
        );
        add(
            "hidden volume, none (mm3)",
            "",
            0.0,
            u.hidden_volume_mm3,
            u.hidden_volume_mm3_pm,
            Scale::Plain,
            turn,
        );
        add(
            "hook, none (mm)",
            "",
            0.0,
            u.hook_mm,
            u.hook_mm_pm,
            Scale::Plain,
            turn,
        );
    }
    let d = &half.draft;
    if let Some(least) = truth.least_draft_deg {
        add(
            "least draft (deg)",
            "",
            least,
            d.least_deg,
            d.least_deg_pm,
            Scale::Plain,
            turn,
        );
        if turn > 0.0 {
            add(
                "least draft (turns)",
                "",
                least,
                d.least_deg,
                d.least_deg_pm,
                Scale::Turns,
                turn,
            );
        }
    }
    if let Some(wall) = truth.short_wall_mm {
        add(
            "tallest short wall (mm)",
            "",
            wall,
            d.tallest_short_wall_mm,
            d.tallest_short_wall_mm_pm,
            Scale::Plain,
            turn,
        );
    }
    let r = &half.reach;
    match truth.radius_mm {
        // a faceted fillet near the crease limit may be read either way, but not as anything else
        Some(radius) if radius > 0.0 && coarse => {
            let found = r.smallest_concave_radius_mm;
            let sharp = found.is_some_and(|f| f <= r.smallest_concave_radius_mm_pm.unwrap_or(0.0));
            add(
                "radius, smooth or sharp (mm)",
                if sharp { "read sharp" } else { "read smooth" },
                if sharp { 0.0 } else { radius },
                found,
                r.smallest_concave_radius_mm_pm,
                Scale::Plain,
                turn,
            );
        }
        Some(radius) if radius > 0.0 => {
            add(
                "radius (share)",
                "",
                radius,
                r.smallest_concave_radius_mm,
                r.smallest_concave_radius_mm_pm,
                Scale::Share,
                turn,
            );
        }
        Some(_) => add(
            "radius, sharp (mm)",
            "",
            0.0,
            r.smallest_concave_radius_mm,
            r.smallest_concave_radius_mm_pm,
            Scale::Plain,
            turn,
        ),
        None => {}
    }
    for ball in &truth.balls {
        let of = format!("ball {} mm", ball.diameter_mm);
        let found = r.cutters.iter().find(|c| c.diameter_mm == ball.diameter_mm);
        if let (Some(left), Some(found)) = (ball.left_mm, found) {
            add(
                "left height (mm)",
                &of,
                left,
                found.left_height_mm,
                found.left_height_mm_pm,
                Scale::Plain,
                turn,
            );
        }
        if let (Some(volume), Some(found)) = (ball.left_volume_mm3, found) {
            let (figure, scale) = if volume > 0.0 {
                ("left volume (share)", Scale::Share)
            } else {
                ("left volume, none (mm3)", Scale::Plain)
            };
            add(
                figure,
                &of,
                volume,
                found.left_volume_mm3,
                found.left_volume_mm3_pm,
                scale,
                turn,
            );
        }
        let tool = half
            .depth
            .tools
            .iter()
            .find(|t| found.is_some_and(|f| f.name == t.cutter));
        if let (Some(deepest), Some(tool)) = (ball.deepest_mm, tool) {
            add(
                "deepest tip (mm)",
                &of,
                deepest,
                tool.deepest_mm,
                tool.deepest_mm_pm,
                Scale::Plain,
                turn,
            );
        }
    }
    if let (Some(flat), Some(found)) = (&truth.flat, r.cutters.iter().find(|c| c.name == FLAT)) {
        let of = format!(
            "{:.3} mm with corners of {:.3}",
            flat.diameter_mm, flat.corner_mm
        );
        let pm = found.left_height_mm_pm;
        let left = flat.left_mm;
        add(
            "left height, flat or bull-nose (mm)",
            &of,
            left,
            found.left_height_mm,
            pm,
            Scale::Plain,
            turn,
        );
        // facets that may be faces of their own leave it more: what, is not worked out
        if !coarse {
            out.calls.push(Call {
                what: CLEARS_FLAT.into(),
                of: format!(
                    "{of} leaves {left:.5}, said {:.5?} ± {:.5?}, chord error {:.5}",
                    found.left_height_mm.unwrap_or(f64::NAN),
                    pm.unwrap_or(f64::NAN),
                    truth.chord_mm
                ),
                truth: left <= r.leave_mm,
                said: found.clears,
                margin: (left - r.leave_mm).abs() - 2.0 * truth.chord_mm,
            });
        }
    }
    for ball in &truth.balls {
        let found = r.cutters.iter().find(|c| c.diameter_mm == ball.diameter_mm);
        if let (Some(left), Some(found)) = (ball.left_mm, found) {
            // where a mesh is also the exact picture of a faceted shape, both must clear
            let worst = left.max(ball.left_faceted_mm.unwrap_or(0.0));
            let off = (truth.radius_mm)
                .filter(|&r| r > 0.0)
                .map_or(1.0, |r| (0.5 * ball.diameter_mm / r - 1.0).abs());
            let call = Call {
                what: if off <= 0.0201 { BORDERLINE } else { "clears" }.into(),
                of: format!(
                    "ball {} mm leaves {left:.5}, said {:.5?} ± {:.5?}, chord error {:.5}",
                    ball.diameter_mm,
                    found.left_height_mm.unwrap_or(f64::NAN),
                    found.left_height_mm_pm.unwrap_or(f64::NAN),
                    truth.chord_mm
                ),
                truth: worst <= r.leave_mm,
                said: found.clears,
                margin: (left - r.leave_mm).abs() - 2.0 * truth.chord_mm,
            };
            if call.what != BORDERLINE && truth.chord_mm <= 0.25 * r.leave_mm {
                out.calls.push(Call {
                    what: FINE.into(),
                    ..call.clone()
                });
            }
            out.calls.push(call);
        }
    }
    let forgive = report
        .settings
        .get("forgive_mm")
        .and_then(serde_json::Value::as_f64)
        .unwrap_or(0.0);
    out.calls.push(Call {
        what: "undercut".into(),
        of: format!("hook {:.5}, said {:.5?}", truth.hook_mm, u.hook_mm),
        truth: truth.hook_mm <= forgive,
        said: said(u.verdict),
        margin: truth.hook_mm,
    });
    if let Some(wall) = truth.short_wall_mm {
        let limit = report
            .settings
            .get("wall_mm")
            .and_then(serde_json::Value::as_f64)
            .unwrap_or(1.0);
        out.calls.push(Call {
            what: "draft".into(),
            of: format!(
                "short wall {wall:.5}, said {:.5?} ± {:.5?}",
                d.tallest_short_wall_mm, d.tallest_short_wall_mm_pm
            ),
            truth: wall <= limit,
            said: said(d.verdict),
            margin: (wall - limit).abs(),
        });
    }
    out
}

fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

fn said(verdict: Verdict) -> Option<bool> {
    match verdict {
        Verdict::Pass | Verdict::Watch => Some(true),
        Verdict::Fail => Some(false),
        Verdict::Unsure => None,
    }
}
