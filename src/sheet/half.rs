//! One half on the page: its figures by question, with the maps beside them.

use super::body::{Pictures, article};
use super::html::{both, escape, figure, table};
use crate::picture::best_cutter;
use crate::report::{
    CutterReach, Figures, Half, HollowKind, Quantity, Reach, RegionKind, SharpEdgeKind,
    blocker_name, percent, radii_text,
};
use crate::shop::CutterKind;
use crate::units::Unit;

/// All that is told of one half, with the map beside the figures.
pub(super) fn half_section(page: &mut String, half: &Half, pictures: &Pictures) {
    let name = escape(&half.name);
    let key = half.name.to_lowercase();
    let picture = |what: &str| pictures.html(&format!("{key}-{what}"));
    *page += &format!(
        "<section class=\"half\" aria-labelledby=\"half-{key}\">\n<h2 id=\"half-{key}\">Half {name}</h2>\n<div class=\"parts\">\n",
        key = escape(&key)
    );
    let around = picture("depth") + &picture("wall");
    article(page, "Cavity", None, &around, &cavity(half));
    article(
        page,
        "Undercut",
        Some(half.undercut.verdict),
        &picture("hidden"),
        &undercut(half),
    );
    article(
        page,
        "Draft",
        Some(half.draft.verdict),
        &picture("draft"),
        &draft(half),
    );
    let best = best_cutter(half);
    let k = half
        .reach
        .cutters
        .iter()
        .position(|c| Some(c.name.as_str()) == best);
    let k = k.map_or(0, |k| k + 1);
    let reach = picture(&format!("left-{k}"))
        + &picture("section-reach")
        + &picture("radius")
        + &picture("cusp");
    article(
        page,
        "Reach of the cutters",
        Some(half.reach.verdict),
        &reach,
        &self::reach(half),
    );
    let depth = picture(&format!("stickout-{k}")) + &picture("section-tool");
    article(
        page,
        "Depth of the tools",
        Some(half.depth.verdict),
        &depth,
        &self::depth(half),
    );
    *page += "</div>\n</section>\n";
}

fn cavity(half: &Half) -> String {
    let c = &half.cavity;
    let rows = [
        ("Depth", Quantity::Length, c.depth_mm, c.depth_mm_pm),
        ("Volume", Quantity::Volume, c.volume_mm3, c.volume_mm3_pm),
        ("Surface", Quantity::Area, c.surface_mm2, c.surface_mm2_pm),
    ];
    let mut rows: Vec<Vec<String>> = rows
        .iter()
        .map(|(name, q, v, pm)| vec![(*name).to_owned(), figure(*q, *v, *pm)])
        .collect();
    let stock = &half.blank;
    rows.push(vec![
        "Stock, block".to_owned(),
        both(|f| {
            let [x, y, z] = stock
                .block_mm
                .map(|v| f.cell(Quantity::Length, Some(v), None));
            format!("{x} × {y} × {z} {}", f.sign(Quantity::Length))
        }),
    ]);
    rows.push(vec![
        "Stock, round".to_owned(),
        both(|f| {
            let [d, l] = [stock.round_diameter_mm, stock.round_length_mm]
                .map(|v| f.cell(Quantity::Length, Some(v), None));
            let margin = f.length(stock.margin_mm);
            format!(
                "⌀ {d} × {l} {}; {margin} more than the half all round",
                f.sign(Quantity::Length)
            )
        }),
    ]);
    for kind in [HollowKind::Socket, HollowKind::Through, HollowKind::Other] {
        let of: Vec<_> = c.hollows.iter().filter(|h| h.kind == kind).collect();
        let name = match kind {
            HollowKind::Socket => "Pin sockets",
            HollowKind::Through => "Through holes",
            _ => "Other hollows",
        };
        if let Some(deepest) = of.iter().map(|h| h.depth_mm).reduce(f64::max) {
            let deep = figure(Quantity::Length, Some(deepest), None);
            rows.push(vec![
                name.to_owned(),
                format!("{}, down to {deep}", of.len()),
            ]);
        }
    }
    table(
        &format!("Cavity, half {}", half.name),
        &["measure", "figure"],
        &rows,
    )
}

fn undercut(half: &Half) -> String {
    let u = &half.undercut;
    let hooks = u
        .regions
        .iter()
        .filter(|r| r.kind == RegionKind::Undercut)
        .count();
    if hooks == 0 && u.hook_mm == Some(0.0) {
        let least = figure(Quantity::Length, Some(u.threshold_mm), None);
        return format!(
            "<p>The tool axis sees the whole cavity (a hook below {least} is taken for rounding).</p>"
        );
    }
    let rows = [
        (
            "Largest hook",
            figure(Quantity::Length, u.hook_mm, u.hook_mm_pm),
        ),
        (
            "Hidden surface",
            figure(Quantity::Area, u.hidden_area_mm2, u.hidden_area_mm2_pm),
        ),
        (
            "Hidden space",
            figure(
                Quantity::Volume,
                u.hidden_volume_mm3,
                u.hidden_volume_mm3_pm,
            ),
        ),
        ("Places", hooks.to_string()),
    ];
    let rows: Vec<Vec<String>> = rows
        .into_iter()
        .map(|(n, v)| vec![n.to_owned(), v])
        .collect();
    table(
        &format!("Undercut, half {}", half.name),
        &["measure", "figure"],
        &rows,
    )
}

fn draft(half: &Half) -> String {
    let d = &half.draft;
    let rows: Vec<Vec<String>> = [
        (
            "Required",
            figure(Quantity::Angle, Some(d.required_deg), None),
        ),
        (
            "Least",
            figure(Quantity::Angle, d.least_deg, d.least_deg_pm),
        ),
        (
            "Short of it",
            figure(Quantity::Area, d.short_area_mm2, d.short_area_mm2_pm),
        ),
        (
            "Tallest wall short of it",
            figure(
                Quantity::Length,
                d.tallest_short_wall_mm,
                d.tallest_short_wall_mm_pm,
            ),
        ),
    ]
    .into_iter()
    .map(|(n, v)| vec![n.to_owned(), v])
    .collect();
    let all: f64 = d.bands.iter().map(|b| b.area_mm2).sum();
    let bands: Vec<Vec<String>> = d
        .bands
        .iter()
        .filter(|b| b.area_mm2 > 0.0)
        .map(|b| {
            let share = b.area_mm2 / all;
            let f = Figures { unit: Unit::Mm };
            let from = f.cell(Quantity::Angle, Some(b.from_deg), None);
            let to = f.text(Quantity::Angle, Some(b.to_deg), None);
            vec![
                escape(&format!("{from} to {to}")),
                figure(Quantity::Area, Some(b.area_mm2), None),
                escape(&percent(share)),
            ]
        })
        .collect();
    table(
        &format!("Draft, half {}", half.name),
        &["measure", "figure"],
        &rows,
    ) + &table(
        &format!("Cavity surface by draft, half {}", half.name),
        &["draft", "surface", "share"],
        &bands,
    )
}

fn reach(half: &Half) -> String {
    let r = &half.reach;
    let radius = figure(
        Quantity::Length,
        r.smallest_concave_radius_mm,
        r.smallest_concave_radius_mm_pm,
    );
    let mut words = best_ball(r);
    words += &format!("<p>Smallest concave radius {radius}.</p>");
    if let Some(map) = &r.radius_map
        && radii_text(Figures { unit: Unit::Mm }, map).is_some()
    {
        let text = both(|f| radii_text(f, map).unwrap_or_default());
        words += &format!("<p>{text}.</p>");
    }
    words += &sharp_edges(r);
    words + &cutters(half)
}

fn best_ball(r: &Reach) -> String {
    let leave = figure(Quantity::Length, Some(r.leave_mm), None);
    match (&r.smallest_ball_needed, &r.best_ball) {
        (Some(ball), _) => format!(
            "<p>The <strong>{}</strong> is the largest ball in the rack that leaves nothing higher than {leave}.</p>",
            escape(ball)
        ),
        (None, Some(ball)) => format!(
            "<p>No ball in the rack leaves less than {leave}; the <strong>{}</strong> comes closest.</p>",
            escape(ball)
        ),
        (None, None) => String::new(),
    }
}

fn sharp_edges(r: &Reach) -> String {
    let sharp: Vec<String> = [
        SharpEdgeKind::Floor,
        SharpEdgeKind::Upright,
        SharpEdgeKind::Point,
    ]
    .into_iter()
    .filter_map(|kind| {
        let of: Vec<_> = r.sharp_edges.iter().filter(|e| e.kind == kind).collect();
        let long: f64 = of.iter().map(|e| e.length_mm).sum();
        let long = figure(Quantity::Length, Some(long), None);
        (!of.is_empty()).then(|| match kind {
            SharpEdgeKind::Floor => format!("{long} along floors"),
            SharpEdgeKind::Upright => format!("{long} upright"),
            SharpEdgeKind::Point => format!("{} corners", of.len()),
        })
    })
    .collect();
    if sharp.is_empty() {
        return String::new();
    }
    format!("<p>Sharp inside edges: {}.</p>", sharp.join(", "))
}

/// What each cutter leaves.
fn cutters(half: &Half) -> String {
    let row = |c: &CutterReach| {
        let kind = match c.kind {
            CutterKind::Ball => "",
            CutterKind::Flat => " (flat)",
            CutterKind::Bull => " (bull-nose)",
        };
        let clears = match c.clears {
            Some(true) => "yes",
            Some(false) => "no",
            None => "too close",
        };
        vec![
            escape(&c.name) + kind,
            clears.to_owned(),
            figure(Quantity::Length, c.left_height_mm, c.left_height_mm_pm),
            figure(Quantity::Area, c.left_area_mm2, c.left_area_mm2_pm),
            figure(
                Quantity::Length,
                c.stickout_needed_mm,
                c.stickout_needed_mm_pm,
            ),
        ]
    };
    let rows: Vec<Vec<String>> = half.reach.cutters.iter().map(row).collect();
    table(
        &format!("Cutters, half {}", half.name),
        &[
            "cutter",
            "clears",
            "left high",
            "left area",
            "stickout needed",
        ],
        &rows,
    )
}

fn depth(half: &Half) -> String {
    let rows: Vec<Vec<String>> = half
        .depth
        .tools
        .iter()
        .map(|t| {
            vec![
                escape(&t.cutter),
                figure(Quantity::Length, Some(t.stickout_mm), None),
                figure(Quantity::Length, t.deepest_mm, t.deepest_mm_pm),
                t.reached_share
                    .map_or_else(|| "not known".to_owned(), |s| escape(&percent(s))),
                t.blocked_by.map_or("nothing", blocker_name).to_owned(),
            ]
        })
        .collect();
    if rows.is_empty() {
        return "<p>No stickout is stated, so no tool length was tried.</p>".to_owned();
    }
    table(
        &format!("Tools, half {}", half.name),
        &["cutter", "stickout", "tip depth", "reaches", "stopped by"],
        &rows,
    )
}
