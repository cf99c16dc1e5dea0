//! Which body is which half, its tool axis and its tool frame. Knows nothing of cutters.

mod axis;
mod closing;
mod frame;
mod half;
mod lay;
mod overlap;
mod owner;
mod plan;
mod survey;
mod voids;

pub(crate) use closing::entered;
pub use closing::{Closing, Layout};
pub use frame::Frame;
pub use half::{Half, Parting};
pub(crate) use plan::Components;
pub(crate) use plan::neighbours;
pub use survey::{Hollow, HollowKind, Survey};

use crate::field::{Columns, Grid};
use crate::mesh::{Body, Mesh, Model, Point, Vector};

/// What the user says of the setup.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct SetupConfig {
    /// Tool axis of the first half, model coordinates, of any length but 0; found when `None`.
    pub axis: Option<Vector>,
    /// Surfaces of two closed halves closer than this are in contact, mm.
    pub contact: f64,
    /// Places of the first half and those of the second that meet them when closed, each in its own model coordinates, mm: one
    /// gives the shift, two the turn as well, more are refused. Not used for halves that stand closed.
    pub meets: Vec<[Point; 2]>,
}

/// Something about the setup that the user should know.
#[derive(Debug, Clone, PartialEq)]
pub struct Note {
    /// Half it is about: index into [`Setup::halves`]; `None`: all.
    pub half: Option<usize>,
    /// Whether a figure may hang on it.
    pub unsure: bool,
    /// What, and what to do, in a sentence.
    pub message: String,
}

/// The halves in their tool frames, and how they close.
#[derive(Debug, Clone)]
pub struct Setup {
    /// One or two halves.
    pub halves: Vec<Half>,
    /// How the second closes on the first; `None` with one half.
    pub closing: Option<Closing>,
    /// What was unclear.
    pub notes: Vec<Note>,
}

/// Why no half could be set up.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SetupError {
    /// No model, or more than two: how many.
    #[error(
        "a mold has one or two files: {0} were given; name the file of each half, or one file with both"
    )]
    Files(usize),
    /// A model without a body: its name.
    #[error("{0}: no solid body in it; export the mold half as a closed solid")]
    NoBody(String),
    /// An axis without length.
    #[error(
        "the tool axis has no direction; give three numbers that are not all zero, such as --axis 0,0,1"
    )]
    Axis,
    /// Places that cannot meet: why, and what to do.
    #[error("--meet: {0}")]
    Meets(&'static str),
}

/// A second body this small against the first is a loose piece, not the other half.
const LEAST_HALF: f64 = 0.05;
/// Two bodies of one file that share more than this part of the smaller are not two halves; pins pressed into their sockets
/// share less.
const MOST_SHARED: f64 = 0.1;
/// Places closer than this in plan tell no turn, mm.
const LEAST_APART: f64 = 1.0;
/// Cells along the longer side for the coarse look at each candidate axis.
const COARSE: f64 = 160.0;
/// A runner-up within this share of the best is reported.
const RUNNER_UP: f64 = 0.10;
/// Standing water below this share of the solid, where no flat level bounds a hollow: a part, not a mold.
const LEAST_WATER: f64 = 0.02;

/// Finds the halves, their tool axes and parting levels: in one model the largest body and a second one of more than a twentieth
/// of its volume, in the file's order; of two models the largest body of each.
///
/// # Errors
/// Other than one or two models, a model without a body, an axis without length, or places to meet that are more than two, are
/// given for one half alone, or lie above each other along its tool axis.
pub fn prepare(models: &[Model], config: &SetupConfig) -> Result<Setup, SetupError> {
    let mut notes = Vec::new();
    let bodies = choose_bodies(models, &mut notes)?;
    let given = match config.axis {
        Some(a) => Some(a.try_normalize(1e-12).ok_or(SetupError::Axis)?),
        None => None,
    };
    let first = view(&bodies[0].1.mesh, bodies[0].0, given.map(|a| vec![a]));
    let mut views = vec![first];
    if let Some((model, body, _)) = bodies.get(1).map(|b| (b.0, b.1, b.2)) {
        let candidates = given.map(|a| vec![-a, a]);
        views.push(view(&body.mesh, model, candidates));
    }
    closing::agree(
        &bodies.iter().map(|b| &b.1.mesh).collect::<Vec<_>>(),
        &mut views,
        given.is_some(),
    );
    copies(models, &bodies, &views[0], &mut notes);
    let mut halves = Vec::new();
    for (k, (&body, view)) in bodies.iter().zip(&views).enumerate() {
        unclear(view, k, &mut notes);
        halves.push(half_of(k, body, view)?);
    }
    may_meet(&halves, &config.meets)?;
    let closing = (halves.len() == 2)
        .then(|| Closing::of(&mut halves, config, models.len() == 2, &mut notes));
    for (k, half) in halves.iter().enumerate() {
        if half.parting == Parting::Highest && views[k].seen > 0.0 {
            notes.push(Note {
                half: Some(k),
                unsure: true,
                message: "no flat level bounds the hollow: the parting face is not flat, so all that lies below the \
                          highest point is taken as cavity; give the other half too, closed on this one"
                    .to_owned(),
            });
        }
    }
    Ok(Setup {
        halves,
        closing,
        notes,
    })
}

/// Notes two bodies of one file that are copies rather than halves.
fn copies(models: &[Model], bodies: &[Chosen], first: &View, notes: &mut Vec<Note>) {
    let ([one], [a, b]) = (models, bodies) else {
        return;
    };
    let to_tool = Frame::new(first.axis, 0.0).to_tool;
    let [a, b] = [a, b].map(|body| body.1.mesh.transformed(&to_tool));
    let shared = overlap::shared(&a, &b);
    if shared > MOST_SHARED {
        notes.push(Note {
            half: None,
            unsure: true,
            message: format!(
                "{}: its two bodies fill the same space over {:.0} % of the smaller one, as copies and overlapping \
                 shells do and the halves of a mold do not; leave one out, or join them to one solid, and export \
                 again",
                one.name,
                100.0 * shared
            ),
        });
    }
}

/// Notes what speaks for another axis or another parting level almost as much.
fn unclear(view: &View, half: usize, notes: &mut Vec<Note>) {
    if let Some(other) = view.runner_axis {
        notes.push(Note {
            half: Some(half),
            unsure: true,
            message: format!(
                "the tool axis is not clear: {} would open a hollow almost as large as {}; say which with --axis",
                axis_text(&other),
                axis_text(&view.axis)
            ),
        });
    }
    if let Some(z) = view.runner_level {
        notes.push(Note {
            half: Some(half),
            unsure: true,
            message: format!(
                "the parting level is not clear: a second flat level {:.3} mm {} bounds almost as much rim; \
                 check that the depths are measured from the right one",
                (z - view.level).abs(),
                if z < view.level { "lower" } else { "higher" }
            ),
        });
    }
}

/// Half number `k`, as seen along its tool axis.
fn half_of(k: usize, (model, body, number): Chosen, view: &View) -> Result<Half, SetupError> {
    let frame = Frame::new(view.axis, view.level);
    let (lo, hi) = body
        .mesh
        .bounds()
        .ok_or_else(|| SetupError::NoBody(model.name.clone()))?;
    let mut half = Half {
        name: ["A", "B"][k].to_owned(),
        file: model.name.clone(),
        body: number,
        mesh: body.mesh.transformed(&frame.to_tool),
        topology: body.topology.clone(),
        frame,
        axis_why: view.why.clone(),
        parting: if view.flat {
            Parting::Flat
        } else {
            Parting::Highest
        },
        rounding: model.rounding,
        health: body.health.clone(),
        pieces: body.pieces,
        size: (hi - lo).into(),
    };
    if view.flat {
        // exact zero for what is level: the mean of a face's corners carries its own rounding
        level_off(&mut half.mesh, model.rounding);
    }
    Ok(half)
}

/// Moves corners within a few roundings of Z = 0 onto it.
fn level_off(mesh: &mut Mesh, rounding: f64) {
    for p in &mut mesh.vertices {
        if p.z.abs() <= 4.0 * rounding {
            p.z = 0.0;
        }
    }
}

type Chosen<'a> = (&'a Model, &'a Body, usize);

fn choose_bodies<'a>(
    models: &'a [Model],
    notes: &mut Vec<Note>,
) -> Result<Vec<Chosen<'a>>, SetupError> {
    let largest = |m: &'a Model| -> Result<Chosen<'a>, SetupError> {
        m.bodies
            .first()
            .map(|b| (m, b, 0))
            .ok_or_else(|| SetupError::NoBody(m.name.clone()))
    };
    let chosen = match models {
        [one] => {
            let first = largest(one)?;
            let volume = |b: &Body| b.mesh.signed_volume();
            let second = one
                .bodies
                .get(1)
                .filter(|b| volume(b) > LEAST_HALF * volume(first.1))
                .map(|b| (one, b, 1));
            let mut both: Vec<Chosen<'a>> = std::iter::once(first).chain(second).collect();
            // the file's own order says which is A
            both.sort_by_key(|b| b.1.first_triangle);
            both
        }
        [a, b] => vec![largest(a)?, largest(b)?],
        _ => return Err(SetupError::Files(models.len())),
    };
    for model in models {
        let used = chosen.iter().filter(|c| std::ptr::eq(c.0, model)).count();
        let spare = model.bodies.len() - used;
        if spare > 0 {
            notes.push(Note {
                half: None,
                unsure: true,
                message: format!(
                    "{}: {spare} more {} in the file not looked at; if a piece belongs to a half, join it to \
                     that half's body and export again",
                    model.name,
                    if spare == 1 { "body is" } else { "bodies are" }
                ),
            });
        }
    }
    Ok(chosen)
}

/// What one body shows along its best axis.
#[derive(Debug, Clone)]
pub(crate) struct View {
    pub axis: Vector,
    pub level: f64,
    pub flat: bool,
    /// Volume of the hollow seen, mm³, coarse.
    pub seen: f64,
    pub why: String,
    pub runner_axis: Option<Vector>,
    pub runner_level: Option<f64>,
}

struct Look {
    axis: Vector,
    area: f64,
    seen: f64,
    opening: f64,
    levels: Vec<plan::Level>,
    highest: f64,
}

/// The directions in which the largest flat areas of `mesh` face, largest first.
pub(crate) fn flat_normals(mesh: &Mesh) -> Vec<Vector> {
    axis::flat_faces(&axis::facets(mesh))
        .into_iter()
        .map(|f| f.normal)
        .collect()
}

/// Looks along each candidate axis and takes the one that sees the largest hollow.
fn view(mesh: &Mesh, model: &Model, given: Option<Vec<Vector>>) -> View {
    let asked = given.is_some();
    let facets = axis::facets(mesh);
    let candidates = match given {
        Some(axes) => axes.into_iter().map(|a| (a, 0.0)).collect(),
        None => candidates(&facets),
    };
    let looks: Vec<Look> = candidates
        .into_iter()
        .map(|(a, area)| look_along(mesh, &facets, model.rounding, a, area))
        .collect();
    let most = looks.iter().map(|l| l.seen).fold(0.0, f64::max);
    // of hollows alike in volume, the widest open one; of those, the largest flat face
    let near = |l: &&Look| l.seen >= (1.0 - RUNNER_UP) * most;
    let best = looks
        .iter()
        .filter(near)
        .max_by(|a, b| {
            a.opening
                .total_cmp(&b.opening)
                .then(a.area.total_cmp(&b.area))
        })
        .unwrap_or(&looks[0]);
    let runner = looks.iter().filter(near).find(|l| {
        most > 0.0 && !std::ptr::eq(*l, best) && l.opening > (1.0 - RUNNER_UP) * best.opening
    });
    let level = best.levels.first();
    let why = match (asked, most > 0.0, level) {
        (true, ..) => "given".to_owned(),
        (_, false, _) => "no direction sees a hollow; the largest flat face was taken".to_owned(),
        (_, _, Some(_)) => format!(
            "normal of a flat face that sees the largest hollow of {} directions tried",
            looks.len()
        ),
        _ => format!(
            "sees the largest hollow of {} directions tried; no flat parting face",
            looks.len()
        ),
    };
    View {
        axis: best.axis,
        level: level.map_or(best.highest, |l| l.z),
        flat: level.is_some(),
        seen: best.seen,
        why,
        runner_axis: if asked { None } else { runner.map(|r| r.axis) },
        runner_level: best
            .levels
            .get(1)
            .filter(|l| l.rim > (1.0 - RUNNER_UP) * best.levels[0].rim)
            .map(|l| l.z),
    }
}

/// Axes to look along, and the area of flat face that each is square to: up and down where there is none.
fn candidates(facets: &[(Vector, f64)]) -> Vec<(Vector, f64)> {
    let flats = axis::flat_faces(facets);
    if flats.is_empty() {
        return vec![(Vector::z(), 0.0), (-Vector::z(), 0.0)];
    }
    flats.into_iter().map(|f| (f.normal, f.area)).collect()
}

/// Whether the places given can tell how the halves close.
fn may_meet(halves: &[Half], meets: &[[Point; 2]]) -> Result<(), SetupError> {
    let refuse = |why| Err(SetupError::Meets(why));
    match (meets, halves) {
        ([], _) => Ok(()),
        ([_, _, _, ..], _) => refuse("two places set how the halves close; leave the others out"),
        (_, [_]) => refuse("there is one half only; give the other one too"),
        ([first, second], [a, b]) => {
            let plan = |half: &Half, k: usize| {
                let [p, q] = [first[k], second[k]].map(|p| half.frame.to_tool * p);
                (q - p).xy().norm()
            };
            if plan(a, 0).min(plan(b, 1)) < LEAST_APART {
                return refuse(
                    "the two places of a half lie above each other along its tool axis and tell no turn; give two that \
                     lie apart",
                );
            }
            Ok(())
        }
        _ => Ok(()),
    }
}

fn look_along(
    mesh: &Mesh,
    facets: &[(Vector, f64)],
    rounding: f64,
    axis: Vector,
    area: f64,
) -> Look {
    let tool = mesh.transformed(&Frame::new(axis, 0.0).to_tool);
    let (lo, hi) = tool.bounds().unwrap_or_default();
    let cell = (hi.x - lo.x).max(hi.y - lo.y) / COARSE;
    let grid = Grid::covering([lo.x, lo.y], [hi.x, hi.y], 2.0 * cell, cell);
    let columns = Columns::cast(&tool, grid);
    let (top, inside) = (columns.top(), plan::outline(&columns));
    let tolerance = (4.0 * rounding).max(0.002);
    let flats = plan::flat_levels(&tool, facets, &axis, tolerance);
    let levels = plan::levels(&flats, &columns, &inside, &top, tolerance);
    let cell_area = cell * cell;
    let (mut seen, mut opening) = (0.0, 0.0);
    if let Some(level) = levels.first() {
        let lower = |k: usize| {
            inside[k]
                && top
                    .get(k)
                    .is_none_or(|t| f64::from(t) < level.z - tolerance)
        };
        let hollows = Components::of(&grid, lower);
        let rims = plan::rims(&grid, &hollows, &inside, |_| true);
        for k in 0..grid.len() {
            let label = hollows.labels[k] as usize;
            if label == 0 || rims[label - 1].mostly_open() {
                continue;
            }
            if let Some(z) = top.get(k) {
                seen += (level.z - f64::from(z)) * cell_area;
                opening += cell_area;
            }
        }
    } else {
        let water = plan::standing_water(&grid, &inside, &top);
        if water > LEAST_WATER * mesh.signed_volume() {
            seen = water;
        }
    }
    Look {
        axis,
        area,
        seen,
        opening,
        levels,
        highest: hi.z,
    }
}

/// An axis as a person says it: `+Z`, or three numbers.
pub(crate) fn axis_text(axis: &Vector) -> String {
    for (k, name) in ["X", "Y", "Z"].iter().enumerate() {
        if axis[k].abs() > 1.0 - 1e-12 {
            return format!("{}{name}", if axis[k] > 0.0 { '+' } else { '-' });
        }
    }
    format!("({:.4}, {:.4}, {:.4})", axis.x, axis.y, axis.z)
}
