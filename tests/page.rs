//! Pictures and the page as their readers meet them: values read back from pixels through the legend, names that try to run.

#[allow(dead_code, reason = "shared with other tests")]
mod common;
#[path = "page/legend.rs"]
mod legend;
#[path = "page/maps.rs"]
mod maps;

use common::binary_stl;
use legend::{by_legend, largest_near, step};
use moldvet::mesh::{self, Limits};
use moldvet::picture::{Drawing, Picture};
use moldvet::report::Report;
use moldvet::sheet;
use moldvet::shop::{Cutter, Shop};
use moldvet::units::Unit;
use moldvet::vet::{self, CheckConfig, Evidence};
use std::sync::OnceLock;

const HOSTILE: &str =
    "a\"'><img src=x onerror=alert(1)></script><script>alert(2)</script>\u{202e}.stl";

fn pocket() -> Vec<u8> {
    binary_stl(&common::pocket(1.0))
}

struct Case {
    report: Report,
    evidence: Evidence,
    shop: Shop,
}

/// The pocket under a hostile name, vetted with one hostile ball of 6 mm that sticks out 15 mm.
fn case() -> &'static Case {
    static CASE: OnceLock<Case> = OnceLock::new();
    CASE.get_or_init(|| {
        let model = mesh::from_bytes(&pocket(), HOSTILE, Unit::Mm, &Limits::default()).unwrap();
        let mut shop = Shop::builtin();
        shop.cutters = vec![Cutter {
            name: "6mm <b>ball</b> & co".into(),
            stickouts: vec![15.0],
            ..Cutter::ball(6.0)
        }];
        let config = CheckConfig {
            shop: shop.clone(),
            axis: None,
            cell: Some(0.25),
            not_cavity: Vec::new(),
            meets: Vec::new(),
            fill_density: None,
        };
        let (report, evidence) =
            vet::check_with_evidence(&[model], &config, &|_| {}, true).unwrap();
        Case {
            report,
            evidence,
            shop,
        }
    })
}

fn pictures(unit: Unit) -> Vec<Picture> {
    let c = case();
    Drawing::new(&c.report, &c.evidence, &c.shop).pictures(unit, |_| true)
}

fn picture(key: &str) -> Picture {
    pictures(Unit::Mm)
        .into_iter()
        .find(|p| p.key == key)
        .unwrap()
}

#[test]
fn the_depth_map_says_what_the_report_says() {
    let map = picture("a-depth");
    let depth = case().report.halves[0].cavity.depth_mm.unwrap();
    assert!((depth - 20.0).abs() < 0.01, "{depth}");
    for place in [[3.1, 2.3], [-21.3, 11.7], [17.9, -14.2]] {
        let shown = largest_near(&map, place, 1);
        assert!((shown - depth).abs() <= step(&map), "{place:?}: {shown}");
    }
}

#[test]
fn the_map_of_what_is_left_says_what_the_report_says() {
    let map = picture("a-left-1");
    let cutter = &case().report.halves[0].reach.cutters[0];
    let left = cutter.left_height_mm.unwrap();
    // a ball of 3 mm in a corner of three walls keeps √3 - 1 radii away
    assert!((left - 3.0 * (3f64.sqrt() - 1.0)).abs() < 0.01, "{left}");
    let at = cutter.at_mm.unwrap();
    let shown = largest_near(&map, [at[0], at[1]], 4);
    assert!((shown - left).abs() <= step(&map), "{shown} {left}");
    // along a floor's edge, away from corners, √2 - 1 radii; samples lie up to an eighth of the radius from the edge
    let edge = largest_near(&map, [0.0, 20.0], 4);
    let most = 3.0 * (2f64.sqrt() - 1.0);
    assert!(
        edge <= most + step(&map) && edge > most - 0.375,
        "{edge} {most}"
    );
    // nothing on the open floor; the line of the limit covers the legend's last rows, so zero reads as much as the limit
    let open = largest_near(&map, [0.0, 0.0], 2);
    let leave = case().report.halves[0].reach.leave_mm;
    assert!((0.0..=leave + step(&map)).contains(&open), "{open}");
}

#[test]
fn the_draft_map_shows_upright_walls() {
    let map = picture("a-draft");
    let least = case().report.halves[0].draft.least_deg.unwrap();
    let [x, y] = map.plot.pixel([30.0, 3.0]);
    let values: Vec<f64> = (-3..=3)
        .filter_map(|i| by_legend(&map, [x + f64::from(i), y]))
        .collect();
    assert!(
        values.iter().any(|v| (v - least).abs() <= step(&map)),
        "{values:?} {least}"
    );
    // floors lean more than colours tell
    assert!(largest_near(&map, [0.0, 0.0], 1) >= 15.0 - step(&map));
}

#[test]
fn the_stickout_map_reaches_what_the_report_says() {
    let map = picture("a-stickout-1");
    let needed = case().report.halves[0].reach.cutters[0]
        .stickout_needed_mm
        .unwrap();
    // beside a wall the holder of 12.5 mm stands over the parting face: 20 mm and 1 mm of clearance
    assert!((needed - 21.0).abs() < 0.05, "{needed}");
    let mut most = f64::NEG_INFINITY;
    for place in [[25.0, 0.0], [0.0, 15.0], [-22.0, 12.0]] {
        most = most.max(largest_near(&map, place, 2));
    }
    assert!(
        (most - needed).abs() <= step(&map) + 0.05,
        "{most} {needed}"
    );
    // in the middle it stands free: 17.5 mm to either wall
    assert!(largest_near(&map, [0.0, 0.0], 1) < needed - 0.5);
}

#[test]
fn sections_are_drawn_where_something_fails() {
    let keys: Vec<String> = pictures(Unit::Inch).into_iter().map(|p| p.key).collect();
    for key in [
        "a-depth",
        "a-draft",
        "a-left-1",
        "a-stickout-1",
        "a-section-reach",
        "a-section-tool",
    ] {
        assert!(keys.iter().any(|k| k == key), "{key}: {keys:?}");
    }
}

fn page() -> String {
    let c = case();
    sheet::page(&c.report, &c.evidence, &c.shop, Unit::Mm).unwrap()
}

/// The page of a part under a hostile name.
fn part_page() -> String {
    let c = maps::part();
    sheet::page(&c.report, &c.evidence, &c.shop, Unit::Mm).unwrap()
}

#[test]
fn the_page_is_the_same_every_time_and_asks_for_nothing() {
    let html = page();
    assert_eq!(html, page());
    assert!(html.len() < 8_000_000, "{}", html.len());
    let markup = without_scripts(&html);
    for outside in [
        "href=",
        "http-equiv=\"refresh\"",
        "<link",
        "<iframe",
        "<object",
        "url(",
    ] {
        assert!(!markup.contains(outside), "{outside}");
    }
    for source in markup.split("src=\"").skip(1) {
        assert!(source.starts_with("data:image/png;base64,"));
    }
    assert!(markup.contains("default-src 'none'"));
}

/// The page with what stands in script elements left out.
fn without_scripts(html: &str) -> String {
    let mut rest = html;
    let mut kept = String::new();
    while let Some(at) = rest.find("<script") {
        kept += &rest[..at];
        let end = rest[at..].find("</script>").unwrap();
        rest = &rest[at + end + "</script>".len()..];
    }
    kept + rest
}

#[test]
fn names_cannot_run() {
    cannot_run(&page());
    let data = data_of(&page());
    assert_eq!(
        data["halves"][0]["cutters"][0]["name"],
        "6mm <b>ball</b> & co"
    );
    cannot_run(&part_page());
}

fn data_of(html: &str) -> serde_json::Value {
    let data = html.split("id=\"data\">").nth(1).unwrap();
    let data = data.split("</script>").next().unwrap();
    assert!(!data.contains('<'));
    serde_json::from_str(data).unwrap()
}

fn cannot_run(html: &str) {
    // the data and the program: no more elements than those two
    assert_eq!(html.matches("<script").count(), 2);
    assert_eq!(html.matches("</script").count(), 2);
    let markup = without_scripts(html);
    assert!(!markup.contains("onerror=alert(1)>") && !markup.contains("<b>ball"));
    assert!(markup.contains("&lt;img src=x onerror=alert(1)&gt;"));
    assert!(!html.contains('\u{202e}'));
    data_of(html);
}

#[test]
fn elements_are_closed_in_order_and_pictures_have_words() {
    closed_and_worded(&page());
    closed_and_worded(&part_page());
    let c = maps::pair();
    closed_and_worded(&sheet::page(&c.report, &c.evidence, &c.shop, Unit::Inch).unwrap());
}

fn closed_and_worded(html: &str) {
    let markup = without_scripts(html);
    let body = markup.split("</style>").nth(1).unwrap();
    let mut open: Vec<String> = Vec::new();
    let mut ids = std::collections::BTreeSet::new();
    for tag in body.split('<').skip(1) {
        let (inside, _) = tag.split_once('>').unwrap();
        if let Some(name) = inside.strip_prefix('/') {
            let last = open.pop();
            // html and head were opened before the style
            if !["html", "head"].contains(&name) {
                assert_eq!(last.as_deref(), Some(name), "{inside}");
            }
            continue;
        }
        let name = inside.split([' ', '\n']).next().unwrap();
        if let Some(id) = inside.split(" id=\"").nth(1) {
            assert!(
                ids.insert(id.split('"').next().unwrap().to_owned()),
                "{inside}"
            );
        }
        if name == "img" {
            let alt = inside.split("alt=\"").nth(1).unwrap();
            assert!(alt.split('"').next().unwrap().len() > 40, "{alt}");
        }
        if !["input", "img", "meta", "br"].contains(&name) {
            open.push(name.to_owned());
        }
    }
    assert!(open.is_empty(), "{open:?}");
}

#[test]
fn a_plain_check_keeps_no_evidence_and_says_the_same() {
    let c = case();
    let model = mesh::from_bytes(&pocket(), HOSTILE, Unit::Mm, &Limits::default()).unwrap();
    let config = CheckConfig {
        shop: c.shop.clone(),
        axis: None,
        cell: Some(0.25),
        not_cavity: Vec::new(),
        meets: Vec::new(),
        fill_density: None,
    };
    let (report, evidence) = vet::check_with_evidence(&[model], &config, &|_| {}, false).unwrap();
    assert!(evidence.halves.is_empty() && evidence.reliefs.len() == 1);
    assert_eq!(report, c.report);
}
