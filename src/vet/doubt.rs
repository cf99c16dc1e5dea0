//! What the mesh itself leaves undecided.
//!
//! Material is where a column has entered more shells than it has left. That rule outlives surfaces that run through one
//! another: what lies in either is solid. It does not outlive a gap in what bounds a hollow, nor a surface turned inside out
//! there. No question passes on such a half.

use crate::field::Crossing;
use crate::mesh::Point;
use crate::report::{Place, Report, Verdict};
use crate::setup::{Half, Survey};
use rayon::prelude::*;

/// Where a half's surface is not the whole and simple boundary of its material.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Doubt {
    /// A place, tool frame, at which what bounds a hollow is not told.
    pub undecided: Option<Point>,
    /// Columns in which the surface runs through itself: material lies in material, or is turned inside out.
    pub crossed: usize,
    /// The place of the tallest of these runs, tool frame.
    pub crossed_at: Option<Point>,
}

impl Doubt {
    /// What is doubtful about `half`.
    pub fn of(half: &Half, survey: &Survey) -> Doubt {
        let grid = survey.grid();
        let runs = (0..grid.len()).into_par_iter().filter_map(|k| {
            let column = survey.columns.column(k);
            Some((k, crossed(column, half.pieces as i32, survey.tolerance)?))
        });
        let runs: Vec<(usize, Run)> = runs.collect();
        let place = |(k, run): &(usize, Run)| {
            let [x, y] = grid.centre(k % grid.nx, k / grid.nx);
            Point::new(x, y, run.middle)
        };
        let inside_out = runs
            .iter()
            .find(|(k, run)| run.inside_out && survey.labels[*k] != 0);
        let tallest = runs.iter().reduce(|most, other| {
            if other.1.height > most.1.height {
                other
            } else {
                most
            }
        });
        Doubt {
            undecided: open_at_a_hollow(half, survey).or(inside_out.map(place)),
            crossed: runs.len(),
            crossed_at: tallest.map(place),
        }
    }
}

/// A stretch of a column in which the surface winds other than once or not at all.
struct Run {
    middle: f64,
    height: f64,
    inside_out: bool,
}

/// The tallest such stretch of a column, taller than `tolerance`; a half of several pieces may lie in itself as often as it has
/// pieces. A column that enters more often than it leaves runs through a gap, and tells nothing of crossings.
fn crossed(column: &[Crossing], pieces: i32, tolerance: f64) -> Option<Run> {
    let mut winding = 0;
    let mut tallest: Option<Run> = None;
    for pair in column.windows(2) {
        winding += if pair[0].up() { -1 } else { 1 };
        if (0..=pieces).contains(&winding) {
            continue;
        }
        let [from, to] = [pair[0], pair[1]].map(|c| f64::from(c.z));
        let height = to - from;
        if height > tolerance && tallest.as_ref().is_none_or(|t| height > t.height) {
            tallest = Some(Run {
                middle: 0.5 * (from + to),
                height,
                inside_out: winding < 0,
            });
        }
    }
    let balance: i32 = column.iter().map(|c| if c.up() { -1 } else { 1 }).sum();
    tallest.filter(|_| balance == 0)
}

/// A place on an edge without its other side that lies on the surface of a hollow, at its rim, or over it.
fn open_at_a_hollow(half: &Half, survey: &Survey) -> Option<Point> {
    let (mesh, topology) = (&half.mesh, &half.topology);
    let mut gaps = topology
        .open()
        .chain(topology.nonmanifold.iter().copied())
        .peekable();
    gaps.peek()?;
    let mut bounds_hollow = vec![false; mesh.vertices.len()];
    for (triangle, owner) in mesh.triangles.iter().zip(&survey.owner) {
        if owner.is_some() {
            triangle
                .iter()
                .for_each(|&v| bounds_hollow[v as usize] = true);
        }
    }
    gaps.find_map(|e| {
        let ends = topology.edges[e as usize].vertices;
        let [a, b] = ends.map(|v| mesh.vertices[v as usize]);
        let middle = nalgebra::center(&a, &b);
        let near = ends.iter().any(|&v| bounds_hollow[v as usize])
            || [a, middle, b].iter().any(|p| over_a_hollow(survey, p));
        near.then_some(middle)
    })
}

/// Whether `p` lies in or above a hollow, or beside it within a cell.
fn over_a_hollow(survey: &Survey, p: &Point) -> bool {
    let grid = survey.grid();
    let Some((i, j)) = grid.cell_at(p.x, p.y) else {
        return false;
    };
    let cells = (j.saturating_sub(1)..=(j + 1).min(grid.ny - 1)).flat_map(|j| {
        (i.saturating_sub(1)..=(i + 1).min(grid.nx - 1)).map(move |i| grid.index(i, j))
    });
    cells.into_iter().any(|k| {
        survey.hollow_at(k).is_some()
            && (survey.top.get(k)).is_none_or(|top| p.z >= f64::from(top) - survey.tolerance)
    })
}

/// Lets no question pass that the mesh leaves undecided; what fails, fails by what is there. Findings are made before: they tell
/// what the figures say.
pub fn let_none_pass(report: &mut Report) {
    let mut any = false;
    for half in &mut report.halves {
        any |= !half.mesh.closed || half.mesh.undecided_at_mm.is_some();
        if half.mesh.undecided_at_mm.is_some() {
            for verdict in [
                &mut half.undercut.verdict,
                &mut half.draft.verdict,
                &mut half.reach.verdict,
                &mut half.depth.verdict,
            ] {
                *verdict = Verdict::Unsure.max(*verdict);
            }
        }
    }
    // halves meet all over, not in their hollows only
    if let Some(mating) = &mut report.mating
        && any
    {
        mating.verdict = Verdict::Unsure.max(mating.verdict);
    }
}

/// The place in the model's coordinates.
pub fn placed(half: &Half, at: Option<Point>) -> Option<Place> {
    at.map(|p| half.frame.place(&p))
}
