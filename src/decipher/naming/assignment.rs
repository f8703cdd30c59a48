//! Assignment of channels to readouts, each channel at most once.

use super::rules::Ratings;
use crate::model::channel::Channel;

/// Number of known channels.
const KNOWN: usize = Channel::KNOWN.len();
/// Number of sets of channels.
const SETS: usize = 1 << KNOWN;
/// Log odds (natural logarithm) of no known channel: a readout gets no channel if all known channels have lower log
/// odds.
const UNKNOWN_LOG_ODDS: f64 = 0.0;

/// The most probable channel of every readout, as an index of [`Channel::KNOWN`] or `None`, and its probability, 0 to 1.
///
/// The probability of an assignment is proportional to the product of its odds. The probability of a channel for one
/// readout is the sum of the probabilities of all assignments that give the readout this channel.
pub(super) fn assign(ratings: &[Ratings]) -> Vec<(Option<usize>, f64)> {
    let best = most_probable(ratings);
    let total = weight(ratings, None);
    let marginal = |readout: usize, channel: Option<usize>| weight(ratings, Some((readout, channel))) / total;
    best.into_iter().enumerate().map(|(readout, channel)| (channel, marginal(readout, channel))).collect()
}

/// The log odds of every choice for a readout: each known channel, then none.
fn choices(ratings: &Ratings) -> impl Iterator<Item = (Option<usize>, f64)> {
    let known = (0..KNOWN).map(|channel| (Some(channel), ratings.log_odds(channel)));
    known.chain([(None, UNKNOWN_LOG_ODDS)])
}

/// The set of channels (one bit for each) with `channel` added, if one is given; `None` if the set already contains
/// it.
fn with(set: usize, channel: Option<usize>) -> Option<usize> {
    let bit = channel.map_or(0, |channel| 1 << channel);
    (set & bit == 0).then_some(set | bit)
}

/// Sum of the products of the odds over all assignments. `fixed` limits the sum to assignments in which the readout
/// with this index gets this channel (or none).
fn weight(ratings: &[Ratings], fixed: Option<(usize, Option<usize>)>) -> f64 {
    let mut sums = vec![0.0; SETS];
    sums[0] = 1.0;
    for (readout, ratings) in ratings.iter().enumerate() {
        let mut next = vec![0.0; SETS];
        for (channel, log_odds) in choices(ratings) {
            if fixed.is_some_and(|fixed| fixed.0 == readout && fixed.1 != channel) {
                continue;
            }
            for (set, sum) in sums.iter().enumerate().filter(|(_, sum)| **sum > 0.0) {
                if let Some(set) = with(set, channel) {
                    next[set] += sum * log_odds.exp();
                }
            }
        }
        sums = next;
    }
    sums.iter().sum()
}

/// The assignment with the largest product of odds.
fn most_probable(ratings: &[Ratings]) -> Vec<Option<usize>> {
    let mut best: Vec<Option<(f64, Vec<Option<usize>>)>> = vec![None; SETS];
    best[0] = Some((0.0, Vec::new()));
    for ratings in ratings {
        let mut next: Vec<Option<(f64, Vec<Option<usize>>)>> = vec![None; SETS];
        for (channel, log_odds) in choices(ratings) {
            for (set, entry) in best.iter().enumerate() {
                let (Some((before, chosen)), Some(set)) = (entry, with(set, channel)) else { continue };
                let sum = before + log_odds;
                if next[set].as_ref().is_none_or(|(other, _)| sum > *other) {
                    let mut chosen = chosen.clone();
                    chosen.push(channel);
                    next[set] = Some((sum, chosen));
                }
            }
        }
        best = next;
    }
    let found = best.into_iter().flatten().max_by(|one, other| one.0.total_cmp(&other.0));
    found.map(|(_, chosen)| chosen).unwrap_or_default()
}
