//! Tools lowered until they touch: tips over planes, corners and slots, shanks beside walls.

use crate::common::Differences;
use crate::shapes::{arc, channel, pit, pocket};
use moldvet::field::{Dropper, Profile};
use moldvet::mesh::Mesh;
use moldvet::report::Blocker;
use moldvet::shop::{Cutter, Holder, Limits, Section};
use moldvet::vet::{guarded, tip_depth_at};

/// Depth below Z = 0 of the tip of a ball of radius `r` that is lowered at plan place (x, 0) until it touches.
fn tip_depth(mesh: &Mesh, r: f64, x: f64) -> f64 {
    let contact = Dropper::new(mesh).centre_height(Profile::ball(r), x, 0.0);
    r - contact.unwrap().z
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
    let needle = crate::shapes::turned(&[[0.0, 0.0], [0.1, -50.0], [0.0, -50.0]], 12);
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
