//! Grey-scale closing of sampled heights by a ball, against an independent implementation.
//!
//! Reference: `scipy.ndimage.grey_closing` (versions in the data file), by `tests/reference/closing.py`.
//! The closing of a surface by a ball is what the ball leaves: Lou, Jiang & Scott, "Algorithms for
//! morphological profile filters and their comparison", Precision Engineering 36(3), 2012, 414–423.

use moldvet::field::{Grid, HeightMap, lower_offset, upper_offset_sampled};
use std::collections::BTreeMap;

#[derive(serde::Deserialize)]
struct Reference {
    cells: usize,
    cell_mm: f64,
    radius_mm: f64,
    border: usize,
    step: usize,
    closings: BTreeMap<String, Vec<Vec<f64>>>,
}

/// The formulas of the script.
fn height(field: &str, x: f64, y: f64) -> f64 {
    match field {
        "waves" => 0.8 * (1.3 * x).sin() * (1.1 * y).cos() + 0.3 * (2.9 * x + 0.7 * y).sin(),
        "round pocket" => (4.0 * ((x - 4.6).hypot(y - 4.9) - 1.6)).clamp(-2.0, 0.0),
        "grooves" => 0.7 * ((0.8 * x + 0.6 * y).rem_euclid(1.6) - 0.8).abs() - 0.2 * x,
        _ => panic!("the reference has an unknown field {field}"),
    }
}

#[test]
fn closing_agrees_with_the_reference() {
    let text = include_str!("data/closing_reference.json");
    let reference: Reference = serde_json::from_str(text).unwrap();
    assert_eq!(reference.closings.len(), 3);
    let grid = Grid {
        origin: [0.0, 0.0],
        cell: reference.cell_mm,
        nx: reference.cells,
        ny: reference.cells,
    };
    for (field, rows) in &reference.closings {
        let heights = (0..grid.len()).map(|k| {
            let [x, y] = grid.centre_of(k);
            height(field, x, y) as f32
        });
        let surface = HeightMap::from_values(grid, heights.collect());
        let upper = upper_offset_sampled(&surface, reference.radius_mm);
        let closed = lower_offset(&upper, reference.radius_mm);
        let mut most_left = 0.0f64;
        assert_eq!(
            rows.len(),
            (grid.ny - 2 * reference.border) / reference.step
        );
        for (r, row) in rows.iter().enumerate() {
            for (c, &expected) in row.iter().enumerate() {
                let i = reference.border + c * reference.step;
                let j = reference.border + r * reference.step;
                let cell = grid.index(i, j);
                let found = f64::from(closed.get(cell).unwrap());
                // heights up to 3 mm in f32, rounded at each of three steps
                assert!(
                    (found - expected).abs() < 2e-6,
                    "{field} at ({i}, {j}): {found}, reference {expected}"
                );
                most_left = most_left.max(found - f64::from(surface.get(cell).unwrap()));
            }
        }
        assert!(
            most_left > 0.05,
            "{field}: the ball leaves nothing, so nothing is tested"
        );
    }
}
