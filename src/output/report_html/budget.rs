//! The section of the report on the causes of each throttle step's uncertainty.

use maud::{Markup, html};

use crate::airspeed::{Contribution, StepResult};
use crate::flight::Flight;
use crate::output::numbers::{shown, two_digits};
use crate::output::words::{cause_in_words, speed_symbol, step_name, with_symbol};

/// Number of degrees of freedom from which the report says "many": more would hardly change the interval (set by
/// judgement).
const MANY_DEGREES_OF_FREEDOM: f64 = 1e4;

/// A collapsible section, closed at first, for each throttle step with an uncertainty budget; empty if there is no such
/// step.
pub(super) fn budgets(flight: &Flight) -> Markup {
    let with_rows: Vec<&StepResult> =
        flight.steps.iter().filter(|step| !step.budget.rows.is_empty()).collect();
    html! {
        @if !with_rows.is_empty() {
            section.budgets {
                h2 { "What makes up the uncertainty of the airspeeds" }
                p { "Each line is one cause of error of the airspeed, as a standard uncertainty: in about \
                     two thirds of cases the error from it is smaller. The lines are combined as the root \
                     of the sum of their squares, so the largest counts most and is the one worth \
                     reducing." span.on-screen { " Open a step to see its lines." } }
                @for step in with_rows { (fold(step, speed_symbol(flight))) }
                p.origin {
                    "Degrees of freedom say how well the uncertainty itself is known; \u{201c}many\u{201d} means \
                     that it does not rest on only a few samples."
                }
            }
        }
    }
}

fn fold(step: &StepResult, symbol: &str) -> Markup {
    let name = step_name(step.throttle_percent, Some(step.step));
    html! {
        details {
            summary {
                strong { (name) @if step.throttle_percent.is_some() { " throttle" } }
                ": " (with_symbol(&shown(step.airspeed.value, 1), symbol))
                ", standard uncertainty " (with_symbol(&two_digits(step.budget.combined()), symbol))
            }
            (rows(step, symbol))
            (closing(step, symbol))
        }
    }
}

fn rows(step: &StepResult, symbol: &str) -> Markup {
    html! {
        table.cards {
            thead {
                tr {
                    th.words scope="col" { "reason" }
                    th scope="col" { "uncertainty" @if !symbol.is_empty() { " " span.unit { (symbol) } } }
                    th scope="col" { "share" }
                    th scope="col" { "degrees of freedom" }
                    th.words scope="col" { "do more pairs help?" }
                }
            }
            tbody { @for row in &step.budget.rows { (row_of(row, step, symbol)) } }
        }
    }
}

fn row_of(row: &Contribution, step: &StepResult, symbol: &str) -> Markup {
    let share = 100.0 * (row.uncertainty / step.budget.combined()).powi(2);
    html! {
        tr {
            th.words scope="row" { (cause_in_words(row.cause)) }
            td.main data-label="uncertainty" data-unit=(symbol) { (two_digits(row.uncertainty)) }
            td data-label="share" data-unit="%" { (shown(share, 0)) span.in-table { " %" } }
            td data-label="degrees of freedom" data-unit="" { (freedom(row.degrees_of_freedom)) }
            td.words data-label="more pairs help" { @if row.shared { "no, all pairs share it" } @else { "yes" } }
        }
    }
}

/// States the combined standard uncertainty of a throttle step, and how its interval follows from it. `symbol` is the
/// symbol of the unit of speed.
fn closing(step: &StepResult, symbol: &str) -> Markup {
    let budget = &step.budget;
    let (combined, factor) = (budget.combined(), budget.coverage_factor());
    let in_unit = |value: f64| with_symbol(&two_digits(value), symbol);
    html! {
        p {
            "Together " (in_unit(combined)) ", with " (freedom(budget.degrees_of_freedom()))
            " degrees of freedom. Times " (shown(factor, 2)) " for 95 %: " (in_unit(factor * combined))
            " either side of " (with_symbol(&shown(step.airspeed.value, 1), symbol))
            ". " @if budget.reads_low > 0.0 {
                "An unknown crosswind and a display that may truncate instead of rounding make the airspeed \
                 read low, by " (in_unit(budget.reads_low)) " on average, so both ends are shifted up by \
                 that much: "
            } @else { "That is " }
            (shown(step.airspeed.low, 1)) " to " (with_symbol(&shown(step.airspeed.high, 1), symbol)) "."
        }
    }
}

fn freedom(degrees_of_freedom: f64) -> String {
    if degrees_of_freedom < MANY_DEGREES_OF_FREEDOM {
        shown(degrees_of_freedom, 0)
    } else {
        "many".to_owned()
    }
}
