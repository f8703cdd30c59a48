//! Finds readouts whose box cuts off digits: in a wider box, the learned glyphs read more digits.

use super::search::{MIN_CONFIDENCE, OverlaySearch};
use crate::footage::{Clip, FootageError, FrameSource as _};
use crate::geometry::PixelRect;
use crate::glyphs::GlyphSet;
use crate::recognise::RegionReading;
use crate::setup::{MAX_DIGITS, Region};

/// Minimum number of frames with more digits in the wider box (set by judgement: a single frame may be misread).
const MIN_FRAMES: usize = 3;
/// Width added on each side of the box, relative to the mean width of its characters; a digit and its gap fit (set by judgement).
const ADDED_WIDTH: f32 = 1.3;
/// Number of digits that may stand in the wider box beside those of the region, one on each side.
const ADDED_DIGITS: u8 = 2;

/// Indices of the regions whose box cuts off digits, in ascending order.
pub(super) fn cut_regions(
    regions: &[Region],
    set: &GlyphSet,
    search: &OverlaySearch,
    clip: &mut Clip,
) -> Result<Vec<usize>, FootageError> {
    if regions.is_empty() {
        return Ok(Vec::new());
    }
    let boxes: Vec<PixelRect> = regions.iter().map(|region| region.rect).collect();
    let frame_width = clip.info().width;
    let wider: Vec<Region> = regions.iter().map(|region| widened(region, &boxes, frame_width)).collect();
    let sample = search.sample(&wider, clip)?;
    let read = search.read(&wider, std::slice::from_ref(set), &sample, clip)?;
    let is_cut = |index: &usize| {
        let readings = read.iter().filter_map(|(_, readings)| readings.get(*index));
        let longer = readings.filter_map(|reading| longer_text(reading, &regions[*index]));
        are_longer_values(&longer.collect::<Vec<_>>())
    };
    Ok((0..regions.len()).filter(is_cut).collect())
}

/// The region with a box that is wider by one digit on both sides, as far as the frame and the other boxes leave room.
fn widened(region: &Region, boxes: &[PixelRect], frame_width: u32) -> Region {
    let rect = region.rect;
    let digits = region.digits.unwrap_or(MAX_DIGITS);
    let characters = digits + u8::from(region.decimals > 0);
    let added = (ADDED_WIDTH * rect.width as f32 / f32::from(characters.max(1))).ceil() as u32;
    let in_rows = || boxes.iter().filter(|other| other.shared_rows(rect) > 0);
    let left = in_rows().map(|other| other.right()).filter(|edge| *edge <= rect.left).max();
    let right = in_rows().map(|other| other.left).filter(|edge| *edge >= rect.right()).min();
    let left = rect.left.saturating_sub(added).max(left.unwrap_or(0));
    let right = (rect.right() + added).min(right.unwrap_or(frame_width));
    Region {
        rect: rect.with_columns(left, right),
        digits: Some((digits + ADDED_DIGITS).min(MAX_DIGITS)),
        ..region.clone()
    }
}

/// The text of a certain reading that has more digits than the values of the region; `None` for other readings.
fn longer_text<'a>(reading: &'a RegionReading, region: &Region) -> Option<&'a str> {
    let RegionReading::Text { text, confidence, .. } = reading else { return None };
    let digits = text.chars().filter(char::is_ascii_digit).count();
    let is_longer = region.digits.is_some_and(|most| digits > usize::from(most));
    (*confidence >= MIN_CONFIDENCE && is_longer).then_some(text)
}

/// Whether enough longer texts are values. If all end in the same digit, it is a letter of the unit.
fn are_longer_values(texts: &[&str]) -> bool {
    let last = |text: &&str| text.chars().last();
    texts.len() >= MIN_FRAMES && texts.iter().any(|text| last(text) != texts.first().and_then(last))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::channel::Channel;

    #[test]
    fn the_wider_box_ends_at_other_boxes_and_at_the_frame() {
        let region = |left: u32, digits: u8| Region {
            digits: Some(digits),
            ..Region::new(Channel::Speed, PixelRect::new(left, 50, 40, 20), None)
        };
        let beside =
            [PixelRect::new(75, 55, 20, 20), PixelRect::new(10, 55, 20, 20), PixelRect::new(75, 90, 20, 20)];
        let columns = |region: &Region, boxes: &[PixelRect]| {
            let wide = widened(region, boxes, 150);
            (wide.rect.left, wide.rect.right(), wide.digits)
        };
        assert_eq!(columns(&region(30, 2), &beside[2..]), (4, 96, Some(4)));
        assert_eq!(columns(&region(30, 2), &beside), (30, 75, Some(4)));
        assert_eq!(columns(&region(0, 4), &[]), (0, 53, Some(6)));
        assert_eq!(columns(&region(105, 1), &[]), (53, 150, Some(3)));
    }

    #[test]
    fn longer_values_are_told_from_values_with_a_letter_of_the_unit() {
        assert!(are_longer_values(&["118", "118", "119"]));
        assert!(!are_longer_values(&["1161", "1151", "1121"]));
        assert!(!are_longer_values(&["118", "119"]));
    }
}
