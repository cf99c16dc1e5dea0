//! The copy of the project that is mutated, and what of it compiles.

use crate::schemata;
use crate::sites::Site;
use serde_json::Value;
use std::collections::BTreeSet;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// A mutant of the project.
pub struct Mutant {
    /// From the project's root.
    pub file: PathBuf,
    pub site: Site,
}

fn files(all: &[Mutant]) -> BTreeSet<&Path> {
    all.iter().map(|m| m.file.as_path()).collect()
}

/// Writes a file whose content changes: what stays as it was need not be built again.
fn write_anew(path: &Path, content: &[u8]) -> io::Result<()> {
    match fs::read(path) {
        Ok(old) if old == content => Ok(()),
        _ => fs::write(path, content),
    }
}

/// The project's copy.
pub struct Copy {
    pub root: PathBuf,
}

impl Copy {
    /// Copies what git knows of the project, or would; the switches go into the library's root.
    pub fn make(project: &Path, root: PathBuf, all: &[Mutant]) -> io::Result<Self> {
        let mutated = files(all);
        let listed = Command::new("git")
            .args([
                "ls-files",
                "-z",
                "--cached",
                "--others",
                "--exclude-standard",
            ])
            .current_dir(project)
            .output()?;
        let listed = String::from_utf8(listed.stdout).map_err(io::Error::other)?;
        for name in listed.split_terminator('\0') {
            let from = project.join(name);
            if name.starts_with("tests/mutants/") || !from.is_file() {
                continue;
            }
            let to = root.join(name);
            fs::create_dir_all(to.parent().unwrap_or(&root))?;
            // the library's root and the mutated files are written below
            if name != "src/lib.rs" && !mutated.contains(Path::new(name)) {
                write_anew(&to, &fs::read(from)?)?;
            }
        }
        let library = fs::read_to_string(project.join("src/lib.rs"))?;
        let switches = "mod mutants;\npub(crate) use mutants::{mutant, recording, told};\n";
        write_anew(&root.join("src/lib.rs"), (library + switches).as_bytes())?;
        write_anew(&root.join("src/mutants.rs"), include_bytes!("switch.rs"))?;
        Ok(Self { root })
    }

    /// Writes the files with the chosen mutants in them.
    fn write(&self, project: &Path, all: &[Mutant], chosen: &BTreeSet<usize>) -> io::Result<()> {
        for file in files(all) {
            let sites: Vec<(usize, &Site)> = (chosen.iter())
                .filter(|&&id| all[id].file == file)
                .map(|&id| (id, &all[id].site))
                .collect();
            let text = fs::read_to_string(project.join(file))?;
            let text = schemata::with_switches(&text, &sites);
            write_anew(&self.root.join(file), text.as_bytes())?;
        }
        Ok(())
    }

    /// Takes mutants that do not compile out of `chosen`, and gives them.
    pub fn settle(
        &self,
        project: &Path,
        all: &[Mutant],
        chosen: &mut BTreeSet<usize>,
    ) -> io::Result<BTreeSet<usize>> {
        let mut not_viable = BTreeSet::new();
        loop {
            self.write(project, all, chosen)?;
            let (messages, ok) = self.cargo(&["check", "--lib"])?;
            if ok {
                return Ok(not_viable);
            }
            let wrong: BTreeSet<usize> = (messages.iter())
                .filter(|m| m["message"]["level"] == "error")
                .flat_map(|m| self.blamed(&m["message"]))
                .collect();
            let wrong: Vec<usize> = wrong.into_iter().filter(|id| chosen.remove(id)).collect();
            if wrong.is_empty() {
                return Err(io::Error::other(
                    "the copy does not compile, and no mutant is to blame",
                ));
            }
            eprintln!("{} do not compile", wrong.len());
            not_viable.extend(wrong);
        }
    }

    fn blamed(&self, message: &Value) -> Vec<usize> {
        let spans = message["spans"].as_array().map_or(&[][..], Vec::as_slice);
        let of_span = |span: &Value| {
            let file = fs::read_to_string(self.root.join(span["file_name"].as_str()?)).ok()?;
            let byte = |key: &str| Some(span[key].as_u64()? as usize);
            Some(schemata::at(
                &file,
                (byte("byte_start")?, byte("byte_end")?),
            ))
        };
        let mut of_all: Vec<Vec<usize>> = spans.iter().filter_map(of_span).collect();
        of_all.retain(|ids| !ids.is_empty());
        // one that is surely to blame, before all of a line
        let fewest = of_all.iter().map(Vec::len).min().unwrap_or(0);
        of_all.retain(|ids| ids.len() == fewest);
        of_all.concat()
    }

    /// Builds the tests, and gives their programs: the library's, and those in `tests` of these names.
    pub fn tests(&self, names: &[&str]) -> io::Result<Vec<PathBuf>> {
        let mut arguments = vec!["test", "--no-run", "--lib"];
        for name in names {
            arguments.extend(["--test", name]);
        }
        let (messages, ok) = self.cargo(&arguments)?;
        if !ok {
            return Err(io::Error::other("the copy's tests do not compile"));
        }
        let program = |m: &Value| {
            let test = m["profile"]["test"] == true;
            let path = m["executable"].as_str().filter(|_| test);
            path.map(PathBuf::from)
        };
        Ok(messages.iter().filter_map(program).collect())
    }

    fn cargo(&self, arguments: &[&str]) -> io::Result<(Vec<Value>, bool)> {
        let run = Command::new("cargo")
            .args(arguments)
            .args(["--locked", "--message-format", "json"])
            .current_dir(&self.root)
            .env("CARGO_TARGET_DIR", self.root.with_file_name("target"))
            .stderr(Stdio::inherit())
            .output()?;
        let lines = String::from_utf8_lossy(&run.stdout);
        let messages = lines.lines().filter_map(|l| serde_json::from_str(l).ok());
        Ok((messages.collect(), run.status.success()))
    }
}
