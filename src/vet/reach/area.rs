//! The area that a cutter leaves too high.

use super::Groups;
use crate::field::Nearest;
use crate::mesh::{Point, cells_about};
use crate::vet::cutting::Cutting;
use std::collections::{HashMap, HashSet};

/// Area left higher than `leave`, mm², and its ±; `height_pm` is the ± of the heights, `groups` and `nearest` are the samples and what
/// is left at each.
///
/// Each sample stands for a piece of the surface that is counted whole, of which no corner is farther from it than d = 2√2/3 of the
/// spacing (two thirds of the longest median, which is shorter than the longest side). Along a plane what a ball of radius R leaves at
/// the distance t from where it touches is √(R² + t²) − R, so that from a height h to the leave L it is |t(h) − t(L)| with
/// t(h) = √(2Rh + h²); other cutters hold a ball of their corner radius where they touch, and leave no more.
/// So [`beyond`] tells how much of the piece may lie on the other side of L; all of it if h is within its ± of L; and where nothing
/// is left only beside pieces where something is.
pub(super) fn left_area(
    cutting: &Cutting,
    (groups, nearest): (&Groups, &[Nearest]),
    leave: f64,
    height_pm: f64,
) -> (f64, f64) {
    let corner = cutting.profile.tip_below();
    let way = |h: f64| (h * (2.0 * corner + h)).sqrt();
    let piece = 2.0 * std::f64::consts::SQRT_2 / 3.0 * groups.spacing;
    let judged = || groups.samples.iter().zip(nearest);
    let mut beside = Places::new(2.0 * piece);
    if way(height_pm) + piece > way(leave) {
        let untouched = judged().filter(|(_, n)| n.left > 0.0);
        untouched.for_each(|(s, _)| beside.put(s.at));
    }
    let (mut area, mut less, mut more) = (0.0, 0.0, 0.0);
    for (s, n) in judged() {
        let height = n.left;
        if height > leave {
            area += s.area;
            let surely = (height - height_pm).max(leave);
            less += s.area * beyond((way(surely) - way(leave)) / piece);
        } else if height > 0.0 || beside.any_near(&s.at) {
            let maybe = (height + height_pm).min(leave);
            more += s.area * beyond((way(leave) - way(maybe)) / piece);
        }
    }
    (area, f64::max(less, more))
}

/// The most of a triangle that may lie beyond a straight line at this distance from its centroid, in units of the distance to its
/// farthest corner; all of it where that is not known to be more than 0.
///
/// At the distance u a line that leaves a corner cuts off ½(1 − u)² at the most, one that leaves a side 1 − 4/9 (1 + u)²: similar
/// triangles, the side at half the distance of the corner. That no triangle lies otherwise is tested on random ones.
fn beyond(distance: f64) -> f64 {
    if distance <= 0.0 {
        return 1.0;
    }
    let u = distance.min(1.0);
    let side = 1.0 - 4.0 / 9.0 * (1.0 + u) * (1.0 + u);
    side.max(0.5 * (1.0 - u) * (1.0 - u))
}

/// Places sorted by cells as wide as how near they are looked for.
struct Places {
    within: f64,
    cells: HashMap<[i64; 3], Vec<Point>>,
    /// The same cells and those beside them: most places that are asked for lie in none of these.
    about: HashSet<[i64; 3]>,
}

impl Places {
    fn new(within: f64) -> Places {
        Places {
            within,
            cells: HashMap::new(),
            about: HashSet::new(),
        }
    }

    fn cell(&self, at: &Point) -> [i64; 3] {
        [at.x, at.y, at.z].map(|v| (v / self.within).floor() as i64)
    }

    fn put(&mut self, at: Point) {
        let cell = self.cell(&at);
        let places = self.cells.entry(cell).or_default();
        if places.is_empty() {
            self.about.extend(cells_about(cell));
        }
        places.push(at);
    }

    fn any_near(&self, at: &Point) -> bool {
        let cell = self.cell(at);
        let near = |p: &Point| (p - at).norm() <= self.within;
        self.about.contains(&cell)
            && cells_about(cell).any(|c| {
                self.cells
                    .get(&c)
                    .is_some_and(|places| places.iter().any(near))
            })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Area of a triangle, and of what of it lies at `x` or more.
    fn cut(corners: [[f64; 2]; 3], x: f64) -> [f64; 2] {
        let mut part = Vec::new();
        for k in 0..3 {
            let (p, q) = (corners[k], corners[(k + 1) % 3]);
            if p[0] >= x {
                part.push(p);
            }
            if (p[0] > x) != (q[0] > x) {
                let t = (x - p[0]) / (q[0] - p[0]);
                part.push([x, p[1] + t * (q[1] - p[1])]);
            }
        }
        let area = |ring: &[[f64; 2]]| {
            let next = |k: usize| ring[(k + 1) % ring.len()];
            let cross = |k: usize| ring[k][0] * next(k)[1] - ring[k][1] * next(k)[0];
            0.5 * (0..ring.len()).map(cross).sum::<f64>().abs()
        };
        [area(&corners), area(&part)]
    }

    proptest! {
        #[test]
        fn no_line_cuts_more_of_a_triangle(
            corners in prop::array::uniform3(prop::array::uniform2(-1.0..1.0_f64)),
            flat in -2.0..2.0_f64,
            turn in 0.0..std::f64::consts::TAU,
            u in 0.0..1.0_f64,
        ) {
            let (sin, cos) = turn.sin_cos();
            let turned = corners.map(|[x, y]| {
                let y = y * 10_f64.powf(flat);
                [cos * x - sin * y, sin * x + cos * y]
            });
            let middle = [0, 1].map(|k| turned.iter().map(|p| p[k]).sum::<f64>() / 3.0);
            let farthest = turned.iter().map(|p| (p[0] - middle[0]).hypot(p[1] - middle[1])).fold(0.0, f64::max);
            let [all, part] = cut(turned, middle[0] + u * farthest);
            prop_assume!(all > 1e-9);
            prop_assert!(part <= (beyond(u) + 1e-9) * all, "{part} of {all} at {u}");
        }
    }

    #[test]
    fn lines_that_leave_a_side_or_a_corner_cut_that_much() {
        // centroid at 0, a corner at −1 and a side at ½
        let arrow = [[-1.0, 0.0], [0.5, 0.1], [0.5, -0.1]];
        let [all, part] = cut(arrow, 0.1);
        assert!((part / all - beyond(0.1)).abs() < 1e-12);
        // two sides leave the corner at 1, and the one across it passes the centroid
        let tent = [[-1.0, 0.0], [1.0, 0.0], [0.0, 1e-6]];
        let [all, part] = cut(tent, 0.6);
        assert!((part / all - beyond(0.6)).abs() < 1e-12);
        assert_eq!([beyond(0.0), beyond(1.0), beyond(3.0)], [1.0, 0.0, 0.0]);
    }

    #[test]
    fn places_are_near_across_cells() {
        let mut places = Places::new(2.0);
        assert!(!places.any_near(&Point::origin()));
        places.put(Point::new(1.9, -0.1, 4.1));
        for (at, near) in [
            ([2.1, 0.1, 3.9], true),
            ([3.8, -0.1, 4.1], true),
            ([4.0, -0.1, 4.1], false),
        ] {
            assert_eq!(places.any_near(&Point::from(at)), near, "{at:?}");
        }
    }
}
