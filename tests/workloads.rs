//! The workload generator: counts, closedness, and the sizes that its documentation states.

#[allow(dead_code, reason = "shared with other tests")]
mod common;
#[allow(dead_code, reason = "the example uses more of it")]
#[path = "../benches/workloads/mod.rs"]
mod workloads;

use common::{Facet, balls, model_of};
use moldvet::units::Unit;
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

/// The finer mesh has so many facets that most are told by others near them; both stand for the same surface.
#[test]
fn a_mesh_finer_than_the_samples_reads_as_one_that_is_not() {
    let halves = [249, 499].map(|cells| {
        let workload = Workload {
            cells,
            ..Workload::w1()
        };
        let (points, triangles) = workload.mesh();
        let facets: Vec<Facet> = (triangles.iter())
            .map(|t| t.map(|k| points[k as usize]))
            .collect();
        let model = model_of(&facets, Unit::Mm);
        common::report(&[model], &balls(&[3.0, 6.0, 10.0]))
            .halves
            .remove(0)
    });
    let mut differ = Vec::new();
    let mut close = |what: &str, a: [Option<f64>; 2], b: [Option<f64>; 2]| {
        let ([Some(x), Some(x_pm)], [Some(y), Some(y_pm)]) = (a, b) else {
            panic!("{what} is not told");
        };
        if (x - y).abs() > x_pm + y_pm {
            differ.push(format!("{what}: {x} ± {x_pm} against {y} ± {y_pm}"));
        }
    };
    let [a, b] = &halves;
    let radius = |h: &moldvet::report::Half| {
        [
            h.reach.smallest_concave_radius_mm,
            h.reach.smallest_concave_radius_mm_pm,
        ]
    };
    close("radius", radius(a), radius(b));
    for (a, b) in a.reach.cutters.iter().zip(&b.reach.cutters) {
        let name = &a.name;
        let height = |c: &moldvet::report::CutterReach| [c.left_height_mm, c.left_height_mm_pm];
        let area = |c: &moldvet::report::CutterReach| [c.left_area_mm2, c.left_area_mm2_pm];
        let volume = |c: &moldvet::report::CutterReach| [c.left_volume_mm3, c.left_volume_mm3_pm];
        close(&format!("height left by {name}"), height(a), height(b));
        close(&format!("area left by {name}"), area(a), area(b));
        close(&format!("volume left by {name}"), volume(a), volume(b));
        let differs = a.clears.zip(b.clears).is_some_and(|(a, b)| a != b);
        assert!(!differs, "{name} clears {:?} and {:?}", a.clears, b.clears);
    }
    assert!(differ.is_empty(), "{}", differ.join("\n"));
    assert!(b.reach.cutters[2].left_area_mm2 > Some(100.0));
}
