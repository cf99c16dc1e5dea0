//! One half: cavity, undercut, draft; corners and cutters in `reach`, tool lengths in `depth`.

use super::{LISTED, NOT_KNOWN, Quantity, depth, more, more_text, percent, reach};
use crate::report::page::Page;
use crate::report::table::{Cell, Table};
use crate::report::text::name;
use crate::report::{Cavity, Draft, Half, Hollow, HollowKind, RegionKind, Undercut};

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
    reach::rows(page, &half.reach);
    depth::rows(page, &half.depth);
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
    no_undercuts(page, undercut);
}

/// Voids that are no undercut of the cavity.
fn no_undercuts(page: &mut Page, undercut: &Undercut) {
    let f = page.figures;
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
        let of = || undercut.regions.iter().filter(|r| r.kind == kind);
        let count = of().count();
        if let Some(first) = of().next() {
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
