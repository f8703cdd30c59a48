//! Legs: finds the straight, steady stretches between turns and describes each.

use serde::{Deserialize, Serialize};

/// What a stretch of the flight is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum LegKind {
    /// Flown into the wind.
    Upwind,
    /// Flown with the wind.
    Downwind,
    /// A leg without a partner flown the other way: reported, not used for an airspeed.
    Odd,
    /// A leg told by the pilot whose direction is to be found from the speeds.
    Leg,
}

/// Something about a leg or pair that a pilot should know, in words.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Flag(pub String);

/// One straight leg. Speeds are in the speed channel's unit.
#[derive(Debug, Clone, PartialEq)]
pub struct Leg {
    /// Start of the whole leg, in seconds of flight time.
    pub start_s: f64,
    /// End of the whole leg.
    pub end_s: f64,
    /// Start of the steady middle that the median is taken over.
    pub steady_start_s: f64,
    /// End of the steady middle.
    pub steady_end_s: f64,
    /// What the leg is.
    pub kind: LegKind,
    /// Throttle in per cent, where it is known.
    pub throttle_percent: Option<f64>,
    /// Number of the throttle step this leg belongs to, from 1; `None` for an odd leg.
    pub step: Option<u32>,
    /// Median speed over the steady middle.
    pub speed_median: f64,
    /// Spread of the speed there: 1.4826 x the median absolute deviation.
    pub speed_spread: f64,
    /// Overlay updates in the steady middle whose speed is trusted.
    pub samples: usize,
    /// Standard uncertainty of the median, autocorrelation and rounding included.
    pub speed_uncertainty: f64,
    /// Median pack voltage over the steady middle, in volts.
    pub voltage_v: Option<f64>,
    /// Median altitude over the steady middle, in the altitude channel's unit.
    pub altitude: Option<f64>,
    /// Median satellites over the steady middle.
    pub satellites: Option<f64>,
    /// What a pilot should know of this leg.
    pub flags: Vec<Flag>,
}

/// Where the throttle of the runs came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum ThrottleSource {
    /// Read from the overlay.
    Overlay,
    /// Told by the pilot as a list of steps.
    Told,
    /// Told in the file of legs.
    LegsFile,
    /// Not known: steps are numbered.
    Numbered,
}
