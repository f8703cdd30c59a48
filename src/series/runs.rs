//! Runs of frames that show the same value (run-length encoded readings), and the overlay updates within them.

use super::{Blank, ChannelReadings};
use crate::stats::{mean, median, quantile};

/// Maximum length of a blank interval inside a run, in seconds (set by judgement).
const MAX_BLANK_S: f64 = 0.5;

/// Maximum number of runs of a single frame between two runs with the same value, as a share of all frames
/// with a value, for these single frames to be misreadings. If there are more, the value changes from frame
/// to frame (set by judgement).
const MAX_SINGLE_FRAME_SHARE: f64 = 0.15;

/// Minimum length of a hold, in frames. With shorter holds, a single misread frame cannot be distinguished
/// from a correct value (set by judgement).
pub(super) const MIN_FRAMES_OF_HOLD: f64 = 2.5;

/// A run: consecutive frames with the same value, apart from short blank intervals.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct ValueRun {
    pub value: f64,
    /// Index of the first frame with the value.
    pub first: usize,
    /// Index of the last frame with the value.
    pub last: usize,
    pub start_s: f64,
    pub end_s: f64,
    /// Number of frames with the value, without blank frames.
    pub frames: usize,
    /// Sum of the confidences of the frames with the value, each at least 0.05.
    pub weight: f64,
}

impl ValueRun {
    pub fn merge(&mut self, later: &Self) {
        self.last = later.last;
        self.end_s = later.end_s;
        self.frames += later.frames;
        self.weight += later.weight;
    }
}

/// The runs of a channel in order of time, without blanks.
pub(super) fn runs(time_s: &[f64], channel: &ChannelReadings) -> Vec<ValueRun> {
    let mut runs: Vec<ValueRun> = Vec::new();
    for (frame, (((&time, &value), &confidence), &blank)) in
        time_s.iter().zip(&channel.values).zip(&channel.confidence).zip(&channel.blank).enumerate()
    {
        if blank != Blank::No || !value.is_finite() {
            continue;
        }
        let weight = if confidence.is_finite() { f64::from(confidence).clamp(0.05, 1.0) } else { 0.05 };
        let one =
            ValueRun { value, first: frame, last: frame, start_s: time, end_s: time, frames: 1, weight };
        match runs.last_mut() {
            Some(run) if run.value == value && time - run.end_s <= MAX_BLANK_S => run.merge(&one),
            _ => runs.push(one),
        }
    }
    runs
}

/// Median time between frames, in seconds; zero for fewer than two frames.
pub(super) fn frame_interval_s(time_s: &[f64]) -> f64 {
    let steps: Vec<f64> = time_s.windows(2).map(|two| two[1] - two[0]).collect();
    median(&steps).unwrap_or(0.0).max(0.0)
}

/// The shortest time for which the overlay holds a value, in seconds: the 10 % quantile of the lengths of a
/// channel's runs, without misreadings of single frames. `None` if values change from frame to frame, or
/// never.
pub(super) fn shortest_hold_s(runs: &[ValueRun], frame_interval_s: f64) -> Option<f64> {
    let frames: usize = runs.iter().map(|run| run.frames).sum();
    let mut merged: Vec<ValueRun> = Vec::new();
    let mut lone = 0;
    for run in runs {
        if let [.., before, middle] = merged.as_mut_slice()
            && middle.frames == 1
            && before.value == run.value
            && run.start_s - before.end_s <= MAX_BLANK_S
        {
            before.merge(run);
            merged.pop();
            lone += 1;
        } else {
            merged.push(*run);
        }
    }
    if lone as f64 > MAX_SINGLE_FRAME_SHARE * frames as f64 {
        return None;
    }
    let lengths: Vec<f64> = merged
        .iter()
        .filter(|run| run.frames > 1)
        .map(|run| run.end_s - run.start_s + frame_interval_s)
        .collect();
    quantile(&lengths, 0.1).filter(|hold_s| *hold_s >= MIN_FRAMES_OF_HOLD * frame_interval_s)
}

/// Time between overlay updates, in seconds, estimated from the times between changes of the shown value:
/// those are whole multiples of the update interval, to within one frame. `None` for fewer than eight
/// changes.
pub(super) fn update_interval_s(changes_s: &[f64]) -> Option<f64> {
    if changes_s.len() < 8 {
        return None;
    }
    let shortest = quantile(changes_s, 0.1)?;
    let near: Vec<f64> = changes_s.iter().copied().filter(|change| *change <= 1.6 * shortest).collect();
    let first_guess = mean(&near)?;
    let (sum, count) = changes_s
        .iter()
        .filter(|change| **change <= 3.5 * first_guess)
        .fold((0.0, 0.0), |(sum, count), change| {
            (sum + change, count + (change / first_guess).round().max(1.0))
        });
    (count > 0.0 && sum > 0.0).then(|| sum / count)
}

/// Times between successive changes of the value, in seconds, leaving out times that contain a blank.
pub(super) fn change_intervals_s(runs: &[ValueRun], frame_interval_s: f64) -> Vec<f64> {
    let unobscured = |two: &[ValueRun]| two[1].start_s - two[0].end_s <= 1.5 * frame_interval_s;
    runs.windows(3)
        .filter(|three| unobscured(&three[..2]) && unobscured(&three[1..]))
        .map(|three| three[2].start_s - three[1].start_s)
        .filter(|interval| *interval > 0.0)
        .collect()
}

/// The overlay updates of a channel: one entry for each update of the display, no matter how many video
/// frames show it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Updates {
    /// Middle of the time during which each update is shown, in seconds of flight time.
    pub time_s: Vec<f64>,
    /// The value that each update shows, in the channel's unit.
    pub values: Vec<f64>,
}

impl Updates {
    /// The values of the updates from `start_s` to `end_s`, ends included, in seconds of flight time.
    #[must_use]
    pub fn within(&self, start_s: f64, end_s: f64) -> &[f64] {
        let first = self.time_s.partition_point(|time| *time < start_s);
        let last = self.time_s.partition_point(|time| *time <= end_s);
        self.values.get(first..last).unwrap_or(&[])
    }
}

/// Divides each run into overlay updates: a run that lasts several update intervals counts as that many updates with
/// the same value. `update_interval_s` is the typical time between two updates, `frame_interval_s` that between two
/// frames, in seconds.
pub(super) fn updates(runs: &[ValueRun], update_interval_s: f64, frame_interval_s: f64) -> Updates {
    let mut updates = Updates::default();
    for run in runs {
        let length = run.end_s - run.start_s + frame_interval_s;
        let count = (length / update_interval_s).round().clamp(1.0, 1e7);
        for number in 0..count as usize {
            updates.time_s.push(run.start_s + (number as f64 + 0.5) * length / count);
            updates.values.push(run.value);
        }
    }
    updates
}
