//! Deciphering: reads the digits of an unknown overlay without labels, and gives the labels that its glyphs are learned from.
//!
//! ```text
//! frames, boxes -> box_texts (what the line reader reads in them) -> value_format (decimals, number of digits)
//!               -> pick_labels
//! ```
//!
//! Learning treats these labels like those of a pilot: it compares them with each other, and leaves out labels that the
//! others contradict.
//!
//! Limits of this folder without a stated origin were set by judgement and adjusted on the tuning clips of
//! docs/benchmarks.md.

mod agreement;
mod box_texts;
mod counting;
mod cut_strokes;
mod cut_values;
mod icons;
mod naming;
mod pick_labels;
mod readout;
mod value_format;
mod words;

use crate::geometry::PixelRect;
pub use agreement::{
    TextPair, agreement, contradicted_share, doubtful_digits, lacks_first_digits, text_pairs,
};
pub use box_texts::SampledFrames;
use box_texts::{FrameText, texts_in, without_single_signs};
pub use counting::{TimedText, confused_digits, loses_digits};
use cut_strokes::clear_of_strokes;
use cut_values::with_values_beside;
use icons::clear_of_icon;
pub use naming::{ChannelGuess, Reason, name_channels};
use pick_labels::pick_labels;
pub use readout::{DecipheredReadout, DecipheredText};
use value_format::ValueFormat;
pub use words::Words;

/// Maximum number of times that a box is enlarged, usually by one digit each time.
const MAX_ENLARGEMENTS: usize = 3;
/// Minimum share of the texts with a number in which another character stands on one side of the number, for the box
/// to be cut between this character and the number. Set by judgement.
const MIN_NEIGHBOUR_SHARE: f32 = 0.3;

/// Deciphers the readout in a box from frames spread over a clip. The box is enlarged by characters that its edges cut
/// in two, by digits of the number that stand beside it, and by a character behind the number that may be a digit; other
/// characters are cut off. The readout has no labels if its texts are too uncertain, or if its last character may be a digit but
/// is not read as one. `None` if an edge stays inside a character, if values extend beyond the enlarged box, or if its texts
/// have no common format.
#[must_use]
pub fn decipher(frames: &SampledFrames, rect: PixelRect) -> Option<DecipheredReadout> {
    let mut rect = clear_of_strokes(frames, rect)?;
    for _ in 0..=MAX_ENLARGEMENTS {
        let texts = texts_in(frames, rect);
        let cut = clear_of_neighbours(rect, &texts);
        let enlarged = with_values_beside(frames, cut);
        if enlarged.last_is_doubtful {
            return readout_with_doubtful_end(enlarged.rect, &texts_in(frames, enlarged.rect));
        }
        if enlarged.rect == cut {
            let texts = if cut == rect { texts } else { texts_in(frames, cut) };
            let clear = clear_of_icon(frames, cut, &texts);
            let texts = if clear == cut { texts } else { texts_in(frames, clear) };
            return readout_of(clear, &without_single_signs(texts));
        }
        rect = enlarged.rect;
    }
    None
}

/// The readout in a box with these texts; `None` if they have no common format.
fn readout_of(rect: PixelRect, texts: &[FrameText]) -> Option<DecipheredReadout> {
    let certain = ValueFormat::of(texts);
    let format = certain.or_else(|| ValueFormat::likely(texts))?;
    let labels = certain.map_or_else(Vec::new, |format| pick_labels(texts, &format));
    let labels = labels.into_iter().map(DecipheredText::from).collect();
    Some(DecipheredReadout { labels, ..unlabelled_readout(rect, texts, format) })
}

/// The readout in a box whose last character may be a digit but is not read as one, so that its texts lack a digit.
fn readout_with_doubtful_end(rect: PixelRect, texts: &[FrameText]) -> Option<DecipheredReadout> {
    let format = ValueFormat::of(texts)?;
    let decimals = format.decimals + u8::from(format.separator.is_some());
    let digits = format.digits + 1;
    Some(DecipheredReadout { decimals, digits, ..unlabelled_readout(rect, texts, format) })
}

fn unlabelled_readout(rect: PixelRect, texts: &[FrameText], format: ValueFormat) -> DecipheredReadout {
    DecipheredReadout {
        rect,
        labels: Vec::new(),
        texts: texts.iter().map(|text| with_point(text.into(), &format)).collect(),
        separator: format.separator,
        decimals: format.decimals,
        digits: format.digits,
        words: Words::default(),
    }
}

/// Adds the decimal point that the format requires and the line reader missed, with probability 0.
fn with_point(mut text: DecipheredText, format: &ValueFormat) -> DecipheredText {
    if let Some(complete) = format.with_point(&text.text) {
        let index = complete.find('.').unwrap_or(complete.len()).min(text.character_probabilities.len());
        text.character_probabilities.insert(index, 0.0);
        text.text = complete;
    }
    text
}

/// Reads the units and captions beside readouts and stores them in the readouts.
pub fn read_words<'a>(frames: &SampledFrames, readouts: impl Iterator<Item = &'a mut DecipheredReadout>) {
    let readouts: Vec<&mut DecipheredReadout> = readouts.collect();
    let boxes: Vec<PixelRect> = readouts.iter().map(|readout| readout.rect).collect();
    for readout in readouts {
        readout.words = Words::beside(frames, readout.rect, &boxes);
    }
}

/// Cuts other characters on the left and right of the number off the box.
fn clear_of_neighbours(rect: PixelRect, texts: &[FrameText]) -> PixelRect {
    let numbers: Vec<&FrameText> = texts.iter().filter(|text| !text.number.is_empty()).collect();
    let is_frequent = |count: usize| count as f32 >= MIN_NEIGHBOUR_SHARE * numbers.len().max(1) as f32;
    let centers_px = numbers.iter().flat_map(|text| text.centers_px.iter().copied());
    let (Some(first), Some(last)) =
        (centers_px.clone().min_by(f32::total_cmp), centers_px.max_by(f32::total_cmp))
    else {
        return rect;
    };
    let before: Vec<f32> = numbers.iter().filter_map(|text| text.neighbours.other_before).collect();
    let after: Vec<f32> = numbers.iter().filter_map(|text| text.neighbours.other_after).collect();
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
