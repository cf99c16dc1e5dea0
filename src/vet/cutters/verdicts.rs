//! Verdicts on the whole rack, and the balls that are named in them.

use crate::report::{CutterReach, Reach, ToolDepth, Verdict};
use crate::shop::{CutterKind, Shop};
use crate::vet::held::uncertainty;
use crate::vet::reach::{Ground, Place, Reached};
use rayon::prelude::*;

/// Stickout over diameter beyond which a tool bends and chatters at any setting; common practice, no source.
pub const SLENDER: f64 = 8.0;

/// The largest ball that clears.
pub fn largest_that_clears(cutters: &[CutterReach]) -> Option<&CutterReach> {
    cutters
        .iter()
        .filter(|c| c.kind == CutterKind::Ball && c.clears == Some(true))
        .max_by(|a, b| a.diameter_mm.total_cmp(&b.diameter_mm))
}

/// The ball that leaves least, the largest of equals.
pub(super) fn best_ball(cutters: &[CutterReach]) -> Option<&CutterReach> {
    cutters
        .iter()
        .filter(|c| c.kind == CutterKind::Ball)
        .filter_map(|c| Some((c.left_height_mm?, c.diameter_mm, c)))
        .min_by(|a, b| a.0.total_cmp(&b.0).then(b.1.total_cmp(&a.1)))
        .map(|b| b.2)
}

/// Pass if one cutter clears, or all together do: `left` is where the first leaves too much, or may.
pub(super) fn reach_verdict(
    ground: &Ground,
    shop: &Shop,
    cutters: &[CutterReach],
    left: Option<Vec<Stays>>,
) -> Verdict {
    if cutters.iter().any(|c| c.clears == Some(true)) {
        Verdict::Pass
    } else if cutters.iter().any(|c| c.clears.is_none()) {
        Verdict::Unsure
    } else {
        left.map_or(Verdict::Fail, |left| together(ground, shop, left))
    }
}

/// Fail if no tool reaches what its cutter alone can; watch if only slender ones do, or none of the ball that is needed; unsure where
/// that hangs on less than the ± of the stickout needed.
pub(super) fn depth_verdict(tools: &[ToolDepth], shop: &Shop, reach: &Reach) -> Verdict {
    if tools.is_empty() {
        return Verdict::Pass;
    }
    // whether it reaches all hangs on the ± of the stickout needed
    let close = |t: &&ToolDepth| {
        if t.reached_share.is_none() {
            return false;
        }
        let cutter = reach.cutters.iter().find(|c| c.name == t.cutter);
        let needed = cutter.and_then(|c| c.stickout_needed_mm.zip(c.stickout_needed_mm_pm));
        needed.is_some_and(|(needed, pm)| (needed - pm..needed + pm).contains(&t.stickout_mm))
    };
    let surely = |t: &&ToolDepth| t.blocked_by.is_none() && t.reached_share.is_some() && !close(t);
    let diameter = |t: &ToolDepth| {
        shop.cutters
            .iter()
            .find(|c| c.name == t.cutter)
            .map_or(f64::INFINITY, |c| c.diameter)
    };
    let stout = |t: &&ToolDepth| t.stickout_mm <= SLENDER * diameter(t);
    let finisher = reach
        .smallest_ball_needed
        .as_ref()
        .or(reach.best_ball.as_ref());
    let finishes = |t: &&ToolDepth| finisher.is_none_or(|f| *f == t.cutter);
    let good = || tools.iter().filter(finishes).filter(stout);
    if good().any(|t| surely(&t)) {
        Verdict::Pass
    } else if good().any(|t| close(&t)) {
        Verdict::Unsure
    } else if tools.iter().any(|t| surely(&t)) {
        Verdict::Watch
    } else if tools.iter().any(|t| close(&t)) {
        Verdict::Unsure
    } else {
        Verdict::Fail
    }
}

/// A place where the cutters tried so far leave more than the leave, or may.
pub(super) struct Stays {
    place: Place,
    /// Surely more.
    surely: bool,
}

/// Places where the first cutter leaves more than the leave or may: samples, and the one that holds the most, which may lie between
/// samples.
pub(super) fn left_by_first(reached: &Reached, leave: f64) -> Vec<Stays> {
    let pm = reached.worst_pm;
    let samples = reached.judged().filter(|(_, n)| n.left > 0.0);
    let samples = samples.map(|(s, n)| {
        let place = Place {
            at: s.at,
            normals: vec![s.normal],
        };
        (n.left, place)
    });
    let worst = reached.worst.map(|(left, at)| {
        let normals = Vec::new();
        (left, Place { at, normals })
    });
    (samples.chain(worst))
        .filter(|(left, _)| left + pm > leave)
        .map(|(left, place)| Stays {
            place,
            surely: left - pm > leave,
        })
        .collect()
}

/// Whether all cutters together leave nothing higher than the leave: what one leaves is shown to the next. The first has been asked
/// for what it `left`; on sharp edges it is asked like the others.
fn together(ground: &Ground, shop: &Shop, mut left: Vec<Stays>) -> Verdict {
    let leave = shop.limits.leave;
    let sharp = ground.sharp.iter().flat_map(|s| s.places.iter());
    let sharp = sharp.map(|p| Stays {
        place: p.clone(),
        surely: true,
    });
    let mut edges: Vec<Stays> = sharp.collect();
    for (k, cutter) in shop.cutters.iter().enumerate() {
        let asked = if k == 0 { &mut edges } else { &mut left };
        if !asked.is_empty() {
            let Some(cutting) = ground.cutting(cutter.radius(), cutter.corner_radius) else {
                return Verdict::Fail;
            };
            let stays = |s: Stays| {
                let Place { at, normals } = &s.place;
                let near = cutting.comes_near(at, normals);
                let pm = uncertainty(ground, &cutting, at, &near);
                let surely = s.surely && near.left - pm > leave;
                (near.left + pm > leave).then_some(Stays { surely, ..s })
            };
            *asked = std::mem::take(asked)
                .into_par_iter()
                .filter_map(stays)
                .collect();
        }
        if k == 0 {
            left.append(&mut edges);
        }
    }
    match left.iter().any(|s| s.surely) {
        true => Verdict::Fail,
        false if left.is_empty() => Verdict::Pass,
        false => Verdict::Unsure,
    }
}
