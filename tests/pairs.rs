//! Tests airspeed and wind of pairs against practice and the wind triangle.
#![allow(clippy::unwrap_used, missing_docs)]

use pairspeed::airspeed::{AirspeedAndWind, airspeed_and_wind, crosswind_bound};

#[test]
fn pairs_average_to_the_airspeed_of_common_practice() {
    // Common practice, no source.
    for (upwind, downwind, airspeed) in
        [(60.0, 74.0, 67.0), (63.0, 77.0, 70.0), (67.0, 81.0, 74.0), (77.0, 87.0, 82.0)]
    {
        assert_eq!(airspeed_and_wind(upwind, downwind).airspeed, airspeed);
    }
    // q-list.groups.io message 640: out 120, back 40 is an airspeed of 80 with a wind of 40.
    assert_eq!(airspeed_and_wind(40.0, 120.0), AirspeedAndWind { airspeed: 80.0, wind: 40.0 });
}

/// Ground speeds of the wind-triangle table for one case, exact to four decimals.
fn ground_speeds(case: &str) -> Vec<f64> {
    let table = include_str!("../fixtures/reference/windtriangle.csv");
    let rows = table.lines().map(|line| line.split(',').collect::<Vec<&str>>());
    rows.filter(|row| row[0] == case).map(|row| row[7].parse().unwrap()).collect()
}

#[test]
fn two_held_tracks_read_low_by_the_bound_of_their_crosswind() {
    // Vector arithmetic: airspeed 100, wind 20 from 270, tracks 300 and 120 (30 degrees off the wind).
    let speeds = ground_speeds("B2-track-recip");
    let AirspeedAndWind { airspeed, wind } = airspeed_and_wind(speeds[0], speeds[1]);
    assert!((airspeed - 99.4987).abs() < 1e-3, "{airspeed}");
    assert!((airspeed + crosswind_bound(airspeed, wind, 30.0) - 100.0).abs() < 1e-3);
}

#[test]
fn the_bound_is_half_the_square_of_the_crosswind_over_the_airspeed() {
    let crosswind = 10.0 * 30f64.to_radians().tan();
    assert!((crosswind_bound(100.0, 10.0, 30.0) - crosswind.powi(2) / 200.0).abs() < 1e-3);
    assert_eq!(crosswind_bound(0.0, 10.0, 30.0), 0.0);
    assert_eq!(crosswind_bound(100.0, 0.0, 30.0), 0.0);
}
