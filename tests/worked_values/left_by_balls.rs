//! What balls leave, and the smallest concave radius.

use super::{left, vet};
use crate::common::{self, Differences, balls};
use crate::shapes::{arc, channel, model, pit, pocket};
use moldvet::mesh::Vector;
use std::f64::consts::{PI, SQRT_2};

/// What the ball of radius `r` leaves higher than each of `leaves` of a round pit of this radius and depth, against the strips along its
/// foot: at the distance s from the edge it leaves √(r² + (r − s)²) − r of floor and of wall.
fn area_left(found: &mut Differences, radius: f64, depth: f64, r: f64, leaves: &[f64]) {
    for &leave in leaves {
        let mut config = balls(&[2.0 * r]);
        config.axis = Some(Vector::z());
        config.shop.limits.leave = leave;
        let mesh = pit(&[[0.0, -depth], [radius, -depth], [radius, 0.0]]);
        let report = common::report(&[model(mesh)], &config);
        let ball = &report.halves[0].reach.cutters[0];
        let wide = (r - (leave * (2.0 * r + leave)).sqrt()).max(0.0);
        let floor = PI * (radius * radius - (radius - wide) * (radius - wide));
        let truth = floor + 2.0 * PI * radius * wide;
        let pm = ball.left_area_mm2_pm.unwrap_or(0.0);
        let name = format!("area that a ball of {r} leaves higher than {leave}");
        // what the facets cut off is 0.2 of a thousandth of the strip
        found.close(&name, ball.left_area_mm2, truth, pm + 2e-4 * truth);
        // samples are an eighth of the ball's radius apart
        let most = if wide > 0.375 * r {
            0.3 * truth
        } else {
            0.25 * r * 2.0 * PI * radius
        };
        found.holds(pm <= most, || format!("{name}: ± {pm} of {truth}"));
    }
}

#[test]
fn areas_left() {
    let mut found = Differences::default();
    // derived; the ball leaves r(√2 − 1) in the edge: the last of these just over and just under it
    area_left(
        &mut found,
        20.0,
        12.0,
        3.0,
        &[0.05, 0.3, 1.0, 1.2, 1.24, 1.245],
    );
    area_left(&mut found, 40.0, 20.0, 12.0, &[0.02, 0.05, 1.0, 4.9]);
    area_left(&mut found, 6.0, 4.0, 0.5, &[0.01, 0.05, 0.2]);
    found.none("areas left");
}

/// Angle between walls θ: a ball of radius R leaves R(1/sin(θ/2) − 1) in the edge.
fn corner_gap(r: f64, degrees: f64) -> f64 {
    r * (1.0 / (0.5 * degrees).to_radians().sin() - 1.0)
}

#[test]
fn left_in_a_slot_narrower_than_the_ball() {
    // derived: centre no lower than √5 above the rim and 2 from the end wall's rim, so it passes the floor's corner at
    // √(2² + 2² + (10 + √5)²)
    let half = vet(pocket([40.0, 4.0], 10.0, 0.0), &[3.0]);
    let height = (8.0 + (10.0 + 5_f64.sqrt()).powi(2)).sqrt() - 3.0;
    let mut found = Differences::default();
    left(&mut found, "slot", &half, 3.0, height, None);
    found.none("slot");
}

#[test]
fn left_in_a_sharp_rectangular_pocket() {
    let (r, h) = (3.0, 20.0);
    let half = vet(pocket([40.0, 30.0], h, 0.0), &[r]);
    // derived: edges (1 − π/4)R² a length, corners (1 − π/6)R³; at the rim the ball dips over each upright edge and takes
    // 0.0583·(R/2)³ away, by quadrature, 0.2 % of the whole
    let edges = 2.0 * (40.0 - 2.0 * r) + 2.0 * (30.0 - 2.0 * r) + 4.0 * (h - r);
    let volume = (1.0 - PI / 4.0) * r * r * edges + 4.0 * (1.0 - PI / 6.0) * r.powi(3);
    assert!((volume - 406.831974).abs() < 1e-6);
    let mut found = Differences::default();
    // derived: where three square planes meet (√3 − 1)R stays
    let height = (3_f64.sqrt() - 1.0) * r;
    left(&mut found, "pocket", &half, r, height, Some(volume));
    found.close("radius", half.reach.smallest_concave_radius_mm, 0.0, 0.0);
    found.close("volume", half.cavity.volume_mm3, 24000.0, 1e-6);
    found.none("pocket 40 × 30 × 20, ball 6");
}

#[test]
fn left_in_v_grooves() {
    let mut found = Differences::default();
    for (angle, r, gap) in [
        (60.0, 3.0, 3.0),
        (120.0, 3.0, 0.4641016),
        (45.0, 5.0, 8.065630),
    ] {
        // derived: R(1/sin(θ/2) − 1); deep enough for the ball to touch both walls, at R/tan(θ/2) from the edge
        assert!((corner_gap(r, angle) - gap).abs() < 1e-6);
        let half_angle = (0.5_f64 * angle).to_radians();
        let depth = 1.2 * r / half_angle.tan() * half_angle.cos();
        let w = depth * half_angle.tan();
        let groove = channel(
            &[
                [-w - 10.0, 0.0],
                [-w, 0.0],
                [0.0, -depth],
                [w, 0.0],
                [w + 10.0, 0.0],
            ],
            60.0,
        );
        let half = vet(groove, &[r]);
        left(&mut found, &format!("{angle}°"), &half, r, gap, None);
        let what = format!("{angle}°, least draft");
        found.close(&what, half.draft.least_deg, 0.5 * angle, 1e-3);
    }
    found.none("V grooves");
}

#[test]
fn left_in_a_round_pocket_with_a_sharp_floor() {
    let (p, r) = (15.0, 3.0_f64);
    let half = vet(pit(&[[0.0, -12.0], [p, -12.0], [p, 0.0]]), &[r]);
    // derived: 2π[P(1 − π/4)R² − (5/6 − π/4)R³], by Pappus over the corner's section
    let volume = 2.0 * PI * (p * (1.0 - PI / 4.0) * r.powi(2) - (5.0 / 6.0 - PI / 4.0) * r.powi(3));
    assert!((volume - 173.899709).abs() < 1e-6);
    let mut found = Differences::default();
    left(
        &mut found,
        "round pocket",
        &half,
        r,
        (SQRT_2 - 1.0) * r,
        Some(volume),
    );
    found.close("radius", half.reach.smallest_concave_radius_mm, 0.0, 0.0);
    found.none("round pocket, ball 6");
}

#[test]
fn left_in_floor_fillets() {
    let mut found = Differences::default();
    for (fillet, r, gap) in [(1.0, 3.0, 0.8284271), (1.5, 2.0, 0.2071068)] {
        // derived: (R − r)(√2 − 1) in a fillet of radius r, nothing for balls up to r
        assert!(((r - fillet) * (SQRT_2 - 1.0) - gap).abs() < 1e-6);
        let mut profile = vec![[0.0, -10.0]];
        profile.extend(arc([15.0 - fillet, fillet - 10.0], fillet, -90.0, 0.0, 24));
        profile.push([15.0, 0.0]);
        let half = vet(pit(&profile), &[0.8 * fillet, r]);
        let what = format!("fillet {fillet}, ball {}", 2.0 * r);
        left(&mut found, &what, &half, r, gap, None);
        found.holds(half.reach.cutters[0].clears == Some(true), || {
            format!(
                "{what}: smaller ball clears {:?}",
                half.reach.cutters[0].clears
            )
        });
        let what = format!("{what}: smallest concave radius");
        found.close(
            &what,
            half.reach.smallest_concave_radius_mm,
            fillet,
            0.03 * fillet,
        );
    }
    found.none("fillets");
}

#[test]
fn left_in_a_narrow_hole() {
    // derived: πr²H less the cap, of height R − √(R² − r²), that the ball fills: 120.630346
    let half = vet(pit(&[[0.0, -10.0], [2.0, -10.0], [2.0, 0.0]]), &[3.0]);
    let mut found = Differences::default();
    // centre √5 above the rim on the axis: the floor's edge is √(2² + (10 + √5)²) away
    let height = (4.0 + (10.0 + 5_f64.sqrt()).powi(2)).sqrt() - 3.0;
    left(&mut found, "hole", &half, 3.0, height, Some(120.630346));
    found.none("hole of 4, ball 6");
}

#[test]
fn left_in_conical_pits() {
    let mut found = Differences::default();
    for (alpha, volume, gap) in [(30.0_f64, 14.137167, 3.0), (45.0, 3.430252, 1.2426407)] {
        // derived: πR³(1 − sin α)²/(3 sin α), and R(1/sin α − 1) at the point
        let (r, sin) = (3.0_f64, alpha.to_radians().sin());
        assert!((PI * r.powi(3) * (1.0 - sin).powi(2) / (3.0 * sin) - volume).abs() < 1e-6);
        let rim = 12.0 * alpha.to_radians().tan();
        let half = vet(pit(&[[0.0, -12.0], [rim, 0.0]]), &[r]);
        left(
            &mut found,
            &format!("{alpha}°"),
            &half,
            r,
            gap,
            Some(volume),
        );
        let what = format!("{alpha}°, least draft");
        found.close(&what, half.draft.least_deg, alpha, 0.01);
    }
    found.none("conical pits, ball 6");
}

#[test]
fn left_in_a_hemisphere_smaller_than_the_ball() {
    // derived: 2πρ³/3 less the ball's cap of height 2: 79.587014; at the bottom 7 − 5
    let half = vet(pit(&arc([0.0, 0.0], 4.0, -90.0, 0.0, 48)), &[3.0, 5.0]);
    let mut found = Differences::default();
    left(&mut found, "hemisphere", &half, 5.0, 2.0, Some(79.587014));
    found.holds(half.reach.cutters[0].clears == Some(true), || {
        "ball 6 clears".into()
    });
    let radius = half.reach.smallest_concave_radius_mm;
    found.close("smallest concave radius", radius, 4.0, 0.12);
    found.none("hemisphere of 4, ball 10");
}

#[test]
fn left_in_a_sine_valley() {
    // derived: z = −A cos(2πx/λ) has least radius λ²/(4π²A) = 5.066059; R = 5 leaves nothing, R = 8 leaves 0.1001218, by
    // solving for the ball that touches both flanks
    let (a, lambda) = (0.5, 10.0);
    let mut upper = vec![[-15.0, 0.0]];
    upper.extend((0..=200).map(|k| {
        let x = -0.5 * lambda + lambda * f64::from(k) / 200.0;
        [x, -a * (1.0 + (2.0 * PI * x / lambda).cos())]
    }));
    upper.push([15.0, 0.0]);
    let half = vet(channel(&upper, 60.0), &[5.0, 8.0]);
    let mut found = Differences::default();
    left(&mut found, "R = 8", &half, 8.0, 0.1001218, None);
    found.holds(half.reach.cutters[0].clears == Some(true), || {
        format!("R = 5 clears {:?}", half.reach.cutters[0].clears)
    });
    let radius = half.reach.smallest_concave_radius_mm;
    found.close("smallest concave radius", radius, 5.066059, 0.03 * 5.066059);
    found.none("sine valley");
}

#[test]
fn a_radius_larger_than_the_cavity_is_found() {
    let mut found = Differences::default();
    // the second is beyond the ball that is as large by doublings of 1.5 as twice the cavity's diagonal lets
    for (radius, deep) in [(20.0, 0.890_1), (28.0, 0.628_7)] {
        // derived: a trough 11.8 wide and 10 long of this radius is R − √(R² − 5.9²) deep
        let half_width = (5.9_f64 / radius).asin().to_degrees();
        let up = radius * half_width.to_radians().cos();
        assert!((radius - up - deep).abs() < 1e-4, "{}", radius - up);
        let mut upper = vec![[-16.0, 0.0]];
        upper.extend(arc(
            [0.0, up],
            radius,
            -90.0 - half_width,
            -90.0 + half_width,
            64,
        ));
        upper.push([16.0, 0.0]);
        let half = vet(channel(&upper, 10.0), &[3.0]);
        let pm = half.reach.smallest_concave_radius_mm_pm.unwrap_or(0.0);
        let told = half.reach.smallest_concave_radius_mm;
        found.close("radius", told, radius, pm.min(0.01 * radius));
        found.close("depth", half.cavity.depth_mm, radius - up, 1e-6);
    }
    found.none("shallow trough");
}
