//! Faces with any number of corners, cut into triangles.

/// Above this number of corners a face is cut as a fan: ears take time by the square.
const MOST_EARS: usize = 4096;

/// Cuts the face with these corners into triangles, given as indices into `corners`, wound alike.
///
/// A convex face becomes a fan from its first corner; another is cut by ears in the plane that fits it best
/// (Meisters 1975, Polygons have ears). Nothing for fewer than three corners.
pub(super) fn triangles(corners: &[[f32; 3]]) -> Vec<[usize; 3]> {
    let n = corners.len();
    if n < 3 {
        return Vec::new();
    }
    let fan = || (2..n).map(|k| [0, k - 1, k]).collect();
    if n == 3 || n > MOST_EARS {
        return fan();
    }
    let flat = flattened(corners);
    let turn = |a: usize, b: usize, c: usize| cross(flat[a], flat[b], flat[c]);
    if (0..n).all(|k| turn(k, (k + 1) % n, (k + 2) % n) >= 0.0) {
        return fan();
    }
    let mut left: Vec<usize> = (0..n).collect();
    let mut cut = Vec::with_capacity(n - 2);
    let mut from = 0;
    while left.len() > 3 {
        let m = left.len();
        let corners_at = |k: usize| [left[(k + m - 1) % m], left[k], left[(k + 1) % m]];
        let is_ear = |k: &usize| {
            let [a, b, c] = corners_at(*k);
            let inside = |p: usize| {
                p != a
                    && p != b
                    && p != c
                    && turn(a, b, p) >= 0.0
                    && turn(b, c, p) >= 0.0
                    && turn(c, a, p) >= 0.0
            };
            turn(a, b, c) > 0.0 && !left.iter().any(|&p| inside(p))
        };
        // on from the last ear, or spirals take time by the cube
        let Some(ear) = (from..m).chain(0..from).find(is_ear) else {
            break;
        };
        cut.push(corners_at(ear));
        left.remove(ear);
        from = ear % left.len();
    }
    // a triangle, or what is left of a face that crosses itself: it has no ear, and any cut will do
    cut.extend((2..left.len()).map(|k| [left[0], left[k - 1], left[k]]));
    cut
}

/// The corners without the coordinate along which the face looks most, seen counter-clockwise.
fn flattened(corners: &[[f32; 3]]) -> Vec<[f64; 2]> {
    // Newell's normal: the areas of the face's three shadows
    let n = corners.len();
    let area = |u: usize, v: usize| -> f64 {
        (0..n)
            .map(|k| {
                let (p, q) = (corners[k], corners[(k + 1) % n]);
                (f64::from(p[u]) - f64::from(q[u])) * (f64::from(p[v]) + f64::from(q[v]))
            })
            .sum()
    };
    let shadows = [(1, 2), (2, 0), (0, 1)].map(|(u, v)| (area(u, v), u, v));
    let largest = shadows
        .iter()
        .max_by(|a, b| a.0.abs().total_cmp(&b.0.abs()));
    let &(size, u, v) = largest.unwrap_or(&shadows[2]);
    let (u, v) = if size < 0.0 { (v, u) } else { (u, v) };
    let flat = |p: &[f32; 3]| [f64::from(p[u]), f64::from(p[v])];
    corners.iter().map(flat).collect()
}

fn cross(a: [f64; 2], b: [f64; 2], c: [f64; 2]) -> f64 {
    (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn area(corners: &[[f32; 3]], t: &[usize; 3]) -> f64 {
        let [a, b, c] = t.map(|k| [f64::from(corners[k][0]), f64::from(corners[k][1])]);
        0.5 * cross(a, b, c)
    }

    #[test]
    fn a_face_with_a_notch_is_covered_once() {
        // an L: 3 x 3 less a corner of 2 x 2, area 5; a fan from its first corner would reach outside
        let l = [[1, 1], [1, 3], [0, 3], [0, 0], [3, 0], [3, 1]];
        for turned in 0..6 {
            let mut l = l.map(|[x, y]| [x as f32, y as f32, 7.0]);
            l.rotate_left(turned);
            let cut = triangles(&l);
            assert_eq!(cut.len(), 4);
            assert!(cut.iter().all(|t| area(&l, t) > 0.0), "{turned}: {cut:?}");
            assert_eq!(cut.iter().map(|t| area(&l, t)).sum::<f64>(), 5.0);
        }
    }

    #[test]
    fn whatever_the_face_looks_at_it_is_wound_alike() {
        // a star with four points, seen along each axis from either side
        let star = [
            [4, 0],
            [1, 1],
            [0, 4],
            [-1, 1],
            [-4, 0],
            [-1, -1],
            [0, -4],
            [1, -1],
        ];
        for axis in 0..3 {
            for mirrored in [false, true] {
                let mut corners: Vec<[f32; 3]> = star
                    .iter()
                    .map(|&[u, v]| {
                        let mut p = [0.5; 3];
                        p[(axis + 1) % 3] = u as f32;
                        p[(axis + 2) % 3] = v as f32;
                        p
                    })
                    .collect();
                if mirrored {
                    corners.reverse();
                }
                let sign = if mirrored { -1.0 } else { 1.0 };
                let flat = |k: usize| {
                    [corners[k][(axis + 1) % 3], corners[k][(axis + 2) % 3]].map(f64::from)
                };
                let areas: Vec<f64> = triangles(&corners)
                    .iter()
                    .map(|&[a, b, c]| 0.5 * sign * cross(flat(a), flat(b), flat(c)))
                    .collect();
                assert!(
                    areas.iter().all(|a| *a > 0.0),
                    "{axis} {mirrored}: {areas:?}"
                );
                // a square of 2 x 2 and four triangles of 2 x 3 / 2
                assert_eq!(areas.iter().sum::<f64>(), 16.0);
            }
        }
    }

    #[test]
    fn faces_without_area_do_not_hang() {
        assert!(triangles(&[[0.0; 3]; 2]).is_empty());
        assert_eq!(triangles(&[[0.0; 3]; 9]).len(), 7);
        let crossing =
            [[0, 0], [4, 4], [4, 0], [0, 4], [2, 9]].map(|[x, y]| [x as f32, y as f32, 0.0]);
        assert_eq!(triangles(&crossing).len(), 3);
    }

    #[test]
    fn a_face_that_crosses_itself_takes_no_longer() {
        // corners of a large face thrown about, wound both ways: most have no ear
        let corners: Vec<[f32; 3]> = (0..MOST_EARS as u32)
            .map(|k| {
                let thrown = k.wrapping_mul(2_654_435_761) >> 8;
                [(thrown % 4093) as f32, (thrown / 4093 % 4093) as f32, 0.0]
            })
            .collect();
        let start = std::time::Instant::now();
        assert_eq!(triangles(&corners).len(), MOST_EARS - 2);
        assert!(start.elapsed().as_secs() < 5);
    }
}
