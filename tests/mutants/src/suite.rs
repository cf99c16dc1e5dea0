//! The copy's tests, each run in a process of its own.

use std::collections::BTreeSet;
use std::ffi::OsStr;
use std::fs;
use std::io;
use std::os::unix::process::{CommandExt, ExitStatusExt};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

/// More memory than any test needs, KiB: a mutant that asks for more without end fails.
const MEMORY_KIB: u32 = 8_000_000;
/// Clock time over the processor time that a test may take: for one that waits without end. A busy machine must not stop any.
const WAITING: u32 = 6;
/// The signal that ends a process at its limit of processor time (Linux).
const SIGXCPU: i32 = 24;

/// One test and what it comes by.
pub struct Test {
    program: PathBuf,
    pub name: String,
    pub time: Duration,
    pub reached: BTreeSet<usize>,
    /// Mutants whose value differed there from the code's.
    pub told: BTreeSet<usize>,
}

/// How a run ended.
#[derive(PartialEq, Eq)]
pub enum End {
    Passed,
    Failed,
    TimedOut,
}

/// All tests of the programs but those that are ignored, unrun.
pub fn list(programs: &[PathBuf], root: &Path) -> io::Result<Vec<Test>> {
    let names = |program: &Path, more: &[&str]| -> io::Result<BTreeSet<String>> {
        let mut command = Command::new(program);
        command.args(["--list", "--format", "terse"]).args(more);
        let out = command.current_dir(root).output()?;
        let lines = String::from_utf8_lossy(&out.stdout);
        let names = lines.lines().filter_map(|l| l.strip_suffix(": test"));
        Ok(names.map(str::to_owned).collect())
    };
    let mut tests = Vec::new();
    for program in programs {
        let ignored = names(program, &["--ignored"])?;
        for name in names(program, &[])?.difference(&ignored) {
            tests.push(Test {
                program: program.clone(),
                name: name.clone(),
                time: Duration::ZERO,
                reached: BTreeSet::new(),
                told: BTreeSet::new(),
            });
        }
    }
    Ok(tests)
}

impl Test {
    /// Whether it is one of the test program `name`.
    pub fn is_of(&self, name: &str) -> bool {
        let file = self.program.file_name().unwrap_or_default();
        file.to_string_lossy().starts_with(&format!("{name}-"))
    }

    /// Runs the test unmutated, for its time and what it comes by; for no longer than `limit` of processor time.
    pub fn record(&mut self, root: &Path, record: &Path, limit: Duration) -> io::Result<End> {
        if record.exists() {
            fs::remove_file(record)?;
        }
        let start = Instant::now();
        let end = self.run(root, "MUTANT_RECORD", record, limit)?;
        self.time = start.elapsed();
        let lines = fs::read_to_string(record).unwrap_or_default();
        let of = |what: &str| {
            let ids = lines.lines().filter_map(|l| l.strip_prefix(what));
            ids.filter_map(|id| id.trim().parse().ok()).collect()
        };
        self.reached = of("reached ");
        self.told = of("told ");
        Ok(end)
    }

    /// Runs the test with a mutant on.
    pub fn with(&self, mutant: usize, root: &Path) -> io::Result<End> {
        let limit = 5 * self.time + Duration::from_secs(10);
        self.run(root, "MUTANT", mutant.to_string(), limit)
    }

    fn run(
        &self,
        root: &Path,
        key: &str,
        value: impl AsRef<OsStr>,
        limit: Duration,
    ) -> io::Result<End> {
        let seconds = limit.as_secs() + 1;
        let limited = format!("ulimit -v {MEMORY_KIB}; ulimit -S -t {seconds}; exec \"$0\" \"$@\"");
        let mut child = Command::new("sh")
            .args(["-c", &limited])
            .arg(&self.program)
            .args(["--exact", &self.name, "--test-threads", "1"])
            .current_dir(root)
            .env("CARGO_MANIFEST_DIR", root)
            // alike every time, whatever ran before
            .env("RAYON_NUM_THREADS", "1")
            .env("PROPTEST_RNG_SEED", "1")
            .env("PROPTEST_DISABLE_FAILURE_PERSISTENCE", "1")
            .env("PROPTEST_MAX_SHRINK_ITERS", "0")
            .env(key, value)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .process_group(0)
            .spawn()?;
        wait(&mut child, WAITING * limit)
    }
}

fn wait(child: &mut Child, limit: Duration) -> io::Result<End> {
    let start = Instant::now();
    loop {
        if let Some(status) = child.try_wait()? {
            return Ok(match status.signal() {
                Some(SIGXCPU) => End::TimedOut,
                _ if status.success() => End::Passed,
                _ => End::Failed,
            });
        }
        if start.elapsed() > limit {
            // with the programs that it started
            let group = format!("-{}", child.id());
            Command::new("kill")
                .args(["-KILL", "--", &group])
                .status()?;
            child.wait()?;
            return Ok(End::TimedOut);
        }
        sleep(Duration::from_millis(2));
    }
}
