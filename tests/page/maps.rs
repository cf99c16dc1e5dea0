//! The maps of reach, wall, cusps, of two halves together and of a part: what they show is what the report says.

use crate::common::{binary_stl, tower};
use crate::legend::{near, shows, step};
use crate::{Case, HOSTILE, case, picture, pocket};
use moldvet::body::{self, BodyConfig, MARGIN};
use moldvet::mesh::{self, Limits, Vector};
use moldvet::picture::{Drawing, Picture};
use moldvet::plan::{self, PlanConfig};
use moldvet::shop::{Cutter, Shop};
use moldvet::units::Unit;
use moldvet::vet::{self, CheckConfig};
use std::sync::OnceLock;

fn ring(x: [f32; 2], y: [f32; 2], z: f32) -> [[f32; 3]; 4] {
    [
        [x[0], y[0], z],
        [x[1], y[0], z],
        [x[1], y[1], z],
        [x[0], y[1], z],
    ]
}

fn config(shop: &Shop, cell: f64) -> CheckConfig {
    CheckConfig {
        shop: shop.clone(),
        axis: None,
        cell: Some(cell),
        not_cavity: Vec::new(),
        meets: Vec::new(),
        fill_density: None,
    }
}

fn balls(diameters: &[f64]) -> Shop {
    let mut shop = Shop::builtin();
    shop.cutters = diameters.iter().map(|d| Cutter::ball(*d)).collect();
    shop
}

fn of(case: &Case, key: &str) -> Picture {
    let drawing = Drawing::new(&case.report, &case.evidence, &case.shop);
    let mut pictures = drawing.pictures(Unit::Mm, |k| k == key).into_iter();
    pictures.find(|p| p.key == key).unwrap()
}

/// Two blocks of 100 × 80 mm, closed at Z = 0 but for 0.08 mm: the lower 30 mm high with a pocket of 60 × 40 mm, 20 mm deep and
/// tapered by 2 mm; the upper the same, but that its pocket is 12 mm deep and lies 0.15 mm farther along X.
pub fn pair() -> &'static Case {
    static PAIR: OnceLock<Case> = OnceLock::new();
    PAIR.get_or_init(|| {
        let (x, y) = ([-50.0, 50.0], [-40.0, 40.0]);
        let lower = tower(&[
            ring(x, y, -30.0),
            ring(x, y, 0.0),
            ring([-30.0, 30.0], [-20.0, 20.0], 0.0),
            ring([-28.0, 28.0], [-18.0, 18.0], -20.0),
        ]);
        let mut upper = tower(&[
            ring(x, y, 30.08),
            ring(x, y, 0.08),
            ring([-29.85, 30.15], [-20.0, 20.0], 0.08),
            ring([-27.85, 28.15], [-18.0, 18.0], 12.08),
        ]);
        // its rings go down
        upper.iter_mut().for_each(|t| t.swap(1, 2));
        let models = [("lower.stl", lower), (HOSTILE, upper)].map(|(name, triangles)| {
            mesh::from_bytes(&binary_stl(&triangles), name, Unit::Mm, &Limits::default()).unwrap()
        });
        let shop = balls(&[6.0]);
        let checked = vet::check_with_evidence(&models, &config(&shop, 0.1), &|_| {}, true);
        let (report, evidence) = checked.unwrap();
        Case {
            report,
            evidence,
            shop,
        }
    })
}

/// A tower of three rings of which the middle one is the widest and rises along X, from Z = 4 at X = -10 to Z = 8 at X = 10.
pub fn part() -> &'static Case {
    static PART: OnceLock<Case> = OnceLock::new();
    PART.get_or_init(|| {
        let mut middle = ring([-10.0, 10.0], [-6.0, 6.0], 0.0);
        middle.iter_mut().for_each(|p| p[2] = 6.0 + 0.2 * p[0]);
        let body = tower(&[
            ring([-8.0, 8.0], [-4.0, 4.0], 0.0),
            middle,
            ring([-8.0, 8.0], [-4.0, 4.0], 12.0),
        ]);
        let model =
            mesh::from_bytes(&binary_stl(&body), HOSTILE, Unit::Mm, &Limits::default()).unwrap();
        let shop = balls(&[2.0]);
        let config = BodyConfig {
            check: config(&shop, 0.1),
            pull: Some(Vector::z()),
            level: Some(6.0),
            scale: 1.0,
            margin: MARGIN,
        };
        let looked = body::vet_with_evidence(&model, &config, &|_| {}, true);
        let (outcome, evidence) = looked.unwrap();
        Case {
            report: outcome.report,
            evidence,
            shop,
        }
    })
}

#[test]
fn the_map_of_radii_shows_the_largest_ball_that_gets_there() {
    let model = mesh::from_bytes(&pocket(), "p.stl", Unit::Mm, &Limits::default()).unwrap();
    let shop = balls(&[4.0, 10.0]);
    let (report, evidence) =
        vet::check_with_evidence(&[model], &config(&shop, 0.25), &|_| {}, true).unwrap();
    let map = of(
        &Case {
            report,
            evidence,
            shop,
        },
        "a-radius",
    );
    // on the open floor more than the scale tells
    let open = near(&map, [3.0, 2.0], 1);
    assert!(open.iter().all(|r| *r > 9.5), "{open:?}");
    // 3 mm from a wall the ball that touches floor and wall
    let beside = near(&map, [0.0, 17.0], 0);
    assert!(beside.iter().all(|r| (r - 3.0).abs() < 0.3), "{beside:?}");
    // in the sharp corner none
    let corner = near(&map, [29.9, 19.9], 0);
    assert!(corner.iter().all(|r| *r < 0.5), "{corner:?}");
}

#[test]
fn the_map_of_the_wall_shows_what_is_behind() {
    let map = picture("a-wall");
    // 10 mm under the floor; 20 mm behind the walls
    assert!(shows(&map, [0.0, 0.0], 2, 10.0, 1e-3));
    assert!(
        shows(&map, [30.0, 3.0], 3, 20.0, 1e-3),
        "{:?}",
        near(&map, [30.0, 3.0], 3)
    );
    // of a pair: the thinnest place is where the report has it
    let c = pair();
    let hollow = &c.report.mating.as_ref().unwrap().hollows[0];
    let half = hollow.thinnest_wall_half.clone().unwrap();
    let map = of(c, &format!("{}-wall", half.to_lowercase()));
    let at = c.evidence.halves[usize::from(half == "B")].frame.to_tool
        * mesh::Point::from(hollow.thinnest_wall_at_mm.unwrap());
    let thin = hollow.thinnest_wall_mm.unwrap();
    assert!((thin - 10.0).abs() < 0.01, "{thin}");
    assert!(shows(&map, [at.x, at.y], 2, thin, 1e-3));
}

#[test]
fn the_map_of_cusps_shows_the_planned_passes() {
    let c = case();
    let model = mesh::from_bytes(&pocket(), "p.stl", Unit::Mm, &Limits::default()).unwrap();
    let shop = balls(&[6.0]);
    let check = config(&shop, 0.25);
    let models = [model];
    let (mut report, mut evidence) =
        vet::check_with_evidence(&models, &check, &|_| {}, true).unwrap();
    let wanted = PlanConfig {
        check,
        direction_deg: None,
        step: None,
    };
    let planned = plan::plan(&models, &wanted, &|_| {}).unwrap();
    let half = &planned.halves[0];
    evidence.halves[0].cusps = plan::cusp_map(
        half,
        &evidence.halves[0],
        shop.limits.leave,
        shop.limits.crease_deg,
    );
    let passes = half.directions.as_ref().unwrap().cusps[0];
    report.plan = Some(planned);
    let map = of(
        &Case {
            report,
            evidence,
            shop,
        },
        "a-cusp",
    );
    // on level ground R - √(R² - s²/4)
    let (r, s) = (3.0_f64, passes.step_mm);
    let height = r - (r * r - 0.25 * s * s).sqrt();
    assert!(shows(&map, [2.0, 1.0], 2, height, 0.0));
    assert!(!c.report.halves.is_empty() && c.evidence.halves[0].cusps.is_empty());
}

#[test]
fn the_map_of_the_gap_says_what_the_report_says() {
    let c = pair();
    let mating = c.report.mating.as_ref().unwrap();
    assert!(
        (mating.faces.gap_mm - 0.08).abs() < 1e-4,
        "{}",
        mating.faces.gap_mm
    );
    let map = of(c, "pair-gap");
    for place in [[-41.0, 3.0], [20.0, 31.0], [45.0, -33.0]] {
        assert!(
            shows(&map, place, 4, mating.faces.gap_mm, 1e-4),
            "{place:?}"
        );
    }
    // no parting face over the cavity
    assert!(near(&map, [0.0, 0.0], 2).is_empty());
}

#[test]
fn the_map_of_the_mismatch_says_what_the_report_says() {
    let c = pair();
    let mating = c.report.mating.as_ref().unwrap();
    let most = mating.outline_mismatch_mm.unwrap();
    // the largest plan distance of two rectangles, one 0.15 mm farther along X: at a corner no more than between the sides
    assert!((most - 0.15).abs() < 1e-3, "{most}");
    let map = of(c, "pair-mismatch");
    // the lines of both rims run through the middle of the band
    assert!(
        shows(&map, [-30.0, 5.0], 4, 0.15, 1e-3),
        "{:?}",
        near(&map, [-30.0, 5.0], 4)
    );
    assert!(shows(&map, [5.0, 20.0], 4, 0.0, 1e-3));
}

#[test]
fn the_map_of_the_parting_line_says_what_the_report_says() {
    let c = part();
    let pull = &c.report.body.as_ref().unwrap().pulls[0];
    assert!(
        (pull.parting_flatness_mm - 4.0).abs() < 0.01,
        "{}",
        pull.parting_flatness_mm
    );
    let map = of(c, "part-parting");
    // height over the level of 6 mm: 0.2 X; a band of six cells of 20 / 700 mm shows the highest in it
    let within = 0.2 * 7.0 * 20.5 / 700.0;
    for x in [-7.0, 0.0, 6.0] {
        assert!(
            shows(&map, [x, 6.0], 5, 0.2 * x, within),
            "{x}: {:?}",
            near(&map, [x, 6.0], 5)
        );
    }
    assert!(shows(&map, [10.0, 1.0], 5, 2.0, within));
    for place in pull.parting_line.iter().flatten() {
        let height = place[2] - 6.0;
        assert!(
            shows(&map, [place[0], place[1]], 5, height, within),
            "{place:?}"
        );
    }
}

#[test]
fn the_map_of_a_parts_draft_shows_its_sides() {
    let c = part();
    let map = of(c, "part-draft");
    // at (0, 5) the facets (8, 4, 0) (-10, 6, 4) (10, 6, 8) below and (10, 6, 8) (-10, 6, 4) (-8, 4, 12) above have normals
    // (8, 152, -40) and (-8, 152, 40)
    let draft = (40.0_f64 / (8.0_f64.powi(2) + 152.0_f64.powi(2) + 40.0_f64.powi(2)).sqrt())
        .asin()
        .to_degrees();
    assert!(shows(&map, [0.0, 5.0], 2, draft, 0.01));
    assert!(c.report.body.as_ref().unwrap().pulls[0].short_area_mm2 < 1e-6);
    assert!(step(&map) < 0.2);
}
