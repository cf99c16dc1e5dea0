//! What came of the mutants, as text.

use crate::copy::Mutant;
use crate::sites::Kind;
use crate::suite::Test;
use std::collections::BTreeMap;
use std::fmt::Write;

/// What came of a mutant.
pub enum Fate {
    /// By this test.
    Caught(String),
    /// No test failed; `alike` if its value was that of the code in all of them.
    Missed { alike: bool },
    /// No test comes by.
    NotReached,
    /// It does not compile.
    NotViable,
    /// The test could not be started.
    NotRun(String),
}

#[derive(Default)]
struct Count {
    caught: usize,
    missed: usize,
    not_reached: usize,
    not_viable: usize,
}

impl Count {
    fn add(&mut self, fate: &Fate) {
        match fate {
            Fate::Caught(_) => self.caught += 1,
            Fate::Missed { .. } | Fate::NotRun(_) => self.missed += 1,
            Fate::NotReached => self.not_reached += 1,
            Fate::NotViable => self.not_viable += 1,
        }
    }

    fn row(&self, name: &str) -> String {
        let viable = self.caught + self.missed + self.not_reached;
        let (share, low, high) = share(self.caught, viable);
        let Self {
            caught,
            missed,
            not_reached,
            not_viable,
        } = self;
        format!(
            "{name:<12} {caught:>7} {missed:>7} {not_reached:>12} {not_viable:>11}   {share:.1} % ({low:.1} to {high:.1})\n"
        )
    }
}

/// Per cent, and Wilson's 95 % interval of it.
fn share(of: usize, all: usize) -> (f64, f64, f64) {
    if all == 0 {
        return (0.0, 0.0, 100.0);
    }
    let (n, z) = (all as f64, 1.96_f64);
    let p = of as f64 / n;
    let middle = (p + z * z / (2.0 * n)) / (1.0 + z * z / n);
    let half = z * (p * (1.0 - p) / n + z * z / (4.0 * n * n)).sqrt() / (1.0 + z * z / n);
    (100.0 * p, 100.0 * (middle - half), 100.0 * (middle + half))
}

/// The counts per folder and kind, then each mutant that no test failed on.
pub fn report(
    all: &[Mutant],
    judged: &BTreeMap<usize, Fate>,
    drawn: &[usize],
    seed: usize,
) -> String {
    let drawn = || {
        drawn
            .iter()
            .filter_map(|id| Some((&all[*id], judged.get(id)?)))
    };
    let mut rows: BTreeMap<String, Count> = BTreeMap::new();
    let (mut total, mut but_boundaries) = (Count::default(), Count::default());
    for (mutant, fate) in drawn() {
        let folder = mutant.file.iter().take(2).collect::<std::path::PathBuf>();
        let kind = format!("{:?}", mutant.site.kind).to_lowercase();
        for row in [folder.display().to_string(), kind] {
            rows.entry(row).or_default().add(fate);
        }
        total.add(fate);
        if mutant.site.kind != Kind::Boundary {
            but_boundaries.add(fate);
        }
    }
    let mut out = format!(
        "{} of {} mutants, seed {seed}\n\n",
        drawn().count(),
        all.len()
    );
    out +=
        "              caught  missed  not reached  not viable   caught of viable, 95 % interval\n";
    for (name, count) in &rows {
        out += &count.row(name);
    }
    out += &but_boundaries.row("not boundary");
    out += &total.row("all");
    out += "\n";
    for (mutant, fate) in drawn() {
        if !matches!(fate, Fate::Caught(_) | Fate::NotViable) {
            let _ = writeln!(out, "{}", line(mutant, fate));
        }
    }
    out
}

/// What a mutant is and what came of it.
pub fn line(mutant: &Mutant, fate: &Fate) -> String {
    let site = &mutant.site;
    let fate = match fate {
        Fate::Caught(test) => format!("caught by {test}"),
        Fate::Missed { alike: true } => "missed, alike in all tests".to_owned(),
        Fate::Missed { alike: false } => "missed".to_owned(),
        Fate::NotReached => "not reached".to_owned(),
        Fate::NotViable => "not viable".to_owned(),
        Fate::NotRun(error) => format!("not run: {error}"),
    };
    let was = if site.was.is_empty() {
        "its body"
    } else {
        &site.was
    };
    let place = format!("{}:{} {}", mutant.file.display(), site.line, site.function);
    format!("{place}: {was} -> {}: {fate}", site.instead)
}

/// The tests, the quickest first: seconds, mutants reached.
pub fn tests(tests: &[Test]) -> String {
    let line = |t: &Test| {
        format!(
            "{:9.3} {:5} {}\n",
            t.time.as_secs_f64(),
            t.reached.len(),
            t.name
        )
    };
    tests.iter().map(line).collect()
}
