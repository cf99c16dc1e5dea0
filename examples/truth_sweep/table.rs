//! The sweep's table. An error in ± over 1 lies outside.

use crate::compare::{BORDERLINE, CLEARS_FLAT, Call, FINE, Outcome, Trial};
use std::fmt::Write;

/// Shares inside the ±, size of the ±, worst breaches, verdicts.
pub fn table(outcomes: &[Outcome], worst: usize) -> String {
    let mut text = String::new();
    let mut figures: Vec<&str> = Vec::new();
    for trial in outcomes.iter().flat_map(|o| &o.trials) {
        if !figures.contains(&&*trial.figure) {
            figures.push(&trial.figure);
        }
    }
    figures.sort_unstable();
    let _ = writeln!(
        text,
        "| figure | truths | inside ± | median ± | 95th percentile | largest error in ± |\n| --- | ---: | ---: | ---: | ---: | ---: |"
    );
    let mut breaches = String::new();
    for figure in figures {
        let trials: Vec<(&Outcome, &Trial)> = outcomes
            .iter()
            .flat_map(|o| o.trials.iter().map(move |t| (o, t)))
            .filter(|(_, t)| t.figure == figure)
            .collect();
        let inside = trials.iter().filter(|(_, t)| t.holds()).count();
        let mut pm: Vec<f64> = trials.iter().map(|(_, t)| t.pm / t.by).collect();
        pm.sort_by(f64::total_cmp);
        let largest = (trials.iter().filter(|(_, t)| t.pm > 0.0))
            .map(|(_, t)| t.excess())
            .fold(0.0, f64::max);
        let at = |share: f64| pm[((pm.len() - 1) as f64 * share).round() as usize];
        let _ = writeln!(
            text,
            "| {figure} | {} | {:.2} % | {:.3e} | {:.3e} | {largest:.2} |",
            trials.len(),
            100.0 * inside as f64 / trials.len() as f64,
            at(0.5),
            at(0.95)
        );
        let mut out: Vec<_> = trials.into_iter().filter(|(_, t)| !t.holds()).collect();
        out.sort_by(|a, b| {
            b.1.excess()
                .total_cmp(&a.1.excess())
                .then(a.0.seed.cmp(&b.0.seed))
        });
        for (o, t) in out.iter().take(worst) {
            let value = t.value.map_or("none".into(), |v| format!("{v:.6}"));
            let _ = writeln!(
                breaches,
                "{figure}: seed {} {} {} truth {:.6} value {value} ± {:.2e}",
                o.seed, o.kind, t.of, t.truth, t.pm
            );
        }
    }
    let _ = writeln!(
        text,
        "\n| verdict | calls | false pass | false fail | unsure | unsure far from the limit |\n| --- | ---: | ---: | ---: | ---: | ---: |"
    );
    for what in ["clears", FINE, BORDERLINE, CLEARS_FLAT, "draft", "undercut"] {
        let calls: Vec<(&Outcome, &Call)> = outcomes
            .iter()
            .flat_map(|o| o.calls.iter().map(move |c| (o, c)))
            .filter(|(_, c)| c.what == what)
            .collect();
        let is = |truth, said| {
            move |c: &&(&Outcome, &Call)| c.1.truth == truth && c.1.said == Some(said)
        };
        let unsure: Vec<_> = calls.iter().filter(|c| c.1.said.is_none()).collect();
        let _ = writeln!(
            text,
            "| {what} | {} | {} | {} | {:.2} % | {} |",
            calls.len(),
            calls.iter().filter(is(false, true)).count(),
            calls.iter().filter(is(true, false)).count(),
            100.0 * unsure.len() as f64 / calls.len().max(1) as f64,
            unsure.iter().filter(|c| c.1.margin > 0.01).count(),
        );
        for (name, truth, said) in [("false pass", false, true), ("false fail", true, false)] {
            for (o, c) in calls.iter().filter(is(truth, said)).take(worst) {
                let _ = writeln!(
                    breaches,
                    "{what}, {name}: seed {} {} {}",
                    o.seed, o.kind, c.of
                );
            }
        }
        for (o, c) in unsure.iter().filter(|c| c.1.margin > 0.01).take(worst) {
            let _ = writeln!(
                breaches,
                "{what}, unsure: seed {} {} {}",
                o.seed, o.kind, c.of
            );
        }
    }
    for o in outcomes.iter() {
        if let Some(error) = &o.error {
            let _ = writeln!(breaches, "seed {} no report: {error}", o.seed);
        }
    }
    if !breaches.is_empty() {
        let _ = write!(text, "\n{breaches}");
    }
    text
}
