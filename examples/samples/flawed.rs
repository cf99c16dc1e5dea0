//! The flawed mold: the acorn stands, split across where the nut enters the cap. Half A holds cap
//! and stem, half B the nut; both are bodies of revolution about the tool axis. Sizes are invented.
//!
//! What is wrong in half A: the parting line lies above the cap's widest place, so the lip hooks; the
//! crown has a straight wall and a sharp floor corner; the stem is a narrow well too deep for short tools.

use super::pins::Pin;
use super::profile::{Corner, Profile};
use super::solid::{Facing, Solid};
use super::turned::{Turn, as_loop, sampled, sweep};

/// Half of each block's size along X and Y, mm.
pub const BLOCK_MM: [f64; 2] = [30.0, 25.0];
/// Thickness of each half, mm.
pub const THICKNESS_MM: f64 = 34.0;
/// Half A lies this far to the left of the file's origin, half B as far to the right, mm.
pub const APART_MM: f64 = 35.0;
/// Radius of the cavity's rim at the parting line, both halves, mm.
pub const RIM_MM: f64 = 14.2;
/// Radius at the lip, mm.
pub const LIP_MM: f64 = 14.0;
/// Depth of the lip's lower edge, mm.
pub const LIP_DEPTH_MM: f64 = 2.0;
/// Hook: how far the cap reaches under the lip, mm.
pub const HOOK_MM: f64 = 0.8;
/// Depth at which the wall under the lip ends, mm.
pub const HIDDEN_DEPTH_MM: f64 = 5.0;
/// Radius of the crown's straight wall and sharp floor corner, mm.
pub const CROWN_MM: f64 = 9.0;
/// Depth at which the straight wall begins, mm.
pub const CROWN_DEPTH_MM: f64 = 8.2;
/// Depth of the crown's floor, mm.
pub const FLOOR_DEPTH_MM: f64 = 14.2;
/// Radius of the stem's rounded end, mm.
pub const WELL_END_MM: f64 = 1.75;
/// Depth of the stem's end, mm.
pub const WELL_DEPTH_MM: f64 = 26.0;
/// Draft of the stem, degrees.
pub const WELL_DRAFT_DEG: f64 = 2.0;
/// Depth of the nut in half B, mm.
pub const NUT_DEPTH_MM: f64 = 27.0;
/// Locating pins of half A, places relative to its middle.
pub const PINS: [Pin; 2] = [
    Pin {
        at: [-23.0, 18.0],
        diameter: 6.0,
    },
    Pin {
        at: [23.0, -17.0],
        diameter: 5.0,
    },
];

/// Radius at which the nut's last flank would meet the plane of its deepest point, mm.
const NUT_END_MM: f64 = 2.2;
/// Nut: flank, shoulder, cone to the tip.
const NUT: [Corner; 4] = [
    (0.0, RIM_MM, 0.0),
    (-6.0, 13.8, 30.0),
    (-17.0, 11.5, 20.0),
    (-24.0, 6.5, 10.0),
];

/// Generatrix of half A's cavity, axis along Z: from the rim to the stem's end.
pub fn cap() -> Profile {
    let (end, mouth) = (well_end_corner(), well_mouth());
    let under = LIP_MM + HOOK_MM;
    Profile::rounded(&[
        (0.0, RIM_MM, 0.0),
        (-LIP_DEPTH_MM, LIP_MM, 0.0),
        (-LIP_DEPTH_MM, under, 0.0),
        (-HIDDEN_DEPTH_MM, under, 0.0),
        (-CROWN_DEPTH_MM, CROWN_MM, 0.0),
        (-FLOOR_DEPTH_MM, CROWN_MM, 0.0),
        (-FLOOR_DEPTH_MM, mouth, 0.0),
        (-WELL_DEPTH_MM, end, WELL_END_MM),
        (-WELL_DEPTH_MM, 0.0, 0.0),
    ])
}

/// Radius of the stem's mouth in the crown's floor, mm.
pub fn well_mouth() -> f64 {
    well_end_corner() + (WELL_DEPTH_MM - FLOOR_DEPTH_MM) * libm::tan(WELL_DRAFT_DEG.to_radians())
}

/// Where the stem's flank would meet the plane of its end, so that the end is a ball on the axis:
/// the rounding then uses up the whole floor, `r tan(turn / 2)` with a turn of 90° less the draft.
fn well_end_corner() -> f64 {
    WELL_END_MM * libm::tan(0.5 * (90.0 - WELL_DRAFT_DEG).to_radians())
}

/// Radius of the nut's rounded tip, mm: the smallest concave radius of half B.
pub fn nut_tip() -> f64 {
    let (z, r, _) = NUT[3];
    let turn = libm::atan2(NUT_DEPTH_MM + z, r - NUT_END_MM);
    NUT_END_MM / libm::tan(0.5 * turn)
}

/// Generatrix of half B's cavity, axis along Z: from the rim to the nut's tip.
pub fn nut() -> Profile {
    let mut corners = NUT.to_vec();
    corners.extend([
        (-NUT_DEPTH_MM, NUT_END_MM, nut_tip()),
        (-NUT_DEPTH_MM, 0.0, 0.0),
    ]);
    Profile::rounded(&corners)
}

/// Half A, laid open with its parting face up at Z = 0.
pub fn half_a() -> Solid {
    let holes = |solid: &mut Solid| PINS.map(|pin| pin.raise(solid, pin.at)).to_vec();
    half(&cap(), holes).mapped(false, |[x, y, z]| [x - APART_MM, y, z])
}

/// Half B, laid open beside A: to close the mold it turns over about the Y axis like a book's page.
pub fn half_b() -> Solid {
    let holes = |solid: &mut Solid| {
        PINS.map(|pin| pin.sink(solid, [-pin.at[0], pin.at[1]]))
            .to_vec()
    };
    half(&nut(), holes).mapped(false, |[x, y, z]| [x + APART_MM, y, z])
}

fn half(profile: &Profile, features: impl Fn(&mut Solid) -> Vec<Vec<[f64; 3]>>) -> Solid {
    let mut solid = Solid::default();
    let places = sampled(profile);
    let [rim, _] = sweep(&mut solid, &places, Turn::Full, |z, [x, y]| [x, y, z], true);
    let [hx, hy] = BLOCK_MM;
    solid.block_sides([-hx, -hy], [hx, hy], -THICKNESS_MM, [&[], &[]]);
    let mut holes = features(&mut solid);
    holes.push(as_loop(&rim));
    let outline = [
        [-hx, -hy, 0.0],
        [hx, -hy, 0.0],
        [hx, hy, 0.0],
        [-hx, hy, 0.0],
    ];
    solid.flat(
        Facing {
            axis: 2,
            positive: true,
        },
        &outline,
        &holes,
    );
    solid
}
