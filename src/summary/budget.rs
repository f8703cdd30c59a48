//! Uncertainty budgets in `summary.json`.

use serde::{Deserialize, Serialize};

use crate::airspeed::Cause;

/// The uncertainty budget of an airspeed (JCGM 100:2008). Uncertainties are in `speed_unit`.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct BudgetSummary {
    /// The contributions to the uncertainty, one for each cause.
    pub rows: Vec<ContributionSummary>,
    /// Combined standard uncertainty of the airspeed (JCGM 100:2008, 5.1.2), in `speed_unit`; `None` if not
    /// finite.
    pub combined: Option<f64>,
    /// Effective degrees of freedom (Welch-Satterthwaite, G.4.1); `None` if infinite.
    pub degrees_of_freedom: Option<f64>,
    /// Coverage factor: half-width of the 95 % interval, divided by the combined standard uncertainty. `None`
    /// if not finite.
    pub coverage_factor: Option<f64>,
    /// Expected bias, in `speed_unit`: how much too low the airspeed reads on average, because of an unknown
    /// crosswind and because the display may truncate. The interval is centred this much above the airspeed.
    /// `None` if not finite.
    pub reads_low: Option<f64>,
    /// Largest bias that the unknown crosswind can cause, in `speed_unit`; `None` if not finite.
    pub crosswind_bound: Option<f64>,
}

/// One contribution to the uncertainty of an airspeed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ContributionSummary {
    /// What causes the contribution, such as gusts or the rounding of the display.
    pub cause: Cause,
    /// Standard uncertainty of the airspeed from this cause, in `speed_unit`; `None` if not finite.
    pub uncertainty: Option<f64>,
    /// Degrees of freedom of the standard uncertainty; `None` if infinite (not estimated from samples).
    pub degrees_of_freedom: Option<f64>,
    /// Whether all pairs of the flight share the contribution.
    pub extent: Extent,
}

/// Whether a contribution is shared by all pairs of a flight.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Extent {
    /// The same for all pairs of the flight, so that flying more pairs does not reduce it.
    Shared,
    /// Independent for each pair.
    Own,
}
