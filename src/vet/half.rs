//! One half: every question that it answers alone.

use super::blank::blank;
use super::cavity::cavity;
use super::check::CheckConfig;
use super::cutters::{reach_and_depth, without_cavity};
use super::doubt::{self, Doubt};
use super::draft::draft;
use super::evidence::HalfEvidence;
use super::reach::{Contacts, Ground};
use super::readings;
use super::surface::Surface;
use super::undercut::{sample_spacing, undercut};
use crate::mesh::Creases;
use crate::report::{self, HollowKind};
use crate::setup::{self, Half, Survey};

/// Vets `half`, and its surface as it is read; pictures go by that reading.
///
/// Where edges turn near the crease angle the mesh may stand for another shape: that is vetted too, and figures hold in
/// both.
pub fn vet_half(
    half: &Half,
    survey: &Survey,
    config: &CheckConfig,
    progress: &dyn Fn(&'static str, f64),
    evidence: Option<&mut Vec<HalfEvidence>>,
) -> (report::Half, Surface) {
    progress("reading the surface", 0.0);
    let crease_deg = config.shop.limits.crease_deg;
    let (contacts, (creases, others)) = rayon::join(
        || Contacts::of(half),
        || {
            let creases = Creases::read(&half.mesh, &half.topology, crease_deg, half.rounding);
            let others = readings::others(half, survey, &creases, crease_deg);
            (creases, others)
        },
    );
    let share = 1.0 / (1 + others.len()) as f64;
    let part = |k: usize| {
        let from = share * k as f64;
        move |name, done: f64| progress(name, from + share * done)
    };
    let ground = Ground::of(half, survey, &contacts, creases);
    let mut kept = evidence.is_some().then(|| HalfEvidence::of(&ground));
    let mut figures = judge(&ground, config, &part(0), kept.as_mut());
    for (k, (edges, creases)) in others.into_iter().enumerate() {
        let other = Ground::of(half, survey, &contacts, creases);
        let other = judge(&other, config, &part(k + 1), None);
        if readings::hold_both(&mut figures, &other) {
            let own = &mut figures.mesh.two_readings_edges;
            *own = (*own).max(edges);
        }
    }
    if let (Some(all), Some(kept)) = (evidence, kept) {
        all.push(kept);
    }
    (figures, ground.surface)
}

/// Answers every question in one reading of the edges.
fn judge(
    ground: &Ground,
    config: &CheckConfig,
    progress: &dyn Fn(&'static str, f64),
    evidence: Option<&mut HalfEvidence>,
) -> report::Half {
    let Ground {
        half,
        survey,
        surface,
        shade,
        ..
    } = ground;
    let limits = &config.shop.limits;
    progress("judging undercuts and draft", 0.1);
    let is_cavity = |h: u32| survey.hollows[h as usize].kind == HollowKind::Cavity;
    let samples = if shade.any() {
        surface.samples(half, sample_spacing(survey), |_, f| is_cavity(f.hollow))
    } else {
        Vec::new()
    };
    let (reach, depth) = if survey.hollows.iter().any(|h| h.kind == HollowKind::Cavity) {
        reach_and_depth(ground, &config.shop, progress, evidence)
    } else {
        without_cavity(&config.shop)
    };
    let grid = survey.grid();
    report::Half {
        name: half.name.clone(),
        file: half.file.clone(),
        body: half.body,
        tool_axis: half.frame.axis.into(),
        tool_axis_why: half.axis_why.clone(),
        parting_level_mm: half.frame.level,
        parting_flat: half.parting == setup::Parting::Flat,
        touch_off_mm: Some(half.touch_off()),
        mesh: health(ground),
        blank: blank(half),
        grid: report::GridInfo {
            cell_mm: grid.cell,
            columns: [grid.nx, grid.ny],
        },
        cavity: cavity(half, survey, surface),
        undercut: undercut(ground, &samples, limits.forgive),
        draft: draft(half, survey, surface, limits),
        reach,
        depth,
    }
}

fn health(ground: &Ground) -> report::MeshHealth {
    let health = &ground.half.health;
    let doubt = Doubt::of(ground.half, ground.survey);
    report::MeshHealth {
        triangles: health.triangles,
        vertices: health.vertices,
        closed: health.closed,
        open_edges: health.open_edges,
        nonmanifold_edges: health.nonmanifold_edges,
        degenerate_triangles: health.degenerate,
        duplicated_triangles: health.duplicated,
        flipped_triangles: health.flipped,
        inside_out: health.inside_out,
        size_mm: ground.half.size,
        chord_error_mm: ground.surface.chord_error(ground.survey),
        two_readings_edges: 0,
        crossed_columns: doubt.crossed,
        crossed_at_mm: doubt::placed(ground.half, doubt.crossed_at),
        undecided_at_mm: doubt::placed(ground.half, doubt.undecided),
    }
}
