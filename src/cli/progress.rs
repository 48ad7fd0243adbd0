//! What is being done right now, on a terminal only.

use std::io::IsTerminal;
use std::time::Duration;

use indicatif::{ProgressBar, ProgressStyle};

use super::args::Talk;
use crate::Stage;

/// A line on the terminal that names the stage at work; nothing at all when nobody watches.
pub(super) struct Progress(ProgressBar);

impl Progress {
    pub(super) fn new(talk: Talk) -> Self {
        if talk.quiet || talk.json || !std::io::stderr().is_terminal() {
            return Progress(ProgressBar::hidden());
        }
        let bar = ProgressBar::new_spinner();
        if let Ok(style) = ProgressStyle::with_template("{spinner} {msg} {elapsed}") {
            bar.set_style(style);
        }
        bar.enable_steady_tick(Duration::from_millis(120));
        Progress(bar)
    }

    pub(super) fn show(&self, stage: Stage) {
        self.0.set_message(match stage {
            Stage::Read => "reading the recording",
            Stage::Hits => "listening for hits",
            Stage::Voices => "telling the drums apart",
            Stage::Grid => "finding tempo and bars",
            Stage::Cycles => "looking for what repeats",
            Stage::Stickings => "working out limbs and stickings",
            Stage::Write => "writing the study",
        });
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.0.finish_and_clear();
    }
}
