//! The figures of a cutter or tool for the report.

use crate::mesh::Point;
use crate::report::{CutterReach, LeftRegion, ToolDepth};
use crate::shop::{Cutter, CutterKind, Tool};
use crate::vet::cutting::TOUCH;
use crate::vet::depth::Deepest;
use crate::vet::reach::{Ground, Reached};
use crate::vet::shade::patches;

/// A cutter of which nothing is known.
pub(super) fn unknown_reach(cutter: &Cutter) -> CutterReach {
    CutterReach {
        name: cutter.name.clone(),
        kind: cutter.kind(),
        diameter_mm: cutter.diameter,
        corner_radius_mm: cutter.corner_radius,
        clears: None,
        left_height_mm: None,
        left_height_mm_pm: None,
        left_area_mm2: None,
        left_area_mm2_pm: None,
        left_volume_mm3: None,
        left_volume_mm3_pm: None,
        at_mm: None,
        left_regions: Vec::new(),
        stickout_needed_mm: None,
        stickout_needed_mm_pm: None,
    }
}

/// What it leaves.
pub(super) fn fill_reach(
    figures: &mut CutterReach,
    ground: &Ground,
    reached: &Reached,
    leave: f64,
) {
    let Some((left, at)) = reached.worst else {
        return;
    };
    let pm = reached.worst_pm;
    figures.clears = if left + pm <= leave {
        Some(true)
    } else if left - pm > leave {
        Some(false)
    } else {
        None
    };
    figures.left_height_mm = Some(left);
    figures.left_height_mm_pm = Some(pm);
    figures.left_area_mm2 = Some(reached.left_area);
    figures.left_area_mm2_pm = Some(reached.left_area_pm);
    figures.left_volume_mm3 = Some(reached.left_volume);
    figures.left_volume_mm3_pm = Some(reached.left_volume_pm);
    figures.at_mm = Some(ground.half.frame.place(&at));
    figures.left_regions = left_regions(ground, reached, leave);
}

/// Most regions listed for one cutter.
const MOST_REGIONS: usize = 16;

/// Connected surface on which more than the leave is left, the largest first.
fn left_regions(ground: &Ground, reached: &Reached, leave: f64) -> Vec<LeftRegion> {
    // per facet: area left, and the most left with its place
    let mut left = vec![(0.0, 0.0, Point::origin()); ground.surface.facets.len()];
    for (s, n) in reached.judged() {
        if n.left > leave {
            let (area, most, at) = &mut left[s.facet as usize];
            *area += s.area;
            if n.left > *most {
                (*most, *at) = (n.left, s.at);
            }
        }
    }
    let member: Vec<bool> = left.iter().map(|l| l.0 > 0.0).collect();
    let mut regions: Vec<LeftRegion> = patches(ground.half, &ground.surface, &member)
        .into_iter()
        .map(|patch| {
            let facets = || patch.iter().map(|&f| left[f as usize]);
            let most = facets().max_by(|a, b| a.1.total_cmp(&b.1));
            LeftRegion {
                at_mm: (ground.half.frame).place(&most.map_or(Point::origin(), |m| m.2)),
                area_mm2: facets().map(|l| l.0).sum(),
                height_mm: most.map_or(0.0, |m| m.1),
            }
        })
        .collect();
    regions.sort_by(|a, b| b.area_mm2.total_cmp(&a.area_mm2));
    regions.truncate(MOST_REGIONS);
    regions
}

pub(super) fn tool_depth(ground: &Ground, tool: &Tool, found: Deepest) -> ToolDepth {
    let at = found.blocked.map(|b| b.1).or(found.tip.map(|t| t.at));
    ToolDepth {
        name: tool.name.clone(),
        cutter: tool.cutter.clone(),
        stickout_mm: tool.stickout,
        holder: tool.holder.clone(),
        deepest_mm: found.tip.map(|t| t.depth),
        deepest_mm_pm: found.tip.map(|t| t.pm),
        reached_share: found.share.map(|s| s.0),
        reached_share_pm: found.share.map(|s| s.1),
        blocked_by: found.blocked.map(|b| b.0),
        at_mm: at.map(|p| ground.half.frame.place(&p)),
    }
}

/// Holds the balls' figures against the smallest concave radius and its ±; where nothing overhangs.
pub(super) fn agree(
    cutters: &mut [CutterReach],
    ground: &Ground,
    (radius, pm): (f64, f64),
    leave: f64,
) {
    if ground.shade.any() {
        return;
    }
    let about = 2.0 * ground.surface.chord_error(ground.survey);
    for c in cutters.iter_mut().filter(|c| c.kind == CutterKind::Ball) {
        if 0.5 * c.diameter_mm <= radius - pm {
            touches_all(c);
        } else if 0.5 * c.diameter_mm <= radius + about.min(pm) {
            may_touch_all(c, leave);
        }
    }
}

/// A ball that is surely no larger than the smallest concave radius touches everything, by that radius' definition, whatever the
/// facets do; where nothing overhangs.
fn touches_all(figures: &mut CutterReach) {
    figures.clears = Some(true);
    figures.left_regions.clear();
    figures.left_height_mm = Some(0.0);
    figures.left_height_mm_pm = Some(TOUCH);
    figures.left_area_mm2 = Some(0.0);
    figures.left_area_mm2_pm = Some(0.0);
    figures.left_volume_mm3 = Some(0.0);
    figures.left_volume_mm3_pm = Some(0.0);
}

/// A ball that may be no larger than the smallest concave radius may touch everything, whatever the facets hold it off.
fn may_touch_all(figures: &mut CutterReach, leave: f64) {
    let hold = |value: Option<f64>, pm: &mut Option<f64>| {
        *pm = value.zip(*pm).map(|(value, pm)| pm.max(value));
    };
    hold(figures.left_height_mm, &mut figures.left_height_mm_pm);
    hold(figures.left_area_mm2, &mut figures.left_area_mm2_pm);
    hold(figures.left_volume_mm3, &mut figures.left_volume_mm3_pm);
    if figures.left_height_mm.is_some_and(|left| left > leave) {
        figures.clears = None;
    }
}
