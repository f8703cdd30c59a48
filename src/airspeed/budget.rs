//! The uncertainty budget of an airspeed, after JCGM 100:2008 (GUM).

use serde::{Deserialize, Serialize};

use crate::model::estimate::{COVERAGE_PROBABILITY, Estimate};
use crate::stats::coverage_factor;

/// Source of a part of the uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Cause {
    /// Gusts that the legs are too short to average out.
    Gusts,
    /// Fast noise of the speed readings.
    Noise,
    /// Rounding of the display, independent for each leg.
    Rounding,
    /// Rounding of the display that all legs share: a display that truncates digits instead of rounding them
    /// reads low throughout.
    SharedRounding,
    /// Accuracy of the speed that the receiver measures.
    Receiver,
    /// Change of the wind between the legs of a pair.
    WindDrift,
    /// A crosswind that is unknown or known with an uncertainty.
    Crosswind,
    /// Differences between pairs at one throttle that all other causes together do not explain.
    Disagreement,
    /// Doubt whether the two legs of a pair were flown in opposite directions.
    Doubt,
}

/// One row of an uncertainty budget.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Contribution {
    /// Source of the uncertainty.
    pub cause: Cause,
    /// Standard uncertainty of the airspeed from this source, in the unit of the speed.
    pub uncertainty: f64,
    /// Degrees of freedom of the standard uncertainty; infinite if it is not estimated from samples.
    pub degrees_of_freedom: f64,
    /// Whether all pairs of a flight have the same error from this source, so that averaging more pairs does not
    /// reduce it.
    pub shared: bool,
}

/// Probability that a display truncates further digits instead of rounding them; it then reads half a display step low
/// on average. The readings do not show whether a display truncates or rounds, so the value is assumed (no source).
/// With it, the intervals of both kinds of display contain the truth nearly equally often in simulated flights
/// (docs/benchmarks.md).
const TRUNCATION_PROBABILITY: f64 = 0.35;

/// Standard uncertainty of every airspeed of a flight because the display may truncate, in display steps. The error is
/// half a display step with the probability `p` = [`TRUNCATION_PROBABILITY`], and otherwise 0; its standard deviation
/// is `sqrt(p (1 - p)) / 2`.
pub const SHARED_ROUNDING_STEPS: f64 = 0.238_484_800_354_236_4;

/// Mean amount by which a display with steps of `quantum` reads low, in the unit of `quantum`, if it is not
/// known whether the display rounds or truncates.
pub(super) fn rounding_reads_low(quantum: f64) -> f64 {
    TRUNCATION_PROBABILITY * quantum / 2.0
}

/// The budget row for a display that may truncate instead of rounding; `quantum` is the display step.
pub(super) fn shared_rounding(quantum: f64) -> Contribution {
    Contribution {
        cause: Cause::SharedRounding,
        uncertainty: SHARED_ROUNDING_STEPS * quantum,
        degrees_of_freedom: f64::INFINITY,
        shared: true,
    }
}

/// The uncertainty budget of one airspeed.
#[derive(Debug, Clone, PartialEq, Serialize, Default)]
pub struct Budget {
    /// The rows of the budget, which are independent of each other.
    pub rows: Vec<Contribution>,
    /// Mean amount by which the airspeed reads low, in the unit of the speed, because of an unknown crosswind and
    /// because the display may truncate. The interval is centred this much above the airspeed.
    pub reads_low: f64,
    /// Maximum amount by which an unknown crosswind makes the airspeed read low, in the unit of the speed; for
    /// information only.
    pub crosswind_bound: f64,
}

impl Budget {
    /// Combined standard uncertainty: the root of the sum of squares (JCGM 100:2008, 5.1.2).
    #[must_use]
    pub fn combined(&self) -> f64 {
        self.rows.iter().map(|row| row.uncertainty.powi(2)).sum::<f64>().sqrt()
    }

    /// Effective degrees of freedom after Welch and Satterthwaite: `u_c^4 / sum(u_i^4 / nu_i)` (JCGM 100:2008, G.2b).
    /// Infinite if no row was estimated from samples.
    #[must_use]
    pub fn degrees_of_freedom(&self) -> f64 {
        let share = |row: &Contribution| row.uncertainty.powi(4) / row.degrees_of_freedom;
        let sampled: f64 = self.rows.iter().map(share).filter(|share| share.is_finite()).sum();
        if sampled > 0.0 { self.combined().powi(4) / sampled } else { f64::INFINITY }
    }

    /// Coverage factor of the 95 % interval: `t_95(nu_eff)` (JCGM 100:2008, G.6.4).
    #[must_use]
    pub fn coverage_factor(&self) -> f64 {
        coverage_factor(COVERAGE_PROBABILITY, self.degrees_of_freedom())
    }

    /// An airspeed with the uncertainty of this budget. The centre of the interval is the airspeed plus
    /// [`Self::reads_low`] (a correction for a systematic effect, JCGM 100:2008, 3.2.3); its half-width is the
    /// coverage factor times `u_c`.
    #[must_use]
    pub fn estimate(&self, airspeed: f64) -> Estimate {
        let (standard_uncertainty, degrees_of_freedom) = (self.combined(), self.degrees_of_freedom());
        let centred = Estimate::centred(airspeed + self.reads_low, standard_uncertainty, degrees_of_freedom);
        Estimate { value: airspeed, ..centred }
    }

    /// The budget with only those rows that a pair does not share with other pairs.
    #[must_use]
    pub(super) fn own(&self) -> Self {
        let rows = self.rows.iter().filter(|row| !row.shared).copied().collect();
        Self { rows, ..Self::default() }
    }

    /// The budget of the mean of several airspeeds. Averaging reduces the rows that pairs do not share, but not the
    /// shared rows. The degrees of freedom of each row stay those of a single airspeed, since the gusts are already
    /// estimated from all legs of the flight.
    #[must_use]
    pub fn of_mean(budgets: &[&Self]) -> Self {
        let count = budgets.len() as f64;
        let Some(first) = budgets.first() else { return Self::default() };
        let rows = first.rows.iter().map(|row| {
            let squares = budgets
                .iter()
                .flat_map(|budget| budget.rows.iter().filter(|other| other.cause == row.cause))
                .map(|other| other.uncertainty.powi(2))
                .sum::<f64>();
            let divisor = if row.shared { count } else { count * count };
            Contribution { uncertainty: (squares / divisor).sqrt(), ..*row }
        });
        let average = |of: fn(&Self) -> f64| budgets.iter().map(|budget| of(budget)).sum::<f64>() / count;
        Self {
            rows: rows.collect(),
            reads_low: average(|budget| budget.reads_low),
            crosswind_bound: average(|budget| budget.crosswind_bound),
        }
    }
}
