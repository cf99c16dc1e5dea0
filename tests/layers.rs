//! Which module knows which: imports go one way.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

/// Modules from the bottom up, each with all that it may know.
const LAYERS: [(&str, &[&str]); 13] = [
    ("units", &[]),
    ("mesh", &["units"]),
    ("shop", &["units"]),
    ("field", &["mesh"]),
    ("setup", &["mesh", "field"]),
    ("report", &["units", "mesh", "shop", "setup"]),
    ("vet", &["mesh", "shop", "field", "setup", "report"]),
    (
        "body",
        &["units", "mesh", "field", "setup", "report", "vet"],
    ),
    ("plan", &["mesh", "shop", "field", "setup", "report", "vet"]),
    (
        "picture",
        &["units", "mesh", "shop", "field", "setup", "report", "vet"],
    ),
    (
        "sheet",
        &["units", "shop", "field", "report", "vet", "picture"],
    ),
    (
        "cli",
        &[
            "units", "mesh", "shop", "report", "vet", "body", "plan", "picture", "sheet",
        ],
    ),
    ("main", &["cli"]),
];

#[test]
fn modules_know_only_those_below_them() {
    for (k, (module, known)) in LAYERS.iter().enumerate() {
        let below: Vec<&str> = LAYERS[..k].iter().map(|l| l.0).collect();
        let above: Vec<_> = known.iter().filter(|m| !below.contains(m)).collect();
        assert!(
            above.is_empty(),
            "{module} may know {above:?}, which do not lie below it"
        );
    }
}

#[test]
fn imports_are_those_that_the_layers_allow() {
    let found = arrows();
    let mut wrong = Vec::new();
    for (module, files) in &found {
        let Some((_, known)) = LAYERS.iter().find(|l| l.0 == module) else {
            wrong.push(format!("{module} is in no layer"));
            continue;
        };
        for (other, file) in files {
            if !known.contains(&other.as_str()) {
                wrong.push(format!("{} uses {other}", file.display()));
            }
        }
        for other in known.iter().filter(|m| !files.contains_key(**m)) {
            wrong.push(format!("{module} may know {other} and does not"));
        }
    }
    let modules: BTreeSet<&str> = LAYERS.iter().map(|l| l.0).collect();
    let seen: BTreeSet<&str> = found.keys().map(String::as_str).collect();
    assert_eq!(modules, seen);
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// For each module of the crate those that its code names, each with a file that does; tests are left out.
fn arrows() -> BTreeMap<String, BTreeMap<String, PathBuf>> {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    collect(&src, &mut files);
    let mut found: BTreeMap<String, BTreeMap<String, PathBuf>> = BTreeMap::new();
    for file in files {
        let within = file.strip_prefix(&src).unwrap().to_path_buf();
        let parts: Vec<String> = within
            .components()
            .map(|c| {
                c.as_os_str()
                    .to_string_lossy()
                    .trim_end_matches(".rs")
                    .to_owned()
            })
            .collect();
        // the list of modules, and what only tests are built from
        let tests = ["tests", "testing", "samples"];
        if parts[0] == "lib" || parts.iter().any(|p| tests.contains(&p.as_str())) {
            continue;
        }
        let own = &parts[0];
        let text = std::fs::read_to_string(&file).unwrap();
        let code = text.split("#[cfg(test)]\nmod tests {").next().unwrap();
        let named = found.entry(own.clone()).or_default();
        let lines = code.lines().filter(|l| !l.trim_start().starts_with("//"));
        let code = lines.collect::<Vec<_>>().join("\n");
        let mut starts = vec!["crate::", "moldvet::"];
        if own == "main" {
            starts.push("\nmod ");
        }
        for start in starts {
            for (at, _) in code.match_indices(start) {
                for other in names(&code[at + start.len()..]) {
                    if other != *own {
                        named.entry(other).or_insert_with(|| within.clone());
                    }
                }
            }
        }
    }
    found
}

/// The first names of a path, or of a list of paths in braces.
fn names(path: &str) -> Vec<String> {
    let first = |p: &str| -> String {
        p.trim()
            .chars()
            .take_while(|c| c.is_alphanumeric() || *c == '_')
            .collect()
    };
    match path.strip_prefix('{') {
        Some(list) => {
            let mut depth = 0;
            let mut parts = vec![String::new()];
            for c in list.chars() {
                match c {
                    '}' if depth == 0 => break,
                    ',' if depth == 0 => parts.push(String::new()),
                    _ => {}
                }
                depth += i32::from(c == '{') - i32::from(c == '}');
                if let Some(part) = parts.last_mut().filter(|_| c != ',') {
                    part.push(c);
                }
            }
            parts.iter().map(|p| first(p)).collect()
        }
        None => vec![first(path)],
    }
    .into_iter()
    .filter(|n| !n.is_empty())
    .collect()
}

fn collect(folder: &Path, files: &mut Vec<PathBuf>) {
    let mut entries: Vec<PathBuf> = std::fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap().path())
        .collect();
    entries.sort();
    for path in entries {
        if path.is_dir() {
            collect(&path, files);
        } else if path.extension().is_some_and(|e| e == "rs") {
            files.push(path);
        }
    }
}
