//! Finds dead channels: readouts that never change while the aircraft moves.

use super::{ChannelReadings, Readings};
use crate::model::channel::Channel;
use crate::stats::{median, quantile};

/// Minimum time from the first to the last trusted reading of a channel for the channel to be dead (constant
/// while the speed varies), in seconds (set by judgement).
const MIN_CONSTANT_S: f64 = 20.0;

/// Minimum share of a channel's trusted readings that must equal their median for the channel to be dead
/// (constant while the speed varies; set by judgement).
const MIN_CONSTANT_SHARE: f64 = 0.995;

/// The dead channels: those that stay constant throughout the flight while the speed varies. The number of
/// satellites, and channels that the pilot named himself, may well stay constant; they are never dead.
pub(super) fn dead_channels(readings: &Readings) -> Vec<Channel> {
    let speed_varies = readings.channel(&Channel::Speed).is_some_and(varies);
    let may_be_dead =
        |channel: &Channel| !matches!(channel, Channel::Speed | Channel::Satellites | Channel::Other(_));
    readings
        .channels
        .iter()
        .filter(|readout| {
            speed_varies && may_be_dead(&readout.channel) && is_stuck(readout, &readings.time_s)
        })
        .map(|readout| readout.channel.clone())
        .collect()
}

/// Whether the speed varies: the difference between its 5 % and 95 % quantiles exceeds 15 % of the 95 %
/// quantile and five display steps.
fn varies(speed: &ChannelReadings) -> bool {
    let (Some(low), Some(high)) = (quantile(&speed.values, 0.05), quantile(&speed.values, 0.95)) else {
        return false;
    };
    high - low > (5.0 * speed.quantum()).max(0.15 * high.abs())
}

fn is_stuck(readout: &ChannelReadings, time_s: &[f64]) -> bool {
    let Some(constant) = median(&readout.values) else { return false };
    let trusted = || time_s.iter().zip(&readout.values).filter(|(_, value)| value.is_finite());
    let same = trusted().filter(|(_, value)| **value == constant).count();
    let watched_s = match (trusted().next(), trusted().next_back()) {
        (Some((first, _)), Some((last, _))) => last - first,
        _ => 0.0,
    };
    watched_s >= MIN_CONSTANT_S && same as f64 >= MIN_CONSTANT_SHARE * trusted().count() as f64
}
