//! Compares legs, pairs and steps with those flown, in two simulators that were written independently of each
//! other, and in series of a third simulator that once gave wrong results (fixtures/flights).
#![allow(clippy::unwrap_used, missing_docs)]

mod common;

use std::fs::File;
use std::io::Read as _;
use std::path::Path;

use common::point_mass::{Conditions, NoFlight, without_legs};
use common::{
    Chance, Found, LegScore, Plan, PlannedLeg, Readout, ScoredFlight, dryden, point_mass, work_out,
};
use flate2::read::GzDecoder;
use pairspeed::airspeed::StepResult;
use pairspeed::model::channel::Channel;
use pairspeed::model::units::Unit;
use pairspeed::series::{Blank, ChannelReadings, Readings};

/// Ranges of the wind, in m/s.
const WINDS: [(&str, f64, f64); 4] =
    [("0 to 1 m/s", 0.0, 1.0), ("1 to 3 m/s", 1.0, 3.0), ("3 to 5 m/s", 3.0, 5.0), ("5 to 8 m/s", 5.0, 8.0)];

/// First seed of the flights that are tested. The constants of the search were chosen on flights 5000 to 6100
/// of both simulators.
const FIRST_HELD_BACK: u64 = 31_000_000;

type World = fn(u64, f64, f64) -> ScoredFlight;

/// A flight of the first simulator: usual conditions, take-off and landing, any throttle readout.
fn gust_world(seed: u64, least_wind: f64, most_wind: f64) -> ScoredFlight {
    let mut chance = Chance::new(seed ^ 0xB00);
    let base = Plan::of_some_day(seed);
    let slowest = chance.between(14.0, 24.0);
    let wind = chance.between(least_wind, most_wind).min(0.55 * slowest);
    let rise = chance.between(1.5, 4.0);
    let (gust, gust_length_m) = dryden(chance.between(20.0, 60.0), wind);
    let readouts = [Readout::Alive, Readout::Alive, Readout::Dead, Readout::None];
    let plan = Plan {
        airspeeds: (0..base.airspeeds.len()).map(|step| slowest + rise * step as f64).collect(),
        wind,
        gust: gust.max(0.15),
        gust_length_m,
        wind_walk: wind * chance.between(0.0, 0.03),
        throttle_readout: readouts[(chance.even() * 4.0) as usize % 4],
        whole_flight: chance.happens(0.7),
        voltage_readout: chance.happens(0.8),
        altitude_readout: chance.happens(0.7),
        heading_readout: chance.happens(0.15),
        legs_per_step: [2, 4, 6][(chance.even() * 3.0) as usize % 3],
        turn_loss: chance.between(0.03, 0.15),
        ..base
    };
    let flight = common::fly(&plan);
    let legs = flight.legs.iter().map(|leg| PlannedLeg {
        start_s: leg.start_s + plan.receiver_lag_s,
        end_s: leg.end_s + plan.receiver_lag_s,
        step: leg.step,
        direction: if leg.upwind { -1 } else { 1 },
        airspeed: flight.airspeeds[leg.step],
    });
    ScoredFlight { legs: legs.collect(), readings: flight.readings }
}

fn point_mass_flight(conditions: &Conditions) -> ScoredFlight {
    let flight = point_mass::fly(conditions);
    let legs = flight.legs.iter().map(|leg| PlannedLeg {
        start_s: leg.start_s + flight.display_lag_s,
        end_s: leg.end_s + flight.display_lag_s,
        step: leg.step,
        direction: leg.direction,
        airspeed: leg.airspeed_mps / conditions.unit.si_per_unit(),
    });
    ScoredFlight { legs: legs.collect(), readings: flight.readings }
}

fn point_mass_world(seed: u64, least_wind: f64, most_wind: f64) -> ScoredFlight {
    point_mass_flight(&Conditions::draw(seed, least_wind..most_wind))
}

fn untidy_world(seed: u64, least_wind: f64, most_wind: f64) -> ScoredFlight {
    point_mass_flight(&Conditions::draw(seed, least_wind..most_wind).untidy())
}

/// Scores of a number of flights, one for each class of wind.
fn scores(name: &str, world: World, flights: u64) -> Vec<LegScore> {
    WINDS
        .iter()
        .map(|(class, least, most)| {
            let mut score = LegScore::default();
            for seed in FIRST_HELD_BACK..FIRST_HELD_BACK + flights {
                score.add(&world(seed, *least, *most));
            }
            score.print(&format!("{name}, {class}"));
            score
        })
        .collect()
}

fn total(scores: &[LegScore]) -> LegScore {
    scores.iter().fold(LegScore::default(), |sum, score| sum.plus(score))
}

fn share(count: usize, of: usize) -> f64 {
    count as f64 / of as f64
}

#[test]
fn legs_pairs_and_steps_of_the_first_simulator_are_right_in_any_wind() {
    let scores = scores("first simulator", gust_world, 25);
    for score in &scores {
        assert!(share(score.missed, score.planned) < 0.05, "{score:?}");
    }
    let all = total(&scores);
    assert!(share(all.bad_pairs, all.pairs) <= 0.005, "{all:?}");
    assert!(share(all.false_legs, all.legs) < 0.03, "{all:?}");
    assert!((0.92..=0.98).contains(&share(all.held, all.steps)), "{all:?}");
}

#[test]
fn legs_pairs_and_steps_of_the_second_simulator_are_right_or_doubtful() {
    let scores = scores("second simulator", point_mass_world, 25);
    let windy = &scores[3];
    assert!(share(windy.missed, windy.planned) < 0.05, "{windy:?}");
    let all = total(&scores);
    let unnoticed = all.bad_pairs - all.bad_pairs_flagged;
    assert!(share(unnoticed, all.pairs) < 0.04, "{all:?}");
    assert!(share(all.good_held, all.good_steps) > 0.93, "{all:?}");
}

#[test]
fn recordings_without_legs_give_no_step_or_a_doubtful_one() {
    for kind in NoFlight::ALL {
        let mut unnoticed = 0;
        for seed in FIRST_HELD_BACK..FIRST_HELD_BACK + 12 {
            let found = work_out(without_legs(*kind, seed));
            unnoticed += found.steps.iter().filter(|step| !step.doubtful).count();
        }
        println!("{kind:?}: {unnoticed} steps not doubtful");
        // Long crests of the speed while circling in wind, and straight parts of sport flying, are still
        // mistaken for legs.
        let most = if matches!(kind, NoFlight::Circling | NoFlight::SportFlying) { 8 } else { 4 };
        assert!(unnoticed <= most, "{kind:?}: {unnoticed}");
    }
}

fn folder() -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/flights")
}

/// Readings from a file in `fixtures/flights`, which has one row per frame.
fn readings_of(name: &str, unit: Unit) -> Readings {
    let mut text = String::new();
    let file = File::open(folder().join(format!("{name}.csv.gz"))).unwrap();
    GzDecoder::new(file).read_to_string(&mut text).unwrap();
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let headings = reader.headers().unwrap().clone();
    let rows: Vec<csv::StringRecord> = reader.records().map(|row| row.unwrap()).collect();
    let channel = |column: usize| {
        let values: Vec<f64> = rows.iter().map(|row| row[column].parse().unwrap_or(f64::NAN)).collect();
        let (channel, unit) = match &headings[column] {
            "speed" => (Channel::Speed, unit),
            "throttle" => (Channel::Throttle, Unit::Percent),
            "voltage" => (Channel::Voltage, Unit::Volts),
            _ => (Channel::Altitude, Unit::Metres),
        };
        ChannelReadings {
            channel,
            unit: Some(unit),
            decimals: u8::from(rows.iter().any(|row| row[column].contains('.'))),
            step: None,
            range: None,
            max_rate: None,
            confidence: values.iter().map(|value| if value.is_nan() { 0.0 } else { 0.97 }).collect(),
            blank: values
                .iter()
                .map(|value| if value.is_nan() { Blank::Unclear } else { Blank::No })
                .collect(),
            values,
        }
    };
    Readings {
        time_s: rows.iter().map(|row| row[0].parse().unwrap()).collect(),
        channels: (1..headings.len()).map(channel).collect(),
        ..Readings::default()
    }
}

fn legs_of(name: &str) -> Vec<PlannedLeg> {
    let mut reader = csv::Reader::from_path(folder().join(format!("{name}.truth.csv"))).unwrap();
    let number = |row: &csv::StringRecord, column: usize| row[column].parse::<f64>().unwrap();
    let rows = reader.records().map(|row| row.unwrap());
    rows.map(|row| PlannedLeg {
        start_s: number(&row, 0),
        end_s: number(&row, 1),
        step: number(&row, 2) as usize,
        direction: number(&row, 3) as i8,
        airspeed: number(&row, 4),
    })
    .collect()
}

#[test]
fn strong_wind_hides_no_upwind_leg() {
    let flights = [
        ("wind-a", Unit::KilometresPerHour),
        ("wind-b", Unit::Knots),
        ("wind-c", Unit::KilometresPerHour),
        ("wind-d", Unit::Knots),
    ];
    for (name, unit) in flights {
        let flight = ScoredFlight { readings: readings_of(name, unit), legs: legs_of(name) };
        let mut score = LegScore::default();
        score.add(&flight);
        score.print(name);
        assert_eq!((score.missed, score.bad_pairs), (0, 0), "{name}");
        assert_eq!(score.held, score.steps, "{name}");
        assert_eq!(2 * score.pairs, score.planned, "{name}");
    }
}

#[test]
fn series_without_legs_give_no_step_or_a_doubtful_one_with_a_reason() {
    let sound = |found: &Found| found.steps.iter().filter(|step| !step.doubtful).count();
    for name in ["const_noise", "dead_ramp", "ramp", "alt1s", "circle_c25", "rw1_3"] {
        let found = work_out(readings_of(&format!("none-{name}"), Unit::KilometresPerHour));
        assert_eq!(sound(&found), 0, "{name}");
        let says_why = |step: &StepResult| step.flags.iter().any(|flag| flag.0.contains("doubtful"));
        assert!(found.steps.iter().all(says_why), "{name}");
        assert!(!found.steps.is_empty() || !found.set.notes.is_empty(), "{name}");
    }
}

#[test]
#[ignore = "figures for docs/benchmarks.md: minutes long, nothing to fail"]
fn figures() {
    let worlds: [(&str, World); 3] = [
        ("first simulator", gust_world),
        ("second simulator", point_mass_world),
        ("second, untidy", untidy_world),
    ];
    for (name, world) in worlds {
        total(&scores(name, world, 100)).print(&format!("{name}, all"));
    }
}
