//! Counts for each channel how many frames were read, how many were left blank, and with which confidence.

use std::collections::BTreeMap;

use crate::series::{Blank, ChannelReadings, Readings};

use super::numbers::fixed;

/// Largest number of blank intervals that are listed (set by judgement).
const MAX_STRETCHES: usize = 5;

/// Limits between the classes of confidence, 0 to 1 (set by judgement).
const CONFIDENCE_CLASSES: [f32; 3] = [0.95, 0.99, 0.999];

/// The frames of one channel, counted by outcome.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct ReadingStatistics {
    /// Number of decoded frames.
    pub frames: usize,
    /// Number of frames with a trusted reading.
    pub read: usize,
    /// Number of frames left blank, for each reason.
    pub blank: BTreeMap<Blank, usize>,
    /// The longest blank intervals, at most five, longest first.
    pub longest_blanks: Vec<BlankStretch>,
    /// Number of frames for each class of confidence.
    pub confidence: ConfidenceCounts,
}

/// An interval in which all frames are blank.
#[derive(Debug, Clone, PartialEq)]
pub struct BlankStretch {
    /// Time of the first blank frame, in seconds of flight time.
    pub start_s: f64,
    /// Time of the first frame with a reading after the interval; time of the last frame of the flight if all frames to
    /// the end are blank. In seconds of flight time.
    pub end_s: f64,
    /// Number of blank frames.
    pub frames: usize,
    /// The most frequent reason within the interval.
    pub reason: Blank,
}

impl BlankStretch {
    /// Duration of the interval in seconds.
    pub(super) fn length_s(&self) -> f64 {
        self.end_s - self.start_s
    }
}

/// Number of frames by the probability that the reading is correct.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct ConfidenceCounts {
    /// Number of frames with text whose confidence is below the threshold.
    pub below_threshold: usize,
    /// Number of trusted frames with a confidence below 0.95, from 0.95 to 0.99, from 0.99 to 0.999, and from
    /// 0.999.
    pub trusted: [usize; CONFIDENCE_CLASSES.len() + 1],
}

impl ConfidenceCounts {
    fn of(channel: &ChannelReadings, blank: &BTreeMap<Blank, usize>) -> Self {
        let of = |reason| blank.get(&reason).copied().unwrap_or(0);
        let below_threshold = of(Blank::Unclear) + of(Blank::DigitUnknown);
        let mut trusted = [0; CONFIDENCE_CLASSES.len() + 1];
        for (_, confidence) in (0..channel.values.len()).filter_map(|index| channel.trusted(index)) {
            let class = CONFIDENCE_CLASSES.iter().filter(|least| confidence >= **least).count();
            if let Some(count) = trusted.get_mut(class) {
                *count += 1;
            }
        }
        Self { below_threshold, trusted }
    }
}

impl ReadingStatistics {
    /// Counts the frames in which a channel was read, by confidence, and those in which it was left blank, by reason.
    pub(super) fn of(readings: &Readings, channel: &ChannelReadings) -> Self {
        let blank = channel.blank_counts();
        let confidence = ConfidenceCounts::of(channel, &blank);
        Self {
            frames: readings.time_s.len(),
            read: confidence.trusted.iter().sum(),
            longest_blanks: longest_blanks(&readings.time_s, channel),
            blank,
            confidence,
        }
    }

    /// Share of the frames with a trusted reading, 0 to 1; `None` without frames.
    pub(super) fn share(&self) -> Option<f64> {
        (self.frames > 0).then(|| self.read as f64 / self.frames as f64)
    }

    /// Share of the frames with a trusted reading, in per cent as text. It is never `100` if a frame is
    /// blank, and never `0` if a frame is read.
    pub(super) fn percent(&self) -> String {
        let Some(share) = self.share() else { return "-".to_owned() };
        let mut tenths = (share * 1000.0).round();
        if self.read < self.frames {
            tenths = tenths.min(999.0);
        }
        if self.read > 0 {
            tenths = tenths.max(1.0);
        }
        fixed(tenths / 10.0, 1)
    }
}

fn longest_blanks(time_s: &[f64], channel: &ChannelReadings) -> Vec<BlankStretch> {
    let mut stretches = blank_stretches(time_s, channel);
    stretches.sort_by(|one, other| other.length_s().total_cmp(&one.length_s()));
    stretches.truncate(MAX_STRETCHES);
    stretches
}

/// All blank intervals of a channel, in order of time.
pub fn blank_stretches(time_s: &[f64], channel: &ChannelReadings) -> Vec<BlankStretch> {
    let outcomes: Vec<(usize, Blank)> =
        (0..time_s.len()).map(|index| (index, channel.outcome(index))).collect();
    let is_blank = |(_, outcome): &(usize, Blank)| *outcome != Blank::No;
    outcomes
        .chunk_by(|one, next| is_blank(one) == is_blank(next))
        .filter(|run| run.first().is_some_and(is_blank))
        .filter_map(|run| stretch(time_s, run))
        .collect()
}

/// The interval that a run of blank frames covers. `run` holds the index and the reason of each frame. `None`
/// for an empty run.
fn stretch(time_s: &[f64], run: &[(usize, Blank)]) -> Option<BlankStretch> {
    let (first, last) = (run.first()?.0, run.last()?.0);
    let mut counts = BTreeMap::new();
    for (_, reason) in run {
        *counts.entry(*reason).or_insert(0_usize) += 1;
    }
    let (reason, _) = counts.into_iter().max_by_key(|(_, count)| *count)?;
    let end_s = *time_s.get(last + 1).or(time_s.last())?;
    Some(BlankStretch { start_s: *time_s.get(first)?, end_s, frames: run.len(), reason })
}
