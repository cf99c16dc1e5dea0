//! Where the reports go.

use super::ending::Ending;
use super::error::CliError;
use std::ffi::OsStr;
use std::fs;
use std::io::{self, IsTerminal, Write};
use std::path::{Path, PathBuf};

/// Whether to paint what goes to standard output: only on a terminal that wants it.
pub fn colour() -> bool {
    let refused = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
    let dumb = std::env::var_os("TERM").is_some_and(|value| value == "dumb");
    io::stdout().is_terminal() && !refused && !dumb
}

/// Prints `text` to standard output. A reader that has closed the pipe has read enough.
///
/// # Errors
/// If standard output fails otherwise.
pub fn print(text: &str) -> Result<(), CliError> {
    let mut out = io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => Err(CliError::Print(error)),
        _ => Ok(()),
    }
}

/// Where a report goes.
#[derive(Debug, PartialEq, Eq)]
pub enum Sink {
    /// Standard output.
    Stdout,
    /// A file.
    File(PathBuf),
}

impl Sink {
    /// A file's name, or `-`.
    pub fn new(name: &str) -> Sink {
        match name {
            "-" => Sink::Stdout,
            _ => Sink::File(name.into()),
        }
    }

    /// Finds out, before a long check is done, what would keep its report from being written.
    ///
    /// # Errors
    /// If it is one of `inputs`, no ordinary file, or in no folder.
    pub fn check(&self, option: &'static str, inputs: &[PathBuf]) -> Result<(), CliError> {
        match self {
            Sink::Stdout => Ok(()),
            Sink::File(path) => writable(option, path, inputs),
        }
    }

    /// Writes `text`: a file is replaced as a whole or not at all.
    ///
    /// # Errors
    /// If the system refuses.
    pub fn write(&self, text: &str, ending: &Ending) -> Result<(), CliError> {
        match self {
            Sink::Stdout => print(text),
            Sink::File(path) => {
                let path = path.clone();
                ending
                    .replace(&path, text.as_bytes())
                    .map_err(|source| CliError::Write { path, source })
            }
        }
    }
}

/// The folder that pictures go to.
#[derive(Debug, PartialEq, Eq)]
pub struct Folder(pub PathBuf);

impl Folder {
    /// Finds out, before a long check is done, whether pictures can go there.
    ///
    /// # Errors
    /// If it is something else, or in no folder.
    pub fn check(&self, option: &'static str) -> Result<(), CliError> {
        let reason = if self.0.exists() && !self.0.is_dir() {
            "is not a folder"
        } else if !self.0.exists() && !folder(&self.0).is_dir() {
            "is in a folder that does not exist"
        } else {
            return Ok(());
        };
        Err(CliError::NotAFile {
            option,
            path: self.0.clone(),
            reason,
        })
    }

    /// Writes a file into it, making the folder first if it is not there.
    ///
    /// # Errors
    /// If the system refuses.
    pub fn write(&self, name: &str, bytes: &[u8], ending: &Ending) -> Result<(), CliError> {
        let path = self.0.join(name);
        let write = || {
            if self.0.is_dir() {
                return ending.replace(&path, bytes);
            }
            fs::create_dir(&self.0)?;
            ending.replace(&path, bytes).inspect_err(|_| {
                // made for this file alone: if it cannot be taken away again it is left, empty
                let _ = fs::remove_dir(&self.0);
            })
        };
        write().map_err(|source| CliError::Write { path, source })
    }
}

/// Where the halves of a body go.
#[derive(Debug, PartialEq, Eq)]
pub struct Halves {
    /// What comes before `-lower.stl` and `-upper.stl`.
    prefix: PathBuf,
}

impl Halves {
    /// Into the folder `name`, named like `model`; or, if there is no such folder, with `name` as prefix.
    pub fn new(name: &str, model: &Path) -> Halves {
        let name = Path::new(name);
        let stem = model.file_stem().unwrap_or(model.as_os_str());
        Halves {
            prefix: if name.is_dir() {
                name.join(stem)
            } else {
                name.into()
            },
        }
    }

    /// The file of the half `name`.
    pub fn path(&self, name: &str) -> PathBuf {
        let mut path = self.prefix.clone().into_os_string();
        path.push(format!("-{name}.stl"));
        path.into()
    }

    /// Finds out what would keep the halves from being written.
    ///
    /// # Errors
    /// As [`Sink::check`].
    pub fn check(&self, inputs: &[PathBuf]) -> Result<(), CliError> {
        let mut paths = ["lower", "upper"].iter().map(|name| self.path(name));
        paths.try_for_each(|path| writable("--write-halves", &path, inputs))
    }

    /// Writes one half: its file is replaced as a whole or not at all.
    ///
    /// # Errors
    /// If the system refuses.
    pub fn write(&self, name: &str, stl: &[u8], ending: &Ending) -> Result<(), CliError> {
        let path = self.path(name);
        ending
            .replace(&path, stl)
            .map_err(|source| CliError::Write { path, source })
    }
}

/// Finds out what would keep `path` from being written.
fn writable(option: &'static str, path: &Path, inputs: &[PathBuf]) -> Result<(), CliError> {
    let not_a_file = |reason| CliError::NotAFile {
        option,
        path: path.to_path_buf(),
        reason,
    };
    if path.is_dir() || path.file_name().is_none() {
        return Err(not_a_file("is a folder"));
    }
    // A device or a pipe would be replaced, not written to.
    if path.exists() && !path.is_file() {
        return Err(not_a_file("is not an ordinary file"));
    }
    if !folder(path).is_dir() {
        return Err(not_a_file("is in a folder that does not exist"));
    }
    let real = fs::canonicalize(path).ok();
    if real.is_some()
        && inputs
            .iter()
            .any(|input| fs::canonicalize(input).ok() == real)
    {
        return Err(CliError::Overwrites {
            option,
            path: path.to_path_buf(),
        });
    }
    Ok(())
}

/// The folder in which `path` lies.
pub fn folder(path: &Path) -> &Path {
    match path.parent() {
        Some(folder) if folder.as_os_str() != OsStr::new("") => folder,
        _ => Path::new("."),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_replaced_and_nothing_is_left_beside_it() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("report.json");
        fs::write(&path, "old").unwrap();
        Sink::File(path.clone())
            .write("new", &Ending::default())
            .unwrap();
        assert_eq!(fs::read_to_string(&path).unwrap(), "new");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[test]
    fn inputs_folders_and_devices_are_not_written_to() {
        let folder = tempfile::tempdir().unwrap();
        let model = folder.path().join("a.stl");
        fs::write(&model, "").unwrap();
        let told = |path: PathBuf| {
            let result = Sink::File(path).check("--json", std::slice::from_ref(&model));
            result.unwrap_err().to_string()
        };
        let same = folder
            .path()
            .join("..")
            .join(folder.path().file_name().unwrap())
            .join("a.stl");
        assert!(told(same).contains("is one of the files to be read"));
        assert!(told(folder.path().to_path_buf()).contains("is a folder"));
        assert!(
            told(folder.path().join("none").join("r.json"))
                .contains("a folder that does not exist")
        );
        #[cfg(unix)]
        assert!(told("/dev/null".into()).contains("is not an ordinary file"));
        Sink::File(folder.path().join("r.json"))
            .check("--json", &[model])
            .unwrap();
    }
}
