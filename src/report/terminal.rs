//! The report for the terminal, read from top to bottom: the answer and why, what was read, each half,
//! the two halves together, what was found and what to do about it.

mod body;
mod depth;
mod half;
mod reach;
pub(super) mod relief;
mod together;

use super::figures::{Figures, NOT_KNOWN, Quantity, percent};
use super::page::{Page, Paint, Part, Tone, word};
use super::place::where_found;
use super::text::{JOIN, clean, first_sentence, name, pad};
use super::{Body, Finding, Half, Mating, Report, Verdict};
use crate::units::Unit;
pub(crate) use depth::blocker_name;
pub(crate) use reach::radii_text;
use relief::Relief;

/// How the report is laid out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Style {
    /// Paint with terminal colours. Whatever a colour says, a word says too.
    pub colour: bool,
    /// Columns that a line may take; fewer than 60 are taken as 60.
    pub width: usize,
    /// Unit in which lengths are shown.
    pub unit: Unit,
}

/// Pins, hollows and the like that are listed before the rest is only counted.
const LISTED: usize = 6;

/// Lays out `report`. Lines end in `\n`; none is wider than `style.width`.
///
/// Names that come from files are shown without control characters.
pub fn render(report: &Report, style: Style) -> String {
    render_with(report, &[], style)
}

/// As [`render`], with a small map of the half that fails where `reliefs`, one a half, tell how it looks.
pub fn render_with(report: &Report, reliefs: &[Relief], style: Style) -> String {
    let figures = Figures { unit: style.unit };
    let paint = Paint {
        colour: style.colour,
    };
    let mut page = Page::new(figures, style.width.max(60), paint);
    answer(&mut page, report);
    if let Some(body) = &report.body {
        body::section(&mut page, body);
    }
    page.heading("What was read");
    for half in &report.halves {
        read(&mut page, half);
    }
    for half in &report.halves {
        half::section(&mut page, half);
    }
    if let Some(mating) = &report.mating {
        together::section(&mut page, mating);
    }
    findings(&mut page, report);
    relief::map(&mut page, report, reliefs, style);
    settings(&mut page, report);
    page.blank();
    page.paragraph(
        "This is advice, not a release to cut. What the cutter maker, the machine, the workholding \
         and the local rules allow comes first.",
    );
    page.finish()
}

/// What is told of the two halves together.
pub(crate) fn together_parts(figures: Figures, mating: &Mating) -> Vec<Part> {
    let mut page = Page::of_parts(figures);
    together::section(&mut page, mating);
    page.parts()
}

/// What is told of the body that the halves were made from.
pub(crate) fn body_parts(figures: Figures, body: &Body) -> Vec<Part> {
    let mut page = Page::of_parts(figures);
    body::section(&mut page, body);
    page.parts()
}

/// The verdict in words, and why.
fn answer(page: &mut Page, report: &Report) {
    let lead = pad(word(report.verdict), 8, false);
    let tone = Tone::Verdict(report.verdict);
    page.hanging(&[(&lead, tone)], &answer_text(report));
}

/// The verdict in a sentence, and why in another.
pub(crate) fn answer_text(report: &Report) -> String {
    let headline = match report.verdict {
        Verdict::Pass => "Nothing found that stands in the way.",
        Verdict::Watch => "Within the limits, with something to look at.",
        Verdict::Unsure => "It cannot be told.",
        Verdict::Fail => "Not ready to mill.",
    };
    let deciding = report.findings.iter().find(|f| f.verdict == report.verdict);
    let why = match (deciding, report.verdict) {
        (_, Verdict::Pass) => "Every check is within its limit.".to_string(),
        (Some(finding), _) => {
            let message = clean(&finding.message);
            format!(
                "{}: {}",
                capital(&subject(finding)),
                first_sentence(&message)
            )
        }
        (None, _) => "The checks that say so are marked below.".to_string(),
    };
    format!("{headline} {why}")
}

/// Where a half came from and how it was set up.
fn read(page: &mut Page, half: &Half) {
    let [x, y, z] = half
        .mesh
        .size_mm
        .map(|mm| page.figures.cell(Quantity::Length, Some(mm), None));
    let sign = page.figures.sign(Quantity::Length);
    let j = JOIN;
    page.row(
        &format!("half {}", name(&half.name)),
        &format!(
            "{}, body {}: {} triangles, {x}{j}×{j}{y}{j}×{j}{z}{j}{sign}",
            name(&half.file),
            half.body,
            half.mesh.triangles,
        ),
    );
    page.row("", &format!("mesh {}", mesh_state(page.figures, half)));
    let axis = axis_name(half.tool_axis);
    page.row(
        "",
        &format!("tool axis {axis}: {}", clean(&half.tool_axis_why)),
    );
    let level = page.figures.length(half.parting_level_mm);
    let form = if half.parting_flat {
        "flat"
    } else {
        "not flat"
    };
    page.row(
        "",
        &format!("parting level at {level} along the axis, {form}"),
    );
    let cell = page.figures.length(half.grid.cell_mm);
    let [nx, ny] = half.grid.columns;
    page.row(
        "",
        &format!("looked at in cells of {cell}, {nx}{j}×{j}{ny}"),
    );
}

/// What is wrong with the mesh, or that nothing is.
pub(crate) fn mesh_state(figures: Figures, half: &Half) -> String {
    let mesh = &half.mesh;
    let counts = [
        (mesh.open_edges, "open edge", "open edges"),
        (
            mesh.nonmanifold_edges,
            "edge with unpaired triangles",
            "edges with unpaired triangles",
        ),
        (
            mesh.flipped_triangles,
            "flipped triangle",
            "flipped triangles",
        ),
        (
            mesh.degenerate_triangles,
            "triangle without area",
            "triangles without area",
        ),
        (
            mesh.duplicated_triangles,
            "duplicated triangle",
            "duplicated triangles",
        ),
    ];
    let mut parts = vec![if mesh.closed { "closed" } else { "not closed" }.to_string()];
    parts.extend(
        counts
            .iter()
            .filter(|(n, _, _)| *n > 0)
            .map(|&(n, one, many)| format!("{n} {}", if n == 1 { one } else { many })),
    );
    if mesh.inside_out {
        parts.push("inside out, turned around".to_string());
    }
    if mesh.chord_error_mm > 0.0 {
        let chord = figures.length(mesh.chord_error_mm);
        parts.push(format!(
            "facets within {chord} of the surface they stand for"
        ));
    }
    parts.join(", ")
}

/// `+X` for an axis of the file, else its three components.
pub(crate) fn axis_name(axis: [f64; 3]) -> String {
    for (k, name) in ["X", "Y", "Z"].iter().enumerate() {
        if axis[k].abs() > 1.0 - 1e-12 {
            return format!("{}{name}", if axis[k] > 0.0 { '+' } else { '-' });
        }
    }
    // a direction has no unit
    let figures = Figures { unit: Unit::Mm };
    axis.map(|c| figures.cell(Quantity::Length, Some(c), None))
        .join(&format!(",{JOIN}"))
}

/// What was found, worst first.
fn findings(page: &mut Page, report: &Report) {
    let findings = &report.findings;
    page.heading("What was found, worst first");
    if findings.is_empty() {
        page.hanging(&[("  ", Tone::Plain)], "Nothing.");
        return;
    }
    let mut sorted: Vec<&Finding> = findings.iter().collect();
    sorted.sort_by_key(|finding| std::cmp::Reverse(finding.verdict)); // stable: order within a verdict stays
    for (k, finding) in sorted.into_iter().enumerate() {
        if k > 0 {
            page.blank();
        }
        let number = format!("{:>3}  ", k + 1);
        let tag = pad(word(finding.verdict), 8, false);
        let lead = [
            (&*number, Tone::Plain),
            (&*tag, Tone::Verdict(finding.verdict)),
        ];
        let f = page.figures;
        let mut facts = vec![capital(&subject(finding))];
        facts.extend(measured(f, finding));
        page.hanging(&lead, &facts.join("; "));
        let hang = " ".repeat(13);
        match where_found(f, report, finding) {
            Some([words, file]) if words.is_empty() => {
                page.hanging(&[(&hang, Tone::Plain)], &format!("At {file}."));
            }
            Some([words, file]) => {
                page.hanging(
                    &[(&hang, Tone::Plain)],
                    &format!("At {words} (file {file})."),
                );
            }
            None => {}
        }
        page.hanging(&[(&" ".repeat(13), Tone::Plain)], &clean(&finding.message));
    }
}

/// How much, against what limit.
pub(crate) fn measured(figures: Figures, finding: &Finding) -> Option<String> {
    let show = |value| figures.text(quantity(finding), Some(value), None);
    match (finding.value, finding.limit) {
        (Some(value), Some(limit)) => Some(format!("{}, limit{JOIN}{}", show(value), show(limit))),
        (Some(value), None) => Some(show(value)),
        (None, Some(limit)) => Some(format!("limit{JOIN}{}", show(limit))),
        (None, None) => None,
    }
}

/// What the figure of a finding measures.
fn quantity(finding: &Finding) -> Quantity {
    match finding.unit.as_deref() {
        Some("mm") => Quantity::Length,
        Some("mm2") => Quantity::Area,
        Some("mm3") => Quantity::Volume,
        Some("deg") => Quantity::Angle,
        _ => Quantity::Count,
    }
}

/// `undercut, half A`.
pub(crate) fn subject(finding: &Finding) -> String {
    match &finding.half {
        Some(half) => clean(&format!("{}, half {half}", finding.check)),
        None => clean(&finding.check),
    }
}

/// What was in force: the plain settings, those named `…_mm` in the reader's unit.
fn settings(page: &mut Page, report: &Report) {
    use serde_json::Value;
    let f = page.figures;
    let show = |(key, value): (&String, &Value)| {
        let quantities = [
            ("_mm", Quantity::Length),
            ("_mm2", Quantity::Area),
            ("_mm3", Quantity::Volume),
            ("_deg", Quantity::Angle),
        ];
        let measured = quantities
            .iter()
            .find_map(|&(end, q)| Some((key.strip_suffix(end)?, q)));
        let (name, value) = match (measured, value) {
            (Some((name, q)), Value::Number(n)) => (name, f.text(q, n.as_f64(), None)),
            (_, Value::Number(n)) => {
                let text = n.to_string();
                (&**key, text.strip_suffix(".0").unwrap_or(&text).to_owned())
            }
            (_, Value::String(text)) => (&**key, self::name(text)),
            (_, Value::Bool(yes)) => (&**key, if *yes { "yes" } else { "no" }.to_string()),
            _ => return None,
        };
        Some(format!("{} {value}", clean(name).replace('_', " ")))
    };
    let shown: Vec<String> = report.settings.iter().filter_map(show).collect();
    if !shown.is_empty() {
        page.heading("Judged with");
        page.hanging(&[("  ", Tone::Plain)], &shown.join("; "));
    }
}

/// How many more there are than were listed.
fn more(page: &mut Page, count: usize) {
    if count > LISTED {
        page.note(&more_text(count - LISTED));
    }
}

fn more_text(rest: usize) -> String {
    format!("… and {rest} more; the JSON report has them all")
}

/// `text` with a capital letter.
pub(crate) fn capital(text: &str) -> String {
    let mut chars = text.chars();
    match chars.next() {
        Some(first) => first.to_uppercase().chain(chars).collect(),
        None => String::new(),
    }
}

#[cfg(test)]
mod tests;
