//! What is too large is refused before it is begun, in one sentence with the limit, the need and the option that moves it.

#[allow(dead_code, reason = "shared with other tests")]
mod common;

use common::data;
use std::process::{Command, Output};

fn run(line: &str) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_moldvet"));
    command.args(line.split_whitespace());
    command
        .current_dir(data("."))
        .output()
        .unwrap_or_else(|e| panic!("{line}: {e}"))
}

fn refused(line: &str, words: &[&str]) {
    let output = run(line);
    let told = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(2), "{line}: {told}");
    assert!(
        told.starts_with("moldvet: ") && told.lines().count() == 1,
        "{line}: {told}"
    );
    for word in words {
        assert!(told.contains(word), "{line}: `{word}` is not in: {told}");
    }
}

/// A half of 1692 triangles, 30 × 24 mm.
const HALF: &str = "small_half.stl";

#[test]
fn more_triangles_than_allowed() {
    let words = [
        "small_half.stl: ",
        "has 1692 triangles",
        "limit of 1000",
        "--max-triangles",
    ];
    for command in [
        "check --units mm --max-triangles 1000",
        // the question for the unit looks at the size
        "check --max-triangles 1000",
        "plan --units mm --max-triangles 1000",
        "body --units mm --max-triangles 1000",
    ] {
        refused(&format!("{command} {HALF}"), &words);
    }
    let both = format!("{HALF} {HALF}");
    refused(
        &format!("compare --units mm --max-triangles 1000 {both}"),
        &words,
    );
    refused(
        &format!("check --max-triangles 0 {HALF}"),
        &["--max-triangles"],
    );
    refused(
        &format!("check --max-triangles 715827883 {HALF}"),
        &["715827882"],
    );
}

#[test]
fn more_memory_than_allowed() {
    // 1692 triangles of 300 bytes are 495.7 KiB
    let words = [
        "small_half.stl: ",
        "about 495.7 KiB",
        "limit of 100.0 KiB",
        "--memory",
    ];
    refused(&format!("check --units mm --memory 100KiB {HALF}"), &words);
    // columns of 31 bytes at 0.01 mm over 30 × 24 mm: 213 MiB; 900 bytes a triangle: 1; and 224 for the rest
    let words = [
        "takes about 438.",
        " MiB of memory",
        "limit of 300.0 MiB",
        "--cell",
        "--memory",
    ];
    let fine = "--units mm --cell 0.01mm --memory 300MiB";
    refused(&format!("check {fine} {HALF}"), &words);
    refused(&format!("plan {fine} {HALF}"), &words);
    refused(&format!("compare {fine} {HALF} {HALF}"), &words);
    // two halves from a block 50 mm wide and 44 mm deep, or less where its height is not in plan: 32 bytes a column
    refused(
        &format!("body {fine} {HALF}"),
        &["GiB of memory", "limit of 300.0 MiB"],
    );
    refused(
        &format!("check --units mm --memory 4 {HALF}"),
        &["--memory: `4`", "4GiB"],
    );
}

#[test]
fn what_is_within_the_limits_is_not_changed_by_them() {
    let line = format!("check --units mm --axis +z --ball 6mm --cell 1mm --json - {HALF}");
    let limited = format!("{line} --max-triangles 1692 --memory 256MiB --time-limit 1h");
    let (free, limited) = (run(&line), run(&limited));
    assert!(free.status.code() < Some(2), "{free:?}");
    assert_eq!(free.stdout, limited.stdout);
}

#[test]
fn a_comparison_of_models_keeps_the_time_limit() {
    let line = "compare --units mm --cell 0.003mm --time-limit 0.2s small_half.stl small_half.stl";
    refused(line, &["time limit of 0.2s", "--time-limit"]);
}
