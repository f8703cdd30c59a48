//! Signed and fractional readings, drawn with the built-in glyphs over a moving picture.
#![allow(clippy::unwrap_used)]

use image::{GrayImage, Luma};
use pairspeed::footage::MemoryFrames;
use pairspeed::glyphs::{GlyphSet, builtin_sets};
use pairspeed::readings::{Silent, collect, sample};
use pairspeed::recognise::Recogniser;
use pairspeed::setup::Setup;

const SETUP: &str = r#"
[camera]
name = "bench"
frame = [220, 90]

[[region]]
channel = "climb"
box = [60, 26, 100, 36]
digits = 3
decimals = 1
range = [-30.0, 30.0]
"#;

/// A text drawn right-aligned at column 156 over stripes that move and a little noise.
fn frame(set: &GlyphSet, text: &str, number: u32) -> GrayImage {
    let noise = |x: u32, y: u32| {
        (x.wrapping_mul(7919) ^ y.wrapping_mul(104_729) ^ number.wrapping_mul(15_485_863))
            .wrapping_mul(2_654_435_761)
            >> 28
    };
    let mut picture = GrayImage::from_fn(220, 90, |x, y| {
        let wave = (f64::from(x + 3 * number) / 37.0 + f64::from(y) / 23.0).sin();
        Luma([(100.0 + 40.0 * wave) as u8 + noise(x, y) as u8])
    });
    let face = set.faces.first().unwrap();
    let advance: f32 = text.chars().map(|character| face.glyph(character).unwrap().advance).sum();
    let mut left = 156.0 - advance;
    for character in text.chars() {
        let glyph = face.glyph(character).unwrap();
        for ((row, col), opacity) in glyph.opacity.indexed_iter() {
            let (x, y) = (left.round() as u32 + col as u32, 32 + row as u32);
            let under = f32::from(picture.get_pixel(x, y).0[0]);
            let level = opacity * glyph.levels[[row, col]] + (1.0 - opacity) * under;
            picture.put_pixel(x, y, Luma([level as u8]));
        }
        left += glyph.advance;
    }
    picture
}

#[test]
fn a_minus_sign_and_a_point_are_read_where_they_stand_and_nowhere_else() {
    let sets = builtin_sets().unwrap();
    let value = |number: u32| (f64::from(number / 5) * 7.3).rem_euclid(47.0) - 23.4;
    let shown: Vec<String> = (0..300).map(|number| format!("{:.1}", value(number))).collect();
    let frames =
        shown.iter().zip(0..).map(|(text, number)| (f64::from(number) * 0.04, frame(&sets[0], text, number)));
    let mut source = MemoryFrames::new(frames.collect()).unwrap();
    let setup: Setup = toml::from_str(SETUP).unwrap();
    let recogniser = Recogniser::calibrate(&setup.regions, &sets, &sample(&mut source, &setup).unwrap());
    let read = collect(&mut source, &setup, &recogniser, 0.95, &mut Silent).unwrap();
    let values = &read.channels[0].values;
    assert_eq!(values.len(), shown.len());
    for (value, text) in values.iter().zip(&shown) {
        assert!(value.is_nan() || *value == text.parse::<f64>().unwrap(), "{text} read as {value}");
    }
    let blank = values.iter().filter(|value| value.is_nan()).count();
    assert!(blank * 50 < shown.len(), "{blank} of {} blank", shown.len());
    assert!(values.iter().any(|value| *value < -10.0) && values.iter().any(|value| *value > 10.0));
}
