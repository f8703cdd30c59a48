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
    /// Number of its throttle step, from 1; `None` if the leg is in no pair.
    pub step: Option<u32>,
    /// Throttle in per cent.
    pub throttle_percent: Option<f64>,
    /// Start of the leg.
    pub start_s: Option<f64>,
    /// End of the leg.
    pub end_s: Option<f64>,
    /// Start of the part that is evaluated.
    pub steady_start_s: Option<f64>,
    /// End of the part that is evaluated.
    pub steady_end_s: Option<f64>,
    /// Median ground speed.
    pub median: Option<f64>,
    /// Spread of the speed readings.
    pub spread: Option<f64>,
    /// Number of speed updates.
    pub samples: usize,
    /// Standard uncertainty of the median.
    pub uncertainty: Option<f64>,
    /// Median battery voltage.
    pub voltage_v: Option<f64>,
    /// Median altitude.
    pub altitude: Option<f64>,
    /// Median number of satellites.
    pub satellites: Option<f64>,
    /// Remarks on the leg.
    #[serde(default)]
    pub flags: Vec<Flag>,
}

/// One pair of legs. Speeds are in `speed_unit`, altitudes in `altitude_unit`.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct PairSummary {
    /// Number of the pair, from 1.
    pub pair: u32,
    /// Number of its throttle step, from 1.
    pub step: u32,
    /// Throttle in per cent.
    pub throttle_percent: Option<f64>,
    /// Number of the upwind leg, from 1.
    pub upwind_leg: usize,
    /// Number of the downwind leg, from 1.
    pub downwind_leg: usize,
    /// Median ground speed of the upwind leg.
    pub upwind: Option<f64>,
    /// Median ground speed of the downwind leg.
    pub downwind: Option<f64>,
    /// Airspeed with its uncertainty.
    #[serde(flatten)]
    pub airspeed: AirspeedSummary,
    /// Wind along the course.
    pub wind: Option<f64>,
    /// Median battery voltage over both legs.
    pub voltage_v: Option<f64>,
    /// Median altitude over both legs.
    pub altitude: Option<f64>,
    /// Whether the two legs may not have been flown in opposite directions; the flags say why.
    pub doubtful: bool,
    /// Remarks on the pair.
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
    /// Throttle in per cent.
    pub throttle_percent: Option<f64>,
    /// Airspeed with its interval.
    #[serde(flatten)]
    pub airspeed: AirspeedInterval,
    /// Wind along the course.
    pub wind: Option<f64>,
    /// Mean battery voltage of its pairs.
    pub voltage_v: Option<f64>,
    /// Number of its pairs.
    pub pairs: usize,
    /// Whether all of its pairs are doubtful.
    pub doubtful: bool,
    /// Remarks on the step, then those on its pairs and their legs.
    pub flags: Vec<Flag>,
    /// Uncertainty budget of the airspeed.
    pub budget: BudgetSummary,
}
