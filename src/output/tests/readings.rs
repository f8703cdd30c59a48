//! The readings in the summary and in the report: the longest blanks and the confidence.

use std::sync::Arc;

use serde_json::{Value, json};

use super::sample::{channel, small_flight};
use crate::flight::Flight;
use crate::model::channel::Channel;
use crate::output::{report_html, summary_json};
use crate::series::Blank;

/// A flight with one frame per second, in which only the speed has a region.
fn flight_of(cells: &[(f64, f32, Blank)]) -> Flight {
    let mut flight = small_flight();
    let readings = &mut Arc::make_mut(&mut flight.series).readings;
    readings.time_s = (0..cells.len() as u32).map(f64::from).collect();
    readings.channels = vec![channel(Channel::Speed, None, 0, cells)];
    Arc::make_mut(&mut flight.series).speed_smooth = vec![60.0; cells.len()];
    flight
}

/// A flight with one frame for each letter: `r` for a reading, other letters for blanks.
fn flight_spelt(frames: &str) -> Flight {
    let cell = |letter| match letter {
        'L' => (f64::NAN, 0.0, Blank::SignalLost),
        'U' => (f64::NAN, 0.0, Blank::Unclear),
        'E' => (f64::NAN, 0.0, Blank::Empty),
        'J' => (f64::NAN, 0.0, Blank::Jump),
        _ => (60.0, 0.999, Blank::No),
    };
    flight_of(&frames.chars().map(cell).collect::<Vec<_>>())
}

fn speed_in_summary(flight: &Flight) -> Value {
    let mut summary: Value = serde_json::from_slice(&summary_json(flight).unwrap()).unwrap();
    summary["channels"][0].take()
}

#[test]
fn the_five_longest_blanks_are_named_with_the_reason_of_most_of_their_frames() {
    let flight = flight_spelt("LrUUrEEErUUELrJJJJJrEEEEEErLLLLLLLL");
    let stretch = |start_s: f64, end_s: f64, frames: u32, reason: &str| json!({"start_s": start_s, "end_s": end_s, "frames": frames, "reason": reason});
    // A blank interval lasts until the next frame that is read; at the end of the flight, until the last
    // frame.
    assert_eq!(
        speed_in_summary(&flight)["longest_blanks"],
        json!([
            stretch(27.0, 34.0, 8, "signal-lost"),
            stretch(20.0, 26.0, 6, "empty"),
            stretch(14.0, 19.0, 5, "jump"),
            stretch(9.0, 13.0, 4, "unclear"),
            stretch(5.0, 8.0, 3, "empty"),
        ])
    );
    let page = String::from_utf8(report_html(&flight).unwrap()).unwrap();
    assert!(page.contains("7.0 s, from 0:27: signal lost"), "{page}");
}

#[test]
fn a_channel_read_throughout_has_no_blank_and_one_never_read_is_a_single_one() {
    assert_eq!(speed_in_summary(&flight_spelt("rrr"))["longest_blanks"], json!([]));
    let never = speed_in_summary(&flight_spelt("UUU"));
    let whole = json!([{"start_s": 0.0, "end_s": 2.0, "frames": 3, "reason": "unclear"}]);
    assert_eq!(never["longest_blanks"], whole);
}

#[test]
fn every_trusted_reading_falls_into_one_class_of_confidence_its_lower_end_included() {
    let trusted =
        [0.5, 0.949, 0.95, 0.99, 0.9989, 0.999, 1.0].map(|confidence| (60.0, confidence, Blank::No));
    let blank = [Blank::Unclear, Blank::SignalLost, Blank::Jump].map(|blank| (f64::NAN, 0.0, blank));
    let speed = speed_in_summary(&flight_of(&[&trusted[..], &blank].concat()));
    assert_eq!(
        speed["confidence"],
        json!({
            "below_threshold": 1, "under_0_95": 2, "from_0_95_to_0_99": 1, "from_0_99_to_0_999": 2,
            "from_0_999": 2,
        })
    );
    assert_eq!((&speed["frames"], &speed["read"]), (&10.into(), &7.into()));
}
