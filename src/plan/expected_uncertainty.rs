//! The uncertainty to expect of the airspeeds of the next flight.

use super::leg_times::{StepLegs, UPDATE_S};
use super::request::PlanRequest;
use crate::airspeed::{ASSUMED_DRIFT_SHARE, RECEIVER_MPS, SHARED_ROUNDING_STEPS};
use crate::model::estimate::COVERAGE_PROBABILITY;
use crate::stats::{coverage_factor, effective_count, mean};
use crate::summary::FlownFlight;

/// Degrees of freedom that the expected strength of the gusts has before the flight; those of the planned legs are
/// added (set by judgement).
const PRIOR_DEGREES_OF_FREEDOM: f64 = 3.0;

/// Gusts along the flight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Turbulence {
    /// Standard deviation of the gusts, in m/s.
    pub deviation_mps: f64,
    /// Length scale of the gusts, in m.
    pub length_scale_m: f64,
}

/// The gusts along the flight, for a wind speed in m/s at 20 ft and
/// a height in m: `sigma_u = 0.1 W20 / (0.177 + 0.000823 h)^0.4`, `L_u = h / (0.177 + 0.000823 h)^1.2` with the height
/// in feet, from 10 to 1000 ft (MIL-F-8785C, low-altitude Dryden model).
#[must_use]
pub fn dryden(wind_mps: f64, height_m: f64) -> Turbulence {
    let height_ft = (height_m / 0.3048).clamp(10.0, 1000.0);
    let base = 0.177 + 0.000_823 * height_ft;
    Turbulence {
        deviation_mps: 0.1 * wind_mps / base.powf(0.4),
        length_scale_m: 0.3048 * height_ft / base.powf(1.2),
    }
}

/// The expected causes of uncertainty of an airspeed.
pub(super) struct ExpectedUncertainty {
    /// Standard deviation of the gusts, in m/s.
    pub(super) gust_mps: f64,
    /// Length scale of the gusts, in m.
    gust_scale_m: f64,
    wind_mps: f64,
    /// Resolution of the displayed speed, in m/s.
    quantum_mps: f64,
}

impl ExpectedUncertainty {
    /// Determines the contributions to the uncertainty. The gusts are those that the pilot stated; without them, those
    /// of the earlier flight; without one, they are estimated from the wind. Adds what was assumed to `assumptions`.
    pub(super) fn of(
        request: &PlanRequest,
        earlier: Option<&FlownFlight>,
        wind_mps: f64,
        assumptions: &mut Vec<String>,
    ) -> Self {
        let usual = dryden(wind_mps, request.height_m);
        let mut expected = Self {
            gust_mps: usual.deviation_mps,
            gust_scale_m: usual.length_scale_m,
            wind_mps,
            quantum_mps: request.quantum_mps,
        };
        if let Some(gust_mps) = request.gust_mps {
            expected.gust_mps = gust_mps;
        } else if let Some(gust_mps) = earlier.and_then(|flight| expected.gust_of(flight)) {
            expected.gust_mps = gust_mps;
            assumptions.push("The gusts are those of the earlier flight.".to_owned());
        } else {
            assumptions
                .push("The gusts are those usual over open ground in this wind (MIL-F-8785C).".to_owned());
        }
        expected
    }

    /// Effective number of independent samples of the gusts in the steady part of a leg.
    fn samples(&self, steady_s: f64, airspeed_mps: f64) -> f64 {
        let autocorrelation = (-UPDATE_S * airspeed_mps / self.gust_scale_m).exp();
        effective_count(steady_s / UPDATE_S, autocorrelation)
    }

    /// Variance of a pair's airspeed from causes other than gusts, in m^2/s^2: rounding, receiver and wind drift.
    fn other_variance(&self) -> f64 {
        let rounding = self.quantum_mps.powi(2) / 12.0 / 2.0;
        rounding + RECEIVER_MPS.powi(2) / 2.0 + (ASSUMED_DRIFT_SHARE * self.wind_mps / 2.0).powi(2)
    }

    /// The strength of gusts that explains the uncertainties of the earlier flight's steps, as a standard
    /// deviation in m/s; `None` if the earlier flight has no legs or steps.
    fn gust_of(&self, flight: &FlownFlight) -> Option<f64> {
        let steady_s = flight.leg_s?;
        let squares: Vec<f64> = flight
            .steps
            .iter()
            .map(|step| {
                let pair_variance = step.own_uncertainty_mps.powi(2) * step.pairs as f64;
                (pair_variance - self.other_variance()).max(0.0)
                    * 2.0
                    * self.samples(steady_s, step.airspeed_mps)
            })
            .collect();
        mean(&squares).map(f64::sqrt).filter(|gust_mps| gust_mps.is_finite())
    }

    /// Expected half-width of the 95 % interval of the airspeed at `step`, in m/s, if `pairs` pairs are flown at each
    /// step. `all` holds the legs of all steps, since the strength of the gusts is estimated from all legs together.
    pub(super) fn half_width_mps(&self, step: &StepLegs, all: &[StepLegs], pairs: u32) -> f64 {
        let count = f64::from(pairs);
        let leg_variance = |steady_s: f64| self.gust_mps.powi(2) / self.samples(steady_s, step.airspeed_mps);
        let [up, down] = step.steady_s();
        let own = (leg_variance(up) + leg_variance(down)) / 4.0 + self.other_variance();
        // The display may truncate instead of rounding, as in the budget of a measured airspeed.
        let shared = (SHARED_ROUNDING_STEPS * self.quantum_mps).powi(2);
        let step_freedom = |step: &StepLegs| {
            step.steady_s().iter().map(|s| self.samples(*s, step.airspeed_mps) - 1.0).sum::<f64>()
        };
        // The estimate of the gusts is pooled over all legs.
        let freedom = PRIOR_DEGREES_OF_FREEDOM + count * all.iter().map(step_freedom).sum::<f64>();
        coverage_factor(COVERAGE_PROBABILITY, freedom) * (own / count + shared).sqrt()
    }
}
