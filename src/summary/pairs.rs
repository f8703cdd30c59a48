//! Legs, pairs of legs and throttle steps in `summary.json`.

use serde::{Deserialize, Serialize};

use super::airspeed::{AirspeedInterval, AirspeedSummary};
use super::budget::BudgetSummary;
use crate::legs::{Flag, LegKind};

/// One leg. Speeds are in `speed_unit`, altitudes in `altitude_unit`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LegSummary {
    /// Number of the leg, from 1.
    pub leg: usize,
    /// Direction relative to the wind.
    pub kind: LegKind,
    /// Number of the leg's throttle step, from 1; `None` if the leg is in no pair.
    pub step: Option<u32>,
    /// Throttle in per cent; `None` if unknown.
    pub throttle_percent: Option<f64>,
    /// Start of the leg, in seconds of flight time; `None` if not finite.
    pub start_s: Option<f64>,
    /// End of the leg, in seconds of flight time; `None` if not finite.
    pub end_s: Option<f64>,
    /// Start of the steady middle (the evaluated part), in seconds of flight time; `None` if not finite.
    pub steady_start_s: Option<f64>,
    /// End of the steady middle (the evaluated part), in seconds of flight time; `None` if not finite.
    pub steady_end_s: Option<f64>,
    /// Median ground speed, in `speed_unit`; `None` if not finite.
    pub median: Option<f64>,
    /// Spread of the speed readings, in `speed_unit`: 1.4826 times the median absolute deviation. `None` if
    /// not finite.
    pub spread: Option<f64>,
    /// Number of overlay updates of the speed in the steady middle.
    pub samples: usize,
    /// Standard uncertainty of the median, in `speed_unit`; `None` if not finite.
    pub uncertainty: Option<f64>,
    /// Median battery voltage, in volts; `None` if the overlay shows none.
    pub voltage_v: Option<f64>,
    /// Median altitude, in `altitude_unit`; `None` if the overlay shows none.
    pub altitude: Option<f64>,
    /// Median number of satellites; `None` if the overlay shows none.
    pub satellites: Option<f64>,
    /// Warnings about the leg.
    #[serde(default)]
    pub flags: Vec<Flag>,
}

/// One pair of legs. Speeds are in `speed_unit`, altitudes in `altitude_unit`.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct PairSummary {
    /// Number of the pair, from 1.
    pub pair: u32,
    /// Number of the pair's throttle step, from 1.
    pub step: u32,
    /// Throttle in per cent; `None` if unknown.
    pub throttle_percent: Option<f64>,
    /// Number of the upwind leg, from 1.
    pub upwind_leg: usize,
    /// Number of the downwind leg, from 1.
    pub downwind_leg: usize,
    /// Median ground speed of the upwind leg, in `speed_unit`; `None` if not finite.
    pub upwind: Option<f64>,
    /// Median ground speed of the downwind leg, in `speed_unit`; `None` if not finite.
    pub downwind: Option<f64>,
    /// Airspeed with its 95 % interval and its standard uncertainty.
    #[serde(flatten)]
    pub airspeed: AirspeedSummary,
    /// Wind along the course, in `speed_unit`; `None` if not finite.
    pub wind: Option<f64>,
    /// Median battery voltage over both legs, in volts; `None` if the overlay shows none.
    pub voltage_v: Option<f64>,
    /// Median altitude over both legs, in `altitude_unit`; `None` if the overlay shows none.
    pub altitude: Option<f64>,
    /// Whether the two legs may not have been flown in opposite directions; the flags say why.
    pub doubtful: bool,
    /// Warnings about the pair.
    pub flags: Vec<Flag>,
    /// Uncertainty budget of the airspeed.
    pub budget: BudgetSummary,
}

/// One throttle step: the mean of its pairs. Speeds are in `speed_unit`.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct StepSummary {
    /// Number of the step, from 1.
    pub step: u32,
    /// Throttle in per cent; `None` if unknown.
    pub throttle_percent: Option<f64>,
    /// Airspeed with its 95 % interval.
    #[serde(flatten)]
    pub airspeed: AirspeedInterval,
    /// Wind along the course, in `speed_unit`; `None` if not finite.
    pub wind: Option<f64>,
    /// Mean battery voltage of the step's pairs, in volts; `None` if the overlay shows none.
    pub voltage_v: Option<f64>,
    /// Number of pairs flown at this step.
    pub pairs: usize,
    /// Whether all pairs of the step are doubtful.
    pub doubtful: bool,
    /// Warnings about the step, then those about its pairs and their legs.
    pub flags: Vec<Flag>,
    /// Uncertainty budget of the airspeed.
    pub budget: BudgetSummary,
}
