//! The stock that a half is cut from.

use crate::report::Blank;
use crate::setup::Half;

/// Stock left on every side of the finished block, mm; common practice, no source.
pub const MARGIN: f64 = 3.0;

/// The smallest upright block and the smallest upright round bar that hold the half, plus [`MARGIN`] on every side.
pub fn blank(half: &Half) -> Blank {
    let (lo, hi) = half.bounds();
    let size = hi - lo;
    let points: Vec<[f64; 2]> = half.mesh.vertices.iter().map(|p| [p.x, p.y]).collect();
    let diameter = 2.0 * enclosing_radius(&points);
    Blank {
        margin_mm: MARGIN,
        block_mm: [0, 1, 2].map(|k| size[k] + 2.0 * MARGIN),
        round_diameter_mm: diameter + 2.0 * MARGIN,
        round_length_mm: size.z + 2.0 * MARGIN,
    }
}

/// Radius of the smallest circle around `points`, 0 for none.
///
/// Point by point: one outside the circle found so far lies on the new one (Welzl 1991, Lecture Notes in Computer Science 555,
/// 359–370; cited from memory).
fn enclosing_radius(points: &[[f64; 2]]) -> f64 {
    let mut hull = hull(points);
    // out of their order around the hull, so that few of them lie outside the circle found so far
    let key = |p: &[f64; 2]| {
        p[0].to_bits().wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ p[1].to_bits().rotate_left(23)
    };
    hull.sort_by_key(key);
    let mut circle = ([0.0; 2], 0.0);
    let holds = |c: &([f64; 2], f64), p: [f64; 2]| {
        (p[0] - c.0[0]).hypot(p[1] - c.0[1]) <= c.1 * (1.0 + 1e-12) + 1e-12
    };
    for (i, &p) in hull.iter().enumerate() {
        if i > 0 && holds(&circle, p) {
            continue;
        }
        circle = (p, 0.0);
        for (j, &q) in hull[..i].iter().enumerate() {
            if holds(&circle, q) {
                continue;
            }
            circle = on_two(p, q);
            for &r in &hull[..j] {
                if !holds(&circle, r) {
                    circle = through(p, q, r).unwrap_or(circle);
                }
            }
        }
    }
    circle.1
}

fn on_two(p: [f64; 2], q: [f64; 2]) -> ([f64; 2], f64) {
    let centre = [0.5 * (p[0] + q[0]), 0.5 * (p[1] + q[1])];
    (centre, 0.5 * (p[0] - q[0]).hypot(p[1] - q[1]))
}

fn through(p: [f64; 2], q: [f64; 2], r: [f64; 2]) -> Option<([f64; 2], f64)> {
    let (b, c) = ([q[0] - p[0], q[1] - p[1]], [r[0] - p[0], r[1] - p[1]]);
    let d = 2.0 * (b[0] * c[1] - b[1] * c[0]);
    if d == 0.0 {
        return None;
    }
    let (bb, cc) = (b[0] * b[0] + b[1] * b[1], c[0] * c[0] + c[1] * c[1]);
    let u = [(c[1] * bb - b[1] * cc) / d, (b[0] * cc - c[0] * bb) / d];
    Some(([p[0] + u[0], p[1] + u[1]], u[0].hypot(u[1])))
}

/// Corners of the convex hull, counter-clockwise (Andrew's monotone chain).
fn hull(points: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let mut sorted = points.to_vec();
    sorted.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    sorted.dedup();
    if sorted.len() < 3 {
        return sorted;
    }
    let turn = |a: [f64; 2], b: [f64; 2], c: [f64; 2]| {
        (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
    };
    let half = |order: &mut dyn Iterator<Item = [f64; 2]>| {
        let mut chain: Vec<[f64; 2]> = Vec::new();
        for p in order {
            while chain.len() >= 2 && turn(chain[chain.len() - 2], chain[chain.len() - 1], p) <= 0.0
            {
                chain.pop();
            }
            chain.push(p);
        }
        chain.pop();
        chain
    };
    let mut hull = half(&mut sorted.iter().copied());
    hull.extend(half(&mut sorted.iter().rev().copied()));
    hull
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_rectangle_needs_its_diagonal() {
        // 6 by 8: diagonal 10
        let corners = [[0.0, 0.0], [6.0, 0.0], [6.0, 8.0], [0.0, 8.0], [3.0, 4.0]];
        assert!((enclosing_radius(&corners) - 5.0).abs() < 1e-12);
    }

    #[test]
    fn a_triangle_with_a_wide_angle_needs_its_longest_side_only() {
        // the angle at (1, 0.1) is blunt: the circle stands on the side of 2
        let corners = [[0.0, 0.0], [2.0, 0.0], [1.0, 0.1]];
        assert!((enclosing_radius(&corners) - 1.0).abs() < 1e-12);
        // equilateral, side 1: radius 1 / sqrt 3
        let even = [[0.0, 0.0], [1.0, 0.0], [0.5, 0.75_f64.sqrt()]];
        assert!((enclosing_radius(&even) - 1.0 / 3.0_f64.sqrt()).abs() < 1e-12);
    }

    #[test]
    fn points_on_a_ring_need_the_ring() {
        let ring: Vec<[f64; 2]> = (0..100)
            .map(|k| f64::from(k) * 0.0628318)
            .map(|a| [7.0 + 4.0 * a.cos(), 4.0 * a.sin()])
            .collect();
        // 100 points 3.6° apart reach around to within 4 (1 - cos 1.8°) = 0.002
        assert!((enclosing_radius(&ring) - 4.0).abs() < 0.002);
    }

    /// The least circle through two or three of the points that holds all.
    fn brute(points: &[[f64; 2]]) -> f64 {
        let n = points.len();
        let pairs = (0..n).flat_map(|i| (0..i).map(move |j| (i, j)));
        let by_two = pairs
            .clone()
            .map(|(i, j)| Some(on_two(points[i], points[j])));
        let by_three = pairs.flat_map(|(i, j)| (0..j).map(move |k| [i, j, k]));
        let by_three = by_three.map(|[i, j, k]| through(points[i], points[j], points[k]));
        let holds = |(c, r): &([f64; 2], f64)| {
            let far = |p: &[f64; 2]| (p[0] - c[0]).hypot(p[1] - c[1]);
            points.iter().all(|p| far(p) <= r + 1e-9)
        };
        let held = by_two.chain(by_three).flatten().filter(holds);
        held.map(|(_, r)| r).fold(f64::INFINITY, f64::min)
    }

    proptest! {
        #[test]
        fn no_smaller_circle_holds_all(points in prop::collection::vec(prop::array::uniform2(-9.0_f64..20.0), 3..9)) {
            let (found, least) = (enclosing_radius(&points), brute(&points));
            prop_assert!((found - least).abs() < 1e-9, "{found} {least}");
            // nor do corners of the hull lie within it
            let hull = hull(&points);
            for k in 0..hull.len() {
                let [a, b] = [hull[k], hull[(k + 1) % hull.len()]];
                let left = |p: &[f64; 2]| (b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0]);
                prop_assert!(points.iter().all(|p| left(p) > -1e-9));
            }
        }
    }
}
