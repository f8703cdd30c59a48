//! Texts drawn over moving stripes, for tests of the reader without a video file.

use image::{GrayImage, Luma};
use pairspeed::footage::MemoryFrames;
use pairspeed::glyphs::{Face, Glyph, GlyphSet};
use pairspeed::readings::{Prepared, Silent, collect, sample};
use pairspeed::recognise::Recogniser;
use pairspeed::series::Readings;
use pairspeed::setup::Setup;

/// A setup with a region for the speed, for the frames drawn here.
pub const SPEED_SETUP: &str = r#"
[camera]
name = "bench"
frame = [220, 90]

[[region]]
channel = "speed"
box = [84, 28, 76, 44]
unit = "km/h"
digits = 3
range = [0, 300]
"#;

/// The readings of a setup's first region, at 25 frames per second. Each frame is drawn from its text and its
/// number.
pub fn read_drawn(
    setup: &str,
    sets: &[GlyphSet],
    draw: impl Fn(&str, u32) -> GrayImage,
    shown: &[String],
) -> Vec<f64> {
    let frames = shown.iter().zip(0..).map(|(text, number)| draw(text, number)).collect();
    read_frames(setup, sets, frames).channels[0].values.clone()
}

/// The readings of some frames, at 25 frames per second.
pub fn read_frames(setup: &str, sets: &[GlyphSet], frames: Vec<GrayImage>) -> Readings {
    let stamped = frames.into_iter().zip(0..).map(|(frame, number)| (f64::from(number) * 0.04, frame));
    let mut source = MemoryFrames::new(stamped.collect()).unwrap();
    let setup: Setup = toml::from_str(setup).unwrap();
    let sample = sample(&mut source, &setup).unwrap();
    let recogniser = Recogniser::calibrate(&setup.regions, sets, &sample);
    let prepared = Prepared { setup, recogniser, sample, moved: None };
    collect(&mut source, &prepared, 0.95, &mut Silent).unwrap()
}

/// Width and height of the frames in pixels.
pub const FRAME: (u32, u32) = (220, 90);

/// Column at which texts end, in pixels.
const TEXT_RIGHT: f32 = 156.0;
/// Row at which the cells of texts begin, in pixels.
const TEXT_TOP: u32 = 32;

/// Moving stripes with a little noise.
pub fn moving_stripes(number: u32) -> GrayImage {
    let noise = |x: u32, y: u32| {
        (x.wrapping_mul(7919) ^ y.wrapping_mul(104_729) ^ number.wrapping_mul(15_485_863))
            .wrapping_mul(2_654_435_761)
            >> 28
    };
    GrayImage::from_fn(FRAME.0, FRAME.1, |x, y| {
        let wave = (f64::from(x + 3 * number) / 37.0 + f64::from(y) / 23.0).sin();
        Luma([(100.0 + 40.0 * wave) as u8 + noise(x, y) as u8])
    })
}

/// A frame with a right-aligned text in a face whose cells are reduced to `1 / shrink` of their size.
pub fn written(face: &Face, shrink: usize, text: &str, number: u32) -> GrayImage {
    let mut picture = moving_stripes(number);
    write(&mut picture, face, shrink, text);
    picture
}

/// Draws a right-aligned text on a frame.
pub fn write(picture: &mut GrayImage, face: &Face, shrink: usize, text: &str) {
    let glyphs: Vec<&Glyph> = text.chars().map(|character| face.glyph(character).unwrap()).collect();
    let advance = |glyph: &Glyph| glyph.advance / shrink as f32;
    let mut left = TEXT_RIGHT - glyphs.iter().map(|glyph| advance(glyph)).sum::<f32>();
    for glyph in glyphs {
        let (rows, cols) = glyph.levels.dim();
        for row in 0..rows / shrink {
            for col in 0..cols / shrink {
                let (x, y) = (left.round() as u32 + col as u32, TEXT_TOP + row as u32);
                let under = f32::from(picture.get_pixel(x, y).0[0]);
                let parts = (0..shrink * shrink).map(|part| {
                    let at = [shrink * row + part / shrink, shrink * col + part % shrink];
                    glyph.opacity[at] * glyph.levels[at] + (1.0 - glyph.opacity[at]) * under
                });
                let level = parts.sum::<f32>() / (shrink * shrink) as f32;
                picture.put_pixel(x, y, Luma([level as u8]));
            }
        }
        left += advance(glyph);
    }
}

/// Which of the seven segments of a digit are lit: top, upper left, upper right, middle, lower left, lower right, bottom.
const SEGMENTS: [[u8; 7]; 10] = [
    [1, 1, 1, 0, 1, 1, 1],
    [0, 0, 1, 0, 0, 1, 0],
    [1, 0, 1, 1, 1, 0, 1],
    [1, 0, 1, 1, 0, 1, 1],
    [0, 1, 1, 1, 0, 1, 0],
    [1, 1, 0, 1, 0, 1, 1],
    [1, 1, 0, 1, 1, 1, 1],
    [1, 0, 1, 0, 0, 1, 0],
    [1, 1, 1, 1, 1, 1, 1],
    [1, 1, 1, 1, 0, 1, 1],
];

/// Left, top, width and height of the segments in a digit of 12 x 20 pixels.
const SEGMENT_RECTS: [[u32; 4]; 7] =
    [[1, 0, 10, 3], [0, 1, 3, 9], [9, 1, 3, 9], [1, 9, 10, 3], [0, 11, 3, 9], [9, 11, 3, 9], [1, 18, 10, 3]];

/// A frame with a right-aligned whole number in seven-segment digits, which belong to no built-in face.
pub fn in_seven_bars(text: &str, number: u32) -> GrayImage {
    let mut picture = moving_stripes(number);
    let mut left = TEXT_RIGHT as u32 - 17 * text.len() as u32;
    for digit in text.chars().filter_map(|digit| digit.to_digit(10)) {
        let lit = SEGMENTS[digit as usize].iter().zip(SEGMENT_RECTS).filter(|(lit, _)| **lit == 1);
        for (_, [x, y, width, height]) in lit {
            for (dx, dy) in (0..width).flat_map(|dx| (0..height).map(move |dy| (dx, dy))) {
                picture.put_pixel(left + x + dx, TEXT_TOP + y + dy, Luma([245]));
            }
        }
        left += 17;
    }
    picture
}
