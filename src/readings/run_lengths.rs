//! Run-length encoded readings: an outcome that several consecutive frames share is stored once.

use crate::series::{Blank, ChannelReadings};

/// The outcome of one frame: a value, or the reason for a blank.
#[derive(Debug, Clone, Copy)]
pub(super) struct FrameOutcome {
    /// The value, in the channel's unit; NaN for a blank.
    pub value: f64,
    /// Probability that the value is right, 0 to 1; 0 for a blank.
    pub confidence: f32,
    pub blank: Blank,
}

impl FrameOutcome {
    /// The outcome of a blank frame.
    pub fn blank(reason: Blank) -> Self {
        Self { value: f64::NAN, confidence: 0.0, blank: reason }
    }

    fn is_same(&self, other: &Self) -> bool {
        let bits = |outcome: &Self| (outcome.value.to_bits(), outcome.confidence.to_bits(), outcome.blank);
        bits(self) == bits(other)
    }
}

/// Outcomes of all frames so far, each with the number of consecutive frames that share it.
#[derive(Debug, Default)]
pub(super) struct RunLengths {
    outcomes: Vec<(FrameOutcome, u32)>,
}

impl RunLengths {
    /// Adds the outcome of the next frame.
    pub fn push(&mut self, outcome: FrameOutcome) {
        match self.outcomes.last_mut() {
            Some((last, frames)) if last.is_same(&outcome) && *frames < u32::MAX => *frames += 1,
            _ => self.outcomes.push((outcome, 1)),
        }
    }

    /// Returns the channel with one reading for each frame.
    pub fn expanded(self, channel: ChannelReadings) -> ChannelReadings {
        let frames = self.outcomes.iter().map(|(_, frames)| *frames as usize).sum();
        let mut channel = ChannelReadings {
            values: Vec::with_capacity(frames),
            confidence: Vec::with_capacity(frames),
            blank: Vec::with_capacity(frames),
            ..channel
        };
        for (FrameOutcome { value, confidence, blank }, frames) in self.outcomes {
            let frames = channel.values.len() + frames as usize;
            channel.values.resize(frames, value);
            channel.confidence.resize(frames, confidence);
            channel.blank.resize(frames, blank);
        }
        channel
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::channel::Channel;

    #[test]
    fn equal_outcomes_are_stored_once_and_expanded_frame_by_frame() {
        let read = |value: f64, confidence: f32| FrameOutcome { value, confidence, blank: Blank::No };
        let pushed = [
            read(61.0, 1.0),
            read(61.0, 1.0),
            read(61.0, 0.99),
            FrameOutcome::blank(Blank::Empty),
            FrameOutcome::blank(Blank::Empty),
            FrameOutcome::blank(Blank::Unclear),
            read(0.0, 1.0),
            read(-0.0, 1.0),
        ];
        let mut runs = RunLengths::default();
        pushed.iter().for_each(|outcome| runs.push(*outcome));
        assert_eq!(runs.outcomes.len(), 6);
        let channel = runs.expanded(ChannelReadings {
            channel: Channel::Speed,
            unit: None,
            decimals: 0,
            step: None,
            range: None,
            max_rate: None,
            values: Vec::new(),
            confidence: Vec::new(),
            blank: Vec::new(),
        });
        let expanded = channel.values.iter().zip(&channel.confidence).zip(&channel.blank);
        let expanded: Vec<_> =
            expanded.map(|((value, confidence), blank)| (value.to_bits(), *confidence, *blank)).collect();
        let expected = pushed.map(|outcome| (outcome.value.to_bits(), outcome.confidence, outcome.blank));
        assert_eq!(expanded, expected);
    }
}
