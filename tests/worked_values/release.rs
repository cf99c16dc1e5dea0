//! Draft, short walls and hooks.

use super::{vet, vet_with};
use crate::common::{self, Differences, balls};
use crate::shapes::{arc, model, pit, pocket};
use moldvet::mesh::Vector;
use moldvet::report::Verdict;

#[test]
fn draft_of_leaning_walls() {
    let mut found = Differences::default();
    // derived: a wall 30 high with 2° of draft is offset by 30 tan 2° = 1.0476231
    let half = vet_with(pocket([40.0, 30.0], 30.0, 1.0476231), &[3.0], 3.0);
    found.close("pocket", half.draft.least_deg, 2.0, 1e-5);
    found.close(
        "its short wall",
        half.draft.tallest_short_wall_mm,
        30.0,
        1e-6,
    );
    // derived: frustum 10 to 8 over 20, πH(r1² + r1r2 + r2²)/3 and atan(Δr/H); 3e-4 of it for its facets
    let half = vet(pit(&[[0.0, -20.0], [8.0, -20.0], [10.0, 0.0]]), &[3.0]);
    found.close("frustum", half.draft.least_deg, 5.710593, 2e-3);
    found.close(
        "its volume",
        half.cavity.volume_mm3,
        5110.32405,
        1e-3 * 5110.0,
    );
    // derived: of a hemisphere's surface the share sin δ has less draft than δ: 2π·20²·sin 3° = 131.53460
    let mut bowl = arc([0.0, 0.0], 20.0, -90.0, -20.0, 20);
    bowl.extend(arc([0.0, 0.0], 20.0, -20.0, 0.0, 20).split_off(1));
    let half = vet_with(pit(&bowl), &[3.0], 3.0);
    found.close(
        "hemisphere under 3°",
        half.draft.short_area_mm2,
        131.53460,
        0.02 * 131.5,
    );
    let bands: f64 = half.draft.bands[..4].iter().map(|b| b.area_mm2).sum();
    found.close("its bands under 3°", bands, 131.53460, 0.02 * 131.5);
    found.none("draft");
}

#[test]
fn a_short_wall_is_spoken_of_from_half_of_what_is_let_pass_on() {
    let verdict = |wall: f64| {
        let mut config = balls(&[4.0]);
        config.shop.limits.wall = wall;
        config.axis = Some(Vector::z());
        let half = common::report(&[model(pocket([20.0, 14.0], 6.0, 0.0))], &config)
            .halves
            .remove(0);
        (half.draft.tallest_short_wall_mm, half.draft.verdict)
    };
    // upright walls, 6 high
    assert_eq!(verdict(5.0), (Some(6.0), Verdict::Fail));
    assert_eq!(verdict(7.0), (Some(6.0), Verdict::Watch));
    assert_eq!(verdict(13.0), (Some(6.0), Verdict::Pass));
}

#[test]
fn a_sphere_parted_off_its_equator_hooks() {
    // derived: with the plane 2 above the equator of a sphere of 20 the hook is R − √(R² − c²) = 0.100251258, the void under
    // it what a bore of that width leaves of a sphere, 4πc³/3 = 33.510322, and the band above the equator 2πRc = 251.327412;
    // as much again below it lies in its shadow
    let rim = (0.1_f64).asin().to_degrees();
    let mut sphere = arc([0.0, -2.0], 20.0, -90.0, -10.0, 20);
    sphere.extend(arc([0.0, -2.0], 20.0, -10.0, 0.0, 20).split_off(1));
    sphere.extend(arc([0.0, -2.0], 20.0, 0.0, rim, 12).split_off(1));
    let half = vet(pit(&sphere), &[3.0]);
    let (undercut, draft) = (&half.undercut, &half.draft);
    let mut found = Differences::default();
    found.close("hook", undercut.hook_mm, 0.100251258, 0.03 * 0.1);
    found.close(
        "hidden volume",
        undercut.hidden_volume_mm3,
        33.510322,
        0.03 * 33.5,
    );
    found.close(
        "hidden area",
        undercut.hidden_area_mm2,
        502.654825,
        0.03 * 502.7,
    );
    // the facets beside the equator stand for draft on both sides of 0
    let below: f64 = draft.bands[..2].iter().map(|b| b.area_mm2).sum();
    found.close("area that faces away", below, 251.327412, 0.03 * 251.3);
    // draft is judged by patches of 0.5 mm²: all round, that is a strip 0.011° high, its middle 0.006° below the rim
    let least = 0.006 - rim;
    let pm = draft.least_deg_pm.unwrap_or(0.0);
    found.close("least draft", draft.least_deg, least, pm.min(0.3));
    found.none("sphere parted off its equator");
}
