//! What a ball leaves at the border of what an overhang hides.

#[allow(dead_code, reason = "shared with other tests")]
mod common;

use common::{balls, data, model, model_of, report, ring, tower};
use moldvet::mesh::Model;
use moldvet::report::CutterReach;
use moldvet::units::Unit;

fn left_by(diameters: &[f64], half: Model) -> Vec<CutterReach> {
    let mut config = balls(diameters);
    config.axis = Some([0.0, 0.0, 1.0].into());
    let mut report = report(&[half], &config);
    report.halves.swap_remove(0).reach.cutters
}

/// A pocket 3 deep whose walls lean in all round, its mouth 16 x 4. Over a corner of the mouth no ball of a radius R of more than
/// that comes nearer to the floor straight below than with its tip in the corner. Moved in by m along both sides it rests on these
/// a height of about m² / 2 R lower, but m √2 aside: (R + 3 − m² / 2 R)² + 2 m² is more than (R + 3)².
#[test]
fn at_the_corners_of_a_mouth_the_depth_is_left() {
    let rings = [
        ring(15.0, 12.0, -12.0),
        ring(15.0, 12.0, 0.0),
        ring(8.0, 2.0, 0.0),
        ring(9.0, 3.0, -3.0),
    ];
    for cutter in left_by(&[7.0, 10.0, 14.0], model_of(&tower(&rings), Unit::Mm)) {
        let (left, pm) = (
            cutter.left_height_mm.unwrap(),
            cutter.left_height_mm_pm.unwrap(),
        );
        assert!(
            (left - 3.0).abs() <= pm && pm < 0.01,
            "{}: {left} ± {pm}",
            cutter.name
        );
    }
}

/// A smaller ball comes at least as near to all places.
#[test]
fn in_a_flared_pocket_a_smaller_ball_leaves_no_more() {
    let cutters = left_by(&[7.0, 14.0], model(&data("flared_pocket.stl"), Unit::Mm));
    let [(small, small_pm), (large, large_pm)] = [0, 1].map(|k| {
        (
            cutters[k].left_height_mm.unwrap(),
            cutters[k].left_height_mm_pm.unwrap(),
        )
    });
    assert!(
        small <= large + small_pm + large_pm,
        "{small} ± {small_pm}, {large} ± {large_pm}"
    );
}
