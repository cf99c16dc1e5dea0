//! Which triangles belong together where more than two meet at an edge.
//!
//! Seen along the edge, the triangles are leaves at angles around it. Turning once around, a triangle
//! that runs along the edge backwards opens solid and one that runs forwards closes it, like
//! parentheses; the two that bound the same solid are neighbours. So two halves of a mold that touch
//! stay two, and their contact is no defect.

use super::{Mesh, Vector};
use std::f64::consts::{PI, TAU};

/// Leaves closer than this are at the same angle, radians; more where rounding moves them more.
const SAME_ANGLE: f64 = 1e-6;

/// One triangle at the edge.
#[derive(Clone, Copy)]
pub(super) struct Leaf {
    /// Its corner away from the edge.
    pub(super) apex: u32,
    /// Whether solid follows it, turning counter-clockwise about the edge: it runs along it backwards.
    pub(super) opens: bool,
}

/// Pairs the leaves of the edge between two corners: indices into `leaves`, the smaller one first, in
/// ascending order; `None` for those that have no partner.
pub(super) fn pair(mesh: &Mesh, ends: [u32; 2], leaves: &[Leaf]) -> Vec<(usize, Option<usize>)> {
    let order = around(mesh, ends, leaves);
    let mut partner = vec![None; leaves.len()];
    let mut open: Vec<usize> = Vec::new();
    let mut early: Vec<usize> = Vec::new();
    let mut join = |a: usize, b: usize| {
        partner[a] = Some(b);
        partner[b] = Some(a);
    };
    for i in order {
        if leaves[i].opens {
            open.push(i);
        } else if let Some(o) = open.pop() {
            join(o, i);
        } else {
            early.push(i);
        }
    }
    // the turn is a circle: solid still open at its end is closed at its start
    for i in early {
        if let Some(o) = open.pop() {
            join(o, i);
        }
    }
    let mine = partner.into_iter().enumerate();
    mine.filter(|&(a, b)| b.is_none_or(|b| a < b)).collect()
}

/// The leaves in order of angle; at the same angle those that close solid come first, so that faces in
/// contact bound the solid behind them.
fn around(mesh: &Mesh, ends: [u32; 2], leaves: &[Leaf]) -> Vec<usize> {
    let [a, b] = ends.map(|v| mesh.vertices[v as usize]);
    let edge = b - a;
    let length = edge.norm();
    let Some(axis) = edge.try_normalize(f64::MIN_POSITIVE) else {
        return (0..leaves.len()).collect();
    };
    let mut aside = Vector::zeros();
    aside[axis.iamin()] = 1.0;
    let u = axis.cross(&aside).normalize();
    let w = axis.cross(&u);

    // (angle, by how much rounding may turn it, leaf)
    let mut turns: Vec<(f64, f64, usize)> = leaves
        .iter()
        .enumerate()
        .map(|(i, leaf)| {
            let apex = mesh.vertices[leaf.apex as usize];
            let d = apex - a;
            let (x, y) = (d.dot(&u), d.dot(&w));
            // coordinates were 32-bit numbers; that of the edge's ends counts more the further the
            // apex lies beyond them
            let largest = a.coords.amax().max(b.coords.amax()).max(apex.coords.amax());
            let lever = d.dot(&axis) / length;
            let shift =
                largest * f64::from(f32::EPSILON) * (1.0 + lever.abs() + (1.0 - lever).abs());
            let slack = (shift / x.hypot(y)).clamp(0.5 * SAME_ANGLE, 1e-2);
            (y.atan2(x), if slack.is_nan() { 1e-2 } else { slack }, i)
        })
        .collect();
    turns.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.2.cmp(&b.2)));

    // begin behind the widest gap, so that no cluster of equal angles is cut in two
    let gap = |k: usize| {
        let before = (k + turns.len() - 1) % turns.len();
        let d = turns[k].0 - turns[before].0;
        if k == 0 { d + TAU } else { d }
    };
    let widest = (0..turns.len()).max_by(|&i, &j| gap(i).total_cmp(&gap(j)).then(j.cmp(&i)));
    turns.rotate_left(widest.unwrap_or(0));

    let same = |a: &(f64, f64, usize), b: &(f64, f64, usize)| {
        let d = (b.0 - a.0).abs();
        (if d > PI { TAU - d } else { d }) <= a.1 + b.1
    };
    let mut order = Vec::with_capacity(leaves.len());
    for cluster in turns.chunk_by(same) {
        let at = |opens: bool| {
            let here = cluster.iter().map(|t| t.2);
            here.filter(move |&i| leaves[i].opens == opens)
        };
        order.extend(at(false).chain(at(true)));
    }
    order
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::Point;

    /// Pairs leaves at `angles` (degrees) around an edge along a skew axis, all turned by `turn`.
    fn at(angles: &[(f64, bool)], turn: f64) -> Vec<(usize, Option<usize>)> {
        let axis = Vector::new(1.0, 2.0, 3.0);
        let u = axis.cross(&Vector::x()).normalize();
        let w = axis.normalize().cross(&u);
        let base = Point::new(5.0, -7.0, 11.0);
        let mut mesh = Mesh {
            vertices: vec![base, base + axis],
            ..Mesh::default()
        };
        let mut leaves = Vec::new();
        for (k, &(angle, opens)) in angles.iter().enumerate() {
            let (sin, cos) = (angle + turn).to_radians().sin_cos();
            // apexes at other heights and distances, so that equal angles differ by rounding
            let apex = base + (u * cos + w * sin) * (1.0 + k as f64) + axis * (0.3 * k as f64);
            let apex = apex.map(|x| f64::from(x as f32));
            mesh.vertices.push(apex);
            leaves.push(Leaf {
                apex: k as u32 + 2,
                opens,
            });
        }
        pair(&mesh, [0, 1], &leaves)
    }

    #[test]
    fn solids_are_bounded_by_neighbours_however_the_turn_begins() {
        for turn in (0..360).step_by(7).map(f64::from) {
            // solids from 0 to 90 and from 180 to 250 degrees
            let corner = [(0.0, true), (90.0, false), (180.0, true), (250.0, false)];
            assert_eq!(at(&corner, turn), [(0, Some(1)), (2, Some(3))], "{turn}");
            // solids from -90 to 0 and from 0 to 45 degrees, in contact at 0
            let contact = [(0.0, false), (45.0, false), (0.0, true), (-90.0, true)];
            assert_eq!(at(&contact, turn), [(0, Some(3)), (1, Some(2))], "{turn}");
            // half spaces in contact all around: both faces at 0 and both at 180
            let halves = [(0.0, true), (0.0, false), (180.0, true), (180.0, false)];
            assert_eq!(at(&halves, turn), [(0, Some(3)), (1, Some(2))], "{turn}");
        }
    }

    #[test]
    fn what_has_no_partner_stays_alone() {
        let fin = [(0.0, true), (90.0, false), (45.0, false)];
        assert_eq!(at(&fin, 0.0), [(0, Some(2)), (1, None)]);
        let alike = [(0.0, true), (90.0, true)];
        assert_eq!(at(&alike, 0.0), [(0, None), (1, None)]);
    }
}
