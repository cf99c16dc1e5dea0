//! Where nothing can be written or read: one sentence and status 2, and what was there stays as it was.

#[allow(dead_code, reason = "shared with other tests")]
mod common;

use common::{data, shell};
use std::fs;
use std::path::Path;
use std::process::{Command, Output, Stdio};

fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs::copy(data("small_half.stl"), folder.path().join("half.stl")).unwrap();
    folder
}

const CHECK: &str = "check --units mm --axis +z --ball 6mm --cell 1mm";

fn command(folder: &Path, line: &str) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_moldvet"));
    command
        .args(line.split_whitespace())
        .current_dir(folder)
        .stdin(Stdio::null());
    command
}

/// The one sentence of a refusal, after what may stand on standard output.
fn sentence(output: &Output, what: &str) -> String {
    let told = String::from_utf8(output.stderr.clone()).unwrap();
    assert_eq!(output.status.code(), Some(2), "{what}: {told}");
    assert!(told.starts_with("moldvet: "), "{what}: {told}");
    assert_eq!(told.lines().count(), 1, "{what}: {told}");
    told
}

fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).unwrap();
    let mut names: Vec<String> = entries
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

#[test]
fn every_output_is_looked_at_before_the_work() {
    let place = folder();
    fs::create_dir(place.path().join("taken")).unwrap();
    fs::write(place.path().join("file"), "mine").unwrap();
    for (line, told) in [
        (
            format!("{CHECK} --html taken half.stl"),
            "--html: taken is a folder",
        ),
        (
            format!("{CHECK} --html none/p.html half.stl"),
            "--html: none/p.html is in a folder that does not exist",
        ),
        (
            format!("{CHECK} --maps file half.stl"),
            "--maps: file is not a folder",
        ),
        (
            format!("{CHECK} --maps none/maps half.stl"),
            "--maps: none/maps is in a folder that does not exist",
        ),
        (
            "plan --units mm --json taken half.stl".to_owned(),
            "--json: taken is a folder",
        ),
        (
            "body --units mm --json taken half.stl".to_owned(),
            "--json: taken is a folder",
        ),
        (
            "body --units mm --write-halves none/a half.stl".to_owned(),
            "is in a folder that does not exist",
        ),
    ] {
        let output = command(place.path(), &line).output().unwrap();
        let found = sentence(&output, &line);
        assert!(found.contains(told), "{line}: {found}");
        assert!(output.stdout.is_empty(), "{line}");
    }
    assert_eq!(names(place.path()), ["file", "half.stl", "taken"]);
    assert_eq!(
        fs::read_to_string(place.path().join("file")).unwrap(),
        "mine"
    );
}

#[test]
fn inputs_that_are_not_there_or_no_files_are_named() {
    let place = folder();
    fs::create_dir(place.path().join("taken")).unwrap();
    for line in [
        "check --units mm gone.stl",
        "check gone.stl",
        "check --units mm taken",
        "check taken",
        "check --units mm half.stl gone.stl",
        "check --units mm --shop gone.toml half.stl",
        "check --units mm --shop taken half.stl",
        "plan --units mm gone.stl",
        "body --units mm taken",
        "compare gone.json gone.json",
        "compare taken taken",
    ] {
        let output = command(place.path(), line).output().unwrap();
        let told = sentence(&output, line);
        let named = line
            .split(' ')
            .any(|word| (word.starts_with("gone") || word == "taken") && told.contains(word));
        assert!(named && output.stdout.is_empty(), "{line}: {told}");
    }
}

#[cfg(unix)]
#[test]
fn an_input_that_vanishes_is_named() {
    let place = folder();
    std::os::unix::fs::symlink("gone.stl", place.path().join("link.stl")).unwrap();
    let output = command(place.path(), &format!("{CHECK} link.stl")).output();
    let told = sentence(&output.unwrap(), "a link to nothing");
    assert!(told.contains("link.stl"), "{told}");
}

/// A file may grow to 512 bytes only, so that a disk seems to fill up in the middle of a report.
#[cfg(target_os = "linux")]
#[test]
fn a_disk_that_fills_up_leaves_the_old_file_and_nothing_beside_it() {
    for (option, name) in [("--json", "report"), ("--html", "page")] {
        let place = folder();
        fs::write(place.path().join(name), "old").unwrap();
        let line = format!(
            "trap '' XFSZ; ulimit -f 1; exec \"$0\" {CHECK} --quiet {option} {name} half.stl"
        );
        let output = shell(place.path(), &line);
        let told = sentence(&output, option);
        for words in [name, "cannot be written", "as it was before"] {
            assert!(told.contains(words), "{told}");
        }
        assert_eq!(fs::read_to_string(place.path().join(name)).unwrap(), "old");
        let mut left = ["half.stl", name];
        left.sort();
        assert_eq!(names(place.path()), left);
    }
}

/// The same for what is written beside reports: pictures, halves, plans.
#[cfg(target_os = "linux")]
#[test]
fn a_disk_that_fills_up_leaves_no_picture_half_or_plan_behind() {
    for (line, name) in [
        (format!("{CHECK} --quiet --maps maps half.stl"), "maps"),
        (
            "body --units mm --cell 1mm --ball 6mm --quiet --write-halves new half.stl".to_owned(),
            "new-",
        ),
        (
            "plan --units mm --axis +z --ball 6mm --quiet --json plan.json half.stl".to_owned(),
            "plan.json",
        ),
    ] {
        let place = folder();
        fs::create_dir(place.path().join("maps")).unwrap();
        let limited = format!("trap '' XFSZ; ulimit -f 1; exec \"$0\" {line}");
        let output = Command::new("sh")
            .args(["-c", &limited, env!("CARGO_BIN_EXE_moldvet")])
            .current_dir(place.path())
            .output()
            .unwrap();
        let told = sentence(&output, &line);
        for words in [name, "cannot be written", "make room"] {
            assert!(told.contains(words), "{told}");
        }
        assert_eq!(names(place.path()), ["half.stl", "maps"]);
        assert!(names(&place.path().join("maps")).is_empty());
    }
}

/// A folder that was made for pictures goes with them.
#[cfg(target_os = "linux")]
#[test]
fn a_disk_that_fills_up_leaves_no_empty_folder_behind() {
    let place = folder();
    let line =
        format!("trap '' XFSZ; ulimit -f 1; exec \"$0\" {CHECK} --quiet --maps maps half.stl");
    let told = sentence(&shell(place.path(), &line), &line);
    assert!(told.contains("cannot be written"), "{told}");
    assert_eq!(names(place.path()), ["half.stl"]);
}

/// Kernel's own folder: no user, not even root, can make a file in it.
#[cfg(target_os = "linux")]
#[test]
fn a_folder_that_takes_no_files_is_an_error() {
    let place = folder();
    for (option, name) in [
        ("--json", "/proc/report.json"),
        ("--html", "/proc/page.html"),
        ("--maps", "/proc"),
    ] {
        let line = format!("{CHECK} --quiet {option} {name} half.stl");
        let output = command(place.path(), &line).output().unwrap();
        let told = sentence(&output, option);
        assert!(
            told.contains("/proc") && told.contains("cannot be written"),
            "{told}"
        );
    }
    assert_eq!(names(place.path()), ["half.stl"]);
}

#[test]
fn a_closed_pipe_is_quiet_for_plan_and_compare_too() {
    let place = folder();
    let line = format!("{CHECK} --quiet --json report.json half.stl");
    assert!(command(place.path(), &line).status().unwrap().code() < Some(2));
    for line in [
        "plan --units mm --axis +z --ball 6mm half.stl",
        "compare report.json report.json",
        "check --help",
    ] {
        let (reader, writer) = std::io::pipe().unwrap();
        drop(reader); // nobody will read
        let output = command(place.path(), line).stdout(writer).output().unwrap();
        let told = String::from_utf8(output.stderr).unwrap();
        assert!(
            told.is_empty() && output.status.code() < Some(2),
            "{line}: {told}"
        );
    }
}
