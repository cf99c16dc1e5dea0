//! Which maps there are of a half, and their values over the plan.

use super::cells::{cover, largest, neighbours, widen};
use super::map::{Ground, Layer, Limit};
use super::ticks::round_step;
use crate::field::Grid;
use crate::report::{Figures, Half, HollowKind, Quantity, Report, radii_text};
use crate::shop::CutterKind;
use crate::units::Unit;
use crate::vet::{CutterEvidence, Evidence, HalfEvidence, Valued};
use rayon::prelude::*;
use std::collections::VecDeque;

/// Cells along the longer side of a map.
const CELLS: f64 = 700.0;
/// Draft at which colours end, degrees: what leans more is of no concern.
pub(super) const MOST_DRAFT: f64 = 15.0;
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

/// The maps of half number `half`: depth, draft, hidden surface where there is any, the ball that reaches, the wall behind, the
/// cusps where passes were planned, then what each cutter leaves and how far it must stick out.
pub fn layers(report: &Report, evidence: &Evidence, half: usize) -> Vec<Layer> {
    let figures = &report.halves[half];
    let sheet = Sheet::new(figures, &evidence.halves[half]);
    // one after another in the list, all at once in the making
    let makers: [&(dyn Fn() -> Option<Layer> + Sync); 6] = [
        &|| Some(sheet.depth()),
        &|| Some(sheet.draft()),
        &|| sheet.hidden(),
        &|| sheet.radius(),
        &|| sheet.wall(),
        &|| sheet.cusp(report),
    ];
    let mut layers: Vec<Layer> = makers.par_iter().filter_map(|make| make()).collect();
    let cutters = sheet.evidence.cutters.par_iter().enumerate();
    let by_cutter: Vec<[Option<Layer>; 2]> = cutters
        .map(|(k, cutter)| [Some(sheet.left(k, cutter)), sheet.stickout(k, cutter)])
        .collect();
    layers.extend(by_cutter.into_iter().flatten().flatten());
    layers
}

/// Radius of the ball that comes closest to clearing.
fn best_ball_radius(figures: &Half) -> Option<f64> {
    let best = best_cutter(figures);
    let mut balls = (figures.reach.cutters.iter()).filter(|c| c.kind == CutterKind::Ball);
    let ball = balls.find(|c| Some(c.name.as_str()) == best)?;
    Some(0.5 * ball.diameter_mm)
}

/// Where the colours of the radius map end: at twice the largest ball of the rack, or at four times the `least` radius where no
/// ball is that small.
fn radius_scale(figures: &Half, least: f64) -> f64 {
    let balls = (figures.reach.cutters.iter()).filter(|c| c.kind == CutterKind::Ball);
    let largest = balls.map(|c| 0.5 * c.diameter_mm).fold(0.0, f64::max);
    round_step((2.0 * largest).max(4.0 * least))
}

/// What a cutter leaves, place by place.
pub(crate) fn left(cutter: &CutterEvidence) -> Vec<Valued> {
    cutter.valued(|p| p.left)
}

/// The same places with values of the other sign: where the largest would be shown, the least is.
pub(crate) fn turned(places: &[Valued]) -> Vec<Valued> {
    let turn = |p: &Valued| Valued {
        value: -p.value,
        ..*p
    };
    places.iter().map(turn).collect()
}

/// The stickout that a cutter needs, place by place.
pub(crate) fn stickouts(cutter: &CutterEvidence) -> Vec<Valued> {
    cutter.valued(|p| p.stickout)
}

/// The cells of a half's maps, and what is shown in them where there is no value.
pub(super) fn plan_of(evidence: &HalfEvidence) -> (Grid, Vec<Ground>) {
    let columns = evidence.top.grid;
    let size = [columns.nx, columns.ny].map(|n| n as f64 * columns.cell);
    let cell = size[0].max(size[1]) / CELLS;
    let hi = [0, 1].map(|k| columns.origin[k] + size[k]);
    let grid = Grid::covering(columns.origin, hi, 0.0, cell);
    let ground = (0..grid.len())
        .map(|k| {
            let [x, y] = grid.centre_of(k);
            let column = columns.cell_at(x, y).map(|(i, j)| columns.index(i, j));
            let hollow = column.and_then(|c| evidence.hollows[c]);
            let material = column.is_some_and(|c| evidence.top.get(c).is_some());
            match (hollow, material) {
                (Some(_), _) => Ground::Hollow,
                (None, true) => Ground::Face,
                (None, false) => Ground::Outside,
            }
        })
        .collect();
    (grid, ground)
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
        let (grid, ground) = plan_of(evidence);
        let columns = evidence.top.grid;
        let cavity = (0..grid.len())
            .map(|k| {
                let [x, y] = grid.centre_of(k);
                let column = columns.cell_at(x, y).map(|(i, j)| columns.index(i, j));
                column.and_then(|c| evidence.hollows[c]) == Some(HollowKind::Cavity)
            })
            .collect();
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
            ..Layer::bare(self.grid)
        }
    }

    fn depth(&self) -> Layer {
        let columns = self.evidence.top.grid;
        let depth = |k: usize| {
            let [x, y] = self.grid.centre_of(k);
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
        layer.limits = vec![Limit {
            value: required,
            above: false,
        }];
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
        layer.limits = vec![Limit {
            value: f64::NEG_INFINITY,
            above: true,
        }];
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
        let mut values = self.splat(&left(cutter));
        if let Some(worst) = &cutter.worst {
            self.put(&mut values, worst.at, worst.left);
        }
        let leave = self.half.reach.leave_mm;
        widen(&self.grid, &mut values, |v| f64::from(v) > leave);
        let most = largest(&values);
        let title = format!("height left after {}", cutter.name);
        let mut layer = self.layer(&format!("left-{}", k + 1), title, Quantity::Length, values);
        layer.range = [0.0, round_step(most.max(2.0 * leave))];
        layer.limits = vec![Limit {
            value: leave,
            above: true,
        }];
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
        let values = self.splat(&stickouts(cutter));
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
        layer.limits.extend((longest > 0.0).then_some(Limit {
            value: longest,
            above: true,
        }));
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

    fn radius(&self) -> Option<Layer> {
        let mut values = self.splat_least(&self.evidence.radii);
        let least = values.iter().copied().reduce(f32::min)?;
        if least.is_nan() {
            return None;
        }
        // where a ball clears, what it does not touch is within what may stay
        let reach = &self.half.reach;
        let best = match reach.smallest_ball_needed {
            Some(_) => None,
            None => best_ball_radius(self.half),
        };
        widen(&self.grid, &mut values, |v| {
            best.is_some_and(|b| f64::from(v) < b)
        });
        let title = "radius of the largest ball that touches".to_owned();
        let mut layer = self.layer("radius", title, Quantity::Length, values);
        layer.range = [0.0, radius_scale(self.half, f64::from(least))];
        layer.limits.extend(best.map(|value| Limit {
            value,
            above: false,
        }));
        let f = Figures { unit: Unit::Mm };
        layer.note = match best {
            Some(_) => "limit: the ball that comes closest",
            None => "colours end at the scale's upper end",
        }
        .to_owned();
        layer.alt = format!(
            "Map of the plan coloured by the radius of the largest ball that touches at each place; the smallest concave radius is {}.",
            f.text(
                Quantity::Length,
                reach.smallest_concave_radius_mm,
                reach.smallest_concave_radius_mm_pm
            )
        );
        if let Some(text) = reach.radius_map.as_ref().and_then(|m| radii_text(f, m)) {
            layer.alt += &format!(" {text}.");
        }
        Some(layer)
    }

    fn wall(&self) -> Option<Layer> {
        let mut values = self.splat_least(&self.evidence.walls);
        // upright walls are as wide as a line: laid two cells further out, over the rim
        widen(&self.grid, &mut values, |_| true);
        widen(&self.grid, &mut values, |_| true);
        let known = || values.iter().copied().filter(|v| !v.is_nan());
        let least = f64::from(known().reduce(f32::min)?);
        let most = f64::from(known().fold(0.0, f32::max));
        let title = "wall behind the cavity".to_owned();
        let mut layer = self.layer("wall", title, Quantity::Length, values);
        layer.range = [0.0, round_step(most)];
        let f = Figures { unit: Unit::Mm };
        layer.alt = format!(
            "Map of the plan coloured by the thickness of the block behind the cavity's surface, to its outside or another hole: \
             {} at least, {} at most; no limit is set.",
            f.length(least),
            f.length(most)
        );
        layer.note = "to the block's outside or another hole; no limit is set".to_owned();
        Some(layer)
    }

    fn cusp(&self, report: &Report) -> Option<Layer> {
        let plan = report.plan.as_ref()?;
        let passes = plan.halves.iter().find(|h| h.name == self.half.name)?;
        let cusps = &passes.directions.as_ref()?.cusps;
        let passes_in = cusps.iter().find(|c| !c.crossed)?;
        let wanted = plan.inputs.get("cusp_mm").and_then(|v| v.as_f64())?;
        if self.evidence.cusps.is_empty() {
            return None;
        }
        let mut values = self.splat(&self.evidence.cusps);
        widen(&self.grid, &mut values, |v| f64::from(v) > wanted);
        let title = "cusps of the planned passes".to_owned();
        let mut layer = self.layer("cusp", title, Quantity::Length, values);
        let top = passes_in.most_mm.unwrap_or(0.0).max(2.0 * wanted);
        layer.range = [0.0, round_step(top)];
        layer.limits = vec![Limit {
            value: wanted,
            above: true,
        }];
        let f = Figures { unit: Unit::Mm };
        layer.note = "ideal cusps; colours end at the scale's upper end".to_owned();
        layer.alt = format!(
            "Map of the plan coloured by the height of the cusps that {} leaves by passes in one direction, {}° from X, {} apart: \
             half of the surface within {}; {} is wanted.",
            passes.finisher.as_deref().unwrap_or("the ball"),
            (passes_in.direction_deg * 100.0).round() / 100.0,
            f.length(passes_in.step_mm),
            f.text(Quantity::Length, passes_in.median_mm, None),
            f.length(wanted)
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

    /// The smallest value of the samples in each cell, carried as [`Sheet::splat`] does.
    fn splat_least(&self, places: &[Valued]) -> Vec<f32> {
        self.splat(&turned(places)).iter().map(|v| -v).collect()
    }

    /// The largest value of the samples in each cell, carried over the cavity's cells between them.
    fn splat(&self, places: &[Valued]) -> Vec<f32> {
        let mut values = vec![f32::NAN; self.grid.len()];
        let mut seen = vec![false; self.grid.len()];
        for place in places {
            self.put(&mut values, place.at, place.value);
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
