//! Whether a section is round, and its circle.

use crate::field::{Plan, Polyline, apart};

/// A circle that a faceted section stands for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Circle {
    /// Centre, mm.
    pub centre: Plan,
    /// Radius through the corners, mm.
    pub radius: f64,
    /// How far the sides fall inside it at most: the true radius is not smaller than `radius` less this, mm.
    pub sagitta: f64,
}

/// Corners farther than this from the circle, or than this share of its radius, make it no circle, mm.
const ROUND: f64 = 0.01;
const ROUND_SHARE: f64 = 0.002;
/// Fewest corners of a circle.
const LEAST_CORNERS: usize = 8;

/// The circle through the corners of a closed polyline by least squares; `None` where it is not round, or where it turns by more
/// than `crease_deg` at a corner: then it is a prism.
///
/// Corners lie on the surface that is meshed, sides inside it. What comes of a facet's diagonals lies on the sides and is no
/// corner. Least squares of the squared radii (Kåsa 1976, IEEE Transactions on Instrumentation and Measurement 25, 8–14; cited
/// from memory).
pub fn circle(line: &Polyline, rounding: f64, crease_deg: f64) -> Option<Circle> {
    if !line.closed {
        return None;
    }
    let corners = corners(&line.points, rounding);
    if corners.len() < LEAST_CORNERS {
        return None;
    }
    let n = corners.len() as f64;
    let mean = [0, 1].map(|c| corners.iter().map(|p| p[c]).sum::<f64>() / n);
    let (mut xx, mut xy, mut yy, mut xz, mut yz) = (0.0, 0.0, 0.0, 0.0, 0.0);
    let mut z_mean = 0.0;
    for p in &corners {
        let (x, y) = (p[0] - mean[0], p[1] - mean[1]);
        let z = x * x + y * y;
        xx += x * x;
        xy += x * y;
        yy += y * y;
        xz += x * z;
        yz += y * z;
        z_mean += z / n;
    }
    let det = xx * yy - xy * xy;
    if det <= 0.0 {
        return None;
    }
    let (u, v) = (
        0.5 * (xz * yy - yz * xy) / det,
        0.5 * (yz * xx - xz * xy) / det,
    );
    let centre = [mean[0] + u, mean[1] + v];
    let radius = (z_mean + u * u + v * v).sqrt();
    let slack = ROUND.max(ROUND_SHARE * radius) + rounding;
    if corners
        .iter()
        .any(|&p| (apart(p, centre) - radius).abs() > slack)
    {
        return None;
    }
    let mut sagitta = 0.0_f64;
    for k in 0..corners.len() {
        let (a, b) = (corners[k], corners[(k + 1) % corners.len()]);
        let half = (0.5 * apart(a, b) / radius).min(1.0).asin();
        if (2.0 * half).to_degrees() > crease_deg + 1e-6 {
            return None;
        }
        sagitta = sagitta.max(radius * (1.0 - half.cos()));
    }
    Some(Circle {
        centre,
        radius,
        sagitta,
    })
}

/// The places where the polyline turns.
fn corners(points: &[Plan], rounding: f64) -> Vec<Plan> {
    let n = points.len();
    let turns = |k: usize| {
        let (a, p, b) = (points[(k + n - 1) % n], points[k], points[(k + 1) % n]);
        let side = apart(a, b);
        let off = ((b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0])).abs();
        off > (2.0 * rounding + 1e-9) * side
    };
    let kept: Vec<Plan> = (0..n).filter(|&k| turns(k)).map(|k| points[k]).collect();
    // so fine a circle that rounding hides its turns
    if kept.len() < LEAST_CORNERS && n >= 4 * LEAST_CORNERS {
        points.to_vec()
    } else {
        kept
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ring(n: usize, radius: f64, with_middles: bool) -> Polyline {
        let at = |k: f64| {
            let a = k / n as f64 * std::f64::consts::TAU;
            [3.0 + radius * a.cos(), -2.0 + radius * a.sin()]
        };
        let mut points = Vec::new();
        for k in 0..n {
            let (a, b) = (at(k as f64), at(k as f64 + 1.0));
            points.push(a);
            if with_middles {
                points.push([0.5 * (a[0] + b[0]), 0.5 * (a[1] + b[1])]);
            }
        }
        Polyline {
            triangles: vec![0; points.len()],
            points,
            closed: true,
        }
    }

    #[test]
    fn eight_corners_make_a_circle_and_seven_do_not() {
        // told by their corners, not by all points: 32 of these lie on the sides
        let of = |n: usize| circle(&ring(n, 5.0, true), 1e-6, 60.0);
        assert!((of(8).unwrap().radius - 5.0).abs() < 1e-9);
        assert!(of(7).is_none());
        let mut fine = ring(8, 5.0, false);
        let [a, b] = [fine.points[7], fine.points[0]];
        let on_side = |k: usize| [0, 1].map(|c| a[c] + (b[c] - a[c]) * k as f64 / 30.0);
        fine.points.extend((1..30).map(on_side));
        fine.triangles = vec![0; fine.points.len()];
        assert!((circle(&fine, 1e-6, 60.0).unwrap().radius - 5.0).abs() < 1e-9);
    }

    #[test]
    fn a_faceted_circle_has_the_radius_of_its_corners() {
        for middles in [false, true] {
            let c = circle(&ring(48, 4.05, middles), 1e-6, 30.0).unwrap();
            assert!((c.radius - 4.05).abs() < 1e-9);
            assert!(apart(c.centre, [3.0, -2.0]) < 1e-9);
            // R (1 - cos(pi / n))
            let sagitta = 4.05 * (1.0 - (std::f64::consts::PI / 48.0).cos());
            assert!((c.sagitta - sagitta).abs() < 1e-9);
        }
    }

    #[test]
    fn corners_anywhere_on_a_circle_give_it() {
        // all on one side of it, the farther on the farther apart
        let at = |k: i32| {
            let angle = 0.3 + 0.004 * f64::from(k * k);
            [3.0 + 4.05 * angle.cos(), -2.0 + 4.05 * angle.sin()]
        };
        let points: Vec<Plan> = (0..30).map(at).collect();
        let arc = Polyline {
            triangles: vec![0; points.len()],
            points,
            closed: true,
        };
        // but for the side that closes it, which turns by far more than the others
        let c = circle(&arc, 1e-6, 180.0).unwrap();
        assert!((c.radius - 4.05).abs() < 1e-9, "{c:?}");
        assert!(apart(c.centre, [3.0, -2.0]) < 1e-9, "{c:?}");
        assert_eq!(circle(&arc, 1e-6, 30.0), None);
    }

    #[test]
    fn a_hexagon_is_no_circle_nor_is_an_oval() {
        assert_eq!(circle(&ring(6, 4.0, false), 1e-6, 30.0), None);
        assert_eq!(circle(&ring(9, 4.0, false), 1e-6, 30.0), None);
        let mut oval = ring(64, 4.0, false);
        oval.points.iter_mut().for_each(|p| p[0] *= 1.02);
        assert_eq!(circle(&oval, 1e-6, 30.0), None);
    }
}
