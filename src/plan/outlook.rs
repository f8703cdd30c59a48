//! What makes the airspeeds of the next flight uncertain.

use super::{PlanWish, StepLegs, UPDATE_S};
use crate::airspeed::{ASSUMED_DRIFT_SHARE, RECEIVER_MPS, SHARED_ROUNDING_STEPS};
use crate::stats::{coverage_factor, effective_count, mean};
use crate::summary::FlownFlight;

/// Standard deviation of the gusts along the flight and their scale, for a wind at 20 ft and a height:
/// `sigma_u = 0.1 W20 / (0.177 + 0.000823 h)^0.4`, `L_u = h / (0.177 + 0.000823 h)^1.2` with the height in
/// feet, below 1000 ft (MIL-F-8785C, low-altitude Dryden model). In m/s and m.
#[must_use]
pub fn dryden(wind_mps: f64, height_m: f64) -> (f64, f64) {
    let height_ft = (height_m / 0.3048).clamp(10.0, 1000.0);
    let base = 0.177 + 0.000_823 * height_ft;
    (0.1 * wind_mps / base.powf(0.4), 0.3048 * height_ft / base.powf(1.2))
}

/// What makes airspeeds uncertain on the day.
pub(super) struct Outlook {
    pub(super) gust_mps: f64,
    gust_scale_m: f64,
    wind_mps: f64,
    quantum_mps: f64,
}

impl Outlook {
    pub(super) fn of(
        wish: &PlanWish,
        former: Option<&FlownFlight>,
        wind_mps: f64,
        said: &mut Vec<String>,
    ) -> Self {
        let (expected, gust_scale_m) = dryden(wind_mps, wish.height_m);
        let mut outlook = Self { gust_mps: expected, gust_scale_m, wind_mps, quantum_mps: wish.quantum_mps };
        if let Some(gust) = wish.gust_mps {
            outlook.gust_mps = gust;
        } else if let Some(gust) = former.and_then(|flight| outlook.gust_of(flight)) {
            outlook.gust_mps = gust;
            said.push("The gusts are those of the former flight.".to_owned());
        } else {
            said.push("The gusts are those usual over open ground in this wind (MIL-F-8785C).".to_owned());
        }
        outlook
    }

    /// Independent looks at the gusts in a stretch, as for legs that were read.
    fn looks(&self, steady_s: f64, airspeed_mps: f64) -> f64 {
        let memory = (-UPDATE_S * airspeed_mps / self.gust_scale_m).exp();
        effective_count(steady_s / UPDATE_S, memory)
    }

    /// Variance of a pair's airspeed that gusts do not account for.
    fn other_variance(&self) -> f64 {
        let rounding = self.quantum_mps.powi(2) / 12.0 / 2.0;
        rounding + RECEIVER_MPS.powi(2) / 2.0 + (ASSUMED_DRIFT_SHARE * self.wind_mps / 2.0).powi(2)
    }

    /// The gusts that explain what the former flight's steps do not share of their uncertainties.
    fn gust_of(&self, flight: &FlownFlight) -> Option<f64> {
        let steady_s = flight.leg_s?;
        let squares: Vec<f64> = flight
            .steps
            .iter()
            .map(|step| {
                let of_pair = step.own_uncertainty_mps.powi(2) * step.pairs as f64;
                (of_pair - self.other_variance()).max(0.0) * 2.0 * self.looks(steady_s, step.airspeed_mps)
            })
            .collect();
        mean(&squares).map(f64::sqrt).filter(|gust| gust.is_finite())
    }

    /// Half the width of the 95 % interval after so many pairs of every step.
    pub(super) fn half_width(&self, leg: &StepLegs, all: &[StepLegs], pairs: u32) -> f64 {
        let count = f64::from(pairs);
        let of_leg = |steady_s: f64| self.gust_mps.powi(2) / self.looks(steady_s, leg.airspeed_mps);
        let [up, down] = leg.steady_s();
        let own = (of_leg(up) + of_leg(down)) / 4.0 + self.other_variance();
        // That a display may cut off instead of rounding, as for an airspeed that was read.
        let shared = (SHARED_ROUNDING_STEPS * self.quantum_mps).powi(2);
        let looks = |leg: &StepLegs| {
            leg.steady_s().iter().map(|s| self.looks(*s, leg.airspeed_mps) - 1.0).sum::<f64>()
        };
        // What is known of the gusts is pooled over all legs; 3 is what the expectation is worth.
        let freedom = 3.0 + count * all.iter().map(looks).sum::<f64>();
        coverage_factor(0.95, freedom) * (own / count + shared).sqrt()
    }
}
