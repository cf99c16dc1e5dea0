use super::*;
use crate::mesh::testing::soup;
use crate::mesh::{Mesh, box_of};
use proptest::prelude::*;

fn all(mesh: &Mesh) -> Vec<u32> {
    (0..mesh.triangles.len() as u32).collect()
}

/// The triangles that a ball is told to come near to.
fn near(tree: &Tree, centre: Point, radius: f64) -> Vec<u32> {
    let mut found = Vec::new();
    tree.near(Within { centre, radius }, |t, ball| {
        found.push(t);
        ControlFlow::Continue(ball)
    });
    found.sort_unstable();
    found
}

proptest! {
    #[test]
    fn every_triangle_that_a_ball_cuts_is_told(
        corners in prop::collection::vec([-1.0..1.0f64, -1.0..1.0f64, -1.0..1.0f64], 3..400),
        size in prop::sample::select(vec![1e-3, 1.0, 1e3]), off in prop::sample::select(vec![0.0, 1e6]),
        p in [-2.0..2.0f64, -2.0..2.0f64, -2.0..2.0f64], radius in 0.01..3.0f64, small in 1e-3..1.0f64,
    ) {
        // triangles of any size about places all over
        let place = |k: usize, c: &[f64; 3]| [0, 1, 2].map(|d| size * (corners[k / 3 * 3][d] + small * c[d]) + off);
        let corners: Vec<[f64; 3]> = corners.iter().enumerate().map(|(k, c)| place(k, c)).collect();
        let mesh = soup(&corners);
        let tree = Tree::over(&mesh, &all(&mesh));
        let centre = Point::from(p.map(|v| size * v + off));
        let radius = size * radius;
        let found = near(&tree, centre, radius);
        for t in 0..mesh.triangles.len() as u32 {
            let q = super::super::nearest_on(mesh.corners(t as usize), &centre, f64::INFINITY).unwrap();
            if (q - centre).norm() < radius {
                prop_assert!(found.binary_search(&t).is_ok(), "{t} of {found:?}");
            }
        }
    }
}

/// A floor of squares with sides of a millimetre, level or in waves.
fn floor(n: usize, height: impl Fn(f64, f64) -> f64) -> Mesh {
    let vertex = |k: usize| {
        let (x, y) = ((k % (n + 1)) as f64, (k / (n + 1)) as f64);
        Point::new(x, y, height(x, y))
    };
    let two = |k: usize| {
        let a = (k / n * (n + 1) + k % n) as u32;
        let (b, c, d) = (a + 1, a + n as u32 + 1, a + n as u32 + 2);
        [[a, b, d], [a, d, c]]
    };
    Mesh {
        vertices: (0..(n + 1) * (n + 1)).map(vertex).collect(),
        triangles: (0..n * n).flat_map(two).collect(),
    }
}

#[test]
fn a_ball_that_nearly_touches_a_slope_comes_near_to_few_triangles() {
    // clear by a hundredth of a millimetre of a slope of 45°, whose boxes are all a millimetre high
    let slope = floor(64, |x, _| x);
    let tree = Tree::over(&slope, &all(&slope));
    let off = 10.01 / 2.0_f64.sqrt();
    let centre = Point::new(32.0 - off, 32.0, 32.0 + off);
    assert_eq!(near(&tree, centre, 10.0).len(), 0);
    let boxes = |r: f64| {
        let from = |v: f64, lo: f64, hi: f64| (lo - v).max(v - hi).max(0.0);
        let cut = |t: &u32| {
            let (lo, hi) = box_of(slope.corners(*t as usize));
            (0..3)
                .map(|k| from(centre[k], lo[k], hi[k]).powi(2))
                .sum::<f64>()
                < r * r
        };
        all(&slope).iter().filter(|t| cut(t)).count()
    };
    assert!(boxes(10.0) > 30);
    // a little larger it touches the slope, and the boxes tell as ever
    let touched = near(&tree, centre, 10.02).len();
    assert!((1..=boxes(10.02)).contains(&touched), "{touched}");
}

#[test]
fn nearer_boxes_come_first_and_the_ball_may_shrink() {
    let waves = floor(40, |x, y| (0.7 * x).sin() * (0.9 * y).cos());
    let tree = Tree::over(&waves, &all(&waves));
    let centre = Point::new(17.3, 21.1, 6.0);
    let mut asked = 0;
    let mut least = f64::INFINITY;
    let ball = Within {
        centre,
        radius: 1e3,
    };
    tree.near(ball, |t, mut ball| {
        asked += 1;
        let corners = waves.corners(t as usize);
        if let Some(q) = super::super::nearest_on(corners, &centre, f64::INFINITY) {
            least = least.min((q - centre).norm());
        }
        ball.radius = ball.radius.min(least);
        ControlFlow::Continue(ball)
    });
    let each = all(&waves).into_iter().filter_map(|t| {
        super::super::nearest_on(waves.corners(t as usize), &centre, f64::INFINITY)
    });
    let nearest = each
        .map(|q| (q - centre).norm())
        .fold(f64::INFINITY, f64::min);
    assert_eq!(least, nearest);
    assert!(asked < 200, "{asked} of {}", waves.triangles.len());
}

#[test]
fn triangles_that_cannot_be_parted_by_place_are_halved() {
    // all in one place, and each a thousandth as far from a point as the one before
    let one = [[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]];
    let mesh = soup(&one.repeat(3000));
    let tree = Tree::over(&mesh, &all(&mesh));
    assert_eq!(near(&tree, Point::new(0.2, 0.2, 1.0), 1.5).len(), 3000);
    let shrinking: Vec<[f64; 3]> = (0..3000)
        .flat_map(|k| one.map(|c| c.map(|v| (v + 1.0) * 0.9_f64.powi(k % 300))))
        .collect();
    let mesh = soup(&shrinking);
    let tree = Tree::over(&mesh, &all(&mesh));
    assert_eq!(near(&tree, Point::origin(), 10.0).len(), 3000);
}

#[test]
fn the_tree_is_the_same_whatever_the_number_of_threads() {
    let waves = floor(120, |x, y| (0.7 * x).sin() * (0.9 * y).cos());
    let told = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build();
        pool.unwrap().install(|| {
            let tree = Tree::over(&waves, &all(&waves));
            let mut order = Vec::new();
            let ball = Within {
                centre: Point::new(50.0, 60.0, 1.0),
                radius: 30.0,
            };
            tree.near(ball, |t, ball| {
                order.push(t);
                ControlFlow::Continue(ball)
            });
            order
        })
    };
    assert!(told(1).len() > 5000);
    assert_eq!(told(1), told(3));
}
