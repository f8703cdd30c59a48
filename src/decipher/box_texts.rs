//! Reads one box in every frame with the line reader.

use image::GrayImage;
use rayon::prelude::*;

use crate::footage::FoundFrame;
use crate::geometry::PixelRect;
use crate::line_reader::{Line, LineCharacter, numbers, read_line};

/// Horizontal margin that is read on each side of the box, in heights of the box. The line reader is trained with some
/// room around the text, and a proposed box may have none.
const MARGIN: f32 = 0.08;

/// Vertical margin that is read above and below the box, in heights of the box.
const ROOM: f32 = 0.04;

/// Minimum probability of a minus sign. Set by judgement: an edge of the scenery beside the number looks like a minus
/// sign.
const MIN_SIGN_PROBABILITY: f32 = 0.8;

/// The text in a box of one frame.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct FrameText {
    /// Time of the frame in seconds.
    pub(super) time_s: f64,
    /// The number: digits, decimal point, minus sign and colon. Empty if the box shows none.
    pub(super) number: String,
    /// Probability of the whole text, including characters that are not part of the number, 0 to 1.
    pub(super) probability: f32,
    /// Probability of each character of the number, 0 to 1: the maximum over the columns that the character covers.
    pub(super) character_probabilities: Vec<f32>,
    /// Centres of the characters of the number, in pixels from the left edge of the box.
    pub(super) centers_px: Vec<f32>,
    /// Columns of the characters beside the number, in pixels from the left edge of the box.
    pub(super) neighbours: NeighbourColumns,
}

/// Columns of the characters beside the number, in pixels from the left edge of the box. `None` if there is no such
/// character.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct NeighbourColumns {
    /// Centre of the nearest character to the left of the number that is not part of it; `None` if there is none.
    pub(super) other_before: Option<f32>,
    /// Centre of the nearest character to the right of the number that is not part of it; `None` if there is none.
    pub(super) other_after: Option<f32>,
}

/// Frames spread over a clip.
#[derive(Debug, Clone, Default)]
pub struct SampledFrames {
    /// Times of the frames in seconds, ascending.
    pub times_s: Vec<f64>,
    /// Luma of the frames, in the order of `times_s`.
    pub images: Vec<GrayImage>,
}

impl SampledFrames {
    /// The luma of the frame at exactly this time in seconds; `None` if there is none.
    #[must_use]
    pub fn image_at(&self, time_s: f64) -> Option<&GrayImage> {
        self.images.get(self.times_s.iter().position(|frame_s| *frame_s == time_s)?)
    }
}

impl From<Vec<FoundFrame>> for SampledFrames {
    /// Keeps the undamaged frames.
    fn from(frames: Vec<FoundFrame>) -> Self {
        let sound = frames.into_iter().filter(|frame| !frame.damaged);
        let (times_s, images) = sound.map(|frame| (frame.time_s, frame.image)).unzip();
        Self { times_s, images }
    }
}

/// Reads a box in every frame. Frames in which other characters than digits and separators split the number in two are
/// left out.
pub(super) fn texts_in(frames: &SampledFrames, rect: PixelRect) -> Vec<FrameText> {
    let timed = frames.images.par_iter().zip(&frames.times_s);
    let texts = timed.map(|(image, time_s)| {
        let across = (MARGIN * rect.height as f32).round() as u32;
        let around = with_room(rect, across, image.dimensions());
        text_in(&around.crop(image), *time_s, around.left as f32 - rect.left as f32)
    });
    texts.flatten().collect()
}

/// Removes every text with a minus sign if the texts before and after it have none: an edge of the scenery looks
/// like a minus sign.
pub(super) fn without_single_signs(texts: Vec<FrameText>) -> Vec<FrameText> {
    let numbers: Vec<usize> = (0..texts.len()).filter(|place| !texts[*place].number.is_empty()).collect();
    let is_negative =
        |number: Option<&usize>| number.is_some_and(|place| texts[*place].number.starts_with('-'));
    let single: Vec<usize> = (0..numbers.len())
        .filter(|at| {
            let before = at.checked_sub(1).and_then(|at| numbers.get(at));
            is_negative(numbers.get(*at)) && !is_negative(before) && !is_negative(numbers.get(at + 1))
        })
        .filter_map(|at| numbers.get(at).copied())
        .collect();
    texts.into_iter().enumerate().filter(|(place, _)| !single.contains(place)).map(|(_, text)| text).collect()
}

/// A box enlarged by `across_px` columns on each side and by the rows above and below that the line reader needs.
pub(super) fn with_room(rect: PixelRect, across_px: u32, frame: (u32, u32)) -> PixelRect {
    rect.with_margins(across_px, (ROOM * rect.height as f32).round() as u32).clipped_to(frame)
}

/// The text of a crop whose left edge lies `offset_px` right of the box; `None` if the crop shows several numbers.
fn text_in(crop: &GrayImage, time_s: f64, offset_px: f32) -> Option<FrameText> {
    let Line { characters, probability } = read_line(crop)?;
    let numbers = numbers(&characters);
    let mut range = match numbers.as_slice() {
        [] => 0..0,
        [number] => number.clone(),
        _ => return None,
    };
    let is_doubtful_sign =
        |one: &LineCharacter| one.character == '-' && one.probability < MIN_SIGN_PROBABILITY;
    if characters.get(range.start).is_some_and(is_doubtful_sign) {
        range.start += 1;
    }
    let number = characters.get(range.clone()).unwrap_or_default();
    let center = |place: usize| characters.get(place).map(|one| offset_px + one.center_px);
    let neighbours = NeighbourColumns {
        other_before: range.start.checked_sub(1).and_then(center),
        other_after: center(range.end),
    };
    let neighbours = if number.is_empty() { NeighbourColumns::default() } else { neighbours };
    Some(FrameText {
        time_s,
        number: number.iter().map(|one| one.character).collect(),
        probability,
        character_probabilities: number.iter().map(|one| one.probability).collect(),
        centers_px: number.iter().map(|one| offset_px + one.center_px).collect(),
        neighbours,
    })
}

#[cfg(test)]
impl FrameText {
    /// A text for tests, at the time 0, whose characters have the probability of the text and no position.
    pub(super) fn example(number: &str, probability: f32) -> Self {
        Self {
            time_s: 0.0,
            number: number.to_owned(),
            probability,
            character_probabilities: vec![probability; number.len()],
            centers_px: Vec::new(),
            neighbours: NeighbourColumns::default(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_single_minus_sign_counts_as_an_edge_of_the_scenery() {
        let texts = ["12", "-13", "", "12", "-1", "", "-2", "3"];
        let texts = texts.map(|number| FrameText::example(number, 0.9)).to_vec();
        let kept: Vec<String> = without_single_signs(texts).into_iter().map(|text| text.number).collect();
        assert_eq!(kept, ["12", "", "12", "-1", "", "-2", "3"]);
    }
}
