//! Tool lengths of one half: how far each gets.

use super::{Quantity, percent};
use crate::report::figures::Figures;
use crate::report::page::Page;
use crate::report::table::{Cell, Table};
use crate::report::text::{JOIN, clean};
use crate::report::{Blocker, Depth, ToolDepth};
use std::collections::BTreeSet;

/// How far each tool length gets.
pub(super) fn rows(page: &mut Page, depth: &Depth) {
    let f = page.figures;
    if depth.tools.is_empty() {
        let text = "No tool length was given: `--stickout` or the shop file says how far the cutters stick out.";
        page.verdict_row("depth", depth.verdict, text);
        return;
    }
    let full = depth.tools.iter().filter(|tool| gets_all(tool)).count();
    let text = format!(
        "{full} of {} tools reach all that their cutter alone can. Tip depths below the parting level and \
         stickouts in {}; percentages by surface.",
        depth.tools.len(),
        f.lengths(),
    );
    page.verdict_row("depth", depth.verdict, &text);
    tool_lines(page, &depth.tools);
    let largest =
        |of: fn(&ToolDepth) -> Option<f64>| depth.tools.iter().filter_map(of).fold(0.0, f64::max);
    let (deep, share) = (
        largest(|t| t.deepest_mm_pm),
        largest(|t| t.reached_share_pm),
    );
    if deep > 0.0 || share > 0.0 {
        let mut text = format!(
            "good to ±{JOIN}{} of depth",
            f.cell(Quantity::Length, Some(deep), None)
        );
        // rounded up, as every ± is
        let percent = (1000.0 * share - 1e-6).ceil() / 10.0;
        if percent > 0.0 {
            text += &format!(" and ±{JOIN}{percent:.1}{JOIN}% of surface");
        }
        page.note(&format!("{text}, or better"));
    }
}

/// One line a cutter with its stickouts from short to long; where they do not fit, the line goes on below.
fn tool_lines(page: &mut Page, tools: &[ToolDepth]) {
    let f = page.figures;
    let mut names: Vec<&str> = Vec::new();
    for tool in tools {
        if !names.contains(&&*tool.cutter) {
            names.push(&tool.cutter);
        }
    }
    let of = |name: &str| {
        let mut own: Vec<&ToolDepth> = tools.iter().filter(|t| t.cutter == name).collect();
        own.sort_by(|a, b| a.stickout_mm.total_cmp(&b.stickout_mm));
        own
    };
    let stickout = |t: &ToolDepth| f.cell(Quantity::Length, Some(t.stickout_mm), None);
    let sets: BTreeSet<Vec<String>> = names
        .iter()
        .map(|name| of(name).into_iter().map(stickout).collect())
        .collect();
    let most = sets.iter().map(Vec::len).max().unwrap_or(0);
    // Where all cutters stand at the same stickouts, these are the heads and need not be repeated.
    let shared = sets.first().filter(|_| sets.len() == 1).map(|stickouts| {
        let cells = |name: &str| of(name).into_iter().map(|t| tool_text(f, t)).collect();
        tool_table(&names, most, Some(stickouts), &cells)
    });
    let cell = |t: &ToolDepth| format!("{}: {}", stickout(t), tool_text(f, t));
    let cells = |name: &str| of(name).into_iter().map(cell).collect();
    let packed = |columns| tool_table(&names, columns, None, &cells);
    let fitting = shared
        .into_iter()
        .chain((1..=most).rev().map(packed))
        .find(|table| page.fits(table));
    page.table(&fitting.unwrap_or_else(|| packed(1)));
}

/// A table with `columns` stickouts a line.
fn tool_table(
    names: &[&str],
    columns: usize,
    shared: Option<&Vec<String>>,
    cells: &dyn Fn(&str) -> Vec<String>,
) -> Table {
    let mut rows = Vec::new();
    for name in names {
        for (k, line) in cells(name).chunks(columns).enumerate() {
            let mut row = vec![Cell::from(if k == 0 { clean(name) } else { String::new() })];
            row.extend(line.iter().map(|text| Cell::from(text.as_str())));
            row.resize(columns + 1, Cell::from(""));
            rows.push(row);
        }
    }
    let mut heads = vec!["cutter".to_string()];
    match shared {
        Some(stickouts) => heads.extend(stickouts.iter().map(|s| format!("stickout {s}"))),
        None => {
            heads.push("stickout: how far it gets".to_string());
            heads.resize(columns + 1, String::new());
        }
    }
    Table {
        heads,
        rows,
        left_from: 1,
    }
}

/// How far a tool gets: `63 % to 12, holder`, or `all, to 20`.
fn tool_text(f: Figures, tool: &ToolDepth) -> String {
    let deepest = f.cell(Quantity::Length, tool.deepest_mm, tool.deepest_mm_pm);
    let deepest = deepest.split('±').next().unwrap_or_default();
    let blocker = tool
        .blocked_by
        .map_or(String::new(), |by| format!(", {}", blocker_name(by)));
    match tool.reached_share {
        _ if gets_all(tool) => format!("all, to {deepest}"),
        Some(share) => format!("{} to {deepest}{blocker}", percent(share)),
        None => format!("? to {deepest}{blocker}"),
    }
}

/// The tool reaches all that its cutter alone reaches.
fn gets_all(tool: &ToolDepth) -> bool {
    // the share is a sum over areas: a whole one may miss 1 by rounding
    tool.blocked_by.is_none() && tool.reached_share.is_some_and(|share| share > 1.0 - 1e-6)
}

/// The part of a tool that stops it, as it is told.
pub(crate) fn blocker_name(by: Blocker) -> &'static str {
    match by {
        Blocker::Neck => "neck",
        Blocker::Shank => "shank",
        Blocker::Holder => "holder",
    }
}
