//! Battery, motor and propeller in `summary.json`: the fields of [`Findings`](crate::propulsion::Findings) in
//! alphabetical order, which is their order in the file. Speeds are in m/s whatever `speed_unit` is.

use serde::{Deserialize, Serialize};

use crate::propulsion::ExponentSource;

/// Results on battery, motor and propeller; `None` or empty where a channel or a property of the aircraft is missing.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct PropulsionSummary {
    /// The battery.
    pub battery: Option<BatterySummary>,
    /// Signs of trouble, one sentence each.
    pub cautions: Vec<String>,
    /// Airspeed against throttle, as flown.
    pub curve: Option<CurveSummary>,
    /// The throttle above which more throttle gains little speed.
    pub diminishing_return: Option<DiminishingReturnSummary>,
    /// Airspeed against throttle, corrected to the freshly charged battery.
    pub fresh_curve: Option<CurveSummary>,
    /// Electrical power of each leg.
    pub power: Vec<PowerRunSummary>,
    /// Exponent of power in airspeed over the legs.
    pub power_exponent: Option<f64>,
    /// Motor and propeller at each throttle step.
    pub propeller: Vec<PropellerSummary>,
    /// Effect of the battery voltage on the airspeed.
    pub voltage_model: Option<VoltageModelSummary>,
    /// Airspeed lost at each throttle step because the battery had discharged.
    pub voltage_shares: Vec<VoltageShareSummary>,
}

/// The battery. Voltages are in volts.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BatterySummary {
    /// Interval between the end of the rest before the legs and the start of the rest after them.
    pub between_rests_s: Option<(Option<f64>, Option<f64>)>,
    /// Number of cells in series.
    pub cells: Option<u32>,
    /// Whether the number of cells was estimated from the resting voltage.
    pub cells_guessed: bool,
    /// Voltage per cell under load at which to land.
    pub landing_v_per_cell: Option<f64>,
    /// Numbers of the legs flown below that voltage, from 1.
    pub legs_below_limit: Vec<usize>,
    /// Number of the leg with the lowest voltage, from 1.
    pub lowest_leg: usize,
    /// Lowest median voltage of a leg.
    pub lowest_v: Option<f64>,
    /// Resting voltage after the last leg.
    pub resting_after_v: Option<f64>,
    /// Resting voltage before the first leg.
    pub resting_before_v: Option<f64>,
    /// Change of the voltage under load, in V/min.
    pub trend_v_per_min: Option<TrendSummary>,
}

/// A linear trend.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct TrendSummary {
    /// Upper end of the 95 % interval of the slope.
    pub high: Option<f64>,
    /// Intercept.
    pub intercept: Option<f64>,
    /// Lower end of the 95 % interval of the slope.
    pub low: Option<f64>,
    /// Slope.
    pub slope: Option<f64>,
}

/// Airspeed against throttle: `V = a (throttle / 100)^b`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CurveSummary {
    /// Covariance of the parameters: `[var a, cov, var b]`.
    pub covariance: [Option<f64>; 3],
    /// Degrees of freedom; `None` if infinite.
    pub degrees_of_freedom: Option<f64>,
    /// Scatter of the steps about the curve, relative to their uncertainties.
    pub excess_scatter: Option<f64>,
    /// The exponent b.
    pub exponent: Option<f64>,
    /// Lowest and highest throttle flown, in per cent.
    pub flown_percent: (Option<f64>, Option<f64>),
    /// The airspeed a at full throttle.
    pub full_throttle_mps: Option<f64>,
}

/// The throttle above which more throttle gains little speed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct DiminishingReturnSummary {
    /// Whether the measurements show it: all gains above are significantly below the threshold.
    pub shown: bool,
    /// Gain per per cent of throttle that counts as little, in m/s.
    pub threshold_mps: Option<f64>,
    /// That throttle, in per cent.
    pub throttle_percent: Option<f64>,
}

/// Electrical power of one leg.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PowerRunSummary {
    /// Airspeed of the leg's throttle step.
    pub airspeed_mps: Option<f64>,
    /// Median current in amperes.
    pub current_a: Option<f64>,
    /// Number of the leg, from 1.
    pub leg: usize,
    /// Electrical power in watts.
    pub power_w: Option<f64>,
    /// Start of the leg.
    pub start_s: Option<f64>,
    /// Number of the throttle step, from 1.
    pub step: u32,
    /// Energy per kilometre through the air, in Wh/km.
    pub wh_per_km: Option<f64>,
}

/// Motor and propeller at one throttle step.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PropellerSummary {
    /// Advance ratio.
    pub advance_ratio: Option<f64>,
    /// Whether the motor speed was measured.
    pub measured: bool,
    /// Pitch speed.
    pub pitch_speed_mps: Option<f64>,
    /// Motor speed in revolutions per minute: measured, or without load at full throttle.
    pub rpm: Option<f64>,
    /// Slip relative to the pitch speed.
    pub slip: Option<f64>,
    /// Throttle in per cent.
    pub throttle_percent: Option<f64>,
}

/// Effect of the battery voltage on the airspeed: `V ~ U^k`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct VoltageModelSummary {
    /// The exponent k.
    pub exponent: Option<f64>,
    /// Number of repeated runs that it was compared with.
    pub runs: usize,
    /// Where the exponent comes from.
    pub source: ExponentSource,
    /// Its standard uncertainty.
    pub uncertainty: Option<f64>,
}

/// Airspeed lost at one throttle step because the battery had discharged.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct VoltageShareSummary {
    /// Airspeed with the fresh battery minus airspeed as flown.
    pub missing_mps: Option<f64>,
    /// Drop of the resting voltage by then, in volts.
    pub run_down_v: Option<f64>,
    /// Number of the step, from 1.
    pub step: u32,
    /// Throttle in per cent.
    pub throttle_percent: Option<f64>,
    /// Standard uncertainty of `missing_mps`.
    pub uncertainty_mps: Option<f64>,
}
