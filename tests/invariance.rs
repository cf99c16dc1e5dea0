//! What changes nothing about a mold half changes no figure by more than the ± on both sides.

#[allow(dead_code, reason = "shared with other tests")]
mod common;
#[allow(dead_code, reason = "the sweep uses more of it")]
mod sweep;

use common::{Facet, balls, facets_of, model_of};
use moldvet::mesh::Vector;
use moldvet::report::{Half, Report};
use moldvet::units::Unit;
use proptest::prelude::*;
use sweep::random::Random;
use sweep::shapes::{self, Shape};

/// Kinds that between them have flat and round walls, undercuts, and a ledge.
const KINDS: [&str; 4] = ["sharp-pocket", "pocket", "slot", "t-slot"];
const FLAT: [&str; 2] = ["sharp-pocket", "t-slot"];

/// Every figure with its ±, lengths multiplied by `scale`.
fn figures(half: &Half, scale: f64) -> Vec<(String, Option<f64>, Option<f64>)> {
    let (c, u, d, r) = (&half.cavity, &half.undercut, &half.draft, &half.reach);
    let mut all: Vec<(String, Option<f64>, Option<f64>, i32)> = vec![
        ("volume".into(), c.volume_mm3, c.volume_mm3_pm, 3),
        ("depth".into(), c.depth_mm, c.depth_mm_pm, 1),
        ("surface".into(), c.surface_mm2, c.surface_mm2_pm, 2),
        (
            "hidden area".into(),
            u.hidden_area_mm2,
            u.hidden_area_mm2_pm,
            2,
        ),
        (
            "hidden volume".into(),
            u.hidden_volume_mm3,
            u.hidden_volume_mm3_pm,
            3,
        ),
        ("hook".into(), u.hook_mm, u.hook_mm_pm, 1),
        ("least draft".into(), d.least_deg, d.least_deg_pm, 0),
        (
            "tallest short wall".into(),
            d.tallest_short_wall_mm,
            d.tallest_short_wall_mm_pm,
            1,
        ),
        (
            "radius".into(),
            r.smallest_concave_radius_mm,
            r.smallest_concave_radius_mm_pm,
            1,
        ),
    ];
    for (cutter, tool) in r.cutters.iter().zip(&half.depth.tools) {
        let of = |what: &str| format!("{what} of {}", cutter.name);
        all.push((
            of("left height"),
            cutter.left_height_mm,
            cutter.left_height_mm_pm,
            1,
        ));
        all.push((
            of("left volume"),
            cutter.left_volume_mm3,
            cutter.left_volume_mm3_pm,
            3,
        ));
        all.push((of("deepest"), tool.deepest_mm, tool.deepest_mm_pm, 1));
    }
    all.into_iter()
        .map(|(name, value, pm, power)| {
            let by = scale.powi(power);
            (name, value.map(|v| v * by), pm.map(|p| p * by))
        })
        .collect()
}

fn differences(
    a: &[(String, Option<f64>, Option<f64>)],
    b: &[(String, Option<f64>, Option<f64>)],
) -> Vec<String> {
    assert_eq!(a.len(), b.len());
    (a.iter().zip(b))
        .filter(|(a, b)| match (a.1, b.1) {
            (Some(x), Some(y)) => {
                let pm = a.2.unwrap_or(0.0) + b.2.unwrap_or(0.0);
                (x - y).abs() > pm + 1e-9 * x.abs().max(1.0)
            }
            (None, None) => false,
            _ => true,
        })
        .map(|(a, b)| {
            format!(
                "{}: {:?} ± {:?} against {:?} ± {:?}",
                a.0, a.1, a.2, b.1, b.2
            )
        })
        .collect()
}

fn facets(shape: &Shape, mm_per_unit: f64, f: impl Fn([f64; 3]) -> [f64; 3]) -> Vec<Facet> {
    facets_of(&shape.mesh.stl(mm_per_unit, f))
}

/// Side of a cell as a share of the cavity's size: few columns, so that a case takes a moment.
const CELL: f64 = 0.01;

/// The report on one half, lengths of its rack and cell multiplied by `scale`.
fn vetted(
    files: &[Vec<Facet>],
    shape: &Shape,
    axis: Option<[f64; 3]>,
    unit: Unit,
    scale: f64,
) -> Report {
    vetted_in(CELL, files, shape, axis, unit, scale)
}

fn vetted_in(
    cell: f64,
    files: &[Vec<Facet>],
    shape: &Shape,
    axis: Option<[f64; 3]>,
    unit: Unit,
    scale: f64,
) -> Report {
    // a shape of which no ball's truth is known takes one of a twentieth of its size
    let known = shape.truth.balls.first().map(|b| b.diameter_mm);
    let ball = known.unwrap_or(0.05 * shape.truth.volume_mm3.cbrt()) * scale;
    let mut config = balls(&[ball]);
    config
        .shop
        .with_stickouts(vec![40.0 * ball + 500.0 * scale])
        .unwrap();
    config.cell = Some(cell * scale * shape.truth.volume_mm3.cbrt().max(shape.truth.depth_mm));
    config.axis = axis.map(Vector::from);
    let models: Vec<_> = files.iter().map(|f| model_of(f, unit)).collect();
    common::report(&models, &config)
}

fn same(a: &Report, b: &Report, scale: f64) -> Result<(), TestCaseError> {
    prop_assert_eq!(a.halves.len(), b.halves.len());
    for (a, b) in a.halves.iter().zip(&b.halves) {
        let found = differences(&figures(a, scale), &figures(b, 1.0));
        prop_assert!(found.is_empty(), "{}", found.join("\n"));
    }
    Ok(())
}

fn turned(seed: u64) -> ([[f64; 3]; 3], [f64; 3]) {
    let mut random = Random::new(seed);
    (
        random.rotation(),
        [0; 3].map(|_| random.within(-100.0, 100.0)),
    )
}

fn laid(rows: [[f64; 3]; 3], by: [f64; 3]) -> impl Fn([f64; 3]) -> [f64; 3] {
    move |p| [0, 1, 2].map(|k| rows[k].iter().zip(p).map(|(a, b)| a * b).sum::<f64>() + by[k])
}

const AS_IT_IS: fn([f64; 3]) -> [f64; 3] = |p| p;
const UP: Option<[f64; 3]> = Some([0.0, 0.0, 1.0]);

proptest! {
    #![proptest_config(ProptestConfig { cases: 4, max_shrink_iters: 0, ..ProptestConfig::default() })]

    #[test]
    fn turning_and_moving_model_and_axis_together(seed in 0u64..500, kind in prop::sample::select(&KINDS)) {
        let shape = shapes::shape(seed, Some(kind), false, shapes::CHORDS);
        let (rows, by) = turned(seed);
        let axis = [0, 1, 2].map(|k| rows[k][2]);
        let a = vetted(&[facets(&shape, 1.0, AS_IT_IS)], &shape, UP, Unit::Mm, 1.0);
        let b = vetted(&[facets(&shape, 1.0, laid(rows, by))], &shape, Some(axis), Unit::Mm, 1.0);
        same(&a, &b, 1.0)?;
    }

    #[test]
    fn inches_or_millimetres(seed in 0u64..500, kind in prop::sample::select(&KINDS)) {
        let shape = shapes::shape(seed, Some(kind), false, shapes::CHORDS);
        let a = vetted(&[facets(&shape, 1.0, AS_IT_IS)], &shape, UP, Unit::Mm, 1.0);
        let b = vetted(&[facets(&shape, 25.4, AS_IT_IS)], &shape, UP, Unit::Inch, 1.0);
        same(&a, &b, 1.0)?;
    }

    // short walls and left heights have limits in mm, so only what has none is held against a model of twice the size
    #[test]
    fn twice_the_size(seed in 0u64..500, kind in prop::sample::select(&KINDS)) {
        let shape = shapes::shape(seed, Some(kind), false, shapes::CHORDS);
        let a = vetted(&[facets(&shape, 1.0, AS_IT_IS)], &shape, UP, Unit::Mm, 1.0);
        let b = vetted(&[facets(&shape, 0.5, AS_IT_IS)], &shape, UP, Unit::Mm, 2.0);
        let bare = |mut f: Vec<(String, Option<f64>, Option<f64>)>| {
            f.iter_mut().for_each(|f| f.0 = f.0.split(" of ").next().unwrap_or_default().to_owned());
            f
        };
        let found = differences(&bare(figures(&a.halves[0], 2.0)), &bare(figures(&b.halves[0], 1.0)));
        prop_assert!(found.is_empty(), "{}", found.join("\n"));
    }

    #[test]
    fn splitting_flat_triangles_in_four(seed in 0u64..500, kind in prop::sample::select(&FLAT)) {
        let shape = shapes::shape(seed, Some(kind), false, shapes::CHORDS);
        // sizes to 1/64 mm, so that midpoints are numbers of the file too
        let plain = facets(&shape, 1.0, |p| p.map(|c| (64.0 * c).round() / 64.0));
        let finer: Vec<Facet> = plain.iter().flat_map(|f| {
            let middle = |a: [f32; 3], b: [f32; 3]| [0, 1, 2].map(|k| 0.5 * (a[k] + b[k]));
            let [a, b, c] = *f;
            let (d, e, f) = (middle(a, b), middle(b, c), middle(c, a));
            [[a, d, f], [d, b, e], [f, e, c], [d, e, f]]
        }).collect();
        let a = vetted(&[plain], &shape, UP, Unit::Mm, 1.0);
        let b = vetted(&[finer], &shape, UP, Unit::Mm, 1.0);
        same(&a, &b, 1.0)?;
    }

    #[test]
    fn triangles_and_corners_in_another_order(seed in 0u64..500, kind in prop::sample::select(&KINDS)) {
        let shape = shapes::shape(seed, Some(kind), false, shapes::CHORDS);
        let plain = facets(&shape, 1.0, AS_IT_IS);
        let mut random = Random::new(seed);
        let mut other: Vec<Facet> = plain.clone();
        for k in (1..other.len()).rev() {
            other.swap(k, random.below(k + 1));
        }
        for f in &mut other {
            f.rotate_left(random.below(3));
        }
        let a = vetted(&[plain], &shape, UP, Unit::Mm, 1.0);
        let b = vetted(&[other], &shape, UP, Unit::Mm, 1.0);
        same(&a, &b, 1.0)?;
    }

    #[test]
    fn a_closed_pair_in_one_file_or_in_two(seed in 0u64..500) {
        let shape = shapes::shape(seed, Some("slot"), false, shapes::CHORDS);
        let lower = facets(&shape, 1.0, AS_IT_IS);
        // the other half: turned over about X
        let upper = facets(&shape, 1.0, |p| [p[0], -p[1], -p[2]]);
        let together = [lower.clone(), upper.clone()].concat();
        let a = vetted(&[together], &shape, UP, Unit::Mm, 1.0);
        let b = vetted(&[lower, upper], &shape, UP, Unit::Mm, 1.0);
        let up = |r: &Report| {
            let mut r = r.clone();
            r.halves.sort_by(|a, b| b.tool_axis[2].total_cmp(&a.tool_axis[2]));
            r
        };
        same(&up(&a), &up(&b), 1.0)?;
    }
}

/// Columns only find what is to be judged: finer ones change no figure by more than its ±.
#[test]
fn half_the_cell_changes_no_figure_by_more_than_its_uncertainty() {
    for (kind, seed) in KINDS.into_iter().zip(11..) {
        let shape = shapes::shape(seed, Some(kind), false, shapes::CHORDS);
        let files = [facets(&shape, 1.0, AS_IT_IS)];
        let of = |cell: f64| {
            vetted_in(cell, &files, &shape, UP, Unit::Mm, 1.0)
                .halves
                .remove(0)
        };
        let [coarse, fine] = [CELL, 0.5 * CELL].map(of);
        let found = differences(&figures(&coarse, 1.0), &figures(&fine, 1.0));
        assert!(found.is_empty(), "{kind} {seed}:\n{}", found.join("\n"));
    }
}

/// The border of what is hidden lies within half a sample, four cells apart: the ± of the hidden area is in proportion to the cell.
#[test]
fn half_the_cell_halves_the_uncertainty_of_the_hidden_area() {
    for (kind, seed) in [
        ("t-slot", 3),
        ("t-slot", 4),
        ("cross-hole", 5),
        ("cross-hole", 6),
    ] {
        let shape = shapes::shape(seed, Some(kind), false, shapes::CHORDS);
        let files = [facets(&shape, 1.0, AS_IT_IS)];
        let hidden = |cell: f64| {
            let report = vetted_in(cell, &files, &shape, UP, Unit::Mm, 1.0);
            let u = &report.halves[0].undercut;
            [u.hidden_area_mm2, u.hidden_area_mm2_pm].map(Option::unwrap)
        };
        let [[coarse, coarse_pm], [fine, fine_pm]] = [CELL, 0.5 * CELL].map(hidden);
        assert!(
            (coarse - fine).abs() <= coarse_pm + fine_pm,
            "{kind} {seed}"
        );
        // the border's length is taken from the area, which differs by its own ±
        let ratio = fine_pm / coarse_pm;
        assert!(
            (ratio - 0.5).abs() < 0.05,
            "{kind} {seed}: {fine_pm} for {coarse_pm}"
        );
    }
}
