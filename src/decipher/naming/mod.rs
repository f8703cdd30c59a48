//! Naming: which channel each readout shows, from the behaviour of its values.
//!
//! ```text
//! values -> behaviour (range, steps, trend) -> rules (log odds and reasons for each channel) -> assignment (probabilities)
//! ```

mod assignment;
mod behaviour;
mod rules;

use std::fmt;

use super::DecipheredReadout;
use crate::model::channel::Channel;
use behaviour::Behaviour;

/// The channel of a readout, with the probability that it is right and the reasons for it.
#[derive(Debug, Clone, PartialEq)]
pub struct ChannelGuess {
    /// The channel.
    pub channel: Channel,
    /// 0 to 1.
    pub probability: f64,
    /// Why, the strongest reason first.
    pub reasons: Vec<Reason>,
}

/// A property of a readout's values that speaks for a channel.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum Reason {
    /// Lowest and highest value.
    Range(f64, f64),
    /// All values are multiples of five.
    MultiplesOfFive,
    /// Values fall over the clip.
    Falls,
    /// Values rise and fall with the throttle.
    FollowsThrottle,
    /// Values do not depend on the throttle.
    IgnoresThrottle,
    /// Values rarely change.
    RarelyChanges,
    /// Values change nearly always from one sampled frame to the next.
    OftenChanges,
    /// Values change by at most this much from one sampled frame to the next.
    SmallSteps(f64),
    /// The lowest values are close to zero.
    StartsAtRest,
    /// Number of digits after the decimal point.
    Decimals(u8),
    /// Values go through a full circle of degrees.
    FullCircle,
    /// Values advance by one second each second.
    Clock,
    /// Values below zero occur.
    Negative,
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Range(low, high) => write!(f, "from {low} to {high}"),
            Self::MultiplesOfFive => write!(f, "mostly multiples of 5"),
            Self::Falls => write!(f, "falls over the flight"),
            Self::FollowsThrottle => write!(f, "follows the throttle"),
            Self::IgnoresThrottle => write!(f, "does not follow the throttle"),
            Self::RarelyChanges => write!(f, "rarely changes"),
            Self::OftenChanges => write!(f, "changes all the time"),
            Self::SmallSteps(most) => write!(f, "changes by about {most:.1} at most at a time"),
            Self::StartsAtRest => write!(f, "close to zero at times"),
            Self::Decimals(1) => write!(f, "one decimal"),
            Self::Decimals(count) => write!(f, "{count} decimals"),
            Self::FullCircle => write!(f, "turns through a full circle"),
            Self::Clock => write!(f, "advances by one second each second"),
            Self::Negative => write!(f, "below zero at times"),
        }
    }
}

/// Name of a channel that shows the time since the start.
const CLOCK_NAME: &str = "clock";

/// Guesses the channel of every readout, in their order. No two have the same; readouts without a known channel are
/// `channel-1`, `channel-2` and so on.
#[must_use]
pub fn name_channels(readouts: &[&DecipheredReadout]) -> Vec<ChannelGuess> {
    let mut behaviours: Vec<Behaviour> = readouts.iter().map(|readout| Behaviour::of(readout)).collect();
    behaviour::compare_with_throttle(&mut behaviours);
    let ratings: Vec<rules::Ratings> = behaviours.iter().map(rules::rate).collect();
    let assigned = assignment::assign(&ratings);
    let mut unknown = 0;
    let mut guesses: Vec<ChannelGuess> = Vec::with_capacity(readouts.len());
    for ((behaviour, ratings), (known, probability)) in behaviours.iter().zip(&ratings).zip(assigned) {
        let (channel, reasons) = match known {
            Some(index) => (Channel::KNOWN[index].clone(), ratings.reasons(index)),
            None if behaviour.is_clock => (Channel::Other(CLOCK_NAME.to_owned()), vec![Reason::Clock]),
            None => {
                unknown += 1;
                (Channel::Other(format!("channel-{unknown}")), behaviour.range().into_iter().collect())
            }
        };
        let taken = guesses.iter().any(|guess| guess.channel == channel);
        let channel =
            if taken { Channel::Other(format!("{}-{}", channel.name(), guesses.len() + 1)) } else { channel };
        guesses.push(ChannelGuess { channel, probability, reasons });
    }
    guesses
}
