//! A comparison laid out for a terminal.

use super::{Change, Comparison, Trend};
use crate::report::Verdict;
use crate::report::figures::{Figures, Quantity};
use crate::report::page::{Page, Paint, Tone, word};
use crate::report::terminal::{Style, capital};
use crate::report::text::{clean, name, pad};

/// Lays out `comparison` for a terminal. Lines end in `\n`; none is wider than `style.width`.
pub fn render(comparison: &Comparison, style: Style) -> String {
    let paint = Paint {
        colour: style.colour,
    };
    let mut page = Page::new(Figures { unit: style.unit }, style.width.max(60), paint);
    answer(&mut page, comparison);
    turns(&mut page, comparison);
    changes(&mut page, comparison);
    settings(&mut page, comparison);
    page.finish()
}

fn answer(page: &mut Page, comparison: &Comparison) {
    let [old, new] = comparison.verdicts;
    let lead = pad(word(new), 8, false);
    let worse = comparison.changes.iter().any(|c| c.trend == Trend::Worse);
    let text = match (
        comparison.worse(),
        comparison.turns.is_empty() && comparison.changes.is_empty(),
    ) {
        (true, _) => "A verdict got worse.",
        (_, true) => "Nothing differs beyond its uncertainty.",
        _ if new < old => "The whole got better.",
        _ if worse => "No verdict got worse, but a figure did.",
        _ => "No verdict got worse.",
    };
    let before = format!("{text} It was {} before.", word(old));
    page.hanging(&[(&lead, Tone::Verdict(new))], &before);
}

fn turns(page: &mut Page, comparison: &Comparison) {
    if comparison.turns.is_empty() {
        return;
    }
    page.heading("Verdicts that changed");
    for t in &comparison.turns {
        let show = |v: Option<Verdict>| v.map_or("not there", word);
        let body = format!("{} → {}", show(t.verdicts[0]), show(t.verdicts[1]));
        page.row(&label(&t.check, t.half.as_deref()), &body);
    }
}

/// The figures and places that changed, by which way they went.
fn changes(page: &mut Page, comparison: &Comparison) {
    let parts = [
        (Trend::Worse, "Worse"),
        (Trend::Better, "Better"),
        (Trend::Moved, "Moved"),
        (Trend::Changed, "Changed"),
    ];
    for (trend, title) in parts {
        let of: Vec<&Change> = comparison
            .changes
            .iter()
            .filter(|c| c.trend == trend)
            .collect();
        if of.is_empty() {
            continue;
        }
        page.heading(title);
        for c in of {
            change(page, c);
        }
    }
}

fn change(page: &mut Page, c: &Change) {
    let f = page.figures;
    let body = match c.places {
        Some([from, to]) => format!(
            "{}: {} → {}, {} away",
            clean(&c.what),
            f.place(from),
            f.place(to),
            f.text(Quantity::Length, c.figures[1].0, None)
        ),
        None => {
            let [a, b] = c.figures.map(|(v, pm)| f.text(c.quantity, v, pm));
            format!("{}: {a} → {b}", clean(&c.what))
        }
    };
    let half = c
        .half
        .as_ref()
        .map_or("whole".to_owned(), |h| format!("half {}", name(h)));
    page.row(&capital(&half), &body);
}

fn settings(page: &mut Page, comparison: &Comparison) {
    if comparison.settings.is_empty() {
        return;
    }
    page.heading("Judged by other settings");
    for [key, old, new] in &comparison.settings {
        page.row("", &format!("{}: {old} → {new}", key.replace('_', " ")));
    }
    page.row("", "Figures may have changed for these alone.");
}

fn label(check: &str, half: Option<&str>) -> String {
    match half {
        Some(half) => format!("Half {}, {}", name(half), clean(check)),
        None => capital(&clean(check)),
    }
}
