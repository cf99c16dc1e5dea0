//! Planning as the program's users meet it: `moldvet plan`, and `moldvet check --plan`.

use moldvet::report::Report;
use moldvet::report::plan::{PLAN_FORMAT, Plan};
use std::fs;
use std::path::Path;
use std::process::{Command, Output, Stdio};

/// One half of the sample mold, drawn in inches.
fn half() -> String {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let path = root.join("sample-models/acorn-half-inch.stl");
    path.to_string_lossy().into_owned()
}

fn run(folder: &Path, line: &str) -> Output {
    let half = half();
    let words = line.split_whitespace();
    Command::new(env!("CARGO_BIN_EXE_moldvet"))
        .args(words.map(|w| if w == "HALF" { half.as_str() } else { w }))
        .current_dir(folder)
        .stdin(Stdio::null())
        .output()
        .unwrap()
}

/// Standard output of a run that ends with status 0.
fn told(folder: &Path, line: &str) -> String {
    let output = run(folder, line);
    let complaint = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(0), "{line}: {complaint}");
    String::from_utf8(output.stdout).unwrap()
}

const RACK: &str = "--units inch --ball 1/4in --ball 1/8in --stickout 1in";

#[test]
fn a_plan_is_printed_in_inches_within_80_columns() {
    let folder = tempfile::tempdir().unwrap();
    let text = told(folder.path(), &format!("plan {RACK} --json plan.json HALF"));
    for line in text.lines() {
        assert!(line.chars().count() <= 80, "{line}");
    }
    let flat = text
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ")
        .replace('\u{a0}', " ");
    for words in [
        "An estimate before any toolpath is made",
        "best set about",
        "in/min",
        "ft/min",
        "µin",
        "passes",
        "edge of the outline",
        "stickout The 1/8in ball",
        "spindle at most 10000 1/min",
        "feed at most 98.4 in/min",
        "side load 10 N",
        "bending at most 0.0008 in",
        "common practice, no source",
    ] {
        assert!(flat.contains(words), "{words}: {text}");
    }
    assert!(!flat.contains(" mm"), "{text}");
    // the same figures, in mm, in the file; nothing in it that the format does not have
    let plan: Plan =
        serde_json::from_slice(&fs::read(folder.path().join("plan.json")).unwrap()).unwrap();
    assert_eq!(plan.format, PLAN_FORMAT);
    let [half] = &plan.halves[..] else {
        panic!("{}", plan.halves.len())
    };
    assert!(half.sets_exact && half.sets[0].tools.len() <= 2);
    assert_eq!(half.balls.len(), 2);
    // 1/4 and 1/8 in, out 1 in
    assert_eq!(half.balls[0].diameter_mm, 6.35);
    assert!((half.balls[1].tools[0].slenderness - 8.0).abs() < 1e-9);
    assert_eq!(half.balls[1].tools[0].stickout_mm, 25.4);
}

#[test]
fn a_plan_goes_to_standard_output_alone_and_keeps_quiet() {
    let folder = tempfile::tempdir().unwrap();
    let line = format!(
        "plan {RACK} --cusp 0.0002in --direction 30 --step 0.01in --material brass --json - HALF"
    );
    let plan: Plan = serde_json::from_str(&told(folder.path(), &line)).unwrap();
    assert_eq!(plan.inputs["material"], "brass");
    assert_eq!(plan.inputs["cusp_mm"], 0.0002 * 25.4);
    assert!(!plan.cautions.is_empty());
    for cusps in &plan.halves[0].directions.as_ref().unwrap().cusps {
        assert_eq!(cusps.direction_deg, 30.0);
        assert!((cusps.step_mm - 0.254).abs() < 1e-12);
        assert!(cusps.share > 0.0 && cusps.share <= 1.0);
        // what needs passes at right angles is told of these only
        assert_eq!(cusps.crossing_at_mm.is_some(), cusps.crossing_mm2 > 0.0);
    }
    let quiet = told(folder.path(), &format!("plan {RACK} --quiet HALF"));
    assert_eq!(quiet, "");
}

#[test]
fn a_check_with_a_plan_holds_both_and_they_agree() {
    let folder = tempfile::tempdir().unwrap();
    let output = run(
        folder.path(),
        &format!("check {RACK} --plan --json both.json HALF"),
    );
    let text = String::from_utf8(output.stdout).unwrap();
    for line in text.lines() {
        assert!(line.chars().count() <= 80, "{line}");
    }
    let report: Report =
        serde_json::from_slice(&fs::read(folder.path().join("both.json")).unwrap()).unwrap();
    let failed = report.verdict == moldvet::report::Verdict::Fail;
    assert_eq!(output.status.code(), Some(i32::from(failed)));
    assert!(text.contains("An estimate before any toolpath"));
    let plan = report.plan.as_ref().unwrap();
    let alone: Plan =
        serde_json::from_str(&told(folder.path(), &format!("plan {RACK} --json - HALF"))).unwrap();
    assert_eq!(plan, &alone);
    let (half, planned) = (&report.halves[0], &plan.halves[0]);
    let visible = half.cavity.surface_mm2.unwrap() - half.undercut.hidden_area_mm2.unwrap();
    for (cutter, ball) in half.reach.cutters.iter().zip(&planned.balls) {
        assert_eq!(cutter.name, ball.name);
        // the plan looks at fewer places: a hundredth of the surface either way
        let reached = visible - cutter.left_area_mm2.unwrap();
        assert!(
            (ball.reached_mm2 - reached).abs() < 0.01 * visible,
            "{}: {reached}",
            ball.name
        );
        let (own, other) = (
            cutter.stickout_needed_mm.unwrap(),
            ball.stickout_needed_mm.unwrap(),
        );
        assert!((own - other).abs() < 0.15, "{}: {own} {other}", ball.name);
    }
    // a check without one has none
    let output = run(folder.path(), &format!("check {RACK} --json - HALF"));
    let report: Report = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(report.plan, None);
}

#[test]
fn wrong_use_is_refused_in_one_sentence() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("no.stl"), "no mesh").unwrap();
    for (line, words) in [
        ("plan", "see `moldvet plan --help`"),
        ("plan HALF", "add `--units mm` or `--units inch`"),
        (
            "plan --units inch --draft 2 HALF",
            "see `moldvet plan --help`",
        ),
        (
            "plan --units inch --cusp 0 HALF",
            "--cusp must be more than 0",
        ),
        ("plan --units inch --step -1 HALF", "--step: "),
        ("plan --units inch --direction up HALF", "--direction: "),
        ("plan --units inch --material cheese HALF", "cheese"),
        (
            "plan --units inch --meet 1,2=3,4 HALF",
            "--meet: `1,2=3,4` is not a place",
        ),
        (
            "plan --units inch --meet 1,2,3=1,2,3 HALF",
            "there is one half only",
        ),
        ("plan --units inch --shop none.toml HALF", "none.toml"),
        ("plan --units inch none.stl", "none.stl"),
        ("plan --units mm no.stl", "no.stl"),
        ("plan --units inch --json none/plan.json HALF", "--json: "),
        (
            "plan --units inch HALF HALF HALF",
            "see `moldvet plan --help`",
        ),
    ] {
        let output = run(folder.path(), line);
        let told = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{line}: {told}");
        assert!(output.stdout.is_empty(), "{line}");
        assert!(
            told.contains(words) && told.trim_end().lines().count() == 1,
            "{line}: {told}"
        );
    }
}
