//! Tests the methods with three and four legs against published test points and the wind triangle.
#![allow(clippy::unwrap_used, missing_docs)]

use pairspeed::airspeed::multileg::{GroundLeg, HeadingReference, air_and_wind};
use pairspeed::stats::{mean, standard_deviation};

/// The rows of a reference table, grouped by the value in the first column, in order.
fn cases(table: &str) -> Vec<(String, Vec<Vec<String>>)> {
    let mut cases: Vec<(String, Vec<Vec<String>>)> = Vec::new();
    for line in table.lines().skip(1) {
        let row: Vec<String> = line.split(',').map(str::to_owned).collect();
        match cases.last_mut() {
            Some((name, rows)) if *name == row[0] => rows.push(row),
            _ => cases.push((row[0].clone(), vec![row])),
        }
    }
    cases
}

fn number(row: &[String], column: usize) -> Option<f64> {
    row[column].parse().ok()
}

fn legs(rows: &[Vec<String>], speed: usize, direction: usize) -> Vec<GroundLeg> {
    rows.iter()
        .map(|row| GroundLeg {
            speed: number(row, speed).unwrap(),
            direction_deg: number(row, direction).unwrap(),
        })
        .collect()
}

fn near(value: f64, expected: f64, tolerance: f64) {
    assert!((value - expected).abs() <= tolerance, "{value} instead of {expected}");
}

/// Speed and direction of the mean of the wind vectors of some triples of legs.
fn mean_wind(triples: &[Vec<GroundLeg>]) -> (f64, f64) {
    let winds = triples.iter().map(|triple| air_and_wind(triple, HeadingReference::Track).unwrap());
    let vectors = winds.map(|air| {
        let from = air.wind_from_deg.to_radians();
        (air.wind * from.sin(), air.wind * from.cos())
    });
    let (east, north): (Vec<f64>, Vec<f64>) = vectors.unzip();
    let (east, north) = (mean(&east).unwrap(), mean(&north).unwrap());
    (east.hypot(north), east.atan2(north).to_degrees())
}

#[test]
fn published_test_points_are_reproduced() {
    // National Test Pilot School sample, Gray 1998, and eight points of a static-error flight test:
    // airspeeds are means over the triples of legs, winds likewise.
    for (name, rows) in cases(include_str!("../fixtures/reference/gps_multileg_published.csv")) {
        let legs = legs(&rows, 2, 3);
        let triples: Vec<Vec<GroundLeg>> = if legs.len() == 3 {
            vec![legs.clone()]
        } else {
            (0..legs.len())
                .map(|left_out| {
                    legs.iter()
                        .enumerate()
                        .filter(|(index, _)| *index != left_out)
                        .map(|(_, leg)| *leg)
                        .collect()
                })
                .collect()
        };
        let airspeeds: Vec<f64> = triples
            .iter()
            .map(|triple| air_and_wind(triple, HeadingReference::Track).unwrap().airspeed)
            .collect();
        near(mean(&airspeeds).unwrap(), number(&rows[0], 4).unwrap(), 0.05);
        near(mean(&airspeeds).unwrap(), number(&rows[0], 8).unwrap(), 1e-4);
        if let (Some(deviation), Some(published)) = (standard_deviation(&airspeeds), number(&rows[0], 5)) {
            near(deviation, published, 0.05);
        }
        let all = air_and_wind(&legs, HeadingReference::Track).unwrap();
        near(all.airspeed, mean(&airspeeds).unwrap(), 0.05);
        if let (Some(wind), Some(from)) = (number(&rows[0], 6), number(&rows[0], 7)) {
            let (mean_wind, mean_from) = mean_wind(&triples);
            near(mean_wind, wind, 0.05);
            near((mean_from - from + 180.0).rem_euclid(360.0) - 180.0, 0.0, 0.06);
            near(all.wind, wind, 0.3);
        }
        println!("{name}: {all:?}");
    }
}

#[test]
fn the_least_squares_circle_of_the_school_sample_is_the_one_computed_elsewhere() {
    // NTPS four-leg sample, least-squares circle computed with scipy: 183.7219, wind 5.0070 from 179.457.
    let (_, rows) = &cases(include_str!("../fixtures/reference/gps_multileg_published.csv"))[0];
    let all = air_and_wind(&legs(rows, 2, 3), HeadingReference::Track).unwrap();
    near(all.airspeed, 183.7219, 1e-3);
    near(all.wind, 5.0070, 1e-3);
    near(all.wind_from_deg, 179.457, 0.01);
}

#[test]
fn wind_triangles_are_solved_for_tracks_and_for_headings() {
    // Wind-triangle table: exact vector arithmetic, published figures beside it.
    let mut solved = 0;
    for (name, rows) in cases(include_str!("../fixtures/reference/windtriangle.csv")) {
        if rows.len() < 3 {
            continue;
        }
        let held = if rows[0][1] == "track" { HeadingReference::Track } else { HeadingReference::Heading };
        let direction = if held == HeadingReference::Track { 6 } else { 5 };
        let (airspeed, from, wind) = (number(&rows[0], 2), number(&rows[0], 3), number(&rows[0], 4));
        let found = air_and_wind(&legs(&rows, 7, direction), held).unwrap();
        near(found.airspeed, airspeed.unwrap(), 2e-4);
        near(found.wind, wind.unwrap(), 2e-4);
        near(found.wind_from_deg, from.unwrap(), 2e-3);
        solved += 1;
        println!("{name}: {found:?}");
    }
    assert_eq!(solved, 6);
}

#[test]
fn tracks_treated_as_headings_give_a_wrong_airspeed() {
    // Aviation Formulary, three headings 120 degrees apart: fed with the speeds of tracks held it
    // returns 93.8796 and 35.1452 for a true airspeed of 100 and a wind of 30.
    let table = cases(include_str!("../fixtures/reference/windtriangle.csv"));
    let (_, rows) = table.iter().find(|(name, _)| name == "A-track-120").unwrap();
    let found = air_and_wind(&legs(rows, 7, 6), HeadingReference::Heading).unwrap();
    near(found.airspeed, 93.8796, 1e-3);
    near(found.wind, 35.1452, 1e-3);
}

#[test]
fn legs_that_determine_too_little_give_no_result() {
    let leg = |speed, direction_deg| GroundLeg { speed, direction_deg };
    assert_eq!(air_and_wind(&[], HeadingReference::Track), None);
    assert_eq!(air_and_wind(&[leg(20.0, 0.0), leg(25.0, 180.0)], HeadingReference::Track), None);
    for held in [HeadingReference::Track, HeadingReference::Heading] {
        assert_eq!(air_and_wind(&[leg(20.0, 0.0), leg(25.0, 0.0), leg(22.0, 0.0)], held), None);
        assert_eq!(air_and_wind(&[leg(f64::NAN, 0.0), leg(25.0, 120.0), leg(22.0, 240.0)], held), None);
        assert_eq!(air_and_wind(&[leg(0.0, 0.0), leg(0.0, 120.0), leg(0.0, 240.0)], held), None);
    }
}

#[test]
fn the_uncertainty_of_the_airspeed_is_that_of_disturbed_legs() {
    // Four directions a quarter turn apart: the mean of four speeds, half the uncertainty of one.
    for held in [HeadingReference::Track, HeadingReference::Heading] {
        let legs: Vec<GroundLeg> =
            (0..4).map(|leg| GroundLeg { speed: 25.0, direction_deg: 90.0 * f64::from(leg) }).collect();
        near(air_and_wind(&legs, held).unwrap().airspeed_per_speed, 0.5, 1e-9);
    }
}
