//! The progress bar: on a terminal only.

use std::ops::ControlFlow;

use indicatif::{ProgressBar, ProgressStyle};
use pairspeed::readings::Progress;

/// Frames between two looks at the bar.
const FRAMES_A_STEP: u64 = 25;

/// Shows how far the reading has come; silent when the error output is not a terminal.
pub struct Bar {
    bar: ProgressBar,
}

impl Bar {
    pub fn new() -> Self {
        let bar = ProgressBar::new(0);
        let style = ProgressStyle::with_template("reading {bar:30} {percent:>3} %, {eta} left");
        if let Ok(style) = style {
            bar.set_style(style);
        }
        Self { bar }
    }
}

impl Progress for Bar {
    fn frame_read(&mut self, frames: u64, time_s: f64, length_s: Option<f64>) -> ControlFlow<()> {
        if frames.is_multiple_of(FRAMES_A_STEP) {
            self.bar.set_length((1000.0 * length_s.unwrap_or(time_s)) as u64);
            self.bar.set_position((1000.0 * time_s) as u64);
        }
        ControlFlow::Continue(())
    }
}

impl Drop for Bar {
    fn drop(&mut self) {
        self.bar.finish_and_clear();
    }
}
