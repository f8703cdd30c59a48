//! One throttle step of a flight: its airspeed, and what of its uncertainty it shares with the other steps.

use super::curve::Point;
use crate::airspeed::{Cause, StepResult};
use crate::stats::{coverage_factor, welch};

/// Standard uncertainties in m/s that all steps of one flight have in common: fully correlated between the
/// steps, and the same however many pairs are flown. All rest on knowledge instead of samples.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct SharedUncertainty {
    /// From the wind across the course.
    pub crosswind_mps: f64,
    /// How much the airspeed may read low at the most for a crosswind that is not known; 0 where it is known.
    pub crosswind_bound_mps: f64,
    /// From a display that may cut off instead of rounding.
    pub rounding_mps: f64,
    /// From all other shared causes together.
    pub other_mps: f64,
}

impl SharedUncertainty {
    /// All parts together, in m/s: the root of the sum of squares.
    #[must_use]
    pub fn combined_mps(&self) -> f64 {
        self.crosswind_mps.hypot(self.rounding_mps).hypot(self.other_mps)
    }
}

/// One throttle step of a flight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FlownStep {
    /// Number of the step, from 1.
    pub step: u32,
    /// Throttle in per cent, where it is known.
    pub throttle_percent: Option<f64>,
    /// Airspeed in m/s: the middle of its 95 % interval.
    pub airspeed_mps: f64,
    /// Airspeed in m/s as the report gives it: below the middle by what it reads low on the average.
    pub reported_mps: f64,
    /// Standard uncertainty in m/s that it does not share with other steps: from the rows of its budget. Without
    /// rows all of its uncertainty: that of its budget, else half the interval over the factor of Student's
    /// distribution.
    pub own_uncertainty_mps: f64,
    /// Degrees of freedom of that.
    pub own_degrees_of_freedom: f64,
    /// What it shares with the other steps of the flight.
    pub shared: SharedUncertainty,
    /// Wind along the course, in m/s.
    pub wind_mps: f64,
    /// Pack voltage under load, in volts.
    pub voltage_v: Option<f64>,
    /// How many pairs of legs it rests on.
    pub pairs: usize,
}

impl FlownStep {
    /// A step as worked out in this run; `speed_si` is the speeds' unit in m/s.
    #[must_use]
    pub fn of(step: &StepResult, speed_si: f64) -> Option<Self> {
        let from = Interval {
            low: step.airspeed.low,
            high: step.airspeed.high,
            combined: Some(step.airspeed.standard_uncertainty),
            degrees_of_freedom: step.airspeed.degrees_of_freedom,
        };
        let rows = step.budget.rows.iter().map(|row| Part {
            extent: Extent::of(row.shared, row.cause),
            uncertainty: row.uncertainty,
            degrees_of_freedom: row.degrees_of_freedom,
        });
        let uncertainty = from.uncertainty(rows, step.budget.crosswind_bound, speed_si)?;
        let airspeed_mps = from.middle_mps(speed_si)?;
        Some(Self {
            step: step.step,
            throttle_percent: step.throttle_percent,
            airspeed_mps,
            reported_mps: step.airspeed.value * speed_si,
            own_uncertainty_mps: uncertainty.own.0,
            own_degrees_of_freedom: uncertainty.own.1,
            shared: uncertainty.shared,
            wind_mps: step.wind * speed_si,
            voltage_v: step.voltage_v,
            pairs: step.pairs.len(),
        })
    }

    /// Combined standard uncertainty in m/s (JCGM 100:2008, 5.1.2) and its degrees of freedom (G.2b).
    #[must_use]
    pub fn uncertainty(&self) -> (f64, f64) {
        let shared = (self.shared.combined_mps(), f64::INFINITY);
        welch(&[(self.own_uncertainty_mps, self.own_degrees_of_freedom), shared])
    }

    /// The step with its rounding times a factor.
    #[must_use]
    pub(crate) fn with_rounding_times(self, factor: f64) -> Self {
        let rounding_mps = factor * self.shared.rounding_mps;
        Self { shared: SharedUncertainty { rounding_mps, ..self.shared }, ..self }
    }

    /// The step as a point of the curve of speed against throttle; `None` where throttle is not known.
    #[must_use]
    pub fn point(&self) -> Option<Point> {
        let (uncertainty_mps, degrees_of_freedom) = self.uncertainty();
        Some(Point {
            throttle_percent: self.throttle_percent.filter(|percent| *percent > 0.0)?,
            airspeed_mps: self.airspeed_mps,
            uncertainty_mps,
            degrees_of_freedom,
        })
    }
}

/// The 95 % interval of an airspeed.
pub(super) struct Interval {
    pub(super) low: f64,
    pub(super) high: f64,
    pub(super) combined: Option<f64>,
    pub(super) degrees_of_freedom: f64,
}

impl Interval {
    pub(super) fn middle_mps(&self, speed_si: f64) -> Option<f64> {
        Some(f64::midpoint(self.low, self.high) * speed_si).filter(|middle| middle.is_finite())
    }

    /// All of the uncertainty, in m/s.
    pub(super) fn combined_mps(&self, speed_si: f64) -> Option<f64> {
        let half = || (self.high - self.low) / 2.0;
        let by_width = || half() / coverage_factor(0.95, self.degrees_of_freedom);
        let combined_mps = self.combined.unwrap_or_else(by_width) * speed_si;
        (combined_mps.is_finite() && combined_mps > 0.0).then_some(combined_mps)
    }

    /// The uncertainty by the rows of a budget. Without rows of the step's own all of it counts as such.
    pub(super) fn uncertainty(
        &self,
        rows: impl Iterator<Item = Part>,
        crosswind_bound: f64,
        speed_si: f64,
    ) -> Option<Uncertainty> {
        let combined_mps = self.combined_mps(speed_si)?;
        let mut own = Vec::new();
        let mut shared =
            SharedUncertainty { crosswind_bound_mps: crosswind_bound * speed_si, ..Default::default() };
        for row in rows {
            let uncertainty_mps = row.uncertainty * speed_si;
            match row.extent {
                Extent::Own => own.push((uncertainty_mps, row.degrees_of_freedom)),
                Extent::Crosswind => shared.crosswind_mps = shared.crosswind_mps.hypot(uncertainty_mps),
                Extent::Rounding => shared.rounding_mps = shared.rounding_mps.hypot(uncertainty_mps),
                Extent::Other => shared.other_mps = shared.other_mps.hypot(uncertainty_mps),
            }
        }
        let own = welch(&own);
        let usable = own.0 > 0.0 && own.0.is_finite() && shared.combined_mps().is_finite();
        let whole = Uncertainty {
            own: (combined_mps, self.degrees_of_freedom),
            shared: SharedUncertainty::default(),
        };
        Some(if usable { Uncertainty { own, shared } } else { whole })
    }
}

/// An uncertainty by what it belongs to.
pub(super) struct Uncertainty {
    /// Standard uncertainty in m/s and its degrees of freedom.
    pub(super) own: (f64, f64),
    /// What it shares with the other steps of the flight.
    pub(super) shared: SharedUncertainty,
}

/// A row of a budget; its uncertainty in the unit of the speeds.
pub(super) struct Part {
    pub(super) extent: Extent,
    pub(super) uncertainty: f64,
    pub(super) degrees_of_freedom: f64,
}

/// What a row of a budget belongs to: the step, or the whole flight for one cause or another.
pub(super) enum Extent {
    Own,
    Crosswind,
    Rounding,
    Other,
}

impl Extent {
    fn of(shared: bool, cause: Cause) -> Self {
        match cause {
            _ if !shared => Self::Own,
            Cause::Crosswind => Self::Crosswind,
            Cause::SharedRounding => Self::Rounding,
            _ => Self::Other,
        }
    }
}
