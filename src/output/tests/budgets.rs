//! The uncertainty budgets in the summary and the report.

use serde_json::Value;

use super::sample::{budget, small_flight};
use crate::airspeed::Budget;
use crate::flight::Flight;
use crate::model::estimate::Estimate;
use crate::output::{report_html, summary_json};

/// Student's t for 25 degrees of freedom and 95 % (NIST/SEMATECH e-Handbook of Statistical Methods,
/// 1.3.6.7.2).
const T_95_OF_25: f64 = 2.060;

/// The summary's pair and step, both with a budget.
fn answers(flight: &Flight) -> [Value; 2] {
    let mut summary: Value = serde_json::from_slice(&summary_json(flight).unwrap()).unwrap();
    [summary["pairs"][0].take(), summary["steps"][0].take()]
}

fn number(value: &Value, key: &str) -> f64 {
    value[key].as_f64().unwrap_or_else(|| panic!("{key} is no number in {value}"))
}

/// The small flight with another uncertainty budget.
fn flight_with(budget: &Budget) -> Flight {
    let mut flight = small_flight();
    let Estimate { low, high, .. } = budget.estimate(67.0);
    let (pair, step) = (&mut flight.pairs[0], &mut flight.steps[0]);
    (pair.airspeed.low, pair.airspeed.high, pair.budget) = (low, high, budget.clone());
    (step.airspeed.low, step.airspeed.high, step.budget) = (low, high, budget.clone());
    flight
}

/// The text of the report without HTML tags.
fn words(flight: &Flight) -> String {
    let page = String::from_utf8(report_html(flight).unwrap()).unwrap();
    let texts = page.split('<').filter_map(|part| part.split_once('>')).map(|(_, text)| text);
    texts.flat_map(str::split_whitespace).collect::<Vec<_>>().join(" ")
}

#[test]
fn the_rows_of_a_budget_add_up_in_quadrature_to_the_combined_uncertainty() {
    for answer in answers(&small_flight()) {
        let budget = &answer["budget"];
        let rows = budget["rows"].as_array().unwrap();
        let sum: f64 = rows.iter().map(|row| number(row, "uncertainty").powi(2)).sum();
        assert!((sum.sqrt() - number(budget, "combined")).abs() < 1e-6, "{budget}");
        assert_eq!(number(budget, "combined"), 0.5);
        assert_eq!(number(budget, "degrees_of_freedom"), 25.0);
        assert!((number(budget, "coverage_factor") - T_95_OF_25).abs() < 0.0005, "{budget}");
    }
}

#[test]
fn each_row_has_its_cause_and_extent_and_knowledge_has_no_degrees_of_freedom() {
    let [pair, _] = answers(&small_flight());
    assert_eq!(
        pair["budget"]["rows"],
        serde_json::json!([
            {"cause": "gusts", "uncertainty": 0.4, "degrees_of_freedom": 10.24, "extent": "own"},
            {"cause": "rounding", "uncertainty": 0.0, "degrees_of_freedom": null, "extent": "own"},
            {"cause": "crosswind", "uncertainty": 0.3, "degrees_of_freedom": null, "extent": "shared"},
        ])
    );
}

#[test]
fn the_interval_is_the_coverage_factor_times_the_combined_uncertainty_about_the_corrected_airspeed() {
    let mut with_crosswind = budget();
    with_crosswind.reads_low = 0.25;
    for budget in [budget(), with_crosswind] {
        for answer in answers(&flight_with(&budget)) {
            let budget = &answer["budget"];
            let half_width = number(budget, "coverage_factor") * number(budget, "combined");
            let below = number(&answer, "airspeed") - number(&answer, "airspeed_low");
            let above = number(&answer, "airspeed_high") - number(&answer, "airspeed");
            let reads_low = number(budget, "reads_low");
            assert!((below + reads_low - half_width).abs() < 3e-6, "{answer}");
            assert!((above - reads_low - half_width).abs() < 3e-6, "{answer}");
        }
    }
}

#[test]
fn the_report_shows_every_row_with_its_share_and_how_the_interval_follows() {
    let words = words(&small_flight());
    for expected in [
        "60 % throttle : 67.0 km/h, standard uncertainty 0.50 km/h",
        "gusts: the legs are too short to average them out 0.40 64 % 10 yes",
        "rounding of the shown speed, different in each leg 0 0 % many yes",
        "a crosswind that is unknown or uncertain 0.30 36 % many no, all pairs share it",
        "Together 0.50 km/h, with 25 degrees of freedom. Times 2.06 for 95 %: 1.0 km/h either side of 67.0 km/h",
        "66.0 to 68.0 km/h.",
    ] {
        assert!(words.contains(expected), "{expected} is missing in\n{words}");
    }
}

#[test]
fn the_report_says_what_a_crosswind_adds() {
    let mut budget = budget();
    budget.reads_low = 0.25;
    let words = words(&flight_with(&budget));
    assert!(words.contains("by 0.25 km/h on average"), "{words}");
}

#[test]
fn an_empty_budget_is_not_shown_and_one_of_zeros_has_no_shares() {
    assert!(
        !words(&flight_with(&Budget::default())).contains("What makes up the uncertainty of the airspeeds")
    );
    let mut zeros = budget();
    zeros.rows.iter_mut().for_each(|row| row.uncertainty = 0.0);
    let words = words(&flight_with(&zeros));
    assert!(words.contains("average them out 0 - % 10 yes") && !words.contains("NaN"), "{words}");
}
