//! What holds of every report, whatever the mesh.

use moldvet::report::{CutterReach, Half, Report, ToolDepth, Verdict, json};

/// Asserts it all.
pub fn assert_all(report: &Report) {
    finite(report);
    for half in &report.halves {
        bands_add_up(half);
        smaller_balls_leave_no_more(&half.reach.cutters);
        longer_stickouts_reach_no_less(&half.depth.tools);
        if !half.mesh.closed {
            let told = report
                .findings
                .iter()
                .any(|f| f.check == "mesh" && f.verdict != Verdict::Pass);
            assert!(told, "an open mesh without a finding");
            assert!(report.verdict != Verdict::Pass, "an open mesh passes");
        }
        if half.mesh.undecided_at_mm.is_some() {
            let verdicts = [
                half.undercut.verdict,
                half.draft.verdict,
                half.reach.verdict,
                half.depth.verdict,
            ];
            assert!(
                verdicts.iter().all(|&v| v >= Verdict::Unsure),
                "a question passes on what the mesh does not tell: {verdicts:?}"
            );
        }
    }
}

/// Figures are finite or null: a report that is no number somewhere does not read back as it was, which writing it
/// asserts where assertions are on.
fn finite(report: &Report) {
    json::to_json(report).expect("a report can be written");
}

/// The areas of the draft bands are the surface.
fn bands_add_up(half: &Half) {
    if let Some(surface) = half.cavity.surface_mm2 {
        let bands: f64 = half.draft.bands.iter().map(|b| b.area_mm2).sum();
        let off = (bands - surface).abs();
        assert!(
            off <= 1e-9 * surface.abs() + 1e-9,
            "bands {bands}, surface {surface}"
        );
    }
}

/// Two figures, each with its ±; the first is not more than the second.
fn not_more(what: &str, a: (Option<f64>, Option<f64>), b: (Option<f64>, Option<f64>)) {
    if let ((Some(a), a_pm), (Some(b), b_pm)) = (a, b) {
        let pm = a_pm.unwrap_or(0.0) + b_pm.unwrap_or(0.0);
        assert!(
            a <= b + pm + 1e-9,
            "{what}: {a} is more than {b} by more than ±{pm}"
        );
    }
}

/// A ball of less radius covers all that a larger one does.
fn smaller_balls_leave_no_more(cutters: &[CutterReach]) {
    for a in cutters {
        for b in cutters.iter().filter(|b| b.diameter_mm > a.diameter_mm) {
            let what = |figure| format!("{figure} left by {} and {}", a.name, b.name);
            not_more(
                &what("height"),
                (a.left_height_mm, a.left_height_mm_pm),
                (b.left_height_mm, b.left_height_mm_pm),
            );
            not_more(
                &what("area"),
                (a.left_area_mm2, a.left_area_mm2_pm),
                (b.left_area_mm2, b.left_area_mm2_pm),
            );
            not_more(
                &what("volume"),
                (a.left_volume_mm3, a.left_volume_mm3_pm),
                (b.left_volume_mm3, b.left_volume_mm3_pm),
            );
        }
    }
}

/// The same cutter further out goes wherever it went before.
fn longer_stickouts_reach_no_less(tools: &[ToolDepth]) {
    for short in tools {
        let longer = |t: &&ToolDepth| t.cutter == short.cutter && t.stickout_mm > short.stickout_mm;
        for long in tools.iter().filter(longer) {
            let what = |figure| format!("{figure} of {} and {}", short.name, long.name);
            not_more(
                &what("depth"),
                (short.deepest_mm, short.deepest_mm_pm),
                (long.deepest_mm, long.deepest_mm_pm),
            );
            not_more(
                &what("share"),
                (short.reached_share, short.reached_share_pm),
                (long.reached_share, long.reached_share_pm),
            );
        }
    }
}
