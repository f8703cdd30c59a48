//! Tests the statistics against published values.
#![allow(clippy::unwrap_used, missing_docs)]

use pairspeed::airspeed::{Budget, Cause, Contribution};
use pairspeed::stats::coverage_factor;
use pairspeed::stats::{
    MAD_TO_SIGMA, effective_count, grouped_median, lag_one_autocorrelation, mean, median, scaled_mad,
    standard_deviation,
};

fn column(text: &str) -> Vec<f64> {
    text.lines().skip(1).map(|line| line.trim().parse().unwrap()).collect()
}

fn assert_near(value: f64, expected: f64, tolerance: f64) {
    assert!((value - expected).abs() <= tolerance, "{value} instead of {expected}");
}

#[test]
fn mean_deviation_and_autocorrelation_are_those_nist_certifies() {
    // NIST Statistical Reference Datasets, univariate: Michelso, Mavro, NumAcc1.
    let sets = [
        (
            include_str!("../fixtures/reference/nist_michelso.csv"),
            299.8524,
            0.079_010_547_819_051_8,
            0.535_199_668_621_283,
        ),
        (
            include_str!("../fixtures/reference/nist_mavro.csv"),
            2.001_856,
            0.000_429_123_454_003_053,
            0.937_989_183_438_248,
        ),
        (include_str!("../fixtures/reference/nist_numacc1.csv"), 10_000_002.0, 1.0, -0.5),
    ];
    for (text, expected_mean, expected_deviation, expected_autocorrelation) in sets {
        let values = column(text);
        assert_near(mean(&values).unwrap(), expected_mean, 1e-12 * expected_mean);
        assert_near(standard_deviation(&values).unwrap(), expected_deviation, 1e-9 * expected_deviation);
        assert_near(lag_one_autocorrelation(&values).unwrap(), expected_autocorrelation, 1e-8);
    }
}

#[test]
fn effective_counts_are_those_of_a_first_order_process() {
    // Exact finite counts for n = 100, computed from n / (1 + 2 sum (1 - k/n) r^k).
    for (r, expected) in [(0.0, 100.0), (0.25, 60.32), (0.5, 33.78), (0.8, 11.63), (0.9, 5.81)] {
        assert_near(effective_count(100.0, r), expected, 0.006);
    }
    // For large n the count tends to n (1 - r) / (1 + r): with the autocorrelation of Michelso, 30.276 in a
    // hundred.
    assert_near(effective_count(1e7, 0.535_199_668_621_283) / 1e5, 30.276, 0.001);
}

#[test]
fn robust_spread_is_that_of_the_copper_determinations() {
    // Analyst 114, 1693; Venables and Ripley 2002, section 5.5: median 3.385, scaled MAD 0.52632.
    let copper = column(include_str!("../fixtures/reference/robust_copper_flour.csv"));
    assert_near(median(&copper).unwrap(), 3.385, 1e-12);
    assert_near(scaled_mad(&copper).unwrap(), 0.52632, 5e-6);
    assert_near(mean(&copper).unwrap(), 4.2804, 5e-5);
    // 1 / 0.6744897501960817, the upper quartile of the normal distribution.
    assert_near(MAD_TO_SIGMA, 1.0 / 0.674_489_750_196_081_7, 1e-12);
}

#[test]
fn the_median_interpolates_within_the_display_step() {
    assert_eq!(grouped_median(&[60.0; 7], 1.0), Some(60.0));
    // L + q (n/2 - B) / M = 26.5 + (10/2 - 0) / 6.
    let mostly_27: Vec<f64> = [27.0; 6].into_iter().chain([28.0; 4]).collect();
    assert_near(grouped_median(&mostly_27, 1.0).unwrap(), 26.5 + 5.0 / 6.0, 1e-12);
    // Half of the values on either side: the median lies on the edge between the two steps.
    assert_eq!(grouped_median(&[27.0, 27.0, 28.0, 28.0], 1.0), Some(27.5));
    assert_eq!(grouped_median(&[f64::NAN], 1.0), None);
}

#[test]
fn coverage_factors_are_those_of_students_table() {
    // NIST/SEMATECH e-Handbook, critical values of Student's t, upper tail 0.025.
    let table = include_str!("../fixtures/reference/student_t.csv");
    for line in table.lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        let freedom = cells[0].parse().unwrap_or(f64::INFINITY);
        assert_near(coverage_factor(0.95, freedom), cells[3].parse().unwrap(), 0.0006);
    }
}

fn part(uncertainty: f64, degrees_of_freedom: f64) -> Contribution {
    Contribution { cause: Cause::Gusts, uncertainty, degrees_of_freedom, shared: false }
}

#[test]
fn degrees_of_freedom_are_those_of_the_gum_examples() {
    // JCGM 100:2008, G.4.1: 0.25 %, 0.57 %, 0.82 % from 10, 5, 15 readings give 1.03 %, nu 19, U95 2.2 %.
    let rows = vec![part(0.25, 9.0), part(0.57, 4.0), part(0.82, 14.0)];
    let budget = Budget { rows, ..Budget::default() };
    assert_near(budget.combined(), 1.03, 0.005);
    assert_near(budget.degrees_of_freedom(), 18.9987, 0.02);
    assert_near(budget.estimate(100.0).half_width(), 2.2, 0.05);
    // JCGM 100:2008, H.1: 25, 9.7, 2.9, 16.6 nm with 18, 25.6, 50, 2 give 32 nm and nu 16.7.
    let rows = vec![part(25.0, 18.0), part(9.7, 25.6), part(2.9, 50.0), part(16.6, 2.0)];
    let budget = Budget { rows, ..Budget::default() };
    assert_near(budget.combined(), 31.67, 0.005);
    assert_near(budget.degrees_of_freedom(), 16.76, 0.01);
}

#[test]
fn repetition_reduces_only_uncertainty_that_is_not_shared() {
    let shared = Contribution { shared: true, cause: Cause::SharedRounding, ..part(3.0, f64::INFINITY) };
    let one = Budget { rows: vec![part(4.0, 10.0), shared], reads_low: 0.25, crosswind_bound: 0.5 };
    let four = Budget::of_mean(&[&one, &one, &one, &one]);
    assert_near(one.combined(), 5.0, 1e-12);
    assert_near(four.rows[0].uncertainty, 2.0, 1e-12);
    assert_near(four.rows[1].uncertainty, 3.0, 1e-12);
    assert_near(four.crosswind_bound, 0.5, 1e-12);
    assert_near(four.reads_low, 0.25, 1e-12);
}

#[test]
fn the_readings_of_a_resistor_have_the_means_of_the_gum() {
    // JCGM 100:2008, H.2: V 4.9990 V, s of the mean 0.0032; I 19.6610 mA, 0.0095; phi 1.04446 rad, 0.00075.
    let table = include_str!("../fixtures/reference/gum_h2_vi_phi.csv");
    let rows: Vec<Vec<f64>> = table
        .lines()
        .skip(1)
        .map(|line| line.split(',').map(|cell| cell.parse().unwrap()).collect())
        .collect();
    let expected = [(4.9990, 0.0032, 5e-5), (19.6610, 0.0095, 5e-5), (1.04446, 0.00075, 5e-6)];
    for (column, (average, of_mean, last_place)) in expected.into_iter().enumerate() {
        let values: Vec<f64> = rows.iter().map(|row| row[column]).collect();
        assert_near(mean(&values).unwrap(), average, 1.1 * last_place);
        assert_near(standard_deviation(&values).unwrap() / 5f64.sqrt(), of_mean, last_place);
    }
}
