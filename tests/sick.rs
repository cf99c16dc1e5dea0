//! What a mesh that is open or runs through itself lets pass: nothing that it does not tell.
//!
//! The half is a block 30 × 24 × 12, parting level 0, with a pocket 16 × 12 × 5; no question fails on it with the limits here.

#[allow(dead_code, reason = "shared with other tests")]
mod common;

use common::{Facet, balls, data, facets_of, model_of, report, ring, tower};
use moldvet::plan::{PlanConfig, plan};
use moldvet::report::{Finding, RegionKind, Report, Verdict};
use moldvet::units::Unit;

fn sound() -> Vec<Facet> {
    facets_of(&std::fs::read(data("small_half.stl")).unwrap())
}

fn vetted(facets: &[Facet]) -> Report {
    let mut config = balls(&[1.5]);
    // the pocket's walls are upright
    config.shop.limits.wall = 10.0;
    report(&[model_of(facets, Unit::Mm)], &config)
}

fn verdicts(report: &Report) -> [Verdict; 4] {
    let half = &report.halves[0];
    [
        half.undercut.verdict,
        half.draft.verdict,
        half.reach.verdict,
        half.depth.verdict,
    ]
}

fn of_the_mesh(report: &Report) -> &Finding {
    let all: Vec<&Finding> = (report.findings.iter())
        .filter(|f| f.check == "mesh")
        .collect();
    assert_eq!(all.len(), 1, "{all:?}");
    all[0]
}

/// The first facet whose corners all satisfy `holds`.
fn first(facets: &[Facet], holds: impl Fn(&[f32; 3]) -> bool) -> usize {
    facets.iter().position(|f| f.iter().all(&holds)).unwrap()
}

/// Distance from `at` to the nearest corner of `facet`, mm.
fn away(at: [f64; 3], facet: &Facet) -> f64 {
    let to = |c: &[f32; 3]| {
        (0..3)
            .map(|k| (at[k] - f64::from(c[k])).powi(2))
            .sum::<f64>()
    };
    facet.iter().map(to).fold(f64::INFINITY, f64::min).sqrt()
}

/// Moves the corner nearest to `from` in all facets that have it.
fn pull(facets: &mut [Facet], from: [f32; 3], by: [f32; 3]) {
    let far = |c: &[f32; 3]| (0..3).map(|k| (c[k] - from[k]).powi(2)).sum::<f32>();
    let corners = facets.as_flattened_mut();
    let nearest = *corners
        .iter()
        .min_by(|a, b| far(a).total_cmp(&far(b)))
        .unwrap();
    for c in corners.iter_mut().filter(|c| **c == nearest) {
        *c = [0, 1, 2].map(|k| c[k] + by[k]);
    }
}

#[test]
fn the_sound_half_fails_nothing_and_does_not_run_through_itself() {
    let report = vetted(&sound());
    let mesh = report.halves[0].mesh;
    assert!(verdicts(&report).iter().all(|&v| v <= Verdict::Watch));
    assert_eq!((mesh.crossed_columns, mesh.undecided_at_mm), (0, None));
}

#[test]
fn nothing_passes_on_a_cavity_with_a_hole() {
    let sound = sound();
    let floor = first(&sound, |c| c[2] < -4.9 && c[2] > -5.1);
    let rim = first(&sound, |c| c[2] == 0.0);
    for gone in [floor, rim] {
        let mut facets = sound.clone();
        let gone = facets.remove(gone);
        let report = vetted(&facets);
        let verdicts = verdicts(&report);
        assert!(
            verdicts.iter().all(|&v| v >= Verdict::Unsure),
            "{verdicts:?}"
        );
        let finding = of_the_mesh(&report);
        assert_eq!(finding.verdict, Verdict::Unsure);
        assert_eq!(finding.value, Some(3.0));
        let longest = 30.0;
        assert!(away(finding.at_mm.unwrap(), &gone) < longest / 2.0);
    }
}

#[test]
fn a_hole_in_the_underside_is_told_and_changes_no_verdict() {
    let mut facets = sound();
    let under = first(&facets, |c| c[2] < -11.9);
    facets.remove(under);
    let report = vetted(&facets);
    assert_eq!(verdicts(&report), verdicts(&vetted(&sound())));
    let finding = of_the_mesh(&report);
    assert_eq!(finding.verdict, Verdict::Watch);
    assert_eq!(report.halves[0].mesh.undecided_at_mm, None);
    assert_eq!(report.verdict, Verdict::Watch);
}

#[test]
fn a_spike_through_a_wall_is_told_with_its_place() {
    let mut facets = sound();
    // from the wall at x = -8 through the one at 8, into the block, which ends at 15
    pull(&mut facets, [-8.0, 0.0, -2.0], [20.0, 0.0, 0.0]);
    let report = vetted(&facets);
    let mesh = report.halves[0].mesh;
    assert!(mesh.closed && mesh.crossed_columns > 0);
    let [x, ..] = mesh.crossed_at_mm.unwrap();
    assert!((8.0..12.0).contains(&x), "{x}");
    let told = |f: &&Finding| f.message.contains("runs through itself");
    let finding = report.findings.iter().find(told).unwrap();
    assert_eq!(finding.value, Some(mesh.crossed_columns as f64));
    assert_eq!(finding.verdict, Verdict::Watch);
    // the spike bridges the pocket: what lies under it cannot be milled
    assert_eq!(report.halves[0].undercut.verdict, Verdict::Fail);
}

#[test]
fn nothing_passes_where_the_floor_comes_out_below_the_block() {
    let mut facets = sound();
    pull(&mut facets, [0.0, 0.0, -5.0], [0.0, 0.0, -9.0]);
    let report = vetted(&facets);
    let verdicts = verdicts(&report);
    assert!(
        verdicts.iter().all(|&v| v >= Verdict::Unsure),
        "{verdicts:?}"
    );
    let told = |f: &&Finding| f.message.contains("inside out in a hollow");
    let finding = report.findings.iter().find(told).unwrap();
    assert_eq!(finding.verdict, Verdict::Unsure);
    assert!(finding.at_mm.unwrap()[2] < -12.0, "{finding:?}");
}

#[test]
fn a_pressed_in_pin_is_no_defect() {
    let mut facets = sound();
    let pin = [-4.0, 3.0].map(|z| ring(1.0, 1.0, z).map(|[x, y, z]| [x - 12.0, y, z]));
    facets.extend(tower(&pin));
    let report = vetted(&facets);
    assert_eq!(report.halves.len(), 1);
    assert_eq!(report.halves[0].mesh.crossed_columns, 0);
    assert!(report.findings.iter().all(|f| f.check != "mesh"));
}

#[test]
fn a_sheet_that_is_left_out_is_told() {
    let mut facets = sound();
    let sheet = [[0.0, -3.0, -4.0], [0.0, 3.0, -4.0], [0.0, 0.0, -1.0]];
    facets.extend([sheet, [sheet[0], sheet[2], sheet[1]]]);
    let report = vetted(&facets);
    assert_eq!(verdicts(&report), verdicts(&vetted(&sound())));
    let finding = of_the_mesh(&report);
    assert_eq!(
        (finding.verdict, finding.value),
        (Verdict::Watch, Some(2.0))
    );
    assert!(finding.message.contains("enclose no volume"));
}

#[test]
fn a_plan_of_a_cavity_with_a_hole_says_so_with_its_place() {
    let sound = sound();
    let mut facets = sound.clone();
    let gone = facets.remove(first(&sound, |c| c[2] < -4.9 && c[2] > -5.1));
    let planned = |facets: &[Facet]| {
        let config = PlanConfig {
            check: balls(&[1.5]),
            direction_deg: None,
            step: None,
        };
        plan(&[model_of(facets, Unit::Mm)], &config, &|_| {}).unwrap()
    };
    let of_the_mesh = |plan: &moldvet::report::plan::Plan| {
        let found = plan.findings.iter().filter(|f| f.check == "mesh");
        found.cloned().collect::<Vec<Finding>>()
    };
    assert_eq!(of_the_mesh(&planned(&sound)), []);
    let found = of_the_mesh(&planned(&facets));
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!(found[0].verdict, Verdict::Unsure);
    assert!(away(found[0].at_mm.unwrap(), &gone) < 15.0);
}

#[test]
fn a_void_in_the_material_is_told_with_its_volume() {
    // a box of 8 x 6 x 3 under the pocket, its facets turned inwards
    let mut facets = sound();
    let void = tower(&[ring(4.0, 3.0, -10.0), ring(4.0, 3.0, -7.0)]);
    facets.extend(void.into_iter().map(|[a, b, c]| [a, c, b]));
    let report = vetted(&facets);
    let sealed: Vec<_> = (report.halves[0].undercut.regions.iter())
        .filter(|r| r.kind == RegionKind::Sealed)
        .collect();
    assert_eq!(sealed.len(), 1, "{sealed:?}");
    // a column wide of each side
    let volume = sealed[0].volume_mm3;
    assert!((volume / 144.0 - 1.0).abs() < 0.05, "{volume}");
    let at = sealed[0].at_mm;
    assert!(
        at[0].abs() < 4.0 && at[1].abs() < 3.0 && (-10.0..=-7.0).contains(&at[2]),
        "{at:?}"
    );
}
