//! Tests the check of readings over time: which values are kept, which are rejected, and why.
#![allow(clippy::unwrap_used, missing_docs)]

mod common;

use common::{Plan, Readout, fly};
use pairspeed::model::channel::Channel;
use pairspeed::model::units::Unit;
use pairspeed::series::{Blank, ChannelReadings, Gap, Readings, Series, trust};

/// Speed in km/h at 30 frames a second, each value shown for six frames.
fn held(values: &[f64]) -> Readings {
    frames(values.iter().flat_map(|value| [*value; 6]).collect())
}

fn frames(values: Vec<f64>) -> Readings {
    let blank = values.iter().map(|value| if value.is_nan() { Blank::Empty } else { Blank::No }).collect();
    let confidence = values.iter().map(|value| if value.is_nan() { 0.0 } else { 0.95 }).collect();
    Readings {
        time_s: (0..values.len()).map(|frame| frame as f64 / 30.0).collect(),
        channels: vec![ChannelReadings {
            channel: Channel::Speed,
            unit: Some(Unit::KilometresPerHour),
            decimals: 0,
            step: None,
            range: Some((0.0, 200.0)),
            max_rate: Some(40.0),
            values,
            confidence,
            blank,
        }],
        gaps: Vec::new(),
        lost: Vec::new(),
        crops: Default::default(),
    }
}

fn climbing(count: usize) -> Vec<f64> {
    (0..count).map(|update| 60.0 + (update % 7) as f64).collect()
}

fn speed(series: &Series) -> &ChannelReadings {
    series.readings.channel(&Channel::Speed).unwrap()
}

#[test]
fn all_right_readings_are_kept() {
    let readings = held(&climbing(60));
    let series = trust(readings.clone());
    assert_eq!(series.readings, readings);
    assert!((series.update_rate_hz.unwrap() - 5.0).abs() < 0.05, "{:?}", series.update_rate_hz);
}

#[test]
fn a_single_wrong_frame_within_a_hold_is_the_only_one_refused() {
    let mut readings = held(&climbing(60));
    readings.channels[0].values[100] = 64.5;
    let series = trust(readings);
    assert_eq!(speed(&series).blank[100], Blank::TooBrief);
    assert!(speed(&series).values[100].is_nan());
    assert_eq!(speed(&series).blank_counts().values().sum::<usize>(), 1);
}

#[test]
fn a_wrong_first_value_does_not_blank_the_right_ones() {
    let mut values = climbing(60);
    values[..3].fill(160.0);
    let series = trust(held(&values));
    assert!(speed(&series).blank[..18].iter().all(|reason| *reason == Blank::Jump));
    assert!(speed(&series).blank[18..].iter().all(|reason| *reason == Blank::No));
}

#[test]
fn if_a_value_is_misread_for_a_second_only_that_second_is_refused() {
    let mut values = climbing(60);
    values[30..35].iter_mut().for_each(|value| *value += 80.0);
    let series = trust(held(&values));
    for (frame, reason) in speed(&series).blank.iter().enumerate() {
        let misread = (180..210).contains(&frame);
        assert_eq!(*reason, if misread { Blank::Jump } else { Blank::No }, "frame {frame}");
    }
}

#[test]
fn only_the_time_of_a_drop_to_zero_is_refused() {
    let mut values = climbing(100);
    values[50..55].fill(0.0);
    let series = trust(held(&values));
    assert_eq!(speed(&series).blank_counts().get(&Blank::Jump), Some(&30));
}

#[test]
fn a_rate_limit_that_is_too_low_blanks_no_flight() {
    let mut readings = held(&[vec![10.0; 100], vec![90.0; 100]].concat());
    readings.channels[0].max_rate = Some(1.0);
    let series = trust(readings);
    assert!(speed(&series).blank_counts().is_empty(), "{:?}", speed(&series).blank_counts());
}

#[test]
fn values_outside_the_range_are_refused_as_such() {
    let mut readings = held(&climbing(60));
    readings.channels[0].values[60..66].fill(250.0);
    let series = trust(readings);
    assert_eq!(speed(&series).blank_counts().get(&Blank::OutOfRange), Some(&6));
}

#[test]
fn blanks_keep_their_reason() {
    let mut readings = held(&climbing(60));
    readings.channels[0].blank[40..50].fill(Blank::SignalLost);
    let series = trust(readings);
    assert_eq!(speed(&series).blank_counts().get(&Blank::SignalLost), Some(&10));
    assert!(speed(&series).values[40..50].iter().all(|value| value.is_nan()));
}

#[test]
fn simulated_misreadings_are_refused_and_right_ones_kept() {
    let plan = Plan { wrong_share: 0.03, ..Plan::default() };
    let flight = fly(&plan);
    let read = flight.readings.channel(&Channel::Speed).unwrap().clone();
    let series = trust(flight.readings);
    let (mut wrong, mut wrong_kept, mut right_lost) = (0, 0, 0);
    for (index, truth) in flight.shown_speed.iter().enumerate() {
        let (before, after) = (read.values[index], speed(&series).values[index]);
        // A value that the next or previous frame shows cannot be distinguished from a late or early change.
        let near = &flight.shown_speed[index.saturating_sub(1)..flight.shown_speed.len().min(index + 2)];
        wrong += usize::from(before.is_finite() && before != *truth);
        wrong_kept += usize::from(after.is_finite() && !near.contains(&after));
        right_lost += usize::from(before == *truth && after.is_nan());
    }
    assert!(wrong > 100, "{wrong}");
    assert!(wrong_kept * 50 < wrong, "{wrong_kept} of {wrong} misreadings kept");
    assert!(right_lost * 200 < flight.shown_speed.len(), "{right_lost} right readings lost");
}

#[test]
fn smooth_speed_follows_a_ramp_and_stays_blank_far_from_readings() {
    let mut values: Vec<f64> = (0..300).map(|frame| 60.0 + (f64::from(frame) / 6.0).floor()).collect();
    values[120..240].fill(f64::NAN);
    let series = trust(frames(values));
    // Frame 60 is two seconds after the start: the speed, which increases by 5 a second, has reached 70; the
    // display shows half a step less.
    assert!((series.speed_smooth[60] - 69.5).abs() < 0.6, "{}", series.speed_smooth[60]);
    assert!(series.speed_smooth[150].is_finite() && series.speed_smooth[180].is_nan());
}

#[test]
fn smooth_speed_is_not_averaged_across_a_gap() {
    let mut readings = held(&[vec![60.0; 25], vec![100.0; 25]].concat());
    readings.time_s[150..].iter_mut().for_each(|time| *time += 0.8);
    readings.gaps.push(Gap { start_s: readings.time_s[149], end_s: readings.time_s[150] });
    let series = trust(readings);
    assert!(
        (series.speed_smooth[149] - 60.0).abs() < 1e-9 && (series.speed_smooth[150] - 100.0).abs() < 1e-9
    );
}

#[test]
fn a_constant_throttle_is_dead_and_a_changing_one_is_not() {
    let dead = trust(fly(&Plan { throttle_readout: Readout::Dead, ..Plan::default() }).readings);
    assert_eq!(dead.dead, [Channel::Throttle]);
    let alive = trust(fly(&Plan { throttle_readout: Readout::Alive, ..Plan::default() }).readings);
    assert!(alive.dead.is_empty() && alive.alive(&Channel::Throttle).is_some());
}

#[test]
fn empty_short_and_inconsistent_readings_cause_no_panic() {
    for readings in [Readings::default(), frames(vec![]), frames(vec![60.0]), frames(vec![f64::NAN; 50])] {
        let count = readings.time_s.len();
        assert_eq!(trust(readings).speed_smooth.len(), count);
    }
    let mut uneven = held(&climbing(10));
    uneven.channels[0].values.truncate(5);
    uneven.channels[0].blank.truncate(7);
    uneven.channels[0].max_rate = Some(f64::NAN);
    uneven.time_s.fill(3.0);
    assert_eq!(trust(uneven).readings.channels[0].values.len(), 60);
}
