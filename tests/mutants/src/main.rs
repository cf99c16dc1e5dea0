//! How much of what could be wrong in `src/field` and `src/vet` the tests would tell: mutants by the hundred in one build, each
//! behind a switch, each run through the tests that come by it until one fails.

mod copy;
mod plain;
mod schemata;
mod sites;
mod suite;
mod tally;

use copy::{Copy, Mutant};
use std::collections::{BTreeMap, BTreeSet};
use std::error::Error;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;
use suite::{End, Test};
use tally::Fate;

const FOLDERS: [&str; 2] = ["src/field", "src/vet"];
/// The tests beside the library's own.
const TESTS: [&str; 16] = [
    "kept",
    "corpus",
    "figures",
    "columns_referee",
    "closing_reference",
    "radius_map",
    "worked_values",
    "flats",
    "readings",
    "sick",
    "turned",
    "invariance",
    "mating",
    "page",
    "plan",
    "real_mold",
];

fn main() -> Result<(), Box<dyn Error>> {
    let sample = argument("--sample", 300)?;
    let seeds = arguments("--seed")?;
    let seeds = if seeds.is_empty() { vec![1] } else { seeds };
    let jobs = argument("--jobs", 1)?;
    let budget = Duration::from_secs(argument("--budget", 120)? as u64);
    let tool = Path::new(env!("CARGO_MANIFEST_DIR"));
    let project = tool.join("../..").canonicalize()?;
    let work = tool.join("work");
    let all = mutants(&project)?;
    let drawn = seeds
        .iter()
        .map(|&seed| draw(all.len(), sample, seed as u64));
    let drawn: Vec<Vec<usize>> = drawn.collect();

    let copy = Copy::make(&project, work.join("copy"), &all)?;
    let mut viable: BTreeSet<usize> = drawn.iter().flatten().copied().collect();
    eprintln!("{} of {} mutants", viable.len(), all.len());
    let not_viable = copy.settle(&project, &all, &mut viable)?;
    let mut tests = suite::list(&copy.tests(&TESTS)?, &copy.root)?;
    let longest = Duration::from_secs(argument("--longest", 60)? as u64);
    record(&mut tests, &copy.root, &work, longest, jobs)?;
    tests.retain(|t| t.time < longest);
    // whole reports tell of anything that moves a figure: sooner than what takes as long
    tests.sort_by_key(|t| t.time / if t.is_of("kept") { 10 } else { 1 });
    fs::write(work.join("tests.txt"), tally::tests(&tests))?;

    let queue: Vec<usize> = drawn
        .concat()
        .into_iter()
        .filter(|id| viable.contains(id))
        .collect();
    let mut judged = run(&all, &queue, &tests, &copy.root, budget, jobs);
    judged.extend(not_viable.iter().map(|&id| (id, Fate::NotViable)));
    for (seed, drawn) in seeds.iter().zip(&drawn) {
        let report = tally::report(&all, &judged, drawn, *seed);
        fs::write(work.join(format!("report-{seed}.txt")), &report)?;
        print!("{report}");
    }
    Ok(())
}

fn argument(name: &str, default: usize) -> Result<usize, Box<dyn Error>> {
    Ok(arguments(name)?.last().copied().unwrap_or(default))
}

/// The numbers behind each `name` of the command line.
fn arguments(name: &str) -> Result<Vec<usize>, Box<dyn Error>> {
    let given: Vec<String> = std::env::args().collect();
    let of_name = given.windows(2).filter(|pair| pair[0] == name);
    let number = |pair: &[String]| {
        Ok(pair[1]
            .parse()
            .map_err(|e| format!("{name} {}: {e}", pair[1]))?)
    };
    of_name.map(number).collect()
}

/// All mutants of the folders, files by name.
fn mutants(project: &Path) -> Result<Vec<Mutant>, Box<dyn Error>> {
    let mut all = Vec::new();
    for folder in FOLDERS {
        let mut files = Vec::new();
        sources(&project.join(folder), &mut files)?;
        files.sort();
        let mut for_tests = BTreeSet::new();
        let mut found = Vec::new();
        for path in files {
            let of_file = sites::find(&fs::read_to_string(&path)?)
                .map_err(|e| format!("{}: {e}", path.display()))?;
            let within = match path.file_name() {
                Some(name) if name == "mod.rs" => path.with_file_name(""),
                _ => path.with_extension(""),
            };
            for_tests.extend(of_file.test_modules.iter().map(|name| within.join(name)));
            found.push((path, of_file.sites));
        }
        found.retain(|(path, _)| !for_tests.contains(&path.with_extension("")));
        for (path, sites) in found {
            let file = path.strip_prefix(project)?.to_owned();
            all.extend(sites.into_iter().map(|site| Mutant {
                file: file.clone(),
                site,
            }));
        }
    }
    Ok(all)
}

fn sources(folder: &Path, files: &mut Vec<PathBuf>) -> std::io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_dir() {
            sources(&path, files)?;
        } else if path.extension().is_some_and(|e| e == "rs") {
            files.push(path);
        }
    }
    Ok(())
}

/// `count` numbers below `of`, each as likely as any other, as they were drawn: what a run gets to before it is ended is a sample
/// too.
fn draw(of: usize, count: usize, seed: u64) -> Vec<usize> {
    let mut state = seed;
    // splitmix64
    let mut random = move || {
        state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    };
    let mut drawn = Vec::new();
    while drawn.len() < count.min(of) {
        let next = (random() % of as u64) as usize;
        if !drawn.contains(&next) {
            drawn.push(next);
        }
    }
    drawn
}

/// Runs all tests unmutated, none for longer than `longest`.
fn record(
    tests: &mut [Test],
    root: &Path,
    work: &Path,
    longest: Duration,
    jobs: usize,
) -> Result<(), String> {
    let queue = Mutex::new(tests.iter_mut());
    let next = || queue.lock().ok()?.next();
    let work = |job: usize| {
        let record = work.join(format!("record-{job}"));
        while let Some(test) = next() {
            match test.record(root, &record, longest) {
                Ok(End::Passed | End::TimedOut) => {}
                Ok(End::Failed) => {
                    eprintln!("left out, fails without any mutant: {}", test.name);
                    test.time = longest;
                }
                Err(error) => return Err(format!("{}: {error}", test.name)),
            }
        }
        Ok(())
    };
    std::thread::scope(|scope| {
        let work = &work;
        let jobs: Vec<_> = (0..jobs.max(1))
            .map(|job| scope.spawn(move || work(job)))
            .collect();
        let ended = jobs
            .into_iter()
            .map(|j| j.join().unwrap_or_else(|_| Err("a job died".to_owned())));
        ended.collect()
    })
}

/// Runs each mutant through the tests that come by it, the quickest first.
fn run(
    all: &[Mutant],
    queue: &[usize],
    tests: &[Test],
    root: &Path,
    budget: Duration,
    jobs: usize,
) -> BTreeMap<usize, Fate> {
    let next = AtomicUsize::new(0);
    let judged = Mutex::new(BTreeMap::new());
    let work = || {
        while let Some(&id) = queue.get(next.fetch_add(1, Ordering::Relaxed)) {
            let fate = fate(id, &all[id], tests, root, budget);
            eprintln!("{}", tally::line(&all[id], &fate));
            if let Ok(mut judged) = judged.lock() {
                judged.insert(id, fate);
            }
        }
    };
    std::thread::scope(|scope| {
        for _ in 0..jobs.max(1) {
            scope.spawn(work);
        }
    });
    judged.into_inner().unwrap_or_default()
}

/// What the tests that come by a mutant make of it; for the long ones among them time is left after the others, or not.
fn fate(id: usize, mutant: &Mutant, tests: &[Test], root: &Path, budget: Duration) -> Fate {
    let mut spent = Duration::ZERO;
    let reach = || tests.iter().filter(|t| t.reached.contains(&id));
    if reach().next().is_none() {
        return Fate::NotReached;
    }
    for test in reach().filter(|t| !mutant.site.comparable || t.told.contains(&id)) {
        spent += test.time;
        if spent > budget {
            break;
        }
        match test.with(id, root) {
            Ok(End::Passed) => {}
            Ok(End::Failed) => return Fate::Caught(test.name.clone()),
            Ok(End::TimedOut) => return Fate::Caught(format!("{}, out of time", test.name)),
            Err(error) => return Fate::NotRun(error.to_string()),
        }
    }
    let told = tests.iter().any(|t| t.told.contains(&id));
    Fate::Missed {
        alike: mutant.site.comparable && !told,
    }
}
