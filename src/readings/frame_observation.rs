//! The observations of one channel, frame by frame, and the types that the stages of smoothing share.

use crate::recognise::{Observation, TextLegibility};

/// Exponent of the likelihood ratios between the candidates of an illegible observation: an exponent below 1 brings the
/// ratios closer to 1. Set by judgement.
const ILLEGIBLE_WEIGHT: f32 = 0.3;

/// Limits of the values of a channel in its recording.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct ChannelLimits {
    /// Display step, in the channel's unit.
    pub quantum: f64,
    /// Lowest and highest plausible value, in the channel's unit; `None` if any value is plausible.
    pub range: Option<(f64, f64)>,
    /// Fastest plausible change, in the channel's unit per second; `None` if any change is plausible.
    pub max_rate: Option<f64>,
    /// Whether the encoder may leave traces of the previous text.
    pub traces: bool,
}

impl ChannelLimits {
    /// Whether a value lies in the plausible range.
    pub(super) fn allow(&self, value: f64) -> bool {
        self.range.is_none_or(|(low, high)| (low..=high).contains(&value))
    }
}

/// The observation of one channel in one frame.
#[derive(Debug, Clone)]
pub(super) struct FrameObservation {
    pub time_s: f64,
    pub observation: Observation,
    /// Whether the signal is lost, so that the observation is not used.
    pub lost: bool,
}

/// The most probable value of a channel in one frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Posterior {
    pub value: f64,
    /// Probability of the value, given all observations, 0 to 1.
    pub probability: f32,
}

/// Exponent by which the likelihood ratios between the candidates of an observation are weakened: 1 leaves the ratios
/// as they are, 0 makes all candidates equally likely.
pub(super) fn likelihood_weight(legibility: TextLegibility) -> f32 {
    match legibility {
        TextLegibility::Legible => 1.0,
        TextLegibility::Illegible | TextLegibility::UnknownDigit => ILLEGIBLE_WEIGHT,
        TextLegibility::Nothing => 0.0,
    }
}
