//! Two thousand simulated flights: tests how often the intervals contain the truth, and compares the
//! airspeeds with those that a careful observer gets from the same display.
#![allow(clippy::unwrap_used, missing_docs)]

mod common;

use std::ops::Range;

use common::{Flight, Plan, dryden, fly};
use pairspeed::airspeed::{Pair, StepResult, pair, steps};
use pairspeed::legs::{GivenLeg, LegKind, LegOptions, find};
use pairspeed::series::trust;
use pairspeed::stats::median;

const FLIGHTS: u64 = 2000;

/// First seed of the flights that are tested. The defaults of the program were chosen on flights 0 to 1999, and the
/// share of displays that truncate on flights from 1,000,000 on; those flights are no test.
const FIRST_HELD_BACK: u64 = 21_000_000;

/// Time after a turn in which the aircraft regains speed and the receiver lags, in seconds.
const SETTLING_S: f64 = 3.0;

/// Pairs and steps of a flight whose legs are given as flown, so that only the statistics are tested.
fn of_given_legs(plan: &Plan, flight: &Flight) -> (Vec<Pair>, Vec<StepResult>) {
    let legs = flight.legs.iter().map(|leg| GivenLeg {
        throttle_percent: Some(plan.throttles[leg.step]),
        ..GivenLeg::new(leg.start_s + SETTLING_S, leg.end_s, LegKind::Leg)
    });
    let options = LegOptions { given: Some(legs.collect()), ..LegOptions::default() };
    let pairs = pair(&find(&trust(flight.readings.clone()), &options).unwrap());
    let steps = steps(&pairs);
    (pairs, steps)
}

/// The airspeed that an observer gets from the display: the mean over both directions of the value in the
/// middle of each leg.
fn by_eye(flight: &Flight, pair: usize) -> f64 {
    let shown_at = |time_s: f64| {
        flight.shown_speed[flight.readings.time_s.partition_point(|frame| *frame < time_s).saturating_sub(1)]
    };
    let legs = &flight.legs[2 * pair..2 * pair + 2];
    let middles = legs.iter().map(|leg| (leg.start_s + SETTLING_S + leg.end_s) / 2.0);
    middles.map(shown_at).sum::<f64>() / 2.0
}

/// Counts of intervals that contain the truth, and errors of the airspeeds.
#[derive(Debug, Default)]
struct Tally {
    given: usize,
    held: usize,
    errors_mps: Vec<f64>,
    errors_by_eye_mps: Vec<f64>,
}

impl Tally {
    fn add(&mut self, interval: (f64, f64), truth: f64) {
        self.given += 1;
        self.held += usize::from((interval.0..=interval.1).contains(&truth));
    }

    fn share(&self) -> f64 {
        self.held as f64 / self.given as f64
    }
}

/// Counts for pairs and steps of many flights, separately for the calmer and for the windier half.
fn tallies(seeds: Range<u64>, plan_of: impl Fn(u64) -> Plan) -> [[Tally; 2]; 2] {
    let mut tallies: [[Tally; 2]; 2] = Default::default();
    for seed in seeds {
        let plan = plan_of(seed);
        let flight = fly(&plan);
        let (pairs, steps) = of_given_legs(&plan, &flight);
        let [of_pairs, of_steps] = &mut tallies[usize::from(plan.wind > 3.0)];
        let unit = plan.unit.si_per_unit();
        for (number, pair) in pairs.iter().enumerate() {
            let truth = flight.airspeeds[pair.step as usize - 1];
            of_pairs.add((pair.airspeed.low, pair.airspeed.high), truth);
            of_pairs.errors_mps.push((pair.airspeed.value - truth).abs() * unit);
            of_pairs.errors_by_eye_mps.push((by_eye(&flight, number) - truth).abs() * unit);
        }
        for step in &steps {
            let truth = flight.airspeeds[step.step as usize - 1];
            of_steps.add((step.airspeed.low, step.airspeed.high), truth);
        }
    }
    tallies
}

fn print(name: &str, tally: &Tally) {
    println!("{name:28} {:6} intervals, {:.1} % hold the truth", tally.given, 100.0 * tally.share());
    if let (Some(error), Some(by_eye)) = (median(&tally.errors_mps), median(&tally.errors_by_eye_mps)) {
        println!("{name:28} median error {error:.3} m/s, by eye {by_eye:.3} m/s");
    }
}

/// A change that makes a usual day an unusual one.
type Change = fn(Plan) -> Plan;

/// Unusual days, to see how far the intervals remain valid.
fn odd_days() -> [(&'static str, Change); 13] {
    [
        ("usual", |usual| usual),
        ("gusts half as strong again", |usual| Plan { gust: 1.5 * usual.gust, ..usual }),
        ("long gusts (300 m)", |usual| Plan { gust_length_m: 300.0, ..usual }),
        ("short gusts (60 m)", |usual| Plan { gust_length_m: 60.0, ..usual }),
        ("wind shifting three times as fast", |usual| Plan { wind_walk: 3.0 * usual.wind_walk, ..usual }),
        ("display cuts off", |usual| Plan { cuts_off: true, ..usual }),
        ("display rounds", |usual| Plan { cuts_off: false, ..usual }),
        ("course 25 degrees off the wind", |usual| Plan { wind_angle_deg: 25.0, ..usual }),
        ("course straight into the wind", |usual| Plan { wind_angle_deg: 0.0, ..usual }),
        ("six legs a step", |usual| Plan { legs_per_step: 6, ..usual }),
        ("pairs that repeat to 0.3 m/s", |usual| Plan { pair_spread: 0.3, legs_per_step: 4, ..usual }),
        ("pairs that repeat to 1 m/s", |usual| Plan { pair_spread: 1.0, legs_per_step: 4, ..usual }),
        ("pairs that repeat to 3 m/s", |usual| Plan { pair_spread: 3.0, legs_per_step: 4, ..usual }),
    ]
}

#[test]
#[ignore = "figures for the documentation: minutes long, nothing to fail"]
fn figures_of_other_flights_and_of_odd_days() {
    for batch in 2..5 {
        let first = batch * FIRST_HELD_BACK;
        let [calm, windy] = tallies(first..first + FLIGHTS, Plan::of_some_day);
        for [pairs, steps] in [&calm, &windy] {
            print(&format!("batch {batch}, pairs"), pairs);
            print(&format!("batch {batch}, steps"), steps);
        }
    }
    for (name, odd) in odd_days() {
        let first = 9 * FIRST_HELD_BACK;
        let [calm, windy] = tallies(first..first + FLIGHTS / 4, |seed| odd(Plan::of_some_day(seed)));
        for (day, [pairs, steps]) in [("calm", &calm), ("windy", &windy)] {
            print(&format!("{name}, {day}, pairs"), pairs);
            print(&format!("{name}, {day}, steps"), steps);
        }
    }
}

#[test]
fn simulated_gusts_are_those_of_the_standard() {
    // MIL-F-8785C, low altitude (heights in feet, winds in knots): sigma_u and L_u at 100, 200 and 1000 ft.
    let rows =
        [(100.0, 15.0, 2.57376, 505.169), (200.0, 15.0, 2.30507, 725.786), (1000.0, 30.0, 3.0, 1000.0)];
    for (height_ft, wind, deviation, length_ft) in rows {
        let (found_deviation, found_length_m) = dryden(height_ft * 0.3048, wind);
        assert!((found_deviation - deviation).abs() < 1e-4, "{found_deviation}");
        assert!((found_length_m / 0.3048 - length_ft).abs() < 2e-3, "{found_length_m}");
    }
}

/// Simulations of the slow tier: `./check --slow`.
mod slow {
    use super::*;

    #[test]
    #[ignore = "slow: thousands of simulated flights"]
    fn intervals_contain_the_truth_as_often_as_stated_and_the_airspeed_beats_reading_by_eye() {
        let [calm, windy] = tallies(FIRST_HELD_BACK..FIRST_HELD_BACK + FLIGHTS, Plan::of_some_day);
        for (name, [pairs, steps]) in [("wind up to 3 m/s", &calm), ("wind of 3 to 6 m/s", &windy)] {
            print(&format!("{name}, pairs"), pairs);
            print(&format!("{name}, steps"), steps);
        }
        let share_of = |kind: usize| {
            let (held, given) = (calm[kind].held + windy[kind].held, calm[kind].given + windy[kind].given);
            held as f64 / given as f64
        };
        for share in [share_of(0), share_of(1)] {
            assert!((0.93..=0.97).contains(&share), "{share}");
        }
        for [pairs, _] in [&calm, &windy] {
            assert!((0.93..=0.975).contains(&pairs.share()), "{}", pairs.share());
            assert!(median(&pairs.errors_mps) < median(&pairs.errors_by_eye_mps));
        }
    }

    #[test]
    #[ignore = "slow: thousands of simulated flights"]
    fn intervals_of_steps_whose_pairs_disagree_contain_the_truth() {
        for spread in [1.0, 3.0] {
            let plan = |seed| Plan { pair_spread: spread, legs_per_step: 6, ..Plan::of_some_day(seed) };
            let [[_, calm], [_, windy]] =
                tallies(6 * FIRST_HELD_BACK..6 * FIRST_HELD_BACK + FLIGHTS / 4, plan);
            print("pairs at odds, calm, steps", &calm);
            print("pairs at odds, windy, steps", &windy);
            let share = (calm.held + windy.held) as f64 / (calm.given + windy.given) as f64;
            assert!((0.93..=0.97).contains(&share), "{share} with {spread} m/s");
        }
    }
}
