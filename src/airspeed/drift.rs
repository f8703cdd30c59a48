//! The change of the mean wind between legs, and the receiver's share.

use super::{legs_of, winds};
use crate::legs::{Leg, LegSet, SpeedVariability};
use crate::stats::mean;

/// Standard uncertainty of the receiver's speed over a leg, in m/s: makers of small satellite receivers
/// usually state 0.05 m/s for the speed (common practice, from memory).
pub const RECEIVER_MPS: f64 = 0.05;

/// Change of the mean wind from one leg to the next that is expected before any is seen: standard deviation as a share of
/// the wind (common practice, no source).
pub const ASSUMED_DRIFT_SHARE: f64 = 0.06;

/// What that expectation is worth, in degrees of freedom: it is known to within half of itself (JCGM 100:2008, G.4.2:
/// nu = 1/2 (relative uncertainty)^-2).
const ASSUMED_DRIFT_DF: f64 = 2.0;

/// Pairs from which the change of the wind is taken from the flight too.
pub const LEAST_PAIRS_FOR_DRIFT: usize = 3;

/// The change of the mean wind between the legs of a pair.
pub(super) struct Drift {
    /// Variance that it brings into an airspeed, as seen, and its degrees of freedom; `None` below
    /// [`LEAST_PAIRS_FOR_DRIFT`].
    seen: Option<(f64, f64)>,
    receiver: f64,
}

impl Drift {
    /// From three pairs on, the drift seen is what the winds of successive pairs differ by beyond what the legs' own
    /// uncertainty explains, over [`successive_to_airspeed`].
    pub fn of(set: &LegSet, wobble: &SpeedVariability) -> Self {
        let winds = winds(set);
        let receiver = RECEIVER_MPS / set.speed_si;
        if winds.len() < LEAST_PAIRS_FOR_DRIFT {
            return Self { seen: None, receiver };
        }
        let squares: Vec<f64> = winds.windows(2).map(|two| (two[1] - two[0]).powi(2)).collect();
        let legs: Vec<[&Leg; 2]> = set.pairs.iter().filter_map(|pair| legs_of(set, pair)).collect();
        let of_legs: Vec<f64> =
            legs.iter().flatten().map(|leg| wobble.of_median(leg).combined().powi(2) / 2.0).collect();
        let unexplained = mean(&squares).unwrap_or(0.0) - 2.0 * mean(&of_legs).unwrap_or(0.0);
        let variance = unexplained.max(0.0) / successive_to_airspeed(&legs);
        Self { seen: Some((variance, (winds.len() - 1) as f64)), receiver }
    }

    /// Standard uncertainty of an airspeed from the drift: what is expected and what is seen, pooled by their degrees of
    /// freedom. Half of the change between two legs goes into the airspeed.
    pub fn uncertainty(&self, wind: f64) -> f64 {
        let expected = (ASSUMED_DRIFT_SHARE * wind / 2.0).powi(2);
        let (seen, freedom) = self.seen.unwrap_or((0.0, 0.0));
        ((ASSUMED_DRIFT_DF * expected + freedom * seen) / (ASSUMED_DRIFT_DF + freedom)).sqrt()
    }

    /// Degrees of freedom of that.
    pub fn degrees_of_freedom(&self) -> f64 {
        ASSUMED_DRIFT_DF + self.seen.map_or(0.0, |(_, freedom)| freedom)
    }

    /// Standard uncertainty of the receiver's speed, in the unit of the speeds.
    pub fn receiver(&self) -> f64 {
        self.receiver
    }
}

/// Variance of the difference of the winds of two successive pairs over the variance of an airspeed, for a mean wind that
/// walks at random. Averages over two legs of length `L` whose middles are `k d` apart differ with a variance in
/// proportion to `k d - L/3`. So the winds of two successive pairs, each the mean of two legs, differ with
/// `(6 d - 2 L/3) / 4`, and half the change between two legs has `(d - L/3) / 4`: the ratio lies between 6 for short legs
/// with long turns and 8 for legs without turns.
fn successive_to_airspeed(legs: &[[&Leg; 2]]) -> f64 {
    let lengths_s: Vec<f64> =
        legs.iter().flatten().map(|leg| leg.steady_end_s - leg.steady_start_s).collect();
    let middle_s = |leg: &Leg| f64::midpoint(leg.steady_start_s, leg.steady_end_s);
    let apart_s: Vec<f64> = legs.iter().map(|[one, other]| (middle_s(one) - middle_s(other)).abs()).collect();
    let length_s = mean(&lengths_s).unwrap_or(0.0);
    let apart_s = mean(&apart_s).unwrap_or(0.0).max(length_s);
    if apart_s > 0.0 { (6.0 * apart_s - 2.0 * length_s / 3.0) / (apart_s - length_s / 3.0) } else { 8.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn leg(start_s: f64, end_s: f64) -> Leg {
        Leg {
            start_s,
            end_s,
            steady_start_s: start_s,
            steady_end_s: end_s,
            kind: crate::legs::LegKind::Leg,
            throttle_percent: None,
            step: None,
            speed_median: 20.0,
            speed_spread: 0.0,
            samples: 50,
            speed_uncertainty: 0.1,
            voltage_v: None,
            altitude: None,
            satellites: None,
            usage: crate::legs::LegUse::Used,
            flags: Vec::new(),
        }
    }

    #[test]
    fn the_ratio_lies_between_legs_without_turns_and_turns_without_legs() {
        // Worked by hand from the variance of averages of a random walk, no published source.
        let ratio = |one: &Leg, other: &Leg| successive_to_airspeed(&[[one, other]]);
        assert!((ratio(&leg(0.0, 10.0), &leg(10.0, 20.0)) - 8.0).abs() < 1e-12);
        assert!((ratio(&leg(0.0, 10.0), &leg(15.0, 25.0)) - 50.0 / 7.0).abs() < 1e-12);
        assert!((ratio(&leg(0.0, 0.01), &leg(20.0, 20.01)) - 6.0).abs() < 1e-2);
    }
}
