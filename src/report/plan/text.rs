//! A plan for the terminal.

use super::inputs::inputs;
use super::{
    BallPlan, Directions, EdgePlan, FilletSaving, HalfPlan, Plan, SetBy, SetPlan, WayPlan,
};
use crate::report::figures::{Figures, Quantity, percent};
use crate::report::page::{Page, Paint, Part};
use crate::report::table::{Cell, Table};
use crate::report::terminal::{Style, measured};
use crate::report::text::{JOIN, clean, name};
use crate::units::{MM_PER_INCH, Unit};

/// Sets, edges and the like that are shown of each half.
const LISTED: usize = 6;

/// Lays out `plan`. Lines end in `\n`; none is wider than `style.width`.
pub fn render_plan(plan: &Plan, style: Style) -> String {
    let figures = Figures { unit: style.unit };
    let paint = Paint {
        colour: style.colour,
    };
    let mut page = Page::new(figures, style.width.max(60), paint);
    page.paragraph("An estimate before any toolpath is made, not a release to cut.");
    if plan.halves.is_empty() {
        page.blank();
        page.paragraph("No cavity was found, so there is nothing to plan.");
    }
    for half in &plan.halves {
        section(&mut page, half);
    }
    if !plan.findings.is_empty() {
        page.heading("What to mind");
        for finding in &plan.findings {
            let half = finding.half.as_deref().unwrap_or("");
            let mut text = clean(&finding.message);
            // shares and times are in the sentence; a length is told in the unit asked for
            let length = finding.unit.as_deref() == Some("mm");
            if let Some(measured) = measured(figures, finding).filter(|_| length) {
                text += &format!(" ({measured})");
            }
            page.row(&format!("half {}", name(half)), &text);
        }
    }
    page.heading("What this goes by");
    inputs(&mut page, &plan.inputs);
    page.blank();
    for caution in &plan.cautions {
        page.paragraph(&clean(caution));
    }
    page.finish()
}

/// What is told of one half's plan.
pub(crate) fn plan_parts(figures: Figures, half: &HalfPlan) -> Vec<Part> {
    let mut page = Page::of_parts(figures);
    section(&mut page, half);
    page.parts()
}

fn section(page: &mut Page, half: &HalfPlan) {
    page.heading(&format!("Half {}", name(&half.name)));
    let f = page.figures;
    page.row(
        "cavity",
        &format!(
            "{} of visible surface, {} to take out",
            f.text(Quantity::Area, Some(half.surface_mm2), None),
            f.text(Quantity::Volume, Some(half.volume_mm3), None)
        ),
    );
    sets(page, half);
    worth(page, half);
    balls(page, half);
    stickouts(page, half);
    if let (Some(finisher), Some(directions)) = (&half.finisher, &half.directions) {
        passes(page, finisher, directions);
        edges(page, &half.edges);
    }
}

fn sets(page: &mut Page, half: &HalfPlan) {
    let f = page.figures;
    for (k, set) in half.sets.iter().enumerate() {
        let label = ["best set", "second", "third"]
            .get(k)
            .copied()
            .unwrap_or("");
        let time = match k {
            0 => format!(
                "about {}, up to {}",
                span(set.time_min),
                span(set.time_most_min)
            ),
            _ => span(set.time_min),
        };
        page.row(label, &format!("{time}: {}", names(f, set)));
        if k == 0 {
            page.table(&parts(f, set));
        }
    }
    if half.sets.is_empty() {
        page.row("set", "No tool of the rack reaches the cavity.");
    } else if !half.sets_exact {
        page.note("The rack is too large to try everything; a better set may exist.");
    }
}

fn names(f: Figures, set: &SetPlan) -> String {
    let tools: Vec<String> = set
        .tools
        .iter()
        .map(|t| format!("{} out {}", name(&t.cutter), f.length(round(t.stickout_mm))))
        .collect();
    tools.join(", then ")
}

/// Up to a tenth of a millimetre: nobody sets a stickout finer.
fn round(stickout: f64) -> f64 {
    (10.0 * stickout - 1e-6).ceil() / 10.0
}

fn parts(f: Figures, set: &SetPlan) -> Table {
    let area = f.sign(Quantity::Area);
    Table {
        heads: vec![
            "tool".into(),
            "roughs\nmin".into(),
            "finishes\nmin".into(),
            format!("surface\n{area}"),
            format!("only it\n{area}"),
        ],
        rows: set
            .tools
            .iter()
            .map(|t| {
                let area = |mm2| Cell::from(f.cell(Quantity::Area, Some(mm2), None));
                vec![
                    name(&t.cutter).into(),
                    minutes(t.roughing_min).into(),
                    minutes(t.finishing_min).into(),
                    area(t.area_mm2),
                    area(t.only_area_mm2),
                ]
            })
            .collect(),
        left_from: 5,
    }
}

fn worth(page: &mut Page, half: &HalfPlan) {
    let f = page.figures;
    let idle: Vec<String> = half
        .cutters
        .iter()
        .filter(|c| c.saves_min == Some(0.0))
        .map(|c| name(&c.cutter))
        .collect();
    if !idle.is_empty() {
        page.row(
            "earn nothing",
            &format!("{}: the best set is no slower without.", idle.join(", ")),
        );
    }
    for c in half.cutters.iter().filter(|c| c.saves_min != Some(0.0)) {
        let words = match c.saves_min {
            Some(saves) => format!("saves {}", span(saves)),
            None => "no set does without it".to_string(),
        };
        let only = f.text(Quantity::Area, Some(c.only_area_mm2), None);
        page.row(
            "worth",
            &format!("{} {words}; only it can do {only}", name(&c.cutter)),
        );
    }
    for l in &half.leave_savings {
        page.row(
            "leave more",
            &format!(
                "{} instead would save {}",
                f.length(l.leave_mm),
                span(l.saves_min)
            ),
        );
    }
    for s in &half.fillet_savings {
        let text = format!(
            "{}: saves {}.",
            redesigned(page.figures, s),
            span(s.saves_min)
        );
        page.row("redesign", &text);
    }
}

/// What to change in the design for a fillet that pays.
fn redesigned(f: Figures, s: &FilletSaving) -> String {
    let what = match (s.from_mm > 0.0, s.floor) {
        (true, true) => "floor fillet",
        (true, false) => "fillet",
        (false, true) => "sharp floor edge",
        (false, false) => "sharp edge",
    };
    let which = if s.count > 1 {
        let all = match s.count {
            2 => "both".to_string(),
            count => format!("all {count}"),
        };
        format!("{all} places like the {what}{}", f.at(Some(s.at_mm)))
    } else {
        format!("the {what}{}", f.at(Some(s.at_mm)))
    };
    let to = f.length(s.to_mm);
    if s.from_mm > 0.0 {
        let from = f.length((100.0 * s.from_mm).round() / 100.0);
        format!("Raise {which} from about {from} to {to} radius")
    } else {
        format!("Give {which} a radius of {to}")
    }
}

fn balls(page: &mut Page, half: &HalfPlan) {
    let f = page.figures;
    let feed = match f.unit {
        Unit::Mm => "mm/min",
        Unit::Inch => "in/min",
    };
    let length = f.sign(Quantity::Length);
    let row = |b: &BallPlan| ball_row(f, b, half.surface_mm2).map(Cell::from).to_vec();
    let heads = [
        "ball".to_string(),
        "does".to_string(),
        "1/min".to_string(),
        feed.to_string(),
        format!("step\n{length}"),
        "at °".to_string(),
        "finish\nmin".to_string(),
        "semi\nmin".to_string(),
    ];
    page.row(
        "balls",
        "each over all that it does, in its best direction:",
    );
    page.table(&Table {
        heads: heads.to_vec(),
        rows: half.balls.iter().map(row).collect(),
        left_from: heads.len(),
    });
    page.note("m: the machine's limit, c: the cutter's, s: the material's cutting speed.");
    page.table(&speeds(f, half));
    page.note(
        "Cutting speed on walls, and on level ground at the outside of the cut, where the tip stands still; how much of what \
         the ball does is flatter than 15°, and how much is cut slower than the material's least speed.",
    );
}

fn ball_row(f: Figures, b: &BallPlan, surface_mm2: f64) -> [String; 8] {
    let factor = match f.unit {
        Unit::Mm => 1.0,
        Unit::Inch => 1.0 / MM_PER_INCH,
    };
    let way = quick(b);
    let share = b.reached_mm2 / surface_mm2.max(f64::MIN_POSITIVE);
    let set_by = |by: SetBy| match by {
        SetBy::Machine => "m",
        SetBy::Cutter => "c",
        SetBy::Material => "s",
        SetBy::ChipLoad | SetBy::Bending => "",
    };
    let of = |value: &dyn Fn(&WayPlan) -> String| way.map_or_else(|| "-".to_string(), value);
    [
        name(&b.name),
        percent(share),
        format!("{:.0}{}", b.rpm, set_by(b.rpm_set_by)),
        format!(
            "{:.*}{}",
            decimals(factor),
            b.feed_mm_min * factor,
            set_by(b.feed_set_by)
        ),
        of(&|w| f.cell(Quantity::Length, Some(w.step_mm), None)),
        of(&|w| format!("{:.0}", w.direction_deg)),
        of(&|w| minutes(w.time_min)),
        b.semi_finish
            .map_or_else(|| "-".to_string(), |w| minutes(w.time_min)),
    ]
}

/// What the speeds and feeds come from.
fn speeds(f: Figures, half: &HalfPlan) -> Table {
    let (speed, factor) = match f.unit {
        Unit::Mm => ("m/min", 1.0),
        Unit::Inch => ("ft/min", 1e3 / (12.0 * MM_PER_INCH)),
    };
    let rows = half.balls.iter().map(|b| {
        let cells = [
            name(&b.name),
            b.teeth.to_string(),
            f.cell(Quantity::Length, Some(b.chip_load_mm), None),
            format!("{:.0}", b.wall_speed_m_min * factor),
            format!("{:.0}", b.level_speed_m_min * factor),
            percent(b.tip_share),
            percent(b.slow_share),
        ];
        cells.map(Cell::from).to_vec()
    });
    let heads = [
        "ball".to_string(),
        "teeth".to_string(),
        format!("chip\n{}", f.sign(Quantity::Length)),
        format!("walls\n{speed}"),
        format!("level\n{speed}"),
        "by the\ntip".to_string(),
        "too\nslow".to_string(),
    ];
    Table {
        left_from: heads.len(),
        heads: heads.to_vec(),
        rows: rows.collect(),
    }
}

fn decimals(factor: f64) -> usize {
    if factor < 1.0 { 1 } else { 0 }
}

/// The quicker manner of a ball's passes.
fn quick(b: &BallPlan) -> Option<&WayPlan> {
    let (one, crossed) = (b.one_direction.as_ref()?, b.crossed.as_ref()?);
    let alone = one.time_min <= crossed.time_min && one.share >= crossed.share - 1e-6;
    Some(if alone { one } else { crossed })
}

fn stickouts(page: &mut Page, half: &HalfPlan) {
    let f = page.figures;
    let in_best: Vec<&str> = half
        .sets
        .first()
        .into_iter()
        .flat_map(|s| s.tools.iter().map(|t| t.cutter.as_str()))
        .collect();
    for b in half
        .balls
        .iter()
        .filter(|b| in_best.contains(&b.name.as_str()))
    {
        let Some(all) = b.stickout_needed_mm else {
            continue;
        };
        let mut text = format!(
            "The {} needs {} to reach all that it does",
            name(&b.name),
            f.length(round(all))
        );
        if b.stickout_regions.is_empty() {
            text.push('.');
        } else if let Some(most) = b.stickout_most_mm {
            let places: Vec<String> = b
                .stickout_regions
                .iter()
                .map(|r| {
                    format!(
                        "{} for {}{}",
                        f.length(round(r.stickout_mm)),
                        f.text(Quantity::Area, Some(r.area_mm2), None),
                        f.at(Some(r.at_mm))
                    )
                })
                .collect();
            text += &format!("; {} does the rest: {}.", f.length(most), places.join("; "));
        }
        page.row("stickout", &text);
        for t in &b.tools {
            let stated = if t.in_rack { "" } else { " (not in the rack)" };
            let slowed = if t.feed_share < 1.0 {
                format!(", feed lowered to {}", percent(t.feed_share))
            } else {
                String::new()
            };
            page.row(
                "",
                &format!(
                    "at {}{stated}: reaches {}, {:.1} diameters out, bends {}{slowed}",
                    f.length(round(t.stickout_mm)),
                    percent(t.reached_share),
                    t.slenderness,
                    f.length((1e4 * t.bend_mm).round() / 1e4),
                ),
            );
        }
    }
}

fn passes(page: &mut Page, finisher: &str, d: &Directions) {
    let f = page.figures;
    page.row(
        "passes",
        &format!(
            "The {} finishes most. In one direction it takes least time at {} from X ({}, step {}, {} of the \
             surface within the cusp height); its cusps are most even at {}.",
            name(finisher),
            f.text(Quantity::Angle, Some(d.best.direction_deg), None),
            range(&d.best),
            f.length((1e4 * d.best.step_mm).round() / 1e4),
            percent(d.best.share),
            f.text(Quantity::Angle, Some(d.most_even_deg), None),
        ),
    );
    for c in &d.cusps {
        let cusp = |mm: Option<f64>| match (mm, f.unit) {
            (None, _) => "not bounded".to_string(),
            (Some(mm), Unit::Mm) => format!("{:.1}{JOIN}µm", 1e3 * mm),
            (Some(mm), Unit::Inch) => format!("{:.0}{JOIN}µin", 1e6 * mm / MM_PER_INCH),
        };
        let manner = match (c.crossed, c.crossing_mm2 > 0.0) {
            (false, _) => "in one direction".to_string(),
            (true, false) => "with passes at right angles, which no place needs".to_string(),
            (true, true) => format!(
                "with passes at right angles, which {} needs, most{}",
                f.text(Quantity::Area, Some(c.crossing_mm2), None),
                f.at(c.crossing_at_mm)
            ),
        };
        page.row(
            "cusps",
            &format!(
                "at {}, step {}, {manner}: half within {}, 95 % within {}, largest {}; {} within the wanted \
                 height; {}",
                f.text(Quantity::Angle, Some(c.direction_deg), None),
                f.length((1e4 * c.step_mm).round() / 1e4),
                cusp(c.median_mm),
                cusp(c.most_mm),
                cusp(c.largest_mm),
                percent(c.share),
                span(c.time_min),
            ),
        );
    }
}

fn edges(page: &mut Page, edges: &[EdgePlan]) {
    let f = page.figures;
    for e in edges.iter().take(LISTED) {
        let what = if e.outline { "outline" } else { "cavity" };
        let cost = e.extra_min.map_or_else(String::new, |m| {
            if m > 0.005 {
                format!("; passes along it take {} longer than the best", span(m))
            } else {
                "; passes along it are as quick as the best".to_string()
            }
        });
        page.row(
            "edge",
            &format!(
                "of the {what}, {} long{}, at {} from X{cost}",
                f.length((1e3 * e.length_mm).round() / 1e3),
                f.at(Some(e.from_mm)),
                f.text(Quantity::Angle, Some(e.direction_deg), None),
            ),
        );
    }
}

/// Minutes for a column.
fn minutes(min: f64) -> String {
    if min < 10.0 {
        format!("{min:.1}")
    } else {
        format!("{min:.0}")
    }
}

/// A time in words.
fn span(min: f64) -> String {
    match min {
        m if m < 1.0 => format!("{:.0}{JOIN}s", 60.0 * m),
        m if m < 120.0 => format!("{}{JOIN}min", minutes(m)),
        m => format!("{:.1}{JOIN}h", m / 60.0),
    }
}

fn range(way: &WayPlan) -> String {
    format!(
        "{}, {} to {}",
        span(way.time_min),
        span(way.time_least_min),
        span(way.time_most_min)
    )
}
