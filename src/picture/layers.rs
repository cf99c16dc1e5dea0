//! Which maps there are of a half, and their values over the plan.

use super::map::{Ground, Layer, Limit};
use super::ticks::round_step;
use crate::field::Grid;
use crate::report::{Figures, Half, HollowKind, Quantity, Report};
use crate::units::Unit;
use crate::vet::{CutterEvidence, Evidence, HalfEvidence, LeftPlace};
use std::collections::VecDeque;

/// Cells along the longer side of a map.
const CELLS: f64 = 700.0;
/// Draft at which colours end, degrees: what leans more is of no concern.
const MOST_DRAFT: f64 = 15.0;
/// Cells over which a sample's value is carried to cells without one.
const CARRY: u32 = 24;

/// The cutter that decides the question of reach: the largest ball that clears, or else the one that leaves least.
pub fn best_cutter(half: &Half) -> Option<&str> {
    let reach = &half.reach;
    reach
        .smallest_ball_needed
        .as_deref()
        .or(reach.best_ball.as_deref())
        .or(reach.cutters.first().map(|c| c.name.as_str()))
}

/// The maps of half number `half`: depth, draft, hidden surface where there is any, then what each cutter leaves and how far
/// it must stick out.
pub fn layers(report: &Report, evidence: &Evidence, half: usize) -> Vec<Layer> {
    let figures = &report.halves[half];
    let sheet = Sheet::new(figures, &evidence.halves[half]);
    let mut layers = vec![sheet.depth(), sheet.draft()];
    layers.extend(sheet.hidden());
    for (k, cutter) in sheet.evidence.cutters.iter().enumerate() {
        layers.push(sheet.left(k, cutter));
        layers.extend(sheet.stickout(k, cutter));
    }
    layers
}

struct Sheet<'a> {
    half: &'a Half,
    evidence: &'a HalfEvidence,
    grid: Grid,
    ground: Vec<Ground>,
    cavity: Vec<bool>,
}

impl<'a> Sheet<'a> {
    fn new(half: &'a Half, evidence: &'a HalfEvidence) -> Sheet<'a> {
        let columns = evidence.top.grid;
        let size = [columns.nx, columns.ny].map(|n| n as f64 * columns.cell);
        let cell = size[0].max(size[1]) / CELLS;
        let hi = [0, 1].map(|k| columns.origin[k] + size[k]);
        let grid = Grid::covering(columns.origin, hi, 0.0, cell);
        let mut ground = Vec::with_capacity(grid.len());
        let mut cavity = Vec::with_capacity(grid.len());
        for k in 0..grid.len() {
            let [x, y] = grid.centre(k % grid.nx, k / grid.nx);
            let column = columns.cell_at(x, y).map(|(i, j)| columns.index(i, j));
            let hollow = column.and_then(|c| evidence.hollows[c]);
            let material = column.is_some_and(|c| evidence.top.get(c).is_some());
            cavity.push(hollow == Some(HollowKind::Cavity));
            ground.push(match (hollow, material) {
                (Some(_), _) => Ground::Hollow,
                (None, true) => Ground::Face,
                (None, false) => Ground::Outside,
            });
        }
        Sheet {
            half,
            evidence,
            grid,
            ground,
            cavity,
        }
    }

    fn key(&self, what: &str) -> String {
        format!("{}-{what}", self.half.name.to_lowercase())
    }

    fn layer(&self, what: &str, title: String, quantity: Quantity, values: Vec<f32>) -> Layer {
        Layer {
            key: self.key(what),
            title: format!("Half {}: {title}", self.half.name),
            alt: String::new(),
            quantity,
            grid: self.grid,
            values,
            ground: self.ground.clone(),
            range: [0.0, 1.0],
            limit: None,
            contours: false,
        }
    }

    fn depth(&self) -> Layer {
        let columns = self.evidence.top.grid;
        let depth = |k: usize| {
            let [x, y] = self.grid.centre(k % self.grid.nx, k / self.grid.nx);
            let (i, j) = columns.cell_at(x, y)?;
            let top = self.evidence.top.get(columns.index(i, j))?;
            (self.ground[k] == Ground::Hollow).then_some(-top)
        };
        let values: Vec<f32> = (0..self.grid.len())
            .map(|k| depth(k).unwrap_or(f32::NAN))
            .collect();
        let deepest = largest(&values);
        let mut layer = self.layer(
            "depth",
            "depth below parting".into(),
            Quantity::Length,
            values,
        );
        layer.range = [0.0, deepest.max(1e-3)];
        layer.contours = true;
        layer.alt = format!(
            "Map of the plan seen from the spindle, coloured by depth below the parting level, with contour lines; the deepest \
             place lies {} down.",
            Figures { unit: Unit::Mm }.length(deepest)
        );
        layer
    }

    fn draft(&self) -> Layer {
        let mut values = vec![f32::NAN; self.grid.len()];
        self.each_facet(|facet, cells| {
            for &k in cells {
                // the least of what stands there
                values[k] = values[k].min(facet.draft_deg);
            }
        });
        let required = self.half.draft.required_deg;
        widen(&self.grid, &mut values, |v| f64::from(v) < required);
        let least = self.half.draft.least_deg.unwrap_or(0.0);
        let top = MOST_DRAFT.max(3.0 * required);
        let mut layer = self.layer(
            "draft",
            format!("draft (colours end at {top}°)"),
            Quantity::Angle,
            values,
        );
        layer.range = [least.floor().clamp(-10.0, 0.0), top];
        layer.limit = Some(Limit {
            value: required,
            above: false,
        });
        layer.alt = format!(
            "Map of the plan coloured by the least draft at each place; {required}° are required, the least is {}.",
            Figures { unit: Unit::Mm }.text(
                Quantity::Angle,
                self.half.draft.least_deg,
                self.half.draft.least_deg_pm
            )
        );
        layer
    }

    fn hidden(&self) -> Option<Layer> {
        let mut values = vec![f32::NAN; self.grid.len()];
        let mut any = false;
        let mesh = &self.evidence.mesh;
        for (t, facet) in self.evidence.facets.iter().enumerate() {
            if facet.is_some_and(|f| f.hidden) {
                any = true;
                let corners = mesh.corners(t);
                let down = -corners.iter().map(|p| p.z).sum::<f64>() as f32 / 3.0;
                cover(&self.grid, corners, |k| values[k] = values[k].max(down));
            }
        }
        if !any {
            return None;
        }
        widen(&self.grid, &mut values, |_| true);
        let deepest = largest(&values);
        let mut layer = self.layer(
            "hidden",
            "surface the tool axis cannot see, by depth".into(),
            Quantity::Length,
            values,
        );
        layer.range = [0.0, deepest.max(1e-3)];
        layer.limit = Some(Limit {
            value: f64::NEG_INFINITY,
            above: true,
        });
        let f = Figures { unit: Unit::Mm };
        let u = &self.half.undercut;
        layer.alt = format!(
            "Map of the plan; hatched where surface lies under material and the tool axis cannot see it: {} in all, the \
             largest hook {}.",
            f.text(Quantity::Area, u.hidden_area_mm2, u.hidden_area_mm2_pm),
            f.text(Quantity::Length, u.hook_mm, u.hook_mm_pm)
        );
        Some(layer)
    }

    fn left(&self, k: usize, cutter: &CutterEvidence) -> Layer {
        let left = |p: &LeftPlace| p.left;
        let mut values = self.splat(cutter, left);
        if let Some(worst) = &cutter.worst {
            self.put(&mut values, worst.at, worst.left);
        }
        let leave = self.half.reach.leave_mm;
        widen(&self.grid, &mut values, |v| f64::from(v) > leave);
        let most = largest(&values);
        let title = format!("height left after {}", cutter.name);
        let mut layer = self.layer(&format!("left-{}", k + 1), title, Quantity::Length, values);
        layer.range = [0.0, round_step(most.max(2.0 * leave))];
        layer.limit = Some(Limit {
            value: leave,
            above: true,
        });
        let f = Figures { unit: Unit::Mm };
        let figures = self
            .half
            .reach
            .cutters
            .iter()
            .find(|c| c.name == cutter.name);
        layer.alt = format!(
            "Map of the plan coloured by what {} leaves, square to the surface: at most {}; more than {} counts as left.",
            cutter.name,
            f.text(
                Quantity::Length,
                figures.and_then(|c| c.left_height_mm),
                figures.and_then(|c| c.left_height_mm_pm)
            ),
            f.length(leave)
        );
        layer
    }

    fn stickout(&self, k: usize, cutter: &CutterEvidence) -> Option<Layer> {
        let values = self.splat(cutter, |p: &LeftPlace| p.stickout);
        let most = largest(&values);
        if most <= 0.0 {
            return None;
        }
        let tools = self.half.depth.tools.iter();
        let longest = tools
            .filter(|t| t.cutter == cutter.name)
            .map(|t| t.stickout_mm)
            .fold(0.0, f64::max);
        let title = format!("stickout needed with {}", cutter.name);
        let mut layer = self.layer(
            &format!("stickout-{}", k + 1),
            title,
            Quantity::Length,
            values,
        );
        layer.range = [0.0, most.max(longest)];
        layer.limit = (longest > 0.0).then_some(Limit {
            value: longest,
            above: true,
        });
        let f = Figures { unit: Unit::Mm };
        let limit = if longest > 0.0 {
            format!("; the longest in the rack is {}", f.length(longest))
        } else {
            String::new()
        };
        layer.alt = format!(
            "Map of the plan coloured by the stickout at which the holder clears while {} touches: up to {}{limit}.",
            cutter.name,
            f.length(most)
        );
        Some(layer)
    }

    /// Calls back with each triangle of the cavity and the cells that it covers or crosses.
    fn each_facet(&self, mut each: impl FnMut(&crate::vet::FacetEvidence, &[usize])) {
        let mut cells = Vec::new();
        for (t, facet) in self.evidence.facets.iter().enumerate() {
            let Some(facet) = facet.as_ref().filter(|f| f.hollow == HollowKind::Cavity) else {
                continue;
            };
            let corners = self.evidence.mesh.corners(t);
            cells.clear();
            cover(&self.grid, corners, |k| cells.push(k));
            // a wall crosses the cells of the parting face beside it, too
            cells.retain(|&k| self.cavity[k] || self.beside(k));
            each(facet, &cells);
        }
    }

    fn beside(&self, k: usize) -> bool {
        neighbours(&self.grid, k).any(|n| self.cavity[n])
    }

    fn put(&self, values: &mut [f32], at: [f32; 3], value: f32) {
        if let Some((i, j)) = self.grid.cell_at(f64::from(at[0]), f64::from(at[1])) {
            let k = self.grid.index(i, j);
            // NaN gives way
            values[k] = values[k].max(value);
        }
    }

    /// The largest value of the samples in each cell, carried over the cavity's cells between them.
    fn splat(&self, cutter: &CutterEvidence, value: impl Fn(&LeftPlace) -> f32) -> Vec<f32> {
        let mut values = vec![f32::NAN; self.grid.len()];
        let mut seen = vec![false; self.grid.len()];
        for place in &cutter.places {
            self.put(&mut values, place.at, value(place));
            if let Some((i, j)) = self
                .grid
                .cell_at(f64::from(place.at[0]), f64::from(place.at[1]))
            {
                seen[self.grid.index(i, j)] = true;
            }
        }
        let mut queue: VecDeque<(usize, u32)> = (0..seen.len())
            .filter(|&k| seen[k])
            .map(|k| (k, 0))
            .collect();
        while let Some((k, far)) = queue.pop_front() {
            for n in neighbours(&self.grid, k) {
                if !seen[n] && self.cavity[n] && far < CARRY {
                    seen[n] = true;
                    values[n] = values[k];
                    queue.push_back((n, far + 1));
                }
            }
        }
        values
    }
}

fn largest(values: &[f32]) -> f64 {
    f64::from(values.iter().copied().fold(0.0, f32::max))
}

/// The four cells beside cell `k`.
fn neighbours(grid: &Grid, k: usize) -> impl Iterator<Item = usize> + use<> {
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
fn widen(grid: &Grid, values: &mut [f32], wanted: impl Fn(f32) -> bool) {
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
fn cover(grid: &Grid, corners: [crate::mesh::Point; 3], mut each: impl FnMut(usize)) {
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
