//! Which cutters to take: the rack as the set search sees it, and what changes of rack, leave and design are worth.

use super::TIME_RANGE;
use super::curve::Form;
use super::known::Known;
use super::places::Place;
use super::set::{Candidate, Found, Group, Rack};
use super::stickout::connected;
use crate::mesh::Mesh;
use crate::report::plan::{CutterWorth, FilletSaving, LeaveSaving, SetPlan, SetTool};
use crate::shop::{CutterKind, Shop};
use crate::vet::reach::Ground;
use std::collections::BTreeMap;

/// Sets that are shown.
const SETS: usize = 3;
/// Leaves that are tried, times the one asked for.
const LEAVES: [f64; 2] = [2.0, 5.0];
/// Fillets that are tried, and shown.
const FILLETS: usize = 5;
/// A change that saves less is not worth asking for, min.
const WORTH: f64 = 0.05;
/// Most tools that the search takes.
const MOST_TOOLS: usize = 128;

/// What stands ready for choosing.
pub struct Work<'a> {
    /// The shop.
    pub shop: &'a Shop,
    /// The half's mesh.
    pub mesh: &'a Mesh,
    /// The form of its surface.
    pub form: &'a Form,
    /// Places of the cavity.
    pub places: &'a [Place],
    /// The rack's cutters.
    pub known: &'a [Known],
    /// Visible cavity space, mm³.
    pub volume: f64,
}

/// The choice for one leave.
pub struct Job {
    /// Tools, thickest first: number in `known`, number of its stickout.
    tools: Vec<(usize, usize)>,
    rack: Rack,
    /// What can do each place.
    able: Vec<u128>,
    found: Found,
    /// Area that nothing does within the leave, mm².
    pub unfinished: f64,
}

/// What is shown of the choice.
pub struct Chosen {
    /// The best sets.
    pub sets: Vec<SetPlan>,
    /// Whether no better one can be.
    pub exact: bool,
    /// What each cutter is worth.
    pub worth: Vec<CutterWorth>,
    /// What leaving more saves.
    pub leave: Vec<LeaveSaving>,
    /// What larger fillets save.
    pub fillets: Vec<FilletSaving>,
}

impl Job {
    /// The best sets that leave no more than `leave`, or where nothing does, about as little as the whole rack.
    pub fn of(work: &Work, leave: f64) -> Job {
        Job::kept(work, leave, SETS)
    }

    /// As [`Job::of`], with `keep` sets.
    fn kept(work: &Work, leave: f64, keep: usize) -> Job {
        let mut tools = tools(work);
        let (mut able, unfinished) = able(work, &tools, leave);
        drop_longer(work, &mut tools, &mut able);
        Job::with(work, tools, able, unfinished, keep)
    }

    fn with(
        work: &Work,
        tools: Vec<(usize, usize)>,
        able: Vec<u128>,
        unfinished: f64,
        keep: usize,
    ) -> Job {
        let rack = rack(work, &tools, &able);
        let found = rack.best(keep, u128::MAX);
        Job {
            tools,
            rack,
            able,
            found,
            unfinished,
        }
    }

    fn least(&self) -> Option<f64> {
        self.found.sets.first().map(|s| s.minutes)
    }

    /// The ball, by its number in `known`, that finishes most in the best set.
    pub fn finisher(&self, work: &Work) -> Option<usize> {
        let set = &self.found.sets.first()?.tools;
        let (parts, _) = self.rack.parts(set)?;
        set.iter()
            .zip(&parts)
            .map(|(&t, part)| (self.tools[t].0, part.area))
            .filter(|(k, _)| work.known[*k].ways.is_some())
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .map(|f| f.0)
    }

    /// The sets, and what changes are worth.
    pub fn choose(&self, work: &Work, ground: &Ground) -> Chosen {
        let sets = self.found.sets.iter().filter_map(|set| {
            let (parts, minutes) = self.rack.parts(&set.tools)?;
            let tools = set.tools.iter().zip(parts).map(|(&t, part)| {
                let (k, a) = self.tools[t];
                SetTool {
                    cutter: name(work, k),
                    stickout_mm: work.known[k].at[a].stickout,
                    roughing_min: part.roughing,
                    finishing_min: part.finishing,
                    area_mm2: part.area,
                    only_area_mm2: part.only_area,
                }
            });
            Some(SetPlan {
                time_min: minutes,
                time_most_min: TIME_RANGE * minutes,
                tools: tools.collect(),
            })
        });
        Chosen {
            sets: sets.collect(),
            exact: self.found.exact,
            worth: self.worth(work),
            leave: self.leave_savings(work),
            fillets: self.fillet_savings(work, ground),
        }
    }

    fn worth(&self, work: &Work) -> Vec<CutterWorth> {
        let tools_of = |k: usize| {
            let mut bits = 0u128;
            for (t, tool) in self.tools.iter().enumerate() {
                if tool.0 == k {
                    bits |= 1 << t;
                }
            }
            bits
        };
        let used = |bits: u128| {
            let best = self.found.sets.first();
            best.is_some_and(|s| s.tools.iter().any(|&t| bits >> t & 1 == 1))
        };
        (0..work.known.len())
            .map(|k| {
                let bits = tools_of(k);
                let saves = if used(bits) {
                    let without = self.rack.best(1, !bits).sets.first().map(|s| s.minutes);
                    // where not every set was tried, the one without it may be the better: then it saves nothing
                    without.zip(self.least()).map(|(w, b)| (w - b).max(0.0))
                } else {
                    Some(0.0)
                };
                let only = work.places.iter().zip(&self.able);
                CutterWorth {
                    cutter: name(work, k),
                    only_area_mm2: only
                        .filter(|(_, able)| **able != 0 && **able & !bits == 0)
                        .map(|(p, _)| p.area)
                        .sum(),
                    saves_min: saves,
                }
            })
            .collect()
    }

    fn leave_savings(&self, work: &Work) -> Vec<LeaveSaving> {
        let of = |times: f64| {
            let leave = times * work.shop.limits.leave;
            let job = Job::kept(work, leave, 1);
            let saves = self.least()? - job.least()?;
            let set = job.found.sets.first()?;
            (saves >= WORTH).then(|| LeaveSaving {
                leave_mm: leave,
                saves_min: saves,
                cutters: set
                    .tools
                    .iter()
                    .map(|&t| name(work, job.tools[t].0))
                    .collect(),
            })
        };
        LEAVES.into_iter().filter_map(of).collect()
    }

    /// For each ball of the best set but the thickest: the connected places that it has to do because thicker ones do
    /// not fit, as if their fillets were as large as the next thicker ball of the set.
    fn fillet_savings(&self, work: &Work, ground: &Ground) -> Vec<FilletSaving> {
        let Some(set) = self.found.sets.first() else {
            return Vec::new();
        };
        let radius = |t: usize| work.shop.cutters[work.known[self.tools[t].0].index].radius();
        let is_ball = |t: usize| work.known[self.tools[t].0].ways.is_some();
        let mut tried: Vec<(f64, Vec<Vec<usize>>)> = Vec::new();
        for (n, &t) in set.tools.iter().enumerate().skip(1) {
            let thicker = set.tools[..n]
                .iter()
                .filter(|&&o| is_ball(o) && radius(o) > radius(t));
            let Some(to) = thicker.map(|&o| radius(o)).min_by(f64::total_cmp) else {
                continue;
            };
            let before: u128 = set.tools[..n].iter().map(|&o| 1u128 << o).sum();
            let own = |k: usize| self.able[k] & before == 0 && self.able[k] >> t & 1 == 1;
            // only what a thicker ball's radius keeps it from: not its stickout
            let tight = |k: usize| {
                own(k) && work.form.tightest(work.places[k].triangle as usize) * to > 1.0
            };
            let mut regions = connected(work.mesh, work.places, own);
            regions.retain(|r| r.iter().any(|&k| tight(k)));
            self.give_sharp(work, &mut regions, own);
            if !regions.is_empty() {
                tried.push((to, regions));
            }
        }
        let mut savings = Vec::new();
        for (to, mut regions) in tried {
            let count = regions.len();
            let minutes = |r: &Vec<usize>| -> f64 { r.iter().map(|&k| work.places[k].area).sum() };
            regions.sort_by(|a, b| minutes(b).total_cmp(&minutes(a)).then(a[0].cmp(&b[0])));
            let all = regions.concat();
            for region in regions.iter().take(FILLETS) {
                savings.extend(self.fillet(work, ground, region, to, 1));
            }
            if count > 1 {
                savings.extend(self.fillet(work, ground, &all, to, count));
            }
        }
        savings.sort_by(|a, b| {
            b.saves_min
                .total_cmp(&a.saves_min)
                .then(a.count.cmp(&b.count))
        });
        savings.truncate(FILLETS);
        savings
    }

    /// Gives places on sharp edges to the region nearest to them; those far from all become one of their own.
    fn give_sharp(&self, work: &Work, regions: &mut Vec<Vec<usize>>, own: impl Fn(usize) -> bool) {
        let sharp: Vec<usize> = (0..work.places.len())
            .filter(|&k| work.places[k].facet.is_none() && own(k))
            .collect();
        if sharp.is_empty() {
            return;
        }
        if regions.is_empty() {
            regions.push(sharp);
            return;
        }
        for k in sharp {
            let at = work.places[k].at;
            let away = |r: &Vec<usize>| {
                let squares = r.iter().map(|&o| (work.places[o].at - at).norm_squared());
                squares.fold(f64::INFINITY, f64::min)
            };
            let nearest =
                (0..regions.len()).min_by(|&a, &b| away(&regions[a]).total_cmp(&away(&regions[b])));
            if let Some(n) = nearest {
                regions[n].push(k);
            }
        }
    }

    fn fillet(
        &self,
        work: &Work,
        ground: &Ground,
        region: &[usize],
        to: f64,
        count: usize,
    ) -> Option<FilletSaving> {
        let fits = |&(k, _): &(usize, usize)| {
            let cutter = &work.shop.cutters[work.known[k].index];
            cutter.kind() == CutterKind::Ball && cutter.radius() <= to + 1e-9
        };
        let mut able = self.able.clone();
        for &p in region {
            for (t, tool) in self.tools.iter().enumerate() {
                let known = &work.known[tool.0];
                let near = known.needed[p] <= known.at[tool.1].stickout + 1e-6;
                if fits(tool) && near {
                    able[p] |= 1 << t;
                }
            }
        }
        let job = Job::with(work, self.tools.clone(), able, self.unfinished, 1);
        let saves = self.least()? - job.least()?;
        if saves < WORTH {
            return None;
        }
        let curvature = |&p: &usize| match work.places[p].facet {
            Some(_) => work.form.tightest(work.places[p].triangle as usize),
            None => f64::INFINITY,
        };
        let at = region
            .iter()
            .max_by(|a, b| curvature(a).total_cmp(&curvature(b)))?;
        let tightest = curvature(at);
        let level = region.iter().any(|&p| work.places[p].normal.z > 0.99);
        Some(FilletSaving {
            from_mm: if tightest.is_finite() && tightest > 0.0 {
                1.0 / tightest
            } else {
                0.0
            },
            to_mm: to,
            at_mm: ground.half.frame.place(&work.places[*at].at),
            floor: level,
            count,
            saves_min: saves,
        })
    }
}

fn name(work: &Work, k: usize) -> String {
    work.shop.cutters[work.known[k].index].name.clone()
}

/// Every cutter at each of the rack's stickouts, at the one it needs where the rack states none; thickest first.
fn tools(work: &Work) -> Vec<(usize, usize)> {
    let mut tools: Vec<(usize, usize)> = Vec::new();
    for (k, known) in work.known.iter().enumerate() {
        let stated = known.at.iter().any(|a| a.in_rack);
        let at = known.at.iter().enumerate();
        tools.extend(
            at.filter(|(_, a)| a.in_rack || !stated)
                .map(|(a, _)| (k, a)),
        );
    }
    let diameter = |t: &(usize, usize)| work.shop.cutters[work.known[t.0].index].diameter;
    // a short one before a long one: it is stiffer
    tools.sort_by(|a, b| diameter(b).total_cmp(&diameter(a)).then(a.cmp(b)));
    tools.truncate(MOST_TOOLS);
    tools
}

/// Leaves out tools that do the same places as a shorter one of the same cutter: they are no stiffer.
fn drop_longer(work: &Work, tools: &mut Vec<(usize, usize)>, able: &mut [u128]) {
    let same = |s: usize, t: usize| able.iter().all(|bits| bits >> s & 1 == bits >> t & 1);
    let stickout = |(k, a): (usize, usize)| work.known[k].at[a].stickout;
    let kept: Vec<usize> = (0..tools.len())
        .filter(|&t| {
            !(0..tools.len()).any(|s| {
                tools[s].0 == tools[t].0 && stickout(tools[s]) < stickout(tools[t]) && same(s, t)
            })
        })
        .collect();
    for bits in able.iter_mut() {
        let of = kept.iter().enumerate();
        *bits = of.fold(0, |sum, (new, &t)| sum | (*bits >> t & 1) << new);
    }
    *tools = kept.into_iter().map(|t| tools[t]).collect();
}

/// What can do each place, and the area that nothing does within the leave.
fn able(work: &Work, tools: &[(usize, usize)], leave: f64) -> (Vec<u128>, f64) {
    let mut unfinished = 0.0;
    let able = (0..work.places.len())
        .map(|p| {
            let left = |&(k, a): &(usize, usize)| {
                let known = &work.known[k];
                let reaches = known.needed[p] <= known.at[a].stickout + 1e-6;
                let does = reaches && known.minutes[p].is_finite();
                if does {
                    known.reaching.left[p]
                } else {
                    f64::INFINITY
                }
            };
            let least = tools.iter().map(left).fold(f64::INFINITY, f64::min);
            if least > leave {
                unfinished += work.places[p].area;
            }
            if !least.is_finite() {
                return 0;
            }
            // where nothing does it well enough: no more than the leave above what the best does
            let limit = if least > leave { least + leave } else { leave };
            let mut bits = 0u128;
            for (t, tool) in tools.iter().enumerate() {
                if left(tool) <= limit {
                    bits |= 1 << t;
                }
            }
            bits
        })
        .collect();
    (able, unfinished)
}

fn rack(work: &Work, tools: &[(usize, usize)], able: &[u128]) -> Rack {
    let mut groups: BTreeMap<u128, Group> = BTreeMap::new();
    let slow = |&(k, a): &(usize, usize)| 1.0 / work.known[k].at[a].bears.feed_share;
    let slows: Vec<f64> = tools.iter().map(slow).collect();
    for (p, &bits) in able.iter().enumerate().filter(|(_, bits)| **bits != 0) {
        let group = groups.entry(bits).or_insert_with(|| Group {
            able: bits,
            minutes: vec![0.0; tools.len()],
            area: 0.0,
        });
        group.area += work.places[p].area;
        for (t, tool) in tools.iter().enumerate() {
            if bits >> t & 1 == 1 {
                group.minutes[t] += work.known[tool.0].minutes[p] * slows[t];
            }
        }
    }
    Rack {
        tools: tools
            .iter()
            .zip(&slows)
            .map(|(&(k, _), slow)| Candidate {
                cutter: k,
                left_volume: work.known[k].reaching.left_volume,
                removal: work.known[k].pace.removal / slow,
            })
            .collect(),
        groups: groups.into_values().collect(),
        volume: work.volume,
        change: work.shop.planning.machine.tool_change / 60.0,
    }
}
