//! The plan of one half: what each ball costs, the passes of the finisher, the cutter set.

use super::curve::Form;
use super::cusp;
use super::direction::{Cusps, Rules, Sheet, Way};
use super::edges::{StraightEdge, straight_edges};
use super::places::{Place, Reaching, places, reaching, stickouts};
use super::speed;
use super::stickout::{Bears, Needs, bears, needs};
use super::time::removal;
use super::worth::{Job, Work};
use super::{PlanConfig, TIME_RANGE};
use crate::report::plan::{
    BallPlan, CuspPlan, Directions, EdgePlan, HalfPlan, SetBy, StickoutRegion, ToolPlan, WayPlan,
};
use crate::shop::{Cutter, CutterKind, Edges, Shop};
use crate::vet::reach::Ground;

/// Share of a flat cutter's diameter by which its passes over a floor lie apart; common practice, no source.
const FLAT_STEP: f64 = 0.5;

/// Spindle speed and feed of one cutter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pace {
    /// Number of teeth.
    pub teeth: u32,
    /// Chip load per tooth, mm.
    pub chip_load: f64,
    /// Spindle speed, 1/min, and what sets it.
    pub rpm: (f64, SetBy),
    /// Feed, mm/min, and what sets it.
    pub feed: (f64, SetBy),
    /// Removal rate in roughing, mm³/min.
    pub removal: f64,
    /// Slowest cutting speed of the material with this cutter, m/min.
    pub slowest: f64,
}

/// Spindle speed: the material's fastest cutting speed at the full diameter, within what machine and cutter allow.
/// Feed: speed × teeth × chip load, within the machine's.
pub fn pace(cutter: &Cutter, shop: &Shop) -> Option<Pace> {
    let row = shop.planning.row()?;
    let machine = &shop.planning.machine;
    let share = cutter.edges.made_of.speed_share();
    let by_material = speed::spindle_speed(cutter.diameter, row.speed[1] * share);
    let mut rpm = (machine.rpm, SetBy::Machine);
    if let Some(limit) = cutter.edges.rpm
        && limit < rpm.0
    {
        rpm = (limit, SetBy::Cutter);
    }
    if by_material < rpm.0 {
        rpm = (by_material, SetBy::Material);
    }
    let teeth = cutter.edges.teeth.unwrap_or(Edges::TEETH);
    let chip_load = cutter
        .edges
        .chip_load
        .unwrap_or(row.chip_share * cutter.diameter);
    let by_chip = speed::feed(rpm.0, teeth, chip_load);
    let feed = if by_chip > machine.feed {
        (machine.feed, SetBy::Machine)
    } else {
        (by_chip, SetBy::ChipLoad)
    };
    Some(Pace {
        teeth,
        chip_load,
        rpm,
        feed,
        removal: removal(
            row.rough_depth * cutter.diameter,
            row.rough_width * cutter.diameter,
            feed.0,
        ),
        slowest: row.speed[0] * share,
    })
}

/// One cutter at one stickout.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct At {
    /// Tip to holder face, mm.
    pub stickout: f64,
    /// Whether the rack states it.
    pub in_rack: bool,
    /// What the cutter bears there.
    pub bears: Bears,
    /// Share of what the cutter does that it reaches.
    pub share: f64,
}

/// All that is known of one cutter on one half.
pub struct Known {
    /// Its number in the rack.
    pub index: usize,
    /// Speeds and feeds.
    pub pace: Pace,
    /// What it leaves.
    pub reaching: Reaching,
    /// Stickout that each place asks for, mm, whatever is left there.
    pub needed: Vec<f64>,
    /// Stickouts of what it does within the leave.
    pub needs: Needs,
    /// The cutter at each stickout, shortest first.
    pub at: Vec<At>,
    /// Minutes of finishing at each place, bending not considered; infinite where it cannot finish.
    pub minutes: Vec<f64>,
    /// Passes in one direction, crossed, and for semi-finishing; balls only.
    pub ways: Option<[Way; 3]>,
}

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
    let mut maps = Vec::new();
    let mut known = Vec::new();
    for (index, cutter) in shop.cutters.iter().enumerate() {
        progress(
            "trying cutters",
            0.05 + 0.7 * index as f64 / shop.cutters.len() as f64,
        );
        known.extend(know(ground, shop, index, cutter, &form, &places, &mut maps));
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
    let edges = straight_edges(
        ground.half,
        ground.survey,
        &ground.surface.creases,
        shop.limits.crease_deg,
    );
    let planned = finisher.map(|k| {
        let sheet = sheet(&work, k);
        let rules = rules(shop, known[k].pace.feed.0, shop.planning.wanted.cusp);
        directions(ground, &sheet, &known[k], &rules, &edges, config)
    });
    let edge_plans = edges
        .iter()
        .take(EDGES)
        .map(|e| {
            let time = finisher.map(|k| {
                let rules = rules(shop, known[k].pace.feed.0, shop.planning.wanted.cusp);
                sheet(&work, k).way(e.direction_deg, false, &rules).minutes
            });
            let best = planned.as_ref().map(|d| d.best.time_min);
            edge_plan(ground, e, time, best)
        })
        .collect();
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
        directions: planned,
        edges: edge_plans,
        sets: chosen.sets,
        sets_exact: chosen.exact,
        unfinished_mm2: job.unfinished,
        cutters: chosen.worth,
        leave_savings: chosen.leave,
        fillet_savings: chosen.fillets,
    }
}

/// Edges that are listed.
const EDGES: usize = 8;

/// Cavity space over a place, mm³.
fn space(ground: &Ground, p: &Place) -> f64 {
    let deep = ground.survey.parting_at(p.at.x, p.at.y) - p.at.z;
    p.area * p.facet_normal.z.max(0.0) * deep.max(0.0)
}

fn rules(shop: &Shop, feed: f64, height: f64) -> Rules {
    Rules {
        height,
        share: shop.planning.wanted.share,
        feed,
        acceleration: shop.planning.machine.acceleration,
    }
}

fn sheet<'a>(work: &Work<'a>, k: usize) -> Sheet<'a> {
    let known = &work.known[k];
    Sheet::of(
        work.form,
        work.shop.cutters[known.index].radius(),
        work.places,
        &known.reaching.left,
        work.shop.limits.leave,
    )
}

fn know(
    ground: &Ground,
    shop: &Shop,
    index: usize,
    cutter: &Cutter,
    form: &Form,
    places: &[Place],
    maps: &mut Vec<(crate::field::Profile, crate::field::HeightMap)>,
) -> Option<Known> {
    let pace = pace(cutter, shop)?;
    let leave = shop.limits.leave;
    let wanted = &shop.planning.wanted;
    let reaching = reaching(ground, cutter, places, leave)?;
    let needed = stickouts(ground, shop, cutter, &reaching, f64::INFINITY, maps);
    let done: Vec<f64> = needed
        .iter()
        .zip(&reaching.left)
        .map(|(n, left)| if *left <= leave { *n } else { f64::INFINITY })
        .collect();
    let needs = needs(&ground.half.mesh, places, &done);
    let mut at: Vec<At> = cutter
        .stickouts
        .iter()
        .map(|&stickout| at_stickout(cutter, stickout, true, places, &done, wanted))
        .collect();
    at.sort_by(|a, b| a.stickout.total_cmp(&b.stickout));
    if let Some(all) = needs.all
        && at.last().is_none_or(|a| a.stickout < all)
    {
        at.push(at_stickout(cutter, all, false, places, &done, wanted));
    }
    let (minutes, ways) = if cutter.kind() == CutterKind::Ball {
        let sheet = Sheet::of(form, cutter.radius(), places, &reaching.left, leave);
        let fine = rules(shop, pace.feed.0, wanted.cusp);
        let ways = [sheet.best(false, &fine), sheet.best(true, &fine)];
        let quick = usize::from(!quicker(&ways[0], &ways[1]));
        let semi = sheet.way(
            ways[quick].direction_deg,
            quick == 1,
            &rules(shop, pace.feed.0, wanted.semi_cusp),
        );
        let by_patch = sheet.minutes_by_patch(&ways[quick], &fine);
        let mut by_patch = by_patch.into_iter();
        let minutes = places
            .iter()
            .zip(&reaching.left)
            .map(|(p, left)| {
                if p.area > 0.0 && *left <= leave {
                    by_patch.next().unwrap_or(0.0)
                } else if p.area == 0.0 {
                    0.0
                } else {
                    // not done within the leave: over its area, as if it were level
                    p.area / ways[quick].step.max(1e-6) / pace.feed.0
                }
            })
            .collect();
        let [one, crossed] = ways;
        (minutes, Some([one, crossed, semi]))
    } else {
        let level = |p: &Place| p.normal.z > 0.999_96;
        let step = FLAT_STEP * cutter.diameter;
        let minutes = places
            .iter()
            .map(|p| match p.area {
                0.0 => 0.0,
                area if level(p) => area / step / pace.feed.0,
                _ => f64::INFINITY,
            })
            .collect();
        (minutes, None)
    };
    Some(Known {
        index,
        pace,
        reaching,
        needed,
        needs,
        at,
        minutes,
        ways,
    })
}

/// Whether one direction alone is no slower and does no less.
fn quicker(one: &Way, crossed: &Way) -> bool {
    one.minutes <= crossed.minutes && one.share >= crossed.share - 1e-6
}

fn at_stickout(
    cutter: &Cutter,
    stickout: f64,
    in_rack: bool,
    places: &[Place],
    done: &[f64],
    wanted: &crate::shop::Wanted,
) -> At {
    let area = |most: f64| -> f64 {
        let reached = places.iter().zip(done).filter(|(_, n)| **n <= most);
        reached.map(|(p, _)| p.area).sum()
    };
    let whole = area(f64::MAX);
    At {
        stickout,
        in_rack,
        bears: bears(cutter, stickout, wanted),
        share: if whole > 0.0 {
            area(stickout + 1e-6) / whole
        } else {
            0.0
        },
    }
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
        stickout_regions: known
            .needs
            .regions
            .iter()
            .map(|r| StickoutRegion {
                stickout_mm: r.stickout,
                area_mm2: r.area,
                at_mm: ground.half.frame.place(&work.places[r.place].at),
            })
            .collect(),
        tools: known
            .at
            .iter()
            .map(|a| ToolPlan {
                stickout_mm: a.stickout,
                in_rack: a.in_rack,
                slenderness: a.bears.slenderness,
                bend_mm: a.bears.bend,
                feed_share: a.bears.feed_share,
                reached_share: a.share,
            })
            .collect(),
    }
}

fn directions(
    ground: &Ground,
    sheet: &Sheet,
    known: &Known,
    rules: &Rules,
    edges: &[StraightEdge],
    config: &PlanConfig,
) -> Directions {
    let mut best = match &known.ways {
        Some([one, ..]) => one.clone(),
        None => sheet.best(false, rules),
    };
    // the search goes in steps; an edge may lie between two of them
    for e in edges.iter().take(EDGES) {
        let way = sheet.way(e.direction_deg, false, rules);
        if way.minutes < best.minutes {
            best = way;
        }
    }
    let finite = |value: f64| Some(value).filter(|v| v.is_finite());
    let (even, unevenness) = sheet.most_even();
    let direction = config.direction_deg.unwrap_or(best.direction_deg);
    let step = config.step.unwrap_or_else(|| {
        if config.direction_deg.is_some() {
            sheet.way(direction, false, rules).step
        } else {
            best.step
        }
    });
    let cusps = [false, true]
        .map(|crossed| cusp_plan(ground, sheet, (direction, step), crossed, rules))
        .to_vec();
    Directions {
        unevenness_at_best: finite(sheet.unevenness(best.direction_deg)),
        best: way_plan(&best, rules.feed),
        most_even_deg: even,
        unevenness: finite(unevenness),
        cusps,
    }
}

fn cusp_plan(
    ground: &Ground,
    sheet: &Sheet,
    (direction, step): (f64, f64),
    crossed: bool,
    rules: &Rules,
) -> CuspPlan {
    let Cusps {
        median,
        most,
        largest,
        share,
    } = sheet.cusps(direction, step, crossed, rules.height);
    let finite = |h: f64| Some(h).filter(|h| h.is_finite());
    let (crossing, at) = match crossed {
        true => sheet.crossing(direction, step, rules.height),
        false => (0.0, None),
    };
    CuspPlan {
        crossing_mm2: crossing,
        crossing_at_mm: at.map(|p| ground.half.frame.place(&p)),
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

fn edge_plan(ground: &Ground, e: &StraightEdge, time: Option<f64>, best: Option<f64>) -> EdgePlan {
    EdgePlan {
        outline: e.outline,
        from_mm: ground.half.frame.place(&e.from),
        to_mm: ground.half.frame.place(&e.to),
        length_mm: e.length,
        direction_deg: e.direction_deg,
        time_min: time,
        extra_min: time.zip(best).map(|(t, b)| t - b),
    }
}
