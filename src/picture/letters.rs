//! Letters on pictures, each eight by eight dots, a dot being a square of `scale` pixels.

use font8x8::{BASIC_FONTS, GREEK_FONTS, LATIN_FONTS, UnicodeFonts as _};
use image::GenericImage;

/// Width and height of a letter in dots.
pub(super) const LETTER_DOTS: u32 = 8;

/// Pixels a dot for a picture of this height: about 30 lines of letters fit in.
pub(super) fn scale_for(height: u32) -> u32 {
    (height / 240).clamp(1, 4)
}

/// Draws a line of text with its upper left corner at `(left, top)`; what leaves the picture is
/// cut. A character without a drawing is shown as a question mark.
pub(crate) fn draw_line<P: GenericImage>(
    picture: &mut P,
    text: &str,
    (left, top): (u32, u32),
    scale: u32,
    colour: P::Pixel,
) {
    for (place, letter) in (0..).zip(text.chars()) {
        let left = left + place * LETTER_DOTS * scale;
        for (row, dots) in (0..).zip(drawing_of(letter)) {
            for column in (0..LETTER_DOTS).filter(|column| dots >> column & 1 == 1) {
                draw_dot(picture, (left + column * scale, top + row * scale), scale, colour);
            }
        }
    }
}

fn drawing_of(letter: char) -> [u8; 8] {
    BASIC_FONTS
        .get(letter)
        .or_else(|| LATIN_FONTS.get(letter))
        .or_else(|| GREEK_FONTS.get(letter))
        .or_else(|| BASIC_FONTS.get('?'))
        .unwrap_or_default()
}

fn draw_dot<P: GenericImage>(picture: &mut P, (left, top): (u32, u32), scale: u32, colour: P::Pixel) {
    for y in top..top + scale {
        for x in left..left + scale {
            if picture.in_bounds(x, y) {
                picture.put_pixel(x, y, colour);
            }
        }
    }
}
