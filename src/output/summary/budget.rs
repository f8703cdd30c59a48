//! The uncertainty budget in the summary.

use serde::Serialize;

use super::number;
use crate::airspeed::{Budget, Cause, Contribution};

/// An uncertainty budget after JCGM 100:2008 (GUM). Uncertainties in `speed_unit`.
#[derive(Debug, Serialize)]
pub(in crate::output) struct BudgetSummary {
    rows: Vec<RowSummary>,
    /// Combined standard uncertainty (5.1.2).
    combined: Option<f64>,
    /// Effective degrees of freedom after Welch and Satterthwaite (G.4.1); `null` when infinite.
    degrees_of_freedom: Option<f64>,
    /// Half-width of the 95 % interval in combined standard uncertainties.
    coverage_factor: Option<f64>,
    /// What the airspeed reads low on the average, for a crosswind that is not known and a display that may
    /// cut off: the interval is centred this much above it.
    reads_low: Option<f64>,
    /// What it may read low at the most for that crosswind.
    crosswind_bound: Option<f64>,
}

/// One row of a budget.
#[derive(Debug, Serialize)]
struct RowSummary {
    cause: Cause,
    uncertainty: Option<f64>,
    /// `null` when infinite: the row rests on knowledge instead of samples.
    degrees_of_freedom: Option<f64>,
    extent: Extent,
}

/// Whom a row belongs to.
#[derive(Debug, Serialize)]
#[serde(rename_all = "lowercase")]
enum Extent {
    /// All pairs of the flight have it in common: repeating does not reduce it.
    Shared,
    /// Each pair has its own.
    Own,
}

/// The budget for the summary.
pub(in crate::output) fn budget_summary(budget: &Budget) -> BudgetSummary {
    BudgetSummary {
        rows: budget.rows.iter().map(row).collect(),
        combined: number(budget.combined()),
        degrees_of_freedom: number(budget.degrees_of_freedom()),
        coverage_factor: number(budget.coverage_factor()),
        reads_low: number(budget.reads_low),
        crosswind_bound: number(budget.crosswind_bound),
    }
}

fn row(row: &Contribution) -> RowSummary {
    RowSummary {
        cause: row.cause,
        uncertainty: number(row.uncertainty),
        degrees_of_freedom: number(row.degrees_of_freedom),
        extent: if row.shared { Extent::Shared } else { Extent::Own },
    }
}
