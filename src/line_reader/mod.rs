//! The line reader: reads a line of numerals in any typeface from a crop of a frame, without labels.
//!
//! ```text
//! crop -> line_image -> network (probabilities of characters along the line) -> ctc (texts) -> alignment (their positions)
//! ```

mod alignment;
mod ctc;
mod line_image;
mod network;
mod numbers;

use image::GrayImage;
use ndarray::Array2;

use network::{CLASSES, LineReader};
pub(crate) use numbers::{has_leading_zero, numbers};

/// Number of pixel columns of the line image for each position at which the network outputs character probabilities.
const COLUMNS_PER_STEP: f32 = 2.0;

/// A character of a line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct LineCharacter {
    /// A digit, `.`, `-`, `:`, a lower-case letter (for capitals as well), `/`, `%`, `°`, or `?` for any other
    /// character.
    pub(crate) character: char,
    /// Centre of the character, in pixels from the left edge of the crop.
    pub(crate) center_px: f32,
    /// The network's probability of the character, 0 to 1: the highest one over the output positions at which the
    /// character is read.
    pub(crate) probability: f32,
    /// The network's probability of a digit, whichever, where the character is most probable, 0 to 1.
    pub(crate) digit_probability: f32,
}

/// The text of a line.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Line {
    /// The characters, from left to right.
    pub(crate) characters: Vec<LineCharacter>,
    /// Probability of the whole text, 0 to 1.
    pub(crate) probability: f32,
}

/// The most probable text of a crop; `None` for an empty crop.
pub(crate) fn read_line(crop: &GrayImage) -> Option<Line> {
    let (steps, step_px) = steps_of(crop)?;
    let best = ctc::likely_texts(&steps).into_iter().next()?;
    let aligned = alignment::aligned(&steps, &best.classes);
    Some(Line { characters: characters(&aligned, step_px), probability: best.probability })
}

/// The characters of the most probable path through a crop. They nearly always equal those of [`read_line`] and take a
/// fraction of its time.
pub(crate) fn read_characters(crop: &GrayImage) -> Vec<LineCharacter> {
    let Some((steps, step_px)) = steps_of(crop) else { return Vec::new() };
    characters(&alignment::best_path(&steps), step_px)
}

/// Natural logarithms of the class probabilities of a crop (output positions x classes), and the distance between
/// output positions in pixels of the crop; `None` if the crop is empty.
fn steps_of(crop: &GrayImage) -> Option<(Array2<f32>, f32)> {
    let image = line_image::line_image(crop)?;
    let step_px = COLUMNS_PER_STEP * crop.width() as f32 / image.ncols() as f32;
    Some((LineReader::embedded().log_probabilities(&image), step_px))
}

fn characters(aligned: &[alignment::AlignedClass], step_px: f32) -> Vec<LineCharacter> {
    let character = |one: &alignment::AlignedClass| {
        let character = CLASSES.get(one.class).copied()?;
        Some(LineCharacter {
            character,
            center_px: one.center_steps * step_px,
            probability: one.log_probability.exp(),
            digit_probability: one.digit_probability,
        })
    };
    aligned.iter().filter_map(character).collect()
}
