use super::*;
use crate::geometry::PixelRect;
use crate::series::{ChannelReadings, Crop};
use image::Luma;

const PLACE: PixelRect = PixelRect { left: 8, top: 8, width: 60, height: 24 };

/// A region with three bars for digits, each shifted by its digit; an empty region for an empty text.
fn patch(text: &str, time_s: f64) -> Patch {
    let mut frame = GrayImage::from_fn(80, 44, |x, y| Luma([(90 + (x + 2 * y) % 7) as u8]));
    for (place, digit) in (0..).zip(text.chars().filter_map(|digit| digit.to_digit(10))) {
        for (x, y) in (0..4).flat_map(|x| (0..16).map(move |y| (x, y))) {
            frame.put_pixel(10 + 18 * place + digit + x, 12 + y, Luma([240]));
        }
    }
    Patch::of(&frame, PLACE, time_s)
}

fn noise(time_s: f64) -> Patch {
    let frame =
        GrayImage::from_fn(80, 44, |x, y| Luma([((x + 80 * y).wrapping_mul(2_654_435_761) >> 24) as u8]));
    Patch::of(&frame, PLACE, time_s)
}

#[test]
fn frames_that_show_different_texts_are_proposed_and_none_without_a_text() {
    let shown = ["", "111", "111", "", "999", "111", "", "555", "999"];
    let mut patches: Vec<Patch> =
        shown.iter().zip(0..).map(|(text, at)| patch(text, f64::from(at))).collect();
    patches.push(noise(9.0));
    let times_s = times_to_label(&patches);
    assert_eq!(times_s.len(), 3, "{times_s:?}");
    assert!(times_s.is_sorted());
    let mut texts: Vec<&str> = times_s.iter().map(|time_s| shown[*time_s as usize]).collect();
    texts.sort_unstable();
    assert_eq!(texts, ["111", "555", "999"]);
}

#[test]
fn a_text_that_never_changes_is_proposed_once_and_an_empty_region_never() {
    let same: Vec<Patch> = (0..6).map(|at| patch("373", f64::from(at))).collect();
    assert_eq!(times_to_label(&same).len(), 1);
    let empty: Vec<Patch> = (0..6).map(|at| patch("", f64::from(at))).collect();
    assert_eq!(times_to_label(&empty), Vec::<f64>::new());
    assert_eq!(times_to_label(&[]), Vec::<f64>::new());
}

#[test]
fn times_are_given_from_the_first_frame_of_the_clip_that_holds_most_of_them() {
    let span =
        |name: &str, start_s| ClipSpan { path: name.into(), gap_before: None, start_s, first_index: None };
    let spans = [span("a.avi", 0.0), span("b.avi", 100.0)];
    assert_eq!(in_one_clip(&[4.0, 104.5, 130.0], &spans), ("b.avi".into(), vec![4.5, 30.0]));
    assert_eq!(in_one_clip(&[4.0, 104.5], &spans), ("a.avi".into(), vec![4.0]));
    assert_eq!(in_one_clip(&[], &spans), ("a.avi".into(), vec![]));
}

fn readout(channel: Channel) -> ChannelReadings {
    ChannelReadings {
        channel,
        unit: None,
        decimals: 0,
        step: None,
        range: None,
        max_rate: None,
        values: vec![60.0, f64::NAN, f64::NAN],
        confidence: vec![0.99, 0.0, 0.0],
        blank: vec![Blank::No, Blank::Empty, Blank::SignalLost],
    }
}

#[test]
fn a_channel_that_cannot_be_read_is_blank_throughout_and_the_others_stay() {
    let crop = |channel| Crop {
        channel,
        time_s: 0.0,
        value: 60.0,
        decimals: 0,
        confidence: 0.99,
        image: GrayImage::new(1, 1),
    };
    let mut readings = Readings {
        time_s: vec![0.0, 1.0, 2.0],
        channels: vec![readout(Channel::Speed), readout(Channel::Voltage)],
        ..Readings::default()
    };
    readings.crops.speed = vec![crop(Channel::Speed)];
    readings.crops.least_confident = vec![crop(Channel::Speed), crop(Channel::Voltage)];
    let legibility = ChannelLegibility {
        unread: vec![UnreadChannel {
            channel: Channel::Speed,
            cause: UnreadCause::RarelyReadable { share: 0.02 },
            setup_file: "nose.toml".into(),
            clip: "a.avi".into(),
            label_at_s: vec![],
            command: None,
        }],
        ..ChannelLegibility::default()
    };
    legibility.leave_blank(&mut readings);
    let [speed, voltage] = &readings.channels[..] else { unreachable!() };
    assert_eq!(speed.blank, [Blank::GlyphsUnknown, Blank::GlyphsUnknown, Blank::SignalLost]);
    assert!(speed.values.iter().all(|value| value.is_nan()) && speed.confidence == [0.0; 3]);
    assert_eq!(voltage.blank, readout(Channel::Voltage).blank);
    assert!(readings.crops.speed.is_empty());
    assert_eq!(readings.crops.least_confident, [crop(Channel::Voltage)]);
}
