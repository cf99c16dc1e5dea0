//! How far the work has come, for those who wait.

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use moldvet::vet::Stage;
use std::time::{Duration, Instant};

/// Work that is done sooner than this needs no progress.
const PATIENCE: Duration = Duration::from_secs(1);
/// Steps of the bar.
const STEPS: f64 = 1000.0;

/// A bar on stderr that appears after [`PATIENCE`].
pub struct Progress {
    bar: ProgressBar,
    start: Instant,
    wanted: bool,
}

impl Progress {
    /// A bar that is not yet to be seen, and never if not `wanted`.
    pub fn new(wanted: bool) -> Progress {
        let bar = ProgressBar::with_draw_target(Some(STEPS as u64), ProgressDrawTarget::hidden());
        let style = ProgressStyle::with_template("{bar:30} {percent:>3} %  {msg}");
        if let Ok(style) = style {
            bar.set_style(style);
        }
        Progress {
            bar,
            start: Instant::now(),
            wanted,
        }
    }

    /// Shows `stage`. Threads may come late: the bar never goes back.
    pub fn show(&self, stage: Stage) {
        if !self.wanted || self.start.elapsed() < PATIENCE {
            return;
        }
        if self.bar.is_hidden() {
            self.bar.set_draw_target(ProgressDrawTarget::stderr());
        }
        let steps = (stage.done.clamp(0.0, 1.0) * STEPS) as u64;
        self.bar.set_message(stage.name);
        self.bar.set_position(steps.max(self.bar.position()));
    }

    /// Takes the bar away.
    pub fn clear(&self) {
        self.bar.finish_and_clear();
    }
}
