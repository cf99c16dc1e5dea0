//! What the fuzz targets have in common.

pub mod invariants;
pub mod solid;
#[allow(dead_code, reason = "shared with tests")]
#[path = "../../tests/common/stl.rs"]
mod stl;

use moldvet::mesh::{Limits, Model, from_bytes};
use moldvet::units::Unit;
pub use stl::binary_stl;

/// Reads `bytes` as a model file and asserts what holds of every model; refusals are one sentence.
pub fn read(bytes: &[u8]) -> Option<Model> {
    let limits = Limits {
        triangles: 20_000,
        memory: 64 << 20,
    };
    match from_bytes(bytes, "model", Unit::Mm, &limits) {
        Ok(model) => {
            assert_sound(&model);
            Some(model)
        }
        Err(refusal) => {
            let told = refusal.to_string();
            assert!(told.starts_with("model: ") && told.len() < 1000, "{told}");
            None
        }
    }
}

fn assert_sound(model: &Model) {
    assert!(!model.bodies.is_empty() && model.rounding.is_finite());
    for body in &model.bodies {
        let mesh = &body.mesh;
        assert!(!mesh.triangles.is_empty());
        let corners = mesh.triangles.iter().flatten();
        assert!(corners.clone().all(|&v| (v as usize) < mesh.vertices.len()));
        let finite = |v: &moldvet::mesh::Point| v.iter().all(|c| c.is_finite());
        assert!(mesh.vertices.iter().all(finite));
        assert!(mesh.signed_volume().is_finite());
    }
}
