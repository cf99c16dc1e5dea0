//! The page's words, tables and pictures, from top to bottom.

use super::half::half_section;
use super::html::{both, escape, figure, sentence, stamp, table, told, word};
use crate::picture::{Drawing, PAGE_ROOM, Picture};
use crate::report::plan::Plan;
use crate::report::{
    Body, Finding, Half, Mating, Pull, Quantity, Report, Verdict, answer_text, axis_name,
    body_parts, capital, measured, mesh_state, plan_parts, subject, together_parts, where_found,
};
use crate::units::Unit;
use crate::vet::Evidence;
use base64::Engine;
use rayon::prelude::*;
use std::collections::BTreeMap;
use std::io;

/// The page's pictures, as figure elements that hold them in either unit.
pub(super) struct Pictures(BTreeMap<String, String>);

impl Pictures {
    /// Draws and packs those that are `wanted`.
    pub(super) fn pack(
        drawing: &Drawing,
        wanted: impl Fn(&str) -> bool + Sync,
    ) -> io::Result<Pictures> {
        let [mm, inch] =
            [Unit::Mm, Unit::Inch].map(|unit| drawing.pictures_in(PAGE_ROOM, unit, &wanted));
        let element = |(a, b): (&Picture, &Picture)| {
            let mut html = String::from("<figure>");
            for (class, picture) in [("mm", a), ("in", b)] {
                let bytes = picture.canvas.png()?;
                let data = base64::engine::general_purpose::STANDARD.encode(bytes);
                html += &format!(
                    "<img class=\"{class}\" alt=\"{}\" width=\"{}\" height=\"{}\" src=\"data:image/png;base64,{data}\">",
                    escape(&picture.alt),
                    picture.canvas.width,
                    picture.canvas.height
                );
            }
            Ok((a.key.clone(), html + "</figure>\n"))
        };
        let packed: io::Result<_> = mm.par_iter().zip(&inch).map(element).collect();
        Ok(Pictures(packed?))
    }

    /// Figure element of the picture called `key`, or nothing.
    pub(super) fn html(&self, key: &str) -> String {
        self.0.get(key).cloned().unwrap_or_default()
    }
}

/// What the page is called.
pub(super) fn title(report: &Report) -> String {
    let halves = report.halves.iter().map(|h| h.file.as_str());
    let mut files: Vec<&str> = match &report.body {
        Some(body) => vec![body.file.as_str()],
        None => halves.collect(),
    };
    files.dedup();
    format!("{}: {}", word(report.verdict), files.join(", "))
}

pub(super) fn write(
    page: &mut String,
    report: &Report,
    evidence: &Evidence,
    pictures: &Pictures,
    unit: Unit,
) {
    head(page, report, unit);
    *page += "<main>\n";
    answer(page, report);
    if let Some(body) = &report.body {
        part(page, body, pictures);
    }
    findings(page, report, evidence);
    view(page, report, evidence);
    for half in &report.halves {
        half_section(page, half, pictures);
    }
    if let Some(mating) = &report.mating {
        together(page, mating, pictures);
    }
    if let Some(plan) = &report.plan {
        planned(page, plan);
    }
    basis(page, report);
    *page += "</main>\n<footer><p>This is advice, not a release to cut. What the cutter maker, the machine, the workholding \
              and the local rules allow comes first. A mold that touches food, or is filled hot, needs materials and \
              practice allowed for that where you are.</p></footer>\n";
}

fn head(page: &mut String, report: &Report, unit: Unit) {
    let checked = |u| if unit == u { " checked" } else { "" };
    *page += "<header class=\"block\">\n<div class=\"name\"><p class=\"maker\">moldvet</p><h1>";
    *page += match report.body {
        Some(_) => "Part check sheet",
        None => "Mold check sheet",
    };
    *page += "</h1></div>\n<dl>";
    if let Some(body) = &report.body {
        *page += &format!("<div><dt>Part</dt><dd>{}</dd></div>", escape(&body.file));
    }
    for half in &report.halves {
        *page += &format!(
            "<div><dt>Half {}</dt><dd>{}, body {}</dd></div>",
            escape(&half.name),
            escape(&half.file),
            half.body
        );
    }
    let rack = match report.settings.get("shop").and_then(|s| s.as_str()) {
        Some(name) => escape(name),
        None => "built-in rack".to_owned(),
    };
    *page += &format!("<div><dt>Shop</dt><dd>{rack}</dd></div></dl>\n");
    *page += &format!(
        "<fieldset class=\"units\"><legend>Units</legend>\
         <label><input type=\"radio\" name=\"unit\" id=\"unit-mm\" value=\"mm\"{}> mm</label>\
         <label><input type=\"radio\" name=\"unit\" id=\"unit-in\" value=\"in\"{}> inch</label></fieldset>\n</header>\n",
        checked(Unit::Mm),
        checked(Unit::Inch)
    );
}

fn answer(page: &mut String, report: &Report) {
    *page += &format!(
        "<section class=\"answer\" aria-labelledby=\"answer\">\n<h2 id=\"answer\" class=\"quiet\">Answer</h2>\n<p class=\"verdict\">{} {}</p>\n",
        stamp(report.verdict),
        escape(&answer_text(report))
    );
    *page += "<dl class=\"tiles\">";
    for (name, value, note) in deciding(report).into_iter().take(3) {
        *page += &format!("<div><dt>{name}</dt><dd>{value}<small>{note}</small></dd></div>");
    }
    *page += "</dl>\n</section>\n";
}

/// A figure that decides: its name, the figure, a note.
type Tile = (String, String, String);

/// The figures that decide: those of the worst findings, then what a reader asks first.
fn deciding(report: &Report) -> Vec<Tile> {
    let watched = report
        .findings
        .iter()
        .filter(|f| f.verdict >= Verdict::Watch);
    let mut tiles: Vec<Tile> = watched.filter_map(finding_tile).collect();
    if let Some(pull) = report.body.as_ref().and_then(|b| b.pulls.first()) {
        tiles.extend(pull_tiles(pull));
    }
    for half in &report.halves {
        half_tiles(half, &mut tiles);
    }
    tiles
}

fn finding_tile(f: &Finding) -> Option<Tile> {
    let (Some(value), Some(limit), Some("mm")) = (f.value, f.limit, f.unit.as_deref()) else {
        return None;
    };
    let what = match f.check.as_str() {
        "undercut" => "Largest hook",
        "draft" => "Tallest wall short of draft",
        "reach" => "Left by the best ball",
        "depth" => "Stickout needed",
        "body" => "Hook of the part",
        "mating" => "How far the halves do not meet",
        _ => return None,
    };
    let half = f
        .half
        .as_ref()
        .map_or(String::new(), |h| format!(", half {}", escape(h)));
    Some((
        format!("{what}{half}"),
        figure(Quantity::Length, Some(value), None),
        format!("limit {}", figure(Quantity::Length, Some(limit), None)),
    ))
}

fn pull_tiles(pull: &Pull) -> [Tile; 2] {
    [
        (
            "Surface that neither half sees".to_owned(),
            figure(
                Quantity::Area,
                Some(pull.hidden_area_mm2),
                Some(pull.hidden_area_mm2_pm),
            ),
            format!("pulled along {}", escape(&axis_name(pull.direction))),
        ),
        (
            "Parting line goes up and down by".to_owned(),
            figure(Quantity::Length, Some(pull.parting_flatness_mm), None),
            format!(
                "{} long",
                figure(Quantity::Length, Some(pull.parting_length_mm), None)
            ),
        ),
    ]
}

fn half_tiles(half: &Half, tiles: &mut Vec<Tile>) {
    let name = escape(&half.name);
    if let Some(ball) = &half.reach.smallest_ball_needed {
        tiles.push((
            format!("Smallest ball needed, half {name}"),
            escape(ball),
            "the largest in the rack that clears".to_owned(),
        ));
    }
    tiles.push((
        format!("Cavity depth, half {name}"),
        figure(
            Quantity::Length,
            half.cavity.depth_mm,
            half.cavity.depth_mm_pm,
        ),
        "below the parting level".to_owned(),
    ));
}

/// Where a finding is: from the block's corner, and in the file's coordinates.
fn place(report: &Report, finding: &Finding) -> String {
    let part = |k: usize| {
        both(|f| where_found(f, report, finding).map_or_else(String::new, |w| w[k].clone()))
    };
    let (words, file) = (part(0), part(1));
    match (words.is_empty(), file.is_empty()) {
        (_, true) => String::new(),
        (true, _) => file,
        _ => format!("{words} <small>(file {file})</small>"),
    }
}

fn findings(page: &mut String, report: &Report, evidence: &Evidence) {
    let shown = |f: &Finding| match (&f.half, f.check.as_str()) {
        (Some(_), _) => !evidence.halves.is_empty(),
        (None, "mating") => evidence.pair.is_some(),
        (None, "body") => evidence.part.is_some(),
        _ => false,
    };
    *page += "<section aria-labelledby=\"found\">\n<h2 id=\"found\">What was found, and what to do</h2>\n<ol class=\"findings\">\n";
    for (k, f) in report.findings.iter().enumerate() {
        let number = k + 1;
        let fly = if f.at_mm.is_some() && shown(f) {
            format!(
                "<button type=\"button\" class=\"pin\" data-pin=\"{number}\" aria-label=\"Show finding {number} in the view\">{number}</button>"
            )
        } else {
            format!("<span class=\"pin\">{number}</span>")
        };
        let how_much = both(|figures| measured(figures, f).unwrap_or_default());
        let at = place(report, f);
        let facts: Vec<String> = [how_much, at]
            .into_iter()
            .filter(|s| !s.is_empty())
            .collect();
        *page += &format!(
            "<li id=\"finding-{number}\">{fly}<div><p class=\"what\">{} <strong>{}</strong></p>",
            stamp(f.verdict),
            escape(&capital(&subject(f)))
        );
        if !facts.is_empty() {
            *page += &format!("<p class=\"facts\">{}</p>", facts.join("; "));
        }
        *page += &format!("<p>{}</p></div></li>\n", escape(&capital(&f.message)));
    }
    *page += "</ol>\n";
    if report.findings.iter().any(|f| f.at_mm.is_some()) {
        *page += "<p class=\"note\">Places: the block’s corner is the one with the lowest X and Y as the spindle sees the half \
                  (the axis cross on the maps), depth is from the parting level.</p>\n";
    }
    *page += "</section>\n";
}

fn view(page: &mut String, report: &Report, evidence: &Evidence) {
    if evidence.halves.is_empty() && evidence.part.is_none() {
        return;
    }
    *page += "<section class=\"view\" aria-labelledby=\"view-title\">\n<h2 id=\"view-title\">Look at it</h2>\n\
              <div class=\"tools\"><label>Show <select id=\"show\">";
    for (k, half) in report.halves.iter().enumerate() {
        *page += &format!("<option value=\"{k}\">Half {}</option>", escape(&half.name));
    }
    if evidence.b_to_a.is_some() && evidence.halves.len() == 2 {
        *page += "<option value=\"pair\">Both, closed</option>";
    }
    if evidence.part.is_some() {
        *page += &format!(
            "<option value=\"{}\">The part</option>",
            evidence.halves.len()
        );
    }
    *page += "</select></label> <label>Colour by <select id=\"question\"></select></label>\
              <label id=\"open-box\" hidden>Open <input type=\"range\" id=\"open\" min=\"0\" max=\"100\" value=\"0\"></label></div>\n\
              <div class=\"stage\"><div class=\"canvas\"><canvas id=\"gl\" tabindex=\"0\" role=\"img\" aria-label=\"Three-dimensional \
              view. Arrow keys turn, shift and arrow keys move, plus and minus zoom, 0 resets.\" \
              aria-describedby=\"readout\"></canvas><div id=\"pins\"></div>\
              <div id=\"handle\" role=\"slider\" tabindex=\"0\" aria-label=\"Section plane\" aria-valuemin=\"0\" aria-valuemax=\"100\" aria-valuenow=\"50\" hidden></div>\
              <p id=\"nogl\" hidden>This browser draws no 3D. The maps below show the same.</p></div>\n\
              <div class=\"side\"><div id=\"legend\" class=\"legend\"></div>\
              <fieldset class=\"section\"><legend>Section</legend>\
              <label class=\"row\"><input type=\"checkbox\" id=\"cut\"> Cut it open</label>\
              <label>Place <input type=\"range\" id=\"cut-at\" min=\"0\" max=\"100\" step=\"0.1\" value=\"50\"></label>\
              <label>Turn <input type=\"range\" id=\"cut-turn\" min=\"-90\" max=\"90\" step=\"1\" value=\"0\"></label>\
              <label>Tool <select id=\"tool\"></select></label></fieldset>\
              <p id=\"readout\" class=\"readout\" aria-live=\"polite\">Click a place for its figures.</p></div></div>\n\
              <p class=\"note\">Drag turns, right button or two fingers move, wheel or pinch zooms. Thin lines are levels; a dashed number lies behind material. The view’s mesh is \
              reduced for the eye; the figures are not.</p>\n</section>\n";
}

/// One question: its name and verdict, words and figures, pictures beside them.
pub(super) fn article(
    page: &mut String,
    title: &str,
    verdict: Option<Verdict>,
    pictures: &str,
    words: &str,
) {
    let stamp = verdict.map(stamp).unwrap_or_default();
    *page += &format!("<article>\n<h3>{title} {stamp}</h3>\n<div class=\"words\">{words}</div>\n");
    if !pictures.is_empty() {
        *page += &format!("<div class=\"pictures\">{pictures}</div>\n");
    }
    *page += "</article>\n";
}

fn together(page: &mut String, mating: &Mating, pictures: &Pictures) {
    *page += "<section class=\"wide\" aria-labelledby=\"pair\">\n<h2 id=\"pair\">Both halves together</h2>\n";
    let maps = pictures.html("pair-mismatch") + &pictures.html("pair-gap");
    let words = told("Both halves together", |f| together_parts(f, mating));
    article(page, "Mating", Some(mating.verdict), &maps, &words);
    *page += "</section>\n";
}

/// The part that the halves were made from: how to pull it and where it parts.
fn part(page: &mut String, body: &Body, pictures: &Pictures) {
    *page += "<section class=\"wide\" aria-labelledby=\"part\">\n<h2 id=\"part\">The part</h2>\n";
    let maps = pictures.html("part-parting")
        + &pictures.html("part-draft")
        + &pictures.html("part-hidden");
    let words = told("The part", |f| body_parts(f, body));
    article(page, "Pull and parting line", None, &maps, &words);
    *page += "</section>\n";
}

/// What milling will cost.
fn planned(page: &mut String, plan: &Plan) {
    *page += "<section class=\"plan\" aria-labelledby=\"plan\">\n<h2 id=\"plan\">What milling may cost</h2>\n\
              <p class=\"note\">An estimate before any toolpath is made.</p>\n<div class=\"parts\">\n";
    for half in &plan.halves {
        let caption = format!("Plan of half {}", half.name);
        let words = told(&caption, |f| plan_parts(f, half));
        let title = format!("Half {}", escape(&half.name));
        article(page, &title, None, "", &words);
    }
    let mut remarks: Vec<String> = plan.findings.iter().map(|f| sentence(&f.message)).collect();
    remarks.extend(plan.cautions.iter().map(|c| escape(c)));
    if !remarks.is_empty() {
        *page += "<ul class=\"remarks\">";
        for remark in remarks {
            *page += &format!("<li>{remark}</li>");
        }
        *page += "</ul>\n";
    }
    *page += "</div>\n</section>\n";
}

fn basis(page: &mut String, report: &Report) {
    *page += "<section aria-labelledby=\"basis\" class=\"basis\">\n<h2 id=\"basis\">What it rests on</h2>\n";
    let rows: Vec<Vec<String>> = report
        .halves
        .iter()
        .map(|h| {
            let size = both(|f| {
                let [x, y, z] = h
                    .mesh
                    .size_mm
                    .map(|v| f.cell(Quantity::Length, Some(v), None));
                format!("{x} × {y} × {z} {}", f.sign(Quantity::Length))
            });
            let [nx, ny] = h.grid.columns;
            vec![
                format!("Half {}", escape(&h.name)),
                format!("{} triangles, {size}", h.mesh.triangles),
                both(|f| mesh_state(f, h)),
                escape(&format!("{}: {}", axis_name(h.tool_axis), h.tool_axis_why)),
                format!(
                    "{}, {nx} × {ny}",
                    figure(Quantity::Length, Some(h.grid.cell_mm), None)
                ),
            ]
        })
        .collect();
    *page += &table(
        "Meshes",
        &["half", "size", "mesh", "tool axis", "cells"],
        &rows,
    );
    let settings: Vec<Vec<String>> = report
        .settings
        .iter()
        .filter_map(|(key, value)| {
            let quantities = [
                ("_mm", Quantity::Length),
                ("_mm2", Quantity::Area),
                ("_deg", Quantity::Angle),
            ];
            let measured = quantities
                .iter()
                .find_map(|(end, q)| Some((key.strip_suffix(end)?, *q)));
            let (name, text) = match (measured, value) {
                (Some((name, q)), serde_json::Value::Number(n)) => {
                    (name, figure(q, n.as_f64(), None))
                }
                (_, serde_json::Value::Number(n)) => (key.as_str(), n.to_string()),
                (_, serde_json::Value::String(text)) => (key.as_str(), escape(text)),
                _ => return None,
            };
            Some(vec![escape(&name.replace('_', " ")), text])
        })
        .collect();
    *page += "<div class=\"settings\">";
    *page += &table("Settings in force", &["setting", "value"], &settings);
    *page += "</div>\n";
    *page += "</section>\n";
}
