//! The largest ball that touches a surface at a place, exactly.

use super::{Rays, Within};
use crate::mesh::{Point, Vector};
use std::ops::ControlFlow;

/// The largest ball that touches at a place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Touching {
    /// Its radius, mm.
    pub radius: f64,
    /// What stops a larger one: place and triangle; `None` where nothing does up to the most asked for.
    pub stop: Option<(Point, u32)>,
    /// No surface is closer to this place than
    centre: Point,
    /// that, mm.
    clear: f64,
}

/// A ball cuts no deeper than this more than it may, mm.
const FINE: f64 = 1e-7;
/// Shrinkings against one triangle; each is a step of Newton's method where the triangle is flat about the contact.
const STEPS: usize = 40;

impl Rays<'_> {
    /// The largest ball up to `most` that touches a surface at `p` with unit normal `n` and cuts no surface deeper than `slack`,
    /// mm. A ball found `near` by makes the search shorter: what stopped it is tried first, and a ball that it holds but for half
    /// the slack is taken for clear. So in a bowl, where one ball touches all over, the bowl is walked through once for many
    /// places.
    ///
    /// The ball that touches at `p` and cuts `slack` deep at the place q = p + v has the radius (v² − slack²) / 2 (n·v − slack),
    /// and of two balls that touch at `p`, each smaller by `slack`, the larger one holds the smaller. So each triangle that the
    /// ball cuts makes it smaller, those it was clear of before stay clear, and one walk through the tree is enough.
    pub fn touching(
        &self,
        p: &Point,
        n: &Vector,
        slack: f64,
        most: f64,
        near: Option<&Touching>,
    ) -> Touching {
        let mut ball = Ball {
            p: *p,
            n: *n,
            slack,
            radius: most,
            stop: None,
        };
        if let Some(near) = near {
            if let Some((_, t)) = near.stop {
                ball.shrink(self, t);
            }
            let beyond = (ball.centre() - near.centre).norm() + ball.radius - slack - near.clear;
            if beyond <= 0.5 * slack {
                return ball.found(near.centre, near.clear);
            }
        }
        let within = |ball: &Ball| Within {
            centre: ball.centre(),
            radius: ball.radius - slack,
        };
        self.tree.near(within(&ball), |t, _| {
            ball.shrink(self, t);
            ControlFlow::Continue(within(&ball))
        });
        ball.found(ball.centre(), ball.radius - slack - FINE)
    }
}

struct Ball {
    p: Point,
    n: Vector,
    slack: f64,
    radius: f64,
    stop: Option<(Point, u32)>,
}

impl Ball {
    fn centre(&self) -> Point {
        self.p + self.n * self.radius
    }

    fn found(&self, centre: Point, clear: f64) -> Touching {
        Touching {
            radius: self.radius,
            stop: self.stop,
            centre,
            clear,
        }
    }

    /// Makes the ball smaller until it no longer cuts triangle `t`.
    fn shrink(&mut self, rays: &Rays, t: u32) {
        for _ in 0..STEPS {
            let centre = self.centre();
            let clear = self.radius - self.slack - FINE;
            let Some((q, _)) = rays.closer(t, &centre, clear) else {
                return;
            };
            let v = q - self.p;
            let rise = v.dot(&self.n) - self.slack;
            let radius = 0.5 * (v.norm_squared() - self.slack * self.slack) / rise;
            // only by rounding: at a place no farther than the slack nothing stops the ball
            if radius.is_nan() || radius <= 0.0 || radius >= self.radius {
                return;
            }
            self.radius = radius;
            self.stop = Some((q, t));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::testing::soup;
    use proptest::prelude::*;

    #[test]
    fn beside_a_wall_the_ball_is_as_large_as_the_wall_is_far() {
        // floor z = 0 touched at the origin, wall x = 3
        let wall = soup(&[[3.0, -50.0, -1.0], [3.0, 50.0, -1.0], [3.0, 0.0, 90.0]]);
        let rays = Rays::new(&wall);
        let at = |slack: f64, most: f64| {
            rays.touching(&Point::origin(), &Vector::z(), slack, most, None)
        };
        let found = at(0.0, 1000.0);
        assert!((found.radius - 3.0).abs() < 1e-6, "{found:?}");
        assert_eq!(found.stop.map(|s| s.1), Some(0));
        // r - slack = 3
        assert!((at(0.25, 1000.0).radius - 3.25).abs() < 1e-6);
        let none = at(0.0, 2.0);
        assert_eq!((none.radius, none.stop), (2.0, None));
    }

    #[test]
    fn a_ball_is_taken_for_clear_where_one_beside_it_is_but_for_half_the_slack() {
        // ceiling z = 10 over the floor z = 0: a ball that may cut 0.1 deep has 2 r - 0.1 = 10
        let ceiling = soup(&[[-50.0, -50.0, 10.0], [50.0, -50.0, 10.0], [0.0, 90.0, 10.0]]);
        let rays = Rays::new(&ceiling);
        let at = |x: f64, near: Option<&Touching>| {
            rays.touching(&Point::new(x, 0.0, 0.0), &Vector::z(), 0.1, 20.0, near)
        };
        let first = at(0.0, None);
        assert!((first.radius - 5.05).abs() < 1e-6, "{first:?}");
        for (aside, vouched) in [(0.04, true), (0.06, false)] {
            let beside = at(aside, Some(&first));
            assert!((beside.radius - 5.05).abs() < 1e-6, "{beside:?}");
            assert_eq!(beside.centre == first.centre, vouched);
            assert_eq!(beside.stop.map(|s| s.1), Some(0));
        }
    }

    const SPACE: std::ops::Range<f64> = -5.0..5.0;

    proptest! {
        #[test]
        fn it_is_clear_and_a_larger_one_is_not(
            corners in prop::collection::vec([SPACE, SPACE, SPACE], 3..60), x in SPACE, y in SPACE, slack in 0.0..0.1f64, aside in -0.2..0.2f64,
        ) {
            let mesh = soup(&corners);
            let rays = Rays::new(&mesh);
            let (p, n) = (Point::new(x, y, -6.0), Vector::z());
            let found = rays.touching(&p, &n, slack, 20.0, None);
            let cuts = |r: f64, deep: f64| rays.any_within(&(p + n * r), r - deep);
            prop_assert!(!cuts(found.radius, slack + 2.0 * FINE));
            if found.radius < 20.0 {
                prop_assert!(cuts(found.radius * (1.0 + 1e-4) + 1e-4, slack));
            }
            // from a ball found beside it: no smaller, and no deeper than half as much again
            let near = rays.touching(&(p + Vector::x() * aside), &n, slack, 20.0, None);
            let other = rays.touching(&p, &n, slack, 20.0, Some(&near));
            prop_assert!(other.radius > found.radius * (1.0 - 1e-4) - 1e-4);
            prop_assert!(!cuts(other.radius, 1.5 * slack + 4.0 * FINE));
        }
    }
}
