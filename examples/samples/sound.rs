//! The sound mold: the acorn lies on its side with its axis along X in the parting plane, so each
//! half holds half a body of revolution and the tool axis sees all of it. Sizes are invented.

use super::pins::Pin;
use super::profile::{Corner, Profile};
use super::solid::{Facing, Solid};
use super::turned::{Turn, as_loop, ring, sampled, sweep};

/// Half the block's size along X and Y, mm.
pub const BLOCK_MM: [f64; 2] = [40.0, 25.0];
/// Thickness of each half, mm.
pub const THICKNESS_MM: f64 = 28.0;
/// Radius of the wick channel, mm.
pub const WICK_MM: f64 = 2.0;
/// Radius that rounds the cap's lip: the smallest concave radius of the cavity, mm.
pub const LIP_MM: f64 = 1.7;
/// Locating pins, of unlike size and place so that the halves close one way only.
pub const PINS: [Pin; 2] = [
    Pin {
        at: [-30.0, 17.0],
        diameter: 6.0,
    },
    Pin {
        at: [31.0, -16.0],
        diameter: 5.0,
    },
];
/// Where the candle is cut off the wick channel and the pour gate, along X, mm.
pub const CANDLE_ENDS_MM: [f64; 2] = [-27.0, 26.0];

/// The body between wick channel and gate: tip, shoulder, flank, waist under the cap, lip, dome, stem.
const BODY: [Corner; 7] = [
    (-25.5, WICK_MM, 2.5),
    (-21.5, 9.0, 9.0),
    (-9.0, 14.0, 40.0),
    (4.0, 14.2, 1.0),
    (6.2, 17.6, LIP_MM),
    (14.5, 14.4, 12.0),
    (22.0, 3.6, 2.0),
];
/// Where the stem goes over into the pour gate.
const NECK: Corner = (27.0, 3.2, 4.0);
/// Radius of the gate's mouth at the block's side, mm.
const GATE_MM: f64 = 7.5;

/// Generatrix of the cavity, from side to side of the block: wick channel, acorn and pour gate in one.
pub fn generatrix() -> Profile {
    let mut corners = vec![(-BLOCK_MM[0], WICK_MM, 0.0)];
    corners.extend(BODY);
    corners.extend([NECK, (BLOCK_MM[0], GATE_MM, 0.0)]);
    Profile::rounded(&corners)
}

/// Generatrix of the candle, its two flat ends left out.
pub fn candle_generatrix() -> Profile {
    let (last, end) = (BODY[BODY.len() - 1], CANDLE_ENDS_MM[1]);
    let along = (end - last.0) / (NECK.0 - last.0);
    let mut corners = vec![(CANDLE_ENDS_MM[0], WICK_MM, 0.0)];
    corners.extend(BODY);
    corners.push((end, last.1 + along * (NECK.1 - last.1), 0.0));
    Profile::rounded(&corners)
}

/// Half A, below Z = 0, with the pins.
pub fn half_a() -> Solid {
    half(true)
}

/// Half B in closed position: above Z = 0, with the sockets.
pub fn half_b() -> Solid {
    half(false).mapped(true, |[x, y, z]| [x, y, -z])
}

fn half(pins: bool) -> Solid {
    let mut solid = Solid::default();
    let places = sampled(&generatrix());
    let [first, last] = sweep(
        &mut solid,
        &places,
        Turn::Half,
        |x, [y, z]| [x, y, -z],
        true,
    );
    let rising = |end: &[[f64; 3]]| end.iter().rev().copied().collect::<Vec<_>>();
    let [hx, hy] = BLOCK_MM;
    solid.block_sides(
        [-hx, -hy],
        [hx, hy],
        -THICKNESS_MM,
        [&rising(&first), &rising(&last)],
    );
    for side in [1.0, -1.0] {
        let mut outline: Vec<_> = places.iter().map(|&[x, r]| [x, side * r, 0.0]).collect();
        outline.extend([[hx, side * hy, 0.0], [-hx, side * hy, 0.0]]);
        let holes: Vec<_> = PINS
            .iter()
            .filter(|pin| pin.at[1] * side > 0.0)
            .map(|pin| {
                if pins {
                    pin.raise(&mut solid, pin.at)
                } else {
                    pin.sink(&mut solid, pin.at)
                }
            })
            .collect();
        solid.flat(
            Facing {
                axis: 2,
                positive: true,
            },
            &outline,
            &holes,
        );
    }
    solid
}

/// The candle, standing on its stem: axis along Z, foot at Z = 0, wick end up.
pub fn candle() -> Solid {
    let frame = |x, [across, up]: [f64; 2]| [across, up, CANDLE_ENDS_MM[1] - x];
    let mut solid = Solid::default();
    let places = sampled(&candle_generatrix());
    sweep(&mut solid, &places, Turn::Full, frame, false);
    for (place, positive) in [(places[0], true), (places[places.len() - 1], false)] {
        let end = as_loop(&ring(place, Turn::Full, frame));
        solid.flat(Facing { axis: 2, positive }, &end, &[]);
    }
    solid
}
