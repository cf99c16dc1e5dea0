//! The workload generator: counts, closedness, and the sizes that its documentation states.

#[allow(dead_code, reason = "the example uses more of it")]
#[path = "../benches/workloads/mod.rs"]
mod workloads;

use std::collections::HashSet;
use workloads::{RIM_MM, THICKNESS_MM, Workload, concave_curvature, height};

#[test]
fn meshes_are_closed_and_as_large_as_stated() {
    for workload in [Workload::w1(), Workload::w2(20_000)] {
        let (points, triangles) = workload.mesh();
        assert_eq!(triangles.len(), workload.triangles());
        let sides = |[a, b, c]: [u32; 3]| [(a, b), (b, c), (c, a)];
        let edges: HashSet<_> = triangles.iter().flat_map(|&t| sides(t)).collect();
        assert_eq!(
            edges.len(),
            3 * triangles.len(),
            "no directed edge stands twice"
        );
        assert!(edges.iter().all(|&(a, b)| edges.contains(&(b, a))));
        let distinct: HashSet<_> = points.iter().map(|p| p.map(f32::to_bits)).collect();
        assert_eq!(distinct.len(), points.len());
        // the top is a height field: no facet of it stands upright or over
        for t in &triangles[..2 * workload.cells * workload.cells] {
            let [a, b, c] = t.map(|k| points[k as usize].map(f64::from));
            let plan = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
            assert!(plan > 0.0, "{a:?} {b:?} {c:?}");
        }
        if workload.noise_mm == 0.0 {
            let flat = points
                .iter()
                .filter(|p| p[0].hypot(p[1]) > 39.9999 && p[2] > -29.0);
            assert!(
                flat.into_iter().all(|p| p[2] == 0.0),
                "the parting face is flat"
            );
        }
        // outward: the divergence theorem gives the block less the cavity
        let volume: f64 = triangles
            .iter()
            .map(|t| {
                let [a, b, c] = t.map(|k| points[k as usize].map(f64::from));
                let cross = [
                    b[1] * c[2] - b[2] * c[1],
                    b[2] * c[0] - b[0] * c[2],
                    b[0] * c[1] - b[1] * c[0],
                ];
                (a[0] * cross[0] + a[1] * cross[1] + a[2] * cross[2]) / 6.0
            })
            .sum();
        // midpoint rule on 0.25 mm cells
        let sum: f64 = (0..320)
            .flat_map(|i| (0..320).map(move |j| (i, j)))
            .map(|(i, j)| {
                height(
                    -RIM_MM + 0.25 * (f64::from(i) + 0.5),
                    -RIM_MM + 0.25 * (f64::from(j) + 0.5),
                )
            })
            .sum();
        let expected = 100.0 * 100.0 * THICKNESS_MM + 0.0625 * sum;
        assert!(
            (volume / expected - 1.0).abs() < 2e-3,
            "{volume} against {expected}"
        );
    }
    assert!(Workload::w1().triangles() >= 500_000);
    let five = Workload::w2(5_000_000).triangles() as f64;
    assert!((five / 5e6 - 1.0).abs() < 0.01);
}

#[test]
fn cavity_is_as_deep_as_stated_and_takes_a_ball_of_two_millimetres() {
    let (mut deepest, mut sharpest) = (0f64, 0f64);
    // 0.05 mm cells, off the rim by more than the step of the differences
    for i in 0..1600 {
        for j in 0..1600 {
            let (x, y) = (-39.975 + 0.05 * f64::from(i), -39.975 + 0.05 * f64::from(j));
            if x.hypot(y) > RIM_MM - 1e-3 {
                continue;
            }
            deepest = deepest.min(height(x, y));
            sharpest = sharpest.max(concave_curvature(x, y));
        }
    }
    assert!((-20.0..-15.0).contains(&deepest), "{deepest} mm");
    let radius = 1.0 / sharpest;
    assert!(
        (2.0..3.0).contains(&radius),
        "smallest concave radius {radius} mm"
    );
}
