//! What a rack comes to: which ball is needed, and what its cutters clear together.

use super::vet;
use crate::common::{self, balls};
use crate::shapes::{arc, model, pit, pocket};
use moldvet::mesh::Vector;
use moldvet::report::Verdict;
use moldvet::shop::Cutter;

#[test]
fn the_smallest_ball_is_the_largest_that_clears() {
    // common practice, no source: a ball of 0.7 to 0.8 of the fillet; derived: any up to it clears, none above
    let mut profile = vec![[0.0, -10.0]];
    profile.extend(arc([13.0, -8.0], 2.0, -90.0, 0.0, 24));
    profile.push([15.0, 0.0]);
    let half = vet(pit(&profile), &[1.0, 1.5, 2.5]);
    assert_eq!(half.reach.smallest_ball_needed.as_deref(), Some("3mm ball"));
    let clears: Vec<_> = half.reach.cutters.iter().map(|c| c.clears).collect();
    assert_eq!(clears, [Some(true), Some(true), Some(false)]);
}

#[test]
fn what_all_balls_leave_fails() {
    // derived: each leaves R(√2 − 1) in the edges
    let half = vet(pocket([20.0, 14.0], 6.0, 0.0), &[3.0, 2.0]);
    assert_eq!(half.reach.verdict, Verdict::Fail);
}

/// What the whole rack comes to in a pit, each cutter given by radius and corner radius, and whether each clears alone.
fn together(
    profile: &[[f64; 2]],
    cutters: &[[f64; 2]],
    leave: f64,
) -> (Verdict, Vec<Option<bool>>) {
    let mut config = balls(&[2.0]);
    config.axis = Some(Vector::z());
    config.shop.limits.leave = leave;
    let cutter = |&[radius, corner_radius]: &[f64; 2]| Cutter {
        name: format!("{radius} {corner_radius}"),
        corner_radius,
        ..Cutter::ball(2.0 * radius)
    };
    config.shop.cutters = cutters.iter().map(cutter).collect();
    let reach = &common::report(&[model(pit(profile))], &config).halves[0].reach;
    let clears = reach.cutters.iter().map(|c| c.clears);
    (reach.verdict, clears.collect())
}

#[test]
fn cutters_of_which_none_clears_may_do_so_together() {
    let neither = vec![Some(false); 2];
    // a dimple that the flat leaves, a sharp foot that the ball leaves
    let mut dimple = arc([0.0, -4.0], 5.0, -90.0, -53.13, 24);
    dimple.extend([[20.0, -8.0], [20.0, 0.0]]);
    let both = together(&dimple, &[[3.0, 3.0], [3.0, 0.0]], 0.05);
    assert_eq!(both, (Verdict::Pass, neither.clone()));
    // derived: on the floor right below the rim of an overhang a ball leaves r(√2 − 1) = 1.243, and more than the leave over a strip
    // narrower than 0.04 mm: no sample lies there
    let overhang = [
        [0.0, -8.0],
        [20.0, -8.0],
        [20.0, -4.0],
        [18.0, -4.0],
        [18.0, 0.0],
    ];
    let both = together(&overhang, &[[3.0, 3.0], [3.2, 3.2]], 1.22);
    assert_eq!(both, (Verdict::Fail, neither));
}
