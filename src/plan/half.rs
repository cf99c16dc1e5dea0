//! The plan of one half: what each ball costs, the passes of the finisher, the cutter set.

use super::curve::Form;
use super::cusp;
use super::direction::{Cusps, Rules, Sheet, Way};
use super::edges::{StraightEdge, straight_edges};
use super::known::{At, Known, Trial, rules};
use super::places::{Place, places};
use super::speed;
use super::stickout::Region;
use super::worth::{Job, Work};
use super::{PlanConfig, TIME_RANGE};
use crate::report::plan::{
    BallPlan, CuspPlan, Directions, EdgePlan, HalfPlan, StickoutRegion, ToolPlan, WayPlan,
};
use crate::shop::CutterKind;
use crate::vet::reach::Ground;

/// Plans one half.
pub fn half_plan(
    ground: &Ground,
    config: &PlanConfig,
    progress: &dyn Fn(&'static str, f64),
) -> HalfPlan {
    let shop = &config.check.shop;
    let mesh = &ground.half.mesh;
    progress("reading the surface's form", 0.0);
    let form = Form::read(mesh, &ground.half.topology, &ground.surface.creases);
    let places = places(ground, &form);
    let surface: f64 = places.iter().map(|p| p.area).sum();
    let volume: f64 = places.iter().map(|p| space(ground, p)).sum();
    let mut trial = Trial {
        ground,
        shop,
        form: &form,
        places: &places,
        maps: Vec::new(),
    };
    let mut known = Vec::new();
    for index in 0..shop.cutters.len() {
        let done = 0.7 * index as f64 / shop.cutters.len() as f64;
        progress("trying cutters", 0.05 + done);
        known.extend(trial.know(index));
    }
    progress("choosing the set", 0.75);
    let work = Work {
        shop,
        mesh,
        form: &form,
        places: &places,
        known: &known,
        volume,
    };
    let job = Job::of(&work, shop.limits.leave);
    let chosen = job.choose(&work, ground);
    progress("turning the passes", 0.9);
    let finisher = job.finisher(&work);
    let (directions, edges) = passes(ground, &work, finisher, config);
    HalfPlan {
        name: ground.half.name.clone(),
        surface_mm2: surface,
        volume_mm3: volume,
        balls: known
            .iter()
            .filter(|k| shop.cutters[k.index].kind() == CutterKind::Ball)
            .map(|k| ball_plan(ground, &work, k))
            .collect(),
        finisher: finisher.map(|k| shop.cutters[known[k].index].name.clone()),
        directions,
        edges,
        sets: chosen.sets,
        sets_exact: chosen.exact,
        unfinished_mm2: job.unfinished,
        cutters: chosen.worth,
        leave_savings: chosen.leave,
        fillet_savings: chosen.fillets,
    }
}

/// The finisher's directions, and the straight edges with what passes along them take.
fn passes(
    ground: &Ground,
    work: &Work,
    finisher: Option<usize>,
    config: &PlanConfig,
) -> (Option<Directions>, Vec<EdgePlan>) {
    let edges = straight_edges(
        ground.half,
        ground.survey,
        &ground.surface.creases,
        work.shop.limits.crease_deg,
    );
    let edges = &edges[..edges.len().min(EDGES)];
    let finishing = finisher.map(|k| Finishing::of(ground, work, k));
    let finishing = finishing.as_ref();
    let directions = finishing.map(|f| f.directions(edges, config));
    let best = directions.as_ref().map(|d| d.best.time_min);
    let plan = |e: &StraightEdge| {
        let minutes = finishing.map(|f| f.along(e).minutes);
        EdgePlan {
            outline: e.outline,
            from_mm: ground.half.frame.place(&e.from),
            to_mm: ground.half.frame.place(&e.to),
            length_mm: e.length,
            direction_deg: e.direction_deg,
            time_min: minutes,
            extra_min: minutes.zip(best).map(|(t, b)| t - b),
        }
    };
    let edges = edges.iter().map(plan).collect();
    (directions, edges)
}

/// Edges that are listed.
const EDGES: usize = 8;

/// Cavity space over a place, mm³.
fn space(ground: &Ground, p: &Place) -> f64 {
    let deep = ground.survey.parting_at(p.at.x, p.at.y) - p.at.z;
    p.area * p.facet_normal.z.max(0.0) * deep.max(0.0)
}

fn way_plan(way: &Way, feed: f64) -> WayPlan {
    let crossing = way.crossing.unwrap_or_default();
    WayPlan {
        direction_deg: way.direction_deg,
        step_mm: way.step,
        share: way.share,
        length_mm: way.passes.length + crossing.length,
        crossing_mm2: way.crossing_area,
        time_min: way.minutes,
        time_least_min: way.passes.least_minutes(feed) + crossing.least_minutes(feed),
        time_most_min: TIME_RANGE * way.minutes,
    }
}

fn ball_plan(ground: &Ground, work: &Work, known: &Known) -> BallPlan {
    let shop = work.shop;
    let cutter = &shop.cutters[known.index];
    let pace = &known.pace;
    let leave = shop.limits.leave;
    let stock = shop.planning.wanted.stock;
    let done = || {
        let all = work.places.iter().zip(&known.reaching.left);
        all.filter(move |(_, left)| **left <= leave).map(|(p, _)| p)
    };
    let reached: f64 = done().map(|p| p.area).sum();
    let share = |take: &dyn Fn(&Place) -> bool| {
        let area: f64 = done().filter(|p| take(p)).map(|p| p.area).sum();
        if reached > 0.0 { area / reached } else { 0.0 }
    };
    let slope = |p: &Place| p.normal.z.clamp(-1.0, 1.0).acos().to_degrees();
    let at = |slope_deg: f64| {
        let diameter = speed::effective_diameter(cutter.diameter, stock, slope_deg);
        speed::cutting_speed(diameter, pace.rpm.0)
    };
    let way = |k: usize| {
        let ways = known.ways.as_ref().filter(|_| reached > 0.0)?;
        Some(way_plan(&ways[k], pace.feed.0))
    };
    BallPlan {
        name: cutter.name.clone(),
        diameter_mm: cutter.diameter,
        teeth: pace.teeth,
        chip_load_mm: pace.chip_load,
        rpm: pace.rpm.0,
        rpm_set_by: pace.rpm.1,
        feed_mm_min: pace.feed.0,
        feed_set_by: pace.feed.1,
        wall_speed_m_min: speed::cutting_speed(cutter.diameter, pace.rpm.0),
        level_speed_m_min: at(0.0),
        tip_share: share(&|p| slope(p) < speed::TIP_DEG),
        slow_share: share(&|p| at(slope(p)) < pace.slowest),
        reached_mm2: reached,
        left_volume_mm3: known.reaching.left_volume,
        removal_mm3_min: pace.removal,
        one_direction: way(0),
        crossed: way(1),
        semi_finish: way(2),
        stickout_needed_mm: known.needs.all,
        stickout_most_mm: known.needs.most,
        stickout_regions: stickout_regions(ground, work, known),
        tools: known.at.iter().map(tool_plan).collect(),
    }
}

fn stickout_regions(ground: &Ground, work: &Work, known: &Known) -> Vec<StickoutRegion> {
    let region = |r: &Region| StickoutRegion {
        stickout_mm: r.stickout,
        area_mm2: r.area,
        at_mm: ground.half.frame.place(&work.places[r.place].at),
    };
    known.needs.regions.iter().map(region).collect()
}

fn tool_plan(a: &At) -> ToolPlan {
    ToolPlan {
        stickout_mm: a.stickout,
        in_rack: a.in_rack,
        slenderness: a.bears.slenderness,
        bend_mm: a.bears.bend,
        feed_share: a.bears.feed_share,
        reached_share: a.share,
    }
}

/// The finisher's passes.
struct Finishing<'a> {
    ground: &'a Ground<'a>,
    known: &'a Known,
    sheet: Sheet<'a>,
    rules: Rules,
}

impl<'a> Finishing<'a> {
    /// Those of the cutter number `k` of those known.
    fn of(ground: &'a Ground<'a>, work: &Work<'a>, k: usize) -> Finishing<'a> {
        let (shop, known) = (work.shop, &work.known[k]);
        Finishing {
            ground,
            known,
            sheet: Sheet::of(
                work.form,
                shop.cutters[known.index].radius(),
                work.places,
                &known.reaching.left,
                shop.limits.leave,
            ),
            rules: rules(shop, known.pace.feed.0, shop.planning.wanted.cusp),
        }
    }

    /// Passes along an edge.
    fn along(&self, e: &StraightEdge) -> Way {
        self.sheet.way(e.direction_deg, false, &self.rules)
    }

    fn directions(&self, edges: &[StraightEdge], config: &PlanConfig) -> Directions {
        let (sheet, rules) = (&self.sheet, &self.rules);
        let mut best = match &self.known.ways {
            Some([one, ..]) => one.clone(),
            None => sheet.best(false, rules),
        };
        // the search goes in steps; an edge may lie between two of them
        for e in edges {
            let way = self.along(e);
            if way.minutes < best.minutes {
                best = way;
            }
        }
        let (even, unevenness) = sheet.most_even();
        let direction = config.direction_deg.unwrap_or(best.direction_deg);
        let step = config.step.unwrap_or_else(|| {
            if config.direction_deg.is_some() {
                sheet.way(direction, false, rules).step
            } else {
                best.step
            }
        });
        let cusps = [false, true].map(|crossed| self.cusps(direction, step, crossed));
        Directions {
            unevenness_at_best: finite(sheet.unevenness(best.direction_deg)),
            best: way_plan(&best, rules.feed),
            most_even_deg: even,
            unevenness: finite(unevenness),
            cusps: cusps.to_vec(),
        }
    }

    fn cusps(&self, direction: f64, step: f64, crossed: bool) -> CuspPlan {
        let (sheet, rules) = (&self.sheet, &self.rules);
        let Cusps {
            median,
            most,
            largest,
            share,
        } = sheet.cusps(direction, step, crossed, rules.height);
        let (crossing, at) = match crossed {
            true => sheet.crossing(direction, step, rules.height),
            false => (0.0, None),
        };
        CuspPlan {
            crossing_mm2: crossing,
            crossing_at_mm: at.map(|p| self.ground.half.frame.place(&p)),
            direction_deg: direction.rem_euclid(180.0),
            step_mm: step,
            crossed,
            median_mm: finite(median),
            most_mm: finite(most),
            largest_mm: finite(largest),
            share,
            roughness_um: finite(median).map(|h| 1e3 * cusp::mean_roughness(h)),
            time_min: sheet.minutes_at(direction, step, crossed, rules),
        }
    }
}

fn finite(value: f64) -> Option<f64> {
    Some(value).filter(|v| v.is_finite())
}
