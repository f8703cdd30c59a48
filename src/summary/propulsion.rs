//! Battery, motor and propeller in `summary.json`: the fields of [`Findings`](crate::propulsion::Findings) in
//! alphabetical order, which is their order in the file. All speeds are in m/s, independent of `speed_unit`.

use serde::{Deserialize, Serialize};

use crate::propulsion::ExponentSource;

/// Results on battery, motor and propeller. A result is `None` or empty if it needs a channel or a property of the
/// aircraft that is missing.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct PropulsionSummary {
    /// Results on the battery pack; `None` if no leg has a voltage reading.
    pub battery: Option<BatterySummary>,
    /// Warnings about rising power, falling voltage or a rising resistance of the battery pack, one sentence each.
    pub cautions: Vec<String>,
    /// Airspeed against throttle, as flown; `None` with fewer than two throttles, or if the fit
    /// fails.
    pub curve: Option<CurveSummary>,
    /// The throttle above which more throttle adds little speed; `None` with fewer than three throttles, or if
    /// even the gain between the two highest throttles is not small.
    pub diminishing_return: Option<DiminishingReturnSummary>,
    /// Airspeed against throttle as it would be on the freshly charged battery; `None` unless the battery was
    /// recorded at rest before and after the legs.
    pub fresh_curve: Option<CurveSummary>,
    /// Electrical power of each leg.
    pub power: Vec<PowerRunSummary>,
    /// Exponent of the power law between electrical power and airspeed, over the legs; `None` with fewer than
    /// three legs that have a power, or if all have the same airspeed.
    pub power_exponent: Option<f64>,
    /// Motor and propeller at each throttle step.
    pub propeller: Vec<PropellerSummary>,
    /// Airspeed lost at each throttle step because the battery had discharged.
    pub voltage_losses: Vec<VoltageLossSummary>,
    /// Effect of the battery voltage on the airspeed; `None` only if the file lacks this field.
    pub voltage_model: Option<VoltageModelSummary>,
}

/// Results on the battery pack. Voltages are in volts.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BatterySummary {
    /// End of the rest before the legs, and start of the rest after them, in seconds of flight time; `None`
    /// unless both rests were recorded, and a single time `None` if it is not finite.
    pub between_rests_s: Option<(Option<f64>, Option<f64>)>,
    /// Number of cells in series; `None` if neither given nor estimated.
    pub cells: Option<u32>,
    /// Whether the number of cells was estimated from the resting voltage.
    pub cells_estimated: bool,
    /// Voltage per cell under load at which the pilot should land, in volts; `None` if not finite.
    pub landing_v_per_cell: Option<f64>,
    /// Numbers, from 1, of the legs flown below the landing voltage.
    pub legs_below_limit: Vec<usize>,
    /// Number of the leg with the lowest voltage, from 1.
    pub lowest_leg: usize,
    /// Lowest median voltage over a leg, in volts; `None` if not finite.
    pub lowest_v: Option<f64>,
    /// Resting voltage after the last leg; `None` if that rest was not recorded.
    pub resting_after_v: Option<f64>,
    /// Resting voltage before the first leg; `None` if that rest was not recorded.
    pub resting_before_v: Option<f64>,
    /// Change of the voltage under load, in V/min; `None` with fewer than two legs that have a voltage.
    pub trend_v_per_min: Option<TrendSummary>,
}

/// A linear trend over time.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct TrendSummary {
    /// Upper end of the 95 % interval of the slope, in units per minute; `None` if not finite.
    pub high: Option<f64>,
    /// Value of the line at flight time 0, in the unit of the values; `None` if not finite.
    pub intercept: Option<f64>,
    /// Lower end of the 95 % interval of the slope, in units per minute; `None` if not finite.
    pub low: Option<f64>,
    /// Slope, in units per minute; `None` if not finite.
    pub slope: Option<f64>,
}

/// Airspeed against throttle: `V = a (throttle / 100)^b`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CurveSummary {
    /// Covariance of the parameters `a` and `b`: `[var a, cov(a, b), var b]`, in (m/s)^2, m/s and 1; an element is
    /// `None` if not finite.
    pub covariance: [Option<f64>; 3],
    /// Degrees of freedom of the covariance; `None` if infinite.
    pub degrees_of_freedom: Option<f64>,
    /// Scatter of the steps about the curve, divided by the scatter expected from their uncertainties; `None`
    /// with two steps, which leave no residuals.
    pub excess_scatter: Option<f64>,
    /// The exponent b; `None` if not finite.
    pub exponent: Option<f64>,
    /// Lowest and highest throttle flown, in per cent; each `None` if not finite.
    pub flown_percent: (Option<f64>, Option<f64>),
    /// The airspeed `a` at full throttle, in m/s; `None` if not finite.
    pub full_throttle_mps: Option<f64>,
}

/// The throttle above which each further per cent of throttle adds less airspeed than a threshold.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct DiminishingReturnSummary {
    /// Whether the measurements show it: the upper end of the 95 % interval of every gain above this throttle is
    /// below the threshold.
    pub significant: bool,
    /// The threshold: half of the average gain in airspeed per per cent of throttle, in m/s; `None` if not finite.
    pub threshold_mps: Option<f64>,
    /// Throttle of diminishing return, in per cent; `None` if not finite.
    pub throttle_percent: Option<f64>,
}

/// Electrical power of one leg.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PowerRunSummary {
    /// Airspeed of the leg's throttle step, in m/s; `None` if not finite.
    pub airspeed_mps: Option<f64>,
    /// Median current, in amperes; `None` if not finite.
    pub current_a: Option<f64>,
    /// Number of the leg, from 1.
    pub leg: usize,
    /// Electrical power, in watts; `None` if not finite.
    pub power_w: Option<f64>,
    /// Start of the leg's steady middle, in seconds of flight time; `None` if not finite.
    pub start_s: Option<f64>,
    /// Number of the throttle step, from 1.
    pub step: u32,
    /// Energy per kilometre through the air, in Wh/km; `None` if the airspeed is 0.
    pub wh_per_km: Option<f64>,
}

/// Motor and propeller at one throttle step.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PropellerSummary {
    /// Advance ratio: airspeed divided by revolutions a second and propeller diameter. `None` if the diameter
    /// is not given.
    pub advance_ratio: Option<f64>,
    /// Whether the motor speed was measured; otherwise it is computed for full throttle without load.
    pub measured: bool,
    /// Pitch speed (revolutions a second times propeller pitch), in m/s; `None` if the pitch is not given.
    pub pitch_speed_mps: Option<f64>,
    /// Motor speed in revolutions per minute: as measured, or computed from the voltage for full throttle without
    /// load. `None` if not finite.
    pub rpm: Option<f64>,
    /// Slip: how far the airspeed is below the pitch speed, as a share of the pitch speed; `None` if the
    /// pitch is not given.
    pub slip: Option<f64>,
    /// Throttle in per cent; `None` if it is not known.
    pub throttle_percent: Option<f64>,
}

/// Effect of the battery voltage on the airspeed: the airspeed is proportional to `U^k`, where `U` is the voltage
/// under load.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct VoltageModelSummary {
    /// The exponent k; `None` if not finite.
    pub exponent: Option<f64>,
    /// Number of pairs that were available to fit the exponent, not counting the first pair at each throttle.
    pub runs: usize,
    /// Whether the exponent is assumed or fitted.
    pub source: ExponentSource,
    /// Standard uncertainty of the exponent; `None` if not finite.
    pub uncertainty: Option<f64>,
}

/// Airspeed lost at one throttle step because the battery had discharged.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct VoltageLossSummary {
    /// Airspeed with the fresh battery minus airspeed as flown, in m/s; `None` if not finite.
    pub lost_mps: Option<f64>,
    /// Drop of the resting voltage from the start of the flight to the step, in volts; `None` if not finite.
    pub run_down_v: Option<f64>,
    /// Number of the step, from 1.
    pub step: u32,
    /// Throttle in per cent; `None` if it is not known.
    pub throttle_percent: Option<f64>,
    /// Standard uncertainty of `lost_mps`, in m/s; `None` if not finite.
    pub uncertainty_mps: Option<f64>,
}
