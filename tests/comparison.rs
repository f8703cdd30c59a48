//! Comparing flights: the statistics against published values, and two flights without a change.
#![allow(clippy::unwrap_used, missing_docs)]

mod common;

use common::{Plan, fly};
use pairspeed::airspeed::{pair, steps};
use pairspeed::legs::{LegKind, LegOptions, ToldLeg, find};
use pairspeed::propulsion::{
    CompareOptions, Comparison, FlownFlight, FlownStep, Verdict, compare, holm, pairs_needed, welch,
};
use pairspeed::series::trust;
use pairspeed::units::Unit;

fn assert_near(value: f64, expected: f64, tolerance: f64) {
    assert!((value - expected).abs() <= tolerance, "{value} instead of {expected}");
}

fn step(number: u32, throttle: Option<f64>, airspeed_mps: f64, uncertainty_mps: f64) -> FlownStep {
    FlownStep {
        step: number,
        throttle_percent: throttle,
        airspeed_mps,
        reported_mps: airspeed_mps,
        uncertainty_mps,
        degrees_of_freedom: 40.0,
        wind_mps: 3.0,
        voltage_v: None,
        pairs: 2,
    }
}

fn flight(name: &str, steps: Vec<FlownStep>) -> FlownFlight {
    FlownFlight {
        name: name.to_owned(),
        speed_unit: Unit::KilometresPerHour,
        steps,
        runs: Vec::new(),
        leg_s: Some(8.0),
        density_kg_m3: None,
    }
}

fn one(first: FlownFlight, later: FlownFlight) -> Comparison {
    compare(&[first, later], &CompareOptions::default()).pop().unwrap()
}

#[test]
fn degrees_of_freedom_are_those_of_the_gum_example() {
    // JCGM 100:2008, H.1: 25, 9.7, 2.9, 16.6 nm with 18, 25.6, 50, 2 give 32 nm and nu 16.7.
    let (combined, freedom) = welch(&[(25.0, 18.0), (9.7, 25.6), (2.9, 50.0), (16.6, 2.0)]);
    assert_near(combined, 31.67, 0.005);
    assert_near(freedom, 16.76, 0.01);
    assert_eq!(welch(&[(3.0, f64::INFINITY), (4.0, f64::INFINITY)]), (5.0, f64::INFINITY));
}

#[test]
fn probabilities_are_corrected_step_by_step() {
    // Holm (1979), worked by hand: 0.01 x 4, 0.02 x 3, 0.03 x 2 not below the one before, 0.5 x 1.
    let corrected = holm(&[0.03, 0.01, 0.5, 0.02]);
    for (value, expected) in corrected.into_iter().zip([0.06, 0.04, 0.5, 0.06]) {
        assert_near(value, expected, 1e-12);
    }
    assert_eq!(holm(&[0.9, 0.8]), [1.0, 1.0]);
}

#[test]
fn a_change_is_told_with_its_interval_and_another_step_without_one_is_not() {
    let before = flight("before", vec![step(1, Some(60.0), 25.0, 0.3), step(2, Some(100.0), 35.0, 0.3)]);
    let after = flight("after", vec![step(1, Some(60.0), 25.2, 0.4), step(2, Some(100.0), 38.0, 0.4)]);
    let comparison = one(before, after);
    let (low, high) = (&comparison.steps[0], &comparison.steps[1]);
    assert_eq!((low.verdict, high.verdict), (Verdict::NotShown, Verdict::Faster));
    assert_near(high.difference_mps, 3.0, 1e-12);
    assert_near(high.uncertainty_mps, 0.5, 1e-12);
    // t_0.975 of 73.6 degrees of freedom is 1.993 (Student's table lies between 2.000 at 60 and 1.984 at 100).
    assert_near(high.low_mps, 3.0 - 1.993 * 0.5, 0.002);
}

#[test]
fn a_step_that_alone_would_count_does_not_among_many() {
    let of = |shift: f64| {
        let throttles = [50.0, 60.0, 70.0, 80.0, 90.0, 100.0];
        let steps = (1..).zip(throttles).map(|(number, throttle)| {
            step(number, Some(throttle), 30.0 + if number == 1 { shift } else { 0.0 }, 0.3)
        });
        steps.collect::<Vec<FlownStep>>()
    };
    // 2.2 standard uncertainties: 3 % for one step, 18 % among six.
    let comparison = one(flight("a", of(0.0)), flight("b", of(2.2 * 0.3 * 2f64.sqrt())));
    let first = comparison.steps[0];
    assert!(first.low_mps > 0.0);
    assert_eq!(first.verdict, Verdict::NotAmongSoMany);
    assert_eq!(comparison.steps_compared, 6);
}

#[test]
fn what_voltage_explains_is_no_change() {
    let at = |voltage_v: f64| {
        let speed = 30.0 * (voltage_v / 22.0_f64).powf(0.9);
        vec![FlownStep { voltage_v: Some(voltage_v), ..step(1, Some(100.0), speed, 0.2) }]
    };
    let comparison = one(flight("full", at(23.0)), flight("low", at(21.0)));
    let step = comparison.steps[0];
    assert_eq!(step.verdict, Verdict::NotShown);
    assert_near(step.difference_mps, 0.0, 1e-9);
    assert_near(step.voltage_part_mps.unwrap(), step.later_mps - step.first_mps, 1e-9);
    let flights = [flight("full", at(23.0)), flight("low", at(21.0))];
    let options = CompareOptions { match_voltage: false, ..CompareOptions::default() };
    let as_flown = compare(&flights, &options).pop().unwrap().steps[0];
    assert_eq!((as_flown.verdict, as_flown.voltage_part_mps), (Verdict::Slower, None));
}

#[test]
fn thinner_air_takes_a_share_that_is_matched() {
    let speed = vec![step(1, Some(100.0), 30.0, 0.05)];
    let mut flights = [flight("low", speed.clone()), flight("high", speed)];
    for (flight, density) in flights.iter_mut().zip([1.2, 1.0]) {
        flight.density_kg_m3 = Some(density);
    }
    let step = compare(&flights, &CompareOptions::default()).pop().unwrap().steps[0];
    // By (1.0 / 1.2)^(1/6) the speed would be 3 % lower at the first flight's density.
    assert_near(step.difference_mps, 30.0 * ((1.0f64 / 1.2).powf(1.0 / 6.0) - 1.0), 1e-9);
    assert!(step.uncertainty_mps > 0.4, "the doubt of the exponent counts: {}", step.uncertainty_mps);
}

#[test]
fn pairs_needed_fall_with_the_difference_wanted() {
    let (first, later) = (step(1, None, 30.0, 0.5), step(1, None, 30.0, 0.5));
    // Normal limit: n = (1.960 + 0.842)^2 (2 x 0.5^2 x 2) / wanted^2, that is 31.4 for 0.5 and 7.8 for 1.
    assert!((32..=33).contains(&pairs_needed(&first, &later, 0.5).unwrap()));
    assert!((8..=9).contains(&pairs_needed(&first, &later, 1.0).unwrap()));
    assert_eq!(pairs_needed(&first, &later, 0.01), None);
}

#[test]
fn what_is_missing_is_said_and_nothing_fails() {
    let known = || flight("known", vec![step(1, Some(60.0), 25.0, 0.3)]);
    assert!(compare(&[], &CompareOptions::default()).is_empty());
    let empty = one(known(), flight("empty", Vec::new()));
    assert!(empty.steps.is_empty() && empty.overall.is_none());
    assert!(empty.notes[0].contains("empty has no airspeed"), "{:?}", empty.notes);
    let apart = one(known(), flight("apart", vec![step(1, Some(80.0), 25.0, 0.3)]));
    assert!(apart.notes.iter().any(|note| note.contains("no throttle step in common")), "{:?}", apart.notes);
    let numbered = |name: &str| flight(name, vec![step(1, None, 25.0, 0.3)]);
    assert_eq!(one(numbered("a"), numbered("b")).steps.len(), 1);
}

#[test]
fn legs_in_three_directions_count_as_a_step_where_their_throttle_has_no_pairs() {
    let folder = tempfile::tempdir().unwrap();
    let pattern = |throttle: &str| {
        format!(
            r#"{{"throttle_percent": {throttle}, "airspeed": 90.0, "airspeed_low": 88.0, "airspeed_high": 92.0,
                "degrees_of_freedom": null, "wind": 18.0, "voltage_v": 22.0}}"#
        )
    };
    let load = |steps: &str, patterns: &[String]| {
        let text = format!(
            r#"{{"format": 1, "speed_unit": "km/h", "steps": [{steps}], "patterns": [{}]}}"#,
            patterns.join(",")
        );
        std::fs::write(folder.path().join("summary.json"), text).unwrap();
        FlownFlight::load(folder.path()).unwrap().steps
    };
    let alone = load("", &[pattern("100")]);
    assert_near(alone[0].airspeed_mps, 25.0, 1e-9);
    // Half of 4 km/h over 1.960, the factor of the normal distribution.
    assert_near(alone[0].uncertainty_mps, 2.0 / 3.6 / 1.960, 1e-4);
    assert_near(alone[0].wind_mps, 5.0, 1e-9);
    let step = r#"{"step": 1, "throttle_percent": 100, "airspeed_low": 80, "airspeed_high": 84, "wind": 1}"#;
    let throttles: Vec<Option<f64>> = load(step, &[pattern("100"), pattern("60"), pattern("null")])
        .iter()
        .map(|one| one.throttle_percent)
        .collect();
    assert_eq!(throttles, [Some(100.0), Some(60.0)]);
}

/// A simulated flight whose legs are told as flown, so that only the statistics are on trial.
fn simulated(plan: &Plan) -> FlownFlight {
    let flown = fly(plan);
    let legs = flown.legs.iter().map(|leg| ToldLeg {
        throttle_percent: Some(plan.throttles[leg.step]),
        ..ToldLeg::new(leg.start_s + 3.0, leg.end_s, LegKind::Leg)
    });
    let options = LegOptions { told: Some(legs.collect()), ..LegOptions::default() };
    let found = steps(&pair(&find(&trust(flown.readings), &options).unwrap()));
    let speed_si = plan.unit.si_per_unit();
    flight("simulated", found.iter().filter_map(|step| FlownStep::of(step, speed_si)).collect())
}

/// Comparisons for each of the winds, and the first seed of their flights: none that a default was set on.
const COMPARISONS_A_DAY: u64 = 300;
const FIRST_HELD_BACK: u64 = 2_000_000;

#[test]
fn two_flights_without_a_change_differ_in_at_most_six_of_a_hundred() {
    let (mut alone, mut steps, mut any, mut overall, mut flights) = (0, 0, 0, 0, 0);
    for (day, (wind, gust)) in (0..).zip([(2.0, 0.35), (4.0, 0.7), (6.0, 1.0)]) {
        let base = Plan { whole_flight: false, leg_s: (11.0, 13.0), wind, gust, ..Plan::default() };
        for number in 0..COMPARISONS_A_DAY {
            let first = FIRST_HELD_BACK + 2 * (day * COMPARISONS_A_DAY + number);
            let plan = |seed| Plan { seed, ..base.clone() };
            let comparison = one(simulated(&plan(first)), simulated(&plan(first + 1)));
            flights += 1;
            steps += comparison.steps.len();
            alone += comparison.steps.iter().filter(|step| step.low_mps > 0.0 || step.high_mps < 0.0).count();
            let shown = |step: &&pairspeed::propulsion::StepDifference| {
                matches!(step.verdict, Verdict::Faster | Verdict::Slower)
            };
            any += usize::from(comparison.steps.iter().find(shown).is_some());
            overall += usize::from(comparison.overall.is_some_and(|all| all.low > 0.0 || all.high < 0.0));
        }
    }
    println!("{steps} steps, {alone} alone; {flights} comparisons, {any} with a verdict, {overall} overall");
    assert!(steps > 5000);
    assert!(alone as f64 <= 0.06 * steps as f64, "{alone} of {steps} steps");
    assert!(any as f64 <= 0.06 * f64::from(flights), "{any} of {flights} comparisons");
    assert!(
        f64::from(overall as u32) <= 0.06 * f64::from(flights),
        "{overall} of {flights} comparisons overall"
    );
}

#[test]
fn a_change_of_three_metres_a_second_is_found_in_most_flights() {
    let base = Plan { whole_flight: false, leg_s: (11.0, 13.0), wind: 3.0, gust: 0.5, ..Plan::default() };
    let faster = Plan { airspeeds: base.airspeeds.iter().map(|speed| speed + 3.0).collect(), ..base.clone() };
    let found = (0..20).filter(|seed| {
        let first = simulated(&Plan { seed: 300 + seed, ..base.clone() });
        let comparison = one(first, simulated(&Plan { seed: 700 + seed, ..faster.clone() }));
        comparison.steps.iter().filter(|step| step.verdict == Verdict::Faster).count() >= 4
    });
    let found = found.count();
    assert!(found >= 16, "{found} of 20");
}
