//! Comparing flights: tests the statistics against published values, and compares flights of an unchanged
//! aircraft.
#![allow(clippy::unwrap_used, missing_docs)]

mod common;

use common::{Plan, fly};
use pairspeed::airspeed::{pair, steps};
use pairspeed::compare::{CompareOptions, Comparison, Verdict, compare, pairs_needed};
use pairspeed::legs::{GivenLeg, LegKind, LegOptions, find};
use pairspeed::model::units::Unit;
use pairspeed::propulsion::{FlownStep, SharedUncertainty};
use pairspeed::series::trust;
use pairspeed::stats::{StandardUncertainty, holm, welch_satterthwaite};
use pairspeed::summary::{FlownFlight, load_flight};

fn assert_near(value: f64, expected: f64, tolerance: f64) {
    assert!((value - expected).abs() <= tolerance, "{value} instead of {expected}");
}

fn step(number: u32, throttle: Option<f64>, airspeed_mps: f64, uncertainty_mps: f64) -> FlownStep {
    FlownStep {
        step: number,
        throttle_percent: throttle,
        airspeed_mps,
        reported_mps: airspeed_mps,
        own_uncertainty_mps: uncertainty_mps,
        own_degrees_of_freedom: 40.0,
        shared: SharedUncertainty::default(),
        wind_mps: 3.0,
        voltage_v: None,
        pairs: 2,
    }
}

fn flight(name: &str, steps: Vec<FlownStep>) -> FlownFlight {
    FlownFlight {
        name: name.to_owned(),
        camera: None,
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
    let parts = [(25.0, 18.0), (9.7, 25.6), (2.9, 50.0), (16.6, 2.0)];
    let combined = welch_satterthwaite(
        &parts.map(|(value, degrees_of_freedom)| StandardUncertainty { value, degrees_of_freedom }),
    );
    assert_near(combined.value, 31.67, 0.005);
    assert_near(combined.degrees_of_freedom, 16.76, 0.01);
    let known = [3.0, 4.0].map(StandardUncertainty::known);
    assert_eq!(welch_satterthwaite(&known), StandardUncertainty::known(5.0));
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
fn a_change_has_a_verdict_with_its_interval_and_an_unchanged_step_has_none() {
    let before = flight("before", vec![step(1, Some(60.0), 25.0, 0.3), step(2, Some(100.0), 35.0, 0.3)]);
    let after = flight("after", vec![step(1, Some(60.0), 25.2, 0.4), step(2, Some(100.0), 38.0, 0.4)]);
    let comparison = one(before, after);
    let (low, high) = (&comparison.steps[0], &comparison.steps[1]);
    assert_eq!((low.verdict, high.verdict), (Verdict::NotSignificant, Verdict::Faster));
    assert_near(high.difference_mps.value, 3.0, 1e-12);
    assert_near(high.difference_mps.standard_uncertainty, 0.5, 1e-12);
    // t_0.975 of 73.6 degrees of freedom is 1.993 (Student's table lies between 2.000 at 60 and 1.984 at 100).
    assert_near(high.difference_mps.low, 3.0 - 1.993 * 0.5, 0.002);
}

#[test]
fn a_step_that_alone_would_be_significant_is_not_among_many() {
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
    assert!(first.difference_mps.low > 0.0);
    assert_eq!(first.verdict, Verdict::NotSignificantAfterCorrection);
    assert_eq!(comparison.steps_compared, 6);
}

#[test]
fn a_difference_that_voltage_explains_is_no_change() {
    let at = |voltage_v: f64| {
        let speed = 30.0 * (voltage_v / 22.0_f64).powf(0.9);
        vec![FlownStep { voltage_v: Some(voltage_v), ..step(1, Some(100.0), speed, 0.2) }]
    };
    let comparison = one(flight("full", at(23.0)), flight("low", at(21.0)));
    let step = comparison.steps[0];
    assert_eq!(step.verdict, Verdict::NotSignificant);
    assert_near(step.difference_mps.value, 0.0, 1e-9);
    assert_near(step.voltage_part_mps.unwrap(), step.later_mps - step.first_mps, 1e-9);
    let flights = [flight("full", at(23.0)), flight("low", at(21.0))];
    let options = CompareOptions { match_voltage: false, ..CompareOptions::default() };
    let as_flown = compare(&flights, &options).pop().unwrap().steps[0];
    assert_eq!((as_flown.verdict, as_flown.voltage_part_mps), (Verdict::Slower, None));
}

#[test]
fn the_effect_of_thinner_air_is_corrected() {
    let speed = vec![step(1, Some(100.0), 30.0, 0.05)];
    let mut flights = [flight("low", speed.clone()), flight("high", speed)];
    for (flight, density) in flights.iter_mut().zip([1.2, 1.0]) {
        flight.density_kg_m3 = Some(density);
    }
    let step = compare(&flights, &CompareOptions::default()).pop().unwrap().steps[0];
    // By (1.0 / 1.2)^(1/6) the speed would be 3 % lower at the first flight's density.
    assert_near(step.difference_mps.value, 30.0 * ((1.0f64 / 1.2).powf(1.0 / 6.0) - 1.0), 1e-9);
    assert!(
        step.difference_mps.standard_uncertainty > 0.4,
        "the uncertainty of the exponent counts: {}",
        step.difference_mps.standard_uncertainty
    );
}

#[test]
fn pairs_needed_fall_with_the_difference_wanted() {
    let (first, later) = (step(1, None, 30.0, 0.5), step(1, None, 30.0, 0.5));
    // Normal limit: n = (1.960 + 0.842)^2 (2 x 0.5^2 x 2) / wanted^2, that is 31.4 for 0.5 and 7.8 for 1.
    assert!((32..=33).contains(&pairs_needed(&first, &later, 0.5).unwrap()));
    assert!((8..=9).contains(&pairs_needed(&first, &later, 1.0).unwrap()));
    assert_eq!(pairs_needed(&first, &later, 0.01), None);
}

/// A step with uncertainties that it shares with the other steps of its flight.
fn sharing(number: u32, airspeed_mps: f64, own_mps: f64, shared: SharedUncertainty) -> FlownStep {
    FlownStep { shared, ..step(number, Some(10.0 * f64::from(number)), airspeed_mps, own_mps) }
}

fn crosswind(crosswind_mps: f64) -> SharedUncertainty {
    SharedUncertainty { crosswind_mps, ..SharedUncertainty::default() }
}

fn rounding(rounding_mps: f64) -> SharedUncertainty {
    SharedUncertainty { rounding_mps, ..SharedUncertainty::default() }
}

/// Half the width of the overall interval between two flights of equal steps, in m/s.
fn half_overall_mps(steps: u32, own_mps: f64, shared: SharedUncertainty) -> f64 {
    let of = |name| flight(name, (1..=steps).map(|number| sharing(number, 25.0, own_mps, shared)).collect());
    let overall = one(of("before"), of("after")).overall.unwrap();
    25.0 * overall.half_width()
}

#[test]
fn over_all_steps_own_parts_shrink_and_shared_parts_add_up_linearly() {
    // With own uncertainties only: 0.1 sqrt(2) / sqrt(n), with 80 degrees of freedom (t_0.975 = 1.990).
    assert_near(half_overall_mps(4, 0.1, SharedUncertainty::default()), 1.990 * 0.1 / 2f64.sqrt(), 1e-4);
    // With shared uncertainties only: 0.2 sqrt(2) for any number of steps (z_0.975 = 1.960), and 1.4 times as
    // much for two displays.
    for steps in [2, 4, 16] {
        assert_near(half_overall_mps(steps, 1e-4, crosswind(0.2)), 1.960 * 0.2 * 2f64.sqrt(), 1e-3);
        assert_near(half_overall_mps(steps, 1e-4, rounding(0.2)), 1.960 * 1.4 * 0.2 * 2f64.sqrt(), 1e-3);
    }
}

#[test]
fn an_unknown_crosswind_counts_as_on_a_course_far_off_the_wind() {
    let unknown = SharedUncertainty { crosswind_bound_mps: 0.7, ..crosswind(0.2) };
    // 0.399 of the bound of either flight, which is more than the standard deviation over all angles.
    assert_near(half_overall_mps(4, 1e-4, unknown), 1.960 * 0.399 * 0.7 * 2f64.sqrt(), 1e-3);
}

#[test]
fn rounding_cancels_with_one_display_and_not_with_two() {
    let half_mps = |cameras: [Option<&str>; 2], units: [Unit; 2]| {
        let [first, later] = [0, 1].map(|index| FlownFlight {
            camera: cameras[index].map(str::to_owned),
            speed_unit: units[index],
            ..flight("a", vec![sharing(1, 25.0, 0.01, rounding(0.1))])
        });
        let step = one(first, later).steps[0];
        (step.difference_mps.standard_uncertainty, step.pairs_needed)
    };
    let kmh = [Unit::KilometresPerHour; 2];
    let (alone_mps, few) = half_mps([Some("goggles"); 2], kmh);
    assert_near(alone_mps, 0.01 * 2f64.sqrt(), 1e-9);
    assert_eq!(few, Some(1));
    let different = [
        ([Some("goggles"), Some("receiver")], kmh),
        ([None; 2], kmh),
        ([Some("goggles"); 2], [Unit::KilometresPerHour, Unit::MilesPerHour]),
    ];
    for (cameras, units) in different {
        assert_near(half_mps(cameras, units).0, 0.01f64.hypot(0.14) * 2f64.sqrt(), 1e-9);
    }
}

#[test]
fn no_number_of_pairs_reduces_the_shared_uncertainty() {
    let of = |crosswind_mps: f64| sharing(1, 30.0, 0.5, crosswind(crosswind_mps));
    let needed = |crosswind_mps: f64| pairs_needed(&of(crosswind_mps), &of(crosswind_mps), 0.5);
    // The variance left to the own parts is (0.5 / 2.802)^2 - 2 x 0.1^2 = 0.0118: 2 x 0.5^2 x 2 / 0.0118 = 84.5.
    assert!((85..=87).contains(&needed(0.1).unwrap()), "{:?}", needed(0.1));
    // 2.802 x 0.13 x sqrt(2) is 0.515, which exceeds 0.5 even without own uncertainties.
    assert_eq!(needed(0.13), None);
}

#[test]
fn own_and_shared_parts_come_from_the_rows_of_the_summary() {
    let folder = tempfile::tempdir().unwrap();
    let load = |rows: &str| {
        let text = format!(
            r#"{{"format": 2, "speed_unit": "km/h", "camera": {{"name": "goggles", "frame": [640, 480]}}, "steps": [
                {{"step": 1, "airspeed": 90.0, "airspeed_low": 88.0, "airspeed_high": 92.2, "wind": 18.0,
                  "budget": {{{rows} "combined": 1.3, "degrees_of_freedom": 15.0, "crosswind_bound": 0.9}}}}]}}"#
        );
        std::fs::write(folder.path().join("summary.json"), text).unwrap();
        let flight = load_flight(folder.path()).unwrap();
        assert_eq!(flight.camera.as_deref(), Some("goggles"));
        flight.steps[0]
    };
    let step = load(
        r#""rows": [
            {"cause": "gusts", "uncertainty": 0.3, "degrees_of_freedom": 8, "extent": "own"},
            {"cause": "rounding", "uncertainty": 0.4, "degrees_of_freedom": null, "extent": "own"},
            {"cause": "shared-rounding", "uncertainty": 0.5, "degrees_of_freedom": null, "extent": "shared"},
            {"cause": "crosswind", "uncertainty": 1.0, "degrees_of_freedom": null, "extent": "shared"}],"#,
    );
    assert_near(step.own_uncertainty_mps, 0.5 / 3.6, 1e-9);
    // Welch and Satterthwaite: 0.5^4 / (0.3^4 / 8).
    assert_near(step.own_degrees_of_freedom, 61.73, 0.01);
    let expected = [0.5, 1.0, 0.9].map(|part: f64| part / 3.6);
    assert_near(step.shared.rounding_mps, expected[0], 1e-9);
    assert_near(step.shared.crosswind_mps, expected[1], 1e-9);
    assert_near(step.shared.crosswind_bound_mps, expected[2], 1e-9);
    assert_near(step.uncertainty().value, 1.5f64.sqrt() / 3.6, 1e-9);
    // Without rows in the budget, the whole uncertainty is the step's own.
    let whole = load("");
    assert_near(whole.own_uncertainty_mps, 1.3 / 3.6, 1e-9);
    assert_eq!((whole.own_degrees_of_freedom, whole.shared), (15.0, SharedUncertainty::default()));
}

#[test]
fn missing_data_are_noted_and_nothing_fails() {
    let known = || flight("known", vec![step(1, Some(60.0), 25.0, 0.3)]);
    assert!(compare(&[], &CompareOptions::default()).is_empty());
    let empty = one(known(), flight("empty", Vec::new()));
    assert!(empty.steps.is_empty() && empty.overall.is_none());
    assert!(empty.notes[0].contains("empty has no airspeed"), "{:?}", empty.notes);
    let disjoint = one(known(), flight("disjoint", vec![step(1, Some(80.0), 25.0, 0.3)]));
    assert!(
        disjoint.notes.iter().any(|note| note.contains("no throttle step in common")),
        "{:?}",
        disjoint.notes
    );
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
            r#"{{"format": 2, "speed_unit": "km/h", "steps": [{steps}], "patterns": [{}]}}"#,
            patterns.join(",")
        );
        std::fs::write(folder.path().join("summary.json"), text).unwrap();
        load_flight(folder.path()).unwrap().steps
    };
    let alone = load("", &[pattern("100")]);
    assert_near(alone[0].airspeed_mps, 25.0, 1e-9);
    // Half of 4 km/h over 1.960, the factor of the normal distribution.
    assert_near(alone[0].own_uncertainty_mps, 2.0 / 3.6 / 1.960, 1e-4);
    assert_near(alone[0].wind_mps, 5.0, 1e-9);
    let step = r#"{"step": 1, "throttle_percent": 100, "airspeed_low": 80, "airspeed_high": 84, "wind": 1}"#;
    let throttles: Vec<Option<f64>> = load(step, &[pattern("100"), pattern("60"), pattern("null")])
        .iter()
        .map(|one| one.throttle_percent)
        .collect();
    assert_eq!(throttles, [Some(100.0), Some(60.0)]);
}

/// A simulated flight whose legs are given as flown, so that only the statistics are tested.
fn simulated(plan: &Plan) -> FlownFlight {
    let flown = fly(plan);
    let legs = flown.legs.iter().map(|leg| GivenLeg {
        throttle_percent: Some(plan.throttles[leg.step]),
        ..GivenLeg::new(leg.start_s + 3.0, leg.end_s, LegKind::Leg)
    });
    let options = LegOptions { given: Some(legs.collect()), ..LegOptions::default() };
    let found = steps(&pair(&find(&trust(flown.readings), &options).unwrap()));
    let speed_si = plan.unit.si_per_unit();
    flight("simulated", found.iter().filter_map(|step| FlownStep::of(step, speed_si)).collect())
}

/// Number of comparisons for each of the winds, and first seed of their flights, on which no default was chosen.
const COMPARISONS_A_DAY: u64 = 300;
const FIRST_HELD_BACK: u64 = 2_000_000;

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

/// Simulations of the slow tier: `./check --slow`.
mod slow {
    use super::*;

    #[test]
    #[ignore = "slow: hundreds of simulated comparisons"]
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
                alone += comparison.steps.iter().filter(|step| !step.difference_mps.holds(0.0)).count();
                let shown = |step: &&pairspeed::compare::StepDifference| {
                    matches!(step.verdict, Verdict::Faster | Verdict::Slower)
                };
                any += usize::from(comparison.steps.iter().find(shown).is_some());
                overall += usize::from(comparison.overall.is_some_and(|all| all.low > 0.0 || all.high < 0.0));
            }
        }
        println!(
            "{steps} steps, {alone} alone; {flights} comparisons, {any} with a verdict, {overall} overall"
        );
        assert!(steps > 5000);
        assert!(alone as f64 <= 0.06 * steps as f64, "{alone} of {steps} steps");
        assert!(any as f64 <= 0.06 * f64::from(flights), "{any} of {flights} comparisons");
        assert!(
            f64::from(overall as u32) <= 0.06 * f64::from(flights),
            "{overall} of {flights} comparisons overall"
        );
    }
}
