//! The body that the halves were made from: its pulls and where it parts.

use super::{Quantity, axis_name};
use crate::report::page::Page;
use crate::report::table::{Cell, Table};
use crate::report::text::{JOIN, clean, name};
use crate::report::{Body, Pull};

/// The section of `body`.
pub(super) fn section(page: &mut Page, body: &Body) {
    page.heading("The part");
    let f = page.figures;
    let [x, y, z] = body
        .size_mm
        .map(|mm| f.cell(Quantity::Length, Some(mm), None));
    let (sign, j) = (f.sign(Quantity::Length), JOIN);
    page.row(
        "part",
        &format!("{}, {x}{j}×{j}{y}{j}×{j}{z}{j}{sign}", name(&body.file)),
    );
    page.row(
        "fills with",
        &format!(
            "{}, surface {}",
            f.text(Quantity::Volume, Some(body.fill_volume_mm3), None),
            f.text(Quantity::Area, Some(body.surface_mm2), None)
        ),
    );
    if body.scale != 1.0 {
        let scale = (body.scale * 1e6).round() / 1e6;
        page.row("scale", &format!("enlarged {scale} times, shrink included"));
    }
    let Some(first) = body.pulls.first() else {
        return;
    };
    let how = if body.pull_given {
        "given"
    } else {
        "the best found"
    };
    page.row("pull", &format!("{}: {how}", axis_name(first.direction)));
    pulls(page, &body.pulls);
    let level = f.length(body.parting_level_mm);
    let lost = f.text(Quantity::Area, Some(body.lost_area_mm2), None);
    let text = if first.parting_flatness_mm <= FLAT && body.lost_area_mm2 < 0.005 {
        format!("The parting line is flat; the halves part at {level} along the pull.")
    } else {
        format!(
            "The parting line is not flat: it goes up and down by {}. The halves part flat at {level} along the pull, which \
             hides {lost}.",
            f.length(first.parting_flatness_mm)
        )
    };
    page.row("parting", &text);
    halves(page, body);
}

/// The blocks of the halves.
fn halves(page: &mut Page, body: &Body) {
    let margin = page.figures.length(body.margin_mm);
    let blocks: Vec<String> = body
        .blocks
        .iter()
        .map(|b| {
            let plain = if b.has_cavity { "" } else { ", a plain block" };
            format!("{} ({}{plain})", clean(&b.name), name(&b.file))
        })
        .collect();
    if blocks.is_empty() {
        page.row("halves", "could not be made; see below");
    } else {
        page.row(
            "halves",
            &format!("{}; blocks {margin} larger all round", blocks.join(", ")),
        );
    }
}

/// A parting line that keeps within this is flat, mm.
const FLAT: f64 = 0.01;

fn pulls(page: &mut Page, pulls: &[Pull]) {
    let f = page.figures;
    let heads = [
        "pull".to_string(),
        format!("hidden\n{}", f.sign(Quantity::Area)),
        format!("hook\n{}", f.sign(Quantity::Length)),
        format!("short of draft\n{}", f.sign(Quantity::Area)),
        format!("line\n{}", f.sign(Quantity::Length)),
        format!("from flat\n{}", f.sign(Quantity::Length)),
    ];
    let row = |p: &Pull| {
        let figures = [
            axis_name(p.direction),
            f.cell(Quantity::Area, Some(p.hidden_area_mm2), None),
            f.cell(Quantity::Length, Some(p.hook_mm), None),
            f.cell(Quantity::Area, Some(p.short_area_mm2), None),
            f.cell(Quantity::Length, Some(p.parting_length_mm), None),
            f.cell(Quantity::Length, Some(p.parting_flatness_mm), None),
        ];
        figures.map(Cell::from).to_vec()
    };
    page.table(&Table {
        heads: heads.to_vec(),
        rows: pulls.iter().map(row).collect(),
        left_from: heads.len(),
    });
}
