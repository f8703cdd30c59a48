//! Finds out where along a line the text changes.
//!
//! Two frames with the same glyph at a column correlate well there, two with different glyphs correlate weakly. Over many
//! pairs of frames, a digit shows both; a label shows only high correlations, and scenery only low ones.

use std::ops::Range;

use image::GrayImage;
use image::imageops::crop_imm;
use imageproc::filter::box_filter;
use pulp::Arch;

use super::correlation::{
    CumulativeSums, LineLevels, MIDDLE_LEVEL, Moments, normalised, template_correlation,
};
use crate::geometry::PixelRect;
use crate::stats::nearest_rank;

/// Maximum number of pairs of frames that are compared.
const MAX_PAIRS: usize = 240;
/// Width of the window that slides along the line, in heights of the line: about one digit.
const WINDOW_HEIGHTS: f32 = 0.5;
/// Radius of the surroundings whose mean is subtracted from a pixel, in heights of the line. They are wider than strokes,
/// so that the strokes of the digits are compared instead of their common outline.
const SURROUNDINGS_HEIGHTS: f32 = 0.2;
/// Successive frames differ if their correlation is below this share of the high agreement.
const MAX_DIFFERING_SHARE: f32 = 0.7;
/// The share of pairs that show the same glyph is assumed to be at least this; by chance it is one in ten.
const SAME_GLYPH_SHARE: f32 = 0.06;
/// Share of the pairs that may disagree in a label because of noise or glints.
const LABEL_OUTLIER_SHARE: f32 = 0.3;

/// How well pairs of frames agree around one column. Agreement is a normalised correlation, -1 to 1.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Agreement {
    /// A high quantile over the pairs: the agreement of frames with the same glyph.
    pub(super) high: f32,
    /// A low quantile over the pairs: the agreement of frames with different glyphs, if there are any.
    pub(super) low: f32,
    /// Share of the pairs of successive frames that differ.
    pub(super) changed_share: f32,
}

/// The part of every frame around a line of text, with the mean of the surroundings subtracted.
pub(super) struct LineStrip {
    /// First column and row of the strip in the frame.
    left: u32,
    top: u32,
    frames: Vec<GrayImage>,
}

impl LineStrip {
    /// Cuts a line and its surroundings out of the frames.
    pub(super) fn of(frames: &[GrayImage], line: PixelRect) -> Self {
        let radius = ((line.height as f32 * SURROUNDINGS_HEIGHTS).round() as u32).max(2);
        let (left, top) = (line.left.saturating_sub(radius), line.top.saturating_sub(radius));
        let (width, height) = (line.right() + radius - left, line.bottom() + radius - top);
        let cut = |frame| without_surroundings(&crop_imm(frame, left, top, width, height).to_image(), radius);
        Self { left, top, frames: frames.iter().map(cut).collect() }
    }

    /// The agreement of the frames around each column of the line.
    pub(super) fn agreement_along(&self, line: PixelRect) -> Vec<Agreement> {
        let half = ((line.height as f32 * WINDOW_HEIGHTS / 2.0).round() as u32).max(2);
        let window = |column: u32| line.with_columns(column.saturating_sub(half), column + half + 1);
        let windows: Vec<PixelRect> = (line.left..line.right()).map(window).collect();
        let correlations = PairCorrelations::of(self, line, &windows);
        (0..windows.len()).map(|column| correlations.agreement(column)).collect()
    }

    /// The first column and row of a window of the frame, counted in the strip. A window that begins left of the strip or
    /// above it is moved to the edge of the strip.
    fn origin(&self, window: PixelRect) -> (usize, usize) {
        (window.left.saturating_sub(self.left) as usize, window.top.saturating_sub(self.top) as usize)
    }

    /// The [normalised] levels of each frame in a window.
    pub(super) fn patches(&self, window: PixelRect) -> impl Iterator<Item = Vec<f32>> {
        self.frames.iter().map(move |frame| normalised(self.rows(frame, window), window))
    }

    /// The rows of a window in one frame, as far as they lie in the strip.
    fn rows<'a>(
        &self,
        frame: &'a GrayImage,
        window: PixelRect,
    ) -> impl Iterator<Item = &'a [u8]> + Clone + use<'a> {
        let (left, top) = self.origin(window);
        let (columns, rows) = (window.width as usize, window.height as usize);
        let lines = frame.as_raw().chunks_exact((frame.width() as usize).max(1));
        lines.skip(top).take(rows).map(move |line| {
            let end = line.len().min(left + columns);
            line.get(left..end).unwrap_or_default()
        })
    }

    /// The highest correlation of a normalised template with windows of its size, in every second frame.
    pub(super) fn best_match(&self, template: &[f32], windows: impl Iterator<Item = PixelRect>) -> f32 {
        let arch = Arch::new();
        let frames = || self.frames.iter().step_by(2);
        let pairs = windows.flat_map(|window| frames().map(move |frame| (frame, window)));
        let correlation = |(frame, window): (&GrayImage, PixelRect)| {
            let rows = self.rows(frame, window);
            arch.dispatch(|| template_correlation(template, window, rows))
        };
        pairs.map(correlation).fold(0.0, f32::max)
    }
}

/// Correlations of pairs of frames in windows along a line.
struct PairCorrelations {
    /// For each of [`frame_pairs`] the correlations in all windows.
    spread: Vec<Vec<f32>>,
    /// The same for each pair of successive frames.
    successive: Vec<Vec<f32>>,
}

impl PairCorrelations {
    fn of(strip: &LineStrip, line: PixelRect, windows: &[PixelRect]) -> Self {
        let whole = line.with_columns(strip.left, u32::MAX);
        let frames: Vec<LineLevels> =
            strip.frames.iter().map(|frame| LineLevels::of(strip.rows(frame, whole))).collect();
        let columns = |window: &PixelRect| {
            let (left, _) = strip.origin(*window);
            left..left + window.width as usize
        };
        let columns: Vec<Range<usize>> = windows.iter().map(columns).collect();
        let rows = line.height as usize;
        let moments: Vec<Vec<Moments>> = frames.iter().map(|frame| frame.moments(&columns, rows)).collect();
        let correlations = |(one, other): (usize, usize)| -> Option<Vec<f32>> {
            let products: CumulativeSums = frames.get(one)?.products(frames.get(other)?);
            let moments = moments.get(one)?.iter().zip(moments.get(other)?);
            let sums = columns.iter().map(|columns| products.within(columns));
            Some(sums.zip(moments).map(|(sum, (one, other))| one.correlation(other, sum)).collect())
        };
        let count = frames.len();
        Self {
            spread: frame_pairs(count).filter_map(correlations).collect(),
            successive: (1..count).filter_map(|next| correlations((next - 1, next))).collect(),
        }
    }

    /// The agreement in a window.
    fn agreement(&self, window: usize) -> Agreement {
        let mut agreements: Vec<f32> =
            self.spread.iter().filter_map(|pair| pair.get(window).copied()).collect();
        let high = nearest_rank(&mut agreements, 1.0 - SAME_GLYPH_SHARE);
        let low = nearest_rank(&mut agreements, LABEL_OUTLIER_SHARE);
        let successive = self.successive.iter().filter_map(|pair| pair.get(window));
        let differing = successive.filter(|agreement| **agreement < MAX_DIFFERING_SHARE * high).count();
        Agreement { high, low, changed_share: differing as f32 / self.successive.len().max(1) as f32 }
    }
}

/// A frame minus the mean of each pixel's surroundings, plus [`MIDDLE_LEVEL`]: slow changes of brightness vanish.
fn without_surroundings(frame: &GrayImage, radius: u32) -> GrayImage {
    let mut flat = box_filter(frame, radius, radius);
    for (mean, pixel) in flat.iter_mut().zip(frame.iter()) {
        *mean = (i16::from(*pixel) - i16::from(*mean) + MIDDLE_LEVEL).clamp(0, 255) as u8;
    }
    flat
}

/// Up to [`MAX_PAIRS`] pairs of different frames, spread over all distances in time.
fn frame_pairs(count: usize) -> impl Iterator<Item = (usize, usize)> {
    let all = count * count.saturating_sub(1) / 2;
    let every = all.div_ceil(MAX_PAIRS).max(1);
    (1..count)
        .flat_map(move |distance| (0..count - distance).map(move |first| (first, first + distance)))
        .step_by(every)
}

#[cfg(test)]
mod tests {
    use super::super::correlation::dot;
    use super::*;

    /// Frames of different noise, some with a flat part, and a line that extends beyond their edge.
    fn strip_and_line() -> (LineStrip, PixelRect) {
        let level = |frame: u32, x: u32, y: u32| {
            let noise = (x * 7919 + y * 104_729 + frame * 31 * x * y) % 97;
            if frame.is_multiple_of(3) && x < 30 { 90 } else { 60 + noise as u8 }
        };
        let image = |frame: u32| GrayImage::from_fn(80, 40, |x, y| image::Luma([level(frame, x, y)]));
        let line = PixelRect::from_edges(2, 1, 78, 25);
        (LineStrip::of(&(0..9).map(image).collect::<Vec<_>>(), line), line)
    }

    fn assert_close(one: f32, other: f32) {
        assert!((one - other).abs() < 1e-4, "{one} {other}");
    }

    #[test]
    fn the_agreement_equals_the_correlations_of_the_patches() {
        let (strip, line) = strip_and_line();
        let half = (line.height as f32 * WINDOW_HEIGHTS / 2.0).round() as u32;
        for (column, found) in (line.left..line.right()).zip(strip.agreement_along(line)) {
            let window = line.with_columns(column.saturating_sub(half), column + half + 1);
            let patches: Vec<Vec<f32>> = strip.patches(window).collect();
            let mut all: Vec<f32> =
                frame_pairs(patches.len()).map(|(one, other)| dot(&patches[one], &patches[other])).collect();
            assert_close(found.high, nearest_rank(&mut all, 1.0 - SAME_GLYPH_SHARE));
            assert_close(found.low, nearest_rank(&mut all, LABEL_OUTLIER_SHARE));
            let differing = patches
                .windows(2)
                .filter(|two| dot(&two[0], &two[1]) < MAX_DIFFERING_SHARE * found.high)
                .count();
            assert_close(found.changed_share, differing as f32 / 8.0);
        }
    }

    #[test]
    fn the_best_match_is_the_highest_correlation_in_every_second_frame() {
        let (strip, line) = strip_and_line();
        let glyph = line.with_columns(40, 53);
        let template = strip.patches(glyph).nth(3).unwrap_or_default();
        for windows in [[40, 45], [60, 75], [0, 5]] {
            let windows = windows.map(|left| line.with_columns(left, left + 13));
            let patches = windows.iter().flat_map(|window| strip.patches(*window).step_by(2));
            let expected = patches.map(|patch| dot(&template, &patch)).fold(0.0, f32::max);
            assert_close(strip.best_match(&template, windows.into_iter()), expected);
        }
    }
}
