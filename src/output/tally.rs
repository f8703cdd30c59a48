//! Counts of what was read and what was left blank, a channel each.

use std::collections::BTreeMap;

use crate::series::{Blank, ChannelReadings, Readings};

use super::numbers::fixed;
use super::words::blank_reason;

/// What became of the frames of one channel.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Tally {
    /// Decoded frames.
    pub frames: usize,
    /// Frames with a trusted reading.
    pub read: usize,
    /// Frames left blank, by reason.
    pub blank: BTreeMap<Blank, usize>,
}

impl Tally {
    /// Counts the frames of a channel.
    pub(super) fn of(readings: &Readings, channel: &ChannelReadings) -> Self {
        let frames = readings.time_s.len();
        let mut blank = BTreeMap::new();
        for index in 0..frames {
            *blank.entry(outcome(channel, index)).or_insert(0) += 1;
        }
        let read = blank.remove(&Blank::No).unwrap_or(0);
        Self { frames, read, blank }
    }

    /// Trusted share of the frames, 0 to 1; `None` without frames.
    pub(super) fn share(&self) -> Option<f64> {
        (self.frames > 0).then(|| self.read as f64 / self.frames as f64)
    }

    /// Trusted share in per cent for a reader; never `100` while a frame is blank, nor `0` while
    /// one is read.
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

    /// The reasons in words, the most frequent first, such as `12 picture lost, 3 no text in the
    /// region`.
    pub(super) fn reasons(&self) -> String {
        let mut counts: Vec<_> = self.blank.iter().collect();
        counts.sort_by(|one, other| other.1.cmp(one.1));
        let words = counts.iter().map(|(blank, count)| format!("{count} {}", blank_reason(**blank)));
        words.collect::<Vec<_>>().join(", ")
    }
}

/// The trusted value and its confidence in one frame.
pub(super) fn trusted(channel: &ChannelReadings, index: usize) -> Option<(f64, f32)> {
    let value = *channel.values.get(index)?;
    let confidence = channel.confidence.get(index).copied().unwrap_or(0.0);
    (outcome(channel, index) == Blank::No).then_some((value, confidence))
}

/// Why a frame is blank; a value that is no number counts as unclear.
fn outcome(channel: &ChannelReadings, index: usize) -> Blank {
    let blank = channel.blank.get(index).copied().unwrap_or(Blank::No);
    let finite = channel.values.get(index).is_some_and(|value| value.is_finite());
    if blank == Blank::No && !finite { Blank::Unclear } else { blank }
}
