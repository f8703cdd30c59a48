//! Finds the readouts of a line from the numbers read in many frames.

use image::GrayImage;
use rayon::prelude::*;

use super::numbers::{LineNumbers, Number};
use crate::geometry::PixelRect;
use crate::stats::{nearest_rank, upper_median};

// Distances are in heights of the text.

/// Maximum number of frames that are read.
const MAX_FRAMES: usize = 40;
/// Minimum share of the numbers that must extend to the left edge of the box, and to the right edge. The few numbers
/// that extend further are ignored as misread. The share is low because the widest value may be rare.
const WIDEST_SHARE: f32 = 0.04;
/// Minimum number of numbers that must extend to each edge of the box.
const MIN_WIDEST: usize = 2;
/// Maximum distance between the centres of two adjacent digits, as a multiple of the median distance: an icon or sign
/// that is read as a digit is farther away.
const MAX_PITCHES: f32 = 1.3;
/// Distance between the centres of digits that is assumed if no number has two digits, in heights of the text.
const USUAL_PITCH: f32 = 0.62;
/// Minimum share of the frames that must show another character beside the numbers, for the box to end before that
/// character.
const MIN_NEIGHBOUR_SHARE: f32 = 0.3;
/// Minimum share of the frames that show another character in place of a leading zero, for the leading zero to be a
/// misread character.
const MIN_OTHERS_SHARE: f32 = 0.15;

/// Maximum distance between the centres of two characters at the same place, as a multiple of the height of the text.
const SAME_PLACE: f32 = 0.25;
/// Maximum distance between a number and a neighbouring character, as a multiple of the height of the text.
const MAX_NEIGHBOUR: f32 = 2.0;
/// Minimum number of different texts of a readout that changes. Two different texts are enough if each of them is
/// shown in at least as many frames as this number.
const MIN_TEXTS: usize = 3;

/// The numbers and other characters of a line in many frames.
pub(super) struct NumberVotes {
    height: f32,
    frames: Vec<LineNumbers>,
}

/// The numbers that the frames show at one position of a line.
#[derive(Debug, Clone)]
pub(super) struct LineReadout {
    /// Centres of the first and last character of the widest value, in pixels of the frame.
    pub(super) centers_px: (f32, f32),
    /// Distance of the centres of neighbouring digits, in pixels.
    pub(super) pitch_px: f32,
    /// Centres of the nearest characters to the left and to the right of the number that are not part of it, in
    /// pixels of the frame; `None` if few frames show one.
    pub(super) neighbours_px: (Option<f32>, Option<f32>),
    /// Mean probability of the characters in the frames, 0 to 1; a frame without a number counts as 0.
    pub(super) certainty: f32,
    /// Whether the texts differ: three different ones, or two that are both shown often.
    pub(super) changes: bool,
    /// Share of the frames with the most frequent text.
    pub(super) constant_share: f32,
}

impl NumberVotes {
    /// Reads the line of an area in frames spread over the clip.
    pub(super) fn of(frames: &[&GrayImage], area: PixelRect) -> Self {
        let step = frames.len().div_ceil(MAX_FRAMES).max(1);
        let frames = frames.par_iter().step_by(step).map(|frame| LineNumbers::read(frame, area)).collect();
        Self { height: area.height as f32, frames }
    }

    /// The readouts of the line: one for each place at which the frames show numbers.
    pub(super) fn readouts(&self) -> Vec<LineReadout> {
        // Overlapping numbers of different frames are at one position.
        let mut spans: Vec<(f32, f32)> = self
            .frames
            .iter()
            .flat_map(|line| &line.numbers)
            .map(|number| (number.first_px(), number.last_px()))
            .collect();
        spans.sort_by(|one, other| one.0.total_cmp(&other.0));
        let mut places: Vec<(f32, f32)> = Vec::new();
        for span in spans {
            match places.last_mut() {
                Some(place) if span.0 <= place.1 + 0.25 * self.height => place.1 = place.1.max(span.1),
                _ => places.push(span),
            }
        }
        places.into_iter().filter_map(|place| self.readout_at(place)).collect()
    }

    /// The readout whose first character is between the columns `place` (left, right), in pixels of the frame;
    /// `None` if too few frames show a number there.
    fn readout_at(&self, place: (f32, f32)) -> Option<LineReadout> {
        let is_inside = |number: &&Number| (place.0..=place.1).contains(&number.first_px());
        // If a frame shows two numbers, the longer one counts.
        let longest = |line: &'_ LineNumbers| -> Option<Number> {
            line.numbers.iter().filter(is_inside).max_by_key(|number| number.text.len()).cloned()
        };
        let mut shown: Vec<Option<Number>> = self.frames.iter().map(longest).collect();
        let mut pitches: Vec<f32> = shown.iter().flatten().filter_map(|number| number.pitch_px).collect();
        let pitch_px = upper_median(&mut pitches).unwrap_or(USUAL_PITCH * self.height);
        shown.iter_mut().flatten().for_each(|number| number.drop_distant(MAX_PITCHES * pitch_px));
        for number in shown.iter_mut().flatten() {
            while number.centers_px.len() > 1
                && self.is_no_digit(number.first_px(), number.has_leading_zero())
            {
                number.drop_first();
            }
            while number.centers_px.len() > 1 && self.is_no_digit(number.last_px(), false) {
                number.drop_last();
            }
        }
        let numbers: Vec<&Number> = shown.iter().flatten().collect();
        let texts: Vec<&str> = numbers.iter().map(|number| number.text.as_str()).collect();
        let outliers = ((WIDEST_SHARE * numbers.len() as f32) as usize).max(MIN_WIDEST) - 1;
        let mut firsts: Vec<f32> = numbers.iter().map(|number| number.first_px()).collect();
        let mut lasts: Vec<f32> = numbers.iter().map(|number| number.last_px()).collect();
        firsts.sort_by(f32::total_cmp);
        lasts.sort_by(|one, other| other.total_cmp(one));
        let centers_px = (*firsts.get(outliers)?, *lasts.get(outliers)?);
        let counts = counts(&texts);
        Some(LineReadout {
            centers_px,
            pitch_px,
            neighbours_px: (self.neighbour(|x| centers_px.0 - x), self.neighbour(|x| x - centers_px.1)),
            certainty: numbers.iter().map(|number| number.probability).sum::<f32>()
                / shown.len().max(1) as f32,
            changes: counts.len() >= MIN_TEXTS
                || counts.iter().filter(|count| **count >= MIN_TEXTS).count() >= 2,
            constant_share: counts.iter().copied().max().unwrap_or(0) as f32 / shown.len().max(1) as f32,
        })
    }

    /// Whether the outer digit of a number at column `x` (in pixels of the frame) is no digit but a misread character:
    /// more frames show a character there that belongs to no number. For a leading zero, which changes no value, fewer
    /// frames are enough.
    fn is_no_digit(&self, x: f32, leading_zero: bool) -> bool {
        let is_near = |other: &f32| (other - x).abs() <= SAME_PLACE * self.height;
        let share = |shows: &dyn Fn(&LineNumbers) -> bool| {
            self.frames.iter().filter(|line| shows(line)).count() as f32 / self.frames.len().max(1) as f32
        };
        let others = share(&|line| line.others_px.iter().any(is_near));
        let digits = share(&|line| line.numbers.iter().flat_map(|number| &number.centers_px).any(is_near));
        others > digits || leading_zero && others >= MIN_OTHERS_SHARE
    }

    /// Median column, in pixels of the frame, of the centre of the nearest character on one side that is not part of
    /// the number; `None` if too few frames show such a character. `distance` takes a column and returns its distance
    /// from the readout in pixels, positive on this side.
    fn neighbour(&self, distance: impl Fn(f32) -> f32) -> Option<f32> {
        let nearest = |line: &LineNumbers| {
            let near = line
                .others_px
                .iter()
                .copied()
                .filter(|x| (0.0..MAX_NEIGHBOUR * self.height).contains(&distance(*x)));
            near.min_by(|one, other| distance(*one).total_cmp(&distance(*other)))
        };
        let mut found: Vec<f32> = self.frames.iter().filter_map(nearest).collect();
        let is_usual = found.len() as f32 >= MIN_NEIGHBOUR_SHARE * self.frames.len() as f32;
        is_usual.then(|| nearest_rank(&mut found, 0.5))
    }
}

/// The number of occurrences of each distinct text.
fn counts(texts: &[&str]) -> Vec<usize> {
    let mut sorted = texts.to_vec();
    sorted.sort_unstable();
    sorted.chunk_by(|one, other| one == other).map(<[&str]>::len).collect()
}
