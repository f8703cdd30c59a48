//! Finds out whether a box cuts values: digits of the same number stand beside it in some frames.

use image::GrayImage;
use rayon::prelude::*;

use super::box_texts::{SampledFrames, with_room};
use crate::geometry::PixelRect;
use crate::line_reader::{LineCharacter, numbers, read_characters};

// Distances are in heights of the box.

/// Columns read on each side of the box.
const REACH: f32 = 1.6;
/// Probabilities of a digit beside the box, and minimum share of the frames with a digit of this probability. Set by judgement:
/// single frames are misread.
const LIMITS: [(f32, f32); 2] = [(0.85, 0.02), (0.45, 0.08)];
/// Minimum number of these frames.
const MIN_FRAMES: usize = 2;
/// Maximum distance of its centre from that of the next character of the number.
const MAX_DISTANCE: f32 = 0.95;

/// What stands beside a box, on one side, in one frame.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Neighbour {
    /// A digit of the number in the box, with its probability.
    Digit(f32),
    /// Another character.
    Other,
    Nothing,
}

/// Whether values go on outside of a box. An icon or a letter that is read as a digit in some frames, and as another character in
/// more of them, does not count; neither does a zero before the number.
pub(super) fn cuts_values(frames: &SampledFrames, rect: PixelRect) -> bool {
    let sides: Vec<[Neighbour; 2]> = frames.images.par_iter().map(|image| beside(image, rect)).collect();
    (0..2).any(|side| {
        let digits = |least: f32| {
            sides
                .iter()
                .filter(|frame| matches!(frame[side], Neighbour::Digit(found) if found >= least))
                .count()
        };
        let others = sides.iter().filter(|frame| frame[side] == Neighbour::Other).count();
        LIMITS.iter().any(|(least, min_share)| {
            let digits = digits(*least);
            digits >= MIN_FRAMES && digits as f32 >= min_share * sides.len() as f32 && digits > others
        })
    })
}

/// What stands on the left and right of a box in a frame.
fn beside(image: &GrayImage, rect: PixelRect) -> [Neighbour; 2] {
    let height = rect.height as f32;
    let strip = with_room(rect, (REACH * height) as u32, image.dimensions());
    let inner = ((rect.left - strip.left) as f32, (rect.right() - strip.left) as f32);
    sides_of(&read_characters(&strip.crop(image)), inner, height)
}

/// What stands on both sides of the columns `inner` of a line, in pixels of the line.
fn sides_of(characters: &[LineCharacter], inner: (f32, f32), height: f32) -> [Neighbour; 2] {
    let is_inside = |one: &LineCharacter| (inner.0..inner.1).contains(&one.center_px);
    let (Some(first), Some(last)) =
        (characters.iter().position(is_inside), characters.iter().rposition(is_inside))
    else {
        return [Neighbour::Nothing; 2];
    };
    let numbers = numbers(characters);
    let kind = |place: Option<usize>, next: usize, counts_zero: bool| {
        let Some((one, neighbour)) = place.and_then(|place| characters.get(place)).zip(characters.get(next))
        else {
            return Neighbour::Nothing;
        };
        if (one.center_px - neighbour.center_px).abs() > MAX_DISTANCE * height {
            return Neighbour::Nothing;
        }
        let is_of_number = numbers
            .iter()
            .any(|range| place.is_some_and(|place| range.contains(&place)) && range.contains(&next));
        let is_digit = one.character.is_ascii_digit() && (counts_zero || one.character != '0');
        if is_of_number && is_digit { Neighbour::Digit(one.probability) } else { Neighbour::Other }
    };
    [kind(first.checked_sub(1), first, false), kind(Some(last + 1), last, true)]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Characters 6 pixels apart in a line that is 10 pixels high; the box holds those from `first` on.
    fn sides(text: &str, first: usize, count: usize) -> [Neighbour; 2] {
        let place = |(place, character): (usize, char)| LineCharacter {
            character,
            center_px: 6.0 * place as f32 + 3.0,
            probability: 0.95,
        };
        let characters: Vec<LineCharacter> = text.chars().enumerate().map(place).collect();
        sides_of(&characters, (6.0 * first as f32, 6.0 * (first + count) as f32), 10.0)
    }

    #[test]
    fn a_digit_of_the_same_number_beside_the_box_is_seen() {
        assert_eq!(sides("100%", 1, 2), [Neighbour::Digit(0.95), Neighbour::Other]);
        assert_eq!(sides("16.4", 0, 3), [Neighbour::Nothing, Neighbour::Digit(0.95)]);
        assert_eq!(sides("?57m", 1, 2), [Neighbour::Other, Neighbour::Other]);
        assert_eq!(
            sides("057", 1, 2),
            [Neighbour::Other, Neighbour::Nothing],
            "a zero before the number changes nothing"
        );
        assert_eq!(sides("57", 3, 2), [Neighbour::Nothing, Neighbour::Nothing]);
    }
}
