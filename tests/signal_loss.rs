//! Tests that nothing is read while the signal is lost, and that the loss is reported.
#![allow(clippy::unwrap_used)]

mod common;

use image::{GrayImage, Luma};
use pairspeed::glyphs::{Face, builtin_sets};
use pairspeed::readings::lost_sentences;
use pairspeed::series::{Blank, Readings, SignalLossKind};

const FRAMES: u32 = 200;

/// Lost frames: from 3.2 s after the first frame on, for 1.6 s.
const LOST: std::ops::Range<u32> = 80..120;

/// A flight whose frames in [`LOST`] are replaced by the result of `lost`, which gets the frame's number and
/// a function that draws the original frame.
fn flight(lost: impl Fn(u32, &dyn Fn(u32) -> GrayImage) -> GrayImage) -> Readings {
    let sets = builtin_sets().unwrap();
    let face: &Face = sets[0].faces.first().unwrap();
    let seen = |number: u32| {
        let text = (8 + number / 5 * 3).to_string();
        common::written(face, 3, &text, number)
    };
    let frame = |number| if LOST.contains(&number) { lost(number, &seen) } else { seen(number) };
    common::read_frames(common::SPEED_SETUP, &sets[..1], (0..FRAMES).map(frame).collect())
}

/// Numbers of the frames whose readings are blank because of signal loss.
fn without_picture(readings: &Readings) -> Vec<u32> {
    let blank = readings.channels[0].blank.iter().zip(0..);
    blank.filter(|(blank, _)| **blank == Blank::SignalLost).map(|(_, number)| number).collect()
}

fn losses(readings: &Readings) -> Vec<(SignalLossKind, usize)> {
    readings.lost.iter().map(|lost| (lost.kind, lost.frames)).collect()
}

#[test]
fn static_is_distinguished_from_a_picture() {
    let readings = flight(|number, _| {
        GrayImage::from_fn(220, 90, |x, y| {
            let mixed = (x + 220 * y + 19_800 * number).wrapping_mul(2_654_435_761);
            Luma([((mixed ^ (mixed >> 15)).wrapping_mul(2_246_822_519) >> 24) as u8])
        })
    });
    assert_eq!(losses(&readings), [(SignalLossKind::Static, LOST.len())]);
    assert_eq!(without_picture(&readings), LOST.collect::<Vec<_>>());
    assert_eq!(
        lost_sentences(&readings),
        ["The video signal is lost from 3.2 s to 4.8 s: the recording shows static."]
    );
}

#[test]
fn a_blue_or_black_screen_is_signal_loss() {
    for level in [16, 41] {
        let readings = flight(|_, _| GrayImage::from_pixel(220, 90, Luma([level])));
        assert_eq!(losses(&readings), [(SignalLossKind::Empty, LOST.len())]);
        assert_eq!(without_picture(&readings), LOST.collect::<Vec<_>>());
    }
}

#[test]
fn a_frame_repeated_for_long_is_read_once() {
    let readings = flight(|_, seen| seen(LOST.start));
    assert_eq!(losses(&readings), [(SignalLossKind::Frozen, LOST.len() - 1)]);
    assert_eq!(without_picture(&readings), (LOST.start + 1..LOST.end).collect::<Vec<_>>());
    assert!(lost_sentences(&readings)[0].contains("the image is frozen"));
}

#[test]
fn readouts_on_a_black_bar_may_stay_constant() {
    let sets = builtin_sets().unwrap();
    let face = sets[0].faces.first().unwrap();
    let bare = |number: u32| {
        let text = (8 + number / 40 * 3).to_string();
        let mut frame = GrayImage::from_pixel(220, 90, Luma([16]));
        common::write(&mut frame, face, 3, &text);
        frame
    };
    let readings = common::read_frames(common::SPEED_SETUP, &sets[..1], (0..FRAMES).map(bare).collect());
    assert_eq!(losses(&readings), []);
    assert_eq!(without_picture(&readings), Vec::<u32>::new());
}

#[test]
fn a_flight_without_a_loss_has_none() {
    let readings = flight(|number, seen| seen(number));
    assert_eq!(losses(&readings), []);
    assert_eq!(lost_sentences(&readings), Vec::<String>::new());
}
