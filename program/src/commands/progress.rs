//! The progress bar, which is shown on a terminal only.

use std::ops::ControlFlow;
use std::time::Duration;

use indicatif::{HumanDuration, ProgressBar, ProgressState, ProgressStyle};
use pairspeed::readings::Progress;

/// Number of steps of a [`ShareBar`] (set by judgement).
const SHARE_STEPS: u64 = 1000;

/// Number of frames between two updates of the progress bar (set by judgement).
const FRAMES_A_STEP: u64 = 25;
/// Minimum duration of a reading before the remaining time is shown, because the first frames are not typical of
/// the speed of reading. Set by judgement.
const SETTLED: Duration = Duration::from_secs(2);

/// Shows the progress of a reading; hidden if the error output is not a terminal.
pub struct ReadingProgress {
    bar: ProgressBar,
    begun: bool,
}

impl ReadingProgress {
    pub fn new() -> Self {
        let bar = ProgressBar::new(0);
        let style = ProgressStyle::with_template("reading {bar:30} {percent:>3} %{left}");
        if let Ok(style) = style {
            bar.set_style(style.with_key("left", write_time_left));
        }
        Self { bar, begun: false }
    }
}

fn write_time_left(state: &ProgressState, text: &mut dyn std::fmt::Write) {
    let left = time_left(state.elapsed(), state.pos(), state.len().unwrap_or(0));
    // If the bar cannot be drawn, the error is ignored, because the bar is not essential.
    let _undrawn = left.map_or(Ok(()), |left| write!(text, ", about {} left", HumanDuration(left)));
}

/// The estimated remaining time, after `position` of `length` equal parts took the time `elapsed`; `None` before
/// [`SETTLED`], or as long as no part is done.
fn time_left(elapsed: Duration, position: u64, length: u64) -> Option<Duration> {
    let rest = length.checked_sub(position).filter(|_| position > 0 && elapsed >= SETTLED)?;
    Some(elapsed.mul_f64(rest as f64 / position as f64))
}

impl Progress for ReadingProgress {
    fn frame_read(&mut self, frames: u64, time_s: f64, length_s: Option<f64>) -> ControlFlow<()> {
        if !self.begun {
            // The time until now is not counted, because calibration processes frames at another speed.
            self.bar.reset_elapsed();
            self.begun = true;
        }
        if frames.is_multiple_of(FRAMES_A_STEP) {
            self.bar.set_length((1000.0 * length_s.unwrap_or(time_s)) as u64);
            self.bar.set_position((1000.0 * time_s) as u64);
        }
        ControlFlow::Continue(())
    }
}

impl Drop for ReadingProgress {
    fn drop(&mut self) {
        self.bar.finish_and_clear();
    }
}

/// Shows the share of a task that is done; hidden if the error output is not a terminal.
pub struct ShareBar(ProgressBar);

impl ShareBar {
    /// A progress bar with a label, such as "fetching frames".
    pub fn new(doing: &'static str) -> Self {
        let bar = ProgressBar::new(SHARE_STEPS).with_message(doing);
        if let Ok(style) = ProgressStyle::with_template("{msg} {bar:30} {percent:>3} %") {
            bar.set_style(style);
        }
        Self(bar)
    }

    /// Sets the share of the task that is done, 0 to 1.
    pub fn set(&self, share: f64) {
        self.0.set_position((share * SHARE_STEPS as f64) as u64);
    }
}

impl Drop for ShareBar {
    fn drop(&mut self) {
        self.0.finish_and_clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_remaining_time_is_shown_before_the_speed_is_known() {
        let seconds = Duration::from_secs;
        assert_eq!(time_left(seconds(1), 1, 1000), None);
        assert_eq!(time_left(seconds(9), 0, 1000), None);
        assert_eq!(time_left(seconds(3), 250, 1000), Some(seconds(9)));
        assert_eq!(time_left(seconds(3), 1000, 1000), Some(seconds(0)));
    }
}
