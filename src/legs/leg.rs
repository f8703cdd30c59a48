//! One leg of a flight.

use serde::{Deserialize, Serialize};

use super::note::{Flag, NotPaired};

/// Direction of a leg relative to the wind, or its role in the flight.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum LegKind {
    /// Flown into the wind.
    Upwind,
    /// Flown with the wind.
    Downwind,
    /// A leg without a partner flown the other way. It is reported, but no airspeed is computed from it.
    #[serde(alias = "odd")]
    Unpaired,
    /// A given leg whose direction is still to be decided by the speeds, or a leg of a pattern of three or
    /// more directions.
    Leg,
}

/// Whether a leg is used for an airspeed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LegUse {
    /// The leg is part of a pair or of a pattern.
    Used,
    /// The leg is part of a pair whose two legs may not have been flown in opposite directions.
    Doubtful,
    /// The leg is in no pair. The field gives the reason.
    LeftOut(NotPaired),
}

/// One straight leg. Speeds are in the speed channel's unit.
#[derive(Debug, Clone, PartialEq)]
pub struct Leg {
    /// Start of the whole leg, in seconds of flight time.
    ///
    /// The result files state the times of the steady middle instead. If those times are given as a leg, the median
    /// speed is the same.
    pub start_s: f64,
    /// End of the whole leg, in seconds of flight time.
    pub end_s: f64,
    /// Start of the steady middle, over which the median is taken, in seconds of flight time.
    pub steady_start_s: f64,
    /// End of the steady middle, in seconds of flight time.
    pub steady_end_s: f64,
    /// Whether the leg is upwind, downwind or unpaired; [`LegKind::Leg`] for a leg of a pattern.
    pub kind: LegKind,
    /// Throttle in per cent; `None` where it is not known.
    pub throttle_percent: Option<f64>,
    /// Number of the throttle step that the leg belongs to, from 1; `None` for an unpaired leg.
    pub step: Option<u32>,
    /// Median speed over the overlay updates of the steady middle, interpolated within the display
    /// step it falls into (see [`grouped_median`](crate::stats::grouped_median)).
    pub speed_median: f64,
    /// Spread of the speed in the steady middle, in the speed channel's unit: 1.4826 times the median
    /// absolute deviation, which equals the standard deviation of normally distributed values.
    pub speed_spread: f64,
    /// Number of overlay updates in the steady middle whose speed is trusted.
    pub samples: usize,
    /// Standard uncertainty of the median speed. It includes autocorrelation and rounding.
    pub speed_uncertainty: f64,
    /// Median pack voltage over the steady middle, in volts; `None` if the overlay shows none.
    pub voltage_v: Option<f64>,
    /// Median altitude over the steady middle, in the altitude channel's unit; `None` if the overlay shows
    /// none.
    pub altitude: Option<f64>,
    /// Median number of satellites over the steady middle; `None` if the overlay shows none.
    pub satellites: Option<f64>,
    /// Whether the leg is used for an airspeed.
    pub usage: LegUse,
    /// Warnings about this leg.
    pub flags: Vec<Flag>,
}
