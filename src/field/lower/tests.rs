use super::*;
use crate::field::Grid;
use crate::field::shapes::noise;
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
        let mut map = random_map(nx, ny, seed, if missing < 0.2 { 0.0 } else { 0.01 * missing });
        // half of them slopes, waves and steps rather than noise
        if seed % 2 == 0 {
            let (a, b) = (4.0 * noise(seed ^ 7) as f32, 4.0 * noise(seed ^ 11) as f32);
            for (k, z) in map.values_mut().iter_mut().enumerate() {
                let (x, y) = (0.25 * (k % nx) as f32, 0.25 * (k / nx) as f32);
                let step = if x > y + 2.0 { b } else { 0.0 };
                *z = 0.01 * *z + a * x - b * y + a * (x + 0.3 * y).sin() + step;
            }
        }
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
                // heights up to 40 mm, rounded to f32 twice
                let tolerance = 1e-6f64.max(1.2e-7 * z.abs());
                prop_assert!(found == z || (found - z).abs() < tolerance, "{found} is not {z}");
            }
        }
    }
}

/// Least and largest share along an axis of a direction with the share `v` downward in which a ball is in neither of its neighbours:
/// of one that is `rise` higher, a cell aside, d · (±cell, rise) > (cell² + rise²) / 2 R holds where it covers this one's surface.
fn clear_of(rises: [Option<f64>; 2], cell: f64, radius: f64, v: f64) -> [f64; 2] {
    let most = |rise: Option<f64>| {
        rise.map_or(1.0, |r| {
            (0.5 * (cell * cell + r * r) / radius + v * r) / cell
        })
    };
    [-most(rises[0]), most(rises[1])]
}

proptest! {
    #[test]
    fn what_is_in_no_neighbour_is_in_the_box(
        rises in prop::array::uniform4(prop::option::weighted(0.9, -3.0..3.0f64)), cells in 1.0..40.0f64, cell in 0.1..2.0f64,
        shares in prop::collection::vec((0.0..1.0f64, 0.0..1.0f64, 0.0..1.0f64), 60),
    ) {
        let radius = cells * cell;
        let rises = rises.map(|rise| rise.map(|r| r * cell));
        let rises = [[rises[0], rises[1]], [rises[2], rises[3]]];
        let found = exposed(rises, cell, radius);
        for (v, s, t) in shares {
            let at = |v: f64| rises.map(|rises| clear_of(rises, cell, radius, v).map(|x| x.clamp(-1.0, 1.0)));
            let [[x0, x1], [y0, y1]] = at(v);
            let d = [x0 + s * (x1 - x0), y0 + t * (y1 - y0)];
            let v2 = 1.0 - d[0] * d[0] - d[1] * d[1];
            if v2 < 0.0 || x0 > x1 || y0 > y1 {
                continue;
            }
            let clear = at(v2.sqrt());
            if (0..2).all(|k| clear[k][0] < d[k] && d[k] < clear[k][1]) {
                let Some(found) = found else {
                    return Err(TestCaseError::fail(format!("no box for {d:?}")));
                };
                let within = (0..2).all(|k| found[k][0] <= d[k] && d[k] <= found[k][1]);
                prop_assert!(within, "{d:?} {found:?}");
            }
        }
    }
}
