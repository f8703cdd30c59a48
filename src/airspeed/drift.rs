//! The change of the mean wind between legs, and the accuracy of the receiver.

use super::{legs_of, winds};
use crate::legs::{Leg, LegSet, SpeedVariability};
use crate::stats::mean;

/// Standard uncertainty of the receiver's speed over a leg, in m/s. Makers of small satellite receivers usually state
/// 0.05 m/s (common practice, no source).
pub const RECEIVER_MPS: f64 = 0.05;

/// Expected standard deviation of the change of the mean wind from one leg to the next, as a share of the wind (common
/// practice, no source). It is used as long as no change is measured, and pooled with the measured change afterwards.
pub const ASSUMED_DRIFT_SHARE: f64 = 0.06;

/// Weight of the expected change ([`ASSUMED_DRIFT_SHARE`]) against a measured one, in degrees of freedom:
/// corresponds to a relative uncertainty of one half (JCGM 100:2008, G.4.2: nu = 1/2 (relative
/// uncertainty)^-2).
const ASSUMED_DRIFT_DF: f64 = 2.0;

/// Minimum number of pairs for measuring the change of the wind in the flight itself (set by judgement).
pub const MIN_PAIRS_FOR_DRIFT: usize = 3;

/// The change of the mean wind between the legs of a pair.
pub(super) struct Drift {
    /// Measured variance of a pair's airspeed due to the changing wind, in squared speed units, and its degrees of
    /// freedom; `None` with fewer than [`MIN_PAIRS_FOR_DRIFT`] pairs.
    measured: Option<(f64, f64)>,
    receiver: f64,
}

impl Drift {
    /// Measures the change of the wind from the differences between the winds of successive pairs. The mean square of
    /// these differences is reduced by the part that the uncertainty of the legs explains. [`successive_to_airspeed`]
    /// converts the rest into the variance of an airspeed. With fewer than [`MIN_PAIRS_FOR_DRIFT`] pairs nothing is
    /// measured.
    pub fn of(set: &LegSet, variability: &SpeedVariability) -> Self {
        let winds = winds(set);
        let receiver = RECEIVER_MPS / set.speed_si;
        if winds.len() < MIN_PAIRS_FOR_DRIFT {
            return Self { measured: None, receiver };
        }
        let squares: Vec<f64> = winds.windows(2).map(|two| (two[1] - two[0]).powi(2)).collect();
        let legs: Vec<[&Leg; 2]> = set.pairs.iter().filter_map(|pair| legs_of(set, pair)).collect();
        let of_legs: Vec<f64> =
            legs.iter().flatten().map(|leg| variability.of_median(leg).combined().powi(2) / 2.0).collect();
        let unexplained = mean(&squares).unwrap_or(0.0) - 2.0 * mean(&of_legs).unwrap_or(0.0);
        let variance = unexplained.max(0.0) / successive_to_airspeed(&legs);
        Self { measured: Some((variance, (winds.len() - 1) as f64)), receiver }
    }

    /// Standard uncertainty of an airspeed due to the changing wind, in the unit of the speeds, for the wind `wind`
    /// along the course. The expected and the measured variance are averaged with their degrees of freedom as weights.
    /// An airspeed contains half of the change between its two legs.
    pub fn uncertainty(&self, wind: f64) -> f64 {
        let expected = (ASSUMED_DRIFT_SHARE * wind / 2.0).powi(2);
        let (measured, freedom) = self.measured.unwrap_or((0.0, 0.0));
        ((ASSUMED_DRIFT_DF * expected + freedom * measured) / (ASSUMED_DRIFT_DF + freedom)).sqrt()
    }

    /// Degrees of freedom of [`Self::uncertainty`].
    pub fn degrees_of_freedom(&self) -> f64 {
        ASSUMED_DRIFT_DF + self.measured.map_or(0.0, |(_, freedom)| freedom)
    }

    /// Standard uncertainty of the receiver's speed, in the unit of the speeds.
    pub fn receiver(&self) -> f64 {
        self.receiver
    }
}

/// Ratio of two variances, if the mean wind follows a random walk: the variance of the difference between the winds of
/// two successive pairs, divided by the variance of an airspeed due to the changing wind. Every leg has the length
/// `L`; the middles of successive legs are `d` apart. The mean winds of two legs whose middles are `k d` apart differ
/// with a variance proportional to `k d - L/3`. In this unit the winds of two successive pairs differ with the
/// variance `(6 d - 2 L/3) / 4`, and half the change between two legs has the variance `(d - L/3) / 4`. The ratio lies
/// between 6 for short legs with long turns and 8 for legs without turns (derived here, no published source).
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
        // Calculated by hand from the variance of averages of a random walk; no published source.
        let ratio = |one: &Leg, other: &Leg| successive_to_airspeed(&[[one, other]]);
        assert!((ratio(&leg(0.0, 10.0), &leg(10.0, 20.0)) - 8.0).abs() < 1e-12);
        assert!((ratio(&leg(0.0, 10.0), &leg(15.0, 25.0)) - 50.0 / 7.0).abs() < 1e-12);
        assert!((ratio(&leg(0.0, 0.01), &leg(20.0, 20.01)) - 6.0).abs() < 1e-2);
    }
}
