//! Deciphering: reads the digits of an unknown overlay without labels, and gives the labels that its glyphs are learned from.
//!
//! ```text
//! frames, boxes -> line_image -> line_reader (probabilities of characters) -> ctc (texts) -> box_texts
//!               -> value_format (decimals, number of digits) -> pick_labels
//! ```
//!
//! The labels go the same way as those of a pilot: learning compares them with each other and leaves out those that the
//! others contradict.

mod agreement;
mod box_texts;
mod counting;
mod ctc;
mod line_image;
mod line_reader;
mod naming;
mod pick_labels;
mod value_format;

use crate::geometry::PixelRect;
pub use agreement::{TextPair, agreement, doubtful_digits};
pub use box_texts::SampledFrames;
use box_texts::{FrameText, texts_in};
pub use counting::{TimedText, contradicted_digits};
pub use naming::{ChannelGuess, Reason, name_channels};
use pick_labels::pick_labels;
use value_format::ValueFormat;

/// Share of the texts in which another character stands beside the number, from which the box is cut there. Set by judgement.
const MIN_NEIGHBOUR_SHARE: f32 = 0.3;

/// A text at a moment.
#[derive(Debug, Clone, PartialEq)]
pub struct DecipheredText {
    /// Time of the frame in seconds.
    pub time_s: f64,
    /// The number that the box shows: digits, decimal point, minus sign and colon; empty if it shows none.
    pub text: String,
    /// Probability that the text is right, 0 to 1.
    pub probability: f32,
}

/// A readout whose digits were deciphered.
#[derive(Debug, Clone, PartialEq)]
pub struct DecipheredReadout {
    /// The box, cut clear of unit letters and icons.
    pub rect: PixelRect,
    /// The texts in all frames.
    pub texts: Vec<DecipheredText>,
    /// The decimal point or colon of the values, if they have one.
    pub separator: Option<char>,
    /// Number of digits after it.
    pub decimals: u8,
    /// Number of digits of the widest value, including those after the point.
    pub digits: u8,
    /// The texts that serve as labels, in order of time.
    pub labels: Vec<DecipheredText>,
}

/// Deciphers the readout in a box from frames spread over a clip; `None` if its texts have no common format.
#[must_use]
pub fn decipher(frames: &SampledFrames, rect: PixelRect) -> Option<DecipheredReadout> {
    let mut texts = texts_in(frames, rect);
    let cut = clear_of_neighbours(rect, &texts);
    if cut != rect {
        texts = texts_in(frames, cut);
    }
    let format = ValueFormat::of(&texts)?;
    let labels = pick_labels(&texts, &format).into_iter().map(DecipheredText::from).collect();
    Some(DecipheredReadout {
        rect: cut,
        labels,
        texts: texts.iter().map(DecipheredText::from).collect(),
        separator: format.separator,
        decimals: format.decimals,
        digits: format.digits,
    })
}

impl From<&FrameText> for DecipheredText {
    fn from(text: &FrameText) -> Self {
        Self { time_s: text.time_s, text: text.number.clone(), probability: text.probability }
    }
}

/// The value of a text: a number, or minutes and seconds as seconds.
fn value_of(text: &str) -> Option<f64> {
    match text.split_once(':') {
        Some((minutes, seconds)) => Some(60.0 * minutes.parse::<f64>().ok()? + seconds.parse::<f64>().ok()?),
        None => text.parse().ok(),
    }
}

/// The box without the columns of other characters on either side of the number.
fn clear_of_neighbours(rect: PixelRect, texts: &[FrameText]) -> PixelRect {
    let numbers: Vec<&FrameText> = texts.iter().filter(|text| text.extent.number.is_some()).collect();
    let is_frequent = |count: usize| count as f32 >= MIN_NEIGHBOUR_SHARE * numbers.len().max(1) as f32;
    let number = numbers.iter().filter_map(|text| text.extent.number);
    let (Some(first), Some(last)) = (
        number.clone().map(|(first, _)| first).min_by(f32::total_cmp),
        number.map(|(_, last)| last).max_by(f32::total_cmp),
    ) else {
        return rect;
    };
    let before: Vec<f32> = numbers.iter().filter_map(|text| text.extent.other_before).collect();
    let after: Vec<f32> = numbers.iter().filter_map(|text| text.extent.other_after).collect();
    let mut cut = rect;
    if let Some(before) = before.iter().copied().max_by(f32::total_cmp).filter(|_| is_frequent(before.len()))
        && before < first
    {
        let left = rect.left + ((before + first) / 2.0) as u32;
        cut = cut.with_columns(left, cut.right());
    }
    if let Some(after) = after.iter().copied().min_by(f32::total_cmp).filter(|_| is_frequent(after.len()))
        && after > last
    {
        cut = cut.with_columns(cut.left, rect.left + ((after + last) / 2.0) as u32);
    }
    cut
}
