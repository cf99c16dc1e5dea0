//! The nearest point of a set of half-spaces, and of a cone.

use crate::mesh::{Point, Vector};
/// Steps of [`shares`]; a handful are usual.
const MOST_STEPS: usize = 200;
/// A normal that sticks out of those taken by less than this is their combination.
const DEPENDENT: f64 = 1e-9;

/// The point of the half-spaces n·c ≥ b (unit normals n) that is nearest to `p`, to `within`; `None` if they have none in common.
pub fn nearest_point(p: &Point, planes: &[(Vector, f64)], within: f64) -> Option<Point> {
    let lacks: Vec<f64> = planes.iter().map(|(n, b)| b - n.dot(&p.coords)).collect();
    let normals: Vec<Vector> = planes.iter().map(|(n, _)| *n).collect();
    let (_, shortest) = shares(&normals, &lacks, 0.1 * within)?;
    Some(p + shortest)
}

/// Shares, none negative, by which the unit `normals` come nearest to the direction `towards`.
pub fn cone_shares(normals: &[Vector], towards: &Vector) -> Vec<(usize, f64)> {
    let lacks: Vec<f64> = normals.iter().map(|n| n.dot(towards)).collect();
    // the direction itself lacks nothing: there is always an answer
    shares(normals, &lacks, 1e-9).map_or_else(Vec::new, |(shares, _)| shares)
}

/// The shortest Σ λ_k n_k, λ ≥ 0, that goes as far as `lacks` along each of the unit `normals`, to `least`: the λ that are not
/// zero, and the vector. `None` if no vector does.
///
/// The dual method of D. Goldfarb and A. Idnani, Mathematical Programming 27, 1–33, 1983, for the identity as its form: the
/// normal that lacks most is taken in, and those whose share would turn negative on the way are let go. In space three are
/// taken at most.
fn shares(normals: &[Vector], lacks: &[f64], least: f64) -> Option<(Vec<(usize, f64)>, Vector)> {
    let mut taken: Vec<(usize, f64)> = Vec::new();
    let mut at = Vector::zeros();
    for _ in 0..MOST_STEPS {
        let lack = |k: usize| lacks[k] - normals[k].dot(&at);
        let most = (0..normals.len()).max_by(|&a, &b| lack(a).total_cmp(&lack(b)).then(b.cmp(&a)));
        let Some(next) = most.filter(|&k| lack(k) > least) else {
            return Some((taken, at));
        };
        let mut own = 0.0;
        loop {
            let (along, out) = Basis::of(normals, &taken).split(&normals[next]);
            let full = match out.norm_squared() {
                sticks_out if sticks_out > DEPENDENT => {
                    (lacks[next] - normals[next].dot(&at)) / sticks_out
                }
                _ => f64::INFINITY,
            };
            // the first of those taken whose share would turn negative
            let blocked = (taken.iter().zip(&along).enumerate())
                .filter(|(_, (_, a))| **a > 0.0)
                .map(|(i, ((_, s), a))| (s / a, i))
                .min_by(|a, b| a.0.total_cmp(&b.0));
            let step = blocked.map_or(full, |b| b.0.min(full));
            if !step.is_finite() {
                return None;
            }
            for ((_, s), a) in taken.iter_mut().zip(&along) {
                *s -= step * a;
            }
            own += step;
            if full.is_finite() {
                at += out * step;
            }
            match blocked.filter(|b| b.0 < full) {
                Some((_, i)) => taken.remove(i),
                None => break,
            };
        }
        taken.push((next, own));
        // anew, or what is lost beside normals that are nearly the same adds up
        at = Basis::of(normals, &taken).meeting(lacks, &taken);
    }
    None
}

/// The normals taken, three at most, as Σ over i ≤ j of q_i r_ij with q_i square to each other: not by their products with each
/// other, which lose twice as many digits where two are nearly the same.
#[derive(Default)]
struct Basis {
    q: [Vector; 3],
    r: [[f64; 3]; 3],
    len: usize,
}

impl Basis {
    fn of(normals: &[Vector], taken: &[(usize, f64)]) -> Basis {
        let mut basis = Basis::default();
        for (j, &(k, _)) in taken.iter().enumerate().take(3) {
            let (along, out) = basis.project(&normals[k]);
            for (i, a) in along.iter().enumerate() {
                basis.r[i][j] = *a;
            }
            basis.r[j][j] = out.norm();
            basis.q[j] = out / out.norm();
            basis.len += 1;
        }
        basis
    }

    /// What `v` has along each q, and what sticks out of them; twice, for what rounding leaves.
    fn project(&self, v: &Vector) -> ([f64; 3], Vector) {
        let (mut along, mut out) = ([0.0; 3], *v);
        for _ in 0..2 {
            for (a, q) in along.iter_mut().zip(&self.q).take(self.len) {
                let share = q.dot(&out);
                *a += share;
                out -= q * share;
            }
        }
        (along, out)
    }

    /// `normal` as a combination of the normals taken, and what sticks out of them.
    fn split(&self, normal: &Vector) -> ([f64; 3], Vector) {
        let (mut along, out) = self.project(normal);
        for i in (0..self.len).rev() {
            let later: f64 = (i + 1..self.len).map(|j| self.r[i][j] * along[j]).sum();
            along[i] = (along[i] - later) / self.r[i][i];
        }
        (along, out)
    }

    /// The shortest vector that goes just as far as `lacks` along each normal taken.
    fn meeting(&self, lacks: &[f64], taken: &[(usize, f64)]) -> Vector {
        let mut along = [0.0; 3];
        for j in 0..self.len {
            let before: f64 = (0..j).map(|i| self.r[i][j] * along[i]).sum();
            along[j] = (lacks[taken[j].0] - before) / self.r[j][j];
        }
        (self.q.iter().zip(along)).map(|(q, a)| q * a).sum()
    }
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

        /// As above, with normals in two bundles: what a ball in a groove rests on.
        #[test]
        fn the_nearest_point_is_free_where_normals_are_nearly_the_same(
            leans in prop::collection::vec((-1.0..1.0f64, 0.0..1e-3f64), 2..20), p in unit(), finer in 0..6i32,
        ) {
            let spread = 10f64.powi(-finer);
            let planes: Vec<_> = leans.iter().enumerate().map(|(k, (lean, gap))| {
                let side = if k % 2 == 0 { 0.3 } else { -0.3 };
                (Vector::new(side, spread * lean, 1.0).normalize(), -gap)
            }).collect();
            let c = nearest_point(&Point::from(p), &planes, 1e-6).unwrap();
            prop_assert!((c - Point::from(p)).norm() <= p.norm() + 1e-6);
            for (n, b) in &planes {
                prop_assert!(n.dot(&c.coords) >= b - 1e-6);
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
