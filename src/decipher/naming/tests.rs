//! A flight of two throttle steps with legs upwind and downwind, as five readouts show it.

use super::*;
use crate::decipher::{DecipheredText, Words};
use crate::geometry::PixelRect;
use crate::model::units::Unit;

/// A readout that shows `value` of the time in seconds, once a second for two minutes.
fn readout(decimals: usize, value: impl Fn(f64) -> f64) -> DecipheredReadout {
    let text = |second: u32| {
        let time_s = f64::from(second);
        let text = format!("{:.decimals$}", value(time_s));
        DecipheredText { time_s, character_probabilities: vec![0.98; text.len()], text, probability: 0.98 }
    };
    DecipheredReadout {
        rect: PixelRect::new(0, 0, 60, 30),
        texts: (0..120).map(text).collect(),
        separator: (decimals > 0).then_some('.'),
        decimals: decimals as u8,
        digits: 4,
        labels: Vec::new(),
        words: Words::default(),
    }
}

fn throttle(time_s: f64) -> f64 {
    match time_s {
        time_s if time_s < 10.0 => 0.0,
        time_s if time_s < 65.0 => 60.0,
        _ => 90.0,
    }
}

/// Ground speed for the throttle, with a wind of 12 along legs of 14 seconds.
fn speed(time_s: f64) -> f64 {
    let wind = if ((time_s / 14.0) as u32).is_multiple_of(2) { -12.0 } else { 12.0 };
    if time_s < 10.0 { 0.0 } else { 30.0 + 0.5 * throttle(time_s) + wind + (time_s * 1.7).sin() }
}

fn altitude(time_s: f64) -> f64 {
    340.0 + 15.0 * (time_s / 9.0).sin()
}

fn voltage(time_s: f64) -> f64 {
    16.7 - 0.006 * time_s - 0.008 * throttle(time_s)
}

fn satellites(time_s: f64) -> f64 {
    if time_s < 50.0 { 11.0 } else { 13.0 }
}

fn names(readouts: &[DecipheredReadout]) -> Vec<String> {
    let guesses = name_channels(&readouts.iter().collect::<Vec<_>>());
    guesses.iter().map(|guess| guess.channel.name().to_owned()).collect()
}

#[test]
fn the_channels_of_a_flight_are_recognised_by_their_behaviour() {
    let readouts = [
        readout(0, altitude),
        readout(0, satellites),
        readout(1, voltage),
        readout(0, speed),
        readout(0, throttle),
    ];
    assert_eq!(names(&readouts), ["altitude", "satellites", "voltage", "speed", "throttle"]);
}

#[test]
fn single_misread_values_do_not_rule_a_channel_out() {
    let mut misread = readout(0, speed);
    misread.texts[40].text = "-95".to_owned();
    assert_eq!(
        names(&[readout(0, throttle), misread, readout(0, altitude)]),
        ["throttle", "speed", "altitude"]
    );
}

#[test]
fn a_clock_and_a_readout_without_values_get_no_known_channel() {
    let mut clock = readout(0, |time_s| time_s);
    clock.separator = Some(':');
    for (second, text) in clock.texts.iter_mut().enumerate() {
        text.text = format!("{}:{:02}", second / 60, second % 60);
    }
    let mut empty = readout(0, altitude);
    empty.texts.truncate(3);
    assert_eq!(names(&[clock, empty]), ["clock", "channel-1"]);
}

#[test]
fn probabilities_of_a_clear_flight_are_high_and_reasons_are_given() {
    let guesses = name_channels(&[&readout(1, voltage), &readout(0, throttle), &readout(0, speed)]);
    for guess in guesses {
        assert!(guess.probability > 0.8 && !guess.reasons.is_empty(), "{guess:?}");
    }
}

#[test]
fn a_reason_of_two_rules_is_given_once() {
    let high = readout(0, |time_s| 1420.0 + 20.0 * (time_s / 30.0).sin());
    let reasons = name_channels(&[&high]).remove(0).reasons;
    let ranges = reasons.iter().filter(|reason| matches!(reason, Reason::Range(..))).count();
    assert_eq!(ranges, 1, "{reasons:?}");
}

#[test]
fn a_unit_beside_a_readout_outweighs_its_behaviour() {
    let with_unit = |unit| DecipheredReadout {
        words: Words { unit: Some(unit), caption: None },
        ..readout(0, |time_s| 60.0 + 30.0 * (time_s / 7.0).sin())
    };
    assert_eq!(names(&[with_unit(Unit::MilesPerHour)]), ["speed"]);
    assert_eq!(names(&[with_unit(Unit::Feet)]), ["altitude"]);
    assert_eq!(names(&[with_unit(Unit::MilliampereHours)]), ["channel-1"]);
}

#[test]
fn a_label_names_a_readout_that_never_changes() {
    let constant =
        |caption| DecipheredReadout { words: Words { unit: None, caption }, ..readout(0, |_| 12.0) };
    assert_eq!(names(&[constant(Some(("sat", Channel::Satellites)))]), ["satellites"]);
}
