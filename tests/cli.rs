//! The program as its users meet it: messages, exit status, files written.

#[allow(dead_code, reason = "shared with other tests")]
mod common;

use common::binary_stl;
use std::ffi::OsStr;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use tempfile::TempDir;

/// The program, in a folder of its own with a model `pocket.stl`, without the caller's terminal settings.
struct Shop {
    folder: TempDir,
}

impl Shop {
    fn new() -> Shop {
        let shop = Shop {
            folder: tempfile::tempdir().unwrap(),
        };
        fs::write(shop.path("pocket.stl"), pocket(1.0)).unwrap();
        shop
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn names(&self) -> Vec<String> {
        let entries = fs::read_dir(self.folder.path()).unwrap();
        let mut names: Vec<String> = entries
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        names
    }

    fn command<S: AsRef<OsStr>>(&self, args: &[S]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_moldvet"));
        command
            .args(args)
            .current_dir(self.folder.path())
            .env_remove("NO_COLOR");
        command.stdin(Stdio::null());
        command
    }

    fn run(&self, line: &str) -> Output {
        self.command(&line.split_whitespace().collect::<Vec<_>>())
            .output()
            .unwrap()
    }

    /// Runs what must be refused; gives the one sentence on stderr.
    fn refused(&self, line: &str) -> String {
        let output = self.run(line);
        let told = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{line}: {told}");
        assert!(
            output.stdout.is_empty(),
            "{line}: {:?}",
            String::from_utf8(output.stdout)
        );
        assert!(
            told.starts_with("moldvet: ") && told.ends_with('\n'),
            "{line}: {told}"
        );
        assert_eq!(told.lines().count(), 1, "{line}: {told}");
        told
    }
}

fn pocket(scale: f32) -> Vec<u8> {
    binary_stl(&common::pocket(scale))
}

/// Exit status that a JSON report calls for.
fn status(report: &serde_json::Value) -> i32 {
    match report["verdict"].as_str().unwrap() {
        "fail" => 1,
        "pass" | "watch" | "unsure" => 0,
        other => panic!("verdict {other}"),
    }
}

fn read_json(path: &Path) -> serde_json::Value {
    serde_json::from_slice(&fs::read(path).unwrap()).unwrap()
}

#[test]
fn usage_errors_are_one_sentence_and_status_2() {
    let shop = Shop::new();
    let cases = [
        ("check", "required arguments were not provided: <MODEL>"),
        (
            "check --frgive 1 pocket.stl",
            "unexpected argument '--frgive'",
        ),
        ("check a.stl b.stl c.stl", "unexpected"),
        ("milk pocket.stl", "unrecognized subcommand 'milk'"),
        (
            "check --units cubit pocket.stl",
            "--units: `cubit` is not a unit",
        ),
        (
            "check --units mm --ball 3ft pocket.stl",
            "--ball: `3ft` is not a length",
        ),
        (
            "check --units mm --ball 0 pocket.stl",
            "--ball must be more than 0",
        ),
        (
            "check --units mm --stickout -5 pocket.stl",
            "--stickout: `-5` is negative",
        ),
        (
            "check --units mm --cell 0 pocket.stl",
            "--cell must be more than 0",
        ),
        (
            "check --units mm --leave abc pocket.stl",
            "--leave: `abc` is not a length",
        ),
        (
            "check --units mm --draft 1mm pocket.stl",
            "--draft: `1mm` is not an angle",
        ),
        (
            "check --units mm --draft-min-area 1mm pocket.stl",
            "--draft-min-area: `1mm` is not an area",
        ),
        (
            "check --units mm --axis up pocket.stl",
            "--axis: `up` is not a direction",
        ),
        (
            "check --units mm --axis 0,0,0 pocket.stl",
            "--axis: `0,0,0` is not a direction",
        ),
        (
            "check --units mm --not-cavity 5 pocket.stl",
            "--not-cavity: `5` is not a place",
        ),
        ("check --units mm --threads 0 pocket.stl", "--threads"),
        ("check --units mm --shop none.toml pocket.stl", "none.toml"),
    ];
    for (line, expected) in cases {
        let told = shop.refused(line);
        assert!(told.contains(expected), "{line}: {told}");
    }
}

#[test]
fn without_units_it_asks_and_offers_a_guess() {
    let shop = Shop::new();
    let told = shop.refused("check pocket.stl");
    assert!(
        told.contains("add `--units mm` or `--units inch`"),
        "{told}"
    );
    assert!(
        told.contains("longest side is 100, which looks like mm"),
        "{told}"
    );
    fs::write(shop.path("small.stl"), pocket(0.04)).unwrap();
    let told = shop.refused("check small.stl");
    assert!(
        told.contains("longest side is 4, which looks like inches"),
        "{told}"
    );
    fs::write(shop.path("between.stl"), pocket(0.2)).unwrap();
    let told = shop.refused("check small.stl between.stl");
    assert!(
        told.contains("between.stl") && told.contains("may be either"),
        "{told}"
    );
}

#[test]
fn a_missing_file_is_named_before_anything_is_asked() {
    let shop = Shop::new();
    for line in ["check none.stl", "check --units mm pocket.stl none.stl"] {
        let told = shop.refused(line);
        assert!(
            told.contains("none.stl") && told.contains("cannot be read"),
            "{told}"
        );
    }
}

#[test]
fn what_cannot_be_written_is_refused_before_the_work() {
    let shop = Shop::new();
    fs::create_dir(shop.path("folder")).unwrap();
    let cases = [
        ("none/report.json", "is in a folder that does not exist"),
        (
            "pocket.stl/report.json",
            "is in a folder that does not exist",
        ),
        ("folder", "is a folder"),
        ("pocket.stl", "is one of the files to be read"),
        ("folder/../pocket.stl", "is one of the files to be read"),
    ];
    for (name, expected) in cases {
        let told = shop.refused(&format!("check --units mm --json {name} pocket.stl"));
        assert!(told.contains(expected), "{name}: {told}");
    }
    assert_eq!(fs::read(shop.path("pocket.stl")).unwrap(), pocket(1.0));
    assert_eq!(shop.names(), ["folder", "pocket.stl"]);
}

#[test]
fn help_and_version_are_no_errors() {
    let shop = Shop::new();
    for line in ["--help", "--version", "check --help"] {
        let output = shop.run(line);
        assert_eq!(output.status.code(), Some(0), "{line}");
        assert!(
            !output.stdout.is_empty() && output.stderr.is_empty(),
            "{line}"
        );
    }
    let help = String::from_utf8(shop.run("check --help").stdout).unwrap();
    for word in [
        "Cutters and tool lengths",
        "stickout",
        "parting line",
        "Example",
        "Exit status",
    ] {
        assert!(help.contains(word), "{word}: {help}");
    }
    let bare = shop.run("");
    assert_eq!(bare.status.code(), Some(2));
    assert!(bare.stdout.is_empty());
}

#[test]
fn json_on_stdout_stands_alone_and_decides_the_status() {
    let shop = Shop::new();
    for line in [
        "check --units mm --json - pocket.stl",
        "check --quiet --units mm --json - pocket.stl",
    ] {
        let output = shop.run(line);
        let report: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
        assert_eq!(report["format"], "moldvet-report-1");
        assert_eq!(output.status.code(), Some(status(&report)));
        assert!(
            output.stderr.is_empty(),
            "{:?}",
            String::from_utf8(output.stderr)
        );
    }
}

#[test]
fn a_json_file_is_replaced_whole_beside_the_text() {
    let shop = Shop::new();
    fs::write(shop.path("report.json"), "old").unwrap();
    let output = shop.run("check --units mm --json report.json pocket.stl");
    let report = read_json(&shop.path("report.json"));
    assert_eq!(output.status.code(), Some(status(&report)));
    assert_eq!(shop.names(), ["pocket.stl", "report.json"]);
    let text = String::from_utf8(output.stdout).unwrap();
    assert!(text.contains("not a release to cut"), "{text}");
    assert!(
        text.lines().all(|line| line.chars().count() <= 80),
        "{text}"
    );
    assert!(!text.contains('\u{1b}'), "piped text is plain");
}

#[cfg(unix)]
#[test]
fn a_json_file_gets_the_permissions_of_any_new_file() {
    use std::os::unix::fs::PermissionsExt;
    let shop = Shop::new();
    shop.run("check --quiet --units mm --json report.json pocket.stl");
    fs::write(shop.path("other"), "").unwrap();
    let mode = |name| fs::metadata(shop.path(name)).unwrap().permissions().mode();
    assert_eq!(mode("report.json"), mode("other"));
}

#[test]
fn quiet_prints_nothing() {
    let shop = Shop::new();
    let output = shop.run("check --quiet --units mm --json report.json pocket.stl");
    assert!(output.stdout.is_empty() && output.stderr.is_empty());
    assert_eq!(
        output.status.code(),
        Some(status(&read_json(&shop.path("report.json"))))
    );
}

#[test]
fn a_closed_pipe_is_no_error() {
    let shop = Shop::new();
    for json in ["report.json", "-"] {
        let args = ["check", "--units", "mm", "--json", json, "pocket.stl"];
        let (reader, writer) = std::io::pipe().unwrap();
        drop(reader); // nobody will read
        let output = shop.command(&args).stdout(writer).output().unwrap();
        assert!(
            output.stderr.is_empty(),
            "{:?}",
            String::from_utf8(output.stderr)
        );
        // the report file of the first round tells the verdict for both
        let report = read_json(&shop.path("report.json"));
        assert_eq!(output.status.code(), Some(status(&report)));
    }
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_an_error() {
    let shop = Shop::new();
    let full = fs::File::options().write(true).open("/dev/full").unwrap();
    let args = ["check", "--units", "mm", "pocket.stl"];
    let output = shop.command(&args).stdout(full).output().unwrap();
    let told = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(2));
    assert!(
        told.starts_with("moldvet: standard output cannot be written"),
        "{told}"
    );
}

#[test]
fn a_shop_file_may_tell_the_units() {
    let shop = Shop::new();
    fs::write(shop.path("shop.toml"), "units = \"mm\"\n").unwrap();
    let output = shop.run("check --shop shop.toml --ball 6 --quiet pocket.stl");
    let told = String::from_utf8(output.stderr).unwrap();
    assert_ne!(output.status.code(), Some(2), "{told}");
}

#[test]
fn the_report_does_not_depend_on_the_number_of_threads() {
    let shop = Shop::new();
    let with = |threads| {
        shop.run(&format!(
            "check --units mm --threads {threads} --json - pocket.stl"
        ))
    };
    let (one, three) = (with(1), with(3));
    assert!(!one.stdout.is_empty());
    assert_eq!(one.stdout, three.stdout);
    assert_eq!(one.status, three.status);
}

#[test]
fn two_models_are_compared_like_their_reports() {
    let shop = Shop::new();
    // a tenth larger all over: deeper, and of more volume
    fs::write(shop.path("larger.stl"), pocket(1.1)).unwrap();
    let rules = "--units mm --ball 6mm --stickout 40mm --cell 0.5";
    let models = shop.run(&format!("compare {rules} pocket.stl larger.stl"));
    for (model, report) in [("pocket.stl", "old.json"), ("larger.stl", "new.json")] {
        shop.run(&format!("check --quiet {rules} --json {report} {model}"));
    }
    let reports = shop.run("compare old.json new.json");
    let told = String::from_utf8(models.stdout).unwrap();
    assert!(
        told.contains("cavity depth") && told.contains("cavity volume"),
        "{told}"
    );
    assert_eq!(told, String::from_utf8(reports.stdout).unwrap());
    assert_eq!(models.status.code(), reports.status.code());
    let same = shop.run(&format!("compare {rules} pocket.stl old.json"));
    let told = String::from_utf8(same.stdout).unwrap();
    assert!(told.contains("Nothing differs"), "{told}");
    let told = shop.refused("compare --leave 0.1 old.json new.json");
    assert!(told.contains("--leave is for models"), "{told}");
    let told = shop.refused("compare pocket.stl larger.stl");
    assert!(told.contains("--units"), "{told}");
}

#[test]
fn a_part_gets_its_page_and_its_maps() {
    let shop = Shop::new();
    let rules = "--quiet --units mm --ball 6mm --cell 0.5 --pull +z";
    let done = shop.run(&format!(
        "body {rules} --html part.html --maps maps pocket.stl"
    ));
    assert_ne!(
        done.status.code(),
        Some(2),
        "{:?}",
        String::from_utf8(done.stderr)
    );
    let page = fs::read_to_string(shop.path("part.html")).unwrap();
    assert!(page.contains("Part check sheet") && page.contains("Pull and parting line"));
    assert!(
        shop.path("maps/part-parting.png").is_file() && shop.path("maps/part-draft.png").is_file()
    );
    let told = shop.refused(&format!("body {rules} --html maps pocket.stl"));
    assert!(told.contains("--html"), "{told}");
}
