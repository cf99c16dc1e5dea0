//! The cutter set: which tools of the rack, in which order, finish the cavity in the least estimated time.
//!
//! Tools are used from the thickest to the thinnest. Each roughs what the one before it left and it can take; each
//! finishes the places that it is the first in the sequence to do. So the time of a set is a sum over its tools, and no
//! tool that is added behind changes what those before it do: sets are searched depth first, leaving out what by a
//! bound from the cheapest way along the tools cannot beat the best ones found. The answer is that of trying every set of
//! which the last tool finishes something.

use rayon::prelude::*;

/// Nodes of the search, for one first tool, after which it gives up.
const MOST_NODES: usize = 20_000;

/// A tool of the rack, as the search sees it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Candidate {
    /// The cutter that it is, at some stickout: sets of the same cutters are one when the best are listed.
    pub cutter: usize,
    /// Volume that it leaves, mm³.
    pub left_volume: f64,
    /// Removal rate in roughing, mm³/min.
    pub removal: f64,
}

/// Places that the same tools can do, taken together.
#[derive(Debug, Clone, PartialEq)]
pub struct Group {
    /// Bit k: tool k does them within what may stay.
    pub able: u128,
    /// Minutes that each tool takes to finish them.
    pub minutes: Vec<f64>,
    /// Their area, mm².
    pub area: f64,
}

/// All that the time of a set is made of.
#[derive(Debug, Clone, PartialEq)]
pub struct Rack {
    /// Tools, thickest first; at most 128.
    pub tools: Vec<Candidate>,
    /// Places by what can do them. Those that nothing does well enough are given to what does them best.
    pub groups: Vec<Group>,
    /// Volume of the cavity, mm³.
    pub volume: f64,
    /// Minutes to change a tool.
    pub change: f64,
}

/// A set of tools and its time.
#[derive(Debug, Clone, PartialEq)]
pub struct Set {
    /// Numbers of the tools, in the order of use.
    pub tools: Vec<usize>,
    /// Estimated time, min.
    pub minutes: f64,
}

/// What the search found.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Found {
    /// The best sets, best first.
    pub sets: Vec<Set>,
    /// Whether no set was left out that could be better.
    pub exact: bool,
}

/// What one tool of a set does.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Part {
    /// Minutes of roughing.
    pub roughing: f64,
    /// Minutes of finishing.
    pub finishing: f64,
    /// Area that it finishes, mm².
    pub area: f64,
    /// Area that no other tool of the set can do, mm².
    pub only_area: f64,
}

impl Rack {
    /// What each tool of a set does, and the set's time in minutes; `None` if the set leaves too much.
    pub fn parts(&self, set: &[usize]) -> Option<(Vec<Part>, f64)> {
        let mut parts = vec![Part::default(); set.len()];
        let mut left = self.volume;
        for (part, &k) in parts.iter_mut().zip(set) {
            part.roughing = self.roughing(left, k);
            left = left.min(self.tools[k].left_volume);
        }
        for group in &self.groups {
            let able = |k: usize| group.able >> k & 1 == 1;
            let first = set.iter().position(|&k| able(k))?;
            parts[first].finishing += group.minutes[set[first]];
            parts[first].area += group.area;
            if set.iter().filter(|&&k| able(k)).count() == 1 {
                parts[first].only_area += group.area;
            }
        }
        let minutes = parts
            .iter()
            .map(|p| self.change + p.roughing + p.finishing)
            .sum();
        Some((parts, minutes))
    }

    fn roughing(&self, left: f64, k: usize) -> f64 {
        (left - self.tools[k].left_volume).max(0.0) / self.tools[k].removal
    }

    /// The `keep` best sets of the tools whose bit is set in `of`.
    pub fn best(&self, keep: usize, of: u128) -> Found {
        let count = self.tools.len();
        let usable = |k: usize| of >> k & 1 == 1;
        let mut start = self.descend(keep, of);
        // and the same without each tool of the best, for the way down may have kept a wrong one
        for t in start.first().map(|s| s.tools.clone()).unwrap_or_default() {
            start.extend(self.descend(keep, of & !(1 << t)));
        }
        self.keep_best(&mut start, keep);
        let founds: Vec<Found> = (0..count)
            .into_par_iter()
            .filter(|&k| usable(k))
            .map(|first| {
                let mut search = Search {
                    rack: self,
                    of,
                    keep,
                    found: start.clone(),
                    nodes: 0,
                };
                let all: Vec<u32> = (0..self.groups.len() as u32).collect();
                search.add(first, &mut Vec::new(), 0.0, self.volume, &all);
                Found {
                    sets: search.found,
                    exact: search.nodes <= MOST_NODES,
                }
            })
            .collect();
        let exact = founds.iter().all(|f| f.exact);
        let mut sets: Vec<Set> = founds.into_iter().flat_map(|f| f.sets).collect();
        self.keep_best(&mut sets, keep);
        Found { sets, exact }
    }

    /// Good sets to begin with: from all tools down, each time without the tool whose loss saves most, or costs least.
    fn descend(&self, keep: usize, of: u128) -> Vec<Set> {
        let mut found = Vec::new();
        let all = 0..self.tools.len();
        let mut set: Vec<usize> = all.filter(|&k| of >> k & 1 == 1).collect();
        while let Some((_, minutes)) = self.parts(&set) {
            if self.ends_in_need(&set) {
                let tools = set.clone();
                found.push(Set { tools, minutes });
                self.keep_best(&mut found, keep);
            }
            let shorter = (0..set.len()).filter_map(|n| {
                let mut less = set.clone();
                less.remove(n);
                Some((self.parts(&less)?.1, less))
            });
            match shorter.min_by(|a, b| a.0.total_cmp(&b.0)) {
                Some((_, less)) => set = less,
                None => break,
            }
        }
        found
    }

    /// Whether the last tool of a set finishes any place: behind tools that do everything one more is only another change.
    fn ends_in_need(&self, set: &[usize]) -> bool {
        let last = self.parts(set).and_then(|(parts, _)| parts.last().copied());
        last.is_some_and(|part| part.area > 0.0)
    }

    /// The `keep` best of `sets`, one for each choice of cutters.
    fn keep_best(&self, sets: &mut Vec<Set>, keep: usize) {
        sets.sort_by(better);
        let mut seen: Vec<Vec<usize>> = Vec::new();
        sets.retain(|set| {
            let mut cutters: Vec<usize> = set.tools.iter().map(|&t| self.tools[t].cutter).collect();
            cutters.sort_unstable();
            cutters.dedup();
            let new = !seen.contains(&cutters);
            if new {
                seen.push(cutters);
            }
            new
        });
        sets.truncate(keep);
    }
}

/// Less time first, then fewer tools, then the thicker ones.
fn better(a: &Set, b: &Set) -> std::cmp::Ordering {
    a.minutes
        .total_cmp(&b.minutes)
        .then(a.tools.len().cmp(&b.tools.len()))
        .then(a.tools.cmp(&b.tools))
}

struct Search<'a> {
    rack: &'a Rack,
    of: u128,
    keep: usize,
    found: Vec<Set>,
    nodes: usize,
}

impl Search<'_> {
    /// Adds tool `k` behind `set`, which has taken `minutes`, left `left` mm³ and not done `undone`.
    fn add(&mut self, k: usize, set: &mut Vec<usize>, minutes: f64, left: f64, undone: &[u32]) {
        self.nodes += 1;
        if self.nodes > MOST_NODES {
            return;
        }
        let rack = self.rack;
        let mut minutes = minutes + rack.change + rack.roughing(left, k);
        let left = left.min(rack.tools[k].left_volume);
        let mut still = Vec::with_capacity(undone.len());
        for &g in undone {
            let group = &rack.groups[g as usize];
            if group.able >> k & 1 == 1 {
                minutes += group.minutes[k];
            } else {
                still.push(g);
            }
        }
        set.push(k);
        if still.is_empty() {
            self.found.push(Set {
                tools: set.clone(),
                minutes,
            });
            rack.keep_best(&mut self.found, self.keep);
        } else if (minutes + self.least_behind(k, left, &still)) * (1.0 - 1e-12) < self.limit() {
            for next in k + 1..rack.tools.len() {
                if self.of >> next & 1 == 1 {
                    self.add(next, set, minutes, left, &still);
                }
            }
        }
        // with nothing left to finish, a further tool only roughs what no place asks for
        set.pop();
    }

    /// No more than what the tools behind `k` take, whichever they are, if `left` mm³ and the groups `undone` are left for
    /// them: infinite if they cannot do it.
    ///
    /// Every group takes its quickest tool at least. On top of that comes the cheapest way along the tools: a step from one
    /// to the next costs a tool change, the roughing if every tool up to the first had roughed, and what the second is
    /// slower than the quickest over the groups that no tool up to the first could have done, for these fall to it; a step
    /// over all the tools that can do some group is none. Where thinner tools do all that thicker ones do, this is exact.
    fn least_behind(&self, k: usize, left: f64, undone: &[u32]) -> f64 {
        let rack = self.rack;
        let count = rack.tools.len() - k;
        let behind = if k < 127 {
            self.of >> (k + 1) << (k + 1)
        } else {
            0
        };
        let usable = |p: usize| behind >> (k + p) & 1 == 1;
        // tools by their place behind k: what tool j is slower over the groups of which i is the first, at count i + j
        let mut slower = vec![0.0; count * count];
        // the last tool that can do a group of which i is the first
        let mut last_for = vec![usize::MAX; count];
        let mut quickest = 0.0;
        for &g in undone {
            let group = &rack.groups[g as usize];
            let able = group.able & behind;
            if able == 0 {
                return f64::INFINITY;
            }
            let first = able.trailing_zeros() as usize;
            let last = 127 - able.leading_zeros() as usize;
            let tools = (first..=last).filter(|t| able >> t & 1 == 1);
            let least = tools
                .clone()
                .fold(f64::INFINITY, |l, t| l.min(group.minutes[t]));
            quickest += least;
            for t in tools {
                slower[count * (first - k) + t - k] += group.minutes[t] - least;
            }
            last_for[first - k] = last_for[first - k].min(last - k);
        }
        let mut roughed = vec![left; count];
        for p in 1..count {
            let by = if usable(p) {
                rack.tools[k + p].left_volume
            } else {
                f64::INFINITY
            };
            roughed[p] = roughed[p - 1].min(by);
        }
        // from the last tool back: what is still to come behind each
        let mut to_come = vec![0.0; count];
        let mut falls_to = vec![0.0; count];
        let mut last = usize::MAX;
        for p in (0..count - 1).rev() {
            last = last.min(last_for[p + 1]);
            for (falls, more) in falls_to.iter_mut().zip(&slower[count * (p + 1)..]) {
                *falls += more;
            }
            if last == usize::MAX {
                continue;
            }
            to_come[p] = (p + 1..=last)
                .filter(|&j| usable(j))
                .map(|j| rack.change + rack.roughing(roughed[p], k + j) + falls_to[j] + to_come[j])
                .fold(f64::INFINITY, f64::min);
        }
        quickest + to_come[0]
    }

    fn limit(&self) -> f64 {
        match self.found.get(self.keep - 1) {
            Some(worst) => worst.minutes,
            None => f64::MAX,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Every set, each timed by itself.
    fn every_set(rack: &Rack) -> Vec<Set> {
        let mut sets: Vec<Set> = (1u32..1 << rack.tools.len())
            .filter_map(|bits| {
                let tools: Vec<usize> = (0..rack.tools.len())
                    .filter(|k| bits >> k & 1 == 1)
                    .collect();
                let minutes = rack.parts(&tools)?.1;
                // a last tool that finishes nothing makes no other set
                rack.ends_in_need(&tools).then_some(Set { tools, minutes })
            })
            .collect();
        sets.sort_by(better);
        sets
    }

    fn racks() -> impl Strategy<Value = Rack> {
        (1usize..10).prop_flat_map(|n| {
            let tool = (1.0..1000.0f64, 50.0..2000.0f64);
            let group = (
                1u128..1 << n,
                prop::collection::vec(0.1..20.0f64, n),
                1.0..100.0f64,
            );
            (
                prop::collection::vec(tool, n),
                prop::collection::vec(group, 1..12),
                0.0..5.0f64,
            )
                .prop_map(|(tools, groups, change)| Rack {
                    tools: tools
                        .into_iter()
                        .enumerate()
                        .map(|(cutter, (left_volume, removal))| Candidate {
                            cutter: cutter / 2,
                            left_volume,
                            removal,
                        })
                        .collect(),
                    groups: groups
                        .into_iter()
                        .map(|(able, minutes, area)| Group {
                            able,
                            minutes,
                            area,
                        })
                        .collect(),
                    volume: 5000.0,
                    change,
                })
        })
    }

    proptest! {
        #[test]
        fn the_same_answer_as_trying_every_set(rack in racks()) {
            let found = rack.best(3, u128::MAX);
            let mut every = every_set(&rack);
            rack.keep_best(&mut every, 3);
            prop_assert!(found.exact);
            prop_assert_eq!(found.sets.len(), every.len());
            for (a, b) in found.sets.iter().zip(&every) {
                prop_assert!((a.minutes - b.minutes).abs() < 1e-9, "{:?} {:?}", a, b);
            }
        }

        #[test]
        fn the_bound_is_below_every_set(rack in racks()) {
            let search = Search { rack: &rack, of: u128::MAX >> (128 - rack.tools.len()), keep: 1, found: Vec::new(), nodes: 0 };
            let all: Vec<u32> = (0..rack.groups.len() as u32).collect();
            for set in every_set(&rack) {
                let first = set.tools[0];
                let (done, still): (Vec<u32>, Vec<u32>) =
                    all.iter().partition(|g| rack.groups[**g as usize].able >> first & 1 == 1);
                let own: f64 = done.iter().map(|g| rack.groups[*g as usize].minutes[first]).sum();
                let own = own + rack.change + rack.roughing(rack.volume, first);
                let left = rack.volume.min(rack.tools[first].left_volume);
                let least = search.least_behind(first, left, &still);
                prop_assert!(own + least <= set.minutes * (1.0 + 1e-12), "{own} + {least} > {}", set.minutes);
            }
        }

        #[test]
        fn parts_add_up(rack in racks()) {
            for set in rack.best(3, u128::MAX).sets {
                let (parts, minutes) = rack.parts(&set.tools).unwrap();
                prop_assert!((minutes - set.minutes).abs() < 1e-9);
                let area: f64 = parts.iter().map(|p| p.area).sum();
                let all: f64 = rack.groups.iter().map(|g| g.area).sum();
                prop_assert!((area - all).abs() < 1e-9);
            }
        }
    }

    /// A 6 mm ball does all but a fillet of 10 mm²; a 3 mm and a 2 mm ball do everything.
    fn shop() -> Rack {
        let tool = |cutter, left_volume, removal| Candidate {
            cutter,
            left_volume,
            removal,
        };
        Rack {
            tools: vec![
                tool(0, 50.0, 1000.0),
                tool(1, 10.0, 250.0),
                tool(2, 5.0, 100.0),
            ],
            groups: vec![
                Group {
                    able: 0b111,
                    minutes: vec![10.0, 14.0, 20.0],
                    area: 990.0,
                },
                Group {
                    able: 0b110,
                    minutes: vec![0.0, 0.2, 0.3],
                    area: 10.0,
                },
            ],
            volume: 10_050.0,
            change: 1.0,
        }
    }

    #[test]
    fn a_rougher_and_a_rest_cutter() {
        let found = shop().best(3, u128::MAX);
        // 6 then 3: 1 + 10 000/1000 + 10, and 1 + 40/250 + 0.2
        assert_eq!(found.sets[0].tools, [0, 1]);
        assert!((found.sets[0].minutes - 22.36).abs() < 1e-9);
        let (parts, _) = shop().parts(&[0, 1]).unwrap();
        assert_eq!((parts[1].area, parts[1].only_area), (10.0, 10.0));
        // without the 3 mm ball the 2 mm one: 21 + 1 + 45/100 + 0.3
        let found = shop().best(1, 0b101);
        assert_eq!(found.sets[0].tools, [0, 2]);
        assert!((found.sets[0].minutes - 22.75).abs() < 1e-9);
        // a rack that cannot
        assert!(shop().best(1, 0b001).sets.is_empty());
    }
}
