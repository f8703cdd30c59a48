//! Numbers of one frame: the line reader reads a strip around an area.

use image::GrayImage;

use crate::geometry::PixelRect;
use crate::line_reader::{LineCharacter, has_leading_zero, numbers, read_characters};
use crate::stats::upper_median;

// Widths, heights and gaps are in heights of the text.

/// Width of the strip read on each side of an area, in heights of the area: a value may be wider than its changing
/// part.
const SIDE_WIDTH: f32 = 2.5;
/// Height read above and below an area, in heights of the area: the line reader is trained with some room around
/// the text.
const ROOM: f32 = 0.16;
/// Maximum distance between the centres of neighbouring characters of a number, in heights of the area.
const MAX_PITCH: f32 = 1.3;
/// Minimum probability of every character of a number, 0 to 1.
const MIN_PROBABILITY: f32 = 0.5;
/// Minimum probability of the first and the last character of a number, 0 to 1. It is higher because an icon or letter
/// beside the number may resemble a digit.
const MIN_OUTER_PROBABILITY: f32 = 0.85;

/// A number found in one frame.
#[derive(Debug, Clone)]
pub(super) struct Number {
    pub(super) text: String,
    /// Centres of the number's characters, in pixels of the frame.
    pub(super) centers_px: Vec<f32>,
    /// Median distance of the centres of neighbouring digits in pixels; `None` for a single digit.
    pub(super) pitch_px: Option<f32>,
    /// Mean probability of its characters, 0 to 1.
    pub(super) probability: f32,
}

impl Number {
    /// Centre of the first character, in pixels of the frame.
    pub(super) fn first_px(&self) -> f32 {
        self.centers_px.first().copied().unwrap_or_default()
    }

    /// Centre of the last character, in pixels of the frame.
    pub(super) fn last_px(&self) -> f32 {
        self.centers_px.last().copied().unwrap_or_default()
    }

    /// Removes outer digits whose centre is farther than `max_px` from that of the adjacent digit.
    pub(super) fn drop_distant(&mut self, max_px: f32) {
        let is_distant = |one: usize, next: usize| {
            let digits = self.text.chars().nth(one).into_iter().chain(self.text.chars().nth(next));
            digits.filter(char::is_ascii_digit).count() == 2
                && self
                    .centers_px
                    .get(next)
                    .zip(self.centers_px.get(one))
                    .is_some_and(|(next, one)| next - one > max_px)
        };
        let count = self.centers_px.len();
        if count < 2 {
            return;
        }
        let (first, last) = (is_distant(0, 1), count > 2 && is_distant(count - 2, count - 1));
        if last {
            self.drop_last();
        }
        if first {
            self.drop_first();
        }
    }

    /// Whether the number begins with a zero before another digit; false for a clock, whose leading zero changes
    /// later.
    pub(super) fn has_leading_zero(&self) -> bool {
        !self.text.contains(':') && has_leading_zero(&self.text)
    }

    /// Removes the last character.
    pub(super) fn drop_last(&mut self) {
        self.text.pop();
        self.centers_px.pop();
    }

    /// Removes the first character.
    pub(super) fn drop_first(&mut self) {
        self.text.remove(0);
        self.centers_px.remove(0);
    }
}

/// The characters of a line in one frame.
#[derive(Debug, Clone, Default)]
pub(super) struct LineNumbers {
    pub(super) numbers: Vec<Number>,
    /// Centres of the characters that belong to no number, in pixels of the frame.
    pub(super) others_px: Vec<f32>,
}

impl LineNumbers {
    /// Reads the strip around an area.
    pub(super) fn read(frame: &GrayImage, area: PixelRect) -> Self {
        let height = area.height as f32;
        let (side_px, room_px) = ((SIDE_WIDTH * height) as u32, (ROOM * height).round() as u32);
        let strip = area.with_margins(side_px, room_px).clipped_to(frame.dimensions());
        let characters = read_characters(&strip.crop(frame));
        let mut found = Self::default();
        let mut in_number = vec![false; characters.len()];
        for range in numbers(&characters) {
            let Some(run) = characters.get(range.clone()) else { continue };
            let mut first = range.start;
            let is_near = |one: &LineCharacter, next: &LineCharacter| {
                next.center_px - one.center_px <= MAX_PITCH * height
            };
            for part in run.chunk_by(is_near) {
                let is_doubtful = |one: &&LineCharacter| one.probability < MIN_OUTER_PROBABILITY;
                let before = part.iter().take_while(is_doubtful).count();
                let after = part.iter().skip(before).rev().take_while(is_doubtful).count();
                let inner = part.get(before..part.len() - after).unwrap_or_default();
                let certain = inner.iter().all(|one| one.probability >= MIN_PROBABILITY);
                if certain && inner.iter().any(|one| one.character.is_ascii_digit()) {
                    found.numbers.push(number(inner, strip));
                    in_number[first + before..first + before + inner.len()].fill(true);
                }
                first += part.len();
            }
        }
        let others = characters.iter().zip(&in_number).filter(|(_, in_number)| !**in_number);
        found.others_px = others.map(|(one, _)| strip.left as f32 + one.center_px).collect();
        found
    }
}

/// Makes a number of characters that were read in `strip`.
fn number(part: &[LineCharacter], strip: PixelRect) -> Number {
    let is_digit = |one: &LineCharacter| one.character.is_ascii_digit();
    let pairs = part.windows(2).filter(|pair| pair.iter().all(is_digit));
    let mut pitches: Vec<f32> = pairs.map(|pair| pair[1].center_px - pair[0].center_px).collect();
    Number {
        text: part.iter().map(|one| one.character).collect(),
        centers_px: part.iter().map(|one| strip.left as f32 + one.center_px).collect(),
        pitch_px: upper_median(&mut pitches),
        probability: part.iter().map(|one| one.probability).sum::<f32>() / part.len().max(1) as f32,
    }
}
