//! Reach and depth: every cutter and tool of the rack over one half.

mod figures;
mod verdicts;

use super::cutting::Cutting;
use super::depth::{
    Alone, Bodies, Guarded, Needed, deepest, deepest_tip, guarded, stickout_needed,
};
use super::evidence::HalfEvidence;
use super::radius::{Untouched, smallest_radius, untouched};
use super::radius_map::RadiusMap;
use super::reach::{Ground, Groups, Reached};
use super::sharp::Sharp;
use crate::field::Nearest;
use crate::mesh::Point;
use crate::report::{CutterReach, Depth, Reach, SharpEdge, ToolDepth, Verdict};
use crate::shop::{Cutter, CutterKind, Part, Shop, Tool};
use figures::{agree, fill_reach, tool_depth, unknown_reach};
use rayon::prelude::*;
use std::sync::Arc;
use verdicts::{Stays, best_ball, depth_verdict, left_by_first, reach_verdict};

pub use verdicts::{SLENDER, largest_that_clears};

/// A stickout that leaves the holder out of all that a mill can hold, mm.
const OUT: f64 = 1e4;

/// Reach and depth of a half that has no cavity: no figure has a meaning.
pub fn without_cavity(shop: &Shop) -> (Reach, Depth) {
    let reach = Reach {
        verdict: Verdict::Pass,
        leave_mm: shop.limits.leave,
        smallest_concave_radius_mm: None,
        smallest_concave_radius_mm_pm: None,
        at_mm: None,
        sharp_edges: Vec::new(),
        smallest_ball_needed: None,
        best_ball: None,
        radius_map: None,
        cutters: shop.cutters.iter().map(unknown_reach).collect(),
    };
    (
        reach,
        Depth {
            verdict: Verdict::Pass,
            tools: Vec::new(),
        },
    )
}

/// Tries every cutter and tool of the shop; keeps what pictures need in `evidence`.
pub fn reach_and_depth(
    ground: &Ground,
    shop: &Shop,
    progress: &dyn Fn(&'static str, f64),
    mut evidence: Option<&mut HalfEvidence>,
) -> (Reach, Depth) {
    let mut rack = Rack::of(ground, shop);
    let few = AT_A_TIME.min(rayon::current_num_threads());
    while rack.cutters.len() < shop.cutters.len() {
        let share = rack.cutters.len() as f64 / shop.cutters.len() as f64;
        progress("trying cutters", 0.2 + 0.7 * share);
        rack.try_next(few, evidence.as_deref_mut());
    }
    progress("finding the smallest radius", 0.9);
    let largest_ball = (shop.cutters.iter())
        .filter(|c| c.kind() == CutterKind::Ball)
        .map(Cutter::radius)
        .max_by(f64::total_cmp);
    let radius = concave_radius(ground, rack.left_by, largest_ball);
    if let Some((radius, pm, _)) = radius {
        agree(&mut rack.cutters, ground, (radius, pm), shop.limits.leave);
    }
    let map = RadiusMap::of(ground);
    if let (Some(map), Some(kept)) = (&map, evidence) {
        kept.radii = map.valued(ground);
    }
    let (cutters, tools) = (rack.cutters, rack.tools);
    let place = |p: &Point| ground.half.frame.place(p);
    let sharp = |s: &Sharp| SharpEdge {
        kind: s.kind,
        length_mm: s.length,
        at_mm: place(&s.at),
    };
    let reach = Reach {
        verdict: reach_verdict(ground, shop, &cutters, rack.left_by_first),
        leave_mm: shop.limits.leave,
        smallest_concave_radius_mm: radius.map(|r| r.0),
        smallest_concave_radius_mm_pm: radius.map(|r| r.1),
        at_mm: radius.map(|r| place(&r.2)),
        sharp_edges: ground.sharp.iter().map(sharp).collect(),
        smallest_ball_needed: largest_that_clears(&cutters).map(|c| c.name.clone()),
        best_ball: best_ball(&cutters).map(|c| c.name.clone()),
        radius_map: map.as_ref().map(|m| m.figures(ground)),
        cutters,
    };
    let verdict = depth_verdict(&tools, shop, &reach);
    (reach, Depth { verdict, tools })
}

/// Cutters tried at a time: parts of the work on one, such as sorting its nodes, keep one thread busy only.
const AT_A_TIME: usize = 4;

/// The shop's cutters and tools as they are tried, a few at a time.
struct Rack<'g> {
    ground: &'g Ground<'g>,
    shop: &'g Shop,
    sections: Vec<Sections>,
    bodies: Bodies,
    cutters: Vec<CutterReach>,
    tools: Vec<ToolDepth>,
    /// What the last cutter was judged by, and the spacing that was asked for.
    samples: Option<(f64, Arc<Groups>)>,
    /// What the smallest ball leaves that leaves anything.
    left_by: Option<Untouched>,
    /// Where the first cutter leaves more than the leave, or may.
    left_by_first: Option<Vec<Stays>>,
}

/// What of one cutter's tools must keep clear.
struct Sections {
    /// Of the holder at stickout zero, and of neck and shank however far the cutter stands out; `None` without a holder.
    any: Option<[Vec<Guarded>; 2]>,
    /// Of each tool.
    tools: Vec<(Tool, Vec<Guarded>)>,
}

impl Sections {
    fn of(shop: &Shop, cutter: &Cutter) -> Sections {
        let of_tool = |tool: &Tool| guarded(tool, cutter.radius(), &shop.limits);
        let part = |holder, stickout: f64, of_holder: bool| {
            let mut guards = of_tool(&cutter.tool(stickout, holder));
            guards.retain(|g| (g.part == Part::Holder) == of_holder);
            guards
        };
        let any = |holder| [part(holder, 0.0, true), part(holder, OUT, false)];
        let with_sections = |tool: Tool| {
            let guards = of_tool(&tool);
            (tool, guards)
        };
        let tools = shop.tools_of(cutter).into_iter();
        Sections {
            any: shop.holder_of(cutter).map(any),
            tools: tools.map(with_sections).collect(),
        }
    }

    fn guards(&self) -> impl Iterator<Item = &Guarded> {
        let of_tools = self.tools.iter().flat_map(|t| &t.1);
        self.any.iter().flatten().flatten().chain(of_tools)
    }
}

/// One cutter over the half, and its figures.
struct Tried<'g> {
    cutting: Cutting<'g>,
    reached: Reached,
    figures: CutterReach,
    tools: Vec<ToolDepth>,
}

impl<'g> Rack<'g> {
    fn of(ground: &'g Ground<'g>, shop: &'g Shop) -> Rack<'g> {
        let sections: Vec<Sections> = (shop.cutters.iter())
            .map(|c| Sections::of(shop, c))
            .collect();
        Rack {
            ground,
            shop,
            bodies: Bodies::of(ground, sections.iter().flat_map(Sections::guards)),
            sections,
            cutters: Vec::new(),
            tools: Vec::new(),
            samples: None,
            left_by: None,
            left_by_first: None,
        }
    }

    /// Tries the next cutters and their tools: `few` at the most, or to the end of the rack.
    fn try_next(&mut self, few: usize, mut evidence: Option<&mut HalfEvidence>) {
        let from = self.cutters.len();
        let cutters = &self.shop.cutters[from..(from + few).min(self.shop.cutters.len())];
        let samples: Vec<Arc<Groups>> = (cutters.iter())
            .map(|c| self.ground.samples_for(c.radius(), &mut self.samples))
            .collect();
        let tried: Vec<Option<Tried>> = (cutters.par_iter().zip(samples).enumerate())
            .map(|(k, (cutter, samples))| self.tried(cutter, &self.sections[from + k], samples))
            .collect();
        for (cutter, tried) in cutters.iter().zip(tried) {
            match tried {
                Some(tried) => self.keep(cutter, tried, evidence.as_deref_mut()),
                None => self.cutters.push(unknown_reach(cutter)),
            }
        }
    }

    /// One cutter and its tools.
    fn tried(
        &self,
        cutter: &Cutter,
        sections: &Sections,
        samples: Arc<Groups>,
    ) -> Option<Tried<'g>> {
        let (ground, bodies, leave) = (self.ground, &self.bodies, self.shop.limits.leave);
        let mut cutting = ground.cutting(cutter.radius(), cutter.corner_radius)?;
        let reached = ground.reach(&mut cutting, leave, samples);
        let mut figures = unknown_reach(cutter);
        fill_reach(&mut figures, ground, &reached, leave);
        let needed = (sections.any.as_ref()).map_or(Needed::Nothing, |guards| {
            stickout_needed(ground, &cutting, &reached, guards, bodies, leave)
        });
        if let Needed::Stickout(needed, pm, _) = needed {
            figures.stickout_needed_mm = Some(needed);
            figures.stickout_needed_mm_pm = Some(pm);
        }
        let tip = match sections.tools[..] {
            [] => None,
            _ => deepest_tip(ground, &cutting, &[], bodies, None),
        };
        let alone = Alone {
            cutting: &cutting,
            reached: &reached,
            tip,
        };
        let depth = |(tool, guards): &(Tool, Vec<Guarded>)| {
            let found = deepest(ground, &alone, guards, bodies, leave);
            tool_depth(ground, tool, found.held_to(tool.stickout, needed))
        };
        let tools = sections.tools.iter().map(depth).collect();
        Some(Tried {
            cutting,
            reached,
            figures,
            tools,
        })
    }

    fn keep(&mut self, cutter: &Cutter, tried: Tried, evidence: Option<&mut HalfEvidence>) {
        let (ground, limits) = (self.ground, &self.shop.limits);
        if self.cutters.is_empty() {
            self.left_by_first = Some(left_by_first(&tried.reached, limits.leave));
        }
        if let Some(kept) = evidence {
            let holder = self.sections[self.cutters.len()]
                .any
                .as_ref()
                .map(|a| &a[0]);
            let stickout = |n: &Nearest| {
                let tip = n.centre.z - cutter.corner_radius;
                let touches = n.left <= limits.leave;
                let at = [n.centre.x, n.centre.y];
                holder
                    .filter(|_| touches)
                    .map(|h| self.bodies.most_stickout(h, at, tip))
            };
            kept.add(ground, &tried.cutting, &tried.reached, cutter, stickout);
        }
        self.keep_untouched(cutter, &tried.reached);
        self.cutters.push(tried.figures);
        self.tools.extend(tried.tools);
    }

    fn keep_untouched(&mut self, cutter: &Cutter, reached: &Reached) {
        let radius = cutter.radius();
        let known = |l: &Untouched| radius >= l.radius;
        if cutter.kind() != CutterKind::Ball || self.left_by.as_ref().is_some_and(known) {
            return;
        }
        let samples: Vec<_> = reached.untouched().collect();
        if !samples.is_empty() {
            // of samples that others were judged by, each may be the one that decides
            let all = reached.groups.shared();
            let by_nodes = all.then(|| untouched(self.ground, radius, &reached.groups.samples));
            self.left_by = by_nodes.flatten().or(Some(Untouched { radius, samples }));
        }
    }
}

/// The smallest concave radius, its ± and its place, given what the smallest ball leaves that leaves anything, and the
/// largest ball's radius.
fn concave_radius(
    ground: &Ground,
    left_by: Option<Untouched>,
    largest_ball: Option<f64>,
) -> Option<(f64, f64, Point)> {
    if let Some(sharp) = ground.sharp.first() {
        return Some((0.0, 0.0, sharp.at));
    }
    let (lo, hi) = ground.plan()?;
    let most = 2.0 * (hi[0] - lo[0]).hypot(hi[1] - lo[1]);
    // where no ball leaves anything, on from the largest
    let none = || Untouched {
        radius: largest_ball.unwrap_or(most / 64.0),
        samples: Vec::new(),
    };
    let first = left_by.unwrap_or_else(none);
    smallest_radius(ground, first, most).map(|r| (r.radius, r.pm, r.at))
}
