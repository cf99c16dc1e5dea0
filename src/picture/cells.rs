//! Values laid over the cells of a plan.

use crate::field::Grid;

/// The largest value, 0 at least.
pub(super) fn largest(values: &[f32]) -> f64 {
    f64::from(values.iter().copied().fold(0.0, f32::max))
}

/// The four cells beside cell `k`.
pub(super) fn neighbours(grid: &Grid, k: usize) -> impl Iterator<Item = usize> + use<> {
    let (nx, ny) = (grid.nx, grid.ny);
    let (i, j) = (k % nx, k / nx);
    [
        (i > 0).then(|| k - 1),
        (i + 1 < nx).then_some(k + 1),
        (j > 0).then(|| k - nx),
        (j + 1 < ny).then_some(k + nx),
    ]
    .into_iter()
    .flatten()
}

/// Lays wanted values one cell further out, so that what is no wider than a line can be seen.
pub(super) fn widen(grid: &Grid, values: &mut [f32], wanted: impl Fn(f32) -> bool) {
    let lines: Vec<usize> = (0..values.len())
        .filter(|&k| !values[k].is_nan() && wanted(values[k]))
        .collect();
    let old = values.to_vec();
    for k in lines {
        for n in neighbours(grid, k) {
            if old[n].is_nan() || !wanted(old[n]) {
                values[n] = old[k];
            }
        }
    }
}

/// Cells whose middle a triangle covers in plan, and those that its edges cross.
pub(super) fn cover(grid: &Grid, corners: [crate::mesh::Point; 3], mut each: impl FnMut(usize)) {
    let p = corners.map(|c| {
        [
            (c.x - grid.origin[0]) / grid.cell,
            (c.y - grid.origin[1]) / grid.cell,
        ]
    });
    let at = |x: f64, y: f64| {
        (x >= 0.0 && y >= 0.0 && x < grid.nx as f64 && y < grid.ny as f64)
            .then(|| grid.index(x as usize, y as usize))
    };
    for k in 0..3 {
        let (a, b) = (p[k], p[(k + 1) % 3]);
        let steps = (2.0 * (b[0] - a[0]).abs().max((b[1] - a[1]).abs())).ceil() as usize + 1;
        let mut last = None;
        for s in 0..=steps {
            let t = s as f64 / steps as f64;
            let cell = at(a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1]));
            if cell != last
                && let Some(cell) = cell
            {
                each(cell);
            }
            last = cell;
        }
    }
    let low = p.iter().map(|p| p[1]).fold(f64::INFINITY, f64::min);
    let high = p.iter().map(|p| p[1]).fold(f64::NEG_INFINITY, f64::max);
    let rows =
        (low - 0.5).ceil().max(0.0) as usize..((high + 0.5).floor().max(0.0) as usize).min(grid.ny);
    for j in rows {
        let y = j as f64 + 0.5;
        let (mut from, mut to) = (f64::INFINITY, f64::NEG_INFINITY);
        for k in 0..3 {
            let (a, b) = (p[k], p[(k + 1) % 3]);
            if (a[1] <= y) != (b[1] <= y) {
                let x = a[0] + (y - a[1]) / (b[1] - a[1]) * (b[0] - a[0]);
                (from, to) = (from.min(x), to.max(x));
            }
        }
        let mut x = (from - 0.5).ceil() + 0.5;
        while x <= to {
            if let Some(cell) = at(x, y) {
                each(cell);
            }
            x += 1.0;
        }
    }
}

/// Lays `value` over the cells within `reach` cells of `at` that hold less, or nothing.
pub(super) fn blot(grid: &Grid, values: &mut [f32], at: [f64; 2], value: f32, reach: i64) {
    let Some((i, j)) = grid.cell_at(at[0], at[1]) else {
        return;
    };
    for dj in -reach..=reach {
        for di in -reach..=reach {
            let (i, j) = (i as i64 + di, j as i64 + dj);
            let inside = (0..grid.nx as i64).contains(&i) && (0..grid.ny as i64).contains(&j);
            if inside && di * di + dj * dj <= reach * reach {
                let k = grid.index(i as usize, j as usize);
                values[k] = values[k].max(value);
            }
        }
    }
}

/// Places from `a` to `b`, no farther apart than `step`.
pub(super) fn along(a: [f64; 2], b: [f64; 2], step: f64) -> impl Iterator<Item = [f64; 2]> {
    let n = ((b[0] - a[0]).hypot(b[1] - a[1]) / step).ceil().max(1.0);
    (0..=n as usize).map(move |k| [0, 1].map(|c| a[c] + (b[c] - a[c]) * (k as f64 / n)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::Point;

    fn grid() -> Grid {
        Grid {
            origin: [0.0, 0.0],
            cell: 1.0,
            nx: 8,
            ny: 8,
        }
    }

    #[test]
    fn an_upright_triangle_covers_a_line_and_a_lying_one_its_cells() {
        let covered = |corners: [[f64; 3]; 3]| {
            let mut cells = Vec::new();
            cover(
                &grid(),
                corners.map(|c| Point::new(c[0], c[1], c[2])),
                |k| {
                    cells.push(k);
                },
            );
            cells.sort_unstable();
            cells.dedup();
            cells
        };
        // along x from 1.5 to 4.5 in row 2: cells 1 to 4 of that row
        let wall = covered([[1.5, 2.5, 0.0], [4.5, 2.5, 0.0], [4.5, 2.5, -3.0]]);
        assert_eq!(wall, [17, 18, 19, 20]);
        // the half square under the diagonal of 4 by 4 cells: all cells that it touches
        let floor = covered([[0.1, 0.1, 0.0], [3.9, 0.1, 0.0], [3.9, 3.9, 0.0]]);
        assert_eq!(floor, [0, 1, 2, 3, 9, 10, 11, 18, 19, 27]);
    }

    #[test]
    fn lines_are_widened_and_worse_values_are_kept() {
        let mut values = vec![f32::NAN; 64];
        values[9] = 0.5;
        values[10] = 3.0;
        values[17] = 0.1;
        widen(&grid(), &mut values, |v| v < 1.0);
        assert_eq!(values[10], 0.5);
        assert_eq!(values[17], 0.1);
        assert_eq!(values[18], 0.1);
        assert!(values[11].is_nan());
    }
}
