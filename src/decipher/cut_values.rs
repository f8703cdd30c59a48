//! Finds digits of a number outside its box, if the box is too narrow for the values of some frames.

use image::GrayImage;
use rayon::prelude::*;

use super::box_texts::{SampledFrames, with_room};
use crate::geometry::PixelRect;
use crate::line_reader::{LineCharacter, numbers, read_characters};
use crate::recognise::is_separator;
use crate::stats::upper_median;

// Distances are in heights of the box.

/// Width of the strip read on each side of the box, in heights of the box.
const SIDE_WIDTH: f32 = 1.6;
/// Thresholds for a digit beside the box: minimum probability of the digit, and minimum share of the frames that show a
/// digit of this probability. The box is enlarged if either pair is met; the first pair that is met determines by how
/// much. Set by judgement: a share is required because occasional frames are misread.
const LIMITS: [(f32, f32); 2] = [(0.85, 0.02), (0.45, 0.08)];
/// Minimum number of frames with a digit beside the box.
const MIN_FRAMES: usize = 2;
// A zero that never changes looks like a unit behind the number. The three limits that tell them apart were set by judgement: the
// zeros of `groff` (docs/benchmarks.md) are read as a `d` of 0.4, with a digit probability of 0.1 to 0.2, the units of `groff` and
// `canvas` with one of at most 0.01.

/// Maximum probability of a character other than a digit that may be a digit after all.
const MAX_DOUBTFUL_PROBABILITY: f32 = 0.6;
/// Minimum digit probability of a character that may be a digit after all.
const MIN_DIGIT_PROBABILITY: f32 = 0.1;
/// Minimum share of the frames that show such a character behind the number, for the values not to be known.
const MIN_DOUBTFUL_SHARE: f32 = 0.3;
/// Maximum distance between the centres of two adjacent characters of a number, in heights of the box, unless [`MAX_PITCHES`] allows
/// more.
const MAX_DISTANCE: f32 = 0.95;
/// Maximum distance between the centres of two adjacent characters of a number, in pitches of the characters in the box, unless
/// [`MAX_DISTANCE`] allows more: the pitch of wide digits is larger (set by judgement).
const MAX_PITCHES: f32 = 1.3;
/// Distance from the centre of the outermost digit to the new edge of the box, in pitches: half a digit and a small
/// margin.
const HALF_DIGIT: f32 = 0.65;

/// What one frame shows on one side of a box.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Neighbour {
    /// A digit of the number in the box, with its probability, 0 to 1.
    Digit(f32, Offset),
    /// A character that is not a digit of the number in the box.
    Other,
    /// A character that is not read as a digit, but may be one.
    Doubtful(Offset),
    Nothing,
}

/// Where a character beside a box stands, in pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Offset {
    /// Distance of the character's centre from the nearest column of the box.
    distance_px: f32,
    /// Distance of the character's centre from that of the adjacent character of the number; the pitch in the box if that is larger
    /// and the adjacent character is a separator.
    pitch_px: f32,
}

impl Offset {
    /// Number of columns by which a box has to be enlarged to hold the character.
    fn columns(self) -> f32 {
        self.distance_px + HALF_DIGIT * self.pitch_px
    }
}

/// A box with all digits of its number, as far as they are known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct EnlargedBox {
    /// The box.
    pub(super) rect: PixelRect,
    /// Whether the last character in the box is not read as a digit, but may be one.
    pub(super) last_is_doubtful: bool,
}

/// Enlarges the box by digits of its number that stand beside it in some frames; the box is unchanged if there are
/// none. Two cases are ignored: an icon or letter that is read as a digit in fewer frames than as another character,
/// and a zero before the number. The box is also enlarged by a character behind the number that may be a digit.
pub(super) fn with_values_beside(frames: &SampledFrames, rect: PixelRect) -> EnlargedBox {
    let sides: Vec<[Neighbour; 2]> = frames.images.par_iter().map(|image| beside(image, rect)).collect();
    let (left, right): (Vec<Neighbour>, Vec<Neighbour>) = sides.into_iter().map(<(_, _)>::from).unzip();
    let whole_px = |columns: Option<f32>| columns.map_or(0, |columns| columns.ceil() as u32);
    let (before, after) = (whole_px(columns_missing(&left)), whole_px(columns_missing(&right)));
    let doubtful = if after == 0 { whole_px(doubtful_columns(&right)) } else { 0 };
    let frame = frames.images.first().map_or((0, 0), GrayImage::dimensions);
    let columns = (rect.left.saturating_sub(before), rect.right() + after + doubtful);
    let rect = rect.with_columns(columns.0, columns.1).clipped_to(frame);
    EnlargedBox { rect, last_is_doubtful: doubtful > 0 }
}

/// Number of pixel columns that a character takes which may be a digit, from what each frame shows on one side of a box; `None`
/// if too few frames show such a character.
fn doubtful_columns(frames: &[Neighbour]) -> Option<f32> {
    let columns = |frame: &Neighbour| match frame {
        Neighbour::Doubtful(offset) => Some(offset.columns()),
        _ => None,
    };
    let mut doubtful: Vec<f32> = frames.iter().filter_map(columns).collect();
    let is_frequent = doubtful.len() as f32 >= MIN_DOUBTFUL_SHARE * frames.len().max(1) as f32;
    if is_frequent { upper_median(&mut doubtful) } else { None }
}

/// Number of pixel columns by which the box is too narrow on one side, from what each frame shows beside the box on
/// that side; `None` if no digits stand there.
fn columns_missing(frames: &[Neighbour]) -> Option<f32> {
    let is_other = |frame: &&Neighbour| matches!(frame, Neighbour::Other | Neighbour::Doubtful(_));
    let others = frames.iter().filter(is_other).count();
    let digits = |least: f32| -> Vec<f32> {
        let columns = |frame: &Neighbour| match frame {
            Neighbour::Digit(probability, offset) if *probability >= least => Some(offset.columns()),
            _ => None,
        };
        frames.iter().filter_map(columns).collect()
    };
    LIMITS.iter().find_map(|(least, min_share)| {
        let mut digits = digits(*least);
        let enough = digits.len() >= MIN_FRAMES
            && digits.len() as f32 >= min_share * frames.len() as f32
            && digits.len() > others;
        if enough { upper_median(&mut digits) } else { None }
    })
}

/// What a frame shows on the left and on the right of a box.
fn beside(image: &GrayImage, rect: PixelRect) -> [Neighbour; 2] {
    let height = rect.height as f32;
    let strip = with_room(rect, (SIDE_WIDTH * height) as u32, image.dimensions());
    let inner = ((rect.left - strip.left) as f32, (rect.right() - strip.left) as f32);
    sides_of(&read_characters(&strip.crop(image)), inner, height)
}

/// Whether a character that is not read as a digit may be one.
fn may_be_digit(one: &LineCharacter) -> bool {
    !one.character.is_ascii_digit()
        && one.probability <= MAX_DOUBTFUL_PROBABILITY
        && one.digit_probability >= MIN_DIGIT_PROBABILITY
}

/// What stands on the left and on the right of the columns `inner` of a line. All lengths are in pixels of the line.
fn sides_of(characters: &[LineCharacter], inner: (f32, f32), height: f32) -> [Neighbour; 2] {
    let is_inside = |one: &LineCharacter| (inner.0..inner.1).contains(&one.center_px);
    let (Some(first), Some(last)) =
        (characters.iter().position(is_inside), characters.iter().rposition(is_inside))
    else {
        return [Neighbour::Nothing; 2];
    };
    let numbers = numbers(characters);
    let pitch_px = pitch_of(&characters[first..=last]);
    let reach_px = (MAX_DISTANCE * height).max(MAX_PITCHES * pitch_px);
    let kind = |outermost: usize, is_left: bool| {
        // The next character outwards of the character with this index.
        let adjacent = |index: usize| {
            let next = if is_left { index.checked_sub(1)? } else { index + 1 };
            let distance_px = (characters.get(next)?.center_px - characters[index].center_px).abs();
            (distance_px <= reach_px).then_some((next, distance_px))
        };
        let Some((mut index, mut distance_px)) = adjacent(outermost) else { return Neighbour::Nothing };
        if is_separator(characters[index].character)
            && let Some((behind, from_separator_px)) = adjacent(index)
        {
            // A separator is narrower than a digit.
            (index, distance_px) = (behind, from_separator_px.max(pitch_px));
        }
        let one = &characters[index];
        let is_of_number = numbers.iter().any(|range| range.contains(&index) && range.contains(&outermost));
        let is_digit = one.character.is_ascii_digit() && (!is_left || one.character != '0');
        let offset = Offset {
            distance_px: (inner.0 - one.center_px).max(one.center_px - inner.1),
            pitch_px: distance_px,
        };
        if may_be_digit(one) {
            Neighbour::Doubtful(offset)
        } else if is_of_number && is_digit {
            Neighbour::Digit(one.probability, offset)
        } else {
            Neighbour::Other
        }
    };
    [kind(first, true), kind(last, false)]
}

/// Median distance between the centres of adjacent characters, in pixels; 0 for a single character.
fn pitch_of(characters: &[LineCharacter]) -> f32 {
    let mut distances: Vec<f32> =
        characters.windows(2).map(|pair| pair[1].center_px - pair[0].center_px).collect();
    upper_median(&mut distances).unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Characters 6 pixels apart in a line that is 10 pixels high; the box holds those from `first` on.
    fn sides(text: &str, first: usize, count: usize) -> [Neighbour; 2] {
        let character_at = |(index, character): (usize, char)| LineCharacter {
            character,
            center_px: 6.0 * index as f32 + 3.0,
            probability: 0.95,
            digit_probability: f32::from(u8::from(character.is_ascii_digit())),
        };
        let characters: Vec<LineCharacter> = text.chars().enumerate().map(character_at).collect();
        sides_of(&characters, (6.0 * first as f32, 6.0 * (first + count) as f32), 10.0)
    }

    /// Where the character beside the box stands in these tests.
    const NEXT: Offset = Offset { distance_px: 3.0, pitch_px: 6.0 };

    fn digit() -> Neighbour {
        Neighbour::Digit(0.95, NEXT)
    }

    #[test]
    fn a_digit_of_the_same_number_beside_the_box_is_seen() {
        assert_eq!(sides("100%", 1, 2), [digit(), Neighbour::Other]);
        assert_eq!(sides("16.4", 0, 3), [Neighbour::Nothing, digit()]);
        assert_eq!(sides("?57m", 1, 2), [Neighbour::Other, Neighbour::Other]);
        assert_eq!(
            sides("057", 1, 2),
            [Neighbour::Other, Neighbour::Nothing],
            "a zero before the number changes nothing"
        );
        assert_eq!(sides("57", 3, 2), [Neighbour::Nothing, Neighbour::Nothing]);
    }

    #[test]
    fn a_digit_behind_a_decimal_point_beside_the_box_is_seen() {
        let behind = Neighbour::Digit(0.95, Offset { distance_px: 9.0, pitch_px: 6.0 });
        assert_eq!(sides("16.0", 0, 2), [Neighbour::Nothing, behind]);
        assert_eq!(sides("16.0", 3, 1), [behind, Neighbour::Nothing]);
        assert_eq!(sides("16.V", 0, 2), [Neighbour::Nothing, Neighbour::Other]);
        assert_eq!(sides("16.", 0, 2), [Neighbour::Nothing, Neighbour::Other]);
    }

    #[test]
    fn digits_that_are_far_apart_are_of_one_number_if_those_in_the_box_are_as_far_apart() {
        let at = |(index, character): (usize, char)| LineCharacter {
            character,
            center_px: 12.0 * index as f32,
            probability: 0.95,
            digit_probability: 1.0,
        };
        let sides = |text: &str, last_px: f32| {
            sides_of(&text.chars().enumerate().map(at).collect::<Vec<_>>(), (-6.0, last_px), 10.0)[1]
        };
        assert!(matches!(sides("163", 18.0), Neighbour::Digit(..)));
        assert_eq!(sides("16", 6.0), Neighbour::Nothing, "the pitch in the box is not known");
    }

    #[test]
    fn a_character_that_may_be_a_digit_is_told_from_a_unit() {
        let read_as = |probability: f32, digit_probability: f32| {
            let six =
                LineCharacter { character: '6', center_px: 3.0, probability: 1.0, digit_probability: 1.0 };
            let next = LineCharacter { character: 'd', center_px: 9.0, probability, digit_probability };
            sides_of(&[six, next], (0.0, 6.0), 10.0)[1]
        };
        assert_eq!(read_as(0.41, 0.23), Neighbour::Doubtful(NEXT));
        assert_eq!(read_as(0.9, 0.05), Neighbour::Other);
        assert_eq!(read_as(0.4, 0.02), Neighbour::Other);
        let frames = |doubtful: usize, nothing: usize| {
            doubtful_columns(
                &[vec![Neighbour::Doubtful(NEXT); doubtful], vec![Neighbour::Nothing; nothing]].concat(),
            )
        };
        assert_eq!((frames(40, 60), frames(5, 95)), (Some(3.0 + HALF_DIGIT * 6.0), None));
    }

    #[test]
    fn a_box_grows_by_the_digits_beside_it_but_not_by_icons_that_are_read_as_digits() {
        let frames = |digits: usize, others: usize, nothing: usize| {
            let kinds = [(digit(), digits), (Neighbour::Other, others), (Neighbour::Nothing, nothing)];
            let frames: Vec<Neighbour> = kinds.iter().flat_map(|(kind, count)| vec![*kind; *count]).collect();
            columns_missing(&frames)
        };
        assert_eq!(frames(5, 0, 95), Some(3.0 + HALF_DIGIT * 6.0));
        assert_eq!(frames(5, 6, 89), None, "an icon");
        assert_eq!(frames(1, 0, 99), None, "a misread frame");
    }
}
