//! Tests with arbitrary readings that the whole computation never panics and never gives a result that is not
//! a number.
#![allow(clippy::unwrap_used, missing_docs)]

use pairspeed::air::{GivenAir, Pressure, of_flight};
use pairspeed::airspeed::multileg::{GroundLeg, HeadingReference, air_and_wind};
use pairspeed::airspeed::{Crosswind, GivenWind, Wind, find_wind, pair_with, patterns, steps};
use pairspeed::legs::{GivenLeg, LegKind, LegOptions, LegSet, Note, find};
use pairspeed::model::channel::Channel;
use pairspeed::model::units::{ResultUnits, Unit};
use pairspeed::series::{Blank, ChannelReadings, Gap, Readings, trust};
use proptest::prelude::*;

fn channel(channel: Channel, unit: Option<Unit>, values: Vec<f64>) -> ChannelReadings {
    ChannelReadings {
        channel,
        unit,
        decimals: 0,
        step: None,
        range: None,
        max_rate: None,
        confidence: vec![0.9; values.len()],
        blank: vec![Blank::No; values.len()],
        values,
    }
}

/// Computes everything from the readings to the air; panics if a result is not a number.
fn whole_chain(readings: Readings, options: &LegOptions, wind: &GivenWind, air: &GivenAir) -> Option<LegSet> {
    let units = ResultUnits { speed: Some(Unit::MilesPerHour), length: Some(Unit::Feet) };
    let series = std::sync::Arc::new(trust(readings)).in_units(&units);
    let set = find(&series, options).ok()?;
    let found = find_wind(&series, &set, wind);
    let pairs = pair_with(&set, &Crosswind::from(found.as_ref()));
    for pair in &pairs {
        assert!(pair.airspeed.value.is_finite() && pair.wind.is_finite(), "{pair:?}");
        assert!(pair.airspeed.low <= pair.airspeed.high, "{pair:?}");
    }
    for step in steps(&pairs) {
        assert!(step.airspeed.low <= step.airspeed.high, "{step:?}");
    }
    for held in [HeadingReference::Track, HeadingReference::Heading] {
        for pattern in patterns(&set, held) {
            assert!(pattern.airspeed.value > pattern.wind && pattern.airspeed.low <= pattern.airspeed.high);
        }
    }
    let air = of_flight(&series, &set.legs, air);
    assert!(air.at_legs.is_none_or(|air| air.density_kg_m3() > 0.0), "{air:?}");
    assert!(
        !set.pairs.is_empty() || !set.patterns.is_empty() || !set.notes.is_empty(),
        "no pairs and no notes"
    );
    Some(set)
}

/// Arbitrary numbers: mostly sensible, some absurd.
fn any_reading() -> impl Strategy<Value = f64> {
    prop_oneof![
        8 => 0.0..150.0f64,
        2 => Just(70.0),
        1 => Just(f64::NAN),
        1 => Just(f64::INFINITY),
        1 => Just(-1e300),
        1 => Just(0.0),
        1 => any::<f64>(),
    ]
}

/// A channel's readings, each value held for some time.
fn stretches() -> impl Strategy<Value = Vec<f64>> {
    prop::collection::vec((any_reading(), 1..120usize), 0..25).prop_map(|runs| {
        runs.into_iter().flat_map(|(value, frames)| std::iter::repeat_n(value, frames)).collect()
    })
}

fn any_given_leg() -> impl Strategy<Value = GivenLeg> {
    let kind =
        prop::sample::select(vec![LegKind::Upwind, LegKind::Downwind, LegKind::Unpaired, LegKind::Leg]);
    (0.0..100.0f64, 0.0..20.0f64, kind)
        .prop_map(|(start_s, length_s, kind)| GivenLeg::new(start_s, start_s + length_s, kind))
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 512, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_readings_are_processed_without_a_panic(
        speed in stretches(),
        altitude in stretches(),
        heading in stretches(),
        voltage in stretches(),
        throttle in stretches(),
        given in prop::option::of(prop::collection::vec(any_given_leg(), 0..8)),
        gap in prop::option::of((0.0..60.0f64, 0.0..10.0f64)),
        wind in prop::option::of((0.0..60.0f64, -720.0..720.0f64)),
        elevation in prop::option::of(any_reading()),
        temperature in prop::option::of(any_reading()),
        pressure in prop::option::of(any_reading()),
    ) {
        let time_s: Vec<f64> = (0..speed.len()).map(|frame| frame as f64 / 25.0).collect();
        let readings = Readings {
            time_s,
            channels: vec![
                channel(Channel::Speed, Some(Unit::KilometresPerHour), speed),
                channel(Channel::Altitude, Some(Unit::Metres), altitude),
                channel(Channel::Heading, Some(Unit::Degrees), heading),
                channel(Channel::Voltage, Some(Unit::Volts), voltage),
                channel(Channel::Throttle, Some(Unit::Percent), throttle),
            ],
            gaps: gap.map(|(start_s, length_s)| Gap { start_s, end_s: start_s + length_s }).into_iter().collect(),
            lost: Vec::new(), crops: Default::default(),
        };
        let options = LegOptions { given, ..LegOptions::default() };
        let wind = wind.map(|(speed_mps, from_deg)| Wind { speed_mps, from_deg });
        let wind = GivenWind { wind, course_deg: Some(10.0), heading_reference: HeadingReference::Track };
        let air = GivenAir {
            field_elevation_m: elevation,
            temperature_k: temperature,
            pressure: pressure.map(Pressure::SeaLevel),
            datum: None,
        };
        whole_chain(readings, &options, &wind, &air);
    }

    #[test]
    fn three_and_more_legs_give_a_plausible_airspeed_or_none(
        legs in prop::collection::vec((any_reading(), -1e4..1e4f64), 0..8),
    ) {
        let legs: Vec<GroundLeg> =
            legs.into_iter().map(|(speed, direction_deg)| GroundLeg { speed, direction_deg }).collect();
        for held in [HeadingReference::Track, HeadingReference::Heading] {
            if let Some(air) = air_and_wind(&legs, held) {
                prop_assert!(air.airspeed.is_finite() && air.airspeed > air.wind && air.wind >= 0.0);
                prop_assert!((0.0..=360.0).contains(&air.wind_from_deg));
            }
        }
    }
}

fn without_options(readings: Readings) -> LegSet {
    whole_chain(readings, &LegOptions::default(), &GivenWind::default(), &GivenAir::default()).unwrap()
}

fn speeds(values: Vec<f64>) -> Readings {
    Readings {
        time_s: (0..values.len()).map(|frame| frame as f64 / 25.0).collect(),
        channels: vec![channel(Channel::Speed, Some(Unit::KilometresPerHour), values)],
        gaps: Vec::new(),
        lost: Vec::new(),
        crops: Default::default(),
    }
}

#[test]
fn notes_name_what_is_missing() {
    assert_eq!(without_options(Readings::default()).notes, [Note::SpeedNotMarked]);
    assert!(without_options(speeds(Vec::new())).notes.contains(&Note::NoTrustedSpeed));
    assert!(without_options(speeds(vec![f64::NAN; 3000])).notes.contains(&Note::NoTrustedSpeed));
    assert!(without_options(speeds(vec![70.0; 3000])).notes.contains(&Note::ConstantSpeed));
    let rising: Vec<f64> = (0..3000).map(|frame| f64::from(frame / 10).round()).collect();
    let set = without_options(speeds(rising));
    // The speed increases by 2.5 km/h each second for two minutes. While that is a large share of the speed,
    // no leg is called steady.
    let slow = set.legs.iter().filter(|leg| leg.speed_median < 140.0);
    assert!(slow.clone().count() > 2);
    assert_eq!(slow.clone().find(|leg| leg.flags.is_empty()), None);
}
