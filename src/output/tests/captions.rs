use std::sync::Arc;

use super::sample::{blank_flight, flight_without_units, long_flight, small_flight};
use crate::flight::Flight;
use crate::legs::LegKind;
use crate::model::channel::Channel;
use crate::output::captions_vtt;

/// One caption, as a strict parser reads it.
#[derive(Debug, PartialEq)]
struct ParsedCue {
    start_ms: u64,
    end_ms: u64,
    text: String,
}

/// Parses captions as strictly as W3C WebVTT, section 4, requires: signature line, blocks separated by blank
/// lines, `hh:mm:ss.ttt` on either side of ` --> `, end after start, starts not decreasing, and neither an
/// arrow nor an unescaped `&`, `<` or `>` in the text.
fn checked(flight: &Flight) -> Vec<ParsedCue> {
    let text = String::from_utf8(captions_vtt(flight).unwrap()).unwrap();
    let mut blocks = text.split("\n\n");
    assert_eq!(blocks.next(), Some("WEBVTT"));
    let cues: Vec<ParsedCue> = blocks.filter(|block| !block.starts_with("NOTE\n")).map(cue).collect();
    assert!(cues.windows(2).all(|two| two[0].start_ms <= two[1].start_ms), "{cues:?}");
    cues
}

fn cue(block: &str) -> ParsedCue {
    let (times, text) = block.split_once('\n').unwrap();
    let (start, end) = times.split_once(" --> ").unwrap();
    let (start_ms, end_ms) = (milliseconds(start), milliseconds(end));
    assert!(end_ms > start_ms, "{times}");
    let bare = text.replace("&amp;", "").replace("&lt;", "").replace("&gt;", "");
    assert!(!bare.contains(['&', '<', '>']), "{text}");
    assert!(!text.trim().is_empty());
    ParsedCue { start_ms, end_ms, text: text.trim_end().to_owned() }
}

fn milliseconds(timestamp: &str) -> u64 {
    let (whole, thousandths) = timestamp.split_once('.').unwrap();
    let parts: Vec<&str> = whole.split(':').collect();
    assert!(parts.len() == 3 && parts[0].len() >= 2 && thousandths.len() == 3, "{timestamp}");
    assert!(
        parts[1..].iter().all(|part| part.len() == 2 && part.parse::<u64>().unwrap() < 60),
        "{timestamp}"
    );
    let seconds = parts.iter().fold(0, |sum, part| sum * 60 + part.parse::<u64>().unwrap());
    seconds * 1000 + thousandths.parse::<u64>().unwrap()
}

#[test]
fn a_caption_shows_the_numbers_and_the_leg() {
    let cues = checked(&long_flight());
    let in_leg = cues.iter().find(|cue| cue.start_ms == 20_000).unwrap();
    assert_eq!(in_leg.text, "speed 61 km/h, pack 25.0 V, altitude 67 m\nupwind, 60 %");
    let in_turn = cues.iter().find(|cue| (cue.start_ms..cue.end_ms).contains(&45_000)).unwrap();
    assert!(!in_turn.text.contains('\n'), "{in_turn:?}");
}

#[test]
fn nothing_is_shown_while_nothing_is_trusted_or_no_frame_exists() {
    let mut flight = long_flight();
    flight.legs.clear();
    let cues = checked(&flight);
    let shown_at = |time_ms: u64| cues.iter().any(|cue| (cue.start_ms..cue.end_ms).contains(&time_ms));
    assert!(shown_at(149_000) && !shown_at(155_000) && !shown_at(203_000) && shown_at(206_100));
    assert_eq!(checked(&blank_flight()), []);
}

#[test]
fn equal_neighbours_are_one_caption() {
    let mut flight = small_flight();
    flight.legs.clear();
    Arc::make_mut(&mut flight.series).readings.time_s = vec![0.0, 0.6, 1.2];
    Arc::make_mut(&mut flight.series).speed_smooth = vec![60.0, 60.2, 74.0];
    Arc::make_mut(&mut flight.series).readings.channels.truncate(1);
    assert_eq!(
        checked(&flight),
        [
            ParsedCue { start_ms: 0, end_ms: 1000, text: "speed 60 km/h".into() },
            ParsedCue { start_ms: 1000, end_ms: 1500, text: "speed 74 km/h".into() },
        ]
    );
}

#[test]
fn an_unknown_number_is_left_out_and_without_units_only_names_distinguish_the_numbers() {
    let mut flight = flight_without_units();
    flight.legs[0].end_s = 1.0;
    assert_eq!(checked(&flight)[0].text, "speed 74, pack 23.0\nupwind, step 1");
    Arc::make_mut(&mut flight.series).speed_smooth.clear();
    assert_eq!(checked(&flight)[0].text, "pack 23.0\nupwind, step 1");
}

#[test]
fn hostile_times_and_numbers_still_give_valid_captions() {
    let mut flight = small_flight();
    Arc::make_mut(&mut flight.series).readings.time_s = vec![f64::NAN, 360_000.25, 1e300];
    Arc::make_mut(&mut flight.series).speed_smooth = vec![1e300; 3];
    let cues = checked(&flight);
    assert_eq!(cues.len(), 1, "{cues:?}");
    assert_eq!(cues[0].start_ms, 360_000_000);
    assert_eq!(cues[0].text, "speed 1.0e300 km/h, pack 23.0 V");
    Arc::make_mut(&mut flight.series).readings.time_s = vec![-5.0; 3];
    assert_eq!(checked(&flight), []);
}

#[test]
fn a_leg_of_no_known_throttle_or_step_is_named_by_its_kind() {
    let mut flight = small_flight();
    flight.legs.truncate(1);
    flight.legs[0].kind = LegKind::Unpaired;
    flight.legs[0].throttle_percent = None;
    flight.legs[0].step = None;
    flight.legs[0].end_s = 9.0;
    Arc::make_mut(&mut flight.series)
        .readings
        .channels
        .retain(|readings| readings.channel != Channel::Voltage);
    assert_eq!(checked(&flight)[0].text, "speed 74 km/h\nunpaired");
}
