//! Where each figure of the report comes from: the table of `docs/figures.md` against a report and the sources.

#[allow(dead_code, reason = "shared with other tests")]
mod common;
#[allow(dead_code, reason = "the worked values use more of it")]
#[path = "worked_values/shapes.rs"]
mod shapes;

use common::{Differences, balls, data, model, report};
use moldvet::mesh::{Mesh, Vector};
use moldvet::report::{Blocker, Half, Report, Verdict};
use moldvet::shop::Cutter;
use moldvet::units::Unit;
use serde_json::Value;
use std::collections::BTreeSet;
use std::path::Path;

/// A row of the table.
struct Row {
    section: String,
    keys: Vec<String>,
    /// File and name of the function, and of the test.
    places: [[String; 2]; 2],
}

fn table() -> Vec<Row> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(root.join("docs/figures.md")).unwrap();
    let quoted = |cell: &str| -> Vec<String> {
        let parts = cell.split('`').skip(1).step_by(2);
        parts.map(str::to_owned).collect()
    };
    let row = |line: &str| {
        let cells: Vec<&str> = line.trim_matches('|').split('|').collect();
        let [section, keys, function, test] = cells[..] else {
            panic!("{line}")
        };
        let place = |cell: &str| -> [String; 2] {
            quoted(cell)
                .try_into()
                .unwrap_or_else(|_| panic!("file and name in {line}"))
        };
        Row {
            section: quoted(section).concat(),
            keys: quoted(keys),
            places: [place(function), place(test)],
        }
    };
    let rows = text.lines().filter(|l| l.starts_with('|'));
    rows.skip(2).map(row).collect()
}

/// Every key with a figure or a word in it: the section that it stands in, and its name.
fn keys(value: &Value, section: &str, all: &mut BTreeSet<(String, String)>) {
    match value {
        Value::Object(map) => {
            for (key, value) in map {
                let inner = format!("{section}.{key}");
                let inner = inner.trim_start_matches('.');
                let holds = |v: &Value| v.is_object();
                let list = value.as_array();
                if list.is_some_and(|l| l.is_empty()) {
                    // what would stand in it cannot be told
                } else if holds(value) || list.is_some_and(|l| l.iter().any(holds)) {
                    keys(value, inner, all);
                } else {
                    all.insert((section.to_owned(), key.clone()));
                }
            }
        }
        Value::Array(list) => list.iter().for_each(|v| keys(v, section, all)),
        _ => {}
    }
}

fn pair() -> Report {
    let halves = ["corpus/S11_gap_A.stl", "corpus/S11_gap_B.stl"];
    let models = halves.map(|f| model(&data(f), Unit::Mm));
    let mut config = balls(&[12.0]);
    config.shop.with_stickouts(vec![40.0]).unwrap();
    config.cell = Some(0.2);
    report(&models, &config)
}

fn pocket(stickout: f64) -> Half {
    pocket_with(stickout, |_| {})
}

/// A pocket 12 mm deep, tried with a ball of 6 mm that is first `changed`.
fn pocket_with(stickout: f64, changed: impl Fn(&mut Cutter)) -> Half {
    report_with(stickout, changed).halves.remove(0)
}

fn report_with(stickout: f64, changed: impl Fn(&mut Cutter)) -> Report {
    tried(shapes::pocket([40.0, 30.0], 12.0, 0.0), stickout, changed)
}

/// A shape tried with a ball of 6 mm that is first `changed`.
fn tried(mesh: Mesh, stickout: f64, changed: impl Fn(&mut Cutter)) -> Report {
    let mut config = balls(&[6.0]);
    config.shop.with_stickouts(vec![stickout]).unwrap();
    changed(&mut config.shop.cutters[0]);
    config.axis = Some(Vector::z());
    config.cell = Some(0.2);
    report(&[shapes::model(mesh)], &config)
}

#[test]
fn every_key_has_its_function_and_its_test() {
    let rows = table();
    let mut found = Differences::default();
    let mut all = BTreeSet::new();
    let mut whole = serde_json::to_value(pair()).unwrap();
    // settings repeat what was asked for
    whole.as_object_mut().unwrap().remove("settings");
    keys(&whole, "", &mut all);
    keys(
        &serde_json::to_value(pocket(40.0)).unwrap(),
        "halves",
        &mut all,
    );
    assert!(all.len() > 100);
    for (section, key) in &all {
        let figure = key.strip_suffix("_pm").unwrap_or(key);
        let told = rows
            .iter()
            .any(|r| r.section == *section && r.keys.iter().any(|k| k == figure));
        found.holds(told, || format!("{section}.{key} is not in the table"));
    }
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    for [file, name] in rows.iter().flat_map(|r| &r.places) {
        let text = std::fs::read_to_string(root.join(file)).unwrap_or_default();
        let there = text.contains(&format!("fn {name}(")) || text.contains(&format!("fn {name}<"));
        found.holds(there, || format!("{file} has no {name}"));
    }
    found.none("table");
}

#[test]
fn a_pocket_is_touched_off_at_its_lowest_corner() {
    // the block is 10 mm wider than the pocket all round
    assert_eq!(pocket(40.0).touch_off_mm, Some([-30.0, -25.0, 0.0]));
}

#[test]
fn what_is_left_in_a_sharp_pocket_is_all_in_its_regions() {
    let half = pocket(40.0);
    let cutter = &half.reach.cutters[0];
    let (regions, left) = (&cutter.left_regions, cutter.left_area_mm2.unwrap());
    // the sharp edges run together
    assert_eq!(regions.len(), 1, "{regions:?}");
    assert!((regions[0].area_mm2 - left).abs() < 1e-9 * left);
    // three faces at right angles, where a ball of 3 mm leaves R (√3 − 1): its height there is told by samples beside the corner
    let most = 3.0 * (3.0_f64.sqrt() - 1.0);
    assert!(regions[0].height_mm < most && regions[0].height_mm > 0.5 * most);
    let [x, y, z] = regions[0].at_mm.map(f64::abs);
    assert!(x > 17.0 && y > 12.0 && z > 9.0);
}

#[test]
fn tools_too_short_fail_in_depth() {
    assert_eq!(pocket(40.0).depth.verdict, Verdict::Pass);
    let short = pocket(8.0).depth;
    assert_eq!(short.verdict, Verdict::Fail);
    assert!(short.tools.iter().all(|t| t.blocked_by.is_some()));
}

#[test]
fn no_stickout_takes_a_thick_shank_down_a_pocket() {
    let with = |stickout: f64, flutes: f64| {
        report_with(stickout, |cutter| {
            (cutter.flute_length, cutter.shank) = (Some(flutes), Some(16.0));
        })
    };
    let needed = |report: &Report| report.halves[0].reach.cutters[0].stickout_needed_mm;
    let advice = |report: &Report| {
        let found = report.findings.iter().find(|f| f.check == "depth").unwrap();
        assert_eq!(found.verdict, Verdict::Fail);
        found.message.clone()
    };
    let thick = with(40.0, 9.0);
    assert_eq!(needed(&thick), None);
    assert!(advice(&thick).contains("however far"), "{}", advice(&thick));
    // the shank stays over the parting face, the holder 1 mm over it
    let slim = with(8.0, 15.0);
    assert!(advice(&slim).contains("further"), "{}", advice(&slim));
    let needed = needed(&slim).unwrap();
    assert!((needed - 13.0).abs() < 0.05, "{needed}");
}

#[test]
fn a_tool_gets_as_deep_as_the_holder_beside_a_narrow_pocket_lets_it() {
    // the holder, 25 mm wide and 1 mm more all round, does not go into the pocket
    let tool = |stickout: f64| {
        let mut report = tried(shapes::pocket([24.0, 20.0], 12.0, 0.0), stickout, |_| {});
        report.halves[0].depth.tools.remove(0)
    };
    let mut found = Differences::default();
    let long = tool(40.0);
    found.close("long, deepest", long.deepest_mm, 12.0, 1e-3);
    found.close("long, share", long.reached_share, 1.0, 0.0);
    assert_eq!(long.blocked_by, None);
    // its face 1 mm over the parting face
    let short = tool(8.0);
    found.close("short, deepest", short.deepest_mm, 7.0, 1e-3);
    // with the tip no deeper than 7 mm the ball touches 4 mm of the walls, 9 mm is what it touches of them alone and all of
    // the floor but 3 mm along the walls; and what it leaves less than 0.02 mm on, 0.35 mm more in each edge
    let (walls, floor) = (2.0 * (18.7 + 14.7), 18.7 * 14.7);
    let share = 4.0 * walls / (9.35 * walls + floor);
    found.close("short, share", short.reached_share, share, 0.02);
    let pm = short.reached_share_pm.unwrap();
    found.holds((0.0..0.05).contains(&pm), || format!("share ± {pm}"));
    assert_eq!(short.blocked_by, Some(Blocker::Holder));
    // the deepest of the places that it falls short of is on the floor
    found.close("blocked at", short.at_mm.map(|p| p[2]), -12.0, 1e-6);
    found.none("tools in a narrow pocket");
}

#[test]
fn a_ball_gets_to_the_bottom_of_a_cone_between_the_nodes() {
    let mut mesh = shapes::pit(&[[0.0, -10.0], [10.0, 0.0]]);
    (mesh.vertices.iter_mut()).for_each(|p| *p += Vector::new(20.083, -3.031, 0.0));
    let report = tried(mesh, 40.0, |_| {});
    // walls at 45° hold its centre 3 √2 over the apex; facets stand up to 3e-4 of a radius in from the cone
    let deepest = 10.0 - 3.0 * (2_f64.sqrt() - 1.0);
    let mut found = Differences::default();
    let tool = &report.halves[0].depth.tools[0];
    found.close("deepest", tool.deepest_mm, deepest, 3e-3);
    let at = tool.at_mm.unwrap();
    found.close("at x", at[0], 20.083, 5e-3);
    found.close("at y", at[1], -3.031, 5e-3);
    found.close("at z", at[2], -deepest, 3e-3);
    found.none("cone");
}

#[test]
fn upright_walls_are_short_of_draft_by_all_their_area_surely() {
    let draft = pocket(40.0).draft;
    let mut found = Differences::default();
    let walls = 2.0 * (40.0 + 30.0) * 12.0;
    found.close("area", draft.short_area_mm2, walls, 1e-6);
    found.close("its ±", draft.short_area_mm2_pm, 0.0, 1e-6);
    found.close("wall", draft.tallest_short_wall_mm, 12.0, 1e-6);
    found.none("upright walls");
}

#[test]
fn a_hollow_that_is_said_to_be_none_is_no_cavity() {
    // two grooves 20 mm long: 4 mm wide and deep to the left, 6 mm to the right
    let upper = [
        [-30.0, 0.0],
        [-22.0, 0.0],
        [-20.0, -4.0],
        [-18.0, 0.0],
        [12.0, 0.0],
        [15.0, -6.0],
        [18.0, 0.0],
        [30.0, 0.0],
    ];
    let volume = |places: &[[f64; 2]]| {
        let mut config = balls(&[6.0]);
        config.axis = Some(Vector::z());
        config.cell = Some(0.2);
        config.not_cavity = places.to_vec();
        let model = shapes::model(shapes::channel(&upper, 20.0));
        report(&[model], &config).halves[0].cavity.volume_mm3
    };
    let (left, right) = (0.5 * 4.0 * 4.0 * 20.0, 0.5 * 6.0 * 6.0 * 20.0);
    let mut found = Differences::default();
    found.close("both", volume(&[]), left + right, 1e-6);
    // the nearest to each place, as far off as it may be
    found.close("without the left", volume(&[[-4.0, 3.0]]), right, 1e-6);
    found.close("without the right", volume(&[[-2.0, 3.0]]), left, 1e-6);
    found.close("without the right", volume(&[[25.0, -40.0]]), left, 1e-6);
    found.none("grooves");
}
