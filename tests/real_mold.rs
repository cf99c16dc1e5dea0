//! A mold cut around a freely drawn model: smooth, but of coarse facets, with limbs that hook in both halves. See
//! `tests/data/README.md` for where it comes from.

#[allow(dead_code, reason = "shared with other tests")]
mod common;

use common::{Differences, balls, data, model, report};
use moldvet::report::{Half, HollowKind, Layout, RegionKind, Verdict};
use moldvet::units::Unit;

/// What is true of one half.
struct True {
    file: &'static str,
    axis: [f64; 3],
    /// What the cutting of the blocks took away, mm³: exact for the mesh.
    hollow: f64,
}

const LOWER: True = True {
    file: "spot-lower.stl",
    axis: [0.0, 0.0, 1.0],
    hollow: 15300.41,
};
const UPPER: True = True {
    file: "spot-upper.stl",
    axis: [0.0, 0.0, -1.0],
    hollow: 15300.50,
};
/// Area of all triangles that lie in no face of the block, mm²: summed over the file by a script of its own.
const SURFACE_MM2: f64 = 3482.343;
/// The body's half thickness: lowest corner of those triangles, mm.
const DEPTH_MM: f64 = 16.469511;
/// Area with a facet straight above it, mm²: counted by the same script over 120,000 random places, so ± 5.
const HIDDEN_MM2: f64 = 915.9;

fn compare(half: &Half, truth: &True, found: &mut Differences) {
    let say = |what: &str| format!("{}: {what}", truth.file);
    found.holds(half.file == truth.file, || say(&half.file));
    let dot: f64 = half
        .tool_axis
        .iter()
        .zip(truth.axis)
        .map(|(a, b)| a * b)
        .sum();
    found.close(&say("cosine of the axis' error"), dot, 1.0, 1e-9);
    found.close(&say("parting level"), half.parting_level_mm, 0.0, 1e-6);
    found.holds(half.mesh.closed && half.parting_flat, || {
        say("closed, flat")
    });

    let cavity = &half.cavity;
    let volume = truth.hollow;
    found.close(&say("volume"), cavity.volume_mm3, volume, 0.005 * volume);
    found.close(
        &say("surface"),
        cavity.surface_mm2,
        SURFACE_MM2,
        0.005 * SURFACE_MM2,
    );
    found.close(&say("depth"), cavity.depth_mm, DEPTH_MM, 1e-3);
    let kinds: Vec<HollowKind> = cavity.hollows.iter().map(|h| h.kind).collect();
    found.holds(kinds == [HollowKind::Cavity], || say(&format!("{kinds:?}")));

    let undercut = &half.undercut;
    let what = say("hidden surface");
    found.close(
        &what,
        undercut.hidden_area_mm2,
        HIDDEN_MM2,
        0.01 * HIDDEN_MM2,
    );
    // rays in cells of 0.15 mm found 13,669 mm³ open to the sky, to 1 %
    let hidden = volume - 13669.0;
    found.close(
        &say("hidden volume"),
        undercut.hidden_volume_mm3,
        hidden,
        0.01 * 13669.0,
    );
    let hooks = undercut
        .regions
        .iter()
        .any(|r| r.kind == RegionKind::Undercut);
    found.holds(undercut.verdict == Verdict::Fail && hooks, || {
        say(&format!("undercut {:?}", undercut.verdict))
    });
    found.holds(undercut.hook_mm.is_some_and(|h| h > 1.0), || {
        say(&format!("hook {:?}", undercut.hook_mm))
    });

    let draft = &half.draft;
    found.holds(draft.verdict == Verdict::Fail, || {
        say(&format!("draft {:?}", draft.verdict))
    });
    found.holds(draft.least_deg.is_some_and(|d| d < -45.0), || {
        say(&format!("least draft {:?}", draft.least_deg))
    });
    // the same script by facet normals, ± 1 %, and facets stand for what lies between them: bands to 2 % of the surface
    let bands = [484.1, 3.4, 74.9, 103.7, 643.4, 2172.7];
    for (band, area) in draft.bands.iter().zip(bands) {
        let what = say(&format!("area with draft below {}°", band.to_deg));
        found.close(&what, band.area_mm2, area, 0.02 * SURFACE_MM2);
    }
    found.holds(half.reach.verdict == Verdict::Fail, || {
        say(&format!("reach {:?}", half.reach.verdict))
    });
}

#[test]
fn both_halves_in_two_files() {
    let models = [LOWER, UPPER].map(|t| model(&data("spot").join(t.file), Unit::Mm));
    let report = report(&models, &balls(&[2.0, 3.0, 6.0]));
    let mut found = Differences::default();
    for (half, truth) in report.halves.iter().zip([LOWER, UPPER]) {
        compare(half, &truth, &mut found);
        // samples of the surface against a grid of ball places, 0.1 mm cells: good to about 0.15 mm
        for (cutter, left) in half.reach.cutters.iter().zip([0.86, 0.97, 4.5]) {
            let what = format!("{}: left by the {}", truth.file, cutter.name);
            let pm = cutter.left_height_mm_pm.unwrap_or(0.0);
            found.close(&what, cutter.left_height_mm, left, 0.15 + pm);
            found.holds(cutter.clears == Some(false), || format!("{what}: clears"));
        }
    }
    found.holds(report.halves.len() == 2, || "two halves".into());
    found.holds(report.verdict == Verdict::Fail, || {
        format!("{:?}", report.verdict)
    });
    let mating = report.mating.as_ref();
    found.holds(mating.is_some_and(|m| m.layout == Layout::Closed), || {
        format!("{mating:?}")
    });
    // nothing of the body is lost between the blocks
    let closed = mating.and_then(|m| m.closed_volume_mm3);
    found.close("closed volume", closed, 30600.90, 0.005 * 30600.90);
    found.close("gap", mating.and_then(|m| m.gap_mm), 0.0, 1e-3);
    found.close("overlap", mating.and_then(|m| m.overlap_mm), 0.0, 1e-3);
    found.none("the mold in two files");
}

#[test]
fn each_half_alone() {
    for truth in [LOWER, UPPER] {
        let models = [model(&data("spot").join(truth.file), Unit::Mm)];
        let report = report(&models, &balls(&[6.0]));
        let mut found = Differences::default();
        found.holds(report.halves.len() == 1 && report.mating.is_none(), || {
            "one half, nothing to mate".into()
        });
        compare(&report.halves[0], &truth, &mut found);
        found.none(truth.file);
    }
}
