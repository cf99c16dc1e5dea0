//! One mesh may stand for two shapes: a prism with many sides, or a round hole with few facets.

#[allow(dead_code, reason = "shared with other tests")]
mod common;

use common::{Facet, balls, model_of, report};
use moldvet::report::{Report, Verdict};
use moldvet::units::Unit;
use std::f64::consts::TAU;

/// A 40 mm block, its top at 0, with a well 8 mm deep whose plan is a regular polygon of `sides`, a multiple of four, with
/// corners 10 mm off its middle.
fn well(sides: usize) -> Vec<Facet> {
    let corner = |k: usize, z: f32| {
        let a = TAU * k as f64 / sides as f64;
        [(10.0 * a.cos()) as f32, (10.0 * a.sin()) as f32, z]
    };
    let quarter = sides / 4;
    let outer = |k: usize, z: f32| {
        let [x, y] = [[20.0, 20.0], [-20.0, 20.0], [-20.0, -20.0], [20.0, -20.0]][k % 4];
        [x, y, z]
    };
    let mut facets = Vec::new();
    for k in 0..sides {
        let [a, b] = [corner(k, 0.0), corner(k + 1, 0.0)];
        let [c, d] = [corner(k, -8.0), corner(k + 1, -8.0)];
        // walls face inward, the floor up
        facets.extend([[a, b, d], [a, d, c], [[0.0, 0.0, -8.0], c, d]]);
        facets.push([a, outer(k / quarter, 0.0), b]);
    }
    for k in 0..4 {
        let [a, b] = [outer(k, 0.0), outer(k + 1, 0.0)];
        let [c, d] = [outer(k, -20.0), outer(k + 1, -20.0)];
        facets.extend([[a, c, d], [a, d, b], [[0.0, 0.0, -20.0], d, c]]);
        facets.push([corner((k + 1) * quarter, 0.0), a, b]);
    }
    facets
}

/// What a flat cutter 12 mm across does in the well: a round hole it finishes, of a prism it leaves the upright edges.
fn flat_cutter_in(sides: usize, crease_deg: f64) -> Report {
    let mut config = balls(&[12.0]);
    config.shop.limits.crease_deg = crease_deg;
    config.shop.cutters[0].corner_radius = 0.0;
    report(&[model_of(&well(sides), Unit::Mm)], &config)
}

fn clears(report: &Report) -> Option<bool> {
    report.halves[0].reach.cutters[0].clears
}

fn told(report: &Report) -> bool {
    let near = |m: &str| m.contains("near the crease angle");
    report
        .findings
        .iter()
        .any(|f| f.verdict == Verdict::Unsure && near(&f.message))
}

#[test]
fn many_facets_are_a_round_hole() {
    // facets stand 10 (1 - cos(180° / 64)) = 0.012 mm off the round wall, less than may stay
    let round = flat_cutter_in(64, 30.0);
    assert_eq!((clears(&round), told(&round)), (Some(true), false));
}

#[test]
fn four_walls_are_a_square() {
    let square = flat_cutter_in(4, 30.0);
    assert_eq!((clears(&square), told(&square)), (Some(false), false));
}

#[test]
fn twelve_and_eight_facets_may_be_either() {
    for sides in [12, 8] {
        let either = flat_cutter_in(sides, 30.0);
        assert_eq!(
            (clears(&either), told(&either)),
            (None, true),
            "{sides} facets"
        );
        assert_eq!(either.halves[0].reach.verdict, Verdict::Unsure);
        // 10 (1 - cos(360° / sides / 2)) stands between them at least
        let cutter = &either.halves[0].reach.cutters[0];
        let [left, pm] = [cutter.left_height_mm, cutter.left_height_mm_pm].map(Option::unwrap);
        assert!(
            left - pm <= 0.0 && left + pm > 0.2,
            "{sides} facets: {left} ± {pm}"
        );
    }
}

#[test]
fn the_crease_angle_settles_it() {
    let prism = flat_cutter_in(8, 20.0);
    assert_eq!((clears(&prism), told(&prism)), (Some(false), false));
    // a curve for sure, but of facets that stand farther off it than may stay
    let round = flat_cutter_in(8, 60.0);
    assert_eq!((clears(&round), told(&round)), (None, false));
}
