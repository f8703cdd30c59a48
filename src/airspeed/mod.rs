//! Airspeed: pairs upwind with downwind legs and states the airspeed with its interval.

use crate::legs::Flag;

/// One throttle step: the airspeed from its upwind and downwind legs. Speeds are in the speed
/// channel's unit.
#[derive(Debug, Clone, PartialEq)]
pub struct Pair {
    /// Number of the pair, from 1.
    pub pair: u32,
    /// Throttle in per cent, where it is known.
    pub throttle_percent: Option<f64>,
    /// Number of the throttle step, from 1.
    pub step: u32,
    /// Indices into the list of legs: (upwind, downwind).
    pub legs: (usize, usize),
    /// Median ground speed of the upwind leg.
    pub upwind: f64,
    /// Median ground speed of the downwind leg.
    pub downwind: f64,
    /// Airspeed: mean of the two.
    pub airspeed: f64,
    /// Lower end of the 95 % interval of the airspeed.
    pub airspeed_low: f64,
    /// Upper end of the 95 % interval of the airspeed.
    pub airspeed_high: f64,
    /// Standard uncertainty of the airspeed.
    pub airspeed_uncertainty: f64,
    /// Degrees of freedom of that uncertainty (Welch-Satterthwaite).
    pub degrees_of_freedom: f64,
    /// Wind along the course: half the difference.
    pub wind: f64,
    /// Median pack voltage over both legs, in volts.
    pub voltage_v: Option<f64>,
    /// Median altitude over both legs, in the altitude channel's unit.
    pub altitude: Option<f64>,
    /// What a pilot should know of this pair.
    pub flags: Vec<Flag>,
}
