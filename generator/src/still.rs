//! Draws an image of one text, for tests without a flight.

use image::GrayImage;

use crate::error::Error;
use crate::frame::{Frame, Rows};
use crate::overlay::{Face, FaceChoice, TextColours, paint_glyph};
use crate::random::NoiseStore;

/// The background of the text.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Backdrop {
    /// Grey level at the left edge.
    pub left_level: u8,
    /// Grey level at the right edge; between the edges it changes linearly.
    pub right_level: u8,
    /// Standard deviation of the noise in grey levels; it is added after the text.
    pub noise: f32,
    /// Seed of the noise.
    pub seed: u32,
}

/// Draws one line of text with `margin` pixels around it. The image is as wide as the sum of the text's advances and as
/// high as the face, plus the margins; an odd width is increased by one.
///
/// # Errors
///
/// [`Error::Font`] if the font cannot be used.
pub fn text_picture(
    choice: &FaceChoice,
    text: &str,
    margin: usize,
    backdrop: Backdrop,
) -> Result<GrayImage, Error> {
    let face = Face::load(choice)?;
    let width = (face.width_px(text).ceil() as usize + 2 * margin).next_multiple_of(2);
    let height = face.height_px().ceil() as usize + 2 * margin;
    let mut frame = Frame::plain(width, height, 0, 128, 128);
    for (index, level) in frame.luma.iter_mut().enumerate() {
        let share = (index % width) as f32 / width as f32;
        let (left, right) = (f32::from(backdrop.left_level), f32::from(backdrop.right_level));
        *level = (left + (right - left) * share).round() as u8;
    }
    let mut x = margin as f32;
    for glyph in text.chars().filter_map(|character| face.glyph(character)) {
        paint_glyph(&mut frame, glyph, [x.round(), margin as f32], &TextColours::plain(1.0), Rows::All);
        x += glyph.advance;
    }
    if backdrop.noise > 0.0 {
        let store = NoiseStore::new(u64::from(backdrop.seed));
        for (row, line) in frame.luma.chunks_exact_mut(width).enumerate() {
            let noise = store.slice(row as u32 * 7919, width);
            for (level, value) in line.iter_mut().zip(noise) {
                *level = (f32::from(*level) + backdrop.noise * value).clamp(0.0, 255.0) as u8;
            }
        }
    }
    Ok(frame.to_grey())
}
