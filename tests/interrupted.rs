//! What is left when the program is ended before its work is done: whole files or none, and nothing beside them.
#![cfg(unix)]

#[allow(dead_code, reason = "shared with other tests")]
mod common;

use common::{binary_stl, data, ring, shell, tower};
use std::fs;
use std::io::Write;
use std::os::unix::process::ExitStatusExt;
use std::path::Path;
use std::process::{Child, Command, Output, Stdio};
use std::time::{Duration, Instant};

/// Numbers of the signals (POSIX).
const SIGNALS: [(&str, i32); 2] = [("INT", 2), ("TERM", 15)];
/// What a check may write here: less and sooner, more and later.
const WRITES: [&str; 3] = [
    "--json report.json",
    "--json report.json --maps maps",
    "--json report.json --maps maps --html page.html",
];

fn program(folder: &Path, line: &str) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_moldvet"));
    command
        .args("check --units mm --axis +z --threads 1".split(' '))
        .args(line.split_whitespace())
        .current_dir(folder)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::piped());
    command
}

/// A check that takes a small part of a second.
fn quick(folder: &Path, writes: &str) -> Command {
    let line = format!("--ball 6mm --stickout 30mm --cell 1mm {writes} pocket.stl");
    program(folder, &line)
}

/// A check that takes far longer than a test may.
fn slow(folder: &Path, more: &str) -> Command {
    let balls = "--ball 1mm --ball 2mm --ball 3mm --cell 0.003mm";
    program(folder, &format!("{balls} {more} {} half.stl", WRITES[2]))
}

/// A folder with the models: a block 20 × 16 × 6 with a pocket 12 × 8 × 3, and a half with curved walls.
fn folder() -> tempfile::TempDir {
    let facets = tower(&[
        ring(10.0, 8.0, 0.0),
        ring(10.0, 8.0, 6.0),
        ring(6.0, 4.0, 6.0),
        ring(6.0, 4.0, 3.0),
    ]);
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("pocket.stl"), binary_stl(&facets)).unwrap();
    fs::copy(data("small_half.stl"), folder.path().join("half.stl")).unwrap();
    folder
}

fn send(signal: &str, child: &Child) {
    let kill = Command::new("kill")
        .args(["-s", signal, &child.id().to_string()])
        .stderr(Stdio::null())
        .status();
    kill.unwrap();
}

/// All files under `folder` but the models.
fn files(folder: &Path) -> Vec<String> {
    let mut found = Vec::new();
    for sub in [folder.to_path_buf(), folder.join("maps")] {
        for entry in fs::read_dir(&sub).into_iter().flatten() {
            let path = entry.unwrap().path();
            if path.is_file() {
                let name = path.strip_prefix(folder).unwrap();
                found.push(name.to_str().unwrap().to_owned());
            }
        }
    }
    found.retain(|name| !name.ends_with(".stl"));
    found.sort();
    found
}

/// Every file of `folder` is one that an undisturbed check writes, and whole.
fn assert_whole(folder: &Path, reference: &Path, what: &str) -> usize {
    let found = files(folder);
    for name in &found {
        let whole = fs::read(reference.join(name));
        let whole = whole.unwrap_or_else(|_| panic!("{what}: {name} is stray"));
        assert!(
            fs::read(folder.join(name)).unwrap() == whole,
            "{what}: {name} is not whole"
        );
    }
    found.len()
}

fn assert_died_of(signal: i32, output: &Output, what: &str) {
    assert_eq!(output.status.signal(), Some(signal), "{what}");
    assert!(output.stderr.is_empty(), "{what}: {output:?}");
}

/// How often nothing, some and all was written.
#[derive(Debug, Default)]
struct Counts {
    none: usize,
    some: usize,
    all: usize,
    /// It ended on its own before the signal came.
    done: usize,
    /// It took longer than half a second to end; a busy machine delays any of them.
    late: usize,
    /// The longest it took to end.
    slowest: Duration,
}

/// Interrupts a check `times` times, each at another moment.
fn interrupt(writes: &str, times: usize, seed: u64) -> Counts {
    let reference = folder();
    // a busy machine delays some of them
    let mut lasts = Duration::MAX;
    for _ in 0..3 {
        let start = Instant::now();
        let whole = quick(reference.path(), writes).output().unwrap();
        lasts = lasts.min(start.elapsed());
        assert!(
            whole.status.code().is_some_and(|code| code < 2),
            "{whole:?}"
        );
    }
    let all = files(reference.path()).len();
    let mut state = seed;
    let mut counts = Counts::default();
    for round in 0..times {
        // a linear congruential generator with the constants of Knuth's MMIX (from memory)
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        let share = (state >> 40) as f64 / (1_u64 << 24) as f64;
        // half of them about the end, where files are written
        let share = if round % 4 < 2 {
            0.7 + 0.4 * share
        } else {
            share
        };
        let (name, signal) = SIGNALS[round % 2];
        let place = folder();
        let child = quick(place.path(), writes).spawn().unwrap();
        std::thread::sleep(lasts.mul_f64(share));
        let start = Instant::now();
        send(name, &child);
        let output = child.wait_with_output().unwrap();
        let took = start.elapsed();
        counts.slowest = counts.slowest.max(took);
        counts.late += usize::from(took > Duration::from_millis(500));
        let what = format!("{writes}, round {round}, SIG{name}");
        let written = assert_whole(place.path(), reference.path(), &what);
        match output.status.code() {
            Some(code) => {
                assert!(code < 2 && written == all, "{what}: {output:?}, {written}");
                counts.done += 1;
            }
            None => assert_died_of(signal, &output, &what),
        }
        match written {
            0 => counts.none += 1,
            _ if written < all => counts.some += 1,
            _ => counts.all += 1,
        }
    }
    counts
}

#[test]
fn two_hundred_interruptions_leave_whole_files_only() {
    let parts = [
        (WRITES[0], 75),
        (WRITES[0], 75),
        (WRITES[1], 45),
        (WRITES[2], 5),
    ];
    std::thread::scope(|scope| {
        let run = |(seed, (writes, times))| {
            let counts = scope.spawn(move || interrupt(writes, times, seed));
            (writes, times, counts)
        };
        let running: Vec<_> = (1..).zip(parts).map(run).collect();
        for (writes, times, counts) in running {
            let counts = counts.join().unwrap();
            println!("{times} times {writes}: {counts:?}");
            assert_eq!(counts.none + counts.some + counts.all, times);
            // the moments are spread over the whole run
            assert!(counts.none > times / 10, "{counts:?}");
            assert!(counts.late <= times / 10, "{counts:?}");
        }
    });
}

/// The moments are not drawn but sought: right after the first of many files is in its place.
#[test]
fn an_interruption_between_two_files_leaves_whole_files_only() {
    let reference = folder();
    quick(reference.path(), WRITES[2]).output().unwrap();
    let all = files(reference.path()).len();
    let mut counts = Counts::default();
    for round in 0..100 {
        let (name, signal) = SIGNALS[round % 2];
        let place = folder();
        let mut child = quick(place.path(), WRITES[2]).spawn().unwrap();
        // it stands ready: to start a program takes longer than to write all files
        let mut killer = Command::new("sh")
            .args(["-c", &format!("read go; kill -s {name} {}", child.id())])
            .stdin(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        while files(place.path()).is_empty() && child.try_wait().unwrap().is_none() {
            std::hint::spin_loop();
        }
        killer.stdin.take().unwrap().write_all(b"go\n").unwrap();
        let output = child.wait_with_output().unwrap();
        killer.wait().unwrap();
        let what = format!("round {round}, SIG{name}");
        let written = assert_whole(place.path(), reference.path(), &what);
        match output.status.code() {
            Some(code) => {
                assert!(code < 2 && written == all, "{what}: {output:?}");
                counts.done += 1;
            }
            None => assert_died_of(signal, &output, &what),
        }
        if (1..all).contains(&written) {
            counts.some += 1;
        }
        if counts.some == 4 {
            break;
        }
    }
    println!("of {all} files: {counts:?}");
    assert!(counts.some > 0, "none fell between two files: {counts:?}");
}

#[test]
fn a_long_check_ends_within_half_a_second() {
    for (name, signal) in SIGNALS {
        // the least of some: a busy machine delays any of them
        let mut least = Duration::MAX;
        for _ in 0..4 {
            let place = folder();
            let mut child = slow(place.path(), "").spawn().unwrap();
            std::thread::sleep(Duration::from_millis(500));
            assert!(child.try_wait().unwrap().is_none(), "it ended on its own");
            let start = Instant::now();
            send(name, &child);
            let output = child.wait_with_output().unwrap();
            least = least.min(start.elapsed());
            assert_died_of(signal, &output, name);
            let left = files(place.path());
            assert!(left.is_empty(), "{left:?}");
        }
        println!("SIG{name}: {least:?}");
        assert!(least < Duration::from_millis(500), "SIG{name}: {least:?}");
    }
}

#[test]
fn a_shell_reports_130_and_143() {
    for (name, signal) in SIGNALS {
        let place = folder();
        let line = format!(
            "\"$0\" check --units mm --cell 0.003mm half.stl >/dev/null & sleep 0.5; kill -s {name} $!; wait $!; echo $?"
        );
        let output = shell(place.path(), &line);
        let told = String::from_utf8(output.stdout).unwrap();
        assert_eq!(told.trim(), (128 + signal).to_string(), "SIG{name}");
    }
}

#[test]
fn a_time_limit_ends_the_check_with_a_sentence() {
    let place = folder();
    let start = Instant::now();
    let output = slow(place.path(), "--time-limit 0.5s").output().unwrap();
    let took = start.elapsed();
    let told = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(2), "{told}");
    assert_eq!(told.lines().count(), 1, "{told}");
    for word in [
        "moldvet: the time limit of 0.5s",
        "--time-limit",
        "nothing is written",
    ] {
        assert!(told.contains(word), "{told}");
    }
    assert!(took < Duration::from_secs(2), "{took:?}");
    assert!(files(place.path()).is_empty(), "{:?}", files(place.path()));
}

#[test]
fn a_time_limit_that_is_kept_changes_nothing() {
    let (with, without) = (folder(), folder());
    let limited = quick(with.path(), WRITES[2])
        .arg("--time-limit")
        .arg("10min")
        .output();
    assert!(limited.unwrap().status.code() < Some(2));
    quick(without.path(), WRITES[2]).output().unwrap();
    assert_eq!(files(with.path()), files(without.path()));
    assert_whole(with.path(), without.path(), "with a limit");
}
