//! Two reports of one mold side by side: what got better, what worse, what moved.
//!
//! A figure has changed when its old and its new interval (± included) lie apart. Halves are matched by name, cutters and
//! tools by name, findings by check and half.

mod rows;
mod text;

use super::figures::Quantity;
use super::text::{clean, name};
use super::{Finding, Half, Place, Report, Verdict};
use rows::{Figure, Row};
pub use text::render;

/// Which way something went.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Trend {
    /// To the bad side.
    Worse,
    /// To the good side.
    Better,
    /// The same finding at another place.
    Moved,
    /// Neither good nor bad, or known before or after only.
    Changed,
}

/// A verdict that changed.
#[derive(Debug, Clone, PartialEq)]
pub struct Turn {
    /// A half's check, `mating`, or `body`; the whole verdicts are in [`Comparison::verdicts`].
    pub check: String,
    /// Half; `None` for both.
    pub half: Option<String>,
    /// Before and after; `None` where there was no such half or check.
    pub verdicts: [Option<Verdict>; 2],
}

/// A figure that changed, or a place that moved.
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    /// Which way.
    pub trend: Trend,
    /// Half; `None` for both.
    pub half: Option<String>,
    /// What it is of; for [`Trend::Moved`] the finding's check.
    pub what: String,
    quantity: Quantity,
    /// Before and after, each with its ±: mm, mm², mm³, degrees, or a number (%, where `what` says so). For [`Trend::Moved`]
    /// nothing before, and after it how far the place moved, mm.
    pub figures: [(Option<f64>, Option<f64>); 2],
    /// Before and after, for [`Trend::Moved`]; model coordinates of each report.
    pub places: Option<[Place; 2]>,
}

/// What differs between two reports.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// Verdicts that changed.
    pub turns: Vec<Turn>,
    /// Figures and places that changed, by trend.
    pub changes: Vec<Change>,
    /// Settings that differ: name, before, after. Where one does, figures may have changed for that alone.
    pub settings: Vec<[String; 3]>,
    /// Whole verdicts, before and after.
    pub verdicts: [Verdict; 2],
}

/// Places closer than this are the same, mm: samples lie that far apart.
const SAME_PLACE: f64 = 0.5;
/// Differences below this are arithmetic, mm or degrees.
const ARITHMETIC: f64 = 1e-6;

/// Pulls closer than this are the same, degrees: the search finds them to about that.
const SAME_PULL_DEG: f64 = 0.5;

impl Comparison {
    /// Compares `old` with `new`. Plans are not compared.
    pub fn of(old: &Report, new: &Report) -> Comparison {
        let mut comparison = Comparison {
            turns: Vec::new(),
            changes: Vec::new(),
            settings: settings(old, new),
            verdicts: [old.verdict, new.verdict],
        };
        let mut names: Vec<&String> = old
            .halves
            .iter()
            .chain(&new.halves)
            .map(|h| &h.name)
            .collect();
        names.sort();
        names.dedup();
        for half in names {
            let of = |r: &'_ Report| r.halves.iter().find(|h| h.name == *half).cloned();
            comparison.half(half, [of(old), of(new)]);
        }
        let fit = [old, new].map(|r| r.mating.as_ref().map(|m| m.verdict));
        comparison.turn("mating", None, fit);
        comparison.mating(old, new);
        comparison.body(old, new);
        comparison.moved(old, new);
        comparison.changes.sort_by_key(|c| c.trend);
        comparison
    }

    /// Whether any verdict got worse, that of the whole included; one that was not there before did if it does not pass.
    pub fn worse(&self) -> bool {
        let before = |v: Option<Verdict>| v.unwrap_or(Verdict::Pass);
        let worse = |t: &Turn| t.verdicts[1].is_some_and(|new| new > before(t.verdicts[0]));
        self.verdicts[1] > self.verdicts[0] || self.turns.iter().any(worse)
    }

    fn turn(&mut self, check: &str, half: Option<&str>, verdicts: [Option<Verdict>; 2]) {
        if verdicts[0] != verdicts[1] {
            self.turns.push(Turn {
                check: check.to_owned(),
                half: half.map(str::to_owned),
                verdicts,
            });
        }
    }

    /// Notes a figure whose intervals lie apart; `more_is_good` is `None` where neither is.
    fn figure(
        &mut self,
        half: Option<&str>,
        what: String,
        quantity: Quantity,
        more_is_good: Option<bool>,
        figures: [Figure; 2],
    ) {
        let trend = match figures {
            [(Some(old), old_pm), (Some(new), new_pm)] => {
                let apart = old_pm.unwrap_or(0.0) + new_pm.unwrap_or(0.0) + ARITHMETIC;
                if (new - old).abs() <= apart {
                    return;
                }
                match more_is_good {
                    None => Trend::Changed,
                    Some(good) if good == (new > old) => Trend::Better,
                    Some(_) => Trend::Worse,
                }
            }
            [(None, _), (None, _)] => return,
            _ => Trend::Changed,
        };
        self.changes.push(Change {
            trend,
            half: half.map(str::to_owned),
            what,
            quantity,
            figures,
            places: None,
        });
    }

    /// Notes the figures of `rows`, of what may be missing before or after.
    fn figures<T>(&mut self, half: Option<&str>, of: [Option<&T>; 2], rows: &[Row<T>]) {
        for &(what, quantity, more_is_good, get) in rows {
            let pair = of.map(|o| o.map_or((None, None), get));
            self.figure(half, what.to_owned(), quantity, more_is_good, pair);
        }
    }

    fn mating(&mut self, old: &Report, new: &Report) {
        let both = [&old.mating, &new.mating].map(Option::as_ref);
        self.figures(None, both, &rows::MATING);
        let pins = both.map(|m| (m.map(|m| m.pins.len() as f64), None));
        self.figure(None, "pins".to_owned(), Quantity::Count, None, pins);
    }

    /// The pulls that the halves of a body are made for, and where it parts.
    fn body(&mut self, old: &Report, new: &Report) {
        let verdict = |r: &Report| {
            r.body.as_ref()?;
            let of_body = r.findings.iter().filter(|f| f.check == "body");
            of_body.map(|f| f.verdict).max().or(Some(Verdict::Pass))
        };
        self.turn("body", None, [verdict(old), verdict(new)]);
        let both = [&old.body, &new.body];
        let pulls = both.map(|b| b.as_ref().and_then(|b| b.pulls.first()));
        if let [Some(a), Some(b)] = pulls {
            let cos: f64 = (0..3).map(|k| a.direction[k] * b.direction[k]).sum();
            // a direction and its opposite are one pull
            let turned = cos.abs().min(1.0).acos().to_degrees();
            if turned > SAME_PULL_DEG {
                let turned = [(Some(0.0), None), (Some(turned), None)];
                let what = "pull turned by".to_owned();
                self.figure(None, what, Quantity::Angle, None, turned);
            }
        }
        self.figures(None, pulls, &rows::PULL);
        self.figures(None, both.map(Option::as_ref), &rows::BODY);
    }

    fn half(&mut self, half: &str, of: [Option<Half>; 2]) {
        let verdicts = of.each_ref().map(|h| h.as_ref().map(Half::verdicts));
        if let Some(named) = verdicts[0].or(verdicts[1]) {
            for (k, (check, _)) in named.into_iter().enumerate() {
                self.turn(check, Some(half), verdicts.map(|v| v.map(|v| v[k].1)));
            }
        }
        let both = of.each_ref().map(Option::as_ref);
        let [Some(old), Some(new)] = both else { return };
        self.figures(Some(half), both, &rows::HALF);
        self.cutters(half, old, new);
        self.tools(half, old, new);
    }

    fn cutters(&mut self, half: &str, old: &Half, new: &Half) {
        for a in &old.reach.cutters {
            let Some(b) = new.reach.cutters.iter().find(|c| c.name == a.name) else {
                continue;
            };
            let left = [a, b].map(|c| (c.left_height_mm, c.left_height_mm_pm));
            let what = format!("left after {}", a.name);
            self.figure(Some(half), what, Quantity::Length, Some(false), left);
            let stickout = [a, b].map(|c| (c.stickout_needed_mm, c.stickout_needed_mm_pm));
            let what = format!("stickout needed, {}", a.name);
            self.figure(Some(half), what, Quantity::Length, Some(false), stickout);
        }
    }

    fn tools(&mut self, half: &str, old: &Half, new: &Half) {
        for a in &old.depth.tools {
            let Some(b) = new.depth.tools.iter().find(|t| t.name == a.name) else {
                continue;
            };
            let share = [a, b].map(|t| {
                let percent = |v: Option<f64>| v.map(|v| 100.0 * v);
                (percent(t.reached_share), percent(t.reached_share_pm))
            });
            let what = format!("% reached by {}", a.name);
            self.figure(Some(half), what, Quantity::Count, Some(true), share);
        }
    }

    /// Findings of one check and half, paired in order, that stand elsewhere.
    fn moved(&mut self, old: &Report, new: &Report) {
        let speaks = |f: &&Finding| f.verdict > Verdict::Pass;
        let mut taken = vec![false; new.findings.len()];
        for a in old.findings.iter().filter(speaks) {
            let pair =
                new.findings.iter().enumerate().find(|(k, b)| {
                    !taken[*k] && speaks(b) && b.check == a.check && b.half == a.half
                });
            let Some((k, b)) = pair else { continue };
            taken[k] = true;
            if let (Some(from), Some(to)) = (a.at_mm, b.at_mm) {
                let away = (0..3)
                    .map(|k| (from[k] - to[k]).powi(2))
                    .sum::<f64>()
                    .sqrt();
                if away > SAME_PLACE {
                    self.changes.push(Change {
                        trend: Trend::Moved,
                        half: a.half.clone(),
                        what: a.check.clone(),
                        quantity: Quantity::Length,
                        figures: [(None, None), (Some(away), None)],
                        places: Some([from, to]),
                    });
                }
            }
        }
    }
}

fn settings(old: &Report, new: &Report) -> Vec<[String; 3]> {
    let mut keys: Vec<&String> = old.settings.keys().chain(new.settings.keys()).collect();
    keys.sort();
    keys.dedup();
    let show = |r: &Report, key: &String| match r.settings.get(key) {
        None | Some(serde_json::Value::Null) => "none".to_owned(),
        Some(serde_json::Value::String(text)) => name(text),
        Some(serde_json::Value::Array(list)) => format!("{} entries", list.len()),
        Some(serde_json::Value::Object(map)) => format!("{} entries", map.len()),
        Some(value) => value.to_string(),
    };
    let both = |key: &String| match [old, new].map(|r| show(r, key)) {
        [before, after] if before == after => {
            [clean(key), before, format!("{after}, not the same")]
        }
        [before, after] => [clean(key), before, after],
    };
    keys.into_iter()
        .filter(|key| old.settings.get(*key) != new.settings.get(*key))
        .map(both)
        .collect()
}

#[cfg(test)]
mod tests;
