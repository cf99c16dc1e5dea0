//! Every crate that is depended on has a licence and a source that `deny.toml` allows, and one version but for those named there.

use serde_json::Value;
use std::collections::BTreeMap;
use std::path::Path;
use std::process::Command;

fn output(program: &str, args: &[&str]) -> String {
    let run = Command::new(program)
        .args(args)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .unwrap_or_else(|e| panic!("{program}: {e}"));
    assert!(
        run.status.success(),
        "{}",
        String::from_utf8_lossy(&run.stderr)
    );
    String::from_utf8(run.stdout).unwrap()
}

/// All crates that a build for this machine may take, by name, version, licence and source; this one has no source.
fn crates() -> Vec<[String; 4]> {
    let host = output(env!("CARGO"), &["-vV"]);
    let host = host.lines().find_map(|line| line.strip_prefix("host: "));
    let wanted = "metadata --locked --offline --format-version 1 --filter-platform";
    let mut args: Vec<&str> = wanted.split(' ').collect();
    args.push(host.unwrap());
    let all: Value = serde_json::from_str(&output(env!("CARGO"), &args)).unwrap();
    let packages = all["packages"].as_array().unwrap();
    let told = |p: &Value, key: &str| p[key].as_str().unwrap_or_default().to_owned();
    packages
        .iter()
        .map(|p| ["name", "version", "license", "source"].map(|key| told(p, key)))
        .collect()
}

fn allowed() -> toml::Table {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("deny.toml");
    std::fs::read_to_string(path).unwrap().parse().unwrap()
}

fn texts(list: &toml::Value) -> Vec<&str> {
    list.as_array()
        .unwrap()
        .iter()
        .filter_map(toml::Value::as_str)
        .collect()
}

/// Whether a licence expression (SPDX 2.3, annex D) can be met by these licences; `/` is an old way to write `OR`.
fn met(expression: &str, by: &[&str]) -> bool {
    let spaced = expression
        .replace('/', " OR ")
        .replace('(', " ( ")
        .replace(')', " ) ");
    let mut words = spaced.split_whitespace().peekable();
    let all = any(&mut words, by);
    assert!(words.next().is_none(), "{expression}");
    all
}

type Words<'w> = std::iter::Peekable<std::str::SplitWhitespace<'w>>;

fn any(words: &mut Words, by: &[&str]) -> bool {
    let mut is = every(words, by);
    while words.next_if_eq(&"OR").is_some() {
        is |= every(words, by);
    }
    is
}

fn every(words: &mut Words, by: &[&str]) -> bool {
    let mut is = one(words, by);
    while words.next_if_eq(&"AND").is_some() {
        is &= one(words, by);
    }
    is
}

fn one(words: &mut Words, by: &[&str]) -> bool {
    match words.next() {
        Some("(") => {
            let is = any(words, by);
            assert_eq!(words.next(), Some(")"));
            is
        }
        Some(name) => {
            // an exception only allows more
            if words.next_if_eq(&"WITH").is_some() {
                words.next();
            }
            by.contains(&name)
        }
        None => false,
    }
}

#[test]
fn expressions_are_met_as_they_are_meant() {
    for (expression, is) in [
        ("MIT", true),
        ("GPL-3.0-only", false),
        ("GPL-3.0-only OR MIT", true),
        ("Unlicense/MIT", true),
        ("MIT AND GPL-3.0-only", false),
        ("(MIT OR GPL-3.0-only) AND Zlib", true),
        ("GPL-3.0-only WITH Classpath-exception-2.0 OR Zlib", true),
        ("", false),
    ] {
        assert_eq!(met(expression, &["MIT", "Zlib"]), is, "{expression}");
    }
}

#[test]
fn every_licence_and_source_is_allowed() {
    let allowed = allowed();
    let licences = texts(&allowed["licenses"]["allow"]);
    let registries = texts(&allowed["sources"]["allow-registry"]);
    let crates = crates();
    assert!(crates.len() > 100, "{}", crates.len());
    for [name, version, licence, source] in &crates {
        assert!(met(licence, &licences), "{name} {version}: {licence}");
        let from = source.strip_prefix("registry+");
        let own = name == env!("CARGO_PKG_NAME") && source.is_empty();
        assert!(
            own || from.is_some_and(|f| registries.contains(&f)),
            "{name}: {source}"
        );
    }
}

#[test]
fn every_crate_has_one_version_but_for_those_named() {
    let allowed = allowed();
    let skipped: Vec<&str> = allowed["bans"]["skip"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|skip| skip["crate"].as_str())
        .collect();
    let mut versions: BTreeMap<String, Vec<String>> = BTreeMap::new();
    let crates = crates();
    for [name, version, ..] in &crates {
        if !skipped.contains(&format!("{name}@{version}").as_str()) {
            versions
                .entry(name.clone())
                .or_default()
                .push(version.clone());
        }
    }
    let several: Vec<_> = versions.iter().filter(|(_, v)| v.len() > 1).collect();
    assert!(several.is_empty(), "{several:?}");
    // nothing is named that is no longer there
    let there = |skip: &&&str| {
        crates
            .iter()
            .any(|[n, v, ..]| format!("{n}@{v}") == ***skip)
    };
    assert_eq!(skipped.iter().filter(there).count(), skipped.len());
}
