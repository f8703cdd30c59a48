//! Converts uncertainty budgets to the schema of the summary.

use super::number;
use crate::airspeed::{Budget, Contribution};
use crate::summary::{BudgetSummary, ContributionSummary, Extent};

/// Converts a budget to the schema of the summary.
pub(super) fn budget_summary(budget: &Budget) -> BudgetSummary {
    BudgetSummary {
        rows: budget.rows.iter().map(contribution).collect(),
        combined: number(budget.combined()),
        degrees_of_freedom: number(budget.degrees_of_freedom()),
        coverage_factor: number(budget.coverage_factor()),
        reads_low: number(budget.reads_low),
        crosswind_bound: number(budget.crosswind_bound),
    }
}

fn contribution(row: &Contribution) -> ContributionSummary {
    ContributionSummary {
        cause: row.cause,
        uncertainty: number(row.uncertainty),
        degrees_of_freedom: number(row.degrees_of_freedom),
        extent: if row.shared { Extent::Shared } else { Extent::Own },
    }
}
