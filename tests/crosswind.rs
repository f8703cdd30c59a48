//! Tests the crosswind (given, or fitted to the turns) and patterns of legs against simulated flights.
#![allow(clippy::unwrap_used, missing_docs)]

mod common;

use common::{Flight, Plan, fly};
use pairspeed::airspeed::multileg::HeadingReference;
use pairspeed::airspeed::{Crosswind, GivenWind, Wind, WindSource, find_wind, pair, pair_with, patterns};
use pairspeed::legs::{GivenLeg, LegKind, LegOptions, LegSet, find};
use pairspeed::series::{Series, trust};

/// The legs of a flight, given as flown but without the seconds after each turn.
fn given_legs(plan: &Plan, flight: &Flight) -> (Series, LegSet) {
    let legs = flight.legs.iter().map(|leg| GivenLeg {
        throttle_percent: Some(plan.throttles[leg.step]),
        ..GivenLeg::new(leg.start_s + 3.0, leg.end_s, LegKind::Leg)
    });
    let options = LegOptions { given: Some(legs.collect()), ..LegOptions::default() };
    let series = trust(flight.readings.clone());
    let set = find(&series, &options).unwrap();
    (series, set)
}

/// A flight at 35 degrees to a wind of 6 m/s: the crosswind of 3.4 m/s reduces the mean ground speed by up to
/// 0.4 m/s.
fn off_the_wind(seed: u64) -> Plan {
    Plan {
        seed,
        wind: 6.0,
        wind_angle_deg: 35.0,
        gust: 0.5,
        airspeeds: vec![16.0, 19.0, 22.0],
        throttles: vec![50.0, 70.0, 90.0],
        legs_per_step: 4,
        racetrack: true,
        leg_s: (12.0, 15.0),
        whole_flight: false,
        decimals: 1,
        heading_readout: true,
        ..Plan::default()
    }
}

#[test]
fn a_given_crosswind_removes_the_bias() {
    let (mut plain, mut corrected, mut pairs, mut held) = (0.0, 0.0, 0, 0);
    for seed in 0..60 {
        let plan = Plan { heading_readout: false, ..off_the_wind(seed) };
        let flight = fly(&plan);
        let (series, set) = given_legs(&plan, &flight);
        // The wind comes from 0 degrees, and the course is 35 degrees.
        let given = GivenWind {
            wind: Some(Wind { speed_mps: 6.0, from_deg: 0.0 }),
            course_deg: Some(35.0),
            heading_reference: HeadingReference::Track,
        };
        let wind = find_wind(&series, &set, &given).unwrap();
        assert_eq!(wind.source, WindSource::Given);
        for (with, without) in pair_with(&set, &Crosswind::from(Some(&wind))).iter().zip(pair(&set)) {
            let truth = flight.airspeeds[with.step as usize - 1];
            plain += without.airspeed.value - truth;
            corrected += with.airspeed.value - truth;
            held += usize::from(with.airspeed.holds(truth));
            pairs += 1;
        }
    }
    let (plain, corrected) = (plain / f64::from(pairs) / 3.6, corrected / f64::from(pairs) / 3.6);
    // sqrt(19^2 - 3.44^2) is less than 19 by 0.31.
    assert!(plain < -0.2 && corrected.abs() < 0.12, "{plain} {corrected} m/s");
    assert!(held as f64 > 0.9 * f64::from(pairs), "{held} of {pairs}");
}

#[test]
fn without_a_course_a_given_wind_is_compared_with_the_shown_heading() {
    let plan = off_the_wind(1);
    let (series, set) = given_legs(&plan, &fly(&plan));
    let given = GivenWind { wind: Some(Wind { speed_mps: 6.0, from_deg: 0.0 }), ..GivenWind::default() };
    let wind = find_wind(&series, &set, &given).unwrap();
    assert!((wind.across.abs() - 6.0 * 35f64.to_radians().sin()).abs() < 10.0, "{wind:?}");
    let plan = Plan { heading_readout: false, ..plan };
    let (series, set) = given_legs(&plan, &fly(&plan));
    assert_eq!(find_wind(&series, &set, &given), None);
}

#[test]
fn turns_over_both_sides_determine_the_crosswind_if_the_course_is_shown() {
    let (mut fitted, mut within, mut worst) = (0, 0, 0.0f64);
    for seed in 0..60 {
        let plan = off_the_wind(seed);
        let (series, set) = given_legs(&plan, &fly(&plan));
        let Some(wind) = find_wind(&series, &set, &GivenWind::default()) else { continue };
        let error = (wind.across.abs() / 3.6 - 6.0 * 35f64.to_radians().sin()).abs();
        worst = worst.max(error);
        fitted += 1;
        within += usize::from(error < 2.0 * wind.across_uncertainty / 3.6);
    }
    println!("fitted {fitted}, within two standard uncertainties {within}, worst {worst:.2} m/s");
    assert!(fitted > 30, "{fitted}");
    assert!(within as f64 > 0.88 * f64::from(fitted), "{within} of {fitted}");
}

#[test]
fn turns_over_one_side_only_determine_no_crosswind() {
    let plan = Plan { racetrack: false, ..off_the_wind(3) };
    let (series, set) = given_legs(&plan, &fly(&plan));
    assert_eq!(find_wind(&series, &set, &GivenWind::default()), None);
}

#[test]
fn a_box_of_four_legs_gives_airspeed_and_wind() {
    let (mut found, mut held, mut off) = (0, 0, 0.0);
    for seed in 0..60 {
        let plan = Plan { directions_deg: vec![0.0, 90.0, 180.0, 270.0], gust: 1.0, ..off_the_wind(seed) };
        let flight = fly(&plan);
        let (_, set) = given_legs(&plan, &flight);
        assert!(set.pairs.is_empty(), "{:?}", set.pairs);
        let boxes = patterns(&set, HeadingReference::Track);
        assert_eq!(boxes.len(), 3);
        for (one, truth) in boxes.iter().zip(&flight.airspeeds) {
            found += 1;
            held += usize::from(one.airspeed.holds(*truth));
            off += (one.airspeed.value - truth) / 3.6;
            assert!((one.wind / 3.6 - 6.0).abs() < 2.0, "{} {}", one.wind / 3.6, one.wind_from_deg);
            assert!((one.wind_from_deg + 180.0).rem_euclid(360.0) - 180.0 < 25.0);
        }
    }
    let (share, off) = (held as f64 / f64::from(found), off / f64::from(found));
    assert!((0.9..=0.995).contains(&share), "{held} of {found}");
    assert!(off.abs() < 0.1, "{off}");
}

#[test]
fn a_triangle_is_found_if_headings_are_shown() {
    let plan = Plan {
        directions_deg: vec![0.0, 120.0, 240.0],
        legs_per_step: 3,
        leg_s: (12.0, 14.0),
        gust: 0.3,
        whole_flight: true,
        ..off_the_wind(5)
    };
    let flight = fly(&plan);
    let set = find(&trust(flight.readings.clone()), &LegOptions::default()).unwrap();
    let triangles = patterns(&set, HeadingReference::Track);
    assert_eq!(triangles.len(), 3, "{:?} {:?}", set.headings_deg, set.patterns);
    for (one, truth) in triangles.iter().zip(&flight.airspeeds) {
        assert!((one.airspeed.value / truth - 1.0).abs() < 0.05, "{} {truth}", one.airspeed.value);
    }
    assert!(set.legs.iter().filter(|leg| leg.kind == LegKind::Leg).count() >= 9);
}
