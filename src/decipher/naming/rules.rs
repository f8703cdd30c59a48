//! The rules that rate a readout for each known channel, as natural logarithms of odds. All are common practice without a
//! source: a rule that nearly always holds weighs 2 to 3, one that often holds about 1, an impossible value -8.

use super::super::words::Words;
use super::behaviour::Behaviour;
use super::reason::Reason;
use crate::model::channel::Channel;

/// The rating of one readout for every channel of [`Channel::KNOWN`], in their order.
#[derive(Debug, Clone, Default)]
pub(super) struct Ratings {
    ratings: Vec<Rating>,
}

#[derive(Debug, Clone, Default)]
struct Rating {
    log_odds: f64,
    /// Reasons for the channel, each with the log odds that it adds.
    reasons: Vec<(f64, Reason)>,
}

impl Ratings {
    /// Log odds of the channel at an index of [`Channel::KNOWN`] against an unknown channel.
    pub(super) fn log_odds(&self, known: usize) -> f64 {
        self.ratings.get(known).map_or(IMPOSSIBLE, |rating| rating.log_odds)
    }

    /// The reasons for a channel, the strongest first.
    pub(super) fn reasons(&self, known: usize) -> Vec<Reason> {
        let mut reasons = self.ratings.get(known).map_or(Vec::new(), |rating| rating.reasons.clone());
        reasons.sort_by(|one, other| other.0.total_cmp(&one.0));
        reasons.into_iter().map(|(_, reason)| reason).collect()
    }
}

/// Log odds (natural logarithm) of a channel whose readout shows a value that the channel cannot have.
const IMPOSSIBLE: f64 = -8.0;
/// Log odds (natural logarithm) of a channel if too few values are known to judge it; low enough that only a matching
/// unit or caption makes the channel likely.
const UNKNOWN: f64 = -3.0;
/// Log odds (natural logarithm) added if the unit beside the value fits the channel, and again if the caption does.
const WORD: f64 = 5.0;

/// Log odds (natural logarithm) subtracted if the unit beside the value belongs to another channel.
const OTHER_UNIT: f64 = 6.0;
/// Minimum correlation with the throttle, for the values of a readout to be rated as following the throttle.
const FOLLOWS: f64 = 0.45;

/// Maximum absolute correlation with the throttle, for the values of a readout to be rated as independent of the
/// throttle.
const IGNORES: f64 = 0.25;

impl Rating {
    /// A rating with log odds of 0 if all values lie between `low` and `high`, and with [`IMPOSSIBLE`] log odds
    /// otherwise.
    fn within(behaviour: &Behaviour, low: f64, high: f64) -> Self {
        let fits = behaviour.low >= low && behaviour.high <= high;
        Self { log_odds: if fits { 0.0 } else { IMPOSSIBLE }, reasons: Vec::new() }
    }

    /// Adds `log_odds` and the reason if the rule holds. Log odds of the same reason are summed.
    fn rule(mut self, holds: bool, log_odds: f64, reason: Reason) -> Self {
        if holds {
            self.log_odds += log_odds;
            match self.reasons.iter_mut().find(|(_, earlier)| *earlier == reason) {
                Some((sum, _)) => *sum += log_odds,
                None => self.reasons.push((log_odds, reason)),
            }
        }
        self
    }

    /// Subtracts `log_odds` if `holds` is true.
    fn against(mut self, holds: bool, log_odds: f64) -> Self {
        if holds {
            self.log_odds -= log_odds;
        }
        self
    }
}

impl Rating {
    /// Adds the log odds and reasons from the unit and the caption beside the value.
    fn with_words(self, words: &Words, channel: &Channel) -> Self {
        let mut rated = self;
        if let Some(unit) = words.unit {
            let fits = channel.quantity() == Some(unit.quantity());
            rated = rated.rule(fits, WORD, Reason::Unit(unit)).against(!fits, OTHER_UNIT);
        }
        if let Some((spelling, labelled)) = &words.caption {
            rated = rated.rule(labelled == channel, WORD, Reason::Caption(spelling));
        }
        rated
    }
}

/// Rates a readout for every known channel.
pub(super) fn rate(behaviour: &Behaviour) -> Ratings {
    let rating = |channel: &Channel| by_behaviour(behaviour, channel).with_words(&behaviour.words, channel);
    Ratings { ratings: Channel::KNOWN.iter().map(rating).collect() }
}

/// Rates a readout for one channel from its values alone, without unit and caption.
fn by_behaviour(behaviour: &Behaviour, channel: &Channel) -> Rating {
    if behaviour.is_clock {
        return Rating { log_odds: IMPOSSIBLE, reasons: Vec::new() };
    }
    if !behaviour.is_known() {
        return Rating { log_odds: UNKNOWN, reasons: Vec::new() };
    }
    match channel {
        Channel::Speed => speed(behaviour),
        Channel::Voltage => voltage(behaviour),
        Channel::Altitude => altitude(behaviour),
        Channel::Satellites => satellites(behaviour),
        Channel::Throttle => throttle(behaviour),
        Channel::Current => current(behaviour),
        Channel::Heading => heading(behaviour),
        Channel::Rpm | Channel::Other(_) => rpm(behaviour),
    }
}

/// Log odds that a readout shows the throttle.
pub(super) fn throttle_log_odds(behaviour: &Behaviour) -> f64 {
    if behaviour.is_known() { throttle(behaviour).log_odds } else { IMPOSSIBLE }
}

fn follows(behaviour: &Behaviour) -> bool {
    behaviour.throttle_correlation.is_some_and(|correlation| correlation >= FOLLOWS)
}

fn ignores(behaviour: &Behaviour) -> bool {
    behaviour.throttle_correlation.is_some_and(|correlation| correlation.abs() < IGNORES)
}

fn range(behaviour: &Behaviour) -> Reason {
    Reason::Range(behaviour.low, behaviour.high)
}

fn speed(behaviour: &Behaviour) -> Rating {
    Rating::within(behaviour, 0.0, 500.0)
        .rule(follows(behaviour), 1.5, Reason::FollowsThrottle)
        .rule(behaviour.low <= 0.3 * behaviour.high, 0.8, Reason::StartsAtRest)
        .rule(behaviour.unchanged_share < 0.4, 0.8, Reason::OftenChanges)
        .rule(behaviour.relative_span() >= 0.25, 0.8, range(behaviour))
        .against(ignores(behaviour), 0.5)
        .against(behaviour.unchanged_share > 0.9, 3.0)
        .against(behaviour.decimals == 1, 0.5)
        .against(behaviour.decimals > 1, 3.0)
        .against(behaviour.fives_share > 0.8, 3.0)
        .against(behaviour.relative_span() < 0.12, 2.0)
}

fn voltage(behaviour: &Behaviour) -> Rating {
    Rating::within(behaviour, 2.5, 70.0)
        .rule(behaviour.decimals > 0, 2.5, Reason::Decimals(behaviour.decimals))
        .rule(behaviour.trend < -0.3, 1.5, Reason::Falls)
        .rule(behaviour.relative_span() < 0.4, 1.0, range(behaviour))
        .against(behaviour.decimals == 0, 4.0)
        .against(behaviour.trend > 0.3, 1.5)
        .against(behaviour.relative_span() > 0.5, 3.0)
}

fn altitude(behaviour: &Behaviour) -> Rating {
    Rating::within(behaviour, -500.0, 9_999.0)
        .rule(behaviour.low < 0.0, 3.0, Reason::Negative)
        .rule(ignores(behaviour), 0.8, Reason::IgnoresThrottle)
        .rule(behaviour.high >= 100.0, 0.7, range(behaviour))
        .rule(behaviour.unchanged_share < 0.7, 0.3, Reason::SmallSteps(behaviour.large_step))
        .rule(behaviour.high > 500.0 && behaviour.high < 5_000.0, 1.0, range(behaviour))
        .against(behaviour.decimals > 1, 2.0)
        .against(behaviour.fives_share > 0.8, 3.0)
        .against(follows(behaviour), 0.8)
}

fn satellites(behaviour: &Behaviour) -> Rating {
    Rating::within(behaviour, 0.0, 45.0)
        .rule(behaviour.unchanged_share >= 0.5, 2.0, Reason::RarelyChanges)
        .rule(behaviour.large_step <= 2.0, 1.0, Reason::SmallSteps(behaviour.large_step))
        .against(behaviour.decimals > 0, 6.0)
        .against(behaviour.large_step > 3.0, 3.0)
        .against(behaviour.unchanged_share < 0.3, 2.0)
        .against(behaviour.high < 4.0, 1.0)
}

fn throttle(behaviour: &Behaviour) -> Rating {
    Rating::within(behaviour, 0.0, 100.0)
        .rule(behaviour.fives_share >= 0.8, 3.0, Reason::MultiplesOfFive)
        .rule(behaviour.high >= 60.0 && behaviour.unchanged_share >= 0.4, 1.0, range(behaviour))
        .against(behaviour.decimals > 0, 4.0)
        .against(behaviour.fives_share < 0.5, 1.0)
        .against(behaviour.unchanged_share < 0.2, 1.0)
        .against(behaviour.high < 30.0, 2.0)
}

fn current(behaviour: &Behaviour) -> Rating {
    Rating::within(behaviour, -5.0, 400.0)
        .rule(behaviour.decimals > 0, 1.0, Reason::Decimals(behaviour.decimals))
        .rule(follows(behaviour), 1.5, Reason::FollowsThrottle)
        .rule(behaviour.relative_span() > 0.5, 0.5, range(behaviour))
        .against(behaviour.decimals == 0, 3.0)
        .against(behaviour.relative_span() < 0.4, 2.5)
        .against(behaviour.trend < -0.8, 1.0)
}

fn heading(behaviour: &Behaviour) -> Rating {
    let circle = behaviour.high - behaviour.low > 170.0;
    Rating::within(behaviour, 0.0, 360.0)
        .rule(circle && behaviour.large_step > 90.0, 3.0, Reason::FullCircle)
        .rule(circle && behaviour.large_step <= 90.0, 0.5, range(behaviour))
        .against(behaviour.decimals > 0, 3.0)
        .against(!circle, 3.0)
        .against(follows(behaviour), 1.0)
}

fn rpm(behaviour: &Behaviour) -> Rating {
    Rating::within(behaviour, 0.0, 99_999.0)
        .rule(behaviour.high >= 2_000.0, 1.5, range(behaviour))
        .rule(follows(behaviour), 1.5, Reason::FollowsThrottle)
        .against(behaviour.high < 2_000.0, 6.0)
        .against(behaviour.decimals > 0, 4.0)
}
