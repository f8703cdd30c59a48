//! The frames of a scenario: seeds, fields, signal loss and frozen frames, drift, time stamps.

#![allow(clippy::unwrap_used)]

use clip_generator::{Frame, FrameSource, RecordedFrame, RenderedFrame, Scenario};

/// A short flight with two values over the salt flat; `rest` adds tables.
fn source(seed: u32, field_keys: &str, rest: &str) -> FrameSource {
    let text = format!(
        "name = \"short\"\nseed = {seed}\n\
         [airframe]\nairspeed_mps = [[50, 20], [100, 40]]\n\
         [flight]\nthrottle_percent = [60]\nleg_s = 4\nturn_s = 2\nbefore_launch_s = 0\nclimb_s = 0\nlanding_s = 0\n\
         [overlay]\nupdate_hz = 12.8\n\
         [[overlay.field]]\nchannel = \"speed\"\nposition = [40, 60]\nwidth = 4\ndecimals = 1\n\
         font = \"round\"\nheight_px = 30\n{field_keys}\
         [[overlay.field]]\nchannel = \"satellites\"\nposition = [200, 60]\nwidth = 2\n\
         font = \"block\"\nheight_px = 30\n{rest}"
    );
    FrameSource::new(&Scenario::from_toml(&text).unwrap()).unwrap()
}

fn small(frame_rate: u32) -> String {
    format!("[video]\nwidth = 320\nheight = 160\nframe_rate = {frame_rate}\n")
}

fn shots(source: &FrameSource) -> &[RecordedFrame] {
    &source.recordings()[0].shots
}

fn all_frames(source: &FrameSource) -> Vec<RenderedFrame> {
    source.frames(shots(source))
}

fn row(frame: &Frame, row: usize) -> &[u8] {
    &frame.luma[row * frame.width..(row + 1) * frame.width]
}

const EVERYTHING: &str = "[degradation]\nnoise = 8\nblur_px = 1\nline_shift_px = 1\ngain_flutter = 0.05\n\
    echo = { delay_px = 5, strength = 0.2 }\nlost_lines = { bursts_per_s = 3, lines = 20 }\n\
    composite = \"pal\"\ninterlaced = true\noverlay_drift_px = 2\ncamera_blur_px = 1\n\
    signal_loss = [{ start_s = 1, length_s = 0.5, look = \"static\" }]\n";

#[test]
fn one_seed_gives_the_same_bytes_twice_and_another_seed_gives_others() {
    let made = |seed| {
        let source = source(seed, "", &format!("{EVERYTHING}{}", small(10)));
        all_frames(&source)
    };
    let (first, again, other) = (made(3), made(3), made(4));
    assert!(first.len() > 50 && first.len() == again.len());
    for (index, (first, again)) in first.iter().zip(&again).enumerate() {
        assert!(first.frame == again.frame && first.texts == again.texts, "frame {index}");
    }
    let differing = first.iter().zip(&other).filter(|(first, other)| first.frame != other.frame);
    assert_eq!(differing.count(), first.len().min(other.len()));
}

#[test]
fn a_frame_does_not_depend_on_the_frames_made_before_it() {
    let source = source(3, "", &format!("{EVERYTHING}{}", small(10)));
    let shot = &shots(&source)[33];
    assert!(source.frame(shot).frame == all_frames(&source)[33].frame);
}

#[test]
fn an_interlaced_frame_has_the_images_and_texts_of_two_times_on_alternate_rows() {
    // Both frame rates have exact periods, so that the fields of the interlaced clip are the frames of the
    // other one.
    let interlaced = source(3, "", &format!("[degradation]\ninterlaced = true\n{}", small(32)));
    let fields = source(3, "", &small(64));
    let mut mixed = 0;
    for index in (0..40).chain(100..120) {
        let frame = interlaced.frame(&shots(&interlaced)[index]);
        let [first, second] = [0, 1].map(|field| fields.frame(&shots(&fields)[2 * index + field]));
        for y in 0..frame.frame.height {
            let whole = if y % 2 == 0 { &first.frame } else { &second.frame };
            assert!(row(&frame.frame, y) == row(whole, y), "frame {index} row {y}");
        }
        for (text, (first, second)) in frame.texts.iter().zip(first.texts.iter().zip(&second.texts)) {
            if first == second {
                assert_eq!(text, first);
            } else {
                assert_eq!(*text, format!("{first}|{second}"));
                mixed += 1;
            }
        }
    }
    assert!(mixed > 3, "only {mixed} texts changed between the fields");
}

#[test]
fn no_text_is_readable_while_the_signal_is_lost_and_all_before_and_after() {
    let usual = all_frames(&source(3, "", &small(10)));
    for look in ["static", "blue", "black"] {
        let lost = format!(
            "[degradation]\nsignal_loss = [{{ start_s = 1.0, length_s = 0.5, look = \"{look}\" }}]\n"
        );
        let with = source(3, "", &format!("{lost}{}", small(10)));
        for (shot, (with, without)) in shots(&with).iter().zip(all_frames(&with).iter().zip(&usual)) {
            if (1.0..1.5).contains(&(shot.flight_s + 1e-9)) {
                assert_eq!(with.texts, ["", ""], "{look} at {} s", shot.flight_s);
                assert!(with.frame != without.frame);
            } else {
                assert!(with.texts == without.texts && with.frame == without.frame);
                assert!(with.texts.iter().all(|text| !text.is_empty()));
            }
        }
    }
}

#[test]
fn a_frozen_picture_repeats_one_frame_and_its_text_with_its_noise() {
    let rest =
        "[degradation]\nnoise = 10\nsignal_loss = [{ start_s = 1.2, length_s = 2.0, look = \"frozen\" }]\n";
    for rate in [10, 30] {
        let source = source(3, "", &format!("{rest}{}", small(rate)));
        let frames = all_frames(&source);
        let frozen: Vec<&RenderedFrame> = shots(&source)
            .iter()
            .zip(&frames)
            .filter(|(shot, _)| (1.2..3.2).contains(&shot.flight_s))
            .map(|(_, shown)| shown)
            .collect();
        assert!(frozen.len() as u32 >= 2 * rate - 1, "{}", frozen.len());
        for (index, shown) in frozen.iter().enumerate() {
            assert!(shown.frame == frozen[0].frame, "{rate} a second: repeat {index} differs");
            assert_eq!(shown.texts, frozen[0].texts);
        }
        assert!(frames[0].frame != frames[1].frame, "the image changes otherwise");
    }
}

#[test]
fn the_overlay_drifts_slowly_and_within_its_amplitude() {
    // With an exposure of 0 only the text is visible, on black; the number of satellites is constant.
    let rest = "[receiver]\nsatellites = [12, 12]\n[scenery]\nexposure = 0\ncolour = 0\n";
    let places = |drift: &str| -> Vec<[f64; 2]> {
        let source = source(3, "", &format!("{rest}{drift}{}", small(10)));
        all_frames(&source).iter().map(|shown| middle(&shown.frame, 190)).collect()
    };
    let still = places("");
    let drifting = places("[degradation]\noverlay_drift_px = 3\n");
    assert!(still.windows(2).all(|pair| pair[0] == pair[1]), "without drift the text keeps its position");
    let mut most = [0.0_f64; 2];
    for (moved, still) in drifting.iter().zip(&still) {
        for axis in 0..2 {
            most[axis] = most[axis].max((moved[axis] - still[axis]).abs());
        }
    }
    assert!(most.iter().all(|&most| (0.7..=3.1).contains(&most)), "{most:?}");
    let steps = drifting.windows(2).map(|pair| (pair[1][0] - pair[0][0]).hypot(pair[1][1] - pair[0][1]));
    assert!(steps.fold(0.0, f64::max) < 0.4);
}

/// Centre of the brightness to the right of a column, in pixels.
fn middle(frame: &Frame, from: usize) -> [f64; 2] {
    let (mut sum, mut moments) = (0.0, [0.0; 2]);
    for y in 0..frame.height {
        for (x, &level) in row(frame, y).iter().enumerate().skip(from) {
            let weight = f64::from(level.saturating_sub(16));
            sum += weight;
            moments[0] += weight * x as f64;
            moments[1] += weight * y as f64;
        }
    }
    moments.map(|moment| moment / sum)
}

#[test]
fn the_text_changes_no_pixel_outside_its_box_and_its_edge() {
    let with = source(3, "", &small(10));
    let rest = small(10);
    let without = source(3, "colour = [0, 0, 0]\n", &rest);
    let [white, black] = [&with, &without].map(|source| source.frame(&shots(source)[20]).frame);
    let differing: Vec<(usize, usize)> = (0..160 * 320)
        .filter(|&index| white.luma[index] != black.luma[index])
        .map(|index| (index % 320, index / 320))
        .collect();
    assert!(differing.len() > 100);
    for (x, y) in differing {
        assert!((38..140).contains(&x) && (58..92).contains(&y), "{x} {y}");
    }
}

#[test]
fn dropped_frames_leave_gaps_and_the_others_keep_their_times() {
    let source = source(3, "", &format!("{}dropped = 0.2\n", small(50)));
    let shots = shots(&source);
    let places = shots.last().unwrap().grid + 1;
    let missing = 1.0 - shots.len() as f64 / places as f64;
    assert!((0.13..0.27).contains(&missing), "{missing}");
    for shot in shots {
        assert!((shot.time_s - shot.grid as f64 * 0.02).abs() < 1e-9);
    }
}

#[test]
fn uneven_time_stamps_stay_near_the_grid_and_rise() {
    let source = source(3, "", &format!("{}stamp_wobble_s = 0.004\n", small(25)));
    let offsets = shots(&source).iter().map(|shot| shot.time_s - shot.grid as f64 * 0.04);
    assert!(offsets.clone().all(|offset| (0.0..=0.008001).contains(&offset)));
    assert!(offsets.fold(0.0, f64::max) > 0.007);
    assert!(shots(&source).windows(2).all(|pair| pair[0].time_s < pair[1].time_s));
}

#[test]
fn a_split_recording_continues_after_its_gap() {
    let source = source(3, "", &format!("{}split_at_s = [3.0]\nsplit_gap_s = 0.5\n", small(25)));
    let [first, second] = <&[_; 2]>::try_from(source.recordings()).unwrap();
    assert!((first.start_s, first.shots.len()) == (0.0, 75));
    assert!((second.start_s - 3.52).abs() < 0.021, "{}", second.start_s);
    assert_eq!((second.shots[0].grid, second.shots[0].time_s), (0, 0.0));
}
