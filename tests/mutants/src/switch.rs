//! In the mutated copy: which mutant is on, and which were come by.

use std::fs::File;
use std::io::Write;
use std::sync::LazyLock;
use std::sync::atomic::{AtomicU8, Ordering};

static CHOSEN: LazyLock<Option<usize>> =
    LazyLock::new(|| std::env::var("MUTANT").ok()?.parse().ok());
static RECORD: LazyLock<Option<File>> = LazyLock::new(|| {
    let path = std::env::var_os("MUTANT_RECORD")?;
    File::options().append(true).create(true).open(path).ok()
});
static SEEN: [AtomicU8; 1 << 16] = [const { AtomicU8::new(0) }; 1 << 16];

/// Whether this mutant is on.
#[inline]
pub(crate) fn mutant(id: usize) -> bool {
    if recording() {
        note(id, 1, "reached");
    }
    *CHOSEN == Some(id)
}

/// Whether what is come by is written down.
#[inline]
pub(crate) fn recording() -> bool {
    RECORD.is_some()
}

/// A mutant's value was not that of the code.
pub(crate) fn told(id: usize) {
    note(id, 2, "told");
}

#[cold]
fn note(id: usize, bit: u8, what: &str) {
    if SEEN[id].load(Ordering::Relaxed) & bit == 0
        && SEEN[id].fetch_or(bit, Ordering::Relaxed) & bit == 0
        && let Some(mut file) = RECORD.as_ref()
    {
        // one write a line: programs that a test starts write to the same file
        let _ = file.write_all(format!("{what} {id}\n").as_bytes());
    }
}
