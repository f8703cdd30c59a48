//! Channels that cannot be read, and the reasons for blanks, in every format.

use std::sync::Arc;

use serde_json::json;

use super::sample::{channel, small_flight};
use crate::flight::Flight;
use crate::geometry::PixelRect;
use crate::model::channel::Channel;
use crate::model::units::Unit;
use crate::output::{BlankReasons, report_html, summary_json, table, unread};
use crate::readings::{UnreadCause, UnreadChannel};
use crate::series::Blank;
use crate::setup::Region;

/// A command as the program gives it, in parts that stay on one line.
const COMMAND: [&str; 5] = [
    "pairspeed teach 'card/last flight.avi'",
    "--setup nose.setup.toml",
    "--say speed@4.20=...",
    "--say speed@12.40=...",
    "--say speed@31.07=...",
];

fn unread_channel(channel: Channel, cause: UnreadCause, label_at_s: &[f64]) -> UnreadChannel {
    UnreadChannel {
        channel,
        cause,
        setup_file: "nose.setup.toml".into(),
        clip: "card/last flight.avi".into(),
        label_at_s: label_at_s.to_vec(),
        command: (!label_at_s.is_empty()).then(|| COMMAND.map(str::to_owned).to_vec()),
    }
}

/// The small flight, in which the speed cannot be read.
fn flight_without_speed() -> Flight {
    let mut flight = small_flight();
    let speed = &mut Arc::make_mut(&mut flight.series).readings.channels[0];
    speed.values.fill(f64::NAN);
    speed.blank.fill(Blank::GlyphsUnknown);
    flight.legs.clear();
    flight.pairs.clear();
    flight.steps.clear();
    flight.legibility.unread =
        vec![unread_channel(Channel::Speed, UnreadCause::NoGlyphsFit, &[4.2, 12.4, 31.071])];
    flight
}

fn region(channel: Channel, unit: Option<Unit>) -> Region {
    Region::new(channel, PixelRect { left: 0, top: 0, width: 60, height: 20 }, unit)
}

#[test]
fn the_table_says_that_there_is_no_speed_why_and_what_to_do() {
    let text = table(&flight_without_speed());
    assert_eq!(
        format!("\n{text}"),
        "
No airspeed: the speed could not be read.

Channel speed is not read: no known glyphs match the text in its region, so there are no legs and no
  airspeed; label its readings in last flight.avi at 4.20 s, 12.40 s and 31.07 s (in the command,
  replace the dots with the text that the readout shows at that time), or mark its box again if the
  text stands elsewhere.
    pairspeed teach 'card/last flight.avi' --setup nose.setup.toml --say speed@4.20=... \\
      --say speed@12.40=... --say speed@31.07=...
speed: 0 of 3 frames read (0.0 %); left blank: 3 not legible with the known glyphs
voltage: 2 of 3 frames read (66.7 %); left blank: 1 no text in the region
Channel voltage: 33 % of the frames are left blank; main reason, in 1 of 1 blank frames: no text in
  the region. Check the region in the setup.
The second clip starts 0.4 s after the first ends.
"
    );
}

#[test]
fn a_region_that_shows_nothing_is_to_be_marked_again() {
    let voltage = unread_channel(Channel::Voltage, UnreadCause::RarelyReadable { share: 0.025 }, &[]);
    assert_eq!(
        unread::sentence(&voltage),
        "Channel voltage is not read: its region is readable in only 2.5 % of the sampled frames; leave this channel out of the setup, or mark \
         its box again if the text stands elsewhere."
    );
}

#[test]
fn without_a_command_its_dots_are_not_explained() {
    let mut speed = unread_channel(Channel::Speed, UnreadCause::NoGlyphsFit, &[4.2]);
    assert!(unread::sentence(&speed).contains(
        " at 4.20 s (in the command, replace the dots with the text that the readout shows at that time), or "
    ));
    speed.command = None;
    assert!(unread::sentence(&speed).contains("; label its readings in last flight.avi at 4.20 s, or mark "));
}

#[test]
fn the_summary_gives_the_cause_the_moments_and_the_command() {
    let mut flight = flight_without_speed();
    flight.legibility.unknown_digits.insert(Channel::Voltage, "47".to_owned());
    let summary: serde_json::Value = serde_json::from_slice(&summary_json(&flight).unwrap()).unwrap();
    let [speed, voltage] = [0, 1].map(|index| &summary["channels"][index]);
    let command = COMMAND.join(" ");
    assert_eq!(
        speed["unread"],
        json!({
            "cause": "no-glyphs-fit", "readable_share": 0.0, "clip": "card/last flight.avi",
            "label_at_s": [4.2, 12.4, 31.071], "command": command,
        })
    );
    assert_eq!(speed["blank"], json!({"glyphs-unknown": 3}));
    assert_eq!((&voltage["unread"], &voltage["unknown_digits"]), (&json!(null), &json!("47")));
    let note = summary["notes"][0].as_str().unwrap();
    assert!(note.starts_with("Channel speed is not read: ") && note.contains(&command), "{note}");
}

#[test]
fn the_report_says_it_right_below_the_answer() {
    let page = String::from_utf8(report_html(&flight_without_speed()).unwrap()).unwrap();
    let at = |words: &str| page.find(words).unwrap_or_else(|| panic!("{words} is missing: {page}"));
    assert!(at("No airspeed: the speed could not be read.") < at("Channel speed is not read: "));
    assert!(at("Channel speed is not read: ") < at("Speed over the flight"));
    assert!(page.contains("--say speed@12.40=..."));
    let whole = String::from_utf8(report_html(&small_flight()).unwrap()).unwrap();
    assert!(!whole.contains("Not read"));
}

#[test]
fn a_file_name_cannot_steer_the_terminal_through_the_command() {
    let mut flight = flight_without_speed();
    let clip = "a\u{1b}[2Jb.avi";
    flight.legibility.unread[0].clip = clip.into();
    flight.legibility.unread[0].command = Some(vec![format!("pairspeed teach {clip}")]);
    assert!(!table(&flight).contains('\u{1b}'));
}

#[test]
fn limits_say_whether_they_are_set_or_the_default() {
    let mut speed = region(Channel::Speed, Some(Unit::KilometresPerHour));
    let words = |region: &Region, blank| BlankReasons::of_region(region, "").words(blank);
    assert_eq!(
        words(&speed, Blank::OutOfRange),
        "outside 0 to 450 (default; to change it, set `range` in the setup)"
    );
    assert_eq!(
        words(&speed, Blank::Jump),
        "changing by more than 72 per second (default; to change it, set `max_rate` in the setup)"
    );
    (speed.range, speed.max_rate) = (Some((9.0, 26.5)), Some(5.0));
    assert_eq!(words(&speed, Blank::OutOfRange), "outside 9 to 26.5 (`range` in the setup)");
    assert_eq!(words(&speed, Blank::Jump), "changing by more than 5 per second (`max_rate` in the setup)");
    let own = region(Channel::Other("rssi".to_owned()), None);
    assert_eq!(words(&own, Blank::OutOfRange), "outside the plausible range");
    assert_eq!(words(&own, Blank::Jump), "changing too fast");
}

#[test]
fn unknown_digits_are_named() {
    let voltage = region(Channel::Voltage, None);
    assert_eq!(
        BlankReasons::of_region(&voltage, "047").words(Blank::DigitUnknown),
        "perhaps a digit that is not in the glyph set (missing: 0, 4, 7)"
    );
}

#[test]
fn the_main_reason_of_many_blanks_is_given_with_its_count_and_that_of_few_is_not() {
    let mut flight = small_flight();
    flight.setup.regions = vec![region(Channel::Speed, Some(Unit::KilometresPerHour))];
    let mut cells = vec![(60.0, 0.999, Blank::No); 70];
    cells.extend([(f64::NAN, 0.0, Blank::OutOfRange); 20]);
    cells.extend([(f64::NAN, 0.0, Blank::Unclear); 10]);
    let readings = &mut Arc::make_mut(&mut flight.series).readings;
    readings.time_s = (0..100).map(f64::from).collect();
    readings.channels = vec![channel(Channel::Speed, Some(Unit::KilometresPerHour), 0, &cells)];
    let said = "Channel speed: 30 % of the frames are left blank; main reason, in 20 of 30 blank frames: outside 0 to 450 (default; to change it, set `range` in the setup).";
    let text = table(&flight).replace("\n  ", " ");
    assert!(text.contains(said), "{text}");
    let reasons =
        "left blank: 20 outside 0 to 450 (default; to change it, set `range` in the setup), 10 not legible";
    assert!(text.contains(reasons), "{text}");
    Arc::make_mut(&mut flight.series).readings.channels[0].blank[70..90].fill(Blank::No);
    Arc::make_mut(&mut flight.series).readings.channels[0].values[70..90].fill(60.0);
    assert!(!table(&flight).contains("of the frames are left blank"));
}
