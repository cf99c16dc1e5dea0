//! Coordinates as no model should have them: a right answer, or a refusal that says what is wrong.

#[allow(dead_code, reason = "shared with other tests")]
mod common;

use common::{Differences, Facet, balls, binary_stl, data, facets_of, model_of, report};
use moldvet::mesh::{Limits, ReadError, from_bytes};
use moldvet::report::Report;
use moldvet::units::Unit;

fn sound() -> Vec<Facet> {
    facets_of(&std::fs::read(data("small_half.stl")).unwrap())
}

fn refusal(facets: &[Facet]) -> String {
    let read: Result<_, ReadError> = from_bytes(
        &binary_stl(facets),
        "half.stl",
        Unit::Mm,
        &Limits::default(),
    );
    read.map(|model| model.bodies.len())
        .unwrap_err()
        .to_string()
}

fn checked(facets: &[Facet]) -> Report {
    let mut config = balls(&[3.0]);
    config.cell = Some(0.25);
    report(&[model_of(facets, Unit::Mm)], &config)
}

/// All corners, changed.
fn moved(by: impl Fn([f32; 3]) -> [f32; 3]) -> Vec<Facet> {
    sound().into_iter().map(|facet| facet.map(&by)).collect()
}

/// The sound half with one corner, wherever it stands, put elsewhere.
fn with_a_corner_at(place: [f32; 3]) -> Vec<Facet> {
    let from = sound()[70][0];
    moved(|c| if c == from { place } else { c })
}

#[test]
fn numbers_that_are_none() {
    for bad in [f32::NAN, -f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
        for k in 0..3 {
            let mut place = [0.0; 3];
            place[k] = bad;
            let told = refusal(&with_a_corner_at(place));
            assert!(told.contains("not a finite number"), "{told}");
        }
    }
}

#[test]
fn one_corner_out_of_all_measure() {
    for far in [1e30, -1e30, f32::MAX] {
        let told = refusal(&with_a_corner_at([0.0, far, 0.0]));
        assert!(told.contains("out of range"), "{told}");
    }
}

#[test]
fn a_whole_model_out_of_all_measure() {
    for scale in [1e30, 1e-9, f32::MIN_POSITIVE] {
        let told = refusal(&moved(|c| c.map(|x| x * scale)));
        let of_no_size = told.contains("has an area") || told.contains("no volume");
        assert!(
            told.contains("out of range") || of_no_size,
            "{scale}: {told}"
        );
    }
}

#[test]
fn all_on_one_plane_on_one_line_or_in_one_point() {
    for k in 0..3 {
        let flat = moved(|mut c| {
            c[k] = 7.0;
            c
        });
        let told = refusal(&flat);
        assert!(told.contains("no volume"), "{told}");
        // a plane along no axis
        let tilted = moved(|mut c| {
            c[k] = c[(k + 1) % 3] + 0.5 * c[(k + 2) % 3];
            c
        });
        let told = refusal(&tilted);
        assert!(
            told.contains("no volume") || told.contains("has an area"),
            "{told}"
        );
        let line = moved(|c| [0, 1, 2].map(|i| if i == k { c[k] } else { 7.0 }));
        assert!(refusal(&line).contains("has an area"));
    }
    assert!(refusal(&moved(|c| [c[0]; 3])).contains("has an area"));
    assert!(refusal(&moved(|_| [7.0; 3])).contains("out of range"));
}

#[test]
fn coordinates_too_small_to_matter_do_not() {
    let before = checked(&sound());
    // 1e-9 and the smallest number there is, where there was zero
    for dust in [1e-9, f32::from_bits(1), -0.0] {
        let after = checked(&moved(|c| c.map(|x| if x == 0.0 { dust } else { x })));
        assert_alike(&after, &before, 1e-4, &format!("{dust:e}"));
    }
}

/// The figures of one are those of the other, within both ± and `slack`.
fn assert_alike(a: &Report, b: &Report, slack: f64, what: &str) {
    let mut differ = Differences::default();
    let (a, b) = (&a.halves[0], &b.halves[0]);
    let pm = |x: Option<f64>, y: Option<f64>| slack + x.unwrap() + y.unwrap();
    let (ca, cb) = (&a.cavity, &b.cavity);
    differ.close(
        "depth",
        ca.depth_mm,
        cb.depth_mm.unwrap(),
        pm(ca.depth_mm_pm, cb.depth_mm_pm),
    );
    differ.close(
        "volume",
        ca.volume_mm3,
        cb.volume_mm3.unwrap(),
        pm(ca.volume_mm3_pm, cb.volume_mm3_pm),
    );
    differ.close(
        "surface",
        ca.surface_mm2,
        cb.surface_mm2.unwrap(),
        pm(ca.surface_mm2_pm, cb.surface_mm2_pm),
    );
    let (la, lb) = (&a.reach.cutters[0], &b.reach.cutters[0]);
    differ.close(
        "left height",
        la.left_height_mm,
        lb.left_height_mm.unwrap(),
        pm(la.left_height_mm_pm, lb.left_height_mm_pm),
    );
    differ.none(what);
}

/// 32-bit numbers between 2^19 and 2^20 are 1/16 apart: of detail of 0.01 mm nothing is left, and that must be told.
#[test]
fn a_kilometre_away_the_lost_detail_is_told_and_no_verdict_stands_on_it() {
    let far = checked(&moved(|[x, y, z]| [x + 1e6, y - 1e6, z]));
    let told = far
        .findings
        .iter()
        .find(|f| f.message.contains("coarser than a micrometre"));
    assert_eq!(
        told.and_then(|f| f.value),
        Some(0.0625),
        "{:?}",
        far.findings
    );
    assert_alike(&far, &checked(&sound()), 0.0, "a kilometre away");
}

/// Where the file tells more digits than 32-bit numbers hold, they are rounded like any others.
#[test]
fn a_kilometre_away_in_text_is_no_different() {
    let text: String = sound()
        .iter()
        .flatten()
        .map(|c| format!("v {:.4} {:.4} {:.4}\n", f64::from(c[0]) + 1e6, c[1], c[2]))
        .collect();
    let faces =
        (0..sound().len()).map(|k| format!("f {} {} {}\n", 3 * k + 1, 3 * k + 2, 3 * k + 3));
    let text = text + &faces.collect::<String>();
    let read = from_bytes(text.as_bytes(), "half.obj", Unit::Mm, &Limits::default()).unwrap();
    assert_eq!(read.rounding, 0.0625);
}
