//! Comparisons of invented reports.

use super::*;
use crate::report::terminal::Style;
use crate::report::{Body, Pull, samples};
use crate::units::Unit;

fn style() -> Style {
    Style {
        colour: false,
        width: 80,
        unit: Unit::Mm,
    }
}

#[test]
fn a_report_compared_with_itself_differs_in_nothing() {
    for report in samples::all() {
        let same = Comparison::of(&report, &report);
        assert!(same.turns.is_empty() && same.changes.is_empty() && same.settings.is_empty());
        assert!(!same.worse());
        assert!(render(&same, style()).contains("Nothing differs"));
    }
}

#[test]
fn a_question_that_is_new_is_worse_only_if_it_does_not_pass() {
    let with = |verdict: Verdict| {
        let mut report = samples::pair();
        report.mating.as_mut().unwrap().verdict = verdict;
        report
    };
    let mut old = with(Verdict::Pass);
    old.mating = None;
    assert!(!Comparison::of(&old, &with(Verdict::Pass)).worse());
    assert!(Comparison::of(&old, &with(Verdict::Unsure)).worse());
}

#[test]
fn better_one_way_is_worse_the_other() {
    let old = samples::pair();
    let mut new = old.clone();
    let hook = old.halves[0].undercut.hook_mm.unwrap_or(0.0);
    new.halves[0].undercut.hook_mm = Some(hook + 3.0);
    new.halves[0].undercut.hook_mm_pm = Some(0.001);
    new.halves[0].draft.verdict = Verdict::Fail;
    let mut before = old.clone();
    before.halves[0].draft.verdict = Verdict::Pass;
    let there = Comparison::of(&before, &new);
    let back = Comparison::of(&new, &before);
    assert!(there.worse() && !back.worse());
    let trend = |c: &Comparison| c.changes.iter().find(|c| c.what == "hook").map(|c| c.trend);
    assert_eq!(trend(&there), Some(Trend::Worse));
    assert_eq!(trend(&back), Some(Trend::Better));
}

#[test]
fn a_part_whose_hook_went_is_better() {
    let pull = |hook: f64, z: f64| Pull {
        direction: [(1.0 - z * z).sqrt(), 0.0, z],
        hidden_area_mm2: 10.0 * hook,
        hidden_area_mm2_pm: 0.1,
        hook_mm: hook,
        hook_mm_pm: 0.01,
        hook_at_mm: None,
        short_area_mm2: 0.0,
        short_area_mm2_pm: 0.0,
        bands: Vec::new(),
        parting_length_mm: 100.0,
        parting_flatness_mm: 0.0,
        flat_level_mm: 0.0,
        flat_lost_area_mm2: 0.0,
        parting_line: Vec::new(),
    };
    let body = |hook: f64, z: f64| Body {
        file: "part.stl".into(),
        size_mm: [10.0; 3],
        fill_volume_mm3: 1000.0,
        surface_mm2: 600.0,
        scale: 1.0,
        margin_mm: 10.0,
        pull_given: false,
        pulls: vec![pull(hook, z)],
        parting_level_mm: 0.0,
        lost_area_mm2: 0.0,
        blocks: Vec::new(),
    };
    let mut old = samples::pair();
    let mut new = old.clone();
    old.body = Some(body(2.0, 1.0));
    // turned by 60°
    new.body = Some(body(0.0, 0.5));
    let there = Comparison::of(&old, &new);
    let of = |c: &Comparison, what: &str| {
        let change = c.changes.iter().find(|c| c.what == what);
        change.map(|c| (c.trend, c.figures[1].0.unwrap_or(f64::NAN)))
    };
    assert_eq!(of(&there, "hook of the part"), Some((Trend::Better, 0.0)));
    let (trend, turned) = of(&there, "pull turned by").unwrap();
    assert!(trend == Trend::Changed && (turned - 60.0).abs() < 1e-9);
    let back = Comparison::of(&new, &old);
    assert_eq!(of(&back, "hook of the part"), Some((Trend::Worse, 2.0)));
    let text = render(&there, style());
    assert!(text.contains("hook of the part"), "{text}");
}

#[test]
fn a_change_within_its_uncertainty_is_none() {
    let old = samples::pair();
    let mut new = old.clone();
    let depth = old.halves[0].cavity.depth_mm.unwrap();
    new.halves[0].cavity.depth_mm = Some(depth + 0.01);
    new.halves[0].cavity.depth_mm_pm = Some(0.02);
    assert!(Comparison::of(&old, &new).changes.is_empty());
}

#[test]
fn lines_keep_the_width() {
    let old = samples::pair();
    let mut new = old.clone();
    for f in &mut new.findings {
        f.at_mm = f.at_mm.map(|p| [p[0] + 12.345, p[1], p[2]]);
    }
    new.settings
        .insert("leave_mm".into(), serde_json::json!(0.5));
    let text = render(&Comparison::of(&old, &new), style());
    assert!(text.contains("Moved") && text.contains("Judged by other settings"));
    for line in text.lines() {
        assert!(line.chars().count() <= 80, "{line}");
    }
}
