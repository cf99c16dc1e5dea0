//! Laying one half over the other, where they did not come closed.

use super::closing::coarse_grid;
use super::half::Half;
use super::plan::outline;
use super::{Note, SetupConfig};
use crate::field::{Columns, Grid, HeightMap, Lines, Plan, Polyline, chain, cuts};
use crate::mesh::{Mesh, Point};
use nalgebra::{Isometry3, Point3, Translation3, UnitQuaternion, Vector3};
use std::f64::consts::{FRAC_PI_2, PI};

/// How B was laid over A.
pub(super) struct Laid {
    /// Takes B's tool frame to A's.
    pub(super) b_to_a: Isometry3<f64>,
    /// What was done, and by what the way round was decided.
    pub(super) why: String,
}

/// One way of laying B over A, and how it fits.
struct Way {
    b_to_a: Isometry3<f64>,
    /// Cavity on cavity, not outline on outline.
    by_cavity: bool,
    /// Cells in which B cuts into A.
    hit: f64,
    /// How well outlines and openings cover each other, 0 to 2.
    cover: f64,
    /// Mean distance of the openings' edges, mm.
    off: f64,
}

impl Way {
    fn untried(b_to_a: Isometry3<f64>, by_cavity: bool) -> Way {
        Way {
            b_to_a,
            by_cavity,
            hit: 0.0,
            cover: 0.0,
            off: 0.0,
        }
    }
}

/// What rises this far into the other half hits it, mm.
const HITS: f64 = 0.1;
/// Ways that differ in fewer cells hit than this do not differ.
const SAME_HIT: f64 = 4.0;
/// Ways that differ less than this in cover do not differ.
const SAME_COVER: f64 = 0.02;
/// Openings' edges farther apart than this count as this far, mm.
const FAR: f64 = 1.0;
/// Blocks alike in plan to within this are laid outline on outline, mm.
const SAME_PLAN: f64 = 0.05;
/// A half that differs from itself turned by less than this share of its relief is symmetric.
const SYMMETRIC: f64 = 0.02;
/// Sides that point this way and that have no direction (length of the mean of unit vectors at four times the angle).
const SQUARE: f64 = 0.3;

/// Turns B over onto A in the way that fits best: what B's and A's pins hit decides first, then how outlines and openings cover
/// each other, then the openings' edges. Notes where that leaves two ways that would give different castings. Places that are to
/// meet set the shift, two of them the turn as well.
pub(super) fn lay_over(a: &Half, b: &Half, config: &SetupConfig, notes: &mut Vec<Note>) -> Laid {
    let met: Vec<[Point; 2]> = (config.meets.iter())
        .map(|[p, q]| [a.frame.to_tool * p, b.frame.to_tool * q])
        .collect();
    if let [first, second] = met[..] {
        return lay_by_two(first, second, config.contact, notes);
    }
    let edges = [openings(&a.mesh), openings(&b.mesh)];
    let mut ways = ways(a, b, &edges, met.first());
    try_out(a, b, &edges, &mut ways);
    let mut decided = narrow(&mut ways, 0.005 + 4.0 * (a.rounding + b.rounding));
    let first = &ways[0];
    let other = |w: &Way| {
        let turn = w.b_to_a * first.b_to_a.inverse();
        let of_b = first.b_to_a.inverse() * w.b_to_a;
        !symmetric(a, &turn) && !symmetric(b, &of_b)
    };
    let mut unsure = |message: &str| {
        notes.push(Note {
            half: None,
            unsure: true,
            message: message.to_owned(),
        });
    };
    if ways[1..].iter().any(other) {
        unsure(
            "the halves were not given closed, and they close as well the other way round, to a different casting; \
             give them in closed position, or two places that meet with --meet, to be sure",
        );
    } else if ways.len() > 1 {
        decided = "either way round gives the same casting";
    }
    if first.by_cavity {
        unsure(
            "the halves were not given closed and their blocks differ in plan, so the cavities were laid on each \
             other: a mismatch shows only in so far as their shapes differ. Give them in closed position, or places that meet with \
             --meet, to be sure",
        );
    }
    let on = if !met.is_empty() {
        "place on place as given"
    } else if first.by_cavity {
        "cavity on cavity"
    } else {
        "outline on outline"
    };
    Laid {
        b_to_a: first.b_to_a,
        why: format!("B was turned over onto A, {on}; {decided}"),
    }
}

/// Finds how each of the ways fits; `edges` are those of A's and of B's openings.
fn try_out(a: &Half, b: &Half, edges: &[Vec<Polyline>; 2], ways: &mut [Way]) {
    let columns = Columns::cast(&a.mesh, coarse_grid(a));
    let (top, inside) = (columns.top(), outline(&columns));
    for way in ways {
        (way.hit, way.cover) = fit(&top, &inside, &b.mesh.transformed(&way.b_to_a));
        way.off = apart(edges, &way.b_to_a);
    }
}

/// Keeps the ways that fit best, and says what decided; openings' edges that are off by no more than `same_off` more are alike.
fn narrow(ways: &mut Vec<Way>, same_off: f64) -> &'static str {
    let mut decided = "the only way that was tried";
    let mut keep = |ways: &mut Vec<Way>, by: &'static str, fits: &dyn Fn(&Way) -> bool| {
        let before = ways.len();
        ways.retain(fits);
        if ways.len() < before {
            decided = by;
        }
    };
    let least =
        |ways: &[Way], of: fn(&Way) -> f64| ways.iter().map(of).fold(f64::INFINITY, f64::min);
    let hit = least(ways, |w| w.hit);
    keep(ways, "decided by the pins", &|w| {
        w.hit <= 1.1 * hit + SAME_HIT
    });
    let cover = -least(ways, |w| -w.cover);
    keep(ways, "decided by the outlines", &|w| {
        w.cover >= cover - SAME_COVER
    });
    let off = least(ways, |w| w.off);
    keep(ways, "decided by the cavities' edges", &|w| {
        w.off <= off + same_off
    });
    decided
}

/// Turns B over onto A so that two places of each meet, given in the tool frames.
fn lay_by_two([p, q]: [Point; 2], [r, s]: [Point; 2], contact: f64, notes: &mut Vec<Note>) -> Laid {
    let (own, theirs) = (r - p, over() * (s - q));
    let turn = own.y.atan2(own.x) - theirs.y.atan2(theirs.x);
    let turn = UnitQuaternion::from_axis_angle(&Vector3::z_axis(), turn) * over();
    let middle = |p: Point, r: Point| 0.5 * (p.coords + r.coords);
    let shift = middle(p, r) - turn * middle(q, s);
    let (apart, there) = (own.xy().norm(), theirs.xy().norm());
    if (apart - there).abs() > contact {
        notes.push(Note {
            half: None,
            unsure: true,
            message: format!(
                "the places given with --meet lie {apart:.3} mm apart on half A and {there:.3} mm on half B, so they \
                 cannot both meet; B was laid so that what they are off is shared"
            ),
        });
    }
    Laid {
        b_to_a: Isometry3::from_parts(Translation3::new(shift.x, shift.y, 0.0), turn),
        why: "B was turned over onto A, both places on theirs as given".to_owned(),
    }
}

/// Turned over about X.
fn over() -> UnitQuaternion<f64> {
    UnitQuaternion::from_axis_angle(&Vector3::x_axis(), PI)
}

/// The ways that are tried: B turned over, its sides along A's in four ways, its outline over A's, or its cavity over A's; or
/// with one place on the place given.
fn ways(a: &Half, b: &Half, edges: &[Vec<Polyline>; 2], met: Option<&[Point; 2]>) -> Vec<Way> {
    let between = side_turn(&a.mesh, &b.mesh);
    let (alo, ahi) = a.bounds();
    let mut found = Vec::new();
    for quarter in 0..4 {
        let angle = between + f64::from(quarter) * FRAC_PI_2;
        let turn = UnitQuaternion::from_axis_angle(&Vector3::z_axis(), angle) * over();
        let turn = Isometry3::from_parts(Translation3::identity(), turn);
        let (lo, hi) = b.mesh.transformed(&turn).bounds().unwrap_or_default();
        let shift = |x: f64, y: f64| Translation3::new(x, y, 0.0) * turn;
        if let Some([p, q]) = met {
            let by = p - turn * q;
            found.push(Way::untried(shift(by.x, by.y), false));
            continue;
        }
        let by = [0, 1].map(|c| 0.5 * (alo[c] + ahi[c] - lo[c] - hi[c]));
        found.push(Way::untried(shift(by[0], by[1]), false));
        let alike = (0..2).all(|c| ((ahi[c] - alo[c]) - (hi[c] - lo[c])).abs() <= SAME_PLAN);
        let widest = [0, 1].map(|k| {
            let area = |l: &&Polyline| l.area().abs();
            edges[k].iter().max_by(|p, q| area(p).total_cmp(&area(q)))
        });
        if let ([Some(p), Some(q)], false) = (widest, alike) {
            let (own, theirs) = (middle(p, &Isometry3::identity()), middle(q, &turn));
            let by = [0, 1].map(|c| own[c] - theirs[c]);
            found.push(Way::untried(shift(by[0], by[1]), true));
        }
    }
    found
}

/// By how much B, turned over, is to be turned for its upright sides to lie along A's, to either side by half a right angle at
/// most.
fn side_turn(a: &Mesh, b: &Mesh) -> f64 {
    let (Some(p), Some(q)) = (side_direction(a), side_direction(b)) else {
        return 0.0;
    };
    // turned over about X, an angle becomes its opposite
    let d = (p + q).rem_euclid(FRAC_PI_2);
    let d = if d > 0.5 * FRAC_PI_2 {
        d - FRAC_PI_2
    } else {
        d
    };
    // a few roundings of a side's direction are none
    if d.abs() < 1e-5 { 0.0 } else { d }
}

/// Direction of the upright sides, an angle of less than a right angle; `None` where they have none, as on a round block.
fn side_direction(mesh: &Mesh) -> Option<f64> {
    let sides: Vec<(f64, f64)> = (0..mesh.triangles.len())
        .filter_map(|t| {
            let n = mesh.area_normal(t);
            let plan = n.x.hypot(n.y);
            (n.z.abs() < 0.01 * plan).then_some((n.y.atan2(n.x), plan))
        })
        .collect();
    let mean = |wanted: &dyn Fn(f64) -> bool| {
        let (mut c, mut s, mut all) = (0.0, 0.0, 0.0);
        for &(angle, area) in sides.iter().filter(|d| wanted(d.0)) {
            c += area * (4.0 * angle).cos();
            s += area * (4.0 * angle).sin();
            all += area;
        }
        (all > 0.0).then(|| (s.atan2(c) / 4.0, s.hypot(c) / all))
    };
    let (rough, along) = mean(&|_| true)?;
    if along < SQUARE {
        return None;
    }
    // only the sides that lie that way: what else is upright would turn the mean
    let near = |angle: f64| (4.0 * (angle - rough)).cos() > 0.99;
    mean(&near).map(|m| m.0)
}

/// The edges of the half's openings at the parting level.
fn openings(mesh: &Mesh) -> Vec<Polyline> {
    chain(&cuts(mesh, 0.0, 0..mesh.triangles.len() as u32))
        .into_iter()
        .filter(|l| l.closed && l.area() < 0.0)
        .collect()
}

fn place(by: &Isometry3<f64>, p: Plan) -> Plan {
    let q = by * Point3::new(p[0], p[1], 0.0);
    [q.x, q.y]
}

/// Middle of a polyline's box.
fn middle(line: &Polyline, by: &Isometry3<f64>) -> Plan {
    let (mut lo, mut hi) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
    for p in line.points.iter().map(|&p| place(by, p)) {
        for c in 0..2 {
            lo[c] = lo[c].min(p[c]);
            hi[c] = hi[c].max(p[c]);
        }
    }
    [0, 1].map(|c| 0.5 * (lo[c] + hi[c]))
}

/// Mean distance of the openings' edges from each other, each no more than [`FAR`].
fn apart(edges: &[Vec<Polyline>; 2], b_to_a: &Isometry3<f64>) -> f64 {
    let sides = |k: usize| -> Vec<[Plan; 2]> {
        let by = if k == 0 {
            Isometry3::identity()
        } else {
            *b_to_a
        };
        edges[k]
            .iter()
            .flat_map(Polyline::sides)
            .map(|s| s.map(|p| place(&by, p)))
            .collect()
    };
    let lines = [Lines::new(sides(0)), Lines::new(sides(1))];
    let (mut sum, mut length) = (0.0, 0.0);
    for k in 0..2 {
        for [p, q] in &lines[k].segments {
            let weight = crate::field::apart(*p, *q);
            let middle = [0, 1].map(|c| 0.5 * (p[c] + q[c]));
            let off = |at: Plan| {
                lines[1 - k]
                    .nearest(at)
                    .map_or(FAR, |n| n.distance.min(FAR))
            };
            sum += weight * (off(*p) + off(*q) + off(middle)) / 3.0;
            length += weight;
        }
    }
    if length > 0.0 { sum / length } else { 0.0 }
}

/// Cells in which what lies over A cuts into it, and how well the outlines and the openings of the hollows cover each other, 0 to
/// 2.
fn fit(top: &HeightMap, inside: &[bool], over: &Mesh) -> (f64, f64) {
    let grid = top.grid;
    let other = Columns::cast(over, grid);
    let (mut both, mut either, mut open_both, mut open_either, mut hit) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for (k, &is_inside) in inside.iter().enumerate() {
        let under = other.column(k).first().map(|c| c.z);
        let (a, b) = (is_inside, under.is_some());
        both += f64::from(a && b);
        either += f64::from(a || b);
        if !(a && b) {
            continue;
        }
        let z = top.get(k).unwrap_or(0.0);
        let up = under.unwrap_or(0.0);
        let (open_a, open_b) = (z < -0.02, up > 0.02);
        open_both += f64::from(open_a && open_b);
        open_either += f64::from(open_a || open_b);
        hit += f64::from(f64::from(z) > f64::from(up) + HITS);
    }
    if either == 0.0 {
        return (0.0, 0.0);
    }
    let openings = if open_either > 0.0 {
        open_both / open_either
    } else {
        0.0
    };
    (hit, both / either + openings)
}

/// Whether a half turned by `turn` (about an upright axis, in its tool frame) is itself.
fn symmetric(half: &Half, turn: &Isometry3<f64>) -> bool {
    let grid: Grid = coarse_grid(half);
    let columns = Columns::cast(&half.mesh, grid);
    let top = columns.top();
    let (mut differs, mut relief) = (0.0, 0.0);
    for k in 0..grid.len() {
        let z = top.get(k);
        let [x, y] = grid.centre_of(k);
        let p = turn * Point3::new(x, y, 0.0);
        let there = grid
            .cell_at(p.x, p.y)
            .and_then(|(i, j)| top.get(grid.index(i, j)));
        match (z, there) {
            (Some(z), Some(t)) => {
                differs += f64::from((z - t).abs());
                relief += f64::from(z.abs());
            }
            (None, None) => {}
            // an outline that differs differs by more than any relief
            _ => differs += grid.cell,
        }
    }
    differs <= SYMMETRIC * relief
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_sides_of_a_turned_block_give_its_direction() {
        // the four upright sides of a block of 10 by 4 by 3
        let plan = [[0.0, 0.0], [10.0, 0.0], [10.0, 4.0], [0.0, 4.0]];
        let at = |z: f64| plan.map(|p| Point3::new(p[0], p[1], z));
        let sides = (0..4u32).map(|k| (k, (k + 1) % 4));
        let mesh = Mesh {
            vertices: [at(0.0), at(3.0)].concat(),
            triangles: sides
                .flat_map(|(a, b)| [[a, b, b + 4], [a, b + 4, a + 4]])
                .collect(),
        };
        let turn = UnitQuaternion::from_axis_angle(&Vector3::z_axis(), 0.3);
        let turned = mesh.transformed(&Isometry3::from_parts(Translation3::identity(), turn));
        assert!((side_direction(&turned).unwrap() - 0.3).abs() < 1e-12);
        assert!(side_direction(&mesh).unwrap().abs() < 1e-12);
    }
}
