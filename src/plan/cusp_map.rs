//! Where on the surface the planned passes leave which cusps.

use super::curve::Form;
use super::cusp;
use crate::mesh::{Creases, Point, Topology};
use crate::report::plan::HalfPlan;
use crate::vet::{HalfEvidence, Valued};
use rayon::prelude::*;

/// Height of the cusps that the planned passes of the finishing ball leave, in one direction, at every place of the
/// evidence that the ball touches within `leave`; never more than the ball's radius. Empty without a finishing ball.
///
/// `plan` and `kept` are of the same half; places are in its tool frame, heights and `leave` mm. `crease_deg` is what smooth
/// edges turn by at most.
pub fn cusp_map(plan: &HalfPlan, kept: &HalfEvidence, leave: f64, crease_deg: f64) -> Vec<Valued> {
    let found = || {
        let finisher = plan.finisher.as_deref()?;
        let ball = plan.balls.iter().find(|b| b.name == finisher)?;
        let passes = plan
            .directions
            .as_ref()?
            .cusps
            .iter()
            .find(|c| !c.crossed)?;
        let cutter = kept.cutters.iter().find(|c| c.name == finisher)?;
        Some((0.5 * ball.diameter_mm, passes, cutter))
    };
    let Some((radius, passes, cutter)) = found() else {
        return Vec::new();
    };
    let mesh = &kept.mesh;
    let topology = Topology::new(mesh);
    let creases = Creases::read(mesh, &topology, crease_deg, kept.rounding);
    let form = Form::read(mesh, &topology, &creases);
    let across = cusp::across(passes.direction_deg);
    let height = |at: &Point, t: usize| {
        let n = form.normal(mesh, t, at);
        let short = cusp::foreshortening(&n, &across);
        match cusp::across_on(&n, &across) {
            Some(w) if short > 0.0 => {
                cusp::height(radius, passes.step_mm / short, form.curvature(t, &w))
            }
            _ => f64::INFINITY,
        }
    };
    cutter
        .places
        .par_iter()
        .filter(|p| f64::from(p.left) <= leave)
        .map(|p| Valued {
            at: p.at,
            triangle: p.triangle,
            value: height(&Point::from(p.at.map(f64::from)), p.triangle as usize).min(radius)
                as f32,
        })
        .collect()
}
