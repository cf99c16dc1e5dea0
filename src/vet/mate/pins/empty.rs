//! Round straight holes that no pin enters.

use super::{Facing, Footprint, around, depth, near};
use crate::field::{chain, cuts};
use crate::mesh::Point;
use crate::report::{HollowKind, Socket};
use crate::setup::Survey;
use crate::vet::mate::Side;
use crate::vet::mate::circle::{Circle, circle};

/// A round hole whose diameter changes by no more than this share over its height is one that a pin may stand in; common
/// practice, no source.
const STRAIGHT: f64 = 0.08;
/// A hole larger than this share of its half's largest hollow, by volume, is no pin's hole; common practice, no source.
const SMALL: f64 = 0.05;

/// Volumes of a half's hollows, mm³.
struct Volumes(Vec<f64>);

impl Volumes {
    fn of(survey: &Survey) -> Volumes {
        let hollows = 0..survey.hollows.len();
        Volumes(hollows.map(|h| survey.volume_below(h, 0.0, 0.0)).collect())
    }

    /// Whether hollow `h` is too large for a pin's hole: the largest, or not small against it.
    fn is_large(&self, h: usize) -> bool {
        self.0[h] > SMALL * self.0.iter().copied().fold(0.0, f64::max)
    }
}

/// A round straight hole.
struct Hole {
    middle: Circle,
    depth: f64,
    /// In the middle of its mouth, on the parting face; own tool frame.
    mouth: Point,
}

/// The round straight holes of the half that no pin enters, but for the large ones; `taken` are the hollows that a pin enters.
pub(super) fn empty_sockets(facing: &Facing, taken: &[usize]) -> Vec<Socket> {
    let (side, opposite) = (facing.own, facing.other.survey);
    let [volumes, theirs] = [side.survey, opposite].map(Volumes::of);
    let socket = |h: usize| {
        let may = side.survey.hollows[h].kind == HollowKind::Cavity && !taken.contains(&h);
        if !may || volumes.is_large(h) {
            return None;
        }
        let hole = round_hole(side, h, facing.crease_deg)?;
        let over = over(opposite, &(facing.to_other * hole.mouth))?;
        // a cavity that it joins is what it belongs to
        if over.is_some_and(|f| theirs.is_large(f)) {
            return None;
        }
        let [x, y] = hole.middle.centre;
        Some(Socket {
            half: side.half.name.clone(),
            at_mm: side.half.frame.place(&Point::new(x, y, hole.mouth.z)),
            diameter_mm: 2.0 * hole.middle.radius,
            depth_mm: hole.depth,
            faces_hole: over.is_some(),
        })
    };
    (0..side.survey.hollows.len()).filter_map(socket).collect()
}

/// Hollow `h` as a hole, if it is round and straight.
fn round_hole(side: &Side, h: usize, crease_deg: f64) -> Option<Hole> {
    let depth = depth(side, h)?;
    let Footprint { lo, hi, centre } = Footprint::of_hollow(side, h);
    let face = side.survey.parting_at(centre[0], centre[1]);
    let mesh = &side.half.mesh;
    let triangles = near(mesh, lo, hi);
    let at = |share: f64| {
        let lines = chain(&cuts(mesh, face - share * depth, triangles.iter().copied()));
        let hole = around(&lines, centre, true)?;
        circle(hole, side.half.rounding, crease_deg)
    };
    let (high, middle, low) = (at(0.25)?, at(0.5)?, at(0.75)?);
    (high.radius - low.radius <= STRAIGHT * middle.radius).then_some(Hole {
        middle,
        depth,
        mouth: Point::new(centre[0], centre[1], face),
    })
}

/// The hollow of a half over or under place `p`, `Some(None)` where it is full; `None` beside the half.
fn over(survey: &Survey, p: &Point) -> Option<Option<usize>> {
    let grid = survey.grid();
    let (i, j) = grid.cell_at(p.x, p.y)?;
    let n = grid.index(i, j);
    survey.inside[n].then(|| survey.hollow_at(n))
}
