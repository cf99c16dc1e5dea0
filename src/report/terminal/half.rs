//! One half: cavity, undercut, draft, corners, what each cutter and each tool length does.

use super::{LISTED, NOT_KNOWN, Quantity, more, more_text, percent};
use crate::report::figures::Figures;
use crate::report::page::{Page, Tone};
use crate::report::table::{Cell, Table};
use crate::report::text::{JOIN, clean, name};
use crate::report::{
    Blocker, Cavity, CutterReach, Draft, Half, Hollow, HollowKind, RadiusMap, Reach, RegionKind,
    SharpEdgeKind, ToolDepth, Undercut, Verdict,
};
use crate::shop::CutterKind;
use std::collections::BTreeSet;

/// The section of `half`.
pub(super) fn section(page: &mut Page, half: &Half) {
    page.heading(&format!("Half {}", name(&half.name)));
    let cavity = &half.cavity;
    if cavity.volume_mm3.is_none() && cavity.depth_mm.is_none() && cavity.surface_mm2.is_none() {
        page.row(
            "cavity",
            "None was found, so undercut, draft, reach and depth have no meaning here. \
             What was found below says why.",
        );
        hollows(page, cavity);
        return;
    }
    cavity_rows(page, cavity);
    undercut_rows(page, &half.undercut);
    draft_rows(page, &half.draft);
    reach_rows(page, &half.reach);
    depth_rows(page, half);
}

fn cavity_rows(page: &mut Page, cavity: &Cavity) {
    let f = page.figures;
    let text = format!(
        "volume {}, depth {}, surface {}",
        f.text(Quantity::Volume, cavity.volume_mm3, cavity.volume_mm3_pm),
        f.text(Quantity::Length, cavity.depth_mm, cavity.depth_mm_pm),
        f.text(Quantity::Area, cavity.surface_mm2, cavity.surface_mm2_pm),
    );
    page.row("cavity", &text);
    let cavities = |h: &Hollow| h.kind == HollowKind::Cavity;
    if cavity.hollows.len() > 1 || !cavity.hollows.iter().all(cavities) {
        hollows(page, cavity);
    }
}

fn hollows(page: &mut Page, cavity: &Cavity) {
    if cavity.hollows.is_empty() {
        return;
    }
    let f = page.figures;
    let heads = [
        "hollow".to_string(),
        format!("depth\n{}", f.sign(Quantity::Length)),
        format!("volume\n{}", f.sign(Quantity::Volume)),
        "deepest at".to_string(),
    ];
    let row = |h: &Hollow| {
        let kind = match h.kind {
            HollowKind::Cavity => "cavity",
            HollowKind::Socket => "pin socket",
            HollowKind::Through => "through hole",
            HollowKind::Other => "not cavity",
        };
        let row = [
            kind.to_string(),
            f.cell(Quantity::Length, Some(h.depth_mm), None),
            f.cell(Quantity::Volume, Some(h.volume_mm3), None),
            f.place(h.at_mm),
        ];
        row.map(Cell::from).to_vec()
    };
    page.table(&Table {
        heads: heads.to_vec(),
        rows: cavity.hollows.iter().take(LISTED).map(row).collect(),
        left_from: heads.len(),
    });
    more(page, cavity.hollows.len());
}

fn undercut_rows(page: &mut Page, undercut: &Undercut) {
    let f = page.figures;
    let area = f.text(
        Quantity::Area,
        undercut.hidden_area_mm2,
        undercut.hidden_area_mm2_pm,
    );
    let volume = f.text(
        Quantity::Volume,
        undercut.hidden_volume_mm3,
        undercut.hidden_volume_mm3_pm,
    );
    let hook = f.text(Quantity::Length, undercut.hook_mm, undercut.hook_mm_pm);
    let of = |kind| undercut.regions.iter().filter(move |r| r.kind == kind);
    let text = if undercut.hook_mm.is_none() && undercut.hidden_area_mm2.is_none() {
        format!("{NOT_KNOWN}; see what was found")
    } else if of(RegionKind::Undercut).next().is_none() && undercut.hook_mm == Some(0.0) {
        format!(
            "The tool axis sees the whole cavity (a hook below {} is taken for rounding).",
            f.length(undercut.threshold_mm)
        )
    } else {
        let mut regions = of(RegionKind::Undercut);
        let place = regions.next().map(|region| region.at_mm);
        format!(
            "A hook of {hook} under the material{}. Hidden from the tool axis: surface {area}, \
             space {volume}.",
            f.at(place)
        )
    };
    page.verdict_row("undercut", undercut.verdict, &text);
    for region in of(RegionKind::Undercut).take(LISTED).skip(1) {
        let hook = f.length(region.hook_mm);
        let area = f.text(Quantity::Area, Some(region.area_mm2), None);
        page.row(
            "",
            &format!(
                "another of {hook}{}, {area} hidden",
                f.at(Some(region.at_mm))
            ),
        );
    }
    let rest = of(RegionKind::Undercut).count().saturating_sub(LISTED);
    if rest > 0 {
        page.row("", &more_text(rest));
    }
    let apart = [
        (
            RegionKind::OtherSide,
            "open to the other side or the outside only (not undercut)",
        ),
        (
            RegionKind::Sealed,
            "sealed in the material (a defect of the mesh)",
        ),
    ];
    for (kind, words) in apart {
        let count = of(kind).count();
        if let Some(first) = of(kind).next() {
            let voids = if count == 1 { "void" } else { "voids" };
            let at = f.at(Some(first.at_mm));
            page.row("", &format!("{count} {voids} {words}, the first{at}"));
        }
    }
}

fn draft_rows(page: &mut Page, draft: &Draft) {
    let f = page.figures;
    let required = f.text(Quantity::Angle, Some(draft.required_deg), None);
    let mut text = format!(
        "Least draft {}, {required} asked for.",
        f.text(Quantity::Angle, draft.least_deg, draft.least_deg_pm)
    );
    text += &match (draft.tallest_short_wall_mm, draft.at_mm) {
        (None, _) => " The height of walls short of it is not known.".to_string(),
        (Some(0.0), None) => " No wall is short of it.".to_string(),
        (Some(0.0), at) => format!(" No wall is short of it; the least is{}.", f.at(at)),
        (wall, at) => format!(
            " The tallest wall short of it stands {} high{}; {} of surface is short.",
            f.text(Quantity::Length, wall, draft.tallest_short_wall_mm_pm),
            f.at(at),
            f.text(
                Quantity::Area,
                draft.short_area_mm2,
                draft.short_area_mm2_pm
            ),
        ),
    };
    page.verdict_row("draft", draft.verdict, &text);
    bands(page, draft);
}

/// Cavity surface by draft, with bars.
fn bands(page: &mut Page, draft: &Draft) {
    const BAR: f64 = 24.0;
    let f = page.figures;
    let total: f64 = draft.bands.iter().map(|b| b.area_mm2).sum();
    if total.is_nan() || total <= 0.0 {
        return;
    }
    let rows = draft.bands.iter().filter(|b| b.area_mm2 > 0.0).map(|b| {
        let angle = |deg| f.text(Quantity::Angle, Some(deg), None);
        let bar = (b.area_mm2 / total * BAR).ceil() as usize; // what is there shows
        let row = [
            format!("{} to {}", angle(b.from_deg), angle(b.to_deg)),
            f.cell(Quantity::Area, Some(b.area_mm2), None),
            percent(b.area_mm2 / total),
            "━".repeat(bar),
        ];
        row.map(Cell::from).to_vec()
    });
    let heads = ["draft", f.sign(Quantity::Area), "share", ""];
    page.table(&Table {
        heads: heads.map(String::from).to_vec(),
        rows: rows.collect(),
        left_from: 3,
    });
}

fn reach_rows(page: &mut Page, reach: &Reach) {
    let f = page.figures;
    let radius = f.text(
        Quantity::Length,
        reach.smallest_concave_radius_mm,
        reach.smallest_concave_radius_mm_pm,
    );
    let text = match reach.smallest_concave_radius_mm {
        None => format!("smallest concave radius {NOT_KNOWN}"),
        Some(0.0) => format!("sharp: no ball fills it{}", f.at(reach.at_mm)),
        Some(_) => format!("smallest concave radius {radius}{}", f.at(reach.at_mm)),
    };
    page.row("corners", &text);
    for edge in reach.sharp_edges.iter().take(LISTED) {
        let length = f.length(edge.length_mm);
        let at = f.at(Some(edge.at_mm));
        let text = match edge.kind {
            SharpEdgeKind::Floor => {
                format!("sharp edge along a floor, {length} long{at}: a flat cutter can")
            }
            SharpEdgeKind::Upright => {
                format!("sharp edge between walls, {length} long{at}: no rotating cutter can")
            }
            SharpEdgeKind::Point => format!("sharp point{at}: no rotating cutter can"),
        };
        page.row("", &text);
    }
    let rest = reach.sharp_edges.len().saturating_sub(LISTED);
    if rest > 0 {
        page.row("", &more_text(rest));
    }
    if let Some(text) = reach.radius_map.as_ref().and_then(|m| radii_text(f, m)) {
        page.row("", &text);
    }
    let leave = f.length(reach.leave_mm);
    let undecided = |c: &CutterReach| c.kind == CutterKind::Ball && c.clears.is_none();
    let clears = if reach.cutters.iter().any(undecided) {
        "is known to clear"
    } else {
        "clears"
    };
    let text = match (&reach.smallest_ball_needed, &reach.best_ball) {
        (Some(ball), _) => format!(
            "The {} is the largest ball in the rack that clears: it leaves nothing higher than {leave}.",
            name(ball)
        ),
        (None, Some(ball)) => format!(
            "No ball in the rack {clears} to {leave}; the {} leaves least.",
            name(ball)
        ),
        (None, None) => format!("No ball in the rack {clears} to {leave}."),
    };
    page.verdict_row("reach", reach.verdict, &text);
    if reach.cutters.is_empty() {
        page.row("", "There is no cutter in the rack.");
        return;
    }
    let table = cutters(f, &reach.cutters, true);
    if page.fits(&table) {
        page.table(&table);
    } else {
        page.table(&cutters(f, &reach.cutters, false));
        let text = "too wide to show how far each figure is good; the JSON report tells";
        page.note(text);
    }
    left_row(page, &reach.cutters);
}

/// Share of the surface up to which a small ball is needed for a few places only.
const FEW: f64 = 0.05;

/// How much of the surface needs how small a ball, and where: at the largest step of the ladder where that is little, or else at its
/// first. `None` where the map has no step.
pub(crate) fn radii_text(f: Figures, map: &RadiusMap) -> Option<String> {
    let few = map.steps.iter().rfind(|s| s.share <= FEW);
    let step = few.or(map.steps.first())?;
    let share = f.text(
        Quantity::Count,
        Some(100.0 * step.share),
        Some(100.0 * step.share_pm),
    );
    let radius = f.length(step.radius_mm);
    let listed = step.regions.iter().take(PLACES);
    let places: Vec<String> = listed
        .map(|r| {
            let area = f.text(Quantity::Area, Some(r.area_mm2), None);
            let tightest = f.length(r.smallest_radius_mm);
            format!("{area} down to R{JOIN}{tightest}{}", f.at(Some(r.at_mm)))
        })
        .collect();
    let where_it_is = match step.places {
        0 => return None,
        1 => "all of it in one place".to_owned(),
        n if n <= PLACES => format!("all of it in {n} places"),
        n => format!("in {n} places, the largest"),
    };
    Some(format!(
        "{share}{JOIN}% of the surface needs a ball under R{JOIN}{radius}, {where_it_is}: {}",
        places.join("; ")
    ))
}

/// Places a region list goes on to.
const PLACES: usize = 3;

/// Where the smallest ball that leaves something leaves it: what asks for a smaller one.
fn left_row(page: &mut Page, cutters: &[CutterReach]) {
    let f = page.figures;
    let leaves = |c: &&CutterReach| c.kind == CutterKind::Ball && !c.left_regions.is_empty();
    let smallest = cutters
        .iter()
        .filter(leaves)
        .min_by(|a, b| a.diameter_mm.total_cmp(&b.diameter_mm));
    let Some(ball) = smallest else { return };
    let places: Vec<String> = (ball.left_regions.iter().take(PLACES))
        .map(|r| {
            let area = f.text(Quantity::Area, Some(r.area_mm2), None);
            format!("{area}{}", f.at(Some(r.at_mm)))
        })
        .collect();
    let rest = ball.left_regions.len().saturating_sub(PLACES);
    let more = if rest > 0 {
        format!("; {rest} more places")
    } else {
        String::new()
    };
    let text = format!(
        "What the {} leaves: {}{more}",
        name(&ball.name),
        places.join("; ")
    );
    page.row("", &text);
}

/// What each cutter leaves, with or without ±.
fn cutters(f: Figures, cutters: &[CutterReach], with_pm: bool) -> Table {
    let heads = [
        "cutter".to_string(),
        "clears".to_string(),
        format!("left high\n{}", f.sign(Quantity::Length)),
        format!("left area\n{}", f.sign(Quantity::Area)),
        format!("left volume\n{}", f.sign(Quantity::Volume)),
        format!("stickout\nneeded {}", f.sign(Quantity::Length)),
    ];
    let row = |c: &CutterReach| {
        let (clears, verdict) = match c.clears {
            Some(true) => ("yes", Verdict::Pass),
            Some(false) => ("no", Verdict::Fail),
            None => ("?", Verdict::Unsure),
        };
        let cell = |q, value, pm: Option<f64>| Cell::from(f.cell(q, value, pm.filter(|_| with_pm)));
        vec![
            Cell::from(clean(&c.name)),
            Cell {
                text: clears.to_string(),
                tone: Tone::Verdict(verdict),
            },
            cell(Quantity::Length, c.left_height_mm, c.left_height_mm_pm),
            cell(Quantity::Area, c.left_area_mm2, c.left_area_mm2_pm),
            cell(Quantity::Volume, c.left_volume_mm3, c.left_volume_mm3_pm),
            cell(
                Quantity::Length,
                c.stickout_needed_mm,
                c.stickout_needed_mm_pm,
            ),
        ]
    };
    Table {
        heads: heads.to_vec(),
        rows: cutters.iter().map(row).collect(),
        left_from: heads.len(),
    }
}

fn depth_rows(page: &mut Page, half: &Half) {
    let (depth, f) = (&half.depth, page.figures);
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
    let blocker = match tool.blocked_by {
        Some(Blocker::Neck) => ", neck",
        Some(Blocker::Shank) => ", shank",
        Some(Blocker::Holder) => ", holder",
        None => "",
    };
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
