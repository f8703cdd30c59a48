//! The warnings about a leg.
#![allow(clippy::unwrap_used, missing_docs)]

mod common;

use common::{Plan, fly};
use pairspeed::legs::{GivenLeg, LegKind, LegOptions, LegSet, find};
use pairspeed::model::channel::Channel;
use pairspeed::model::units::Unit;
use pairspeed::series::{Blank, ChannelReadings, Readings, trust};

/// One steady leg of 10 s at 90 km/h, with a change to its readings.
fn one_leg(change: impl Fn(&mut Readings), options: LegOptions) -> LegSet {
    let plan =
        Plan { whole_flight: false, leg_s: (10.0, 10.0), gust: 0.0, wind_walk: 0.0, ..Plan::default() };
    let mut readings = fly(&plan).readings;
    change(&mut readings);
    let legs = vec![GivenLeg::new(3.0, 10.0, LegKind::Leg)];
    find(&trust(readings), &LegOptions { given: Some(legs), ..options }).unwrap()
}

fn flags(set: &LegSet) -> String {
    set.legs[0].flags.iter().map(|flag| flag.0.as_str()).collect::<Vec<&str>>().join("; ")
}

/// Replaces or adds a channel that shows `value` at each time.
fn show(
    readings: &mut Readings,
    channel: &Channel,
    unit: Option<Unit>,
    decimals: u8,
    value: impl Fn(f64) -> f64,
) {
    readings.channels.retain(|readout| readout.channel != *channel);
    let frames = readings.time_s.len();
    let scale = 10f64.powi(i32::from(decimals));
    readings.channels.push(ChannelReadings {
        channel: channel.clone(),
        unit,
        decimals,
        step: None,
        range: None,
        max_rate: None,
        values: readings.time_s.iter().map(|time_s| (value(*time_s) * scale).round() / scale).collect(),
        confidence: vec![0.99; frames],
        blank: vec![Blank::No; frames],
    });
}

#[test]
fn a_good_leg_has_no_flag() {
    assert_eq!(flags(&one_leg(|_| {}, LegOptions::default())), "");
}

#[test]
fn a_descent_is_flagged_with_the_speed_it_explains() {
    // dV = g dh / V: 14 m at the leg's ground speed of about 17 m/s (airspeed 20, wind 3) is 8 m/s, 29 km/h.
    let falling = |readings: &mut Readings| {
        show(readings, &Channel::Altitude, Some(Unit::Metres), 0, |time_s| 60.0 - 2.0 * time_s);
    };
    let text = flags(&one_leg(falling, LegOptions::default()));
    assert!(
        text.starts_with("the height falls by 14, which explains a speed that is higher by up to "),
        "{text}"
    );
    let explained_kmh: f64 = text.split_whitespace().nth(15).unwrap().parse().unwrap();
    assert!((explained_kmh - 9.80665 * 14.0 / 17.0 * 3.6).abs() < 2.5, "{text}");
}

#[test]
fn few_satellites_are_flagged() {
    let few = |readings: &mut Readings| show(readings, &Channel::Satellites, None, 0, |_| 5.0);
    assert_eq!(flags(&one_leg(few, LegOptions::default())), "few satellites: 5");
    let many = |readings: &mut Readings| show(readings, &Channel::Satellites, None, 0, |_| 12.0);
    assert_eq!(flags(&one_leg(many, LegOptions::default())), "");
}

#[test]
fn a_pack_below_the_limit_is_flagged() {
    // Six cells according to their highest voltage; the usual landing limit is 3.5 V a cell.
    let low = |readings: &mut Readings| {
        show(
            readings,
            &Channel::Voltage,
            Some(Unit::Volts),
            1,
            |time_s| if time_s < 2.0 { 24.9 } else { 20.4 },
        );
    };
    assert_eq!(flags(&one_leg(low, LegOptions::default())), "pack voltage 20.4 V, below the limit of 21.0 V");
    let options = LegOptions { min_voltage_v: Some(19.8), ..LegOptions::default() };
    assert_eq!(flags(&one_leg(low, options)), "");
}

#[test]
fn a_speed_that_keeps_changing_is_not_steady_and_gusts_rarely_count_as_such() {
    let change = |set: &LegSet| flags(set).contains("not steady");
    let rising = |readings: &mut Readings| {
        show(readings, &Channel::Speed, Some(Unit::KilometresPerHour), 0, |time_s| 60.0 + 2.0 * time_s);
    };
    assert!(change(&one_leg(rising, LegOptions::default())));
    let (mut legs, mut flagged) = (0, 0);
    for seed in 0..100 {
        let flight = fly(&Plan::of_some_day(3_000_000 + seed));
        let set = find(&trust(flight.readings), &LegOptions::default()).unwrap();
        legs += set.legs.len();
        let not_steady =
            |leg: &&pairspeed::legs::Leg| leg.flags.iter().any(|flag| flag.0.contains("not steady"));
        flagged += set.legs.iter().filter(not_steady).count();
    }
    println!("{flagged} of {legs} legs are called not steady");
    assert!(flagged * 20 < legs, "{flagged} of {legs}");
}
