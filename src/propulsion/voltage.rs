//! The effect of the pack's voltage on the speed.

use serde::{Deserialize, Serialize};

use crate::stats::coverage_factor;
use crate::stats::mean;

/// Standard uncertainty of a step's voltage, in volts: the rounding of a display with one decimal, and some
/// inaccuracy of the sensor (set by judgement).
pub const VOLTAGE_UNCERTAINTY_V: f64 = 0.05;

/// Minimum range of the voltages at one throttle, as a share of the voltage, for estimating the exponent from
/// the flight (set by judgement).
const MIN_SPREAD: f64 = 0.01;

/// Maximum deviation of the estimated exponent from the assumed one, in standard uncertainties. A larger
/// deviation shows that the runs differ in something other than voltage, such as throttle (set by judgement).
const MAX_DEVIATION: f64 = 3.0;

/// Source of the exponent of a [`VoltageModel`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ExponentSource {
    /// Assumed, since there are no usable runs at one throttle and different voltages.
    Assumed,
    /// Combined from the assumption and from runs at one throttle and different voltages.
    Fitted,
}

/// Speed at one throttle as a power of the voltage under load: `V = V0 (U / U0)^k`.
///
/// Derivation of the assumed exponent (our own): a motor turns at `n = K_v (U - R I)`. The torque of a propeller at a
/// given advance ratio, and so the current, is proportional to `n^2`. With the share `s = R I / (U - R I)` lost in the
/// windings, `d ln n / d ln U = (1 + s) / (1 + 2 s)`: 1 for s = 0, and 0.86 for s = 0.2. An aircraft whose drag is
/// proportional to `V^2` keeps its advance ratio, so that its speed is proportional to `n`; drag due to lift raises the
/// exponent a little. The result is 0.9 with a standard uncertainty of 0.15.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct VoltageModel {
    /// The exponent k: speed at one throttle is proportional to the voltage under load to the power of k.
    pub exponent: f64,
    /// Standard uncertainty of the exponent.
    pub uncertainty: f64,
    /// Whether the exponent is assumed or fitted.
    pub source: ExponentSource,
    /// Number of repeated runs: usable voltage runs without the first one at each throttle. Runs that contradict the
    /// assumed exponent are included.
    pub runs: usize,
}

/// The model with the assumed exponent, 0.9 with a standard uncertainty of 0.15 (for its derivation see
/// [`VoltageModel`]).
pub const ASSUMED: VoltageModel =
    VoltageModel { exponent: 0.9, uncertainty: 0.15, source: ExponentSource::Assumed, runs: 0 };

/// The result of flying at one throttle and one voltage. Airspeed and uncertainty are in the same unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct VoltageRun {
    /// Airspeed, in any unit of speed.
    pub airspeed: f64,
    /// Standard uncertainty of the airspeed, in the same unit.
    pub uncertainty: f64,
    /// Pack voltage under load, in V.
    pub voltage_v: f64,
}

impl Default for VoltageModel {
    fn default() -> Self {
        ASSUMED
    }
}

impl VoltageModel {
    /// Estimates the model from runs grouped by throttle (and by flight, where the aircraft differ). Within each group
    /// the slope of `ln V` over `ln U` is the exponent. The weighted estimate from all groups is combined with the
    /// assumption by inverse variances. Groups of fewer than two usable runs are ignored. If the estimate deviates from
    /// the assumed exponent by more than three standard uncertainties, the assumed exponent is kept.
    #[must_use]
    pub fn of(groups: &[Vec<VoltageRun>]) -> Self {
        let (mut products, mut squares, mut doubt, mut runs) = (0.0, 0.0, 0.0, 0);
        for group in groups {
            let usable: Vec<VoltageRun> = group.iter().copied().filter(is_usable).collect();
            let logs: Vec<f64> = usable.iter().map(|run| run.voltage_v.ln()).collect();
            let (Some(middle), true) = (mean(&logs), usable.len() > 1) else { continue };
            for run in &usable {
                let apart = run.voltage_v.ln() - middle;
                products += apart * run.airspeed.ln();
                squares += apart.powi(2);
                doubt += (apart * run.uncertainty / run.airspeed).powi(2);
            }
            runs += usable.len() - 1;
        }
        let spread = (squares / runs.max(1) as f64).sqrt();
        if runs == 0 || spread < MIN_SPREAD || doubt.is_nan() || doubt <= 0.0 {
            return ASSUMED;
        }
        let (seen, seen_weight) = (products / squares, squares.powi(2) / doubt);
        let assumed_weight = ASSUMED.uncertainty.powi(-2);
        let doubt = seen_weight.sqrt().recip().hypot(ASSUMED.uncertainty);
        if (seen - ASSUMED.exponent).abs() > MAX_DEVIATION * doubt {
            return Self { runs, ..ASSUMED };
        }
        let weight = seen_weight + assumed_weight;
        Self {
            exponent: (seen * seen_weight + ASSUMED.exponent * assumed_weight) / weight,
            uncertainty: weight.sqrt().recip(),
            source: ExponentSource::Fitted,
            runs,
        }
    }

    /// Factor that converts an airspeed flown at `voltage_v` to the airspeed at `reference_v`; `None` if a
    /// voltage is not positive.
    #[must_use]
    pub fn factor(&self, voltage_v: f64, reference_v: f64) -> Option<f64> {
        let ratio = reference_v / voltage_v;
        (voltage_v > 0.0 && ratio.is_finite() && ratio > 0.0).then(|| ratio.powf(self.exponent))
    }

    /// The model in one sentence for the pilot.
    #[must_use]
    pub fn sentence(&self) -> String {
        let known = match self.source {
            ExponentSource::Assumed if self.runs > 0 => {
                "assumed, because pairs at one throttle differ by more than their voltages explain".to_owned()
            }
            ExponentSource::Assumed => {
                "assumed, because no throttle was flown at sufficiently different voltages".to_owned()
            }
            ExponentSource::Fitted => {
                let pairs = if self.runs == 1 { "pair" } else { "pairs" };
                format!("measured in {} repeated {pairs}, combined with the assumed exponent 0.9", self.runs)
            }
        };
        format!(
            "At one throttle, airspeed is proportional to the voltage under load to the power {:.2} +/- {:.2} ({known}).",
            self.exponent,
            coverage_factor(0.95, f64::INFINITY) * self.uncertainty
        )
    }
}

fn is_usable(run: &VoltageRun) -> bool {
    [run.airspeed, run.voltage_v, run.uncertainty].iter().all(|number| number.is_finite() && *number > 0.0)
}
