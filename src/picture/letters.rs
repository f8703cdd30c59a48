//! Draws letters on images. A letter has eight by eight dots, and a dot is a square of `scale` pixels.

use font8x8::{BASIC_FONTS, GREEK_FONTS, LATIN_FONTS, UnicodeFonts as _};
use image::GenericImage;

/// Width and height of a letter in dots.
pub(super) const LETTER_DOTS: u32 = 8;

/// Number of pixels per dot, in each direction, for an image of this height in pixels, so that about 30 lines
/// of text fit into the image.
pub(super) fn scale_for(height: u32) -> u32 {
    (height / 240).clamp(1, 4)
}

/// Draws a line of text with its upper left corner at `(left, top)`. The part outside the image is cut off. A character
/// that the font lacks is drawn as a question mark.
pub(crate) fn draw_line<P: GenericImage>(
    image: &mut P,
    text: &str,
    (left, top): (u32, u32),
    scale: u32,
    colour: P::Pixel,
) {
    for (index, letter) in (0..).zip(text.chars()) {
        let left = left + index * LETTER_DOTS * scale;
        for (row, dots) in (0..).zip(dots_of(letter)) {
            for column in (0..LETTER_DOTS).filter(|column| dots >> column & 1 == 1) {
                draw_dot(image, (left + column * scale, top + row * scale), scale, colour);
            }
        }
    }
}

/// The rows of a letter, from the top. The lowest bit of a row is its left dot.
fn dots_of(letter: char) -> [u8; 8] {
    BASIC_FONTS
        .get(letter)
        .or_else(|| LATIN_FONTS.get(letter))
        .or_else(|| GREEK_FONTS.get(letter))
        .or_else(|| BASIC_FONTS.get('?'))
        .unwrap_or_default()
}

fn draw_dot<P: GenericImage>(image: &mut P, (left, top): (u32, u32), scale: u32, colour: P::Pixel) {
    for y in top..top + scale {
        for x in left..left + scale {
            if image.in_bounds(x, y) {
                image.put_pixel(x, y, colour);
            }
        }
    }
}
