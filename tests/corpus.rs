//! Mold halves made from exact solids, whose figures are known in closed form, against the report.
//!
//! `MOLDVET_CORPUS=folder cargo test --test corpus -- --ignored` does the same for every case of another folder with
//! a `truth.json` of the form of `tests/data/corpus/truth.json`.

#[allow(dead_code, reason = "shared with other tests")]
mod common;
#[allow(dead_code, reason = "the worked values use more of it")]
#[path = "worked_values/shapes.rs"]
mod shapes;

use common::{Differences, balls, data, model, report};
use moldvet::field::{Dropper, Profile};
use moldvet::mesh::{Model, Point};
use moldvet::report::{Half, RegionKind, Report};
use moldvet::setup::{self, SetupConfig};
use moldvet::shop::{Cutter, Holder, Limits, Section};
use moldvet::units::Unit;
use moldvet::vet::{guarded, tip_depth_at};
use serde_json::{Value, json};
use std::f64::consts::PI;
use std::path::Path;

/// Files whose least draft is that of a round rim or a round ceiling: there it lies within its own ±, not within 0.1°.
const ROUND_THERE: [&str; 4] = [
    "S01_hemisphere.stl",
    "S02_ball_pair_closed.stl",
    "S06_side_hole.stl",
    "S07_dowels_B.stl",
];
/// Tolerances: a third of 1 % of volume, 2 % of areas, 3 % of radii and heights left, 0.3° of draft, 0.05 mm of tip depth.
const THIRD: f64 = 1.0 / 3.0;
/// Ends of the draft bands between the first and the last, degrees.
const BAND_ENDS: [f64; 5] = [-0.05, 0.05, 1.0, 3.0, 15.0];

#[test]
fn a_pocket_with_3_degrees_of_draft_upside_down() {
    own_case("S04_taper_3deg");
}

#[test]
fn a_t_slot() {
    own_case("S05_tslot");
}

#[test]
fn a_pocket_with_a_hole_in_its_side() {
    own_case("S06_side_hole");
}

#[test]
fn a_pocket_with_a_rib_along_x() {
    own_case("S09_rib_px");
}

#[test]
fn a_deep_well_in_a_round_blank() {
    own_case("S10_well_round_blank");
}

#[test]
fn a_pair_in_two_files_with_a_gap() {
    own_case("S11_gap_pair");
}

#[test]
fn a_cone_in_inches() {
    own_case("S12_cone_inch");
}

#[test]
fn a_hemisphere() {
    let radius = 10.0_f64;
    let half = made(
        shapes::pit(&shapes::arc([0.0, 0.0], radius, -90.0, 0.0, 48)),
        &[12.0, 24.0],
    );
    let mut found = Differences::default();
    // a ball of radius R that lies on the rim: its tip R − √(R² − ρ²) deep
    let (ball, up) = (12.0_f64, (144.0 - radius * radius).sqrt());
    let deep = ball - up;
    let volume = 2.0 / 3.0 * PI * radius.powi(3);
    let cap = PI * deep * deep * (ball - deep / 3.0);
    let truth = json!({
        "cavity_volume": { "value": volume },
        "cavity_area": { "value": 2.0 * PI * radius * radius },
        "max_depth": { "value": radius },
        "min_concave_radius": { "value": radius },
        "balls": [
            { "diameter": 12.0, "reaches_all": true, "leftover_normal": 0.0, "leftover_volume": 0.0 },
            { "diameter": 24.0, "reaches_all": false, "leftover_normal": radius - deep, "leftover_volume": volume - cap },
        ],
    });
    compare_sizes("hemisphere", &half, &truth, &mut found);
    found.none("hemisphere");
}

#[test]
fn a_round_pocket_with_a_floor_fillet() {
    let (radius, depth, fillet) = (20.0, 12.0, 2.0);
    let mut profile = vec![[0.0, -depth]];
    let centre = [radius - fillet, fillet - depth];
    profile.extend(shapes::arc(centre, fillet, -90.0, 0.0, 32));
    profile.push([radius, 0.0]);
    let half = made(shapes::pit_of(&profile, 384), &[3.0, 6.0]);
    let mut found = Differences::default();
    // Pappus: a square corner less a quarter of a circle has the area f² (1 − π/4), and its centroid lies f (10 − 3π) / (12 − 3π) from
    // either side of the corner; a quarter of a circle's arc lies 2f/π out from its centre
    let corner = |f: f64| {
        let out = radius - f * (10.0 - 3.0 * PI) / (12.0 - 3.0 * PI);
        2.0 * PI * out * f * f * (1.0 - 0.25 * PI)
    };
    let inner = radius - fillet;
    let rounded = 2.0 * PI * (inner + 2.0 * fillet / PI) * 0.5 * PI * fillet;
    let walls = 2.0 * PI * radius * (depth - fillet);
    let ball = 3.0;
    let truth = json!({
        "cavity_volume": { "value": PI * radius * radius * depth - corner(fillet) },
        "cavity_area": { "value": PI * inner * inner + rounded + walls },
        "max_depth": { "value": depth },
        "min_concave_radius": { "value": fillet },
        "balls": [
            { "diameter": 3.0, "reaches_all": true, "leftover_normal": 0.0, "leftover_volume": 0.0 },
            { "diameter": 6.0, "reaches_all": false, "leftover_normal": (ball - fillet) * (2.0_f64.sqrt() - 1.0),
              "leftover_volume": corner(ball) - corner(fillet) },
        ],
    });
    compare_sizes("fillet", &half, &truth, &mut found);
    found.none("fillet");
}

/// The report's half on a mesh made for it, with balls of these diameters.
fn made(mesh: moldvet::mesh::Mesh, diameters: &[f64]) -> Half {
    let mut report = report(&[shapes::model(mesh)], &balls(diameters));
    assert_eq!(report.halves.len(), 1);
    report.halves.remove(0)
}

#[test]
#[ignore = "needs a folder in MOLDVET_CORPUS"]
fn every_case_of_another_folder() {
    let folder = std::env::var("MOLDVET_CORPUS").expect("MOLDVET_CORPUS names the folder");
    let folder = Path::new(&folder);
    let mut found = Differences::default();
    let cases = cases(folder);
    assert!(!cases.is_empty());
    for case in &cases {
        compare(folder, case, &mut found);
    }
    found.none("figures that differ");
}

fn own_case(id: &str) {
    let folder = data("corpus");
    let cases = cases(&folder);
    let case = cases.iter().find(|c| c["id"] == id).unwrap();
    let mut found = Differences::default();
    compare(&folder, case, &mut found);
    found.none(id);
}

fn cases(folder: &Path) -> Vec<Value> {
    let text = std::fs::read_to_string(folder.join("truth.json")).unwrap();
    let truth: Value = serde_json::from_str(&text).unwrap();
    truth["cases"].as_array().unwrap().clone()
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value}"))
}

fn vector<const N: usize>(value: &Value) -> [f64; N] {
    std::array::from_fn(|k| number(&value[k]))
}

fn list(value: &Value) -> &[Value] {
    value.as_array().map_or(&[], Vec::as_slice)
}

fn compare(folder: &Path, case: &Value, found: &mut Differences) {
    let unit = if case["file_unit"] == "inch" {
        Unit::Inch
    } else {
        Unit::Mm
    };
    let models: Vec<Model> = list(&case["files"])
        .iter()
        .map(|f| model(&folder.join(f["name"].as_str().unwrap()), unit))
        .collect();
    let mut diameters: Vec<f64> = list(&case["halves"])
        .iter()
        .flat_map(|h| list(&h["truth"]["balls"]))
        .map(|b| number(&b["diameter"]))
        .collect();
    diameters.sort_by(f64::total_cmp);
    diameters.dedup();
    let config = balls(&diameters);
    let report = report(&models, &config);
    let setup = setup::prepare(
        &models,
        &SetupConfig {
            axis: None,
            contact: config.shop.limits.contact,
            meets: Vec::new(),
        },
    )
    .unwrap();
    let name = case["id"].as_str().unwrap();
    found.holds(report.halves.len() == list(&case["halves"]).len(), || {
        format!("{name}: {} halves", report.halves.len())
    });
    for truth in list(&case["halves"]) {
        let name = format!("{name} {}", truth["name"].as_str().unwrap());
        let Some(k) = half_of(&report, truth) else {
            let seen: Vec<_> = report
                .halves
                .iter()
                .map(|h| (&h.file, h.tool_axis, h.parting_level_mm))
                .collect();
            found.holds(false, || {
                format!("{name}: no half with that axis and level, but {seen:?}")
            });
            continue;
        };
        compare_figures(&name, &report.halves[k], truth, found);
        compare_tools(&name, &setup.halves[k], truth, found);
    }
    if let Some(truth) = case.get("mating") {
        let mating = report.mating.as_ref();
        let volume = number(&truth["closed_cavity_volume"]["value"]);
        found.close(
            &format!("{name}: closed volume"),
            mating.and_then(|m| m.closed_volume_mm3),
            volume,
            THIRD * 0.01 * volume,
        );
        found.close(
            &format!("{name}: gap"),
            mating.and_then(|m| m.gap_mm),
            number(&truth["gap_mm"]),
            THIRD * 0.01,
        );
    }
}

/// The half from that file with that tool axis, to 0.01°, and that parting level, to 1 µm.
fn half_of(report: &Report, truth: &Value) -> Option<usize> {
    let axis: [f64; 3] = vector(&truth["tool_axis"]);
    let at: [f64; 3] = vector(&truth["parting_point_file_mm"]);
    let dot = |a: &[f64; 3], b: &[f64; 3]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    // halves in one file with the same axis are told apart by a place of the cavity
    let to_file: [[f64; 4]; 4] = std::array::from_fn(|r| vector(&truth["local_to_file"][r]));
    let origin = [0, 1, 2].map(|r| to_file[r][3]);
    let away = |h: &Half| {
        let at = h.cavity.hollows.first().map_or(origin, |c| c.at_mm);
        (0..3).map(|k| (at[k] - origin[k]).powi(2)).sum::<f64>()
    };
    (0..report.halves.len())
        .filter(|&k| {
            let h = &report.halves[k];
            truth["file"] == h.file.as_str()
                && dot(&h.tool_axis, &axis) > 0.01_f64.to_radians().cos()
                && (h.parting_level_mm - dot(&axis, &at)).abs() < 1e-3
        })
        .min_by(|&a, &b| away(&report.halves[a]).total_cmp(&away(&report.halves[b])))
}

/// The figure lies within `tolerance` and within its own ±.
fn near(
    found: &mut Differences,
    what: &str,
    [value, pm]: [Option<f64>; 2],
    truth: f64,
    tolerance: f64,
) {
    found.close(what, value, truth, THIRD * tolerance);
    let own = pm.map_or(0.0, |pm| pm + 1e-9);
    found.close(&format!("{what} by its ±"), value, truth, own);
}

fn compare_figures(name: &str, half: &Half, truth: &Value, found: &mut Differences) {
    let t = &truth["truth"];
    compare_sizes(name, half, t, found);
    let value = |key: &str| number(&t[key]["value"]);
    let say = |what: &str| format!("{name}: {what}");
    let surface = value("cavity_area");
    let (least, draft) = (value("min_draft"), &half.draft);
    let pm = draft.least_deg_pm.unwrap_or(0.0) + 1e-6;
    found.close(&say("least draft by its ±"), draft.least_deg, least, pm);
    if !ROUND_THERE.contains(&half.file.as_str()) {
        found.close(&say("least draft"), draft.least_deg, least, THIRD * 0.3);
    }
    let classes = ["negative", "0", "(0,1)", "[1,3)", "[3,15)", "[15,90]"];
    let mut areas: Vec<[f64; 2]> = draft
        .bands
        .iter()
        .zip(classes)
        .map(|(band, class)| [band.area_mm2, number(&t["class_areas"]["value"][class])])
        .collect();
    // a wall that has just the draft at which two bands meet may count in either
    if let Some(k) = BAND_ENDS.iter().position(|&e| e == least) {
        let [below, above] = [areas[k], areas[k + 1]];
        areas[k] = [0.0; 2];
        areas[k + 1] = [below[0] + above[0], below[1] + above[1]];
    }
    for ([area, truth], class) in areas.into_iter().zip(classes) {
        let what = say(&format!("area with draft {class}"));
        found.close(&what, area, truth, THIRD * 0.02 * surface);
    }

    let (hidden, area) = (value("hidden_volume"), value("undercut_area"));
    let undercut = &half.undercut;
    let own = [undercut.hidden_volume_mm3, undercut.hidden_volume_mm3_pm];
    near(found, &say("hidden volume"), own, hidden, 0.03 * hidden);
    let own = [undercut.hidden_area_mm2, undercut.hidden_area_mm2_pm];
    near(found, &say("hidden area"), own, area, 0.04 * area);
    let regions = undercut
        .regions
        .iter()
        .filter(|r| r.kind == RegionKind::Undercut);
    let count = regions.count();
    found.holds((count > 0) == (area > 0.0), || {
        say(&format!("{count} undercut regions"))
    });
}

/// Volume, surface, depth, smallest radius and what balls leave.
fn compare_sizes(name: &str, half: &Half, t: &Value, found: &mut Differences) {
    let value = |key: &str| number(&t[key]["value"]);
    let say = |what: &str| format!("{name}: {what}");
    let (volume, surface) = (value("cavity_volume"), value("cavity_area"));
    let cavity = &half.cavity;
    let own = [cavity.volume_mm3, cavity.volume_mm3_pm];
    near(found, &say("volume"), own, volume, 0.01 * volume);
    let own = [cavity.surface_mm2, cavity.surface_mm2_pm];
    near(found, &say("surface"), own, surface, 0.02 * surface);
    let own = [cavity.depth_mm, cavity.depth_mm_pm];
    near(found, &say("depth"), own, value("max_depth"), 0.03);

    let radius = value("min_concave_radius");
    let tolerance = if radius > 0.0 {
        (0.03 * radius).max(0.03)
    } else {
        0.0
    };
    let what = say("smallest concave radius");
    let reach = &half.reach;
    let own = [
        reach.smallest_concave_radius_mm,
        reach.smallest_concave_radius_mm_pm,
    ];
    near(found, &what, own, radius, tolerance);
    for ball in list(&t["balls"]) {
        compare_ball(name, half, ball, found);
    }
}

fn compare_ball(name: &str, half: &Half, ball: &Value, found: &mut Differences) {
    let diameter = number(&ball["diameter"]);
    let say = |what: &str| format!("{name}, ball {diameter}: {what}");
    let cutters = &half.reach.cutters;
    let Some(cutter) = cutters
        .iter()
        .find(|c| (c.diameter_mm - diameter).abs() < 1e-9)
    else {
        found.holds(false, || say("not in the report"));
        return;
    };
    if ball["borderline"] != true {
        let clears = ball["reaches_all"].as_bool();
        found.holds(cutter.clears == clears, || {
            say(&format!("clears {:?}, true is {clears:?}", cutter.clears))
        });
    }
    if let Some(height) = ball["leftover_normal"].as_f64() {
        let tolerance = (0.03 * height).max(0.03);
        let own = [cutter.left_height_mm, cutter.left_height_mm_pm];
        near(found, &say("left height"), own, height, tolerance);
    }
    if let Some(least) = ball["leftover_normal_lower_bound"].as_f64() {
        let height = cutter.left_height_mm;
        found.holds(height.is_some_and(|h| h >= least - THIRD * 0.03), || {
            say(&format!("left height {height:?}, true is at least {least}"))
        });
    }
    if let Some(volume) = ball["leftover_volume"].as_f64() {
        let tolerance = (0.05 * volume).max(2.0);
        let own = [cutter.left_volume_mm3, cutter.left_volume_mm3_pm];
        near(found, &say("left volume"), own, volume, tolerance);
    }
    if !ball["leftover_volume_bounds"].is_null() {
        let [low, high] = vector(&ball["leftover_volume_bounds"]);
        let middle = 0.5 * (low + high);
        let tolerance = 0.5 * (high - low) + THIRD * 0.05 * middle;
        found.close(
            &say("left volume"),
            cutter.left_volume_mm3,
            middle,
            tolerance,
        );
    }
}

fn compare_tools(name: &str, half: &setup::Half, truth: &Value, found: &mut Differences) {
    let dropper = Dropper::new(&half.mesh);
    // the truths leave no clearance
    let limits = Limits {
        shank_clearance: 0.0,
        holder_clearance: 0.0,
        ..Limits::default()
    };
    let to_file: [[f64; 4]; 4] = std::array::from_fn(|r| vector(&truth["local_to_file"][r]));
    for tool in list(&truth["truth"]["tools"]) {
        let holder = Holder {
            name: "cylinder".into(),
            sections: vec![Section {
                lower_diameter: number(&tool["holder_diameter"]),
                upper_diameter: number(&tool["holder_diameter"]),
                height: 50.0,
            }],
        };
        let mut cutter = Cutter::ball(number(&tool["ball_diameter"]));
        cutter.shank = Some(number(&tool["shank_diameter"]));
        let guards = guarded(
            &cutter.tool(number(&tool["stickout"]), &holder),
            cutter.radius(),
            &limits,
        );
        let [x, y] = vector(&tool["axis_at_local"]);
        let place = [0, 1, 2].map(|r| to_file[r][0] * x + to_file[r][1] * y + to_file[r][3]);
        let at = half.frame.to_tool * Point::from(place);
        // a ball that touches a round wall cuts a little into its facets, so the tool may stand up to 0.02 mm aside
        let aside = (0..=4).flat_map(|ring| (0..8).map(move |k| (0.005 * f64::from(ring), k)));
        let deepest = aside
            .filter_map(|(far, k)| {
                let (sin, cos) = (f64::from(k) * std::f64::consts::FRAC_PI_4).sin_cos();
                let (x, y) = (at.x + far * cos, at.y + far * sin);
                tip_depth_at(&dropper, Profile::ball(cutter.radius()), &guards, x, y)
            })
            .map(|d| d.0)
            .fold(None, |best: Option<f64>, d| {
                Some(best.map_or(d, |b| b.max(d)))
            });
        let what = format!(
            "{name}: tip depth of {}, {}",
            tool["name"].as_str().unwrap(),
            tool["where"].as_str().unwrap()
        );
        let truth = number(&tool["max_tip_depth"]);
        found.close(&what, deepest, truth, THIRD * 0.05);
    }
}
