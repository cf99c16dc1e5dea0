//! Writes the sample models into `sample-models/`, with their truths, and prints the table of truths.
//!
//! `cargo run --release --example make_samples` rewrites the files;
//! `cargo run --release --example make_samples -- --check` only compares them.

#[allow(dead_code, reason = "the tests use more of it")]
mod samples;

use std::path::Path;
use std::process::ExitCode;

fn main() -> Result<ExitCode, Box<dyn std::error::Error>> {
    let check = match std::env::args().nth(1).as_deref() {
        None => false,
        Some("--check") => true,
        Some(other) => return Err(format!("unknown argument {other}; try --check").into()),
    };
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-models");
    let readme = std::fs::read_to_string(folder.join("README.md"))?;
    let readme =
        samples::readme_with_table(&readme).ok_or("README.md has no place for the table")?;
    let mut files = vec![
        ("README.md", readme.into_bytes()),
        ("truth.json", samples::truth::json().into_bytes()),
    ];
    files.extend(samples::models().iter().map(|m| (m.name, m.stl())));
    let mut same = true;
    for (name, bytes) in &files {
        let path = folder.join(name);
        if !check {
            std::fs::write(&path, bytes)?;
        } else if std::fs::read(&path)? != *bytes {
            eprintln!("{name} differs from what the generator makes; run make_samples to renew it");
            same = false;
        }
    }
    print!("{}", samples::truth::table());
    Ok(if same {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    })
}
