//! Units, and volumes of meshes and of cavities.

use super::vet;
use crate::common::{Differences, model_of, ring, tower};
use crate::shapes::{arc, pit, pit_of, sphere};
use moldvet::mesh::Mesh;
use moldvet::report::HollowKind;
use moldvet::units::{Unit, parse_angle, parse_length};
use std::f64::consts::PI;

#[test]
fn units() {
    let mut found = Differences::default();
    // inch = 25.4 mm exactly: ISO 80000-3 and the international yard and pound agreement of 1959 (from memory)
    let lengths = [
        ("1/8in", 3.175),
        ("0.125\"", 3.175),
        ("1 1/2in", 38.1),
        ("3.175mm", 3.175),
    ];
    for (text, mm) in lengths {
        found.close(text, parse_length(text, None).ok(), mm, 1e-12);
    }
    found.close(
        "bare inch",
        parse_length("0.25", Some(Unit::Inch)).ok(),
        6.35,
        1e-12,
    );
    found.close("angle", parse_angle("1.5").ok(), 1.5, 0.0);
    // derived: an inch read as a millimetre is out by 25.4³ = 16387.064 in volume
    let mut bytes = Vec::new();
    for unit in [Unit::Mm, Unit::Inch] {
        bytes.push(cube_of_10(unit).signed_volume());
    }
    found.close("cubic inch", bytes[1] / bytes[0], 16387.064, 1e-6);
    found.none("units");
}

fn cube_of_10(unit: Unit) -> Mesh {
    let mut cube = model_of(&tower(&[ring(5.0, 5.0, 0.0), ring(5.0, 5.0, 10.0)]), unit);
    cube.bodies.remove(0).mesh
}

#[test]
fn volumes_of_meshes() {
    let mut found = Differences::default();
    // divergence theorem, Σ v1·(v2 × v3)/6 (derived)
    found.close("cube", cube_of_10(Unit::Mm).signed_volume(), 1000.0, 1e-9);
    // derived: (n/2) r² sin(2π/n) H for the prism that stands for a cylinder, and the like for each band of the sphere
    let prism = crate::shapes::turned(&[[0.0, 0.0], [10.0, 0.0], [10.0, 20.0], [0.0, 20.0]], 64);
    found.close("64-sided prism", prism.signed_volume(), 6273.096981, 1e-6);
    found.close(
        "sphere of 32 × 16",
        sphere(10.0, 32, 16).signed_volume(),
        4121.941741,
        1e-6,
    );
    found.none("volumes");
}

#[test]
fn volumes_of_cavities() {
    let mut found = Differences::default();
    // derived: πr²H/3 and half of 2π²ar² (Pappus)
    let half = vet(pit(&[[0.0, -20.0], [10.0, 0.0]]), &[3.0]);
    found.close("cone", half.cavity.volume_mm3, 2094.39510, 1e-3 * 2094.0);
    let mut ring = vec![[0.0, 0.0]];
    ring.extend(arc([20.0, 0.0], 5.0, -180.0, 0.0, 96));
    let half = vet(pit(&ring), &[3.0]);
    found.close(
        "half a ring",
        half.cavity.volume_mm3,
        4934.80220,
        1e-3 * 4934.0,
    );
    found.close("its depth", half.cavity.depth_mm, 5.0, 1e-6);
    // facets lie within their chord error, and are no deeper than by that at the bottom, however they lean at the rim
    let chord = half.mesh.chord_error_mm;
    let pm = half.cavity.depth_mm_pm.unwrap_or(0.0);
    found.holds(pm > 0.0 && pm <= 1.001 * chord + 1e-6, || {
        format!("depth ± {pm}, chord error {chord}")
    });
    let [area, pm] = [half.cavity.surface_mm2, half.cavity.volume_mm3_pm].map(|v| v.unwrap_or(0.0));
    let off = (half.cavity.volume_mm3.unwrap_or(0.0) - 4934.80220).abs();
    found.holds(off <= pm && pm <= 1.001 * chord * area + 1e-3, || {
        format!("volume ± {pm}, off by {off}, chord error {chord} over {area}")
    });
    // derived: (64/2)·10²·sin(2π/64)·20, a prism and not the cylinder it stands for
    let half = vet(
        pit_of(&[[0.0, -20.0], [10.0, -20.0], [10.0, 0.0]], 64),
        &[3.0],
    );
    found.close("64-sided prism", half.cavity.volume_mm3, 6273.096981, 1e-5);
    // derived: chord error r(1 − cos(π/n))
    let chord = 10.0 * (1.0 - (PI / 64.0).cos());
    assert!((chord - 0.0120454379).abs() < 1e-9);
    found.close(
        "its chord error",
        half.mesh.chord_error_mm,
        chord,
        0.05 * chord,
    );
    found.none("volumes");
}

#[test]
fn a_hole_in_the_floor_is_no_part_of_the_cavity() {
    // a pit 12 wide to each side and 6 deep, with a hole of 2.5 through 5 of stock in the middle of its floor
    let outline = [
        [2.5, -11.0],
        [22.0, -11.0],
        [22.0, 0.0],
        [12.0, 0.0],
        [12.0, -6.0],
        [2.5, -6.0],
    ];
    let half = vet(crate::shapes::ring(&outline, 64), &[1.0]);
    // derived: the polygon that stands for a circle, its floor carried across the mouth
    let polygon = |r: f64| 32.0 * r * r * (2.0 * PI / 64.0).sin();
    let mut found = Differences::default();
    // the mouth's area is counted in cells of 0.1 mm
    let pm = half.cavity.volume_mm3_pm.unwrap_or(0.0);
    let pit = 6.0 * polygon(12.0);
    found.close("pit", half.cavity.volume_mm3, pit, pm.min(0.002 * pit));
    found.close("depth", half.cavity.depth_mm, 6.0, 1e-6);
    let kinds: Vec<_> = half.cavity.hollows.iter().map(|h| h.kind).collect();
    assert_eq!(kinds, [HollowKind::Cavity, HollowKind::Through]);
    let hole = &half.cavity.hollows[1];
    let volume = 5.0 * polygon(2.5);
    found.close("hole", hole.volume_mm3, volume, 0.03 * volume);
    found.close("its depth", hole.depth_mm, 11.0, 1e-6);
    found.none("pit with a hole in its floor");
}
