//! The whole check: from bodies and shop to a report.

use super::blank::blank;
use super::cavity::cavity;
use super::cutting::Cutting;
use super::depth::{Bodies, deepest, guarded, stickout_needed};
use super::draft::draft;
use super::evidence::{Evidence, HalfEvidence};
use super::mate::{Side, mark_sockets, mating, pair_evidence};
use super::radius::{Untouched, smallest_radius};
use super::reach::{Ground, Place, Reached};
use super::shade::Shade;
use super::sharp::{Sharp, sharp_edges};
use super::surface::Surface;
use super::undercut::{sample_spacing, undercut};
use crate::field::{BallOffset, Dropper, Rays};
use crate::mesh::{Model, Vector};
use crate::report::{
    self, CutterReach, Depth, HollowKind, Reach, Report, SharpEdge, ToolDepth, Verdict,
};
use crate::setup::{self, Half, Setup, SetupConfig, SetupError, Survey};
use crate::shop::{Cutter, CutterKind, Shop};
use rayon::prelude::*;
use std::collections::BTreeMap;

/// What the check goes by.
#[derive(Debug, Clone, PartialEq)]
pub struct CheckConfig {
    /// Cutters, holders and limits.
    pub shop: Shop,
    /// Tool axis of the first half in model coordinates; found when `None`.
    pub axis: Option<Vector>,
    /// Side of a grid cell, mm; by the half's size when `None`.
    pub cell: Option<f64>,
    /// Hollows to take out: the one nearest to each X, Y of the model, mm.
    pub not_cavity: Vec<[f64; 2]>,
    /// Density of what is filled in, g/cm³.
    pub fill_density: Option<f64>,
}

/// How far the check has come.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stage {
    /// What is being done.
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
    /// A cell without size.
    #[error("a cell must be larger than zero; leave --cell out to have it chosen")]
    Cell,
}

/// Most columns of one half.
const MOST_COLUMNS: f64 = 1e8;
/// Cells along the longer side of a half when no cell is given.
const CELLS: f64 = 1200.0;
/// Smallest cell chosen, mm.
const LEAST_CELL: f64 = 0.01;
/// Stickout over diameter beyond which a tool bends and chatters at any setting; common practice, no source.
pub const SLENDER: f64 = 8.0;

/// Vets one or two halves, given as bodies in one or two models.
///
/// The same models and config give the same report, whatever the number of threads.
///
/// # Errors
/// When there is nothing that could be a mold half, or the grid would be too large.
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
        },
    )?;
    let mut surveys = Vec::new();
    for half in &setup.halves {
        progress(Stage {
            name: "casting columns",
            done: 0.1,
        });
        surveys.push(Survey::of(half, cell_of(half, config.cell)?));
    }
    if let (Some(closing), [a, b]) = (&setup.closing, &mut surveys[..]) {
        mark_sockets(closing, a, b);
    }
    take_out(&setup, &mut surveys, &config.not_cavity);
    let corner = |half: &Half| [half.bounds().0.x, half.bounds().0.y];
    let reliefs = setup.halves.iter().zip(&surveys);
    let mut evidence = Evidence {
        reliefs: reliefs
            .map(|(half, survey)| report::Relief::of(survey, corner(half)))
            .collect(),
        halves: Vec::new(),
        b_to_a: setup.closing.as_ref().map(|c| c.b_to_a),
        pair: None,
        part: None,
    };
    let mut halves = Vec::new();
    let mut surfaces = Vec::new();
    for (k, (half, survey)) in setup.halves.iter().zip(&surveys).enumerate() {
        let from = 0.15 + 0.85 * k as f64 / setup.halves.len() as f64;
        let share = 0.85 / setup.halves.len() as f64;
        let within = |name, done: f64| {
            progress(Stage {
                name,
                done: from + share * done,
            })
        };
        let (figures, surface) = vet_half(
            half,
            survey,
            config,
            &within,
            keep.then_some(&mut evidence.halves),
        );
        halves.push(figures);
        surfaces.push(surface);
    }
    let together = setup
        .closing
        .as_ref()
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
            let sides = [side(0), side(1)];
            let figures = mating(closing, &sides, limits, config.fill_density);
            if keep {
                evidence.pair = Some(pair_evidence(closing, &sides, &figures));
            }
            figures
        });
    if let Some(pair) = &mut evidence.pair {
        for (half, walls) in evidence.halves.iter_mut().zip(&mut pair.walls) {
            half.walls = std::mem::take(walls);
        }
    }
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
    report.verdict = worst(&report);
    progress(Stage {
        name: "done",
        done: 1.0,
    });
    Ok((report, evidence))
}

fn worst(report: &Report) -> Verdict {
    let checks = report.halves.iter().flat_map(|h| {
        [
            h.undercut.verdict,
            h.draft.verdict,
            h.reach.verdict,
            h.depth.verdict,
        ]
    });
    let mating = report.mating.iter().map(|m| m.verdict);
    checks
        .chain(mating)
        .chain(report.findings.iter().map(|f| f.verdict))
        .max()
        .unwrap_or(Verdict::Pass)
}

pub(crate) fn cell_of(half: &Half, given: Option<f64>) -> Result<f64, CheckError> {
    let (lo, hi) = half.bounds();
    let (x, y) = (hi.x - lo.x, hi.y - lo.y);
    let cell = given.unwrap_or_else(|| (x.max(y) / CELLS).max(LEAST_CELL));
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
    Ok(cell)
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
                let [x, y] = grid.centre(k % grid.nx, k / grid.nx);
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

fn vet_half(
    half: &Half,
    survey: &Survey,
    config: &CheckConfig,
    progress: &dyn Fn(&'static str, f64),
    evidence: Option<&mut Vec<HalfEvidence>>,
) -> (report::Half, Surface) {
    let limits = &config.shop.limits;
    progress("reading the surface", 0.0);
    let surface = Surface::of(half, survey, limits.crease_deg);
    let rays = Rays::new(&half.mesh);
    let shade = Shade::of(half, survey, &surface, &rays);
    let is_cavity = |h: u32| survey.hollows[h as usize].kind == HollowKind::Cavity;
    let any = survey.hollows.iter().any(|h| h.kind == HollowKind::Cavity);
    let sharp = sharp_edges(half, survey, &surface, &shade);
    progress("judging undercuts and draft", 0.1);
    let samples = if shade.any() {
        surface.samples(half, sample_spacing(survey), |_, f| is_cavity(f.hollow))
    } else {
        Vec::new()
    };
    let undercut = undercut(
        half,
        survey,
        &surface,
        &shade,
        &rays,
        &samples,
        limits.forgive,
    );
    let draft = draft(half, survey, &surface, limits);
    let dropper = Dropper::new(&half.mesh);
    let pieces = BallOffset::new(&half.mesh, &half.topology);
    let ground = Ground {
        half,
        survey,
        surface: &surface,
        shade: &shade,
        pieces: &pieces,
        rays: &rays,
        dropper: &dropper,
        sharp: &sharp,
    };
    let mut kept = evidence.is_some().then(|| HalfEvidence::of(&ground));
    let (reach, depth) = if any {
        reach_and_depth(&ground, &config.shop, progress, kept.as_mut())
    } else {
        without_cavity(&config.shop)
    };
    if let (Some(all), Some(kept)) = (evidence, kept) {
        all.push(kept);
    }
    let chord = surface
        .cavity(survey)
        .map(|(_, f)| f.chord_error)
        .fold(0.0, f64::max);
    let grid = survey.grid();
    let health = &half.health;
    let figures = report::Half {
        name: half.name.clone(),
        file: half.file.clone(),
        body: half.body,
        tool_axis: half.frame.axis.into(),
        tool_axis_why: half.axis_why.clone(),
        parting_level_mm: half.frame.level,
        parting_flat: half.parting == setup::Parting::Flat,
        touch_off_mm: Some(half.touch_off()),
        mesh: report::MeshHealth {
            triangles: health.triangles,
            vertices: health.vertices,
            closed: health.closed,
            open_edges: health.open_edges,
            nonmanifold_edges: health.nonmanifold_edges,
            degenerate_triangles: health.degenerate,
            duplicated_triangles: health.duplicated,
            flipped_triangles: health.flipped,
            inside_out: health.inside_out,
            size_mm: half.size,
            chord_error_mm: chord,
        },
        blank: blank(half),
        grid: report::GridInfo {
            cell_mm: grid.cell,
            columns: [grid.nx, grid.ny],
        },
        cavity: cavity(half, survey, &surface),
        undercut,
        draft,
        reach,
        depth,
    };
    (figures, surface)
}

/// Reach and depth of a half that has no cavity: no figure has a meaning.
fn without_cavity(shop: &Shop) -> (Reach, Depth) {
    let reach = Reach {
        verdict: Verdict::Pass,
        leave_mm: shop.limits.leave,
        smallest_concave_radius_mm: None,
        smallest_concave_radius_mm_pm: None,
        at_mm: None,
        sharp_edges: Vec::new(),
        smallest_ball_needed: None,
        best_ball: None,
        cutters: shop.cutters.iter().map(unknown_reach).collect(),
    };
    (
        reach,
        Depth {
            verdict: Verdict::Pass,
            tools: Vec::new(),
        },
    )
}

fn unknown_reach(cutter: &Cutter) -> CutterReach {
    CutterReach {
        name: cutter.name.clone(),
        kind: cutter.kind(),
        diameter_mm: cutter.diameter,
        corner_radius_mm: cutter.corner_radius,
        clears: None,
        left_height_mm: None,
        left_height_mm_pm: None,
        left_area_mm2: None,
        left_area_mm2_pm: None,
        left_volume_mm3: None,
        left_volume_mm3_pm: None,
        at_mm: None,
        stickout_needed_mm: None,
        stickout_needed_mm_pm: None,
    }
}

fn reach_and_depth(
    ground: &Ground,
    shop: &Shop,
    progress: &dyn Fn(&'static str, f64),
    mut evidence: Option<&mut HalfEvidence>,
) -> (Reach, Depth) {
    let limits = &shop.limits;
    let mut bodies = Bodies::default();
    let mut tools = Vec::new();
    let mut cutters = Vec::new();
    let mut left_by = None;
    let stock = shop.tools();
    for (k, cutter) in shop.cutters.iter().enumerate() {
        progress(
            "trying cutters",
            0.2 + 0.7 * k as f64 / shop.cutters.len() as f64,
        );
        let mut figures = unknown_reach(cutter);
        if let Some(mut cutting) =
            ground.cutting(cutter.radius(), cutter.corner_radius, limits.leave)
        {
            let reached = ground.reach(&mut cutting, limits.leave);
            fill_reach(&mut figures, ground, &reached, limits.leave);
            if let Some(kept) = evidence.as_mut() {
                let holder = shop.holder_of(cutter);
                kept.add(ground, &cutting, &reached, cutter, holder, limits);
            }
            if cutter.kind() == CutterKind::Ball
                && left_by
                    .as_ref()
                    .is_none_or(|l: &Untouched| cutter.radius() < l.radius)
            {
                let samples: Vec<_> = reached.untouched().collect();
                if !samples.is_empty() {
                    left_by = Some(Untouched {
                        radius: cutter.radius(),
                        samples,
                    });
                }
            }
            if let Some(holder) = shop.holder_of(cutter) {
                let guards = guarded(&cutter.tool(0.0, holder), cutter.radius(), limits);
                let needed = stickout_needed(
                    ground,
                    &cutting,
                    &reached,
                    &guards,
                    &mut bodies,
                    limits.leave,
                );
                figures.stickout_needed_mm = needed.map(|n| n.0);
                figures.stickout_needed_mm_pm = needed.map(|n| n.1);
            }
            for (_, tool) in stock.iter().filter(|(c, _)| *c == k) {
                tools.push(tool_depth(
                    ground,
                    &cutting,
                    &reached,
                    cutter,
                    tool,
                    limits,
                    &mut bodies,
                ));
            }
        }
        cutters.push(figures);
    }
    progress("finding the smallest radius", 0.9);
    let largest_ball = (shop.cutters.iter())
        .filter(|c| c.kind() == CutterKind::Ball)
        .map(Cutter::radius)
        .max_by(f64::total_cmp);
    let radius = concave_radius(ground, left_by, largest_ball);
    let needed = cutters
        .iter()
        .filter(|c| c.kind == CutterKind::Ball && c.clears == Some(true))
        .max_by(|a, b| a.diameter_mm.total_cmp(&b.diameter_mm));
    let best = cutters
        .iter()
        .filter(|c| c.kind == CutterKind::Ball)
        .filter_map(|c| Some((c.left_height_mm?, c.diameter_mm, c)))
        .min_by(|a, b| a.0.total_cmp(&b.0).then(b.1.total_cmp(&a.1)));
    let verdict = if needed.is_some() || cutters.iter().any(|c| c.clears == Some(true)) {
        Verdict::Pass
    } else if cutters.iter().any(|c| c.clears.is_none()) {
        Verdict::Unsure
    } else if set_clears(ground, shop) {
        Verdict::Pass
    } else {
        Verdict::Fail
    };
    let place = |p: &crate::mesh::Point| ground.half.frame.place(p);
    let reach = Reach {
        verdict,
        leave_mm: limits.leave,
        smallest_concave_radius_mm: radius.map(|r| r.0),
        smallest_concave_radius_mm_pm: radius.map(|r| r.1),
        at_mm: radius.map(|r| place(&r.2)),
        sharp_edges: ground
            .sharp
            .iter()
            .map(|s: &Sharp| SharpEdge {
                kind: s.kind,
                length_mm: s.length,
                at_mm: place(&s.at),
            })
            .collect(),
        smallest_ball_needed: needed.map(|c| c.name.clone()),
        best_ball: best.map(|b| b.2.name.clone()),
        cutters,
    };
    let verdict = depth_verdict(&tools, shop, &reach);
    (reach, Depth { verdict, tools })
}

fn fill_reach(figures: &mut CutterReach, ground: &Ground, reached: &Reached, leave: f64) {
    let Some((left, at)) = reached.worst else {
        return;
    };
    let pm = reached.worst_pm;
    figures.clears = if left + pm <= leave {
        Some(true)
    } else if left - pm > leave {
        Some(false)
    } else {
        None
    };
    figures.left_height_mm = Some(left);
    figures.left_height_mm_pm = Some(pm);
    figures.left_area_mm2 = Some(reached.left_area);
    figures.left_area_mm2_pm = Some(reached.left_area_pm);
    figures.left_volume_mm3 = Some(reached.left_volume);
    figures.left_volume_mm3_pm = Some(reached.left_volume_pm);
    figures.at_mm = Some(ground.half.frame.place(&at));
}

fn tool_depth(
    ground: &Ground,
    cutting: &Cutting,
    reached: &Reached,
    cutter: &Cutter,
    tool: &crate::shop::Tool,
    limits: &crate::shop::Limits,
    bodies: &mut Bodies,
) -> ToolDepth {
    let guards = guarded(tool, cutter.radius(), limits);
    let found = deepest(ground, cutting, reached, &guards, bodies, limits.leave);
    let at = found.blocked.map(|b| b.1).or(found.depth.map(|d| d.2));
    ToolDepth {
        name: tool.name.clone(),
        cutter: tool.cutter.clone(),
        stickout_mm: tool.stickout,
        holder: tool.holder.clone(),
        deepest_mm: found.depth.map(|d| d.0),
        deepest_mm_pm: found.depth.map(|d| d.1),
        reached_share: found.share.map(|s| s.0),
        reached_share_pm: found.share.map(|s| s.1),
        blocked_by: found.blocked.map(|b| b.0),
        at_mm: at.map(|p| ground.half.frame.place(&p)),
    }
}

/// Fail if no tool reaches what its cutter alone can; watch if only slender ones do, or none of the ball that is needed.
fn depth_verdict(tools: &[ToolDepth], shop: &Shop, reach: &Reach) -> Verdict {
    if tools.is_empty() {
        return Verdict::Pass;
    }
    let reaches = |t: &&ToolDepth| t.blocked_by.is_none() && t.reached_share.is_some();
    let diameter = |t: &ToolDepth| {
        shop.cutters
            .iter()
            .find(|c| c.name == t.cutter)
            .map_or(f64::INFINITY, |c| c.diameter)
    };
    let stout = |t: &&ToolDepth| t.stickout_mm <= SLENDER * diameter(t);
    let finisher = reach
        .smallest_ball_needed
        .as_ref()
        .or(reach.best_ball.as_ref());
    let finishes = |t: &&ToolDepth| finisher.is_none_or(|f| *f == t.cutter);
    if !tools.iter().any(|t| reaches(&t)) {
        Verdict::Fail
    } else if tools
        .iter()
        .filter(finishes)
        .any(|t| reaches(&t) && stout(&t))
    {
        Verdict::Pass
    } else {
        Verdict::Watch
    }
}

/// The smallest concave radius, its ± and its place, given what the smallest ball leaves that leaves anything, and the
/// largest ball's radius.
fn concave_radius(
    ground: &Ground,
    left_by: Option<Untouched>,
    largest_ball: Option<f64>,
) -> Option<(f64, f64, crate::mesh::Point)> {
    if let Some(sharp) = ground.sharp.first() {
        return Some((0.0, 0.0, sharp.at));
    }
    let (lo, hi) = ground.plan()?;
    let most = 2.0 * (hi[0] - lo[0]).hypot(hi[1] - lo[1]);
    // where no ball leaves anything, on from the largest
    let none = || Untouched {
        radius: largest_ball.unwrap_or(most / 64.0),
        samples: Vec::new(),
    };
    let first = left_by.unwrap_or_else(none);
    smallest_radius(ground, first, most).map(|r| (r.radius, r.pm, r.at))
}

/// Whether all cutters together leave nothing higher than the leave, where none of them does alone: what one leaves is
/// shown to the next.
fn set_clears(ground: &Ground, shop: &Shop) -> bool {
    let leave = shop.limits.leave;
    let mut left: Option<Vec<Place>> = None;
    for cutter in &shop.cutters {
        let Some(mut cutting) = ground.cutting(cutter.radius(), cutter.corner_radius, leave) else {
            return false;
        };
        left = Some(match left {
            None => {
                let reached = ground.reach(&mut cutting, leave);
                let high = reached
                    .samples
                    .iter()
                    .zip(&reached.nearest)
                    .filter(|(_, n)| n.left > leave);
                let mut places: Vec<_> = high
                    .map(|(s, _)| Place {
                        at: s.at,
                        normals: vec![s.normal],
                    })
                    .collect();
                places.extend(ground.sharp.iter().flat_map(|s| s.places.iter().cloned()));
                places
            }
            Some(places) => {
                let stays: Vec<bool> = places
                    .par_iter()
                    .map(|p| cutting.leaves(&p.at, &p.normals) > leave)
                    .collect();
                places
                    .into_iter()
                    .zip(stays)
                    .filter(|(_, s)| *s)
                    .map(|(p, _)| p)
                    .collect()
            }
        });
    }
    left.is_some_and(|places| places.is_empty())
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
    put("fill_density_g_cm3", json!(config.fill_density));
    put("shop", json!(config.shop.source));
    put("slender_limit", json!(SLENDER));
    put(
        "cutters",
        json!(
            config
                .shop
                .cutters
                .iter()
                .map(|c| json!({
                    "name": c.name,
                    "diameter_mm": c.diameter,
                    "corner_radius_mm": c.corner_radius,
                    "flute_length_mm": c.flute_length,
                    "neck_diameter_mm": c.neck.map(|n| n.diameter),
                    "neck_length_mm": c.neck.map(|n| n.length),
                    "shank_mm": c.shank,
                    "stickouts_mm": c.stickouts,
                    "holder": c.holder,
                }))
                .collect::<Vec<_>>()
        ),
    );
    put(
        "holders",
        json!(
            config
                .shop
                .holders
                .iter()
                .map(|h| json!({
                    "name": h.name,
                    "sections": h.sections.iter().map(|x| json!({
                        "lower_diameter_mm": x.lower_diameter,
                        "upper_diameter_mm": x.upper_diameter,
                        "height_mm": x.height,
                    })).collect::<Vec<_>>(),
                }))
                .collect::<Vec<_>>()
        ),
    );
    s
}
