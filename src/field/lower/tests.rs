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
