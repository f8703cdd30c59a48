//! Where along a line of text the text changes.
//!
//! Two frames that show the same glyph agree well there, two that show different ones agree
//! little. Over many pairs of frames a digit gives both, a label only good agreement, scenery
//! only poor agreement.

use image::imageops::crop_imm;
use image::{GrayImage, Luma};
use imageproc::filter::box_filter;

use super::lines::Span;
use super::plane::quantile;

/// Pairs of frames compared at most.
const PAIRS: usize = 240;
/// Width of the window that slides along the line, in heights of the line: about one digit.
const WINDOW_HEIGHTS: f32 = 0.5;
/// The surroundings that a pixel is compared with, in heights of the line: wider than strokes,
/// so that the strokes of different digits count and not their common outline.
const STROKE_HEIGHTS: f32 = 0.2;
/// Successive frames differ where they agree less than this share of good agreement.
const DIFFERING: f32 = 0.7;
/// Share of the pairs that show the same glyph at least: chance alone gives one in ten.
const SAME_SHARE: f32 = 0.06;
/// Share of the pairs that may disagree in a label, by noise or glints.
const OTHER_SHARE: f32 = 0.3;

/// The agreement (normalised correlation, -1 to 1) of pairs of frames around one column.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Agreement {
    /// That of frames that agree well.
    pub(super) same: f32,
    /// That of frames that agree little.
    pub(super) other: f32,
    /// Share of the pairs of successive frames that disagree.
    pub(super) changed: f32,
}

/// The part of every frame around a line of text, without its slow changes of brightness.
pub(super) struct Strip {
    left: u32,
    top: u32,
    frames: Vec<GrayImage>,
}

impl Strip {
    /// Cuts the surroundings of a line out of the frames.
    pub(super) fn of(frames: &[GrayImage], line: Span) -> Self {
        let radius = ((line.height() as f32 * STROKE_HEIGHTS).round() as u32).max(2);
        let (left, top) = (line.left.saturating_sub(radius), line.top.saturating_sub(radius));
        let (width, height) = (line.right + radius - left, line.bottom + radius - top);
        let cut = |frame| flattened(&crop_imm(frame, left, top, width, height).to_image(), radius);
        Self { left, top, frames: frames.iter().map(cut).collect() }
    }

    /// The agreement around each column of the line.
    pub(super) fn agreement_along(&self, line: Span) -> Vec<Agreement> {
        let half = ((line.height() as f32 * WINDOW_HEIGHTS / 2.0).round() as u32).max(2);
        let window =
            |column: u32| Span { left: column.saturating_sub(half), right: column + half + 1, ..line };
        (line.left..line.right).map(|column| self.agreement_in(window(column))).collect()
    }

    /// The agreement of pairs of frames within a window.
    fn agreement_in(&self, window: Span) -> Agreement {
        let patches: Vec<Vec<f32>> = self.patches(window).collect();
        let mut agreements: Vec<f32> = pairs(patches.len())
            .filter_map(|(one, other)| Some(dot(patches.get(one)?, patches.get(other)?)))
            .collect();
        let same = quantile(&mut agreements, 1.0 - SAME_SHARE);
        let other = quantile(&mut agreements, OTHER_SHARE);
        let next = patches.iter().zip(patches.iter().skip(1));
        let differing = next.filter(|(one, next)| dot(one, next) < DIFFERING * same).count();
        Agreement { same, other, changed: differing as f32 / patches.len().saturating_sub(1).max(1) as f32 }
    }

    /// What each frame shows in a window: see [`normalised`].
    pub(super) fn patches(&self, window: Span) -> impl Iterator<Item = Vec<f32>> {
        let (left, top) = (window.left.saturating_sub(self.left), window.top.saturating_sub(self.top));
        let inside = Span { left, right: left + window.width(), top, bottom: top + window.height() };
        self.frames.iter().map(move |frame| normalised(frame, inside))
    }
}

/// A picture less the mean of each pixel's surroundings, plus 128.
fn flattened(picture: &GrayImage, radius: u32) -> GrayImage {
    let mut flat = box_filter(picture, radius, radius);
    for (mean, pixel) in flat.iter_mut().zip(picture.iter()) {
        *mean = (i16::from(*pixel) - i16::from(*mean) + 128).clamp(0, 255) as u8;
    }
    flat
}

/// Pairs of different frames, spread over all distances in time.
fn pairs(count: usize) -> impl Iterator<Item = (usize, usize)> {
    let all = count * count.saturating_sub(1) / 2;
    let every = all.div_ceil(PAIRS).max(1);
    (1..count)
        .flat_map(move |apart| (0..count - apart).map(move |first| (first, first + apart)))
        .step_by(every)
}

/// The pixels of a window less their mean, scaled to a sum of squares of 1; all 0 where the
/// window is flat. What lies outside the picture counts as the mean.
fn normalised(picture: &GrayImage, window: Span) -> Vec<f32> {
    let (columns, rows) = (window.left..window.right, window.top..window.bottom);
    let pixel = |x, y| picture.get_pixel_checked(x, y).map_or(128.0, |Luma([level])| f32::from(*level));
    let mut patch: Vec<f32> = rows.flat_map(|y| columns.clone().map(move |x| pixel(x, y))).collect();
    let mean = patch.iter().sum::<f32>() / patch.len().max(1) as f32;
    patch.iter_mut().for_each(|value| *value -= mean);
    scale_to_one(&mut patch);
    patch
}

/// Scales to a sum of squares of 1; what is next to nothing becomes nothing.
pub(super) fn scale_to_one(patch: &mut [f32]) {
    let norm = dot(patch, patch).sqrt();
    let scale = if norm > 1e-3 { 1.0 / norm } else { 0.0 };
    patch.iter_mut().for_each(|value| *value *= scale);
}

/// The sum of products; of two normalised patches their correlation.
pub(super) fn dot(one: &[f32], other: &[f32]) -> f32 {
    one.iter().zip(other).map(|(one, other)| one * other).sum()
}
