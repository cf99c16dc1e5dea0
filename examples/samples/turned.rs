//! Surfaces of revolution as meshes whose corners lie on the true surface.

use super::profile::{Place, Profile};
use super::solid::{Place3, Solid};

/// Largest distance between a facet and the surface it stands for, mm.
pub const CHORD_MM: f64 = 0.005;

/// Chord along the generatrix and around the axis; a facet strays by no more than their sum.
const CHORD_EACH_WAY_MM: f64 = 0.5 * CHORD_MM;

/// How far around the axis a surface goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Turn {
    /// All around.
    Full,
    /// From the second direction's positive side through the third's to the second's negative side.
    Half,
}

/// Where a surface of revolution stands: the images of an axial place and of the two directions across.
pub type Frame = fn(axial: f64, across: [f64; 2]) -> Place3;

/// Places along a generatrix for a mesh within [`CHORD_MM`].
pub fn sampled(profile: &Profile) -> Vec<Place> {
    let mut places = profile.sampled(CHORD_EACH_WAY_MM);
    // a rounding that ends on the axis ends within arithmetic of it
    places
        .iter_mut()
        .filter(|p| p[1].abs() < 1e-9)
        .for_each(|p| p[1] = 0.0);
    places
}

/// The circle through a place of the generatrix, first place repeated at the end of a full turn.
///
/// The number of sides comes from a short list of multiples of eight, so that neighbours
/// mostly agree and the quarter turns are corners.
pub fn ring([axial, r]: Place, turn: Turn, frame: Frame) -> Vec<Place3> {
    let needed = if r > CHORD_EACH_WAY_MM {
        std::f64::consts::PI / libm::acos(1.0 - CHORD_EACH_WAY_MM / r)
    } else {
        1.0
    };
    let sides = [32, 48, 64, 80, 96, 112, 128, 144, 160, 192, 256]
        .into_iter()
        .find(|&n| n as f64 >= needed)
        .expect("radii up to 33 mm");
    let last = if turn == Turn::Full { sides } else { sides / 2 };
    (0..=last)
        .map(|k| frame(axial, on_circle(k, sides).map(|c| r * c)))
        .collect()
}

/// Place `k` of `n` on the unit circle, exact at the quarter turns; `n` is a multiple of four.
fn on_circle(k: usize, n: usize) -> [f64; 2] {
    let (quarter, rest) = (4 * k / n % 4, 4 * k % n);
    let angle = 0.5 * std::f64::consts::PI * rest as f64 / n as f64;
    let (c, s) = (libm::cos(angle), libm::sin(angle));
    match quarter {
        0 => [c, s],
        1 => [-s, c],
        2 => [-c, -s],
        _ => [s, -c],
    }
}

/// Adds the surface swept by `places` and returns its first and last ring.
pub fn sweep(
    solid: &mut Solid,
    places: &[Place],
    turn: Turn,
    frame: Frame,
    turned: bool,
) -> [Vec<Place3>; 2] {
    let rings: Vec<_> = places.iter().map(|&p| ring(p, turn, frame)).collect();
    for pair in rings.windows(2) {
        solid.strip(&pair[0], &pair[1], turned);
    }
    [rings[0].clone(), rings[rings.len() - 1].clone()]
}

/// A ring of a full turn without its repeated first place.
pub fn as_loop(ring: &[Place3]) -> Vec<Place3> {
    ring[1..].to_vec()
}
