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
            let [x, y] = grid.centre_of(*k);
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::field::{Columns, Grid};
    use crate::mesh::Mesh;

    /// The run of a line that passes these heights, from a face that looks up where `true`: height of its middle, its height, and
    /// whether it is inside out.
    fn run(heights: &[(f64, bool)], pieces: i32, tolerance: f64) -> Option<(f64, f64, bool)> {
        let mut mesh = Mesh::default();
        for &(z, up) in heights {
            let first = mesh.vertices.len() as u32;
            let corners = [(-9.0, -9.0), (9.0, -9.0), (0.0, 9.0)];
            (mesh.vertices).extend(corners.map(|(x, y)| Point::new(x, y, z)));
            let [b, c] = if up { [1, 2] } else { [2, 1] };
            mesh.triangles.push([first, first + b, first + c]);
        }
        let grid = Grid {
            origin: [-0.5; 2],
            cell: 1.0,
            nx: 1,
            ny: 1,
        };
        let columns = Columns::cast(&mesh, grid);
        crossed(columns.column(0), pieces, tolerance).map(|r| (r.middle, r.height, r.inside_out))
    }

    #[test]
    fn what_the_mesh_leaves_open_does_not_pass() {
        let of = |half: &crate::report::Half| {
            [
                half.undercut.verdict,
                half.draft.verdict,
                half.reach.verdict,
                half.depth.verdict,
            ]
        };
        let vetted = |closed: bool, undecided: Option<Place>| {
            let mut report = crate::report::samples::pair();
            let half = &mut report.halves[0];
            (half.mesh.closed, half.mesh.undecided_at_mm) = (closed, undecided);
            half.depth.verdict = Verdict::Fail;
            let before = of(half);
            report.halves[1].mesh.closed = true;
            report.halves[1].mesh.undecided_at_mm = None;
            let mating = report.mating.as_mut().unwrap();
            mating.verdict = Verdict::Pass;
            let_none_pass(&mut report);
            (
                before,
                of(&report.halves[0]),
                report.mating.unwrap().verdict,
            )
        };
        let (before, after, mating) = vetted(true, None);
        assert_eq!((before, mating), (after, Verdict::Pass));
        // open elsewhere than at a hollow
        let (before, after, mating) = vetted(false, None);
        assert_eq!((before, mating), (after, Verdict::Unsure));
        let (before, after, mating) = vetted(true, Some([0.0; 3]));
        assert_eq!(after, before.map(|v| v.max(Verdict::Unsure)));
        assert_eq!((after[3], mating), (Verdict::Fail, Verdict::Unsure));
    }

    #[test]
    fn a_surface_runs_through_itself_where_it_winds_more_often_than_it_has_pieces() {
        assert_eq!(run(&[(0.0, false), (10.0, true)], 1, 0.1), None);
        let twice = [(0.0, false), (2.0, false), (6.0, true), (10.0, true)];
        assert_eq!(run(&twice, 1, 0.1), Some((4.0, 4.0, false)));
        assert_eq!(run(&twice, 2, 0.1), None);
        // no taller than the tolerance
        assert_eq!(run(&twice, 1, 4.0), None);
        assert_eq!(run(&twice, 1, 3.9), Some((4.0, 4.0, false)));
    }

    #[test]
    fn a_surface_is_inside_out_where_it_is_left_before_it_is_entered() {
        let turned = [(0.0, true), (5.0, false)];
        assert_eq!(run(&turned, 1, 0.1), Some((2.5, 5.0, true)));
        assert_eq!(run(&turned, 3, 0.1), Some((2.5, 5.0, true)));
    }

    #[test]
    fn the_tallest_run_is_told_and_none_of_a_line_through_a_gap() {
        let two = [
            (0.0, false),
            (1.0, false),
            (2.0, true),
            (3.0, false),
            (6.0, true),
            (7.0, true),
            (8.0, true),
            (9.0, false),
        ];
        assert_eq!(run(&two, 1, 0.1), Some((4.5, 3.0, false)));
        assert_eq!(run(&two, 2, 0.1), Some((8.5, 1.0, true)));
        assert_eq!(
            run(&[(0.0, false), (2.0, false), (6.0, true)], 1, 0.1),
            None
        );
        assert_eq!(run(&[(0.0, true), (2.0, true), (6.0, false)], 1, 0.1), None);
    }
}
