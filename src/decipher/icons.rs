//! Finds icons before a number that are read as zeros: they look different from the other zeros. Cutting off a leading
//! zero changes no value.

use image::GrayImage;

use super::box_texts::{FrameText, SampledFrames};
use crate::geometry::PixelRect;
use crate::line_reader::has_leading_zero;
use crate::stats::{correlation, median, upper_median};

/// Minimum share of the texts that have a leading zero, for the leading zero to be checked for being an icon. Set by
/// judgement.
const MIN_SHARE: f32 = 0.9;
/// Minimum probability of a digit that is compared or counted. Set by judgement.
const MIN_PROBABILITY: f32 = 0.8;

/// Minimum number of images of other zeros that the leading zero is compared with. Set by judgement.
const MIN_IMAGES: usize = 3;
/// Used if there are too few other zeros: minimum number of texts with another digit in the column of the leading
/// zero, for the leading zero to be a digit and not an icon.
const MIN_OTHERS: usize = 2;
/// Half the width of the image of a character, in pitches.
const HALF_WIDTH: f32 = 0.45;
/// Pitch in heights of the box, used if no text has enough digits to measure it.
const USUAL_PITCH: f32 = 0.6;
/// Maximum shift by which two images of characters are aligned before they are compared, in pixels.
const SHIFT_PX: i64 = 3;
/// Maximum correlation between other zeros and the median image of the leading zero, for the leading zero to be an
/// icon. The unit is the correlation between single images of the leading zero and their median image. Set by
/// judgement: the same digit has 0.9 or more, other characters 0.6 or less.
const MAX_SIMILARITY: f64 = 0.75;

/// Cuts an icon that is read as a leading zero off the box. If there are too few other zeros to compare with, the
/// leading zero is taken to be an icon, unless some texts have another digit in its column.
pub(super) fn clear_of_icon(frames: &SampledFrames, rect: PixelRect, texts: &[FrameText]) -> PixelRect {
    let numbers: Vec<&FrameText> = texts.iter().filter(|text| text.number.len() > 1).collect();
    let (zeros, others): (Vec<&FrameText>, Vec<&FrameText>) =
        numbers.iter().partition(|text| has_leading_zero(&text.number));
    if zeros.is_empty() || (zeros.len() as f32) < MIN_SHARE * numbers.len() as f32 {
        return rect;
    }
    let mut columns: Vec<f32> = zeros.iter().filter_map(|text| text.centers_px.first().copied()).collect();
    let next = zeros.iter().filter_map(|text| text.centers_px.get(1).copied()).min_by(f32::total_cmp);
    let Some((column, next)) = upper_median(&mut columns).zip(next).filter(|(column, next)| column < next)
    else {
        return rect;
    };
    let edge = (column + next) / 2.0;
    let is_digit_there = |text: &&&FrameText| {
        text.centers_px.first().is_some_and(|center| *center < edge)
            && text.character_probabilities.first().is_some_and(|probability| *probability >= MIN_PROBABILITY)
    };
    let images = CharacterImages { frames, rect, half_px: (HALF_WIDTH * pitch_px(&zeros, rect)) as i64 };
    let is_icon = images
        .differ_from_other_zeros(column, &zeros)
        .unwrap_or_else(|| others.iter().filter(is_digit_there).count() < MIN_OTHERS);
    if is_icon { rect.with_columns(rect.left + edge.max(0.0) as u32, rect.right()) } else { rect }
}

/// Median distance between the centres of neighbouring characters, in pixels; the first character of each text is
/// ignored. If no text has enough characters, [`USUAL_PITCH`] times the height of the box `rect`.
fn pitch_px(texts: &[&FrameText], rect: PixelRect) -> f32 {
    let later = texts.iter().flat_map(|text| text.centers_px.get(1..).unwrap_or_default().windows(2));
    let mut distances: Vec<f32> = later.map(|pair| pair[1] - pair[0]).collect();
    upper_median(&mut distances).unwrap_or(USUAL_PITCH * rect.height as f32)
}

/// Cuts images of single characters out of the frames.
struct CharacterImages<'a> {
    frames: &'a SampledFrames,
    rect: PixelRect,
    half_px: i64,
}

impl CharacterImages<'_> {
    /// Whether the character at a column (in pixels from the left edge of the box) looks different from the zeros
    /// elsewhere in the numbers; `None` if there are too few such zeros.
    fn differ_from_other_zeros(&self, column: f32, texts: &[&FrameText]) -> Option<bool> {
        let at_column: Vec<Vec<f64>> = texts
            .iter()
            .filter_map(|text| self.levels(self.frames.image_at(text.time_s)?, column.round() as i64))
            .collect();
        let usual: Vec<f64> = median_image(&at_column);
        let elsewhere: Vec<f64> =
            texts.iter().flat_map(|text| self.similarities_elsewhere(text, &usual)).collect();
        if elsewhere.len() < MIN_IMAGES {
            return None;
        }
        let itself: Vec<f64> = at_column.iter().map(|image| similarity(&usual, image)).collect();
        Some(median(&elsewhere)? < MAX_SIMILARITY * median(&itself)?)
    }

    /// Correlations of a reference image with the zeros after the first character of a text.
    fn similarities_elsewhere(&self, text: &FrameText, reference: &[f64]) -> Vec<f64> {
        let Some(image) = self.frames.image_at(text.time_s) else { return Vec::new() };
        let characters = text.number.chars().zip(&text.character_probabilities).zip(&text.centers_px).skip(1);
        let same =
            characters.filter(|((one, probability), _)| *one == '0' && **probability >= MIN_PROBABILITY);
        let best = |center: f32| {
            let shifted = (-SHIFT_PX..=SHIFT_PX)
                .filter_map(|shift| self.levels(image, center.round() as i64 + shift))
                .map(|levels| similarity(reference, &levels));
            shifted.max_by(f64::total_cmp)
        };
        same.filter_map(|(_, center)| best(*center)).collect()
    }

    /// The grey levels around a column of the box, row by row; `None` if the image would exceed the frame.
    fn levels(&self, image: &GrayImage, column: i64) -> Option<Vec<f64>> {
        let center = i64::from(self.rect.left) + column;
        let pixels = self
            .rect
            .rows()
            .flat_map(|y| (center - self.half_px..=center + self.half_px).map(move |x| (x, y)));
        let level = |(x, y): (i64, usize)| {
            let pixel = image.get_pixel_checked(u32::try_from(x).ok()?, y as u32)?;
            Some(f64::from(pixel.0[0]))
        };
        pixels.map(level).collect()
    }
}

/// The correlation of two images of the same size, -1 to 1.
fn similarity(one: &[f64], other: &[f64]) -> f64 {
    let pairs: Vec<(f64, f64)> = one.iter().copied().zip(other.iter().copied()).collect();
    correlation(&pairs)
}

/// The median of each pixel over the images.
fn median_image(images: &[Vec<f64>]) -> Vec<f64> {
    let pixels = images.first().map_or(0, Vec::len);
    let level = |pixel: usize| {
        let levels: Vec<f64> = images.iter().filter_map(|image| image.get(pixel).copied()).collect();
        median(&levels).unwrap_or_default()
    };
    (0..pixels).map(level).collect()
}

#[cfg(test)]
mod tests {
    use image::Luma;

    use super::*;

    const BOX: PixelRect = PixelRect { left: 10, top: 5, width: 60, height: 20 };

    /// A frame in whose box a zero is drawn as a ring, a one as a bar, an icon as a filled square, 15 pixels apart.
    fn frame(shown: &str) -> GrayImage {
        GrayImage::from_fn(100, 30, |x, y| {
            let inside = (i64::from(x) - 10, i64::from(y) - 5);
            let character = shown.chars().nth((inside.0 / 15).max(0) as usize).unwrap_or(' ');
            let (across, down) = (inside.0.rem_euclid(15) - 7, inside.1 - 10);
            let is_ink = inside.0 >= 0
                && match character {
                    '0' => (25..60).contains(&(across * across + down * down / 2)),
                    '1' => across.abs() <= 1 && down.abs() <= 8,
                    '#' => across.abs() <= 4 && down.abs() <= 6,
                    _ => false,
                };
            Luma([if is_ink { 240 } else { 60 }])
        })
    }

    /// Number of columns that are cut off the left of the box, in pixels, given the text read and the text shown in
    /// each frame.
    fn cut_px(read_and_shown: &[(&str, &str)]) -> u32 {
        let frames = SampledFrames {
            times_s: (0..read_and_shown.len()).map(|second| second as f64).collect(),
            images: read_and_shown.iter().map(|(_, shown)| frame(shown)).collect(),
        };
        let text = |(second, (number, _)): (usize, &(&str, &str))| FrameText {
            time_s: second as f64,
            centers_px: (0..number.len()).map(|index| 15.0 * index as f32 + 7.0).collect(),
            ..FrameText::example(number, 0.9)
        };
        let texts: Vec<FrameText> = read_and_shown.iter().enumerate().map(text).collect();
        clear_of_icon(&frames, BOX, &texts).left - BOX.left
    }

    #[test]
    fn an_icon_that_is_read_as_a_zero_is_cut_off() {
        assert_eq!(cut_px(&[("010", "#10"), ("011", "#11"), ("000", "#00"), ("010", "#10")]), 14);
    }

    #[test]
    fn other_first_digits_stay() {
        assert_eq!(cut_px(&[("110", "#10"), ("111", "#11"), ("101", "#01"), ("110", "#10")]), 0);
        assert_eq!(cut_px(&[("010", "010"), ("011", "011"), ("000", "000"), ("010", "010")]), 0, "a zero");
        let counts = [("011", "011"); 20].into_iter().chain([("111", "111"); 2]);
        assert_eq!(cut_px(&counts.collect::<Vec<_>>()), 0, "another digit takes the place of the zero");
    }

    #[test]
    fn a_leading_zero_is_cut_off_if_no_other_zero_is_seen() {
        assert_eq!(cut_px(&[("011", "011"), ("01", "01"), ("011", "011"), ("011", "011")]), 14);
        assert_eq!(cut_px(&[("0.11", "0 11"), ("0.11", "0 11"), ("0.11", "0 11"), ("0.11", "0 11")]), 0);
    }
}
