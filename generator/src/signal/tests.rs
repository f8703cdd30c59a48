//! Measures each degradation on images whose undegraded levels are known.

#![allow(clippy::unwrap_used)]

use super::*;

const WIDTH: usize = 640;
const HEIGHT: usize = 480;

fn link(degradation: &str) -> VideoLink {
    let scenario = Scenario::from_toml(&format!(
        "name = \"plain\"\nseed = 5\n[airframe]\nairspeed_mps = [[50, 20], [100, 40]]\n\
         [flight]\nthrottle_percent = [50]\n[overlay]\nfield = []\n[degradation]\n{degradation}\n"
    ));
    VideoLink::new(&scenario.unwrap(), 60.0)
}

/// A frame whose brightness depends only on the column.
fn columns(level: impl Fn(usize) -> u8) -> Frame {
    let mut frame = Frame::plain(WIDTH, HEIGHT, 0, 128, 128);
    frame.luma.iter_mut().enumerate().for_each(|(index, out)| *out = level(index % WIDTH));
    frame
}

fn sent(link: &VideoLink, frame: &Frame, number: u64) -> Frame {
    let mut sent = frame.clone();
    link.degrade(&mut sent, number, number as f64 / 30.0);
    sent
}

fn moments(values: impl Iterator<Item = f64>) -> (f64, f64) {
    let values: Vec<f64> = values.collect();
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    let variance = values.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / values.len() as f64;
    (mean, variance.sqrt())
}

fn levels(plane: &[u8]) -> impl Iterator<Item = f64> + '_ {
    plane.iter().map(|&level| f64::from(level))
}

/// Centre of the brightness above `floor` in a row, in pixels.
fn centre(row: &[u8], floor: f64) -> f64 {
    let weights = row.iter().map(|&level| (f64::from(level) - floor).max(0.0));
    let (sum, moment) = weights
        .enumerate()
        .fold((0.0, 0.0), |(sum, moment), (x, weight)| (sum + weight, moment + x as f64 * weight));
    moment / sum
}

#[test]
fn a_link_without_degradation_changes_nothing() {
    let frame = columns(|x| (x % 200) as u8 + 20);
    assert_eq!(sent(&link(""), &frame, 3), frame);
}

#[test]
fn noise_has_the_stated_standard_deviation() {
    let plain = Frame::plain(WIDTH, HEIGHT, 120, 128, 128);
    for strength in [3.0, 16.0, 30.0] {
        let noisy = sent(&link(&format!("noise = {strength}")), &plain, 7);
        let (mean, deviation) = moments(levels(&noisy.luma));
        // Levels stop at 1 and 254: four standard deviations at the strongest noise.
        assert!((mean - 120.0).abs() < 0.03 * strength, "{strength}: mean {mean}");
        assert!((deviation / strength - 1.0).abs() < 0.03, "{strength}: {deviation}");
        let (_, colour) = moments(levels(&noisy.blue));
        assert!((colour / (0.5 * strength) - 1.0).abs() < 0.05, "{strength}: colour {colour}");
    }
}

#[test]
fn the_noise_of_two_frames_and_of_two_rows_is_independent() {
    let plain = Frame::plain(WIDTH, HEIGHT, 120, 128, 128);
    let link = link("noise = 16");
    let [first, second] = [1, 2].map(|number| sent(&link, &plain, number).luma);
    let correlation = |a: &[u8], b: &[u8]| {
        let products = levels(a).zip(levels(b)).map(|(a, b)| (a - 120.0) * (b - 120.0));
        moments(products).0 / (16.0 * 16.0)
    };
    assert!(correlation(&first, &second).abs() < 0.02);
    assert!(correlation(&first[WIDTH..], &first[..WIDTH * (HEIGHT - 1)]).abs() < 0.02);
}

#[test]
fn the_blur_spreads_an_edge_sideways_by_its_standard_deviation() {
    for blur_px in [1.0, 2.0] {
        let blurred =
            sent(&link(&format!("blur_px = {blur_px}")), &columns(|x| if x < 320 { 20 } else { 220 }), 0);
        // The steps of a blurred edge are the blur itself; it is cut off at 2.5 standard deviations.
        let steps: Vec<f64> =
            blurred.luma[..WIDTH].windows(2).map(|pair| f64::from(pair[1]) - f64::from(pair[0])).collect();
        let total: f64 = steps.iter().sum();
        let mean = steps.iter().enumerate().map(|(x, step)| x as f64 * step).sum::<f64>() / total;
        let spread = steps.iter().enumerate().map(|(x, step)| (x as f64 - mean).powi(2) * step);
        let deviation = (spread.sum::<f64>() / total).sqrt();
        assert!((total - 200.0).abs() < 1.0 && (mean - 319.0).abs() < 0.1, "{total} {mean}");
        assert!((deviation / blur_px - 1.0).abs() < 0.1, "{blur_px}: {deviation}");
    }
}

#[test]
fn the_blur_of_the_link_is_horizontal_and_that_of_the_camera_is_not() {
    let mut frame = Frame::plain(WIDTH, HEIGHT, 20, 128, 128);
    frame.luma[240 * WIDTH..].fill(220);
    assert_eq!(sent(&link("blur_px = 2"), &frame, 0).luma, frame.luma);
    GaussianBlur::new(2.0).apply(&mut frame);
    let step = f64::from(frame.luma[240 * WIDTH]) - f64::from(frame.luma[239 * WIDTH]);
    // The steepest step of a normal-shaped blur: 200 / (2 sqrt(2 pi)), cut-off tails apart.
    assert!((step - 39.9).abs() < 2.0, "{step}");
}

#[test]
fn lines_shift_by_the_stated_deviation_and_never_by_more_than_twice_it() {
    let frame = columns(|x| if (300..340).contains(&x) { 220 } else { 16 });
    let shifted = sent(&link("line_shift_px = 1.5"), &frame, 4);
    let shifts: Vec<f64> = shifted.luma.chunks_exact(WIDTH).map(|row| centre(row, 16.0) - 319.5).collect();
    let largest = shifts.iter().fold(0.0_f64, |most, shift| most.max(shift.abs()));
    let (mean, deviation) = moments(shifts.iter().copied());
    assert!(largest <= 3.02, "{largest}");
    assert!(mean.abs() < 0.4 && (1.2..1.6).contains(&deviation), "{mean} {deviation}");
    let neighbours = moments(shifts.windows(2).map(|pair| pair[0] * pair[1])).0 / deviation.powi(2);
    assert!((0.4..0.8).contains(&neighbours), "neighbouring lines move alike: {neighbours}");
}

#[test]
fn flutter_varies_the_contrast_as_a_sine_of_its_amplitude_does() {
    let link = link("gain_flutter = 0.06");
    let contrast: Vec<f64> = (0..9000)
        .map(|number| {
            let mut frame = Frame::plain(2, 2, 216, 128, 128);
            link.degrade(&mut frame, number, number as f64 / 30.0);
            (f64::from(frame.luma[0]) - 16.0) / 200.0
        })
        .collect();
    let (mean, deviation) = moments(contrast.iter().copied());
    let steepest = contrast.windows(2).fold(0.0_f64, |most, pair| most.max((pair[1] - pair[0]).abs()));
    assert!((mean - 1.0).abs() < 0.005, "{mean}");
    assert!((deviation / (0.06 / 2.0_f64.sqrt()) - 1.0).abs() < 0.1, "{deviation}");
    assert!(steepest < 0.02, "the change is slow: {steepest}");
    let black = sent(&link, &Frame::plain(WIDTH, HEIGHT, 16, 128, 128), 40);
    assert!(black.luma.iter().all(|&level| level == 16));
}

#[test]
fn a_weak_signal_flattens_the_contrast_towards_grey() {
    let frame = columns(|x| if x < 320 { 16 } else { 216 });
    let flat = sent(&link("flatten = 0.4"), &frame, 0);
    let (dark, bright) = (f64::from(flat.luma[10]), f64::from(flat.luma[630]));
    assert!((bright - dark - 120.0).abs() <= 1.0, "{dark} {bright}");
    assert!(dark > 16.0 && bright < 216.0);
}

#[test]
fn an_echo_repeats_the_picture_at_its_delay_with_its_strength() {
    for (strength, sign) in [(0.3, 1.0), (-0.2, -1.0)] {
        let frame = columns(|x| if (300..304).contains(&x) { 210 } else { 110 });
        let echoed = sent(&link(&format!("echo = {{ delay_px = 9, strength = {strength} }}")), &frame, 0);
        for (x, (&level, &before)) in echoed.luma[..WIDTH].iter().zip(&frame.luma).enumerate() {
            let repeat = if (309..313).contains(&x) { 100.0 * strength } else { 0.0 };
            let apart = f64::from(level) - f64::from(before) - repeat;
            assert!(apart.abs() <= 0.5, "column {x} is off by {apart}, sign {sign}");
        }
    }
}

#[test]
fn bursts_lose_lines_and_leave_the_others_alone() {
    let link = link("lost_lines = { bursts_per_s = 1.0, lines = 30 }");
    let plain = Frame::plain(WIDTH, HEIGHT, 120, 128, 128);
    let lost_rows = |number: u64| -> Vec<usize> {
        let frame = sent(&link, &plain, number);
        let rows = frame.luma.chunks_exact(WIDTH).enumerate();
        rows.filter(|(_, row)| moments(levels(row)).1 > 1.0).map(|(row, _)| row).collect()
    };
    let frames: Vec<Vec<usize>> = (0..300).map(lost_rows).collect();
    let struck = frames.iter().filter(|rows| !rows.is_empty()).count();
    // One burst a second that lasts 0.03 to 0.2 s: about a ninth of the time.
    assert!((6..90).contains(&struck), "{struck} of 300 frames lose lines");
    for rows in frames.iter().filter(|rows| !rows.is_empty()) {
        assert!(rows.len() <= 60, "{rows:?}");
    }
    let struck = frames.iter().position(|rows| !rows.is_empty()).unwrap();
    let frame = sent(&link, &plain, struck as u64);
    for (row, line) in frame.luma.chunks_exact(WIDTH).enumerate() {
        let (_, deviation) = moments(levels(line));
        let lost = frames[struck].contains(&row);
        assert!(if lost { deviation > 35.0 } else { deviation == 0.0 }, "row {row}: {deviation}");
    }
}

#[test]
fn the_composite_path_keeps_grey_and_passes_most_of_the_noise() {
    for system in ["pal", "ntsc"] {
        let link = link(&format!("composite = \"{system}\"\nnoise = 9"));
        let noisy = sent(&link, &Frame::plain(WIDTH, HEIGHT, 120, 128, 128), 2);
        let (mean, deviation) = moments(levels(&noisy.luma));
        assert!((mean - 120.0).abs() < 0.5, "{system}: {mean}");
        // The decoder's trap takes the noise around the subcarrier out of the brightness.
        assert!((5.0..9.1).contains(&deviation), "{system}: {deviation}");
        let (colour_mean, colour) = moments(levels(&noisy.red));
        assert!((colour_mean - 128.0).abs() < 1.0 && colour > 1.0, "{system}: {colour_mean} {colour}");
    }
}

#[test]
fn a_signal_loss_is_noise_a_blue_or_a_black_screen() {
    let link = link("");
    let lost = |look| link.lost(look, WIDTH, HEIGHT, 11);
    let noise = lost(SignalLossKind::Static).unwrap();
    assert!(moments(levels(&noise.luma)).1 > 45.0);
    // ITU-R BT.601: blue at full strength is Y 41, Cb 240, Cr 110; black is Y 16.
    assert_eq!(lost(SignalLossKind::Blue).unwrap(), Frame::plain(WIDTH, HEIGHT, 41, 240, 110));
    assert_eq!(lost(SignalLossKind::Black).unwrap(), Frame::plain(WIDTH, HEIGHT, 16, 128, 128));
    assert!(lost(SignalLossKind::Frozen).is_none());
}
