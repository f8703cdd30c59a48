//! Finds out whether the left or right edge of a box cuts a character in two. What is left of it could be read as nothing, and the
//! rest as a shorter number.

use super::box_texts::SampledFrames;
use crate::geometry::PixelRect;
use crate::stats::nearest_rank;

/// Columns on either side of an edge that are looked at, in pixels.
const REACH_PX: u32 = 1;
/// Minimum root mean square of the differences between the rows of a column that shows strokes, in grey levels. Set by judgement:
/// scenery that moves is averaged out, strokes are not.
const MIN_RMS_LEVELS: f32 = 15.0;
/// Minimum of the same relative to the columns in the box with the most strokes. Set by judgement.
const MIN_SHARE: f32 = 0.5;
/// Share of the columns in the box that have less than those with the most strokes.
const STROKES_QUANTILE: f32 = 0.75;

/// Whether strokes that are in place in most frames cross the left or right edge of a box.
pub(super) fn cuts_strokes(frames: &SampledFrames, rect: PixelRect) -> bool {
    let column = |x: u32| row_differences(frames, rect, x);
    let mut inside: Vec<f32> =
        (rect.left + REACH_PX..rect.right().saturating_sub(REACH_PX)).map(column).collect();
    if inside.is_empty() {
        return false;
    }
    let limit = MIN_RMS_LEVELS.max(MIN_SHARE * nearest_rank(&mut inside, STROKES_QUANTILE));
    let crosses = |edge: u32| (edge.saturating_sub(REACH_PX)..edge + REACH_PX).all(|x| column(x) >= limit);
    crosses(rect.left) || crosses(rect.right())
}

/// Root mean square of the differences between consecutive rows of a column in the median of all frames, in grey levels; 0 outside
/// the frame.
fn row_differences(frames: &SampledFrames, rect: PixelRect, x: u32) -> f32 {
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
    fn a_box_around_the_strokes_cuts_none_but_an_edge_inside_them_does() {
        assert!(!cuts_strokes(&frames(), PixelRect::from_edges(16, 2, 44, 28)));
        assert!(cuts_strokes(&frames(), PixelRect::from_edges(16, 2, 30, 28)));
        assert!(cuts_strokes(&frames(), PixelRect::from_edges(30, 2, 44, 28)));
        assert!(!cuts_strokes(&frames(), PixelRect::from_edges(50, 2, 70, 28)));
    }
}
