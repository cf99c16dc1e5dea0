use super::*;
use crate::field::shapes::{noise, paired, swept, turned};
use crate::field::{Grid, ball_offset};
use crate::mesh::Mesh;
use proptest::prelude::*;

fn random_map(nx: usize, ny: usize, seed: u64, missing: f64) -> HeightMap {
    let grid = Grid {
        origin: [-1.0, 2.0],
        cell: 0.25,
        nx,
        ny,
    };
    let value = |k: usize| {
        if noise(seed ^ k as u64) < 2.0 * missing - 1.0 {
            f32::NEG_INFINITY
        } else {
            2.0 * noise(!seed ^ k as u64) as f32
        }
    };
    HeightMap::from_values(grid, (0..grid.len()).map(value).collect())
}

/// Calls `visit` with each pair of cells within `radius` and their plan distance.
fn pairs(grid: Grid, radius: f64, mut visit: impl FnMut(usize, usize, f64)) {
    let cells = |k: usize| ((k % grid.nx) as f64, (k / grid.nx) as f64);
    for a in 0..grid.len() {
        for b in 0..grid.len() {
            let ((ax, ay), (bx, by)) = (cells(a), cells(b));
            let d = (ax - bx).hypot(ay - by) * grid.cell;
            if d <= radius * (1.0 + 1e-12) {
                visit(a, b, d);
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn offsets_agree_with_all_pairs(nx in 1..40usize, ny in 1..40usize, seed in any::<u64>(), missing in 0.0..0.4f64, radius in 0.1..4.0f64) {
        // few cells free at any height, or hardly a result would be left
        let map = random_map(nx, ny, seed, if missing < 0.2 { 0.0 } else { 0.01 * missing });
        let mut least = vec![f64::INFINITY; map.grid.len()];
        let mut most = vec![f64::NEG_INFINITY; map.grid.len()];
        pairs(map.grid, radius, |a, b, d| {
            let depth = (radius * radius - d * d).max(0.0).sqrt();
            let z = f64::from(map.values()[b]);
            least[a] = least[a].min(z - depth);
            most[a] = most[a].max(z + depth);
        });
        for (map, expected) in [(lower_offset(&map, radius), least), (upper_offset_sampled(&map, radius), most)] {
            for (&found, &z) in map.values().iter().zip(&expected) {
                let found = f64::from(found);
                prop_assert!(found == z || (found - z).abs() < 1e-6, "{found} is not {z}");
            }
        }
    }

    #[test]
    fn nearest_agrees_with_all_rays(nx in 1..40usize, ny in 1..40usize, seed in any::<u64>(), missing in 0.0..0.1f64,
                                    x in -3.0..12.0f64, y in 0.0..14.0f64, z in -4.0..3.0f64, within in 0.1..6.0f64) {
        let map = random_map(nx, ny, seed, missing);
        let p = Point::new(x, y, z);
        let nearest = (0..map.grid.len()).map(|k| {
            let [u, v] = map.grid.centre(k % nx, k / nx);
            let up = (f64::from(map.values()[k]) - z).max(0.0);
            (Point::new(u, v, z + up) - p).norm()
        }).fold(f64::INFINITY, f64::min);
        match FreeCentres::new(&map).nearest(p, within) {
            Some(found) => {
                prop_assert!((found.distance - nearest).abs() < 1e-9);
                prop_assert!(((found.centre - p).norm() - nearest).abs() < 1e-6);
                let (i, j) = map.grid.cell_at(found.centre.x, found.centre.y).unwrap();
                prop_assert!(found.centre.z >= f64::from(map.values()[map.grid.index(i, j)]));
            }
            None => prop_assert!(nearest >= within - 1e-9),
        }
    }
}

/// Upright walls of 40 mm that meet at `angle` on the Z axis, a floor at −40, and the level 0 all about, turned by 37°.
fn upright_corner(angle: f64) -> Mesh {
    let (far, deep) = (60.0, -40.0);
    let mut mesh = Mesh {
        vertices: vec![Point::origin(), Point::new(0.0, 0.0, deep)],
        triangles: Vec::new(),
    };
    let half = 0.5 * angle.to_radians();
    let rim = |mesh: &mut Mesh, direction: f64, z: f64| {
        let (s, c) = direction.sin_cos();
        mesh.vertices.push(Point::new(far * c, far * s, z));
        mesh.vertices.len() as u32 - 1
    };
    let [right, left] = [-half, half].map(|a| rim(&mut mesh, a, deep));
    mesh.triangles.push([1, right, left]);
    let steps = 8;
    let around: Vec<u32> = (0..=steps)
        .map(|k| {
            let share = f64::from(k) / f64::from(steps);
            rim(
                &mut mesh,
                half + (std::f64::consts::TAU - 2.0 * half) * share,
                0.0,
            )
        })
        .collect();
    for pair in around.windows(2) {
        mesh.triangles.push([0, pair[0], pair[1]]);
    }
    let (above_left, above_right) = (around[0], around[steps as usize]);
    mesh.triangles.extend([[0, 1, left], [0, left, above_left]]);
    mesh.triangles
        .extend([[1, 0, right], [0, above_right, right]]);
    turned(&mesh, 37.0)
}

/// Distance of the nearest free centre less the radius: on a grid of 0.1 mm, and refined.
fn gap(mesh: &Mesh, radius: f64, p: Point) -> (f64, f64) {
    let around = 3.2 * radius;
    let grid = Grid::covering(
        [p.x - around, p.y - around],
        [p.x + around, p.y + around],
        0.0,
        0.1,
    );
    let offset = ball_offset(mesh, &paired(mesh), grid, radius);
    let found = FreeCentres::new(&offset).nearest(p, around).unwrap();
    let ball = Profile::ball(radius);
    let dropper = Dropper::new(mesh);
    let refined = refine_allowed(&dropper, ball, p, found.centre, grid.cell);
    let c = refined.centre;
    assert!(dropper.clear_at(ball, c.x, c.y, c.z, 2.0 * SLACK));
    assert!(((c - p).norm() - refined.distance).abs() < 1e-12);
    (found.distance - radius, refined.distance - radius)
}

/// Trade facts rows 38 to 42, derived: a ball R in a sharp corner of angle θ stays R (1 / sin(θ/2) − 1) off the vertex.
const CORNERS: [(f64, f64, f64); 5] = [
    (90.0, 3.0, 1.2426407),
    (60.0, 3.0, 3.0),
    (120.0, 3.0, 0.4641016),
    (150.0, 3.0, 0.1058285),
    (45.0, 5.0, 8.065630),
];

#[test]
fn upright_corners() {
    for (angle, radius, expected) in CORNERS {
        let mesh = upright_corner(angle);
        let (coarse, fine) = gap(&mesh, radius, Point::new(0.0, 0.0, -25.0));
        assert!(
            (fine - expected).abs() < 1e-3,
            "{angle}°: {fine}, not {expected}"
        );
        // a free cell lies within a cell's diagonal, over the sine of half the angle in the narrow of the corner
        let cell = 0.1 * 2f64.sqrt() / (0.5 * angle.to_radians()).sin();
        assert!(
            coarse > fine - 1e-3 && coarse < expected + cell,
            "{angle}°: {coarse}"
        );

        // at the floor the centre is also R up: √((R / sin(θ/2))² + R²) − R; row 45 for θ = 90°, 2.196152
        let on_floor = (expected + radius).hypot(radius) - radius;
        let (_, fine) = gap(&mesh, radius, Point::new(0.0, 0.0, -40.0));
        assert!(
            (fine - on_floor).abs() < 1e-3,
            "{angle}° floor: {fine}, not {on_floor}"
        );
    }
}

#[test]
fn corners_in_a_groove() {
    // the same corners lying along a V-groove, and with one side level (for θ ≥ 90°: an up-facing other side)
    for (angle, radius, expected) in CORNERS {
        let half = (0.5 * angle).to_radians();
        let arm = |a: f64| [30.0 * a.sin(), 30.0 * a.cos()];
        let vee = swept(&[arm(-half), [0.0, 0.0], arm(half)], 60.0);
        let mut shapes = vec![vee];
        if angle >= 90.0 {
            let [x, z] = arm(std::f64::consts::FRAC_PI_2 - 2.0 * half);
            shapes.push(swept(&[[-60.0, z], [x, z], [0.0, 0.0], [30.0, 0.0]], 60.0));
        }
        for shape in shapes {
            let mesh = turned(&shape, 37.0);
            let p = turned(&swept(&[[0.0, 0.0]], 30.0), 37.0).vertices[1];
            let (_, fine) = gap(&mesh, radius, p);
            assert!(
                (fine - expected).abs() < 1e-3,
                "{angle}°: {fine}, not {expected}"
            );
        }
    }
}

#[test]
fn touched_surface_has_no_gap() {
    let mesh = upright_corner(90.0);
    let (s, c) = 37f64.to_radians().sin_cos();
    // in the open of the floor, 20 mm from the corner
    let (_, fine) = gap(&mesh, 3.0, Point::new(20.0 * c, 20.0 * s, -40.0));
    assert!(fine.abs() < 1e-3, "{fine}");
}
