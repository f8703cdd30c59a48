//! Guesses the channel of a readout from its number of digits, its decimal point, its unit and how often it changes.
//!
//! The rules are common practice, without a source. The units of speed have two letters or more, and few other units do;
//! a speed has two or three digits and changes most often. Among the values with a decimal point, the voltage of the pack
//! changes least often. A count of satellites has two digits and rarely changes. The last digit of a throttle that is set
//! in steps stays the same.

use super::changing_parts::SPREAD_PX;
use super::decimal_point::find_point;
use super::gradients::PersistentGradients;
use super::readout::Readout;
use crate::model::channel::Channel;

/// Typical distance from one digit to the next, in heights of a digit.
const DIGIT_PITCH: f32 = 0.75;
/// Minimum width of a value with a point, in digits: two digits and the point.
const MIN_WIDTH_WITH_POINT: f32 = 2.2;
/// Minimum width of a unit with two letters, in heights of the line.
const MIN_WIDE_UNIT: f32 = 1.1;
/// A count of satellites changes in less than this share of the steps from frame to frame.
const MAX_SATELLITE_CHANGES: f32 = 0.7;

/// The guessed channel of each readout, in their order. Those without a guess are `channel-1`, `channel-2` and so on.
pub(super) fn guess_channels(gradients: &PersistentGradients, readouts: &[Readout]) -> Vec<Channel> {
    let features: Vec<ReadoutFeatures> =
        readouts.iter().map(|readout| ReadoutFeatures::of(gradients, readout)).collect();
    let mut channels: Vec<Option<Channel>> = vec![None; readouts.len()];
    let rules: [(Channel, ChannelScore); 4] = [
        (Channel::Speed, ReadoutFeatures::speed_score),
        (Channel::Voltage, ReadoutFeatures::voltage_score),
        (Channel::Throttle, ReadoutFeatures::throttle_score),
        (Channel::Satellites, ReadoutFeatures::satellites_score),
    ];
    for (channel, score) in rules {
        let free = channels.iter_mut().zip(&features).filter(|(taken, _)| taken.is_none());
        let fitting = free.filter_map(|(slot, features)| Some((slot, score(features)?)));
        if let Some((slot, _)) = fitting.max_by(|one, other| one.1.total_cmp(&other.1)) {
            *slot = Some(channel);
        }
    }
    let mut unknown = 0;
    channels
        .into_iter()
        .map(|channel| {
            channel.unwrap_or_else(|| {
                unknown += 1;
                Channel::Other(format!("channel-{unknown}"))
            })
        })
        .collect()
}

/// How well a readout fits a channel; only comparisons between readouts are meaningful. `None` if it does not fit.
type ChannelScore = fn(&ReadoutFeatures) -> Option<f32>;

/// The features of a readout that a channel is guessed from.
struct ReadoutFeatures {
    /// Width in digits; a point counts too.
    digits: f32,
    has_point: bool,
    /// Share of the steps from frame to frame at which it changes.
    changed_share: f32,
    last_digit_constant: bool,
    /// Whether a unit of two letters or more follows.
    has_wide_unit: bool,
}

impl ReadoutFeatures {
    fn of(gradients: &PersistentGradients, readout: &Readout) -> Self {
        let width = readout.rect.width.saturating_sub(2 * SPREAD_PX) as f32;
        let height = readout.rect.height.saturating_sub(2 * SPREAD_PX).max(1) as f32;
        Self {
            digits: width / (DIGIT_PITCH * height),
            has_point: find_point(gradients, readout.rect).is_some(),
            changed_share: readout.changed_share,
            last_digit_constant: readout.last_digit_constant,
            has_wide_unit: readout.label >= MIN_WIDE_UNIT,
        }
    }

    fn voltage_score(&self) -> Option<f32> {
        let fits = self.has_point && self.changed_share > 0.0 && self.digits >= MIN_WIDTH_WITH_POINT;
        fits.then_some(-self.changed_share)
    }

    fn speed_score(&self) -> Option<f32> {
        let fits = self.has_wide_unit || !self.has_point && !self.last_digit_constant;
        let preference = f32::from(u8::from(self.has_wide_unit));
        (fits && (1.5..4.5).contains(&self.digits)).then_some(preference + self.changed_share)
    }

    fn throttle_score(&self) -> Option<f32> {
        let fits = !self.has_point && self.last_digit_constant && (1.4..4.0).contains(&self.digits);
        fits.then_some(-self.changed_share)
    }

    fn satellites_score(&self) -> Option<f32> {
        let fits = !self.has_point && self.digits < 2.6 && self.changed_share < MAX_SATELLITE_CHANGES;
        fits.then_some(-self.changed_share)
    }
}
