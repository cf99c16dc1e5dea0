//! The whole check: from bodies and shop to a report.

use super::cutters::SLENDER;
use super::doubt;
use super::evidence::{Evidence, HalfEvidence};
use super::half::vet_half;
use super::mate::{Side, mark_sockets, mating, pair_evidence};
use super::surface::Surface;
use crate::mesh::{Mesh, Model, Vector};
use crate::report::{self, HollowKind, Report, Verdict};
use crate::setup::{self, Closing, Half, Setup, SetupConfig, SetupError, Survey};
use crate::shop::{Cutter, CutterKind, Holder, Section, Shop};
use std::collections::BTreeMap;

/// What the check goes by.
#[derive(Debug, Clone, PartialEq)]
pub struct CheckConfig {
    /// Cutters, holders and limits.
    pub shop: Shop,
    /// Tool axis of the first half in model coordinates; found when `None`.
    pub axis: Option<Vector>,
    /// Side of a grid cell, mm; by the half's size and the smallest ball when `None`.
    pub cell: Option<f64>,
    /// Hollows to take out of the cavity: of both halves the one nearest to each X, Y of its model, mm.
    pub not_cavity: Vec<[f64; 2]>,
    /// Places of the first half and of the second that meet when closed, model coordinates, mm: see [`SetupConfig::meets`].
    pub meets: Vec<[crate::mesh::Point; 2]>,
    /// Density of what is filled in, g/cm³; `None`: no weight is told.
    pub fill_density: Option<f64>,
}

/// How far the check has come.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stage {
    /// What is being done, in a few words.
    pub name: &'static str,
    /// Share done of the whole, 0 to 1.
    pub done: f64,
}

/// Why there is no report.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CheckError {
    /// The halves could not be set up.
    #[error(transparent)]
    Setup(#[from] SetupError),
    /// The grid would have more columns than fit.
    #[error(
        "a cell of {cell} mm over {size:.1} mm gives {columns:.1e} columns, more than {limit:.0e}; use a larger --cell"
    )]
    TooManyColumns {
        /// Side of a cell, mm.
        cell: f64,
        /// Longer side of the half in plan, mm.
        size: f64,
        /// Columns that it would take.
        columns: f64,
        /// Most that are taken.
        limit: f64,
    },
    /// The half has so many level surfaces over one another that its columns would not fit.
    #[error(
        "with a cell of {cell} mm the columns cross the surface {crossings:.1e} times, more than {limit:.0e}; use a larger --cell"
    )]
    TooManyCrossings {
        /// Side of a cell, mm.
        cell: f64,
        /// Crossings that it would take.
        crossings: f64,
        /// Most that are taken.
        limit: f64,
    },
    /// A cell without size.
    #[error("a cell must be larger than zero; leave --cell out to have it chosen")]
    Cell,
}

/// Most columns of one half.
const MOST_COLUMNS: f64 = 1e8;
/// Most crossings of one half's columns with its surface, 3 GiB: twice those of as many columns through a block.
const MOST_CROSSINGS: f64 = 4e8;
/// Cells along the longer side of a half when no cell is given, at the least,
const CELLS: f64 = 1200.0;
/// and at the most.
const MOST_CELLS: f64 = 2400.0;
/// Smallest cell chosen, mm.
const LEAST_CELL: f64 = 0.01;
/// Cells across the narrowest slot that the smallest ball enters.
const ACROSS: f64 = 8.0;

/// Vets one or two halves, given as bodies in one or two models.
///
/// The same models and config give the same report, whatever the number of threads. `progress` is told when a stage begins.
///
/// # Errors
/// As [`setup::prepare`]; or a cell of no size, or one so small that a half has more than 10⁸ columns, or that these cross its surface
/// more than 4 · 10⁸ times.
pub fn check(
    models: &[Model],
    config: &CheckConfig,
    progress: &(dyn Fn(Stage) + Sync),
) -> Result<Report, CheckError> {
    Ok(checked(models, config, progress, false)?.0)
}

/// Vets as [`check`] does, and keeps what pictures are drawn from: the small maps, and all if `pictures`.
///
/// # Errors
/// As [`check`].
pub fn check_with_evidence(
    models: &[Model],
    config: &CheckConfig,
    progress: &(dyn Fn(Stage) + Sync),
    pictures: bool,
) -> Result<(Report, Evidence), CheckError> {
    checked(models, config, progress, pictures)
}

fn checked(
    models: &[Model],
    config: &CheckConfig,
    progress: &(dyn Fn(Stage) + Sync),
    keep: bool,
) -> Result<(Report, Evidence), CheckError> {
    progress(Stage {
        name: "finding the halves",
        done: 0.0,
    });
    let limits = &config.shop.limits;
    let setup = setup::prepare(
        models,
        &SetupConfig {
            axis: config.axis,
            contact: limits.contact,
            meets: config.meets.clone(),
        },
    )?;
    let surveys = surveyed(&setup, config, progress)?;
    let mut evidence = reliefs(&setup, &surveys);
    let kept = keep.then_some(&mut evidence.halves);
    let (halves, surfaces) = judged(&setup, &surveys, config, progress, kept);
    let together = (setup.closing.as_ref())
        .filter(|_| halves.len() == 2)
        .map(|closing| {
            let side = |k: usize| Side {
                half: &setup.halves[k],
                survey: &surveys[k],
                surface: &surfaces[k],
                cavity: &halves[k].cavity,
                undercut: &halves[k].undercut,
                draft: &halves[k].draft,
            };
            let kept = keep.then_some(&mut evidence);
            together(closing, &[side(0), side(1)], config, kept)
        });
    let mut report = Report {
        format: report::FORMAT.to_owned(),
        units: "mm".to_owned(),
        verdict: Verdict::Pass,
        settings: settings(config),
        halves,
        mating: together,
        body: None,
        findings: Vec::new(),
        plan: None,
    };
    report.findings = report::findings(&report, &setup, models, &config.shop);
    doubt::let_none_pass(&mut report);
    report.verdict = worst(&report);
    progress(Stage {
        name: "done",
        done: 1.0,
    });
    Ok((report, evidence))
}

/// The evidence with the halves' small maps.
fn reliefs(setup: &Setup, surveys: &[Survey]) -> Evidence {
    let relief = |(half, survey): (&Half, &Survey)| {
        let lo = half.bounds().0;
        report::Relief::of(survey, [lo.x, lo.y])
    };
    Evidence {
        reliefs: setup.halves.iter().zip(surveys).map(relief).collect(),
        halves: Vec::new(),
        b_to_a: setup.closing.as_ref().map(|c| c.b_to_a),
        pair: None,
        part: None,
    }
}

/// The halves' columns and hollows, sockets and what was taken out marked.
fn surveyed(
    setup: &Setup,
    config: &CheckConfig,
    progress: &(dyn Fn(Stage) + Sync),
) -> Result<Vec<Survey>, CheckError> {
    let mut surveys = Vec::new();
    for half in &setup.halves {
        progress(Stage {
            name: "casting columns",
            done: 0.1,
        });
        let cell = cell_of(half, config)?;
        crossings_fit(&half.mesh, cell)?;
        surveys.push(Survey::of(half, cell));
    }
    if let (Some(closing), [a, b]) = (&setup.closing, &mut surveys[..]) {
        mark_sockets(closing, a, b);
    }
    take_out(setup, &mut surveys, &config.not_cavity);
    Ok(surveys)
}

/// Each half alone, and its surface.
fn judged(
    setup: &Setup,
    surveys: &[Survey],
    config: &CheckConfig,
    progress: &(dyn Fn(Stage) + Sync),
    mut evidence: Option<&mut Vec<HalfEvidence>>,
) -> (Vec<report::Half>, Vec<Surface>) {
    let share = 0.85 / setup.halves.len() as f64;
    let each = setup.halves.iter().zip(surveys).enumerate();
    each.map(|(k, (half, survey))| {
        let from = 0.15 + share * k as f64;
        let within = |name, done: f64| {
            progress(Stage {
                name,
                done: from + share * done,
            })
        };
        vet_half(half, survey, config, &within, evidence.as_deref_mut())
    })
    .unzip()
}

/// The two halves together; what pictures of them are drawn from goes into `evidence`.
fn together(
    closing: &Closing,
    sides: &[Side; 2],
    config: &CheckConfig,
    evidence: Option<&mut Evidence>,
) -> report::Mating {
    let figures = mating(closing, sides, &config.shop.limits, config.fill_density);
    if let Some(evidence) = evidence {
        let mut pair = pair_evidence(closing, sides, &figures);
        for (half, walls) in evidence.halves.iter_mut().zip(&mut pair.walls) {
            half.walls = std::mem::take(walls);
        }
        evidence.pair = Some(pair);
    }
    figures
}

fn worst(report: &Report) -> Verdict {
    let checks = report.halves.iter().flat_map(|h| h.verdicts().map(|v| v.1));
    let mating = report.mating.iter().map(|m| m.verdict);
    checks
        .chain(mating)
        .chain(report.findings.iter().map(|f| f.verdict))
        .max()
        .unwrap_or(Verdict::Pass)
}

/// Side of a cell of the half's columns, mm: the one given, or else a 1200th of its longer side, and less where the smallest ball
/// asks for it, down to a 2400th.
///
/// Columns find hollows and what hangs over; no cutter is judged on them. So they have to show the narrowest slot that the
/// smallest ball of radius R enters, with eight cells across (R / 4), and between two of them the surface that this ball leaves
/// may rise by no more than what may stay: δ² / 8R ≤ leave. Finer figures come from the triangles, not from more columns: from a
/// 1200th to a 2400th of the side a check takes up to 25 % more processor time and 130 to 160 MB, and only the ± of the hidden
/// area, in proportion to the cell, gets smaller.
///
/// # Errors
/// If the cell given has no size, or makes more columns than fit.
pub(crate) fn cell_of(half: &Half, config: &CheckConfig) -> Result<f64, CheckError> {
    let (lo, hi) = half.bounds();
    Ok(columns_of([hi.x - lo.x, hi.y - lo.y], config)?.0)
}

/// Refuses a mesh, in the tool frame, whose columns with this side of a cell, mm, cross its surface too often.
fn crossings_fit(mesh: &Mesh, cell: f64) -> Result<(), CheckError> {
    let plan = |t: usize| 0.5 * mesh.area_normal(t).z.abs();
    let level: f64 = (0..mesh.triangles.len()).map(plan).sum();
    let crossings = level / (cell * cell);
    match crossings > MOST_CROSSINGS {
        true => Err(CheckError::TooManyCrossings {
            cell,
            crossings,
            limit: MOST_CROSSINGS,
        }),
        false => Ok(()),
    }
}

/// Side of a cell, mm, and number of columns of a half with these sides in plan, mm: for an estimate of memory before a check.
///
/// # Errors
/// If the cell given has no size, or makes more than 10⁸ columns.
pub fn columns_of([x, y]: [f64; 2], config: &CheckConfig) -> Result<(f64, f64), CheckError> {
    let cell = (config.cell).unwrap_or_else(|| chosen_cell(x.max(y), &config.shop));
    if cell.is_nan() || cell <= 0.0 {
        return Err(CheckError::Cell);
    }
    let columns = (x / cell) * (y / cell);
    if columns > MOST_COLUMNS {
        return Err(CheckError::TooManyColumns {
            cell,
            size: x.max(y),
            columns,
            limit: MOST_COLUMNS,
        });
    }
    Ok((cell, columns))
}

fn chosen_cell(size: f64, shop: &Shop) -> f64 {
    let balls = (shop.cutters.iter()).filter(|c| c.kind() == CutterKind::Ball);
    let wanted = balls
        .map(|c| {
            let radius = c.radius();
            let cusp = (8.0 * radius * shop.limits.leave).sqrt();
            (2.0 * radius / ACROSS).min(cusp)
        })
        .fold(size / CELLS, f64::min);
    wanted.max(size / MOST_CELLS).max(LEAST_CELL)
}

/// Takes out, for each place, the hollow of either half that lies nearest to it in the model's X and Y.
pub(crate) fn take_out(setup: &Setup, surveys: &mut [Survey], places: &[[f64; 2]]) {
    for place in places {
        let mut nearest: Option<(f64, usize, usize)> = None;
        for (s, (half, survey)) in setup.halves.iter().zip(surveys.iter()).enumerate() {
            let grid = survey.grid();
            for k in 0..grid.len() {
                let Some(h) = survey.hollow_at(k) else {
                    continue;
                };
                let [x, y] = grid.centre_of(k);
                let z = survey.top.get(k).map_or(0.0, f64::from);
                let p = half.frame.place(&crate::mesh::Point::new(x, y, z));
                let away = (p[0] - place[0]).hypot(p[1] - place[1]);
                if nearest.is_none_or(|n| away < n.0) {
                    nearest = Some((away, s, h));
                }
            }
        }
        if let Some((_, s, h)) = nearest {
            surveys[s].hollows[h].kind = HollowKind::Other;
        }
    }
}

fn settings(config: &CheckConfig) -> BTreeMap<String, serde_json::Value> {
    use serde_json::json;
    let limits = &config.shop.limits;
    let mut s = BTreeMap::new();
    let mut put = |key: &str, value: serde_json::Value| {
        s.insert(key.to_owned(), value);
    };
    put("leave_mm", json!(limits.leave));
    put("draft_deg", json!(limits.draft_deg));
    put("wall_mm", json!(limits.wall));
    put("forgive_mm", json!(limits.forgive));
    put("shank_clearance_mm", json!(limits.shank_clearance));
    put("holder_clearance_mm", json!(limits.holder_clearance));
    put("crease_deg", json!(limits.crease_deg));
    put("contact_mm", json!(limits.contact));
    put("draft_min_area_mm2", json!(limits.draft_min_area));
    put("cell_mm", json!(config.cell));
    put("axis", json!(config.axis.map(|a| [a.x, a.y, a.z])));
    put("not_cavity_mm", json!(config.not_cavity));
    let meets = config.meets.iter().map(|m| m.map(|p| [p.x, p.y, p.z]));
    put("meets_mm", json!(meets.collect::<Vec<_>>()));
    put("fill_density_g_cm3", json!(config.fill_density));
    put("shop", json!(config.shop.source));
    put("slender_limit", json!(SLENDER));
    let all = config.shop.cutters.iter().map(cutter_json);
    put("cutters", all.collect());
    let all = config.shop.holders.iter().map(holder_json);
    put("holders", all.collect());
    s
}

fn cutter_json(c: &Cutter) -> serde_json::Value {
    serde_json::json!({
        "name": c.name,
        "diameter_mm": c.diameter,
        "corner_radius_mm": c.corner_radius,
        "flute_length_mm": c.flute_length,
        "neck_diameter_mm": c.neck.map(|n| n.diameter),
        "neck_length_mm": c.neck.map(|n| n.length),
        "shank_mm": c.shank,
        "stickouts_mm": c.stickouts,
        "holder": c.holder,
    })
}

fn holder_json(h: &Holder) -> serde_json::Value {
    let section = |x: &Section| {
        serde_json::json!({
            "lower_diameter_mm": x.lower_diameter,
            "upper_diameter_mm": x.upper_diameter,
            "height_mm": x.height,
        })
    };
    let sections: Vec<_> = h.sections.iter().map(section).collect();
    serde_json::json!({ "name": h.name, "sections": sections })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_cell_follows_the_size_the_smallest_ball_and_the_leave() {
        let cell = |size: f64, diameters: &[f64], leave: f64| {
            let mut shop = Shop::builtin();
            shop.with_balls(diameters.to_vec()).unwrap();
            shop.limits.leave = leave;
            chosen_cell(size, &shop)
        };
        let is = |a: f64, b: f64| (a - b).abs() < 1e-12;
        // 120 / 1200; the ball asks for no more than 4 / 8
        assert!(is(cell(120.0, &[4.0, 10.0], 0.02), 0.1));
        // 1 mm ball: 1 / 8 is less than 240 / 1200
        assert!(is(cell(240.0, &[1.0, 10.0], 0.02), 0.125));
        // and leave 0.002: √(8 · 0.5 · 0.002) is less still, but a 2400th is the least
        assert!(is(cell(240.0, &[1.0], 0.002), 0.1));
        assert!(is(cell(120.0, &[1.0], 0.002), 0.008_f64.sqrt()));
        assert!(is(cell(1.0, &[1.0], 0.02), LEAST_CELL));
    }

    #[test]
    fn a_cell_that_cannot_be_is_refused_with_what_to_do() {
        let of = |cell: f64| {
            let config = CheckConfig {
                shop: Shop::builtin(),
                axis: None,
                cell: Some(cell),
                not_cavity: Vec::new(),
                meets: Vec::new(),
                fill_density: None,
            };
            columns_of([200.0, 100.0], &config)
        };
        assert_eq!(of(0.1), Ok((0.1, 2e6)));
        let said = of(0.01).unwrap_err().to_string();
        assert!(
            said.contains("gives 2.0e8 columns, more than 1e8; use a larger --cell"),
            "{said}"
        );
        let said = of(0.0).unwrap_err().to_string();
        assert!(said.contains("leave --cell out"), "{said}");
    }

    #[test]
    fn columns_that_cross_the_surface_too_often_are_refused() {
        use crate::mesh::testing::{block, joined};
        // 100 plates of 10 x 10 mm over one another: 200 crossings a column
        let plates = joined(&vec![block([10.0, 10.0, 0.5]); 100]);
        // 4e8 / 200 columns fit, a thousand by two thousand
        assert!(crossings_fit(&plates, 0.0071).is_ok());
        let refused = crossings_fit(&plates, 0.007).unwrap_err().to_string();
        assert!(refused.contains("4.1e8 times"), "{refused}");
    }
}
