//! Tests that the results are the same in any unit.
#![allow(clippy::unwrap_used, missing_docs)]

mod common;

use std::sync::Arc;

use common::{Plan, fly};
use pairspeed::airspeed::{Pair, pair};
use pairspeed::legs::{LegOptions, find};
use pairspeed::model::channel::Channel;
use pairspeed::model::units::{ResultUnits, Unit};
use pairspeed::series::{Series, trust};

fn series(units: &str) -> Arc<Series> {
    Arc::new(trust(fly(&Plan::default()).readings)).in_units(&ResultUnits::parse(units).unwrap())
}

fn pairs(series: &Series) -> Vec<Pair> {
    pair(&find(series, &LegOptions::default()).unwrap())
}

#[test]
fn every_unit_gives_the_same_airspeeds_and_intervals() {
    let shown = pairs(&series(""));
    assert_eq!(shown.len(), 6);
    for (list, unit) in [
        ("mph", Unit::MilesPerHour),
        ("kn,ft", Unit::Knots),
        ("m , m/s", Unit::MetresPerSecond),
        ("km/h", Unit::KilometresPerHour),
    ] {
        let series = series(list);
        assert_eq!(series.readings.channel(&Channel::Speed).unwrap().unit, Some(unit));
        for (one, other) in pairs(&series).iter().zip(&shown) {
            for (value, expected) in [
                (one.airspeed.value, other.airspeed.value),
                (one.airspeed.low, other.airspeed.low),
                (one.airspeed.high, other.airspeed.high),
                (one.wind, other.wind),
            ] {
                let expected = Unit::KilometresPerHour.convert(expected, unit).unwrap();
                assert!(
                    (value - expected).abs() < 1e-6 * expected.abs().max(1.0),
                    "{list}: {value} {expected}"
                );
            }
        }
    }
}

#[test]
fn heights_are_converted_with_their_own_unit() {
    let (metres, feet) = (series("mph"), series("mph,ft"));
    let altitude = |series: &Series| pairs(series)[0].altitude.unwrap();
    // NIST SP 811: 1 ft = 0.3048 m exactly.
    assert!((altitude(&feet) * 0.3048 - altitude(&metres)).abs() < 1e-9);
}

#[test]
fn an_unusable_list_of_units_is_refused_with_the_allowed_ones() {
    let message = |list| ResultUnits::parse(list).unwrap_err().to_string();
    assert!(message("furlong").contains("unknown unit \"furlong\""));
    assert_eq!(
        message("V"),
        "\"V\" measures neither a speed nor a height: use mph, km/h, kn or m/s, and ft or m"
    );
    assert_eq!(
        message("mph,kn"),
        "\"kn\" is a second unit for the same quantity: give one for speed and one for height"
    );
}
