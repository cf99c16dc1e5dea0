//! What it will cost: cusps and steps, passes' direction, time, speeds, bending, stickouts, and the cutter set.
//!
//! Planning before toolpaths: figures and choices, no toolpaths and no machine code. All of it is estimates.

mod advice;
mod bending;
pub mod curve;
pub mod cusp;
mod cusp_map;
pub mod direction;
mod edges;
mod half;
mod known;
mod places;
mod set;
mod speed;
mod stickout;
mod time;
mod worth;

pub use advice::inputs;
pub use cusp_map::cusp_map;

use crate::mesh::{Creases, Model};
use crate::report::plan::{PLAN_FORMAT, Plan};
use crate::report::{Finding, HollowKind, Verdict};
use crate::setup::{self, Half, SetupConfig, Survey};
use crate::vet::check::{cell_of, take_out};
use crate::vet::doubt::Doubt;
use crate::vet::mate::mark_sockets;
use crate::vet::reach::{Contacts, Ground};
use crate::vet::{CheckConfig, CheckError, Stage};

/// An estimated time may be this many times longer; common practice, no source.
const TIME_RANGE: f64 = 1.5;

/// What a plan goes by.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanConfig {
    /// Shop, axis, cell, hollows and places that meet, as for the check; `fill_density` is not used.
    pub check: CheckConfig,
    /// Direction of the passes to be judged, degrees from the tool frame's X, counter-clockwise seen from the spindle; that of
    /// least time when `None`.
    pub direction_deg: Option<f64>,
    /// Their step in plan, mm; by the wanted cusp height when `None`.
    pub step: Option<f64>,
}

/// Plans one or two halves, given as bodies in one or two models; a half without a cavity is left out.
///
/// The same models and config give the same plan, whatever the number of threads. `progress` is told when a stage begins.
///
/// # Errors
/// As [`crate::vet::check()`].
pub fn plan(
    models: &[Model],
    config: &PlanConfig,
    progress: &(dyn Fn(Stage) + Sync),
) -> Result<Plan, CheckError> {
    let tell = |name, done| progress(Stage { name, done });
    tell("finding the halves", 0.0);
    let check = &config.check;
    let setup = setup::prepare(
        models,
        &SetupConfig {
            axis: check.axis,
            contact: check.shop.limits.contact,
            meets: check.meets.clone(),
        },
    )?;
    let mut surveys = Vec::new();
    for half in &setup.halves {
        tell("casting columns", 0.05);
        surveys.push(Survey::of(half, cell_of(half, check)?));
    }
    if let (Some(closing), [a, b]) = (&setup.closing, &mut surveys[..]) {
        mark_sockets(closing, a, b);
    }
    take_out(&setup, &mut surveys, &check.not_cavity);
    let mut halves = Vec::new();
    let share = 0.9 / setup.halves.len() as f64;
    for (k, (half, survey)) in setup.halves.iter().zip(&surveys).enumerate() {
        let from = 0.1 + share * k as f64;
        if survey.hollows.iter().any(|h| h.kind == HollowKind::Cavity) {
            halves.push(one(half, survey, config, &|name, done| {
                tell(name, from + share * done);
            }));
        }
    }
    let mut findings: Vec<Finding> = (setup.halves.iter().zip(&surveys))
        .filter_map(|(half, survey)| undecided(half, survey))
        .collect();
    findings.extend(advice::findings(&halves, &check.shop));
    tell("done", 1.0);
    Ok(Plan {
        format: PLAN_FORMAT.to_owned(),
        inputs: advice::inputs(config),
        halves,
        findings,
        cautions: advice::cautions(),
    })
}

/// Tells if what bounds the cavity is not told by the mesh.
fn undecided(half: &Half, survey: &Survey) -> Option<Finding> {
    let at = Doubt::of(half, survey).undecided?;
    Some(Finding {
        half: Some(half.name.clone()),
        at_mm: Some(half.frame.place(&at)),
        ..Finding::plain(
            "mesh",
            Verdict::Unsure,
            "What bounds a hollow is not told here: the mesh is open or inside out. The estimates may be off by all that lies \
             behind it; mend the mesh, and see what `check` says of it.",
        )
    })
}

fn one(
    half: &Half,
    survey: &Survey,
    config: &PlanConfig,
    progress: &dyn Fn(&'static str, f64),
) -> crate::report::plan::HalfPlan {
    let contacts = Contacts::of(half);
    let crease_deg = config.check.shop.limits.crease_deg;
    let creases = Creases::read(&half.mesh, &half.topology, crease_deg, half.rounding);
    let ground = Ground::of(half, survey, &contacts, creases);
    half::half_plan(&ground, config, progress)
}
