//! What is left when the program is ended before its work is done: whole files or none, and nothing beside them.
#![cfg(unix)]

#[allow(dead_code, reason = "shared with other tests")]
mod common;

use common::data;
use std::fs;
use std::os::unix::process::ExitStatusExt;
use std::path::Path;
use std::process::{Child, Command, Output, Stdio};
use std::time::{Duration, Instant};

/// Numbers of the signals (POSIX).
const SIGNALS: [(&str, i32); 2] = [("INT", 2), ("TERM", 15)];
/// What a check writes here.
const WRITES: &str = "--json report.json --html page.html --maps maps";

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
fn quick(folder: &Path) -> Command {
    program(folder, &format!("--ball 6mm --cell 1mm {WRITES} half.stl"))
}

/// A check that takes far longer than a test may.
fn slow(folder: &Path, more: &str) -> Command {
    program(
        folder,
        &format!("--ball 1mm --ball 2mm --ball 3mm --cell 0.004mm {more} {WRITES} half.stl"),
    )
}

fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
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

/// All files under `folder` but the model.
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
    found.retain(|name| name != "half.stl");
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

#[test]
fn two_hundred_interruptions_leave_whole_files_only() {
    let reference = folder();
    let start = Instant::now();
    assert!(quick(reference.path()).output().unwrap().status.code() < Some(2));
    let whole_run = start.elapsed();
    let all = files(reference.path()).len();
    assert!(all > 3, "{:?}", files(reference.path()));
    // a linear congruential generator with the constants of Knuth's MMIX (from memory)
    let mut state = 8_u64;
    let (mut early, mut partly, mut late) = (0, 0, 0);
    for round in 0..200 {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        let share = (state >> 40) as f64 / (1_u64 << 24) as f64;
        let (name, signal) = SIGNALS[round % 2];
        let place = folder();
        let child = quick(place.path()).spawn().unwrap();
        // half of them while files are written, at the end
        let share = if round % 4 < 2 {
            0.8 + 0.25 * share
        } else {
            share
        };
        std::thread::sleep(whole_run.mul_f64(share));
        send(name, &child);
        let output = child.wait_with_output().unwrap();
        let what = format!("round {round}, SIG{name}");
        let written = assert_whole(place.path(), reference.path(), &what);
        match output.status.code() {
            // it was done before
            Some(code) => {
                assert!(code < 2 && written == all, "{what}: {output:?}, {written}");
                late += 1;
            }
            None => assert_died_of(signal, &output, &what),
        }
        early += usize::from(written == 0);
        partly += usize::from(written > 0 && written < all);
    }
    println!(
        "{whole_run:?} a check; nothing written {early}, some of {all} files {partly}, done {late}"
    );
    // the moments are spread over the whole run
    assert!(
        early > 20 && early + partly + late <= 200,
        "{early} {partly} {late}"
    );
}

#[test]
fn a_long_check_ends_within_half_a_second() {
    for (name, signal) in SIGNALS {
        let place = folder();
        let mut child = slow(place.path(), "").spawn().unwrap();
        std::thread::sleep(Duration::from_millis(700));
        assert!(child.try_wait().unwrap().is_none(), "it ended on its own");
        let start = Instant::now();
        send(name, &child);
        let output = child.wait_with_output().unwrap();
        let took = start.elapsed();
        assert_died_of(signal, &output, name);
        assert!(took < Duration::from_millis(500), "SIG{name}: {took:?}");
        assert!(files(place.path()).is_empty(), "{:?}", files(place.path()));
    }
}

#[test]
fn a_shell_reports_130_and_143() {
    for (name, signal) in SIGNALS {
        let place = folder();
        let line = format!(
            "\"$0\" check --units mm --cell 0.004mm half.stl >/dev/null & sleep 0.5; kill -s {name} $!; wait $!; echo $?"
        );
        let mut shell = Command::new("sh");
        let output = shell
            .args(["-c", &line, env!("CARGO_BIN_EXE_moldvet")])
            .current_dir(place.path())
            .output()
            .unwrap();
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
    let limited = quick(with.path()).arg("--time-limit").arg("10min").output();
    assert!(limited.unwrap().status.code() < Some(2));
    quick(without.path()).output().unwrap();
    assert_eq!(files(with.path()), files(without.path()));
    assert_whole(with.path(), without.path(), "with a limit");
}
