//! The nearest point of a set of half-spaces, and of a cone.

use crate::mesh::{Point, Vector};
use nalgebra::{DMatrix, DVector};

/// Steps of [`shares`]; three or four are usual.
const MOST_STEPS: usize = 60;
/// What counts for nothing among unit vectors.
const NOTHING: f64 = 1e-10;

/// The point of the half-spaces n·c ≥ b (unit normals n) that is nearest to `p`, to `within`; `None` if they have none in common.
pub fn nearest_point(p: &Point, planes: &[(Vector, f64)], within: f64) -> Option<Point> {
    let lacks: Vec<f64> = planes.iter().map(|(n, b)| b - n.dot(&p.coords)).collect();
    let normals: Vec<Vector> = planes.iter().map(|(n, _)| *n).collect();
    let pushes = shares(&normals, &lacks, 0.1 * within);
    let c = p + pushes.iter().map(|&(k, s)| normals[k] * s).sum::<Vector>();
    let holds = |(n, b): &(Vector, f64)| n.dot(&c.coords) >= b - within;
    planes.iter().all(holds).then_some(c)
}

/// Shares, none negative, by which the unit `normals` come nearest to the direction `towards`.
pub fn cone_shares(normals: &[Vector], towards: &Vector) -> Vec<(usize, f64)> {
    let lacks: Vec<f64> = normals.iter().map(|n| n.dot(towards)).collect();
    shares(normals, &lacks, 1e-9)
}

/// Minimises |Σ λ_k n_k|² / 2 − Σ λ_k d_k over λ ≥ 0, with `lacks` d: the dual of the nearest point of half-spaces, and with
/// d_k = n_k · u the nearest point of a cone to u. An active-set method: the normal that lacks most is taken in until none
/// lacks more than `least`. C. L. Lawson and R. J. Hanson, Solving Least Squares Problems, 1974, algorithm NNLS; in space
/// three are active at most.
fn shares(normals: &[Vector], lacks: &[f64], least: f64) -> Vec<(usize, f64)> {
    let mut active: Vec<(usize, f64)> = Vec::new();
    for _ in 0..MOST_STEPS {
        let made: Vector = active.iter().map(|&(k, s)| normals[k] * s).sum();
        let lack = |k: usize| lacks[k] - normals[k].dot(&made);
        let next = (0..normals.len())
            .filter(|k| active.iter().all(|a| a.0 != *k))
            .max_by(|&a, &b| lack(a).total_cmp(&lack(b)).then(b.cmp(&a)));
        match next.filter(|&k| lack(k) > least) {
            Some(k) => active.push((k, 0.0)),
            None => break,
        }
        // the best shares of those taken; one that would go negative is let go on the way there
        while let Some(best) = level(normals, lacks, &active) {
            let step = (active.iter().zip(&best))
                .filter(|(_, b)| **b <= 0.0)
                .map(|((_, s), b)| s / (s - b).max(NOTHING))
                .fold(1.0, f64::min);
            for ((_, s), b) in active.iter_mut().zip(&best) {
                *s += step * (b - *s);
            }
            if step >= 1.0 {
                break;
            }
            active.retain(|a| a.1 > NOTHING);
        }
        active.retain(|a| a.1 > 0.0);
    }
    active
}

/// Shares of the active normals, whatever their signs, at which none of them lacks anything.
fn level(normals: &[Vector], lacks: &[f64], active: &[(usize, f64)]) -> Option<Vec<f64>> {
    if active.is_empty() {
        return None;
    }
    let n = active.len();
    let normal = |i: usize| normals[active[i].0];
    let gram = DMatrix::from_fn(n, n, |i, j| normal(i).dot(&normal(j)));
    let right = DVector::from_fn(n, |i, _| lacks[active[i].0]);
    let found = gram.svd(true, true).solve(&right, 1e-12).ok()?;
    Some(found.iter().copied().collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn two_faces_at_right_angles_share_by_the_secant() {
        let towards = Vector::new(1.0, 0.0, 1.0).normalize();
        let shares = cone_shares(&[Vector::x(), Vector::z()], &towards);
        // 1 / sin 45°
        assert!((shares.iter().map(|s| s.1).sum::<f64>() - 2f64.sqrt()).abs() < 1e-12);
    }

    #[test]
    fn faces_that_look_away_take_no_share() {
        let normals = [Vector::z(), -Vector::z(), Vector::x()];
        assert_eq!(cone_shares(&normals, &Vector::z()).len(), 1);
    }

    #[test]
    fn the_nearest_point_of_a_corner_is_its_corner() {
        let planes = [(Vector::x(), 2.0), (Vector::y(), 3.0), (Vector::z(), -1.0)];
        let c = nearest_point(&Point::origin(), &planes, 1e-6).unwrap();
        assert!((c - Point::new(2.0, 3.0, 0.0)).norm() < 1e-9);
    }

    #[test]
    fn walls_that_face_each_other_too_close_leave_none() {
        let planes = [(Vector::x(), 1.0), (-Vector::x(), 1.0)];
        assert_eq!(nearest_point(&Point::origin(), &planes, 1e-6), None);
    }

    fn unit() -> impl Strategy<Value = Vector> {
        prop::array::uniform3(-1.0..1.0f64)
            .prop_map(Vector::from)
            .prop_filter("long enough to have a direction", |v| v.norm() > 1e-3)
            .prop_map(|v| v.normalize())
    }

    proptest! {
        /// What is left over leans away from every normal: the condition of the nearest point of a cone.
        #[test]
        fn shares_are_the_best(normals in prop::collection::vec(unit(), 1..40), towards in unit()) {
            let shares = cone_shares(&normals, &towards);
            prop_assert!(shares.iter().all(|s| s.1 > 0.0));
            let made: Vector = shares.iter().map(|&(k, s)| normals[k] * s).sum();
            for n in &normals {
                prop_assert!(n.dot(&(towards - made)) < 1e-6);
            }
        }

        /// Half-spaces that touch a ball from outside, as surfaces about a free place do: the point found is no farther from p
        /// than that place, and lies in all of them.
        #[test]
        fn the_nearest_point_is_free(
            normals in prop::collection::vec((unit(), 0.0..0.1f64), 1..40), p in unit(),
        ) {
            let planes: Vec<_> = normals.iter().map(|(n, gap)| (*n, -gap)).collect();
            let c = nearest_point(&Point::from(p), &planes, 1e-6).unwrap();
            prop_assert!((c - Point::from(p)).norm() <= p.norm() + 1e-6);
        }
    }
}
