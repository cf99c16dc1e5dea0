//! The model of the thing to be molded, not of the mold: which way to pull, where the mold would part, and what the two
//! halves that this makes would be like.
//!
//! All is told of the body enlarged about the model's origin; places are in the model's coordinates, mm.

mod advice;
mod evidence;
mod halves;
mod hook;
mod level;
mod parting;
mod pull;
#[cfg(test)]
mod shapes;
mod skin;
#[cfg(test)]
mod tests;

pub use halves::VirtualHalf;

use crate::mesh::{self, Mesh, Model, Vector};
use crate::report::{self, Block, DraftBand, Finding, Pull, Report, Verdict};
use crate::setup::Frame;
use crate::units::Unit;
use crate::vet::{self, CheckConfig, CheckError, Evidence, Stage};
use pull::Candidate;
use rayon::prelude::*;
use serde_json::json;
use skin::Skin;

/// What the body is judged by.
#[derive(Debug, Clone, PartialEq)]
pub struct BodyConfig {
    /// How the virtual halves are checked; its `axis` is not used.
    pub check: CheckConfig,
    /// Direction to pull along and against, model coordinates, of any length but 0; searched for when `None`.
    pub pull: Option<Vector>,
    /// Flat parting level: distance along the pull from the model's origin, mm, after scaling; found when `None`.
    pub level: Option<f64>,
    /// Factor that the body is enlarged by about the model's origin, more than 0; 1 for none.
    pub scale: f64,
    /// Block around the body on all sides, mm, more than 0.
    pub margin: f64,
}

/// Block around the body that serves most molds, mm; common practice, no source.
pub const MARGIN: f64 = 10.0;

/// What was found, and the halves it was found on.
#[derive(Debug, Clone, PartialEq)]
pub struct Outcome {
    /// The report: of the body, and of those halves that have a cavity.
    pub report: Report,
    /// Lower and upper half; none where they could not be made, for which a finding says why.
    pub halves: Vec<VirtualHalf>,
}

impl Outcome {
    /// Says in the report to which files the halves were written: `path` gives that of `lower` and of `upper`; names alone are
    /// kept.
    pub fn name_files(&mut self, path: impl Fn(&str) -> std::path::PathBuf) {
        let report = &mut self.report;
        for block in report.body.iter_mut().flat_map(|b| &mut b.blocks) {
            let written = path(&block.name);
            let name = written.file_name().unwrap_or(written.as_os_str());
            let name = name.to_string_lossy().into_owned();
            for half in report.halves.iter_mut().filter(|h| h.file == block.file) {
                half.file.clone_from(&name);
            }
            block.file = name;
        }
    }
}

/// Why there is no report, or no halves.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum BodyError {
    /// The check of the halves failed.
    #[error(transparent)]
    Check(#[from] CheckError),
    /// No solid in the model of this name.
    #[error("{0}: no solid body in it; export the part as a closed solid")]
    NoBody(String),
    /// A pull without direction.
    #[error(
        "the pull has no direction; give three numbers that are not all zero, such as --pull 0,0,1"
    )]
    Pull,
    /// A scale or margin that makes no block: which.
    #[error("{0} must be more than 0")]
    NotPositive(&'static str),
    /// A parting level that misses the body.
    #[error(
        "the parting level of {level} mm misses the body, which reaches from {from:.3} to {to:.3} mm along the pull; \
             give a level between"
    )]
    Level {
        /// The level, mm.
        level: f64,
        /// The body's lowest place along the pull, mm.
        from: f64,
        /// Its highest, mm.
        to: f64,
    },
    /// The halves cannot be made: why.
    #[error("the halves of the mold cannot be made from this body: {0}")]
    NoHalves(&'static str),
}

/// Samples of the surface.
const SAMPLES: usize = 1 << 15;
/// Pulls that are reported.
const PULLS: usize = 3;
/// Ends of the draft bands, degrees.
const BANDS: [f64; 6] = [0.0, 0.05, 1.0, 3.0, 15.0, 90.0];

/// Looks at the largest body of `model`: finds the pull, parts it, and vets the two halves that this makes.
///
/// # Errors
/// When there is no body, a setting makes no sense, or the halves cannot be checked. Halves that cannot be made are a finding,
/// not an error, unless what is made of the body is no solid.
pub fn vet(
    model: &Model,
    config: &BodyConfig,
    progress: &(dyn Fn(Stage) + Sync),
) -> Result<Outcome, BodyError> {
    Ok(vet_with_evidence(model, config, progress, false)?.0)
}

/// Looks as [`vet()`] does, and keeps what pictures are drawn from: the small maps of the halves, and all if `pictures`.
///
/// # Errors
/// As [`vet()`].
pub fn vet_with_evidence(
    model: &Model,
    config: &BodyConfig,
    progress: &(dyn Fn(Stage) + Sync),
    pictures: bool,
) -> Result<(Outcome, Evidence), BodyError> {
    let body = largest(model, config)?;
    let mesh = scaled(&body.mesh, config.scale);
    let rounding = model.rounding * config.scale;
    let limits = &config.check.shop.limits;
    let begin = |name, done| progress(Stage { name, done });
    begin("reading the surface", 0.0);
    let skin = Skin::new(&mesh, &body.topology, limits.crease_deg, rounding, SAMPLES);
    begin("looking for the pull", 0.05);
    let (pulls, flat) = pulls(&skin, config.pull, limits.draft_deg)?;
    let first = pulls.first().ok_or(BodyError::Pull)?;
    let d = Vector::from(first.direction);
    let parting_level = parting_level(config, first, &skin)?;
    let (lo, hi) = mesh.bounds().unwrap_or_default();
    let mut section = report::Body {
        file: model.name.clone(),
        size_mm: (hi - lo).into(),
        fill_volume_mm3: mesh.signed_volume(),
        surface_mm2: skin.area,
        scale: config.scale,
        margin_mm: config.margin,
        pull_given: config.pull.is_some(),
        parting_level_mm: parting_level,
        lost_area_mm2: level::lost(&skin, &d, parting_level),
        pulls,
        blocks: Vec::new(),
    };
    let frame = Frame::new(d, parting_level);
    let built = halves_around(body, &skin, &frame, config.margin);
    let (mut report, mut evidence, halves) = match built {
        Ok(halves) => {
            section.blocks = halves.each_ref().map(|h| block(h, &model.name)).to_vec();
            let (report, evidence) =
                checked(&halves, &section.blocks, &d, config, progress, pictures)?;
            (report, evidence, halves.to_vec())
        }
        Err(error) => {
            let mut report = empty();
            report.findings.push(advice::unmade(&error));
            (report, Evidence::default(), Vec::new())
        }
    };
    if pictures {
        evidence.part = Some(evidence::part(&skin, frame, rounding));
    }
    note_settings(&mut report, config);
    let mut findings = advice::findings(&section, model, config);
    findings.extend(flat.map(|flat| advice::flat_instead(&section.pulls[0], flat)));
    tell_first(findings, &mut report);
    report.body = Some(section);
    Ok((Outcome { report, halves }, evidence))
}

/// The largest body, if the settings make sense.
fn largest<'m>(model: &'m Model, config: &BodyConfig) -> Result<&'m mesh::Body, BodyError> {
    let none = || BodyError::NoBody(model.name.clone());
    let body = model.bodies.first().ok_or_else(none)?;
    for (name, value) in [("the scale", config.scale), ("the margin", config.margin)] {
        if !(value > 0.0 && value.is_finite()) {
            return Err(BodyError::NotPositive(name));
        }
    }
    Ok(body)
}

/// The level given, or else the best one for the pull, mm along it; it must go through the body.
fn parting_level(config: &BodyConfig, pull: &Pull, skin: &Skin) -> Result<f64, BodyError> {
    let level = config.level.unwrap_or(pull.flat_level_mm);
    let (from, to) = along(skin.mesh, &Vector::from(pull.direction));
    if !(from - skin.tolerance..=to + skin.tolerance).contains(&level) {
        return Err(BodyError::Level { level, from, to });
    }
    Ok(level)
}

/// The halves around a body whose mesh is closed.
fn halves_around(
    body: &mesh::Body,
    skin: &Skin,
    frame: &Frame,
    margin: f64,
) -> Result<[VirtualHalf; 2], BodyError> {
    if !body.health.closed {
        return Err(BodyError::NoHalves(
            "its mesh is open; close it in the design and export it again",
        ));
    }
    halves::build(skin.mesh, frame, margin, skin.tolerance)
}

/// Puts `findings` among those of the report, before its own where they are as bad.
fn tell_first(mut findings: Vec<Finding>, report: &mut Report) {
    findings.append(&mut report.findings);
    findings.sort_by_key(|f| std::cmp::Reverse(f.verdict));
    let worst = findings.iter().map(|f| f.verdict).max();
    report.verdict = report.verdict.max(worst.unwrap_or(Verdict::Pass));
    report.findings = findings;
}

/// A pull beside the best one that parts flat, and its area short of draft.
type Flat = (Vector, f64);

/// The pull given, or the best ones found, best first; of those also one that would part flat.
fn pulls(
    skin: &Skin,
    given: Option<Vector>,
    draft_deg: f64,
) -> Result<(Vec<Pull>, Option<Flat>), BodyError> {
    let found = match given {
        Some(d) => {
            let d = d.try_normalize(1e-12).ok_or(BodyError::Pull)?;
            vec![Candidate::new(skin, d, 1)]
        }
        None => pull::search(skin, draft_deg, PULLS),
    };
    let pulls = found
        .par_iter()
        .map(|candidate| told(skin, candidate, draft_deg))
        .collect();
    // a given pull is meant
    let best = found.first().filter(|_| given.is_none());
    let flat = best.and_then(|best| pull::flat_beside(skin, draft_deg, best));
    Ok((pulls, flat.map(|c| (c.d, c.short(skin, draft_deg).0))))
}

fn scaled(mesh: &Mesh, scale: f64) -> Mesh {
    Mesh {
        vertices: mesh.vertices.iter().map(|p| p * scale).collect(),
        triangles: mesh.triangles.clone(),
    }
}

/// A half's block, in the file named after that of the body.
fn block(half: &VirtualHalf, body_file: &str) -> Block {
    let stem = body_file
        .rsplit_once('.')
        .map_or(body_file, |(stem, _)| stem);
    Block {
        name: half.name.to_owned(),
        file: format!("{stem}-{}.stl", half.name),
        has_cavity: half.has_cavity,
    }
}

/// What was asked for, in place of the axis that the pull sets.
fn note_settings(report: &mut Report, config: &BodyConfig) {
    report.settings.remove("axis");
    let settings = [
        ("scale", json!(config.scale)),
        ("margin_mm", json!(config.margin)),
        ("pull", json!(config.pull.map(|d| [d.x, d.y, d.z]))),
        ("parting_level_mm", json!(config.level)),
    ];
    report
        .settings
        .extend(settings.map(|(key, value)| (key.to_owned(), value)));
}

/// Extent of the mesh along `d`.
fn along(mesh: &Mesh, d: &Vector) -> (f64, f64) {
    mesh.vertices
        .iter()
        .map(|p| p.coords.dot(d))
        .fold((f64::MAX, f64::MIN), |(lo, hi), z| (lo.min(z), hi.max(z)))
}

/// The figures of one pull.
fn told(skin: &Skin, candidate: &Candidate, draft_deg: f64) -> Pull {
    let d = &candidate.d;
    let (short, short_pm) = candidate.short(skin, draft_deg);
    let line = candidate.line(skin);
    let level = level::best(skin, d, line);
    let hook = hook::largest(skin, d);
    let below = |deg: f64| skin.short(d, deg.to_radians().sin());
    let bands = BANDS.windows(2).map(|ends| DraftBand {
        from_deg: ends[0],
        to_deg: ends[1],
        area_mm2: (if ends[1] < 90.0 {
            below(ends[1])
        } else {
            skin.area
        }) - below(ends[0]),
    });
    Pull {
        direction: (*d).into(),
        hidden_area_mm2: candidate.hidden.area,
        hidden_area_mm2_pm: candidate.hidden.pm,
        hook_mm: hook.map_or(0.0, |h| h.0),
        hook_mm_pm: hook.map_or(0.0, |h| h.1),
        hook_at_mm: hook.map(|h| h.2.coords.into()),
        short_area_mm2: short,
        short_area_mm2_pm: short_pm,
        bands: bands.collect(),
        parting_length_mm: line.length,
        parting_flatness_mm: line.flatness,
        flat_level_mm: level.at,
        flat_lost_area_mm2: level.lost,
        parting_line: line
            .loops
            .iter()
            .map(|l| l.points.iter().map(|p| p.coords.into()).collect())
            .collect(),
    }
}

/// The check of the halves that have a cavity, as if they had been read from their files.
fn checked(
    halves: &[VirtualHalf; 2],
    blocks: &[Block],
    d: &Vector,
    config: &BodyConfig,
    progress: &(dyn Fn(Stage) + Sync),
    pictures: bool,
) -> Result<(Report, Evidence), BodyError> {
    let read = |(half, block): (&VirtualHalf, &Block)| {
        mesh::from_bytes(&half.stl(), &block.file, Unit::Mm, &mesh::Limits::default())
    };
    let with_cavity: Vec<_> = halves
        .iter()
        .zip(blocks)
        .filter(|(half, _)| half.has_cavity)
        .collect();
    let axis = if halves[0].has_cavity { *d } else { -d };
    let models: Result<Vec<Model>, _> = with_cavity.into_iter().map(read).collect();
    let models = models.map_err(|_| BodyError::NoHalves("the block made from it is no solid"))?;
    let check = CheckConfig {
        axis: Some(axis),
        ..config.check.clone()
    };
    let within = |stage: Stage| {
        progress(Stage {
            done: 0.3 + 0.7 * stage.done,
            ..stage
        });
    };
    Ok(vet::check_with_evidence(
        &models, &check, &within, pictures,
    )?)
}

fn empty() -> Report {
    Report {
        format: report::FORMAT.to_owned(),
        units: "mm".to_owned(),
        verdict: Verdict::Pass,
        settings: Default::default(),
        halves: Vec::new(),
        mating: None,
        body: None,
        findings: Vec::new(),
        plan: None,
    }
}
