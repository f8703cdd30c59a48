//! A channel that cannot be read is named, together with the command that labels its readings, and the other
//! channels are shown.

use std::path::PathBuf;
use std::sync::Arc;

use egui_kittest::kittest::Queryable as _;
use pairspeed::model::channel::Channel;
use pairspeed::readings::{UnreadCause, UnreadChannel};
use pairspeed::series::{Blank, trust};
use pairspeed::{ReadOptions, work_out};
use pairspeed_window::Finished;

use super::common::{Plan, fly, record};
use super::driving::{Sitting, app_with};

/// A simulated flight in which one channel cannot be read.
fn without(channel: &Channel) -> Finished {
    let unread = UnreadChannel {
        channel: channel.clone(),
        cause: UnreadCause::NoGlyphsFit,
        setup_file: "nose.setup.toml".into(),
        clip: "flight.avi".into(),
        label_at_s: vec![4.2, 12.4],
        command: None,
    };
    let mut readings = fly(&Plan::default()).readings;
    for readout in readings.channels.iter_mut().filter(|readout| readout.channel == *channel) {
        readout.values.fill(f64::NAN);
        readout.confidence.fill(0.0);
        readout.blank.fill(Blank::GlyphsUnknown);
    }
    let mut record = record(readings.clone());
    record.series = std::sync::Arc::new(trust(readings));
    record.legibility.unread = vec![unread];
    let flight = work_out(record.clone(), &ReadOptions::default()).unwrap();
    Finished { flight, record: Arc::new(record), options: ReadOptions::default(), folder: PathBuf::new() }
}

fn shows(sitting: &Sitting, words: &str) -> bool {
    sitting.window.query_all_by_label_contains(words).next().is_some()
}

#[test]
fn a_flight_without_speed_says_so_and_shows_how_to_teach_it() {
    let home = tempfile::tempdir().unwrap();
    let sitting = app_with(Vec::new(), without(&Channel::Speed), &home);
    assert!(shows(&sitting, "No airspeed: the speed could not be read."));
    assert!(shows(&sitting, "Channel speed is not read: no known glyphs match"));
    assert!(shows(&sitting, "label its readings in flight.avi at 4.20 s and 12.40 s, or mark"));
    assert!(shows(&sitting, "voltage V against time"), "the other channels are shown");
}

#[test]
fn a_flight_without_voltage_has_its_airspeeds_and_names_the_voltage() {
    let home = tempfile::tempdir().unwrap();
    let finished = without(&Channel::Voltage);
    assert!(!finished.flight.pairs.is_empty());
    let sitting = app_with(Vec::new(), finished, &home);
    assert!(!shows(&sitting, "No airspeed"));
    assert!(shows(&sitting, "Channel voltage is not read: no known glyphs match"));
    assert!(shows(&sitting, "Next: teach the digits on the Digits page."));
}
