//! The sample models and their truths: a two-half mold for an acorn-shaped beeswax candle.
//!
//! All sizes are invented demo data. Every surface is a plane, or a surface of revolution whose
//! generatrix is a chain of lines and circular arcs, so the figures in [`truth`] are closed forms.

pub mod flawed;
pub mod pins;
pub mod profile;
pub mod solid;
pub mod sound;
pub mod truth;
pub mod turned;

use solid::{Solid, binary_stl};

/// Line of the README after which the table of truths stands.
const TABLE_BEGINS: &str =
    "<!-- table written by `cargo run --release --example make_samples` -->\n";
/// Line of the README before which it ends.
const TABLE_ENDS: &str = "<!-- end of table -->\n";

/// A model file.
pub struct Model {
    /// File name.
    pub name: &'static str,
    /// Title in the file's header.
    pub title: &'static str,
    /// Millimetres in one unit of the file.
    pub mm_per_unit: f64,
    /// Solids in the order in which they stand in the file, mm.
    pub solids: Vec<Solid>,
}

impl Model {
    /// The file's bytes.
    pub fn stl(&self) -> Vec<u8> {
        let solids: Vec<_> = self.solids.iter().collect();
        binary_stl(self.title, self.mm_per_unit, &solids)
    }
}

/// All model files.
pub fn models() -> Vec<Model> {
    let (sound_a, sound_b) = (sound::half_a(), sound::half_b());
    vec![
        Model {
            name: "acorn-sound.stl",
            title: "Acorn candle mold, sound, closed; invented demo data; mm",
            mm_per_unit: 1.0,
            solids: vec![sound_a.clone(), sound_b],
        },
        Model {
            name: "acorn-flawed.stl",
            title: "Acorn candle mold, flawed, laid open; invented demo data; mm",
            mm_per_unit: 1.0,
            solids: vec![flawed::half_a(), flawed::half_b()],
        },
        Model {
            name: "acorn-candle.stl",
            title: "Acorn candle; invented demo data; mm",
            mm_per_unit: 1.0,
            solids: vec![sound::candle()],
        },
        Model {
            name: "acorn-half-inch.stl",
            title: "Acorn candle mold, sound, half A; invented demo data; inches",
            mm_per_unit: 25.4,
            solids: vec![sound_a],
        },
    ]
}

/// `readme` with its table of truths brought up to date; `None` if it has no place for one.
pub fn readme_with_table(readme: &str) -> Option<String> {
    let (before, rest) = readme.split_once(TABLE_BEGINS)?;
    let (_, after) = rest.split_once(TABLE_ENDS)?;
    Some([before, TABLE_BEGINS, &truth::table(), TABLE_ENDS, after].concat())
}
