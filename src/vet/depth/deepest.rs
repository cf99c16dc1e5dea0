//! The deepest that a tool gets, and the share of what its cutter reaches alone that it reaches.

use super::{Bodies, Guarded, Needed, blocker, held_up, tip_depth_at, tip_height};
use crate::field::{Nearest, Profile};
use crate::mesh::Point;
use crate::report::{Blocker, HollowKind};
use crate::shop::Part;
use crate::vet::cutting::{Cutting, TOUCH};
use crate::vet::halving::lowest;
use crate::vet::held::sinking;
use crate::vet::reach::{Ground, Reached};
use rayon::prelude::*;

/// The deepest that a tip gets.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DeepestTip {
    /// Depth below the parting level, mm.
    pub depth: f64,
    /// Its ±, mm.
    pub pm: f64,
    /// Where the tip stands, tool frame.
    pub at: Point,
}

/// A cutter over the half without neck, shank and holder.
pub struct Alone<'a> {
    /// Where it can be.
    pub cutting: &'a Cutting<'a>,
    /// What it touches.
    pub reached: &'a Reached,
    /// How deep it gets.
    pub tip: Option<DeepestTip>,
}

/// How deep one tool gets.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Deepest {
    /// Its deepest tip.
    pub tip: Option<DeepestTip>,
    /// Share by area of what the cutter alone reaches, and its ±.
    pub share: Option<(f64, f64)>,
    /// What touches first at the deepest place that it falls short of.
    pub blocked: Option<(Blocker, Point)>,
}

impl Deepest {
    /// The same held to what is `needed` to reach all, for a tool with that much `stickout`: the maps of sections that tell what
    /// blocks it leave a band open along each wall, and no such band lies in the way of the exact answer.
    pub fn held_to(self, stickout: f64, needed: Needed) -> Deepest {
        match needed {
            Needed::Stickout(least, pm, _) if stickout >= least + pm => Deepest {
                share: self.share.map(|_| (1.0, 0.0)),
                blocked: None,
                ..self
            },
            Needed::Stickout(least, pm, at) if stickout < least - pm => Deepest {
                blocked: self.blocked.or(Some((Blocker::Holder, at))),
                ..self
            },
            Needed::Never(by, at) => Deepest {
                blocked: self.blocked.or(Some((by, at))),
                ..self
            },
            _ => self,
        }
    }
}

/// Judges one tool, given its cutter alone.
pub fn deepest(
    ground: &Ground,
    alone: &Alone,
    guards: &[Guarded],
    bodies: &Bodies,
    leave: f64,
) -> Deepest {
    let Alone {
        cutting,
        reached,
        tip,
    } = *alone;
    let tip_of = |n: &Nearest| n.centre.z - cutting.profile.tip_below();
    // what keeps the tool from a sample that its cutter touches
    let judged: Vec<(f64, f64, Option<Part>)> = reached
        .groups
        .samples
        .par_iter()
        .zip(&reached.nearest)
        .map(|(s, n)| {
            if n.left > leave {
                return (0.0, 0.0, None);
            }
            let (open, blocked) = bodies.in_the_way(guards, [n.centre.x, n.centre.y], tip_of(n));
            (s.area, if open { s.area } else { 0.0 }, blocked)
        })
        .collect();
    let total: f64 = judged.iter().map(|j| j.0).sum();
    let got: f64 = judged.iter().filter(|j| j.2.is_none()).map(|j| j.0).sum();
    let open: f64 = judged.iter().map(|j| j.1).sum();
    let share = (total > 0.0).then(|| (got / total, 0.5 * open / total));
    let blocked = reached
        .groups
        .samples
        .iter()
        .zip(&judged)
        .filter_map(|(s, j)| j.2.map(|part| (blocker(part), s.at)))
        .min_by(|a, b| a.1.z.total_cmp(&b.1.z));
    Deepest {
        tip: deepest_tip(ground, cutting, guards, bodies, tip),
        share,
        blocked,
    }
}

/// How deep a tool's tip gets over the cavity; `alone` is how deep that of its cutter gets: no section lets it down farther.
pub fn deepest_tip(
    ground: &Ground,
    cutting: &Cutting,
    guards: &[Guarded],
    bodies: &Bodies,
    alone: Option<DeepestTip>,
) -> Option<DeepestTip> {
    if let Some(DeepestTip { depth, at, .. }) = alone {
        let dropper = &ground.contacts.dropper;
        let held = held_up(dropper, Some(-depth), guards, [at.x, at.y], -depth);
        if held.is_some_and(|(_, by)| by.is_none()) {
            return alone;
        }
    }
    let sounding = Sounding {
        ground,
        cutting,
        guards,
        bodies,
    };
    sounding.deepest()
}

/// The last step in plan of the search for the deepest place, mm.
const LAST_STEP: f64 = 5e-5;
/// What that may miss of the height, mm: a ball that only just does not fall between rims rises with a slope of 20 from its lowest
/// place when they let it down by all but 0.1 % of its radius; what its facets' chord error does there is more.
const SEARCHED: f64 = 2e-3;
/// Eights of nodes that are tried exactly among those of 256 squares.
const MOST_TRIED: usize = 64;

/// A place in plan, mm, and the tip's depth below the parting level there, mm.
#[derive(Debug, Clone, Copy)]
struct Tip {
    depth: f64,
    x: f64,
    y: f64,
}

/// A place on the surface that a section of the tool touched.
struct Stop {
    touched: Point,
    /// The section, as it is lowered onto the mesh.
    inner: Profile,
    /// Height of its reference above the tip.
    above_tip: f64,
}

impl Stop {
    fn of(guard: &Guarded, touched: Point) -> Option<Stop> {
        let (inner, lift) = guard.profile.inset(TOUCH)?;
        Some(Stop {
            touched,
            inner,
            above_tip: guard.above_tip + lift,
        })
    }

    /// Whether the section, at the node, meets the same place before the tip is deeper than `than`.
    fn keeps(&self, node: &Tip, than: f64) -> bool {
        let aside = (self.touched.x - node.x).hypot(self.touched.y - node.y);
        let rise = self.inner.rise(aside);
        rise.is_some_and(|rise| self.touched.z + rise - self.above_tip >= -than)
    }
}

/// One tool looked for its deepest place.
struct Sounding<'a> {
    ground: &'a Ground<'a>,
    cutting: &'a Cutting<'a>,
    guards: &'a [Guarded],
    bodies: &'a Bodies,
}

impl Sounding<'_> {
    /// The deepest tip over the cavity: nodes in the order of how deep they could be, exact until none left could be deeper or enough
    /// were tried, then moved between the nodes.
    fn deepest(&self) -> Option<DeepestTip> {
        let (node, untried) = self.deepest_node()?;
        let Tip { depth, x, y } = self.moved(node);
        let (ground, cutting) = (self.ground, self.cutting);
        let centre = Point::new(x, y, self.corner() - depth);
        let (dropper, cutter) = (&ground.contacts.dropper, cutting.profile);
        let pm = match tip_depth_at(dropper, cutter, self.guards, x, y) {
            Some((_, None)) if cutting.is_ball() => sinking(ground, cutting, &centre),
            _ => 2.0 * ground.surface.chord_error(ground.survey),
        };
        let pm = pm + SEARCHED + (untried - depth).max(0.0);
        let at = Point::new(x, y, -depth);
        (depth > 0.0).then_some(DeepestTip { depth, pm, at })
    }

    /// Height of the cutter's centre above its tip.
    fn corner(&self) -> f64 {
        self.cutting.profile.tip_below()
    }

    fn over_cavity(&self, x: f64, y: f64) -> bool {
        let survey = self.ground.survey;
        let columns = survey.grid();
        columns.cell_at(x, y).is_some_and(|(i, j)| {
            survey
                .hollow_at(columns.index(i, j))
                .is_some_and(|h| survey.hollows[h].kind == HollowKind::Cavity)
        })
    }

    /// How deep the tip gets at a place if it is deeper than `than`, else any depth that is not, and the section that keeps it from
    /// there with what it touches; minus infinity where it may not go.
    fn exact(&self, x: f64, y: f64, than: f64) -> (Tip, Option<Stop>) {
        let depth = |depth: f64| (Tip { depth, x, y }, None);
        if !self.over_cavity(x, y) {
            return depth(f64::NEG_INFINITY);
        }
        let dropper = &self.ground.contacts.dropper;
        let Some(alone) = tip_height(dropper, self.cutting.profile, [x, y], -than) else {
            return depth(f64::NEG_INFINITY);
        };
        if alone >= -than {
            return depth(-alone);
        }
        // sections that the maps show to be clear need no exact answer
        let close: Vec<Guarded> = self
            .guards
            .iter()
            .filter(|g| self.bodies.around(g.profile, [x, y])[1] - g.above_tip > alone)
            .copied()
            .collect();
        match held_up(dropper, Some(alone), &close, [x, y], -than) {
            Some((tip, Some((guard, touched)))) => {
                (Tip { depth: -tip, x, y }, Stop::of(&guard, touched))
            }
            _ => depth(-alone),
        }
    }

    /// How deep the tip may get at a node.
    fn bound(&self, [i, j]: [usize; 2]) -> Option<Tip> {
        let grid = self.cutting.grid();
        let [x, y] = grid.centre(i, j);
        let lowest = self.cutting.places.lowest().get(grid.index(i, j))?;
        let above = |g: &Guarded| self.bodies.around(g.profile, [x, y])[0] - g.above_tip;
        let tip = self
            .guards
            .iter()
            .map(above)
            .fold(f64::from(lowest) - self.corner(), f64::max);
        let depth = -tip;
        (tip < 0.0 && self.over_cavity(x, y)).then_some(Tip { depth, x, y })
    }

    /// The node at which the tip gets deepest, and how deep it may get at those that were not tried.
    fn deepest_node(&self) -> Option<(Tip, f64)> {
        let mut best: Option<Tip> = None;
        let mut untried = f64::NEG_INFINITY;
        // what stopped it at one node stops it at many beside
        let mut stops: Vec<Stop> = Vec::new();
        let deeper = |depth: f64, best: Option<Tip>| best.is_none_or(|b| depth > b.depth + 1e-3);
        for squares in self.cutting.deep().chunks(256) {
            if !deeper(self.corner() - f64::from(squares[0].0), best) {
                break;
            }
            let mut nodes = self.nodes_of(squares).into_iter();
            for tried in 0.. {
                let than = best.map_or(f64::NEG_INFINITY, |b| b.depth);
                let open = |n: &Tip| !stops.iter().any(|s| s.keeps(n, than));
                let few: Vec<Tip> = nodes.by_ref().filter(open).take(8).collect();
                let Some(first) = few.first().filter(|n| deeper(n.depth, best)) else {
                    break;
                };
                if tried == MOST_TRIED {
                    untried = untried.max(first.depth);
                    break;
                }
                let exact = |n: &Tip| self.exact(n.x, n.y, than);
                let found: Vec<(Tip, Option<Stop>)> = few.par_iter().map(exact).collect();
                for (found, stop) in found {
                    if best.is_none_or(|b| found.depth > b.depth) {
                        best = Some(found);
                    }
                    stops.extend(stop);
                }
            }
        }
        best.map(|b| (b, untried))
    }

    /// The nodes of `squares` where the tip may go below the parting level, those where it may get deepest first.
    fn nodes_of(&self, squares: &[(f32, [usize; 2])]) -> Vec<Tip> {
        let mut nodes: Vec<Tip> = squares
            .par_iter()
            .flat_map_iter(|&(_, square)| {
                let nodes = self.cutting.places.nodes_of(square);
                nodes.filter_map(|node| self.bound(node))
            })
            .collect();
        nodes.par_sort_by(|a, b| {
            b.depth
                .total_cmp(&a.depth)
                .then(a.x.total_cmp(&b.x))
                .then(a.y.total_cmp(&b.y))
        });
        nodes
    }

    /// Moved in ever smaller steps to where it gets no deeper.
    fn moved(&self, start: Tip) -> Tip {
        let steps = [self.cutting.grid().cell.max(0.05), LAST_STEP];
        let tip = |[x, y]: [f64; 2], least: f64| -self.exact(x, y, -least).0.depth;
        let ([x, y], least) = lowest(([start.x, start.y], -start.depth), steps, tip);
        Tip {
            depth: -least,
            x,
            y,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_holder_touched_keeps_it_up_beside_too() {
        let holder = Profile::Cutter {
            radius: 10.0,
            corner_radius: 1.0,
        };
        let guard = Guarded {
            profile: holder,
            above_tip: 30.0,
            part: Part::Holder,
        };
        // a rim at the parting level touched 8 mm aside of the axis, by the flat of the holder's face: its corner is 1 mm above that
        let stop = Stop::of(&guard, Point::new(8.0, 0.0, 0.0)).unwrap();
        let node = |x: f64| Tip {
            depth: 40.0,
            x,
            y: 0.0,
        };
        let keeps = |x: f64, than: f64| stop.keeps(&node(x), than);
        // 29 mm deep the face meets it, all but the 0.1 µm that it may cut
        for x in [0.0, 8.0, 16.9] {
            assert!(keeps(x, 29.001) && !keeps(x, 28.999), "{x}");
        }
        // at the round of its corner it gets deeper, and past it does not meet it
        assert!(!keeps(17.8, 29.001) && keeps(17.8, 30.0) && !keeps(18.1, 35.0));
    }

    #[test]
    fn the_last_step_finds_the_bottom_of_a_steep_cone() {
        for k in 0..200 {
            let bottom = [0.013 * f64::from(k % 17), 0.007 * f64::from(k % 23)];
            let height = |[x, y]: [f64; 2]| 20.0 * (x - bottom[0]).hypot(y - bottom[1]);
            let start = ([0.1, 0.05], height([0.1, 0.05]));
            let (_, least) = lowest(start, [0.05, LAST_STEP], |at, _| height(at));
            assert!(least < SEARCHED, "{least} for {bottom:?}");
        }
    }

    #[test]
    fn what_the_maps_leave_open_is_told_by_the_stickout_needed() {
        let [holder, wall] = [Point::new(1.0, 2.0, -3.0), Point::new(4.0, 5.0, -6.0)];
        let clear = Deepest {
            tip: None,
            share: Some((0.98, 0.03)),
            blocked: None,
        };
        let seems = Deepest {
            blocked: Some((Blocker::Shank, wall)),
            ..clear
        };
        let needed = Needed::Stickout(20.0, 0.3, holder);
        for found in [clear, seems] {
            let long = found.held_to(20.3, needed);
            assert_eq!((long.share, long.blocked), (Some((1.0, 0.0)), None));
            // within the ± the maps speak
            assert_eq!(found.held_to(20.2, needed), found);
            assert_eq!(found.held_to(19.8, needed), found);
            assert_eq!(found.held_to(90.0, Needed::Nothing), found);
        }
        let by =
            |found: Deepest, stickout: f64, needed: Needed| found.held_to(stickout, needed).blocked;
        assert_eq!(by(clear, 19.6, needed), Some((Blocker::Holder, holder)));
        assert_eq!(by(seems, 19.6, needed), Some((Blocker::Shank, wall)));
        let never = Needed::Never(Blocker::Neck, holder);
        assert_eq!(by(clear, 90.0, never), Some((Blocker::Neck, holder)));
        assert_eq!(by(seems, 90.0, never), Some((Blocker::Shank, wall)));
    }
}
