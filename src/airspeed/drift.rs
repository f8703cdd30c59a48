//! The change of the mean wind between legs, and the receiver's share.

use super::{legs_of, winds};
use crate::legs::{LegSet, Wobble};
use crate::series::statistics::mean;

/// Standard uncertainty of the receiver's speed over a leg, in m/s: makers of small satellite receivers
/// usually state 0.05 m/s for the speed (common practice, from memory).
pub const RECEIVER_MPS: f64 = 0.05;

/// Change of the mean wind from one leg to the next that is assumed while fewer than
/// [`LEAST_PAIRS_FOR_DRIFT`] pairs show it: standard deviation as a share of the wind.
pub const ASSUMED_DRIFT_SHARE: f64 = 0.06;

/// Pairs from which the change of the wind is taken from the flight itself.
pub const LEAST_PAIRS_FOR_DRIFT: usize = 3;

/// The change of the mean wind between the legs of a pair.
pub(super) struct Drift {
    /// Standard uncertainty of an airspeed from it, as seen; `None` while it is assumed.
    seen: Option<f64>,
    degrees_of_freedom: f64,
    receiver: f64,
}

impl Drift {
    /// From three pairs on, the drift is what the winds of successive pairs differ by beyond what the
    /// legs' own uncertainty explains. For a wind that walks at random the difference of two pairs has
    /// twice the variance of the difference of two legs, of which half goes into the airspeed: an
    /// eighth of the variance of successive differences.
    pub fn of(set: &LegSet, wobble: &Wobble) -> Self {
        let winds = winds(set);
        let receiver = RECEIVER_MPS / set.speed_si;
        if winds.len() < LEAST_PAIRS_FOR_DRIFT {
            return Self { seen: None, degrees_of_freedom: f64::INFINITY, receiver };
        }
        let squares: Vec<f64> = winds.windows(2).map(|two| (two[1] - two[0]).powi(2)).collect();
        let of_legs: Vec<f64> = set
            .pairs
            .iter()
            .filter_map(|pair| legs_of(set, pair))
            .flatten()
            .map(|leg| wobble.of_median(leg).combined().powi(2) / 2.0)
            .collect();
        let unexplained = mean(&squares).unwrap_or(0.0) - 2.0 * mean(&of_legs).unwrap_or(0.0);
        Self {
            seen: Some((unexplained.max(0.0) / 8.0).sqrt()),
            degrees_of_freedom: (winds.len() - 1) as f64,
            receiver,
        }
    }

    /// Half of the change between two legs goes into the airspeed.
    pub fn uncertainty(&self, wind: f64) -> f64 {
        self.seen.unwrap_or(ASSUMED_DRIFT_SHARE * wind.abs() / 2.0)
    }

    /// Degrees of freedom of what was seen; infinite while it is assumed.
    pub fn degrees_of_freedom(&self) -> f64 {
        self.degrees_of_freedom
    }

    /// Standard uncertainty of the receiver's speed, in the unit of the speeds.
    pub fn receiver(&self) -> f64 {
        self.receiver
    }
}
