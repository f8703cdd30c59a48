//! Moves the left and right edge of a box out of characters that it cuts in two. The visible part of a cut character
//! might not be read, which leaves a shorter number.

use super::box_texts::SampledFrames;
use crate::geometry::PixelRect;
use crate::stats::nearest_rank;

/// Number of columns on each side of an edge that are searched for strokes.
const EDGE_RANGE_PX: u32 = 1;
/// Minimum contrast of a column that strokes cross: root mean square of the differences between vertically adjacent
/// pixels in the median of all frames, in grey levels. Set by judgement: scenery that moves is averaged out, strokes
/// are not.
const MIN_CONTRAST_LEVELS: f32 = 15.0;
/// Minimum contrast (see [`MIN_CONTRAST_LEVELS`]) of a column that strokes cross, as a share of the contrast of the columns
/// of the box with the most strokes. Set by judgement.
const MIN_SHARE: f32 = 0.5;
/// Quantile of the contrasts of all columns in the box that is used as the contrast of the columns with the most
/// strokes.
const STROKES_QUANTILE: f32 = 0.75;

/// Maximum distance by which an edge is moved, in heights of the box: the width of a wide digit.
const MAX_SHIFT: f32 = 0.9;

/// Moves the left and right edge of the box outwards to the nearest column that no stroke crosses in most frames.
/// `None` if there is no such column within [`MAX_SHIFT`].
pub(super) fn clear_of_strokes(frames: &SampledFrames, rect: PixelRect) -> Option<PixelRect> {
    let column = |x: u32| column_contrast(frames, rect, x);
    let mut inside: Vec<f32> =
        (rect.left + EDGE_RANGE_PX..rect.right().saturating_sub(EDGE_RANGE_PX)).map(column).collect();
    if inside.is_empty() {
        return Some(rect);
    }
    let limit = MIN_CONTRAST_LEVELS.max(MIN_SHARE * nearest_rank(&mut inside, STROKES_QUANTILE));
    let crosses =
        |edge: u32| (edge.saturating_sub(EDGE_RANGE_PX)..edge + EDGE_RANGE_PX).all(|x| column(x) >= limit);
    let max_shift_px = (MAX_SHIFT * rect.height as f32) as u32;
    let left = (rect.left.saturating_sub(max_shift_px)..=rect.left).rev().find(|edge| !crosses(*edge))?;
    let right = (rect.right()..=rect.right() + max_shift_px).find(|edge| !crosses(*edge))?;
    Some(rect.with_columns(left, right))
}

/// Contrast of column `x`: root mean square of the differences between vertically adjacent pixels in the median of all
/// frames, in grey levels; 0 outside the frame.
fn column_contrast(frames: &SampledFrames, rect: PixelRect, x: u32) -> f32 {
    let levels: Vec<f32> = (rect.top..rect.bottom()).filter_map(|y| median_level(frames, x, y)).collect();
    let squares: f32 = levels.windows(2).map(|pair| (pair[1] - pair[0]).powi(2)).sum();
    (squares / levels.len().max(1) as f32).sqrt()
}

fn median_level(frames: &SampledFrames, x: u32, y: u32) -> Option<f32> {
    let mut levels: Vec<f32> = frames
        .images
        .iter()
        .filter_map(|image| image.get_pixel_checked(x, y))
        .map(|pixel| f32::from(pixel.0[0]))
        .collect();
    crate::stats::upper_median(&mut levels)
}

#[cfg(test)]
mod tests {
    use image::{GrayImage, Luma};

    use super::*;

    /// Frames with horizontal strokes in columns 20 to 39, over a grey that changes from frame to frame.
    fn frames() -> SampledFrames {
        let image = |number: u32| {
            GrayImage::from_fn(80, 30, |x, y| {
                let stroke = (20..40).contains(&x) && y % 8 < 3;
                Luma([if stroke { 250 } else { (60 + 10 * (number % 5)) as u8 }])
            })
        };
        SampledFrames { times_s: (0..20).map(f64::from).collect(), images: (0..20).map(image).collect() }
    }

    #[test]
    fn an_edge_inside_strokes_moves_to_their_end() {
        let moved =
            |left: u32, right: u32| clear_of_strokes(&frames(), PixelRect::from_edges(left, 2, right, 28));
        assert_eq!(moved(16, 44), Some(PixelRect::from_edges(16, 2, 44, 28)), "a box around them");
        assert_eq!(moved(16, 30), Some(PixelRect::from_edges(16, 2, 40, 28)));
        assert_eq!(moved(30, 44), Some(PixelRect::from_edges(20, 2, 44, 28)));
        assert_eq!(moved(50, 70), Some(PixelRect::from_edges(50, 2, 70, 28)), "a box beside them");
    }

    #[test]
    fn an_edge_far_inside_strokes_stays() {
        let image = GrayImage::from_fn(80, 30, |x, y| Luma([if x >= 10 && y % 8 < 3 { 250 } else { 60 }]));
        let frames = SampledFrames { times_s: (0..9).map(f64::from).collect(), images: vec![image; 9] };
        assert_eq!(clear_of_strokes(&frames, PixelRect::from_edges(6, 2, 40, 28)), None);
    }
}
