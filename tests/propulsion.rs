//! Tests trend, speed curve, propeller, voltage and pack against published values and known results.
#![allow(clippy::unwrap_used, missing_docs)]

use pairspeed::model::units::Unit;
use pairspeed::plan::dryden;
use pairspeed::propulsion::propeller::{advance_ratio, efficiency, no_load_rpm, pitch_speed_mps, slip};
use pairspeed::propulsion::{
    ASSUMED, ExponentSource, Point, SpeedCurve, ThrottleCoverage, VoltageModel, VoltageRun,
    diminishing_return, gains, power_law,
};
use pairspeed::setup::Aircraft;
use pairspeed::stats::theil_sen;

fn assert_near(value: f64, expected: f64, tolerance: f64) {
    assert!((value - expected).abs() <= tolerance, "{value} instead of {expected}");
}

#[test]
fn the_trend_is_that_of_sens_example() {
    // P. K. Sen, JASA 63 (1968), as used in the test file of scipy: slope 4, 93 % interval 3.71 to 4.38.
    let positions = [1.0, 2.0, 3.0, 4.0, 10.0, 12.0, 18.0];
    let values = [9.0, 15.0, 19.0, 20.0, 45.0, 55.0, 78.0];
    let points: Vec<(f64, f64)> = positions.into_iter().zip(values).collect();
    let trend = theil_sen(&points, 0.93).unwrap();
    assert_near(trend.slope, 4.0, 1e-12);
    assert_near(trend.low, 3.71, 0.005);
    assert_near(trend.high, 4.38, 0.005);
    assert_near(trend.intercept, 4.0, 1e-12);
}

#[test]
fn one_outlier_does_not_change_the_trend() {
    // Worked by hand: six points on 2 x - 1 and one far off; least squares would give 4.89.
    let values = [1.0, 3.0, 5.0, 7.0, 9.0, 11.0, 40.0];
    let points: Vec<(f64, f64)> = (1..).map(f64::from).zip(values).collect();
    let trend = theil_sen(&points, 0.95).unwrap();
    assert_near(trend.slope, 2.0, 1e-12);
    assert_near(trend.intercept, -1.0, 1e-12);
}

#[test]
fn there_is_no_trend_over_one_position_or_none() {
    assert_eq!(theil_sen(&[], 0.95), None);
    assert_eq!(theil_sen(&[(1.0, 2.0), (1.0, 3.0), (f64::NAN, 1.0)], 0.95), None);
}

fn columns(table: &str) -> (Vec<f64>, Vec<f64>) {
    let rows = table.lines().skip(1).map(|line| line.split_once(',').unwrap());
    rows.map(|(y, x)| (x.trim().parse::<f64>().unwrap(), y.parse::<f64>().unwrap())).unzip()
}

#[test]
fn the_power_law_is_the_one_nist_certifies_for_danwood() {
    // NIST Statistical Reference Datasets, nonlinear regression: DanWood, y = b1 x^b2.
    let (x, y) = columns(include_str!("../fixtures/reference/nist_danwood.csv"));
    let fit = power_law(&x, &y, &vec![1.0; x.len()]).unwrap();
    assert_near(fit.parameters[0], 0.768_862_261_76, 1e-8);
    assert_near(fit.parameters[1], 3.860_405_587_1, 1e-8);
    assert_near(fit.residual_deviation().unwrap(), 3.285_311_403_9e-2, 1e-9);
    let covariance = fit.covariance().unwrap();
    assert_near(covariance[(0, 0)].sqrt(), 0.018_281_973_860, 1e-7);
    assert_near(covariance[(1, 1)].sqrt(), 0.051_726_610_913, 1e-7);
}

fn point(throttle_percent: f64, airspeed_mps: f64, uncertainty_mps: f64) -> Point {
    Point { throttle_percent, airspeed_mps, uncertainty_mps, degrees_of_freedom: 30.0 }
}

#[test]
fn untested_throttles_are_marked_and_the_band_widens_beyond_those_flown() {
    let points =
        [50.0, 60.0, 70.0, 80.0].map(|percent| point(percent, 40.0 * (percent / 100.0_f64).powf(0.7), 0.3));
    let curve = SpeedCurve::of(&points).unwrap();
    assert_near(curve.exponent, 0.7, 1e-9);
    let flown = [50.0, 60.0, 70.0, 80.0];
    let [on, between, beyond] = [60.0, 65.0, 100.0].map(|percent| curve.predict(percent, &flown));
    assert_eq!(on.throttle_coverage, ThrottleCoverage::Flown);
    assert_eq!(between.throttle_coverage, ThrottleCoverage::UntestedBetween);
    assert_eq!(beyond.throttle_coverage, ThrottleCoverage::UntestedBeyond);
    assert_near(beyond.airspeed_mps, 40.0, 1e-6);
    assert!(beyond.high_mps - beyond.low_mps > 2.0 * (between.high_mps - between.low_mps));
}

#[test]
fn steps_that_scatter_more_than_they_should_widen_the_band() {
    let speeds = [25.0, 29.5, 30.5, 36.0];
    let points: Vec<Point> = [50.0, 60.0, 70.0, 80.0]
        .into_iter()
        .zip(speeds)
        .map(|(percent, speed)| point(percent, speed, 0.1))
        .collect();
    let curve = SpeedCurve::of(&points).unwrap();
    assert!(curve.excess_scatter.unwrap() > 5.0);
    assert!(curve.at(70.0).uncertainty_mps > 0.5, "{:?}", curve.at(70.0));
}

#[test]
fn one_step_or_none_gives_no_curve_and_two_give_no_scatter() {
    assert_eq!(SpeedCurve::of(&[]), None);
    assert_eq!(SpeedCurve::of(&[point(50.0, 20.0, 0.2)]), None);
    assert_eq!(SpeedCurve::of(&[point(50.0, 20.0, 0.2), point(50.0, 20.4, 0.2)]), None);
    assert_eq!(SpeedCurve::of(&[point(50.0, f64::NAN, 0.2), point(60.0, 22.0, 0.2)]), None);
    let two = SpeedCurve::of(&[point(50.0, 20.0, 0.2), point(100.0, 32.0, 0.2)]).unwrap();
    assert_eq!(two.excess_scatter, None);
}

#[test]
fn the_throttle_beyond_which_speed_hardly_rises_is_found() {
    let levelling = [(50.0, 20.0), (60.0, 24.0), (70.0, 28.0), (80.0, 31.0), (90.0, 31.4), (100.0, 31.6)];
    let steps = |uncertainty: f64| levelling.map(|(percent, speed)| point(percent, speed, uncertainty));
    let sure = diminishing_return(&gains(&steps(0.05)), None).unwrap();
    assert_eq!((sure.throttle_percent, sure.significant), (80.0, true));
    assert_near(sure.threshold_mps, 11.6 / 50.0 / 2.0, 1e-12);
    let unsure = diminishing_return(&gains(&steps(1.0)), None).unwrap();
    assert!(!unsure.significant);
    let straight = [50.0, 60.0, 70.0].map(|percent| point(percent, percent / 2.0, 0.05));
    assert_eq!(diminishing_return(&gains(&straight), None), None);
    assert_eq!(diminishing_return(&gains(&straight[..1]), None), None);
}

#[test]
fn pitch_speed_is_revolutions_times_pitch() {
    // Exact: rpm x pitch / 1056 mph (12 x 5280 / 60); 10 000 x 7 in is 66.2879 mph, 12 000 x 4 is 20.32 m/s.
    let mph = |rpm, pitch_in| pitch_speed_mps(rpm, pitch_in) / Unit::MilesPerHour.si_per_unit();
    assert_near(mph(10_000.0, 7.0), 66.2879, 5e-5);
    assert_near(pitch_speed_mps(12_000.0, 4.0), 20.32, 1e-9);
    assert_near(no_load_rpm(1150.0, 22.2), 25_530.0, 1e-9);
    // bit1024.com, propeller slip calculator: 66.67 and 50 are 25 %, 75 and 60 are 20 %.
    assert_near(slip(50.0, 66.67), 0.25, 5e-5);
    assert_near(slip(60.0, 75.0), 0.20, 1e-12);
}

/// Rows of the propeller table: diameter, pitch, rpm, J, C_T, C_P, efficiency.
fn propeller_rows() -> Vec<[f64; 7]> {
    // UIUC Propeller Database (Brandt, Deters, Ananda, Dantsker, Selig), rows of wind-tunnel tests.
    let table = include_str!("../fixtures/reference/uiuc_prop_sample.csv");
    let rows = table.lines().skip(1).map(|line| line.split(',').collect::<Vec<&str>>());
    rows.filter(|row| row[4] == "advancing")
        .map(|row| [2, 3, 5, 6, 7, 8, 9].map(|column| row[column].parse().unwrap()))
        .collect()
}

#[test]
fn efficiencies_are_those_of_the_wind_tunnel() {
    let rows = propeller_rows();
    assert!(rows.len() > 100);
    for [diameter_in, _, rpm, j, ct, cp, expected] in rows {
        let airspeed_mps = j * rpm / 60.0 * diameter_in * 0.0254;
        assert_near(advance_ratio(airspeed_mps, rpm, diameter_in), j, 1e-12);
        if ct > 0.0 {
            assert_near(efficiency(j, ct, cp), expected, 0.0035);
        }
    }
}

#[test]
fn slip_is_negative_where_the_thrust_of_a_real_propeller_ends() {
    // The 9 x 6 propeller of the same table gives thrust up to J 0.794 to 0.805, that is a slip of -19 to -21
    // %.
    let rows: Vec<[f64; 7]> =
        propeller_rows().into_iter().filter(|row| row[0] == 9.0 && row[2] == 4003.0).collect();
    let ends = rows.windows(2).find(|two| two[0][4] > 0.0 && two[1][4] <= 0.0).unwrap();
    let share = ends[0][4] / (ends[0][4] - ends[1][4]);
    let j = ends[0][3] + share * (ends[1][3] - ends[0][3]);
    let airspeed_mps = j * 4003.0 / 60.0 * 9.0 * 0.0254;
    assert_near(slip(airspeed_mps, pitch_speed_mps(4003.0, 6.0)), -0.19, 0.01);
}

#[test]
fn gusts_are_those_of_the_low_altitude_model() {
    // MIL-F-8785C, low-altitude Dryden model: at 100 ft and 15 kn, sigma_u 2.57377 kn, L_u 505.169 ft.
    let knot = Unit::Knots.si_per_unit();
    let low = dryden(15.0 * knot, 100.0 * 0.3048);
    assert_near(low.deviation_mps / knot, 2.573_77, 5e-6);
    assert_near(low.length_scale_m / 0.3048, 505.169, 5e-4);
    let high = dryden(30.0 * knot, 1000.0 * 0.3048);
    assert_near(high.deviation_mps / knot, 3.0, 1e-9);
    assert_near(high.length_scale_m / 0.3048, 1000.0, 1e-6);
}

fn run(airspeed: f64, voltage_v: f64) -> VoltageRun {
    VoltageRun { airspeed, uncertainty: 0.02, voltage_v }
}

#[test]
fn the_effect_of_voltage_is_assumed_until_runs_determine_it() {
    assert_eq!(VoltageModel::of(&[]), ASSUMED);
    assert_eq!(VoltageModel::of(&[vec![run(30.0, 22.0)], vec![run(33.0, 21.0)]]), ASSUMED);
    assert_eq!(VoltageModel::of(&[vec![run(30.0, 22.0), run(30.1, 22.0)]]), ASSUMED);
    let speed = |voltage: f64| 30.0 * (voltage / 22.0).powf(0.6);
    let seen =
        VoltageModel::of(&[vec![run(speed(24.0), 24.0), run(speed(22.0), 22.0), run(speed(20.0), 20.0)]]);
    assert_eq!(seen.source, ExponentSource::Fitted);
    assert_near(seen.exponent, 0.6, 0.01);
    assert!(seen.uncertainty < 0.03);
    let vague = VoltageRun { uncertainty: 3.0, ..run(speed(24.0), 24.0) };
    let mixed = VoltageModel::of(&[vec![vague, VoltageRun { uncertainty: 3.0, ..run(speed(20.0), 20.0) }]]);
    assert!(mixed.exponent > 0.8, "vague runs hardly move the assumption: {}", mixed.exponent);
    // Runs at different throttles given as one group: slower at a higher voltage.
    let other_throttle = VoltageModel::of(&[vec![run(30.0, 24.0), run(33.0, 22.0)]]);
    assert_eq!((other_throttle.exponent, other_throttle.source), (ASSUMED.exponent, ASSUMED.source));
    assert!(other_throttle.sentence().contains("differ by more than their voltages explain"));
}

#[test]
fn speeds_are_corrected_to_another_voltage_and_invalid_values_are_refused() {
    assert_near(ASSUMED.factor(20.0, 22.0).unwrap(), 1.1f64.powf(0.9), 1e-12);
    for (flown, reference) in [(0.0, 22.0), (f64::NAN, 22.0), (20.0, 0.0), (20.0, f64::INFINITY)] {
        assert_eq!(ASSUMED.factor(flown, reference), None);
    }
}

#[test]
fn flight_notes_say_which_line_or_key_is_wrong() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("flight.toml");
    let load = |text: &str| {
        std::fs::write(&path, text).unwrap();
        Aircraft::load(&path)
    };
    let notes = load("[aircraft]\nmotor_kv = 1150\ncells = 6\nmount = \"pusher\"\n").unwrap();
    assert_eq!((notes.motor_kv, notes.cells, notes.landing_v_per_cell()), (Some(1150.0), Some(6), 3.5));
    let unknown = load("[aircraft]\ncells = 6\nmotor_kw = 3\n").unwrap_err().to_string();
    assert!(
        unknown.contains("line 3") && unknown.contains("motor_kw") && unknown.contains("motor_kv"),
        "{unknown}"
    );
    let out_of_range = load("[aircraft]\npropeller_pitch_in = -6\n").unwrap_err().to_string();
    assert!(out_of_range.contains("propeller_pitch_in = -6"), "{out_of_range}");
    let no_table = load("motor_kv = 1150\n").unwrap_err().to_string();
    assert!(no_table.contains("unknown key `motor_kv`") && no_table.contains("aircraft"), "{no_table}");
    let empty = load("").unwrap_err().to_string();
    assert!(empty.contains("`aircraft` is missing: write a table [aircraft]"), "{empty}");
    let missing = Aircraft::load(&folder.path().join("none.toml")).unwrap_err().to_string();
    assert!(missing.contains("none.toml"), "{missing}");
}
