//! The airspeed of one throttle step in SI units. Its uncertainty is split into the step's own part and the
//! part shared by the steps of a flight.

use super::curve::Point;
use crate::airspeed::{Cause, Contribution, StepResult};
use crate::stats::{StandardUncertainty, coverage_factor, welch_satterthwaite};

/// Standard uncertainties in m/s that all steps of a flight share: fully correlated between the steps, and not reduced
/// by flying more pairs. None of them is estimated from samples, so their degrees of freedom are infinite.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct SharedUncertainty {
    /// Uncertainty from the crosswind, in m/s.
    pub crosswind_mps: f64,
    /// Largest bias that an unknown crosswind can cause, in m/s; 0 if the crosswind is known.
    pub crosswind_bound_mps: f64,
    /// Uncertainty from a display that may truncate instead of rounding, in m/s.
    pub rounding_mps: f64,
    /// Uncertainty from all other shared causes together, in m/s.
    pub other_mps: f64,
}

impl SharedUncertainty {
    /// All shared uncertainties combined, in m/s: the root of the sum of squares.
    #[must_use]
    pub fn combined_mps(&self) -> f64 {
        self.crosswind_mps.hypot(self.rounding_mps).hypot(self.other_mps)
    }

    fn add(&mut self, cause: Cause, uncertainty_mps: f64) {
        let part = match cause {
            Cause::Crosswind => &mut self.crosswind_mps,
            Cause::SharedRounding => &mut self.rounding_mps,
            _ => &mut self.other_mps,
        };
        *part = part.hypot(uncertainty_mps);
    }
}

/// One throttle step of a flight, in SI units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FlownStep {
    /// Number of the step, from 1.
    pub step: u32,
    /// Throttle in per cent; `None` if it is not known.
    pub throttle_percent: Option<f64>,
    /// Airspeed in m/s: the middle of its 95 % interval.
    pub airspeed_mps: f64,
    /// Airspeed in m/s as reported, not corrected for its expected bias: it is lower than the middle of the interval by
    /// this bias.
    pub reported_mps: f64,
    /// Standard uncertainty in m/s that is not shared with other steps. If no row of the budget belongs to this step
    /// alone, it is the whole uncertainty of the airspeed.
    pub own_uncertainty_mps: f64,
    /// Degrees of freedom of `own_uncertainty_mps`.
    pub own_degrees_of_freedom: f64,
    /// Uncertainty shared with the other steps of the flight.
    pub shared: SharedUncertainty,
    /// Wind along the course, in m/s.
    pub wind_mps: f64,
    /// Battery voltage under load, in volts; `None` if the overlay shows none.
    pub voltage_v: Option<f64>,
    /// Number of pairs of legs flown at this step.
    pub pairs: usize,
}

impl FlownStep {
    /// Converts a step to SI units; `speed_si` is the factor from the unit of its speeds to m/s. `None` if the airspeed
    /// or its uncertainty is not finite, or the uncertainty is zero.
    #[must_use]
    pub fn of(step: &StepResult, speed_si: f64) -> Option<Self> {
        let airspeed = StepAirspeed {
            step: step.step,
            throttle_percent: step.throttle_percent,
            airspeed: Some(step.airspeed.value),
            low: step.airspeed.low,
            high: step.airspeed.high,
            uncertainty: Some(step.airspeed.standard_uncertainty),
            degrees_of_freedom: step.airspeed.degrees_of_freedom,
            contributions: step.budget.rows.clone(),
            crosswind_bound: step.budget.crosswind_bound,
            wind: step.wind,
            voltage_v: step.voltage_v,
            pairs: step.pairs.len(),
        };
        airspeed.in_si(speed_si)
    }

    /// Combined standard uncertainty in m/s (JCGM 100:2008, 5.1.2) and its degrees of freedom (G.2b).
    #[must_use]
    pub fn uncertainty(&self) -> StandardUncertainty {
        let own = StandardUncertainty {
            value: self.own_uncertainty_mps,
            degrees_of_freedom: self.own_degrees_of_freedom,
        };
        welch_satterthwaite(&[own, StandardUncertainty::known(self.shared.combined_mps())])
    }

    /// The same step with its uncertainty from rounding multiplied by `factor`.
    #[must_use]
    pub(crate) fn with_rounding_times(self, factor: f64) -> Self {
        let rounding_mps = factor * self.shared.rounding_mps;
        Self { shared: SharedUncertainty { rounding_mps, ..self.shared }, ..self }
    }

    /// The step as a point of the curve of airspeed against throttle; `None` if the throttle is unknown.
    #[must_use]
    pub fn point(&self) -> Option<Point> {
        let uncertainty = self.uncertainty();
        Some(Point {
            throttle_percent: self.throttle_percent.filter(|percent| *percent > 0.0)?,
            airspeed_mps: self.airspeed_mps,
            uncertainty_mps: uncertainty.value,
            degrees_of_freedom: uncertainty.degrees_of_freedom,
        })
    }
}

/// The airspeed of a throttle step and its uncertainty budget, in the unit of the flight's speeds.
pub(crate) struct StepAirspeed {
    pub(crate) step: u32,
    pub(crate) throttle_percent: Option<f64>,
    /// The reported airspeed, in the unit of the speeds; if it is `None`, the middle of the interval is used.
    pub(crate) airspeed: Option<f64>,
    /// Lower end of the 95 % interval, in the unit of the speeds.
    pub(crate) low: f64,
    /// Upper end of the 95 % interval, in the unit of the speeds.
    pub(crate) high: f64,
    /// Combined standard uncertainty, in the unit of the speeds; `None` if it is to be computed from the
    /// width of the interval.
    pub(crate) uncertainty: Option<f64>,
    pub(crate) degrees_of_freedom: f64,
    /// The rows of the uncertainty budget: one contribution to the standard uncertainty each.
    pub(crate) contributions: Vec<Contribution>,
    /// Largest bias of the airspeed that an unknown crosswind can cause, in the unit of the speeds.
    pub(crate) crosswind_bound: f64,
    pub(crate) wind: f64,
    pub(crate) voltage_v: Option<f64>,
    /// Number of pairs of legs.
    pub(crate) pairs: usize,
}

/// An uncertainty split into the step's own part and the part shared with the other steps of the flight.
struct SplitUncertainty {
    own_mps: f64,
    own_degrees_of_freedom: f64,
    shared: SharedUncertainty,
}

impl StepAirspeed {
    /// The step in SI units; `speed_si` is the factor from the unit of the speeds to m/s. `None` if the
    /// airspeed or the uncertainty is not finite, or the uncertainty is zero.
    pub(crate) fn in_si(&self, speed_si: f64) -> Option<FlownStep> {
        let SplitUncertainty { own_mps, own_degrees_of_freedom, shared } = self.split(speed_si)?;
        let airspeed_mps = f64::midpoint(self.low, self.high) * speed_si;
        airspeed_mps.is_finite().then(|| FlownStep {
            step: self.step,
            throttle_percent: self.throttle_percent,
            airspeed_mps,
            reported_mps: self.airspeed.map_or(airspeed_mps, |airspeed| airspeed * speed_si),
            own_uncertainty_mps: own_mps,
            own_degrees_of_freedom,
            shared,
            wind_mps: self.wind * speed_si,
            voltage_v: self.voltage_v,
            pairs: self.pairs,
        })
    }

    /// The combined standard uncertainty in m/s; `None` if it is zero or not finite.
    fn combined_mps(&self, speed_si: f64) -> Option<f64> {
        let from_width = || (self.high - self.low) / 2.0 / coverage_factor(0.95, self.degrees_of_freedom);
        let combined_mps = self.uncertainty.unwrap_or_else(from_width) * speed_si;
        (combined_mps.is_finite() && combined_mps > 0.0).then_some(combined_mps)
    }

    /// Splits the uncertainty into the step's own part and the shared part, each combined from rows of the budget. If
    /// no row belongs to the step alone, the whole uncertainty is its own. `None` if the combined uncertainty is zero
    /// or not finite.
    fn split(&self, speed_si: f64) -> Option<SplitUncertainty> {
        let combined_mps = self.combined_mps(speed_si)?;
        let crosswind_bound_mps = self.crosswind_bound * speed_si;
        let mut own = Vec::new();
        let mut shared = SharedUncertainty { crosswind_bound_mps, ..SharedUncertainty::default() };
        for row in &self.contributions {
            let uncertainty_mps = row.uncertainty * speed_si;
            if row.shared {
                shared.add(row.cause, uncertainty_mps);
            } else {
                own.push(StandardUncertainty {
                    value: uncertainty_mps,
                    degrees_of_freedom: row.degrees_of_freedom,
                });
            }
        }
        let StandardUncertainty { value: own_mps, degrees_of_freedom: own_degrees_of_freedom } =
            welch_satterthwaite(&own);
        let is_usable = own_mps > 0.0 && own_mps.is_finite() && shared.combined_mps().is_finite();
        Some(if is_usable {
            SplitUncertainty { own_mps, own_degrees_of_freedom, shared }
        } else {
            SplitUncertainty {
                own_mps: combined_mps,
                own_degrees_of_freedom: self.degrees_of_freedom,
                shared: SharedUncertainty::default(),
            }
        })
    }
}
