use super::*;
use crate::field::shapes::{T_SLOT, block, bowl, filleted_channel, paired, rough, swept, turned};
use crate::field::{Dropper, Profile};
use proptest::prelude::*;

/// Every cell agrees with the exact drop to 1e-5 mm (1e-6 of the height where that is more: the map holds f32).
///
/// The surface jumps where the ball touches an upright wall, so a cell within rounding of that may take
/// either side: the drop of a ball larger or smaller by 1e-7 bounds it.
fn assert_exact(mesh: &Mesh, radius: f64, cell: f64) {
    assert_cutter_exact(mesh, radius, radius, cell);
}

/// As [`assert_exact`] for a cutter of `radius` with corners of `corner` mm.
fn assert_cutter_exact(mesh: &Mesh, radius: f64, corner: f64, cell: f64) {
    let (lo, hi) = mesh.bounds().unwrap();
    let mut grid = Grid::covering([lo.x, lo.y], [hi.x, hi.y], radius + 2.0 * cell, cell);
    // off the mesh's own lines, as in use
    grid.origin = [
        grid.origin[0] + 0.137 * cell,
        grid.origin[1] + 0.0713 * cell,
    ];
    let map = BallOffset::new(mesh, &paired(mesh)).cutter_map(grid, radius, corner);
    let dropper = Dropper::new(mesh);
    let at = |more: f64, [x, y]: [f64; 2]| {
        let profile = Profile::Cutter {
            radius: radius + more,
            corner_radius: if corner > 0.0 { corner + more } else { 0.0 },
        };
        dropper
            .centre_height(profile, x, y)
            .map_or(f64::NEG_INFINITY, |c| c.z)
    };
    for j in 0..grid.ny {
        for i in 0..grid.nx {
            let found = map
                .get(grid.index(i, j))
                .map_or(f64::NEG_INFINITY, f64::from);
            let centre = grid.centre(i, j);
            let exact = at(0.0, centre);
            let tolerance = 1e-5f64.max(1e-6 * exact.abs());
            if (found - exact).abs() <= tolerance || found == exact {
                continue;
            }
            let (small, large) = (at(-1e-7, centre), at(1e-7, centre));
            assert!(
                small - tolerance <= found && found <= large + tolerance,
                "R {radius} corner {corner} at {centre:?}: drawn {found}, exact {exact}, bounds {small} {large}"
            );
        }
    }
}

#[test]
fn hemisphere() {
    let mesh = bowl(6.0, 60);
    for radius in [1.0, 2.7, 7.5] {
        assert_exact(&mesh, radius, 0.11);
    }
}

#[test]
fn dome_and_saddle() {
    let dome = block([-4.0; 2], [4.0; 2], 40, -5.0, |x, y| {
        -0.08 * (x * x + y * y)
    });
    let saddle = block([-4.0; 2], [4.0; 2], 40, -5.0, |x, y| {
        0.15 * (x * x - y * y) + 0.1 * x * y
    });
    for radius in [0.8, 3.0] {
        assert_exact(&dome, radius, 0.13);
        assert_exact(&saddle, radius, 0.13);
        assert_exact(&turned(&saddle, 37.0), radius, 0.13);
    }
}

#[test]
fn t_slot_with_open_ends() {
    for angle in [0.0, 37.0, 90.0] {
        let mesh = turned(&swept(&T_SLOT, 9.0), angle);
        for radius in [0.7, 1.9, 3.1] {
            assert_exact(&mesh, radius, 0.17);
        }
    }
}

#[test]
fn turned_channel_with_fillets() {
    let mesh = turned(&swept(&filleted_channel(), 9.0), 37.0);
    for radius in [0.9, 1.5, 2.5] {
        assert_exact(&mesh, radius, 0.17);
    }
}

#[test]
fn tilted_block_has_all_kinds_of_pieces() {
    let cube = block([-3.0; 2], [3.0; 2], 3, -4.0, |_, _| 0.0);
    let tilt = nalgebra::Isometry3::rotation(Vector::new(0.4, 0.7, 0.2));
    let mesh = cube.transformed(&tilt);
    for radius in [0.5, 2.0, 6.0] {
        assert_exact(&mesh, radius, 0.15);
    }
}

#[test]
fn flats_and_bull_noses() {
    let cube = block([-3.0; 2], [3.0; 2], 3, -4.0, |_, _| 0.0);
    let tilt = |x, y, z| nalgebra::Isometry3::rotation(Vector::new(x, y, z));
    let saddle = block([-4.0; 2], [4.0; 2], 20, -5.0, |x, y| {
        0.15 * (x * x - y * y) + 0.1 * x * y
    });
    let meshes = [
        turned(&swept(&T_SLOT, 9.0), 37.0),
        turned(&swept(&filleted_channel(), 9.0), 20.0),
        bowl(6.0, 40),
        saddle,
        cube.transformed(&tilt(0.4, 0.7, 0.2)),
        // level but for rounding, and a little more
        cube.transformed(&tilt(1e-8, 3e-9, 0.3)),
        cube.transformed(&tilt(2e-7, -1e-7, 0.3)),
        cube,
    ];
    for mesh in &meshes {
        for (radius, corner) in [(1.0, 0.0), (2.5, 0.0), (1.5, 0.5), (3.0, 0.2)] {
            assert_cutter_exact(mesh, radius, corner, 0.19);
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn rough_ground(seed in any::<u64>(), height in 0.0..1.2f64, radius in 0.3..4.0f64, angle in 0.0..360.0f64) {
        assert_exact(&turned(&rough(18, seed, height), angle), radius, 0.23);
    }

    #[test]
    fn rough_ground_under_flats_and_bull_noses(
        seed in any::<u64>(),
        height in 0.0..1.2f64,
        radius in 0.3..4.0f64,
        share in prop_oneof![Just(0.0), 0.02..0.98f64],
        angle in 0.0..360.0f64,
    ) {
        assert_cutter_exact(&turned(&rough(14, seed, height), angle), radius, share * radius, 0.31);
    }
}

#[test]
fn does_not_depend_on_threads_and_has_no_holes() {
    let mesh = turned(&bowl(6.0, 60), 10.0);
    let topology = paired(&mesh);
    let grid = Grid::covering([-6.0; 2], [6.0; 2], 0.0, 0.013);
    let one = rayon::ThreadPoolBuilder::new()
        .num_threads(1)
        .build()
        .unwrap();
    let three = rayon::ThreadPoolBuilder::new()
        .num_threads(3)
        .build()
        .unwrap();
    let a = one.install(|| ball_offset(&mesh, &topology, grid, 0.8));
    let b = three.install(|| ball_offset(&mesh, &topology, grid, 0.8));
    assert_eq!(a, b);
    assert!((0..grid.len()).all(|k| a.get(k).is_some()));
}

#[test]
fn an_edge_is_flat_or_upright_by_its_angle_whatever_its_length() {
    for length in [1e-2, 1.0, 300.0] {
        let turned_by = |sine: f64| {
            let ends = [Point::origin(), Point::new(length, 0.0, 0.0)];
            Ridge::new(ends, Some((Vector::z(), Vector::new(0.0, -sine, 1.0)))).is_some()
        };
        assert!(turned_by(1.1 * FLAT) && turned_by(0.5), "{length}");
        assert!(!turned_by(0.9 * FLAT) && !turned_by(-0.5), "{length}");
        let leaning_by = |sine: f64| {
            let end = Point::new(sine * length, 0.0, length);
            Ridge::new([Point::origin(), end], None).is_some()
        };
        assert!(leaning_by(1.1e-9) && !leaning_by(0.9e-9), "{length}");
    }
}

#[test]
fn no_mesh_gives_no_value() {
    let grid = Grid::covering([0.0; 2], [1.0; 2], 0.0, 0.1);
    let map = ball_offset(&Mesh::default(), &Topology::default(), grid, 1.0);
    assert_eq!(map, HeightMap::empty(grid));
}

/// Corners of a small triangle in plan, about as far from the origin as told.
fn triangle(middle: [f64; 2]) -> [[f64; 2]; 3] {
    [[-0.1, -0.1], [0.1, -0.1], [0.0, 0.1]].map(|[x, y]| [middle[0] + x, middle[1] + y])
}

#[test]
fn the_box_of_directions_is_no_wider_than_the_polygon() {
    // whichever quarter it lies in, and however far off
    for (x, y) in [
        (1.0, 0.0),
        (0.0, -1.0),
        (-0.6, 0.8),
        (0.6, -0.8),
        (0.6, 0.8),
        (-0.6, -0.8),
    ] {
        for far in [1.0, 30.0] {
            let polygon = triangle([far * x, far * y]);
            let [x0, y0, x1, y1] = heading(&polygon).unwrap();
            for p in &polygon {
                let length = p[0].hypot(p[1]);
                let (u, v) = (p[0] / length, p[1] / length);
                assert!(x0 <= u && u <= x1 && y0 <= v && v <= y1, "{x} {y} {far}");
            }
            // a tenth aside, and what its sides bulge
            let wide = 0.35 / far + 0.01;
            assert!(x1 - x0 < wide && y1 - y0 < wide, "{x} {y} {far}: {wide}");
        }
    }
    let all = Some([-1.0, -1.0, 1.0, 1.0]);
    assert_eq!(heading(&triangle([0.02, 0.03])), all);
    assert_eq!(heading(&[[0.0; 2]; 3]), None);
}

#[test]
fn the_box_of_unit_directions_bulges_as_little_as_its_sides() {
    let polygon = triangle([0.5, 0.25]);
    let [x0, y0, x1, y1] = box_of(&polygon, 1.0);
    let unit = polygon.map(|[x, y]| Vector::new(x, y, 1.0).normalize());
    let ends = |k: usize| {
        let along = unit.iter().map(|d| d[k]);
        (
            along.clone().fold(1.0, f64::min),
            along.fold(-1.0, f64::max),
        )
    };
    for (k, [lo, hi]) in [[x0, x1], [y0, y1]].into_iter().enumerate() {
        let (least, most) = ends(k);
        // sides of a fifth of a millimetre, seen from a millimetre off: c² / 8
        assert!(lo < least && lo > least - 0.006, "{lo} {least}");
        assert!(hi > most && hi < most + 0.006, "{hi} {most}");
    }
}

#[test]
fn a_seam_lies_between_facets_that_are_level_but_for_rounding() {
    let leaning = |x: f64| Vector::new(x, 0.0, 1.0).normalize();
    assert!(is_seam((Vector::z(), leaning(FLAT))));
    assert!(is_seam((leaning(-0.9 * FLAT), leaning(0.9 * FLAT))));
    // alike to the last bit, turning by more, aslant, and under the mesh
    assert!(!is_seam((Vector::z(), Vector::z())));
    assert!(!is_seam((Vector::z(), leaning(3.0 * FLAT))));
    assert!(!is_seam((leaning(0.1), leaning(0.1 + FLAT))));
    assert!(!is_seam((-Vector::z(), -leaning(FLAT))));
}
