//! Tests the point-mass simulator against independent facts.
#![allow(clippy::unwrap_used, missing_docs)]

#[allow(dead_code, unused_imports, missing_docs)]
#[path = "common/point_mass.rs"]
mod point_mass;

use std::f64::consts::{PI, TAU};

use pairspeed::model::channel::Channel;
use pairspeed::stats::{mean, standard_deviation};
use point_mass::{
    Conditions, GRAVITY, Instant, LegPlan, Manoeuvre, NoFlight, Random, STEP_S, Wandering, fly, fly_plan,
    without_legs,
};

fn at_one_speed(airspeed_mps: f64, wind_mps: f64, wind_angle_deg: f64) -> Conditions {
    let drawn = Conditions::draw(1, 0.0..0.1).undisturbed();
    Conditions {
        airspeeds_mps: vec![airspeed_mps],
        throttles_percent: vec![80.0],
        wind_mps,
        wind_angle_deg,
        ..drawn
    }
}

fn straight(time_s: f64) -> Manoeuvre {
    Manoeuvre::Straight { end: LegPlan::TimeS(time_s), leg: None }
}

fn ground_speed(instant: &Instant) -> f64 {
    instant.velocity_mps[0].hypot(instant.velocity_mps[1])
}

/// Any text on flight mechanics: the radius of a level turn is V^2 / (g tan(bank)).
#[test]
fn the_radius_of_a_turn_is_that_of_its_bank() {
    for (airspeed_mps, bank_deg) in [(15.0, 30.0), (25.0, 45.0), (40.0, 50.0)] {
        let bank_rad = f64::to_radians(bank_deg);
        let plan = [straight(2.0), Manoeuvre::Turn { by_rad: 4.0 * TAU, bank_rad }];
        let (track, _) = fly_plan(&at_one_speed(airspeed_mps, 0.0, 0.0), &plan);
        // The third of four circles, when the speed has become steady.
        let rate = |instant: &Instant| GRAVITY * instant.bank_rad.tan() / instant.airspeed_mps;
        let steps = (TAU / rate(&track[track.len() / 2]) / STEP_S).round() as usize;
        let circle = &track[track.len() / 2..][..steps];
        let speed_mps = circle[0].airspeed_mps;
        assert!(speed_mps < airspeed_mps, "induced drag costs speed: {speed_mps} of {airspeed_mps}");
        let y_m = || circle.iter().map(|instant| instant.position_m[1]);
        let diameter_m = y_m().fold(f64::NEG_INFINITY, f64::max) - y_m().fold(f64::INFINITY, f64::min);
        let expected_m = speed_mps.powi(2) / (GRAVITY * bank_rad.tan());
        assert!((diameter_m / 2.0 / expected_m - 1.0).abs() < 0.005, "{diameter_m} {expected_m}");
    }
}

/// The rows of the wind triangle in which a track is held; a quarter of their speeds are used as m/s.
#[test]
fn ground_speed_over_a_held_track_is_that_of_the_wind_triangle() {
    let table = include_str!("../fixtures/reference/windtriangle.csv");
    let mut checked = 0;
    for line in table.lines().skip(1) {
        let row: Vec<&str> = line.split(',').collect();
        let number = |column: usize| row[column].parse::<f64>().unwrap();
        if row[1] != "track" {
            continue;
        }
        // Compass angles are clockwise, those of the simulator counter-clockwise.
        let angle_deg = number(6) - number(3);
        let along = if angle_deg.to_radians().cos() < 0.0 { PI } else { 0.0 };
        let conditions = at_one_speed(0.25 * number(2), 0.25 * number(4), angle_deg);
        // The first course is upwind, so that a downwind track requires a turn first.
        let turn = Manoeuvre::Turn { by_rad: along, bank_rad: 0.7 };
        let plan = [straight(1.0), turn, straight(60.0)];
        let (track, _) = fly_plan(&conditions, if along == 0.0 { &plan[2..] } else { &plan });
        let last = track.last().unwrap();
        let expected_mps = 0.25 * number(7);
        assert!((ground_speed(last) - expected_mps).abs() < 0.01, "{line}: {}", ground_speed(last));
        assert!((last.airspeed_mps - 0.25 * number(2)).abs() < 0.01, "{line}: {}", last.airspeed_mps);
        let [x, y] = last.velocity_mps;
        assert!(y.atan2(x).to_degrees().abs() < 0.1, "{line}: off the track");
        checked += 1;
    }
    assert!(checked >= 10, "{checked} rows");
}

/// Uhlenbeck and Ornstein 1930: the variance is constant, and the correlation over a time is exp(-time /
/// tau).
#[test]
fn turbulence_is_stationary_and_decorrelates_at_the_given_rate() {
    let mut random = Random::new(7);
    let mut finals = Vec::new();
    let mut products = Vec::new();
    for _ in 0..4000 {
        let mut process = Wandering::new(1.5, &mut random);
        let first = process.value;
        for _ in 0..25 {
            process.step(0.02, &mut random);
        }
        finals.push(process.value);
        products.push(first * process.value);
    }
    // Four standard errors of 4000 independent values.
    assert!((standard_deviation(&finals).unwrap() / 1.5 - 1.0).abs() < 0.045);
    assert!((mean(&products).unwrap() / 2.25 - (-0.5_f64).exp()).abs() < 0.075);
}

#[test]
fn the_speed_follows_the_throttle_with_the_given_time_constant() {
    for time_constant_s in [1.0, 2.0, 3.0] {
        let conditions = Conditions {
            airspeeds_mps: vec![24.0, 26.0],
            throttles_percent: vec![60.0, 70.0],
            time_constant_s,
            ..at_one_speed(24.0, 0.0, 0.0)
        };
        let plan = [straight(5.0), Manoeuvre::Throttle { airspeed_mps: 26.0 }, straight(15.0)];
        let (track, _) = fly_plan(&conditions, &plan);
        let risen = 24.0 + 2.0 * (1.0 - (-1.0_f64).exp());
        let time_s = track.iter().find(|instant| instant.airspeed_mps >= risen).unwrap().time_s - 5.0;
        // The motor adds 0.25 s, and induced drag changes the time a little.
        assert!(
            (time_s - time_constant_s - 0.25).abs() < 0.2 * time_constant_s,
            "{time_s} {time_constant_s}"
        );
        assert!((track.last().unwrap().airspeed_mps - 26.0).abs() < 0.02);
    }
}

#[test]
fn in_calm_air_the_display_shows_the_airspeed() {
    let drawn = Conditions::draw(5, 0.0..0.0);
    let conditions = Conditions { truncates: false, ..drawn.undisturbed() };
    let flight = fly(&conditions);
    let complete = flight.legs.iter().filter(|leg| leg.complete).count();
    assert_eq!(complete, 2 * conditions.pairs_per_step * conditions.airspeeds_mps.len());
    let speed = flight.readings.channel(&Channel::Speed).unwrap();
    let si = conditions.unit.si_per_unit();
    let mut compared = 0;
    for leg in &flight.legs {
        let from_s = leg.end_s - 0.5 + flight.display_lag_s;
        // The recording may stop at the end of the last leg, before the display shows that end.
        let Some(at) = flight.readings.time_s.iter().position(|time_s| *time_s >= from_s) else { continue };
        compared += 1;
        let shown_mps = speed.values[at] * si;
        assert!(
            (shown_mps - leg.airspeed_mps).abs() < 0.6 * speed.quantum() * si + 0.4,
            "{shown_mps} {leg:?}"
        );
    }
    assert!(compared + 1 >= flight.legs.len(), "{compared}");
}

#[test]
fn the_same_seed_gives_the_same_flight() {
    // Blank readings are NaN, which equals nothing, so they are compared as text.
    let text = |seed: u64| format!("{:?}", fly(&Conditions::draw(seed, 0.0..8.0)));
    assert_eq!(text(3), text(3));
    assert_ne!(text(3), text(4));
    for kind in NoFlight::ALL {
        let text = |seed: u64| format!("{:?}", without_legs(*kind, seed));
        assert_eq!(text(3), text(3), "{kind:?}");
    }
}

#[test]
fn every_step_is_flown_near_its_airspeed_and_in_its_wind() {
    for seed in 0..40 {
        let conditions = Conditions::draw(seed, 0.0..10.0);
        let flight = fly(&conditions);
        let planned = conditions.airspeeds_mps.len();
        assert!(flight.step_airspeeds_mps.len() == planned && flight.legs.len() >= 2 * planned);
        for (flown, meant) in flight.step_airspeeds_mps.iter().zip(&conditions.airspeeds_mps) {
            assert!((flown / meant - 1.0).abs() < 0.2, "seed {seed}: {flown} for {meant}");
        }
        for leg in &flight.legs {
            assert!(leg.end_s - leg.start_s > 1.0 && leg.direction.abs() == 1, "seed {seed}: {leg:?}");
            assert!(leg.headwind_mps.abs() < 1.5 * conditions.wind_mps + 1.5, "seed {seed}: {leg:?}");
        }
    }
}
