//! Worked values of the trade, each with its source, got through the library on small meshes.
//!
//! "Derived" is elementary geometry, worked out in the comment or in the expression. Where facets stand for a round
//! surface, tolerances allow for what they cut off, 1 − cos(π/128) = 3.0e-4 of a radius.

#[allow(dead_code, reason = "shared with other tests")]
#[path = "../common/mod.rs"]
mod common;
mod left_by_balls;
mod left_by_flats;
mod lowered;
mod rack;
mod release;
mod shapes;
mod solids;

use common::{Differences, balls};
use moldvet::mesh::{Mesh, Vector};
use moldvet::report::Half;
use shapes::model;

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
