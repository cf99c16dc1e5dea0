//! A shape of the sweep as a file.

use super::mesh::Place;
use super::random::Random;
use super::shapes::Shape;
use moldvet::units::Unit;

/// A shape as a file, with its truth moved to the file's frame.
pub struct Filed {
    /// The mesh in its local frame, the truth in the file's.
    pub shape: Shape,
    /// The file, binary STL.
    pub bytes: Vec<u8>,
    /// Its unit.
    pub unit: Unit,
    /// The cavity's middle at the parting level, mm.
    pub at_parting: [f64; 3],
    /// Coarsest step of the file's coordinates, mm.
    pub rounding: f64,
}

impl Filed {
    /// Laid as `seed` tells: in a unit, a direction and a place.
    pub fn new(seed: u64, mut shape: Shape) -> Self {
        // where it lies is drawn apart, so that the shape does not hang on it
        let mut random = Random::new(seed ^ 0x5eed_0000_0000_0000);
        let unit = if random.chance(0.3) {
            Unit::Inch
        } else {
            Unit::Mm
        };
        let axes = random.rotation();
        let offset = [0; 3].map(|_| random.within(-200.0, 200.0));
        let to_file = |p: Place| {
            [0, 1, 2].map(|k| axes[k].iter().zip(p).map(|(a, b)| a * b).sum::<f64>() + offset[k])
        };
        let mm = unit.in_mm();
        let bytes = shape.mesh.stl(mm, to_file);
        let largest = (shape.mesh.points.iter())
            .flat_map(|&p| to_file(p))
            .map(|c| (c / mm).abs())
            .fold(0.0, f64::max);
        let axis = [0, 1, 2].map(|k| axes[k][2]);
        shape.truth.tool_axis = axis;
        shape.truth.parting_level_mm = axis.iter().zip(offset).map(|(a, o)| a * o).sum();
        Filed {
            shape,
            bytes,
            unit,
            at_parting: offset,
            rounding: largest * f64::from(f32::EPSILON) * mm,
        }
    }
}
