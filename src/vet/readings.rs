//! Where a mesh allows two readings of its edges: figures and verdicts that hold in either.

use crate::mesh::Creases;
use crate::report::{CutterReach, Depth, Draft, Half, RadiusMap, Reach, Undercut, Verdict};
use crate::setup::{Half as MoldHalf, Survey};

/// A reading is near its limit from this share of the crease angle on.
const NEAR_BELOW: f64 = 0.8;
/// And up to this share of it,
const NEAR_ABOVE: f64 = 2.0;
/// but no farther than to this angle, degrees: nobody draws a round hole with six facets, and hexagons are common.
const FEWEST_FACETS: f64 = 59.9;
/// A crease angle beyond that is near its limit up to this share of it.
const JUST_ABOVE: f64 = 1.1;

/// Crease angles between which the reading of an edge is near its limit, degrees.
///
/// A 45° edge between two that turn alike is an octagon's or a coarse cylinder's: the mesh is the same. A crease angle
/// that the user moves well off the edge's turn settles it.
fn near(crease_deg: f64) -> [f64; 2] {
    let above = (NEAR_ABOVE * crease_deg).min(FEWEST_FACETS);
    [NEAR_BELOW * crease_deg, above.max(JUST_ABOVE * crease_deg)]
}

/// The other readings that the edges of the hollows allow, each with how many edges it reads differently.
pub fn others(
    half: &MoldHalf,
    survey: &Survey,
    stated: &Creases,
    crease_deg: f64,
) -> Vec<(usize, Creases)> {
    let [low, high] = near(crease_deg);
    let inside = |t: u32| survey.owner[t as usize].is_some();
    let edges: Vec<usize> = (half.topology.edges.iter().enumerate())
        .filter(|(_, e)| inside(e.triangles.0) && e.triangles.1.is_some_and(inside))
        .filter(|(k, _)| (low..high).contains(&f64::from(stated.turn_deg[*k].abs())))
        .map(|(k, _)| k)
        .collect();
    let differ = |other: &Creases| {
        let differs = |&&k: &&usize| other.smooth[k] != stated.smooth[k];
        edges.iter().filter(differs).count()
    };
    // read as sharp what is smooth, and as smooth what is sharp
    [(low, true), (high, false)]
        .into_iter()
        .filter(|(_, smooth)| edges.iter().any(|&k| stated.smooth[k] == *smooth))
        .map(|(angle, _)| Creases::read(&half.mesh, &half.topology, angle, half.rounding))
        .map(|other| (differ(&other), other))
        .filter(|(count, _)| *count > 0)
        .collect()
}

/// Widens each named figure's ± in the first reading so that it holds in the second too.
macro_rules! widen {
    ($a:expr, $b:expr, $($figure:ident $pm:ident),+ $(,)?) => {
        $( $a.$pm = both($a.$figure, $a.$pm, $b.$figure, $b.$pm); )+
    };
}

/// Widens the figures of `stated` so that they hold in the reading of `other` too; verdicts that differ become unsure. True if
/// any does.
pub fn hold_both(stated: &mut Half, other: &Half) -> bool {
    // each field by name, so that a new one is thought of here
    let Half {
        name: _,
        file: _,
        body: _,
        tool_axis: _,
        tool_axis_why: _,
        parting_level_mm: _,
        parting_flat: _,
        touch_off_mm: _,
        mesh: _,
        blank: _,
        grid: _,
        cavity,
        undercut,
        draft,
        reach,
        depth,
    } = stated;
    widen!(
        cavity,
        other.cavity,
        volume_mm3 volume_mm3_pm,
        depth_mm depth_mm_pm,
        surface_mm2 surface_mm2_pm,
    );
    let undercut = self::undercut(undercut, &other.undercut);
    let draft = self::draft(draft, &other.draft);
    let reach = self::reach(reach, &other.reach);
    let depth = self::depth(depth, &other.depth);
    undercut || draft || reach || depth
}

/// The ± of `a` that holds `b` with its own too; of a figure that only one reading has, none.
fn both(a: Option<f64>, a_pm: Option<f64>, b: Option<f64>, b_pm: Option<f64>) -> Option<f64> {
    match (a, b) {
        (Some(a), Some(b)) => Some(a_pm?.max((a - b).abs() + b_pm?)),
        _ => a_pm,
    }
}

fn verdict(a: &mut Verdict, b: Verdict) -> bool {
    let differ = *a != b;
    // a failure and a thing to watch differ too, but neither is a pass
    if differ {
        *a = Verdict::Unsure;
    }
    differ
}

fn undercut(a: &mut Undercut, b: &Undercut) -> bool {
    widen!(
        a,
        b,
        hidden_area_mm2 hidden_area_mm2_pm,
        hidden_volume_mm3 hidden_volume_mm3_pm,
        hook_mm hook_mm_pm,
    );
    verdict(&mut a.verdict, b.verdict)
}

fn draft(a: &mut Draft, b: &Draft) -> bool {
    widen!(
        a,
        b,
        least_deg least_deg_pm,
        short_area_mm2 short_area_mm2_pm,
        tallest_short_wall_mm tallest_short_wall_mm_pm,
    );
    verdict(&mut a.verdict, b.verdict)
}

fn reach(a: &mut Reach, b: &Reach) -> bool {
    widen!(a, b, smallest_concave_radius_mm smallest_concave_radius_mm_pm);
    // sharp edges of the other reading only are not listed: which they are the stated crease angle says
    let mut differ = a.sharp_edges.is_empty() != b.sharp_edges.is_empty();
    for (a, b) in a.cutters.iter_mut().zip(&b.cutters) {
        differ |= cutter(a, b);
    }
    if let (Some(a), Some(b)) = (&mut a.radius_map, &b.radius_map) {
        radii(a, b);
    }
    let clears = super::cutters::largest_that_clears(&a.cutters);
    a.smallest_ball_needed = clears.map(|c| c.name.clone());
    verdict(&mut a.verdict, b.verdict) || differ
}

/// Areas by radius: below the other's first step something up to that step's area may need a smaller ball, beyond its last
/// nothing more does.
fn radii(a: &mut RadiusMap, b: &RadiusMap) {
    let (Some(first), Some(last)) = (b.steps.first(), b.steps.last()) else {
        return;
    };
    for step in &mut a.steps {
        let (area, pm) = if step.radius_mm < first.radius_mm {
            (0.0, first.area_mm2 + first.area_mm2_pm)
        } else {
            let other = b.steps.iter().find(|s| s.radius_mm == step.radius_mm);
            let other = other.unwrap_or(last);
            (other.area_mm2, other.area_mm2_pm)
        };
        step.area_mm2_pm = step.area_mm2_pm.max((step.area_mm2 - area).abs() + pm);
        step.share_pm = step.area_mm2_pm / a.visible_area_mm2;
    }
}

fn cutter(a: &mut CutterReach, b: &CutterReach) -> bool {
    let differ = a.clears != b.clears;
    if differ {
        a.clears = None;
    }
    widen!(
        a,
        b,
        left_height_mm left_height_mm_pm,
        left_area_mm2 left_area_mm2_pm,
        left_volume_mm3 left_volume_mm3_pm,
        stickout_needed_mm stickout_needed_mm_pm,
    );
    differ
}

fn depth(a: &mut Depth, b: &Depth) -> bool {
    for (a, b) in a.tools.iter_mut().zip(&b.tools) {
        widen!(a, b, deepest_mm deepest_mm_pm, reached_share reached_share_pm);
    }
    verdict(&mut a.verdict, b.verdict)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::samples;

    fn half() -> Half {
        samples::pair().halves.remove(0)
    }

    #[test]
    fn the_same_reading_changes_nothing() {
        let (mut stated, other) = (half(), half());
        assert!(!hold_both(&mut stated, &other));
        assert_eq!(stated, other);
    }

    #[test]
    fn each_verdict_that_differs_becomes_unsure() {
        let of: [fn(&mut Half) -> &mut Verdict; 3] = [
            |h| &mut h.undercut.verdict,
            |h| &mut h.draft.verdict,
            |h| &mut h.depth.verdict,
        ];
        for verdict in of {
            let (mut stated, mut other) = (half(), half());
            *verdict(&mut stated) = Verdict::Pass;
            *verdict(&mut other) = Verdict::Fail;
            assert!(hold_both(&mut stated, &other));
            assert_eq!(*verdict(&mut stated), Verdict::Unsure);
        }
    }

    #[test]
    fn a_figure_holds_the_other_with_its_uncertainty() {
        let (mut stated, mut other) = (half(), half());
        let set = |h: &mut Half, value: f64, pm: f64| {
            let tool = &mut h.depth.tools[0];
            (tool.deepest_mm, tool.deepest_mm_pm) = (Some(value), Some(pm));
        };
        set(&mut stated, 10.0, 0.01);
        set(&mut other, 9.0, 0.25);
        assert!(!hold_both(&mut stated, &other));
        let tool = &stated.depth.tools[0];
        assert_eq!(
            (tool.deepest_mm, tool.deepest_mm_pm),
            (Some(10.0), Some(1.25))
        );
        // one that holds it already stays as it is
        set(&mut stated, 10.0, 2.0);
        hold_both(&mut stated, &other);
        assert_eq!(stated.depth.tools[0].deepest_mm_pm, Some(2.0));
    }
}
