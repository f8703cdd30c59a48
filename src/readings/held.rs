//! The readings of a channel while they are read: what is held on the screen for many frames is kept once.

use crate::series::{Blank, ChannelReadings};

/// What became of a frame.
#[derive(Debug, Clone, Copy)]
pub(super) struct Outcome {
    /// NaN where blank.
    pub value: f64,
    /// Probability that the value is right; 0 where blank.
    pub confidence: f32,
    pub blank: Blank,
}

impl Outcome {
    /// Nothing, for a reason.
    pub fn blank(reason: Blank) -> Self {
        Self { value: f64::NAN, confidence: 0.0, blank: reason }
    }

    fn is_same(&self, other: &Self) -> bool {
        let bits = |outcome: &Self| (outcome.value.to_bits(), outcome.confidence.to_bits(), outcome.blank);
        bits(self) == bits(other)
    }
}

/// Outcomes of all frames so far, each with the number of frames in a row that have it.
#[derive(Debug, Default)]
pub(super) struct Held {
    outcomes: Vec<(Outcome, u32)>,
}

impl Held {
    /// Adds the next frame.
    pub fn push(&mut self, outcome: Outcome) {
        match self.outcomes.last_mut() {
            Some((last, frames)) if last.is_same(&outcome) && *frames < u32::MAX => *frames += 1,
            _ => self.outcomes.push((outcome, 1)),
        }
    }

    /// The channel with its readings frame by frame.
    pub fn written_out(self, channel: ChannelReadings) -> ChannelReadings {
        let frames = self.outcomes.iter().map(|(_, frames)| *frames as usize).sum();
        let mut channel = ChannelReadings {
            values: Vec::with_capacity(frames),
            confidence: Vec::with_capacity(frames),
            blank: Vec::with_capacity(frames),
            ..channel
        };
        for (Outcome { value, confidence, blank }, frames) in self.outcomes {
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
    fn what_is_held_is_kept_once_and_written_out_frame_by_frame() {
        let read = |value: f64, confidence: f32| Outcome { value, confidence, blank: Blank::No };
        let pushed = [
            read(61.0, 1.0),
            read(61.0, 1.0),
            read(61.0, 0.99),
            Outcome::blank(Blank::Empty),
            Outcome::blank(Blank::Empty),
            Outcome::blank(Blank::Unclear),
            read(0.0, 1.0),
            read(-0.0, 1.0),
        ];
        let mut held = Held::default();
        pushed.iter().for_each(|outcome| held.push(*outcome));
        assert_eq!(held.outcomes.len(), 6);
        let channel = held.written_out(ChannelReadings {
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
        let written = channel.values.iter().zip(&channel.confidence).zip(&channel.blank);
        let written: Vec<_> =
            written.map(|((value, confidence), blank)| (value.to_bits(), *confidence, *blank)).collect();
        let expected = pushed.map(|outcome| (outcome.value.to_bits(), outcome.confidence, outcome.blank));
        assert_eq!(written, expected);
    }
}
