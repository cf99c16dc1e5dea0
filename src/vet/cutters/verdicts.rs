//! Verdicts on the whole rack, and the balls that are named in them.

use crate::report::{CutterReach, Reach, ToolDepth, Verdict};
use crate::shop::{CutterKind, Shop};
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

/// Pass if one cutter clears, or all together do: `left_by_first` is where the first leaves too much.
pub(super) fn reach_verdict(
    ground: &Ground,
    shop: &Shop,
    cutters: &[CutterReach],
    left_by_first: Option<Vec<Place>>,
) -> Verdict {
    if cutters.iter().any(|c| c.clears == Some(true)) {
        Verdict::Pass
    } else if cutters.iter().any(|c| c.clears.is_none()) {
        Verdict::Unsure
    } else if left_by_first.is_some_and(|left| others_clear(ground, shop, left)) {
        Verdict::Pass
    } else {
        Verdict::Fail
    }
}

/// Fail if no tool reaches what its cutter alone can; watch if only slender ones do, or none of the ball that is needed.
pub(super) fn depth_verdict(tools: &[ToolDepth], shop: &Shop, reach: &Reach) -> Verdict {
    if tools.is_empty() {
        return Verdict::Pass;
    }
    let reaches = |t: &&ToolDepth| t.blocked_by.is_none() && t.reached_share.is_some();
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
    if !tools.iter().any(|t| reaches(&t)) {
        Verdict::Fail
    } else if tools
        .iter()
        .filter(finishes)
        .any(|t| reaches(&t) && stout(&t))
    {
        Verdict::Pass
    } else {
        Verdict::Watch
    }
}

/// Places where more than the leave is left, and on sharp edges, which no cutter reaches alone.
pub(super) fn still_left(ground: &Ground, reached: &Reached, leave: f64) -> Vec<Place> {
    let mut places: Vec<Place> = (reached.judged())
        .filter(|(_, n)| n.left > leave)
        .map(|(s, _)| Place {
            at: s.at,
            normals: vec![s.normal],
        })
        .collect();
    places.extend(ground.sharp.iter().flat_map(|s| s.places.iter().cloned()));
    places
}

/// Whether the cutters after the first leave nothing higher than the leave at the places that it left: what one leaves
/// is shown to the next.
fn others_clear(ground: &Ground, shop: &Shop, mut places: Vec<Place>) -> bool {
    let leave = shop.limits.leave;
    for cutter in shop.cutters.iter().skip(1) {
        if places.is_empty() {
            break;
        }
        let Some(cutting) = ground.cutting(cutter.radius(), cutter.corner_radius) else {
            return false;
        };
        places = (places.into_par_iter())
            .filter(|p| cutting.leaves(&p.at, &p.normals) > leave)
            .collect();
    }
    places.is_empty()
}
