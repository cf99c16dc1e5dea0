//! How the program ends before its work is done: on Ctrl-C, when told to terminate, or at its time limit.
//!
//! Files are written beside their place and put there whole. What waits beside its place is known here, so that
//! whoever ends the program takes it away first.

use super::{NOT_CHECKED, complain};
use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread;
use std::time::Duration;

/// What to mind when the program ends early. Whoever holds the lock may be the one to end it.
#[derive(Debug, Default)]
struct State {
    /// The file that waits beside its place.
    temporary: Option<PathBuf>,
    /// The work is done: the time limit no longer holds.
    done: bool,
}

impl State {
    /// Leaves nothing beside its place.
    fn tidy(&mut self) {
        if let Some(path) = self.temporary.take() {
            // what cannot be taken away cannot be told of either: the program ends without a word
            let _ = fs::remove_file(path);
        }
    }
}

/// Ends the program early when it must, without a half-written or stray file.
#[derive(Debug, Clone, Default)]
pub struct Ending(Arc<Mutex<State>>);

impl Ending {
    /// From now on, Ctrl-C and a request to terminate leave no stray file.
    pub fn on_signals() -> Ending {
        let ending = Ending::default();
        #[cfg(unix)]
        ending.watch();
        ending
    }

    #[cfg(unix)]
    fn watch(&self) {
        use signal_hook::consts::{SIGINT, SIGTERM};
        // without them the signals end the program as ever, at worst with a stray file
        let Ok(mut signals) = signal_hook::iterator::Signals::new([SIGINT, SIGTERM]) else {
            return;
        };
        let ending = self.clone();
        thread::spawn(move || {
            if let Some(signal) = signals.forever().next() {
                let mut state = ending.lock();
                state.tidy();
                // dying of the signal is what tells a shell to stop its script: it reports 128 and the signal's number
                let _ = signal_hook::low_level::emulate_default_handler(signal);
                std::process::exit(128 + signal);
            }
        });
    }

    /// Ends the program when `limit` has passed before [`Ending::work_is_done`], with nothing written.
    pub fn after(&self, limit: Duration, text: &str) {
        let ending = self.clone();
        let text = text.to_owned();
        thread::spawn(move || {
            thread::sleep(limit);
            let state = ending.lock();
            if !state.done {
                complain(&format!(
                    "the time limit of {text} has passed before the work was done, and nothing is written; allow more \
                     with --time-limit, or ask for fewer cutters or a larger --cell"
                ));
                std::process::exit(NOT_CHECKED.into());
            }
        });
    }

    /// All that is left is to write: what is begun now is also finished.
    pub fn work_is_done(&self) {
        self.lock().done = true;
    }

    /// Writes a temporary file beside `path` and puts it in its place. One file at a time.
    ///
    /// # Errors
    /// If the system refuses; the file is then as it was before, and nothing is beside it.
    pub fn replace(&self, path: &Path, bytes: &[u8]) -> io::Result<()> {
        // a link stays a link to the file that is replaced
        let path = fs::canonicalize(path).unwrap_or_else(|_| path.to_path_buf());
        let mut builder = tempfile::Builder::new();
        builder.prefix(".moldvet-");
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            // as any new file: less what the user's mask takes away
            builder.permissions(fs::Permissions::from_mode(0o666));
        }
        let mut state = self.lock();
        let mut file = builder.tempfile_in(super::output::folder(&path))?;
        state.temporary = Some(file.path().to_path_buf());
        drop(state);
        // not under the lock: a slow disk must not keep a signal waiting
        let written = file.write_all(bytes);
        let mut state = self.lock();
        let placed = match written {
            Ok(()) => file.persist(&path).map(drop).map_err(|error| error.error),
            Err(error) => {
                drop(file);
                Err(error)
            }
        };
        state.temporary = None;
        placed
    }

    fn lock(&self) -> MutexGuard<'_, State> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
