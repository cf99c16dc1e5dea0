//! Depth: how deep each tool gets before neck, shank or holder touch.

use super::cutting::{Cutting, TOUCH};
use super::halving::lowest;
use super::held::sinking;
use super::reach::{Ground, Reached};
use crate::field::{Dropper, Grid, HeightMap, Nearest, Profile, disc_dilate};
use crate::mesh::Point;
use crate::report::{Blocker, HollowKind};
use crate::shop::{Limits, Part, Segment, Tool};
use rayon::prelude::*;

/// A section of a tool above its flutes, grown by its clearance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Guarded {
    /// Its lower side.
    pub(crate) profile: Profile,
    /// Height of the profile's reference point above the tip, mm.
    pub(crate) above_tip: f64,
    /// What it is part of.
    pub(crate) part: Part,
}

/// The sections of `tool` that must keep clear of the half, from the flutes up; `cutter_radius` mm. A neck or shank no thicker
/// than the cutter may lie along what the cutter has opened and is left out; anything thicker keeps its clearance.
pub fn guarded(tool: &Tool, cutter_radius: f64, limits: &Limits) -> Vec<Guarded> {
    tool.segments
        .iter()
        .filter_map(|s| guard(s, cutter_radius, limits))
        .collect()
}

fn guard(segment: &Segment, cutter_radius: f64, limits: &Limits) -> Option<Guarded> {
    let widest = segment.lower_radius.max(segment.upper_radius);
    let clearance = match segment.part {
        Part::Holder => limits.holder_clearance,
        Part::Neck | Part::Shank if widest <= cutter_radius + 1e-9 => return None,
        Part::Neck | Part::Shank => limits.shank_clearance,
    };
    let part = segment.part;
    if segment.upper_radius > segment.lower_radius && segment.to.is_finite() {
        // the cone through the grown ends: never closer than the clearance
        let profile = Profile::Cone {
            lower_radius: segment.lower_radius + clearance,
            upper_radius: segment.upper_radius + clearance,
            height: segment.to - segment.from,
        };
        return Some(Guarded {
            profile,
            above_tip: segment.from - clearance,
            part,
        });
    }
    // a cylinder grown by a ball is a bull-nose
    let profile = Profile::Cutter {
        radius: segment.lower_radius + clearance,
        corner_radius: clearance.min(segment.lower_radius + clearance),
    };
    Some(Guarded {
        profile,
        above_tip: segment.from,
        part,
    })
}

/// Depth of the tip below the parting level when the tool stands as low as it may at plan place (x, y) of the
/// tool frame, mm, negative above it, and what stops it, `None` for the cutter itself; `None` where nothing is under it. Exact for
/// the mesh, to 0.1 µm.
pub fn tip_depth_at(
    dropper: &Dropper,
    cutter: Profile,
    guarded: &[Guarded],
    x: f64,
    y: f64,
) -> Option<(f64, Option<Blocker>)> {
    let alone = tip_height(dropper, cutter, [x, y], f64::INFINITY);
    held_up(dropper, alone, guarded, [x, y], f64::INFINITY).map(|(tip, by)| (-tip, by))
}

/// Height of the cutter's tip when it stands as low as it may; where that is above `most`, any height above.
fn tip_height(dropper: &Dropper, cutter: Profile, at: [f64; 2], most: f64) -> Option<f64> {
    let any = [f64::NEG_INFINITY, most + cutter.tip_below()];
    lowest_reference(dropper, cutter, at, any).map(|z| z - cutter.tip_below())
}

/// Height of the tip, `alone` by the cutter, to which the sections raise it, and what does; where that is above `most`, any height
/// above.
fn held_up(
    dropper: &Dropper,
    alone: Option<f64>,
    guarded: &[Guarded],
    at: [f64; 2],
    most: f64,
) -> Option<(f64, Option<Blocker>)> {
    let mut lowest = alone.map(|tip| (tip, None));
    for g in guarded {
        let (tip, _) = lowest.unwrap_or((f64::NEG_INFINITY, None));
        if tip > most {
            break;
        }
        if let Some(z) =
            lowest_reference(dropper, g.profile, at, [tip, most].map(|z| z + g.above_tip))
        {
            lowest = Some((z - g.above_tip, Some(blocker(g.part))));
        }
    }
    lowest
}

/// Lowest height of the profile's reference if it is above the first of the two heights; no more is asked than whether it is above
/// the second.
fn lowest_reference(
    dropper: &Dropper,
    profile: Profile,
    at: [f64; 2],
    [floor, ceiling]: [f64; 2],
) -> Option<f64> {
    let (inner, lift) = profile.inset(TOUCH)?;
    let contact = dropper.highest(inner, at, floor + lift, ceiling + lift);
    contact.map(|c| c.z - lift)
}

fn blocker(part: Part) -> Blocker {
    match part {
        Part::Neck => Blocker::Neck,
        Part::Shank => Blocker::Shank,
        Part::Holder => Blocker::Holder,
    }
}

/// The lowest heights of tool sections over the cavity, drawn on grids, one a profile.
pub struct Bodies {
    maps: Vec<(Profile, [HeightMap; 2])>,
}

/// Nodes of one section's map, its margin included.
const MAP_NODES: f64 = 400_000.0;
/// Cylinders that stand for a cone on the maps.
const STEPS: usize = 8;
/// Stands for a sharp corner where a ball is drawn, mm.
const SHARP: f64 = 1e-3;

impl Bodies {
    /// Draws the maps of all sections in `guards`.
    pub fn of<'a>(ground: &Ground, guards: impl Iterator<Item = &'a Guarded>) -> Bodies {
        let mut profiles: Vec<Profile> = Vec::new();
        for g in guards {
            if !profiles.contains(&g.profile) {
                profiles.push(g.profile);
            }
        }
        let Some(plan) = ground.plan() else {
            return Bodies { maps: Vec::new() };
        };
        let map = |p: Profile| (p, Bodies::drawn(ground, plan, p));
        Bodies {
            maps: profiles.into_par_iter().map(map).collect(),
        }
    }

    /// The largest offset height of `profile` over its flat part about the rectangle in plan, once by the nodes within it and once
    /// by those within it and a cell more. The lowest height lies between the two.
    fn drawn(ground: &Ground, (lo, hi): ([f64; 2], [f64; 2]), profile: Profile) -> [HeightMap; 2] {
        let reach = profile.reach();
        let side = |k: usize| hi[k] - lo[k] + 2.0 * reach;
        let cell = (side(0) * side(1) / MAP_NODES).sqrt();
        let grid = Grid::covering(lo, hi, reach + 2.0 * cell, cell);
        let corner = profile.tip_below().max(SHARP);
        let mut base = ground.contacts.pieces.height_map(grid, corner);
        if profile.tip_below() < corner {
            base.values_mut()
                .iter_mut()
                .for_each(|z| *z -= (corner - profile.tip_below()) as f32);
        }
        match profile {
            Profile::Cutter {
                radius,
                corner_radius,
            } => {
                let flat = radius - corner_radius;
                [flat, flat + 0.71 * cell].map(|r| disc_dilate(&base, r))
            }
            Profile::Cone {
                lower_radius,
                upper_radius,
                height,
            } => {
                // the outer steps hold the cone, the inner ones lie in it
                let radius =
                    |k: f64| lower_radius + (upper_radius - lower_radius) * k / STEPS as f64;
                [0.0, 1.0].map(|outer| {
                    let mut map = HeightMap::empty(grid);
                    for k in 0..STEPS {
                        let disc =
                            disc_dilate(&base, radius(k as f64 + outer) + outer * 0.71 * cell);
                        let up = (height * k as f64 / STEPS as f64) as f32;
                        map.values_mut()
                            .iter_mut()
                            .zip(disc.values())
                            .for_each(|(z, d)| *z = z.max(d - up));
                    }
                    map
                })
            }
        }
    }

    /// Least and largest lowest height of the profile at the nodes around (x, y).
    fn around(&self, profile: Profile, x: f64, y: f64) -> [f64; 2] {
        let Some((_, [low, high])) = self.maps.iter().find(|m| m.0 == profile) else {
            return [f64::NEG_INFINITY, f64::INFINITY];
        };
        let grid = low.grid;
        let at = |v: f64, o: f64, n: usize| {
            (((v - o) / grid.cell - 0.5).floor().max(0.0) as usize).min(n.saturating_sub(2))
        };
        let (i, j) = (
            at(x, grid.origin[0], grid.nx),
            at(y, grid.origin[1], grid.ny),
        );
        let mut range = [f64::INFINITY, f64::NEG_INFINITY];
        for (di, dj) in [(0, 0), (1, 0), (0, 1), (1, 1)] {
            let k = grid.index((i + di).min(grid.nx - 1), (j + dj).min(grid.ny - 1));
            range = [
                range[0].min(f64::from(low.values()[k])),
                range[1].max(f64::from(high.values()[k])),
            ];
        }
        range
    }

    /// Whether the maps leave open that a section keeps a tip at height `tip` from place `at`, and the section that does so
    /// most, by the middle of what they show.
    fn in_the_way(&self, guards: &[Guarded], at: [f64; 2], tip: f64) -> (bool, Option<Part>) {
        let mut open = false;
        let mut blocked: Option<(f64, Part)> = None;
        for g in guards {
            let [lo, hi] = self.around(g.profile, at[0], at[1]);
            let have = tip + g.above_tip + 2.0 * TOUCH;
            open |= lo <= have && have < hi;
            let lacks = 0.5 * (lo + hi) - have;
            // above the nodes all round it is clear, below all of them it is not
            let short = lacks > 0.0;
            if short && blocked.is_none_or(|b| lacks > b.0) {
                blocked = Some((lacks, g.part));
            }
        }
        (open, blocked.map(|b| b.1))
    }
}

/// How deep one tool gets.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Deepest {
    /// Deepest tip position, mm below the parting level, its ± and its place.
    pub depth: Option<(f64, f64, Point)>,
    /// Share by area of what the cutter alone reaches, and its ±.
    pub share: Option<(f64, f64)>,
    /// What touches first at the deepest place that it falls short of.
    pub blocked: Option<(Blocker, Point)>,
}

/// Judges one tool, given what its cutter alone reaches.
pub fn deepest(
    ground: &Ground,
    cutting: &Cutting,
    reached: &Reached,
    guards: &[Guarded],
    bodies: &Bodies,
    leave: f64,
) -> Deepest {
    let tip = |n: &Nearest| n.centre.z - cutting.profile.tip_below();
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
            let (open, blocked) = bodies.in_the_way(guards, [n.centre.x, n.centre.y], tip(n));
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
    let sounding = Sounding {
        ground,
        cutting,
        guards,
        bodies,
    };
    Deepest {
        depth: sounding.deepest(),
        share,
        blocked,
    }
}

/// What the last step of the search for the deepest place may miss, mm.
const SEARCHED: f64 = 2e-3;
/// Eights of nodes that are tried exactly among those of 256 squares.
const MOST_TRIED: usize = 8;

/// A place in plan, mm, and the tip's depth below the parting level there, mm.
#[derive(Debug, Clone, Copy)]
struct Tip {
    depth: f64,
    x: f64,
    y: f64,
}

/// One tool looked for its deepest place.
struct Sounding<'a> {
    ground: &'a Ground<'a>,
    cutting: &'a Cutting<'a>,
    guards: &'a [Guarded],
    bodies: &'a Bodies,
}

impl Sounding<'_> {
    /// The deepest tip over the cavity: nodes in the order of how deep they could be, exact until none left could be
    /// deeper, then moved between the nodes.
    fn deepest(&self) -> Option<(f64, f64, Point)> {
        let Tip { depth, x, y } = self.moved(self.deepest_node()?);
        let (ground, cutting) = (self.ground, self.cutting);
        let centre = Point::new(x, y, self.corner() - depth);
        let (dropper, cutter) = (&ground.contacts.dropper, cutting.profile);
        let pm = match tip_depth_at(dropper, cutter, self.guards, x, y) {
            Some((_, None)) if cutting.is_ball() => sinking(ground, cutting, &centre),
            _ => 2.0 * ground.surface.chord_error(ground.survey),
        };
        (depth > 0.0).then(|| (depth, pm + SEARCHED, Point::new(x, y, -depth)))
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

    /// How deep the tip gets at a place if it is deeper than `than`, else any depth that is not; minus infinity where it may not go.
    fn exact(&self, x: f64, y: f64, than: f64) -> Tip {
        let depth = |depth: f64| Tip { depth, x, y };
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
            .filter(|g| self.bodies.around(g.profile, x, y)[1] - g.above_tip > alone)
            .copied()
            .collect();
        let tip = held_up(dropper, Some(alone), &close, [x, y], -than);
        depth(-tip.map_or(alone, |t| t.0))
    }

    /// How deep the tip may get at a node.
    fn bound(&self, [i, j]: [usize; 2]) -> Option<Tip> {
        let grid = self.cutting.grid();
        let [x, y] = grid.centre(i, j);
        let lowest = self.cutting.places.lowest().get(grid.index(i, j))?;
        let above = |g: &Guarded| self.bodies.around(g.profile, x, y)[0] - g.above_tip;
        let tip = self
            .guards
            .iter()
            .map(above)
            .fold(f64::from(lowest) - self.corner(), f64::max);
        let depth = -tip;
        (tip < 0.0 && self.over_cavity(x, y)).then_some(Tip { depth, x, y })
    }

    /// The node at which the tip gets deepest.
    fn deepest_node(&self) -> Option<Tip> {
        let mut best: Option<Tip> = None;
        let deeper = |depth: f64, best: Option<Tip>| best.is_none_or(|b| depth > b.depth + 1e-3);
        for squares in self.cutting.deep().chunks(256) {
            if !deeper(self.corner() - f64::from(squares[0].0), best) {
                break;
            }
            let nodes = self.nodes_of(squares);
            for few in nodes.chunks(8).take(MOST_TRIED) {
                if !deeper(few[0].depth, best) {
                    break;
                }
                let than = best.map_or(f64::NEG_INFINITY, |b| b.depth);
                let exact = |n: &Tip| self.exact(n.x, n.y, than);
                let found: Vec<Tip> = few.par_iter().map(exact).collect();
                for f in found {
                    if best.is_none_or(|b| f.depth > b.depth) {
                        best = Some(f);
                    }
                }
            }
        }
        best
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
        let steps = [self.cutting.grid().cell.max(0.05), 1e-3];
        let tip = |[x, y]: [f64; 2], least: f64| -self.exact(x, y, -least).depth;
        let ([x, y], least) = lowest(([start.x, start.y], -start.depth), steps, tip);
        Tip {
            depth: -least,
            x,
            y,
        }
    }
}

/// Places that are tried exactly for the stickout needed, at one time and in all.
const PLACES_AT_A_TIME: usize = 32;
const MOST_PLACES: usize = 24 * PLACES_AT_A_TIME;

/// Least stickout that reaches all that the cutter alone reaches, and its ±, mm: the largest height of the holder's reference over the
/// tip at any centre from which the cutter touches. The sections are the holder's at stickout zero, where its reference is at the tip,
/// and those of neck and shank however far the cutter stands out. `None` where the cutter touches nothing, and where neck or shank is
/// in the way at any stickout.
pub fn stickout_needed(
    ground: &Ground,
    cutting: &Cutting,
    reached: &Reached,
    [holder, below]: &[Vec<Guarded>; 2],
    bodies: &Bodies,
    leave: f64,
) -> Option<(f64, f64)> {
    let dropper = &ground.contacts.dropper;
    let touching: Vec<(f64, &Point)> = (reached.nearest.iter())
        .filter(|n| n.left <= leave)
        .map(|n| (n.centre.z - cutting.profile.tip_below(), &n.centre))
        .collect();
    if touching
        .par_iter()
        .any(|t| stopped(dropper, bodies, below, t))
    {
        return None;
    }
    let most = |&(tip, c): &(f64, &Point)| {
        let need = |g: &Guarded| bodies.around(g.profile, c.x, c.y)[1] - tip - g.above_tip;
        holder.iter().map(need).fold(0.0, f64::max)
    };
    let mut bounds: Vec<(f64, usize)> = (touching.par_iter().enumerate())
        .map(|(k, t)| (most(t), k))
        .collect();
    bounds.par_sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    // what a place needs if that is more than is `known` to be needed
    let exact = |&(_, k): &(f64, usize), known: f64| {
        let (tip, c) = touching[k];
        let need = |g: &Guarded| {
            let more = [known + tip + g.above_tip, f64::INFINITY];
            let z = lowest_reference(dropper, g.profile, [c.x, c.y], more)?;
            Some(z - tip - g.above_tip)
        };
        holder.iter().filter_map(need).fold(0.0, f64::max)
    };
    let (mut needed, mut untried) = (0.0, 0.0);
    for (k, chunk) in bounds.chunks(PLACES_AT_A_TIME).enumerate() {
        let bound = chunk[0].0;
        if k > 0 && bound <= needed + 0.02 {
            break;
        }
        if k * PLACES_AT_A_TIME >= MOST_PLACES {
            untried = bound - needed;
            break;
        }
        let exact = |place: &(f64, usize)| exact(place, needed);
        let most = chunk.par_iter().map(exact).reduce(|| 0.0, f64::max);
        needed = f64::max(needed, most);
    }
    // samples lie an eighth of the radius apart: between them a slope may lie that much deeper
    let chord = ground.surface.chord_error(ground.survey);
    let pm = (0.125 * cutting.radius() + 2.0 * chord + 0.02).max(untried);
    (!bounds.is_empty()).then_some((needed, pm))
}

/// Whether one of `guards`, at a height over the tip that no stickout changes, keeps the cutter from where it touches: height of its
/// tip, and its centre.
fn stopped(
    dropper: &Dropper,
    bodies: &Bodies,
    guards: &[Guarded],
    &(tip, c): &(f64, &Point),
) -> bool {
    guards.iter().any(|g| {
        let have = tip + g.above_tip + 2.0 * TOUCH;
        let exact = || lowest_reference(dropper, g.profile, [c.x, c.y], [have; 2]).is_some();
        bodies.around(g.profile, c.x, c.y)[1] > have && exact()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const HOLDER: Profile = Profile::Cutter {
        radius: 12.0,
        corner_radius: 1.0,
    };
    const SHANK: Profile = Profile::Cutter {
        radius: 4.0,
        corner_radius: 0.2,
    };

    fn map(value: impl Fn(usize) -> f32) -> HeightMap {
        let grid = Grid {
            origin: [10.0, -5.0],
            cell: 0.5,
            nx: 5,
            ny: 4,
        };
        HeightMap::from_values(grid, (0..grid.len()).map(value).collect())
    }

    #[test]
    fn what_the_maps_show_is_the_least_and_the_most_of_the_nodes_around() {
        // heights in no order
        let low = map(|k| (7 * k % 20) as f32);
        let high = map(|k| 100.0 + (11 * k % 20) as f32);
        let grid = low.grid;
        let bodies = Bodies {
            maps: vec![(HOLDER, [low.clone(), high.clone()])],
        };
        for k in 0..16 * 12 {
            // places off the lines of nodes, from the first of these to the last
            let (x, y) = (0.05 + 0.12 * (k % 16) as f64, 0.07 + 0.11 * (k / 16) as f64);
            let (x, y) = (grid.x(0) + x, grid.y(0) + y);
            let near = |n: &usize| {
                let [u, v] = grid.centre(n % grid.nx, n / grid.nx);
                (u - x).abs() < grid.cell && (v - y).abs() < grid.cell
            };
            let around: Vec<usize> = (0..grid.len()).filter(near).collect();
            assert_eq!(around.len(), 4);
            let least = around.iter().map(|&n| low.values()[n]);
            let most = around.iter().map(|&n| high.values()[n]);
            let expected = [
                least.fold(f32::INFINITY, f32::min),
                most.fold(f32::NEG_INFINITY, f32::max),
            ];
            assert_eq!(bodies.around(HOLDER, x, y), expected.map(f64::from));
        }
        // beyond the map by its border, and of a section that was not drawn nothing
        let corner = |k: usize| [f64::from(low.values()[k]), f64::from(high.values()[k])];
        let [[l0, h0], [l1, h1]] = [corner(0), corner(1)];
        let [[l2, h2], [l3, h3]] = [corner(grid.nx), corner(grid.nx + 1)];
        let expected = [l0.min(l1).min(l2).min(l3), h0.max(h1).max(h2).max(h3)];
        assert_eq!(bodies.around(HOLDER, 0.0, -50.0), expected);
        assert_eq!(
            bodies.around(SHANK, 11.0, -4.0),
            [f64::NEG_INFINITY, f64::INFINITY]
        );
    }

    #[test]
    fn what_is_most_in_the_way_is_told_and_what_the_maps_leave_open() {
        let level = |low: f32, high: f32| [map(|_| low), map(|_| high)];
        let bodies = Bodies {
            maps: vec![(HOLDER, level(4.0, 6.0)), (SHANK, level(1.0, 1.0))],
        };
        let guard = |profile, above_tip, part| Guarded {
            profile,
            above_tip,
            part,
        };
        let guards = [
            guard(HOLDER, 9.0, Part::Holder),
            guard(SHANK, 5.0, Part::Shank),
        ];
        let told = |tip: f64| bodies.in_the_way(&guards, [11.0, -4.0], tip);
        // the holder's reference 9 above the tip may go down to 4 or to 6, the shank's 5 above it to 1
        assert_eq!(told(-2.9), (false, None));
        assert_eq!(told(-3.1), (true, None));
        assert_eq!(told(-3.9), (true, None));
        // below what it may go down to nothing is open
        assert!(!told(-5.1).0);
        // of two that are in the way the one that lacks more is told: 0.2 and 0.1
        let first = [guard(HOLDER, 8.9, Part::Holder), guards[1]];
        let second = [guards[0], guard(SHANK, 4.9, Part::Shank)];
        let told = |guards: &[Guarded]| bodies.in_the_way(guards, [11.0, -4.0], -4.1);
        assert_eq!(told(&first), (true, Some(Part::Holder)));
        assert_eq!(told(&second), (true, Some(Part::Shank)));
        let alone = bodies.in_the_way(&guards[1..], [11.0, -4.0], -3.9);
        assert_eq!(alone, (false, None));
    }
}
