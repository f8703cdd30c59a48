//! Naming: which channel each readout shows, from the behaviour of its values.
//!
//! ```text
//! values -> behaviour (range, steps, trend) -> rules (log odds and reasons for each channel) -> assignment (probabilities)
//! ```

mod assignment;
mod behaviour;
mod reason;
mod rules;

use super::readout::DecipheredReadout;
use crate::model::channel::Channel;
use crate::stats::correlation;
use behaviour::Behaviour;
pub use reason::Reason;

/// The channel of a readout, with the probability that it is right and the reasons for it.
#[derive(Debug, Clone, PartialEq)]
pub struct ChannelGuess {
    /// The channel.
    pub channel: Channel,
    /// Probability that the channel is right, 0 to 1.
    pub probability: f64,
    /// Reasons for the channel, the strongest first.
    pub reasons: Vec<Reason>,
}

/// Minimum probability of a channel that the pilot need not check, 0 to 1.
const CERTAIN: f64 = 0.9;

impl ChannelGuess {
    /// Whether the pilot need not check the channel.
    #[must_use]
    pub fn is_certain(&self) -> bool {
        self.probability >= CERTAIN
    }

    /// The reasons in words, separated by commas.
    #[must_use]
    pub fn reasons_in_words(&self) -> String {
        self.reasons.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ")
    }
}

/// Name of a channel that shows the time since the start.
const CLOCK_NAME: &str = "clock";

/// Guesses the channel of every readout, in the same order. No channel is given twice; readouts without a known channel
/// are named `channel-1`, `channel-2` and so on.
#[must_use]
pub fn name_channels(readouts: &[&DecipheredReadout]) -> Vec<ChannelGuess> {
    let mut behaviours: Vec<Behaviour> = readouts.iter().map(|readout| Behaviour::of(readout)).collect();
    compare_with_throttle(&mut behaviours);
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

/// Fills in the correlation with the readout that looks most like a throttle, if there is one.
fn compare_with_throttle(behaviours: &mut [Behaviour]) {
    let odds = |behaviour: &Behaviour| rules::throttle_log_odds(behaviour);
    let best = (0..behaviours.len())
        .max_by(|one, other| odds(&behaviours[*one]).total_cmp(&odds(&behaviours[*other])));
    let Some(throttle) = best.filter(|best| odds(&behaviours[*best]) > 0.0 && behaviours[*best].distinct > 1)
    else {
        return;
    };
    let set = behaviours[throttle].values.clone();
    for (index, behaviour) in behaviours.iter_mut().enumerate().filter(|(_, behaviour)| behaviour.is_known())
    {
        if index == throttle {
            continue;
        }
        let at = |time_s: f64| set.iter().find(|(set_s, _)| *set_s == time_s).map(|(_, value)| *value);
        let both: Vec<(f64, f64)> =
            behaviour.values.iter().filter_map(|(time_s, value)| Some((at(*time_s)?, *value))).collect();
        behaviour.throttle_correlation = Some(correlation(&both));
    }
}

#[cfg(test)]
mod tests;
