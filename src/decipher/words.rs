//! The words beside a readout: its unit and its caption.

use std::ops::Range;

use image::GrayImage;
use rayon::prelude::*;

use super::box_texts::{SampledFrames, with_room};
use crate::geometry::PixelRect;
use crate::line_reader::{LineCharacter, numbers, read_characters};
use crate::model::channel::Channel;
use crate::model::units::Unit;

/// Captions of overlays with their channels (common practice, no source). Captions of one letter are left out.
const CAPTIONS: [(&str, Channel); 19] = [
    ("spd", Channel::Speed),
    ("speed", Channel::Speed),
    ("gs", Channel::Speed),
    ("alt", Channel::Altitude),
    ("altitude", Channel::Altitude),
    ("hgt", Channel::Altitude),
    ("height", Channel::Altitude),
    ("bat", Channel::Voltage),
    ("batt", Channel::Voltage),
    ("volt", Channel::Voltage),
    ("cur", Channel::Current),
    ("amp", Channel::Current),
    ("thr", Channel::Throttle),
    ("throttle", Channel::Throttle),
    ("sat", Channel::Satellites),
    ("sats", Channel::Satellites),
    ("gps", Channel::Satellites),
    ("hdg", Channel::Heading),
    ("rpm", Channel::Rpm),
];
/// Maximum number of frames that are read.
const MAX_FRAMES: usize = 30;
/// Width of the strip read on each side of the box, in heights of the box: room for a caption of eight letters.
const SIDE_WIDTH: f32 = 5.0;
/// Maximum distances in heights of the box: between the centres of neighbouring letters, and between the centres of
/// the last digit of a number and the first letter.
const MAX_GAPS: (f32, f32) = (1.1, 1.5);
/// Minimum number of frames in which the same word must be read. Set by judgement.
const MIN_FRAMES: usize = 4;

/// Minimum share of the frames with a number in which the same word must be read. Set by judgement: scenery behind
/// the letters makes single frames illegible.
const MIN_SHARE: f32 = 0.3;

/// Minimum share of the frames with a known word in which the same word must be read. Set by judgement.
const MIN_SHARE_OF_KNOWN: f32 = 0.85;

/// The unit and the caption beside a readout.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Words {
    /// The unit; `None` if no known unit was read.
    pub unit: Option<Unit>,
    /// The caption in lower case, with its channel; `None` if no known caption was read.
    pub caption: Option<(&'static str, Channel)>,
}

/// The words on the left and on the right of a number in one frame.
struct WordPair {
    before: String,
    after: String,
}

impl Words {
    /// Reads the words beside a box `rect`. The search ends at the nearest of the boxes `others` in the same rows.
    pub(super) fn beside(frames: &SampledFrames, rect: PixelRect, others: &[PixelRect]) -> Self {
        let step = frames.images.len().div_ceil(MAX_FRAMES).max(1);
        let images: Vec<&GrayImage> = frames.images.iter().step_by(step).collect();
        let Some(frame) = images.first().map(|image| image.dimensions()) else { return Self::default() };
        let strip = strip_around(rect, others, frame);
        let pairs: Vec<WordPair> = images
            .par_iter()
            .filter_map(|image| word_pair(&read_characters(&strip.crop(image)), rect, strip))
            .collect();
        let units = pairs.iter().map(|pair| Unit::parse(&pair.after).ok());
        let captions = pairs.iter().map(|pair| caption(&pair.before).or_else(|| caption(&pair.after)));
        Self { unit: most_frequent(units), caption: most_frequent(captions) }
    }
}

fn caption(word: &str) -> Option<(&'static str, Channel)> {
    CAPTIONS.iter().find(|(spelling, _)| *spelling == word).cloned()
}

/// The strip of a box with the columns on both sides, up to the next boxes in the same rows.
fn strip_around(rect: PixelRect, others: &[PixelRect], frame: (u32, u32)) -> PixelRect {
    let strip = with_room(rect, (SIDE_WIDTH * rect.height as f32) as u32, frame);
    let (mut left, mut right) = (strip.left, strip.right());
    for other in others.iter().filter(|other| other.shared_rows(rect) > 0 && **other != rect) {
        if other.right() <= rect.left {
            left = left.max(other.right());
        } else if other.left >= rect.right() {
            right = right.min(other.left);
        }
    }
    strip.with_columns(left, right)
}

/// The words beside the number in a box; `None` if the frame shows no number there.
fn word_pair(characters: &[LineCharacter], rect: PixelRect, strip: PixelRect) -> Option<WordPair> {
    let x = |index: usize| characters.get(index).map(|one| strip.left as f32 + one.center_px);
    let is_inside = |range: &Range<usize>| {
        let columns = rect.left as f32..rect.right() as f32;
        range.clone().filter_map(x).any(|x| columns.contains(&x))
    };
    let number = numbers(characters).into_iter().find(is_inside)?;
    let height = rect.height as f32;
    let first = x(number.start)?;
    let last = x(number.end.checked_sub(1)?)?;
    let after = characters.get(number.end..)?.iter();
    let colon = number
        .start
        .checked_sub(1)
        .filter(|index| characters.get(*index).is_some_and(|one| one.character == ':'));
    let first = colon.and_then(x).unwrap_or(first);
    let before = characters.get(..colon.unwrap_or(number.start))?.iter().rev();
    let mut reversed: Vec<char> = word(before, first - strip.left as f32, height).collect();
    reversed.reverse();
    Some(WordPair {
        before: reversed.into_iter().collect(),
        after: word(after, last - strip.left as f32, height).collect(),
    })
}

/// The characters of the word beside a number (letters, `/`, `%`, `°`), from the number outwards. `characters` are in
/// this order, `number_px` is the centre of the number's character nearest to the word, in pixels from the left edge
/// of the strip, and `height` is the height of the box in pixels.
fn word<'a>(
    characters: impl Iterator<Item = &'a LineCharacter>,
    number_px: f32,
    height: f32,
) -> impl Iterator<Item = char> {
    let mut from = number_px;
    let mut limit = MAX_GAPS.1 * height;
    let is_near = move |one: &&LineCharacter| {
        let is_letter = one.character.is_ascii_lowercase() || matches!(one.character, '/' | '%' | '°');
        let near = is_letter && (one.center_px - from).abs() <= limit;
        from = one.center_px;
        limit = MAX_GAPS.0 * height;
        near
    };
    characters.take_while(is_near).map(|one| one.character)
}

/// The most frequent word; `None` if too few frames agree on it.
fn most_frequent<T: PartialEq>(words: impl Iterator<Item = Option<T>>) -> Option<T> {
    let words: Vec<Option<T>> = words.collect();
    let known = words.iter().flatten().count();
    let count = |one: &Option<T>| words.iter().filter(|other| *other == one).count();
    let best = words.iter().position(|one| {
        one.is_some() && {
            let count = count(one);
            count >= MIN_FRAMES
                && count as f32 >= MIN_SHARE * words.len() as f32
                && count as f32 >= MIN_SHARE_OF_KNOWN * known as f32
        }
    })?;
    words.into_iter().nth(best).flatten()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Characters as high as they are wide, from the left edge of the frame.
    fn line(text: &str) -> Vec<LineCharacter> {
        let character_at = |(index, character): (usize, char)| {
            (character != ' ').then_some(LineCharacter {
                digit_probability: 0.0,
                character,
                center_px: 10.0 * index as f32 + 5.0,
                probability: 1.0,
            })
        };
        text.chars().enumerate().filter_map(character_at).collect()
    }

    fn words(text: &str, first: u32, digits: u32) -> Option<(String, String)> {
        let rect = PixelRect::new(10 * first, 0, 10 * digits, 10);
        let pair = word_pair(&line(text), rect, PixelRect::new(0, 0, 400, 10))?;
        Some((pair.before, pair.after))
    }

    #[test]
    fn the_words_next_to_a_number_are_its_caption_and_unit() {
        let expected = |before: &str, after: &str| Some((before.to_owned(), after.to_owned()));
        assert_eq!(words("spd:123km/h", 4, 3), expected("spd", "km/h"));
        assert_eq!(words("?12.4v", 1, 4), expected("", "v"));
        assert_eq!(words("alt   73   m", 6, 2), expected("", ""), "too far away");
        assert_eq!(words("alt", 0, 3), None);
    }

    #[test]
    fn a_unit_needs_enough_frames_that_agree() {
        let unit = |known: usize, other: usize, silent: usize| {
            let units =
                [vec![Some(Unit::Knots); known], vec![Some(Unit::Feet); other], vec![None; silent]].concat();
            most_frequent(units.into_iter())
        };
        assert_eq!(unit(10, 1, 15), Some(Unit::Knots));
        assert_eq!(unit(10, 3, 0), None);
        assert_eq!(unit(3, 0, 0), None);
        assert_eq!(unit(5, 0, 20), None);
    }

    #[test]
    fn a_strip_ends_at_the_next_readout() {
        let rect = PixelRect::new(100, 50, 60, 20);
        let others = [rect, PixelRect::new(190, 52, 40, 20), PixelRect::new(20, 200, 40, 20)];
        assert_eq!(strip_around(rect, &others, (640, 480)), PixelRect::from_edges(0, 49, 190, 71));
    }
}
