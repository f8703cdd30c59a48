//! What the pack's voltage is worth in speed.

use serde::{Deserialize, Serialize};

use crate::stats::coverage_factor;
use crate::stats::mean;

/// Standard uncertainty of a step's voltage, in volts: the rounding of a display with one decimal and a
/// little of the sensor's own (a default of this program).
pub const VOLTAGE_UNCERTAINTY_V: f64 = 0.05;

/// Spread of the voltages within a step, as a share, from which on flights tell the exponent.
const LEAST_SPREAD: f64 = 0.01;

/// A slope further from the assumption than so many standard uncertainties is not voltage alone: the runs differ
/// in something else, a throttle perhaps.
const AT_ODDS: f64 = 3.0;

/// Where the exponent of a [`VoltageModel`] comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ExponentSource {
    /// Assumed, for want of runs at one throttle and different voltages.
    Assumed,
    /// The assumption, mended by runs at one throttle and different voltages.
    Fitted,
}

/// Speed at one throttle goes as a power of the voltage under load: `V = V0 (U / U0)^k`.
///
/// Source of the assumed exponent: a motor turns at `n = K_v (U - R I)`; the torque of a propeller at a
/// given advance ratio, and so the current, goes with `n^2`. With the share `s = R I / (U - R I)` lost in
/// the windings, `d ln n / d ln U = (1 + s) / (1 + 2 s)`: 1 without losses, 0.86 with a fifth. The speed of
/// an aircraft whose drag goes with `V^2` keeps its advance ratio, hence goes with `n`; drag due to lift
/// asks for a little more. So 0.9, doubted by 0.15 either way (a derivation of this program).
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct VoltageModel {
    /// The exponent k.
    pub exponent: f64,
    /// Its standard uncertainty.
    pub uncertainty: f64,
    /// Where it comes from.
    pub source: ExponentSource,
    /// Runs beyond the first of their throttle that tell of it, or that are at odds with it.
    pub runs: usize,
}

/// The exponent while no run tells better.
pub const ASSUMED: VoltageModel =
    VoltageModel { exponent: 0.9, uncertainty: 0.15, source: ExponentSource::Assumed, runs: 0 };

/// One run at a throttle: airspeed in any unit, its standard uncertainty in the same, voltage in volts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Run {
    /// Airspeed.
    pub airspeed: f64,
    /// Standard uncertainty of it.
    pub uncertainty: f64,
    /// Pack voltage under load.
    pub voltage_v: f64,
}

impl Default for VoltageModel {
    fn default() -> Self {
        ASSUMED
    }
}

impl VoltageModel {
    /// The model for runs grouped by throttle (and by flight, where set-ups differ). Within each group
    /// the slope of `ln V` over `ln U` is the exponent; all groups together give one, weighted by what is
    /// known of it, and that is combined with the assumption by inverse variances (the weighted mean of
    /// two independent findings). Groups of fewer than two usable runs tell nothing, and a slope that is
    /// at odds with the assumption leaves it as it is.
    #[must_use]
    pub fn of(groups: &[Vec<Run>]) -> Self {
        let (mut products, mut squares, mut doubt, mut runs) = (0.0, 0.0, 0.0, 0);
        for group in groups {
            let usable: Vec<Run> = group.iter().copied().filter(is_usable).collect();
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
        if runs == 0 || spread < LEAST_SPREAD || doubt.is_nan() || doubt <= 0.0 {
            return ASSUMED;
        }
        let (seen, seen_weight) = (products / squares, squares.powi(2) / doubt);
        let assumed_weight = ASSUMED.uncertainty.powi(-2);
        let doubt = seen_weight.sqrt().recip().hypot(ASSUMED.uncertainty);
        if (seen - ASSUMED.exponent).abs() > AT_ODDS * doubt {
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

    /// The factor that takes an airspeed flown at `voltage_v` to `reference_v`; `None` for voltages that
    /// are none.
    #[must_use]
    pub fn factor(&self, voltage_v: f64, reference_v: f64) -> Option<f64> {
        let ratio = reference_v / voltage_v;
        (voltage_v > 0.0 && ratio.is_finite() && ratio > 0.0).then(|| ratio.powf(self.exponent))
    }

    /// The model in words.
    #[must_use]
    pub fn sentence(&self) -> String {
        let known = match self.source {
            ExponentSource::Assumed if self.runs > 0 => {
                "assumed: runs at one throttle differ by more than their voltages explain".to_owned()
            }
            ExponentSource::Assumed => {
                "assumed: no throttle was flown at voltages far enough apart".to_owned()
            }
            ExponentSource::Fitted => {
                let runs = if self.runs == 1 { "run" } else { "runs" };
                format!("from {} repeated {runs} together with the assumed 0.9", self.runs)
            }
        };
        format!(
            "Speed at one throttle is taken to go with the voltage under load to the power {:.2} +/- {:.2} ({known}).",
            self.exponent,
            coverage_factor(0.95, f64::INFINITY) * self.uncertainty
        )
    }
}

fn is_usable(run: &Run) -> bool {
    [run.airspeed, run.voltage_v, run.uncertainty].iter().all(|number| number.is_finite() && *number > 0.0)
}
