//! What flats and bull-noses leave.

use super::left;
use crate::common::{self, Differences, balls};
use crate::shapes::{channel, model, pit_of, pocket};
use moldvet::mesh::{Mesh, Vector};
use moldvet::report::Half;
use std::f64::consts::{PI, SQRT_2};

/// As [`super::vet`], with cutters of these diameters and corner radii.
fn vet_with_corners(mesh: Mesh, cutters: &[[f64; 2]]) -> Half {
    let mut config = balls(&cutters.iter().map(|c| c[0]).collect::<Vec<_>>());
    for (cutter, [_, corner]) in config.shop.cutters.iter_mut().zip(cutters) {
        cutter.corner_radius = *corner;
    }
    config.axis = Some(Vector::z());
    config.cell = Some(0.1);
    common::report(&[model(mesh)], &config).halves.remove(0)
}

/// The mesh moved in plan, so that nothing in it is alike on both sides of the origin nor lies on the grid.
fn moved(mut mesh: Mesh, x: f64, y: f64) -> Mesh {
    (mesh.vertices.iter_mut()).for_each(|p| *p += Vector::new(x, y, 0.0));
    mesh
}

#[test]
fn left_in_a_sharp_pocket_by_a_flat_and_a_bull_nose() {
    let ([a, b], h) = ([20.03, 14.07], 6.0);
    let cutters = [[4.0, 0.0], [6.0, 1.0]];
    let half = vet_with_corners(moved(pocket([a, b], h, 0.0), 37.31, -12.84), &cutters);
    let mut found = Differences::default();
    for [d, r] in cutters {
        // derived: the axis stays R off the walls, so the circle of the corner's centres stays R√2 − f off the upright edge and
        // r above the floor
        let (big, f) = (0.5 * d, 0.5 * d - r);
        let height = (big * SQRT_2 - f).hypot(r) - r;
        // derived: z above the floor the cutter is ρ = f + √(r² − (r − z)²) wide, and leaves strips R − ρ wide along the walls
        // and (4 − π)ρ² in the corners; integrated from 0 to r, and on up to the rim
        let corners =
            big * big * (h - r) + f * f * r + f * PI * r * r / 2.0 + 2.0 / 3.0 * r.powi(3);
        let volume = (4.0 - PI) * corners + 2.0 * (a + b) * r * r * (1.0 - PI / 4.0)
            - 4.0 * r.powi(3) * (5.0 / 3.0 - PI / 2.0);
        let what = format!("cutter {d} with corners of {r}");
        left(&mut found, &what, &half, big, height, Some(volume));
    }
    found.none("pocket 20.03 × 14.07 × 6");
}

/// The foot of a round wall lies between the nodes both ways, all around: a flat cutter still reaches it.
#[test]
fn left_at_the_foot_of_a_round_wall_by_a_flat_and_a_bull_nose() {
    let (wall, depth) = (15.0, 8.0);
    let cutters = [[5.0, 0.0], [6.0, 1.0], [12.0, 0.0]];
    let profile = [[0.0, -depth], [wall, -depth], [wall, 0.0]];
    let half = vet_with_corners(moved(pit_of(&profile, 384), 3.71, -2.84), &cutters);
    let mut found = Differences::default();
    for ([d, r], cutter) in cutters.into_iter().zip(&half.reach.cutters) {
        let what = format!("cutter {d} with corners of {r}");
        // derived: of a square corner a round one of r leaves r (√2 − 1); the facets' upright edges hold R (1 / cos(π / 384) − 1)
        // more, which is for the chord error to tell
        let height = r * (SQRT_2 - 1.0);
        let own = cutter.left_height_mm_pm.unwrap_or(0.0);
        found.close(&what, cutter.left_height_mm, height, own);
        found.holds(own < 0.0025, || format!("{what}: ± {own}"));
        found.holds(cutter.clears == Some(r == 0.0), || {
            format!("{what}: clears {:?}", cutter.clears)
        });
    }
    found.none("round pocket of 15 × 8");
}

#[test]
fn left_in_v_grooves_by_a_flat_and_a_bull_nose() {
    let mut found = Differences::default();
    let cutters = [[4.0, 0.0], [6.0, 1.0]];
    for angle in [60.0_f64, 120.0] {
        let (sin, cos) = (0.5 * angle).to_radians().sin_cos();
        let (depth, x) = (9.0, 5.037);
        let w = depth * sin / cos;
        let upper = [
            [-w - 10.0, 0.0],
            [-w, 0.0],
            [0.0, -depth],
            [w, 0.0],
            [w + 10.0, 0.0],
        ];
        let half = vet_with_corners(moved(channel(&upper, 20.0), x, 1.3), &cutters);
        for [d, r] in cutters {
            // derived: corners of r about centres f to either side of the axis touch the walls at height (r + f cos α) / sin α over
            // the edge, α half the angle; the flat part stands r lower
            let height = (r + (0.5 * d - r) * cos) / sin - r;
            let what = format!("{angle}°, cutter {d} with corners of {r}");
            left(&mut found, &what, &half, 0.5 * d, height, None);
        }
    }
    found.none("V grooves");
}
