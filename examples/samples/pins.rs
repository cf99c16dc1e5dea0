//! Locating pins and their sockets. Sizes are invented.

use super::solid::{Place3, Solid};
use super::turned::{Turn, as_loop, ring};
use std::f64::consts::PI;

/// Height of a pin above the parting face, mm.
pub const PIN_HEIGHT_MM: f64 = 5.0;
/// Chamfer at the pin's top, 45°, mm.
pub const PIN_CHAMFER_MM: f64 = 0.5;
/// Depth of a socket, mm.
pub const SOCKET_DEPTH_MM: f64 = 6.0;
/// A socket's diameter less its pin's, mm.
pub const SOCKET_PLAY_MM: f64 = 0.1;

/// A pin of half A and its socket in half B.
#[derive(Debug, Clone, Copy)]
pub struct Pin {
    /// Axis in half A's file, mm.
    pub at: [f64; 2],
    /// Diameter of the pin, mm.
    pub diameter: f64,
}

impl Pin {
    /// Adds the pin, standing up from Z = 0 at `at`; returns the hole it makes in the parting face.
    pub fn raise(&self, solid: &mut Solid, at: [f64; 2]) -> Vec<Place3> {
        let r = 0.5 * self.diameter;
        let steps = [
            [0.0, r],
            [PIN_HEIGHT_MM - PIN_CHAMFER_MM, r],
            [PIN_HEIGHT_MM, r - PIN_CHAMFER_MM],
            [PIN_HEIGHT_MM, 0.0],
        ];
        stack(solid, at, &steps)
    }

    /// Adds the socket, going down from Z = 0 at `at`; returns the hole it makes in the parting face.
    pub fn sink(&self, solid: &mut Solid, at: [f64; 2]) -> Vec<Place3> {
        let r = self.socket_radius();
        stack(
            solid,
            at,
            &[[0.0, r], [-SOCKET_DEPTH_MM, r], [-SOCKET_DEPTH_MM, 0.0]],
        )
    }

    /// Volume of the pin, mm³.
    pub fn volume(&self) -> f64 {
        let (r, c) = (0.5 * self.diameter, PIN_CHAMFER_MM);
        let top = r - c;
        PI * (r * r * (PIN_HEIGHT_MM - c) + c * (r * r + r * top + top * top) / 3.0)
    }

    /// Area of the pin's surface, mm².
    pub fn area(&self) -> f64 {
        let (r, c) = (0.5 * self.diameter, PIN_CHAMFER_MM);
        let top = r - c;
        PI * (2.0 * r * (PIN_HEIGHT_MM - c) + (r + top) * c * 2f64.sqrt() + top * top)
    }

    /// Volume of the socket, mm³.
    pub fn socket_volume(&self) -> f64 {
        PI * self.socket_radius().powi(2) * SOCKET_DEPTH_MM
    }

    /// Area of the socket's surface, mm².
    pub fn socket_area(&self) -> f64 {
        let r = self.socket_radius();
        PI * r * (2.0 * SOCKET_DEPTH_MM + r)
    }

    /// Area of the parting face that the pin takes, mm².
    pub fn foot_area(&self) -> f64 {
        0.25 * PI * self.diameter * self.diameter
    }

    /// Area of the parting face that the socket takes, mm².
    pub fn mouth_area(&self) -> f64 {
        PI * self.socket_radius().powi(2)
    }

    fn socket_radius(&self) -> f64 {
        0.5 * (self.diameter + SOCKET_PLAY_MM)
    }
}

/// Cylinders, cones and discs about the upright axis through `at`, from the rim to the middle.
fn stack(solid: &mut Solid, at: [f64; 2], steps: &[[f64; 2]]) -> Vec<Place3> {
    let rings: Vec<Vec<Place3>> = steps
        .iter()
        .map(|&p| {
            let mut round = ring(p, Turn::Full, |z, [x, y]| [x, y, z]);
            round
                .iter_mut()
                .for_each(|q| (q[0], q[1]) = (q[0] + at[0], q[1] + at[1]));
            round
        })
        .collect();
    for pair in rings.windows(2) {
        solid.strip(&pair[0], &pair[1], true);
    }
    as_loop(&rings[0])
}
