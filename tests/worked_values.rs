//! Worked values of the trade, each with its source, got through the library on small meshes.
//!
//! "Derived" is elementary geometry, worked out in the comment or in the expression. Where facets stand for a round
//! surface, tolerances allow for what they cut off, 1 − cos(π/128) = 3.0e-4 of a radius.

#[allow(dead_code, reason = "shared with other tests")]
mod common;
#[path = "worked_values/shapes.rs"]
mod shapes;

use common::{Differences, balls, model_of, ring, tower};
use moldvet::field::{Dropper, Profile};
use moldvet::mesh::{Mesh, Vector};
use moldvet::report::{Blocker, Half, HollowKind, Verdict};
use moldvet::shop::{Cutter, Holder, Limits, Section};
use moldvet::units::{Unit, parse_angle, parse_length};
use moldvet::vet::{guarded, tip_depth_at};
use shapes::{arc, channel, model, pit, pit_of, pocket, sphere};
use std::f64::consts::{PI, SQRT_2};

/// The report's half for a mesh with balls of these radii.
fn vet(mesh: Mesh, radii: &[f64]) -> Half {
    vet_with(mesh, radii, 1.0)
}

/// As [`vet`], with this draft required, degrees.
fn vet_with(mesh: Mesh, radii: &[f64], draft_deg: f64) -> Half {
    let mut config = balls(&radii.iter().map(|r| 2.0 * r).collect::<Vec<_>>());
    config.axis = Some(Vector::z());
    config.cell = Some(0.1);
    config.shop.limits.draft_deg = draft_deg;
    let mut report = common::report(&[model(mesh)], &config);
    assert_eq!(report.halves.len(), 1);
    report.halves.remove(0)
}

/// What is left by the ball of radius `r`: its height within its own ± and 3 %, its volume within its own ± and 5 %.
fn left(
    found: &mut Differences,
    what: &str,
    half: &Half,
    r: f64,
    height: f64,
    volume: Option<f64>,
) {
    let cutters = &half.reach.cutters;
    let ball = cutters.iter().find(|c| c.diameter_mm == 2.0 * r).unwrap();
    let name = format!("{what}, left height");
    let pm = ball.left_height_mm_pm.unwrap_or(0.0);
    found.close(&name, ball.left_height_mm, height, pm.min(0.03 * height));
    if let Some(volume) = volume {
        let name = format!("{what}, left volume");
        let pm = ball.left_volume_mm3_pm.unwrap_or(0.0);
        found.close(&name, ball.left_volume_mm3, volume, pm.min(0.05 * volume));
    }
}

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

/// Depth below Z = 0 of the tip of a ball of radius `r` that is lowered at plan place (x, 0) until it touches.
fn tip_depth(mesh: &Mesh, r: f64, x: f64) -> f64 {
    let contact = Dropper::new(mesh).centre_height(Profile::ball(r), x, 0.0);
    r - contact.unwrap().z
}

/// Angle between walls θ: a ball of radius R leaves R(1/sin(θ/2) − 1) in the edge.
fn corner_gap(r: f64, degrees: f64) -> f64 {
    r * (1.0 / (0.5 * degrees).to_radians().sin() - 1.0)
}

#[test]
fn units() {
    let mut found = Differences::default();
    // inch = 25.4 mm exactly: ISO 80000-3 and the international yard and pound agreement of 1959 (from memory)
    let lengths = [
        ("1/8in", 3.175),
        ("0.125\"", 3.175),
        ("1 1/2in", 38.1),
        ("3.175mm", 3.175),
    ];
    for (text, mm) in lengths {
        found.close(text, parse_length(text, None).ok(), mm, 1e-12);
    }
    found.close(
        "bare inch",
        parse_length("0.25", Some(Unit::Inch)).ok(),
        6.35,
        1e-12,
    );
    found.close("angle", parse_angle("1.5").ok(), 1.5, 0.0);
    // derived: an inch read as a millimetre is out by 25.4³ = 16387.064 in volume
    let mut bytes = Vec::new();
    for unit in [Unit::Mm, Unit::Inch] {
        bytes.push(cube_of_10(unit).signed_volume());
    }
    found.close("cubic inch", bytes[1] / bytes[0], 16387.064, 1e-6);
    found.none("units");
}

fn cube_of_10(unit: Unit) -> Mesh {
    let mut cube = model_of(&tower(&[ring(5.0, 5.0, 0.0), ring(5.0, 5.0, 10.0)]), unit);
    cube.bodies.remove(0).mesh
}

#[test]
fn volumes_of_meshes() {
    let mut found = Differences::default();
    // divergence theorem, Σ v1·(v2 × v3)/6 (derived)
    found.close("cube", cube_of_10(Unit::Mm).signed_volume(), 1000.0, 1e-9);
    // derived: (n/2) r² sin(2π/n) H for the prism that stands for a cylinder, and the like for each band of the sphere
    let prism = shapes::turned(&[[0.0, 0.0], [10.0, 0.0], [10.0, 20.0], [0.0, 20.0]], 64);
    found.close("64-sided prism", prism.signed_volume(), 6273.096981, 1e-6);
    found.close(
        "sphere of 32 × 16",
        sphere(10.0, 32, 16).signed_volume(),
        4121.941741,
        1e-6,
    );
    found.none("volumes");
}

#[test]
fn ball_over_planes_corners_and_slots() {
    let mut found = Differences::default();
    // derived: on a plane of slope β the tip stands R(1/cos β − 1) above the plane
    for (slope, lift) in [(45.0_f64, 1.2426407), (60.0, 3.0)] {
        let rise = 30.0 * slope.to_radians().tan();
        let ramp = channel(&[[-30.0, -rise], [30.0, rise]], 60.0);
        let what = format!("tip lift on {slope}°");
        found.close(&what, -tip_depth(&ramp, 3.0, 0.0), lift, 1e-7);
    }
    // derived: over a corner at plan distance d the tip stands at √(R² − d²) − R
    let needle = shapes::turned(&[[0.0, 0.0], [0.1, -50.0], [0.0, -50.0]], 12);
    found.close(
        "over a corner",
        tip_depth(&needle, 3.0, 2.0),
        0.7639320,
        1e-7,
    );
    // derived: in a slot of width w a ball sinks R − √(R² − (w/2)²), and so between two points w apart
    let slot = pocket([40.0, 4.0], 10.0, 0.0);
    found.close("in a slot", tip_depth(&slot, 3.0, 0.0), 0.7639320, 1e-7);
    let ridges = channel(
        &[
            [-4.0, -9.0],
            [-2.0, 0.0],
            [0.0, -9.0],
            [2.0, 0.0],
            [4.0, -9.0],
        ],
        30.0,
    );
    found.close(
        "between ridges",
        tip_depth(&ridges, 3.0, 0.0),
        0.7639320,
        1e-7,
    );
    // derived: a ball of 5 sinks 2 into a hemispherical pit of 4, its centre at √(5² − 4²) = 3 above the rim
    let bowl = pit(&arc([0.0, 0.0], 4.0, -90.0, 0.0, 48));
    found.close("in a hemisphere", tip_depth(&bowl, 5.0, 0.0), 2.0, 2e-3);
    found.none("balls lowered");
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

/// As [`vet`], with cutters of these diameters and corner radii.
fn vet_with_corners(mesh: Mesh, cutters: &[[f64; 2]]) -> Half {
    let mut config = balls(&cutters.iter().map(|c| c[0]).collect::<Vec<_>>());
    for (cutter, [_, corner]) in config.shop.cutters.iter_mut().zip(cutters) {
        cutter.corner_radius = *corner;
    }
    config.axis = Some(Vector::z());
    config.cell = Some(0.1);
    common::report(&[model(mesh)], &config).halves.remove(0)
}

/// The mesh moved in plan, so that nothing in it is alike on both sides of the origin nor lies on the grid.
fn moved(mut mesh: Mesh, x: f64, y: f64) -> Mesh {
    (mesh.vertices.iter_mut()).for_each(|p| *p += Vector::new(x, y, 0.0));
    mesh
}

#[test]
fn left_in_a_sharp_pocket_by_a_flat_and_a_bull_nose() {
    let ([a, b], h) = ([20.03, 14.07], 6.0);
    let cutters = [[4.0, 0.0], [6.0, 1.0]];
    let half = vet_with_corners(moved(pocket([a, b], h, 0.0), 37.31, -12.84), &cutters);
    let mut found = Differences::default();
    for [d, r] in cutters {
        // derived: the axis stays R off the walls, so the circle of the corner's centres stays R√2 − f off the upright edge and
        // r above the floor
        let (big, f) = (0.5 * d, 0.5 * d - r);
        let height = (big * SQRT_2 - f).hypot(r) - r;
        // derived: z above the floor the cutter is ρ = f + √(r² − (r − z)²) wide, and leaves strips R − ρ wide along the walls
        // and (4 − π)ρ² in the corners; integrated from 0 to r, and on up to the rim
        let corners =
            big * big * (h - r) + f * f * r + f * PI * r * r / 2.0 + 2.0 / 3.0 * r.powi(3);
        let volume = (4.0 - PI) * corners + 2.0 * (a + b) * r * r * (1.0 - PI / 4.0)
            - 4.0 * r.powi(3) * (5.0 / 3.0 - PI / 2.0);
        let what = format!("cutter {d} with corners of {r}");
        left(&mut found, &what, &half, big, height, Some(volume));
    }
    found.none("pocket 20.03 × 14.07 × 6");
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

/// The foot of a round wall lies between the nodes both ways, all around: a flat cutter still reaches it.
#[test]
fn left_at_the_foot_of_a_round_wall_by_a_flat_and_a_bull_nose() {
    let (wall, depth) = (15.0, 8.0);
    let cutters = [[5.0, 0.0], [6.0, 1.0], [12.0, 0.0]];
    let profile = [[0.0, -depth], [wall, -depth], [wall, 0.0]];
    let half = vet_with_corners(moved(pit_of(&profile, 384), 3.71, -2.84), &cutters);
    let mut found = Differences::default();
    for ([d, r], cutter) in cutters.into_iter().zip(&half.reach.cutters) {
        let what = format!("cutter {d} with corners of {r}");
        // derived: of a square corner a round one of r leaves r (√2 − 1); the facets' upright edges hold R (1 / cos(π / 384) − 1)
        // more, which is for the chord error to tell
        let height = r * (SQRT_2 - 1.0);
        let own = cutter.left_height_mm_pm.unwrap_or(0.0);
        found.close(&what, cutter.left_height_mm, height, own);
        found.holds(own < 0.0025, || format!("{what}: ± {own}"));
        found.holds(cutter.clears == Some(r == 0.0), || {
            format!("{what}: clears {:?}", cutter.clears)
        });
    }
    found.none("round pocket of 15 × 8");
}

#[test]
fn left_in_v_grooves_by_a_flat_and_a_bull_nose() {
    let mut found = Differences::default();
    let cutters = [[4.0, 0.0], [6.0, 1.0]];
    for angle in [60.0_f64, 120.0] {
        let (sin, cos) = (0.5 * angle).to_radians().sin_cos();
        let (depth, x) = (9.0, 5.037);
        let w = depth * sin / cos;
        let upper = [
            [-w - 10.0, 0.0],
            [-w, 0.0],
            [0.0, -depth],
            [w, 0.0],
            [w + 10.0, 0.0],
        ];
        let half = vet_with_corners(moved(channel(&upper, 20.0), x, 1.3), &cutters);
        for [d, r] in cutters {
            // derived: corners of r about centres f to either side of the axis touch the walls at height (r + f cos α) / sin α over
            // the edge, α half the angle; the flat part stands r lower
            let height = (r + (0.5 * d - r) * cos) / sin - r;
            let what = format!("{angle}°, cutter {d} with corners of {r}");
            left(&mut found, &what, &half, 0.5 * d, height, None);
        }
    }
    found.none("V grooves");
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

/// Depth of the tip of a 6 mm ball on a wider shank that begins `flutes` above the tip, beside the wall of a pocket 60 deep
/// with `draft`, where the ball touches floor and wall.
fn beside_wall(draft: f64, shank: f64, flutes: f64) -> (f64, Option<Blocker>) {
    let (r, depth, slope) = (3.0, 60.0, draft.to_radians());
    let mesh = pocket([100.0, 100.0], depth, depth * slope.tan());
    let x = 50.0 + r * slope.tan() - r / slope.cos();
    let mut cutter = Cutter::ball(2.0 * r);
    cutter.shank = Some(shank);
    cutter.flute_length = Some(flutes);
    let holder = Holder {
        name: "as the shank".into(),
        sections: vec![Section {
            lower_diameter: shank,
            upper_diameter: shank,
            height: 50.0,
        }],
    };
    let limits = Limits {
        shank_clearance: 0.0,
        holder_clearance: 0.0,
        ..Limits::default()
    };
    let guards = guarded(&cutter.tool(100.0, &holder), r, &limits);
    tip_depth_at(&Dropper::new(&mesh), Profile::ball(r), &guards, x, 0.0).unwrap()
}

#[test]
fn a_thick_shank_beside_a_wall_with_draft() {
    let mut found = Differences::default();
    // derived: at height z over the ball's centre a tangent wall is R/cos δ + z tan δ from the axis, so a shank of radius 5
    // is clear of 3° from z = 38.08372 on; the tip lies R lower, and each millimetre less of flutes lifts it by one. A tool
    // may touch 0.1 µm deep, which beside this wall is 0.1 µm / tan 3° = 2 µm of height
    let clear = 38.08372 + 3.0;
    for (flutes, depth) in [
        (clear + 0.001, 60.0),
        (clear - 1.0, 59.0),
        (35.0, 60.0 - 6.08372),
    ] {
        let what = format!("flutes {flutes}");
        let (at, by) = beside_wall(3.0, 10.0, flutes);
        found.close(&what, at, depth, 2.1e-3);
        let blocked = (depth < 60.0).then_some(Blocker::Shank);
        found.holds(by == blocked, || format!("{what}: {by:?}"));
    }
    // derived: the least draft for a shank of radius 4 that begins 20 over the centre is the root of R/cos δ + z tan δ = r_s,
    // 2.851775°
    for (draft, blocked) in [(2.8530, None), (2.8505, Some(Blocker::Shank))] {
        let (_, by) = beside_wall(draft, 8.0, 23.0);
        found.holds(by == blocked, || format!("{draft}°: {by:?}"));
    }
    found.none("shank");
}

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
fn volumes_of_cavities() {
    let mut found = Differences::default();
    // derived: πr²H/3 and half of 2π²ar² (Pappus)
    let half = vet(pit(&[[0.0, -20.0], [10.0, 0.0]]), &[3.0]);
    found.close("cone", half.cavity.volume_mm3, 2094.39510, 1e-3 * 2094.0);
    let mut ring = vec![[0.0, 0.0]];
    ring.extend(arc([20.0, 0.0], 5.0, -180.0, 0.0, 96));
    let half = vet(pit(&ring), &[3.0]);
    found.close(
        "half a ring",
        half.cavity.volume_mm3,
        4934.80220,
        1e-3 * 4934.0,
    );
    found.close("its depth", half.cavity.depth_mm, 5.0, 1e-6);
    // facets lie within their chord error, and are no deeper than by that at the bottom, however they lean at the rim
    let chord = half.mesh.chord_error_mm;
    let pm = half.cavity.depth_mm_pm.unwrap_or(0.0);
    found.holds(pm > 0.0 && pm <= 1.001 * chord + 1e-6, || {
        format!("depth ± {pm}, chord error {chord}")
    });
    let [area, pm] = [half.cavity.surface_mm2, half.cavity.volume_mm3_pm].map(|v| v.unwrap_or(0.0));
    let off = (half.cavity.volume_mm3.unwrap_or(0.0) - 4934.80220).abs();
    found.holds(off <= pm && pm <= 1.001 * chord * area + 1e-3, || {
        format!("volume ± {pm}, off by {off}, chord error {chord} over {area}")
    });
    // derived: (64/2)·10²·sin(2π/64)·20, a prism and not the cylinder it stands for
    let half = vet(
        pit_of(&[[0.0, -20.0], [10.0, -20.0], [10.0, 0.0]], 64),
        &[3.0],
    );
    found.close("64-sided prism", half.cavity.volume_mm3, 6273.096981, 1e-5);
    // derived: chord error r(1 − cos(π/n))
    let chord = 10.0 * (1.0 - (PI / 64.0).cos());
    assert!((chord - 0.0120454379).abs() < 1e-9);
    found.close(
        "its chord error",
        half.mesh.chord_error_mm,
        chord,
        0.05 * chord,
    );
    found.none("volumes");
}

#[test]
fn a_hole_in_the_floor_is_no_part_of_the_cavity() {
    // a pit 12 wide to each side and 6 deep, with a hole of 2.5 through 5 of stock in the middle of its floor
    let outline = [
        [2.5, -11.0],
        [22.0, -11.0],
        [22.0, 0.0],
        [12.0, 0.0],
        [12.0, -6.0],
        [2.5, -6.0],
    ];
    let half = vet(shapes::ring(&outline, 64), &[1.0]);
    // derived: the polygon that stands for a circle, its floor carried across the mouth
    let polygon = |r: f64| 32.0 * r * r * (2.0 * PI / 64.0).sin();
    let mut found = Differences::default();
    // the mouth's area is counted in cells of 0.1 mm
    let pm = half.cavity.volume_mm3_pm.unwrap_or(0.0);
    let pit = 6.0 * polygon(12.0);
    found.close("pit", half.cavity.volume_mm3, pit, pm.min(0.002 * pit));
    found.close("depth", half.cavity.depth_mm, 6.0, 1e-6);
    let kinds: Vec<_> = half.cavity.hollows.iter().map(|h| h.kind).collect();
    assert_eq!(kinds, [HollowKind::Cavity, HollowKind::Through]);
    let hole = &half.cavity.hollows[1];
    let volume = 5.0 * polygon(2.5);
    found.close("hole", hole.volume_mm3, volume, 0.03 * volume);
    found.close("its depth", hole.depth_mm, 11.0, 1e-6);
    found.none("pit with a hole in its floor");
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
