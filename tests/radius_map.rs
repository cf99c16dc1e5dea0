//! How much of a cavity's surface needs how small a ball, against shapes whose areas are known in closed form.

#[allow(dead_code, reason = "shared with other tests")]
mod common;
#[allow(dead_code, reason = "the worked values use more of it")]
#[path = "worked_values/shapes.rs"]
mod shapes;

use common::{Differences, balls, report};
use moldvet::mesh::{Mesh, Point, Vector};
use moldvet::report::RadiusMap;
use shapes::{arc, channel, model, pit, pocket};
use std::f64::consts::PI;

fn map_of(mesh: Mesh) -> RadiusMap {
    let mut config = balls(&[2.0]);
    config.axis = Some(Vector::z());
    config.cell = Some(0.2);
    let mut report = report(&[model(mesh)], &config);
    assert_eq!(report.halves.len(), 1);
    report.halves.remove(0).reach.radius_map.unwrap()
}

/// The areas of all steps up to `most` mm, each within its own ± and within `share` of the visible surface; a ± is no more than three
/// times that.
fn areas(
    map: &RadiusMap,
    most: f64,
    share: f64,
    truth: impl Fn(f64) -> f64,
    found: &mut Differences,
) {
    let steps: Vec<_> = (map.steps.iter()).filter(|s| s.radius_mm <= most).collect();
    assert!(steps.len() >= 4, "{map:?}");
    for step in steps {
        let (r, area) = (step.radius_mm, step.area_mm2);
        let what = format!("area that needs a ball under {r}");
        let within = step.area_mm2_pm.min(share * map.visible_area_mm2);
        found.close(&what, area, truth(r), within);
        found.close(&what, step.share, area / map.visible_area_mm2, 1e-12);
        found.holds(
            step.area_mm2_pm <= 3.0 * share * map.visible_area_mm2,
            || format!("{what}: ± {}", step.area_mm2_pm),
        );
        let largest = step.regions.first().map_or(0.0, |r| r.area_mm2);
        found.holds(step.places == 1 && (largest - area).abs() < 1e-6, || {
            format!("{what}: in {} places", step.places)
        });
    }
}

/// Surface of a round pit of radius `rim` with floor fillet `f` that a ball of radius R > f does not touch: it touches the wall
/// above R and the floor within `rim` − R of the axis.
fn ring(rim: f64, f: f64, r: f64) -> f64 {
    // Pappus: a quarter of a circle has its centroid 2f/π out from its centre
    let fillet = PI * PI * f * (rim - f) + 2.0 * PI * f * f;
    let (inner, outer) = (rim - r, rim - f);
    2.0 * PI * rim * (r - f) + fillet + PI * (outer * outer - inner * inner)
}

#[test]
fn a_round_pit_with_a_floor_fillet() {
    let (rim, depth, f) = (15.0, 10.0, 1.5);
    let mut profile = vec![[0.0, -depth]];
    profile.extend(arc([rim - f, f - depth], f, -90.0, 0.0, 24));
    profile.push([rim, 0.0]);
    let map = map_of(pit(&profile));
    let mut found = Differences::default();
    let visible = PI * (rim - f) * (rim - f) + 2.0 * PI * rim * (depth - f) + ring(rim, f, f);
    found.close(
        "visible surface",
        map.visible_area_mm2,
        visible,
        1e-3 * visible,
    );
    areas(&map, depth, 0.02, |r| ring(rim, f, r), &mut found);
    let tightest = map.steps[0].regions[0];
    let pm = tightest.smallest_radius_mm_pm;
    found.close("tightest", tightest.smallest_radius_mm, f, pm.min(0.03 * f));
    found.none("pit");
}

#[test]
fn a_box_pocket_with_sharp_edges() {
    let (l, w, d) = (40.0, 30.0, 12.0);
    let map = map_of(pocket([l, w], d, 0.0));
    let mut found = Differences::default();
    // a ball touches a face as far from its neighbours as it is thick
    let wall = |side: f64, r: f64| side * d - (side - 2.0 * r) * (d - r);
    let truth = |r: f64| l * w - (l - 2.0 * r) * (w - 2.0 * r) + 2.0 * (wall(l, r) + wall(w, r));
    found.close(
        "visible surface",
        map.visible_area_mm2,
        l * w + 2.0 * (l + w) * d,
        1e-6,
    );
    areas(&map, d, 0.02, truth, &mut found);
    found.none("box");
}

/// A block with a pocket of rounded corners and a floor fillet: outlines of the same number of corners, one below the other.
fn rounded_pocket(half: [f64; 2], depth: f64, corner: f64, f: f64) -> Mesh {
    const STEPS: usize = 24;
    let outline = |inset: f64, z: f64| -> Vec<Point> {
        let quarter = |k: usize| {
            let (sx, sy) = [(1.0, 1.0), (-1.0, 1.0), (-1.0, -1.0), (1.0, -1.0)][k];
            let middle = [sx * (half[0] - corner), sy * (half[1] - corner)];
            arc(
                middle,
                corner - inset,
                90.0 * k as f64,
                90.0 * (k + 1) as f64,
                STEPS,
            )
        };
        (0..4)
            .flat_map(quarter)
            .map(|[x, y]| Point::new(x, y, z))
            .collect()
    };
    let [x, y] = half.map(|h| h + 10.0);
    // the block's corners, each as often as a rounding of the pocket has corners
    let block = |z: f64| -> Vec<Point> {
        let corners = [[x, y], [-x, y], [-x, -y], [x, -y]];
        (corners.iter())
            .flat_map(|&[x, y]| vec![Point::new(x, y, z); STEPS + 1])
            .collect()
    };
    let mut rings = vec![block(-depth - 8.0), block(0.0), outline(0.0, 0.0)];
    for [inset, z] in arc([f, f - depth], f, 180.0, 270.0, STEPS) {
        rings.push(outline(inset, z));
    }
    let n = rings[0].len() as u32;
    let mut triangles = Vec::new();
    let mut quad = |[a, b, c, d]: [u32; 4]| triangles.extend([[a, b, c], [a, c, d]]);
    for ring in 0..rings.len() as u32 - 1 {
        for k in 0..n {
            let next = (k + 1) % n;
            quad([
                ring * n + k,
                ring * n + next,
                ring * n + n + next,
                ring * n + n + k,
            ]);
        }
    }
    let floor = (rings.len() as u32 - 1) * n;
    for k in 1..n - 1 {
        triangles.push([floor, floor + k, floor + k + 1]);
        triangles.push([0, k + 1, k]);
    }
    let mut vertices: Vec<Point> = Vec::new();
    // equal places are one corner, and triangles without area are none
    let same: Vec<u32> = (rings.concat().iter())
        .map(|p| match vertices.iter().position(|q| q == p) {
            Some(k) => k as u32,
            None => {
                vertices.push(*p);
                vertices.len() as u32 - 1
            }
        })
        .collect();
    let mut triangles: Vec<[u32; 3]> = (triangles.into_iter())
        .map(|t| t.map(|v| same[v as usize]))
        .filter(|t| t[0] != t[1] && t[1] != t[2] && t[2] != t[0])
        .collect();
    let mesh = Mesh {
        vertices,
        triangles: triangles.clone(),
    };
    if mesh.signed_volume() < 0.0 {
        triangles.iter_mut().for_each(|t| t.swap(1, 2));
    }
    Mesh { triangles, ..mesh }
}

#[test]
fn a_box_pocket_with_rounded_corners_and_a_floor_fillet() {
    let (half, depth, corner, f) = ([25.0, 18.0], 12.0, 5.0, 1.5);
    let map = map_of(rounded_pocket(half, depth, corner, f));
    let mut found = Differences::default();
    // four quarters of a round pit, and straight pieces between: wall up to R, the fillet, the floor as far as R
    let straight = 4.0 * (half[0] + half[1] - 2.0 * corner);
    let truth = |r: f64| ring(corner, f, r) + straight * (2.0 * (r - f) + 0.5 * PI * f);
    areas(&map, corner, 0.02, truth, &mut found);
    found.none("rounded box");
}

#[test]
fn a_bowl_needs_its_own_radius_all_over() {
    let bowl = 4.0;
    let map = map_of(pit(&arc([0.0, 0.0], bowl, -90.0, 0.0, 48)));
    let first = &map.steps[0];
    assert!(first.radius_mm > bowl && first.radius_mm < 1.26 * bowl);
    assert!(
        (first.share - 1.0).abs() < 1e-9 && first.share_pm < 0.01,
        "{first:?}"
    );
    assert_eq!((map.steps.len(), first.places), (1, 1));
    let (radius, pm) = (
        first.regions[0].smallest_radius_mm,
        first.regions[0].smallest_radius_mm_pm,
    );
    assert!(
        (radius - bowl).abs() <= pm.min(0.03 * bowl),
        "{radius} ± {pm}"
    );
}

#[test]
fn two_valleys_are_two_places() {
    // half pipes of radius 2 and 3, 30 long, apart by a flat land
    let pipe = |x: f64, r: f64| {
        let mut pipe = arc([0.0, 0.0], r, 180.0, 360.0, 36);
        pipe.iter_mut().for_each(|p| p[0] += x);
        pipe
    };
    let upper = [
        vec![[-20.0, 0.0]],
        pipe(-8.0, 2.0),
        pipe(8.0, 3.0),
        vec![[20.0, 0.0]],
    ]
    .concat();
    let map = map_of(channel(&upper, 30.0));
    let at = |r: f64| {
        let step = map.steps.iter().find(|s| s.radius_mm == r);
        step.unwrap_or_else(|| panic!("{map:?}"))
    };
    let [narrow, wide] = [2.0, 3.0].map(|r| PI * r * 30.0);
    let step = at(2.24);
    assert_eq!(step.places, 1, "{step:?}");
    assert!((step.area_mm2 - narrow).abs() <= step.area_mm2_pm + 1e-3 * narrow);
    let step = at(3.55);
    assert_eq!(step.places, 2, "{step:?}");
    let areas: Vec<f64> = step.regions.iter().map(|r| r.area_mm2).collect();
    assert!((areas[0] - wide).abs() < 0.01 * wide && (areas[1] - narrow).abs() < 0.01 * narrow);
    assert!((step.regions[0].smallest_radius_mm - 3.0).abs() < 0.03);
    assert!(step.regions[1].at_mm[0] < 0.0 && step.regions[0].at_mm[0] > 0.0);
}
