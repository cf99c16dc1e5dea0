//! Whether places lie inside a surface.

use super::{Point, box_of};

/// How often the closed surface of `triangles` winds around each of `points`: 1 inside, 0 outside, −1
/// inside a surface turned inward; sums where surfaces overlap.
///
/// Counts crossings of the upward ray from each point, with sign. Points are binned in a grid in the
/// XY plane and the triangles gone through once, so the cost is that of reading the triangles. A ray
/// that meets an edge or a corner still counts once: the edge test takes both triangles at an edge to
/// the same answer.
pub(super) fn windings(triangles: impl Iterator<Item = [Point; 3]>, points: &[Point]) -> Vec<i32> {
    let mut windings = vec![0; points.len()];
    let Some(bins) = Bins::new(points) else {
        return windings;
    };
    for [a, b, c] in triangles {
        let (lo, hi) = box_of([a, b, c]);
        bins.visit(&lo, &hi, |k| {
            let p = &points[k];
            if p.z > hi.z {
                return;
            }
            let turns = crossing(&a, &b, p) + crossing(&b, &c, p) + crossing(&c, &a, p);
            if turns != 0 && (p.z < lo.z || height([&a, &b, &c], p) > p.z) {
                windings[k] += turns;
            }
        });
    }
    windings
}

/// What the directed edge `a b`, seen from above, adds to the winding around `p`.
fn crossing(a: &Point, b: &Point, p: &Point) -> i32 {
    // always from the lower end, so that the edge and its reverse give exactly opposite answers
    let left = |lo: &Point, hi: &Point| {
        let (ex, ey) = (hi.x - lo.x, hi.y - lo.y);
        i32::from(ex * (p.y - lo.y) - ey * (p.x - lo.x) > 0.0)
    };
    match (a.y <= p.y, b.y <= p.y) {
        (true, false) => left(a, b),
        (false, true) => -left(b, a),
        _ => 0,
    }
}

/// Height of the plane of a triangle at `p`; of its middle where it stands upright.
fn height([a, b, c]: [&Point; 3], p: &Point) -> f64 {
    let n = (b - a).cross(&(c - a));
    let z = a.z - (n.x * (p.x - a.x) + n.y * (p.y - a.y)) / n.z;
    if z.is_finite() {
        z
    } else {
        (a.z + b.z + c.z) / 3.0
    }
}

/// Points by cell of a grid in the XY plane.
struct Bins {
    lo: Point,
    /// Cells per mm along X and Y.
    scale: [f64; 2],
    /// Cells along each side.
    side: usize,
    /// The points of cell `c` are `order[start[c]..start[c + 1]]`.
    start: Vec<usize>,
    order: Vec<usize>,
    hi: Point,
}

impl Bins {
    /// About one point a cell; `None` without points.
    fn new(points: &[Point]) -> Option<Bins> {
        let first = *points.first()?;
        let bounds = |(lo, hi): (Point, Point), p: &Point| (lo.inf(p), hi.sup(p));
        let (lo, hi) = points.iter().fold((first, first), bounds);
        let side = (points.len() as f64).sqrt().ceil() as usize;
        let scale = [hi.x - lo.x, hi.y - lo.y].map(|x| side as f64 / x.max(f64::MIN_POSITIVE));
        let mut bins = Bins {
            lo,
            scale,
            side,
            start: vec![0; side * side + 1],
            order: (0..points.len()).collect(),
            hi,
        };
        let cell = |p: &Point| {
            let [i, j] = bins.cell(p);
            j * side + i
        };
        let mut start = vec![0; side * side + 1];
        points.iter().for_each(|p| start[cell(p) + 1] += 1);
        for c in 1..start.len() {
            start[c] += start[c - 1];
        }
        let mut order = bins.order.clone();
        order.sort_by_key(|&k| cell(&points[k]));
        (bins.start, bins.order) = (start, order);
        Some(bins)
    }

    fn cell(&self, p: &Point) -> [usize; 2] {
        let last = self.side - 1;
        let along = |k: usize| (((p[k] - self.lo[k]) * self.scale[k]) as usize).min(last);
        [along(0), along(1)]
    }

    /// Calls `with` for each point that may lie above or below the box `lo..hi`.
    fn visit(&self, lo: &Point, hi: &Point, mut with: impl FnMut(usize)) {
        if (0..2).any(|k| hi[k] < self.lo[k] || lo[k] > self.hi[k]) {
            return;
        }
        let ([i0, j0], [i1, j1]) = (self.cell(lo), self.cell(hi));
        for j in j0..=j1 {
            let row = j * self.side;
            for &k in &self.order[self.start[row + i0]..self.start[row + i1 + 1]] {
                with(k);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::Mesh;
    use crate::mesh::testing::{ball, block, moved, turned};

    fn of(mesh: &Mesh, points: &[Point]) -> Vec<i32> {
        windings((0..mesh.triangles.len()).map(|t| mesh.corners(t)), points)
    }

    #[test]
    fn rays_through_edges_and_corners_count_once() {
        // from -1 to 1; the ray from the origin passes through the diagonals of two faces
        let cube = moved(&block([2.0, 2.0, 2.0]), [-1.0, -1.0, -1.0]);
        let points = [
            [0.0, 0.0, 0.0],
            [0.0, 0.0, -2.0],
            [0.0, 0.0, 2.0],
            [0.5, 0.5, 0.9],
            [3.0, 0.0, 0.0],
        ];
        let points = points.map(Point::from);
        assert_eq!(of(&cube, &points), [1, 0, 0, 1, 0]);
        assert_eq!(of(&turned(&cube), &points), [-1, 0, 0, -1, 0]);
        // the poles of a ball are corners of many triangles
        assert_eq!(of(&ball(3.0, 12), &points), [1, 1, 1, 1, 0]);
    }

    #[test]
    fn a_ball_agrees_with_its_radius() {
        let (ball, bands) = (ball(1.0, 40), 40.0);
        // facets lie within 1 - cos(half a sector, twice for both ways) of the ball
        let slack = 2.0 * (1.0 - (std::f64::consts::PI / bands).cos());
        let at = |k: u32| {
            Point::from(
                [0.618_034, 0.445_042, 0.801_938].map(|s| (f64::from(k) * s).fract() * 2.4 - 1.2),
            )
        };
        let points: Vec<Point> = (0..5000).map(at).collect();
        let clear = |p: &Point| (p.coords.norm() - 1.0).abs() > slack;
        let mut tested = 0;
        for (p, w) in points.iter().zip(of(&ball, &points)) {
            if clear(p) {
                tested += 1;
                assert_eq!(w, i32::from(p.coords.norm() < 1.0), "{p}");
            }
        }
        assert!(tested > 4000);
    }
}
