//! Where along a line of text the text changes.
//!
//! Two frames that show the same glyph agree well there, two that show different ones agree
//! little. Over many pairs of frames a digit gives both, a label only good agreement, scenery
//! only poor agreement.

use image::GrayImage;
use image::imageops::crop_imm;
use imageproc::filter::box_filter;
use pulp::Arch;

use super::plane::quantile;
use crate::geometry::PixelRect;

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

/// The level that a pixel as bright as its surroundings has once they are taken off.
const MIDDLE_LEVEL: i16 = 128;
/// Windows whose levels have a smaller root of summed squared deviations than this are flat.
const FLAT_NORM: f32 = 1e-3;
/// Sums kept side by side, so that the processor can add several at once.
const LANES: usize = 8;

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
    pub(super) fn of(frames: &[GrayImage], line: PixelRect) -> Self {
        let radius = ((line.height as f32 * STROKE_HEIGHTS).round() as u32).max(2);
        let (left, top) = (line.left.saturating_sub(radius), line.top.saturating_sub(radius));
        let (width, height) = (line.right() + radius - left, line.bottom() + radius - top);
        let cut = |frame| flattened(&crop_imm(frame, left, top, width, height).to_image(), radius);
        Self { left, top, frames: frames.iter().map(cut).collect() }
    }

    /// The agreement around each column of the line.
    pub(super) fn agreement_along(&self, line: PixelRect) -> Vec<Agreement> {
        let half = ((line.height as f32 * WINDOW_HEIGHTS / 2.0).round() as u32).max(2);
        let window = |column: u32| line.with_columns(column.saturating_sub(half), column + half + 1);
        let windows: Vec<PixelRect> = (line.left..line.right()).map(window).collect();
        let correlations = Correlations::of(self, line, &windows);
        (0..windows.len()).map(|column| correlations.agreement(column)).collect()
    }

    /// A window of the frame in the strip: its first column and row there. One that begins left of the strip or
    /// above it is shifted to its border.
    fn origin(&self, window: PixelRect) -> (usize, usize) {
        (window.left.saturating_sub(self.left) as usize, window.top.saturating_sub(self.top) as usize)
    }

    /// What each frame shows in a window: see [`normalised`].
    pub(super) fn patches(&self, window: PixelRect) -> impl Iterator<Item = Vec<f32>> {
        self.frames.iter().map(move |frame| normalised(self.rows(frame, window), window))
    }

    /// The rows of a window in a frame, as far as the strip goes.
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

    /// The highest correlation of a normalised template with what every other frame shows in windows of its size.
    pub(super) fn best_match(&self, template: &[f32], windows: impl Iterator<Item = PixelRect>) -> f32 {
        let arch = Arch::new();
        let frames = || self.frames.iter().step_by(2);
        let pairs = windows.flat_map(|window| frames().map(move |frame| (frame, window)));
        let correlation = |(frame, window): (&GrayImage, PixelRect)| {
            let rows = self.rows(frame, window);
            arch.dispatch(|| correlation(template, window, rows))
        };
        pairs.map(correlation).fold(0.0, f32::max)
    }
}

/// Correlations of pairs of frames in windows along a line.
struct Correlations {
    /// For each of [`pairs`] one list, an entry a window.
    spread: Vec<Vec<f32>>,
    /// The same for each pair of successive frames.
    successive: Vec<Vec<f32>>,
}

impl Correlations {
    fn of(strip: &Strip, line: PixelRect, windows: &[PixelRect]) -> Self {
        let whole = line.with_columns(strip.left, u32::MAX);
        let frames: Vec<Levels> =
            strip.frames.iter().map(|frame| Levels::of(strip.rows(frame, whole))).collect();
        let ranges: Vec<(usize, usize)> = windows
            .iter()
            .map(|window| (strip.origin(*window).0, strip.origin(*window).0 + window.width as usize))
            .collect();
        let rows = line.height as usize;
        let moments: Vec<Vec<Moments>> = frames.iter().map(|frame| frame.moments(&ranges, rows)).collect();
        let correlations = |(one, other): (usize, usize)| -> Option<Vec<f32>> {
            let products = frames.get(one)?.products(frames.get(other)?);
            let moments = moments.get(one)?.iter().zip(moments.get(other)?);
            let sums = ranges.iter().map(|range| products.within(*range));
            Some(sums.zip(moments).map(|(sum, (one, other))| one.correlation(other, sum)).collect())
        };
        let count = frames.len();
        Self {
            spread: pairs(count).filter_map(correlations).collect(),
            successive: (1..count).filter_map(|next| correlations((next - 1, next))).collect(),
        }
    }

    /// The agreement in a window.
    fn agreement(&self, window: usize) -> Agreement {
        let mut agreements: Vec<f32> =
            self.spread.iter().filter_map(|pair| pair.get(window).copied()).collect();
        let same = quantile(&mut agreements, 1.0 - SAME_SHARE);
        let other = quantile(&mut agreements, OTHER_SHARE);
        let next = self.successive.iter().filter_map(|pair| pair.get(window));
        let differing = next.filter(|agreement| **agreement < DIFFERING * same).count();
        Agreement { same, other, changed: differing as f32 / self.successive.len().max(1) as f32 }
    }
}

/// Grey levels of a frame's part of a line, less 128: what lies outside the picture counts as 0.
struct Levels {
    columns: usize,
    rows: Vec<Vec<i16>>,
}

impl Levels {
    fn of<'a>(rows: impl Iterator<Item = &'a [u8]>) -> Self {
        let offset = |row: &[u8]| row.iter().map(|level| i16::from(*level) - MIDDLE_LEVEL).collect();
        let rows: Vec<Vec<i16>> = rows.map(offset).collect();
        Self { columns: rows.first().map_or(0, Vec::len), rows }
    }

    /// Sums over the columns of the products with another frame.
    fn products(&self, other: &Self) -> RunningSums {
        let mut columns = vec![0_i32; self.columns];
        Arch::new().dispatch(|| {
            for (one, other) in self.rows.iter().zip(&other.rows) {
                for ((sum, one), other) in columns.iter_mut().zip(one).zip(other) {
                    *sum += i32::from(*one) * i32::from(*other);
                }
            }
        });
        RunningSums::of(&columns)
    }

    /// Sums of the levels of each column.
    fn sums(&self) -> RunningSums {
        let mut columns = vec![0_i32; self.columns];
        for row in &self.rows {
            columns.iter_mut().zip(row).for_each(|(sum, level)| *sum += i32::from(*level));
        }
        RunningSums::of(&columns)
    }

    /// Sum and spread of the levels in windows of columns, so many rows high.
    fn moments(&self, windows: &[(usize, usize)], rows: usize) -> Vec<Moments> {
        let (sums, squares) = (self.sums(), self.products(self));
        let moments = |window: &(usize, usize)| {
            let count = ((window.1 - window.0) * rows).max(1) as f64;
            let sum = sums.within(*window);
            Moments { count, sum, norm: (squares.within(*window) - sum * sum / count).max(0.0).sqrt() }
        };
        windows.iter().map(moments).collect()
    }
}

/// What the correlation of two frames in a window needs of each.
struct Moments {
    count: f64,
    sum: f64,
    /// Square root of the sum of squared deviations from the mean.
    norm: f64,
}

impl Moments {
    /// The correlation with another frame, given the sum of products; 0 where one of them is flat.
    fn correlation(&self, other: &Self, products: f64) -> f32 {
        if self.norm.min(other.norm) <= f64::from(FLAT_NORM) {
            return 0.0;
        }
        ((products - self.sum * other.sum / self.count) / (self.norm * other.norm)) as f32
    }
}

/// Sums over the first columns, none to all.
struct RunningSums(Vec<i64>);

impl RunningSums {
    fn of(columns: &[i32]) -> Self {
        let sums = columns.iter().scan(0, |sum, column| {
            *sum += i64::from(*column);
            Some(*sum)
        });
        Self(std::iter::once(0).chain(sums).collect())
    }

    /// The sum over `left..right`, as far as there are columns.
    fn within(&self, (left, right): (usize, usize)) -> f64 {
        let last = self.0.len().saturating_sub(1);
        let sum = |columns: usize| self.0.get(columns.min(last)).copied().unwrap_or(0);
        (sum(right) - sum(left)) as f64
    }
}

/// The correlation of a normalised template with the rows of a window of its size.
#[inline(always)]
fn correlation<'a>(template: &[f32], window: PixelRect, rows: impl Iterator<Item = &'a [u8]>) -> f32 {
    let mut lanes = [[0.0_f32; LANES]; 3];
    for (weights, levels) in template.chunks((window.width as usize).max(1)).zip(rows) {
        let (weights, weights_left) = weights.as_chunks::<LANES>();
        let (levels, levels_left) = levels.as_chunks::<LANES>();
        weights.iter().zip(levels).for_each(|(weights, levels)| add(&mut lanes, weights, levels));
        let rest = weights.get(levels.len()).map_or(weights_left, |cut_off| cut_off.as_slice());
        add(&mut lanes, rest, levels_left);
    }
    let [products, sum, squares] = lanes.map(|lanes| lanes.iter().sum::<f32>());
    let mean = sum / template.len().max(1) as f32;
    let norm = (squares - mean * sum).max(0.0).sqrt();
    if norm > FLAT_NORM { (products - mean * template.iter().sum::<f32>()) / norm } else { 0.0 }
}

/// Adds weighted levels, levels and squared levels, less the middle one, to sums side by side.
#[inline(always)]
fn add([products, sums, squares]: &mut [[f32; LANES]; 3], weights: &[f32], levels: &[u8]) {
    let sums = products.iter_mut().zip(sums).zip(squares);
    for (((product, sum), square), (weight, level)) in sums.zip(weights.iter().zip(levels)) {
        let level = f32::from(*level) - f32::from(MIDDLE_LEVEL);
        *product += weight * level;
        *sum += level;
        *square += level * level;
    }
}

/// A picture less the mean of each pixel's surroundings, plus 128.
fn flattened(picture: &GrayImage, radius: u32) -> GrayImage {
    let mut flat = box_filter(picture, radius, radius);
    for (mean, pixel) in flat.iter_mut().zip(picture.iter()) {
        *mean = (i16::from(*pixel) - i16::from(*mean) + MIDDLE_LEVEL).clamp(0, 255) as u8;
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
fn normalised<'a>(rows: impl Iterator<Item = &'a [u8]>, window: PixelRect) -> Vec<f32> {
    let (width, height) = (window.width as usize, window.height as usize);
    let mut patch = vec![f32::from(MIDDLE_LEVEL); width * height];
    for (pixels, row) in patch.chunks_mut(width.max(1)).zip(rows) {
        pixels.iter_mut().zip(row).for_each(|(pixel, level)| *pixel = f32::from(*level));
    }
    let mean = patch.iter().sum::<f32>() / patch.len().max(1) as f32;
    patch.iter_mut().for_each(|value| *value -= mean);
    scale_to_one(&mut patch);
    patch
}

/// Scales to a sum of squares of 1; what is next to nothing becomes nothing.
pub(super) fn scale_to_one(patch: &mut [f32]) {
    let norm = dot(patch, patch).sqrt();
    let scale = if norm > FLAT_NORM { 1.0 / norm } else { 0.0 };
    patch.iter_mut().for_each(|value| *value *= scale);
}

/// The sum of products; of two normalised patches their correlation.
pub(super) fn dot(one: &[f32], other: &[f32]) -> f32 {
    one.iter().zip(other).map(|(one, other)| one * other).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Frames of different noise, with a flat part in some, and a line that reaches beyond their border.
    fn strip_and_line() -> (Strip, PixelRect) {
        let level = |frame: u32, x: u32, y: u32| {
            let noise = (x * 7919 + y * 104_729 + frame * 31 * x * y) % 97;
            if frame.is_multiple_of(3) && x < 30 { 90 } else { 60 + noise as u8 }
        };
        let picture = |frame: u32| GrayImage::from_fn(80, 40, |x, y| image::Luma([level(frame, x, y)]));
        let line = PixelRect::from_edges(2, 1, 78, 25);
        (Strip::of(&(0..9).map(picture).collect::<Vec<_>>(), line), line)
    }

    fn assert_close(one: f32, other: f32) {
        assert!((one - other).abs() < 1e-4, "{one} {other}");
    }

    #[test]
    fn the_agreement_is_that_of_the_patches_themselves() {
        let (strip, line) = strip_and_line();
        let half = (line.height as f32 * WINDOW_HEIGHTS / 2.0).round() as u32;
        for (column, found) in (line.left..line.right()).zip(strip.agreement_along(line)) {
            let window = line.with_columns(column.saturating_sub(half), column + half + 1);
            let patches: Vec<Vec<f32>> = strip.patches(window).collect();
            let mut all: Vec<f32> =
                pairs(patches.len()).map(|(one, other)| dot(&patches[one], &patches[other])).collect();
            assert_close(found.same, quantile(&mut all, 1.0 - SAME_SHARE));
            assert_close(found.other, quantile(&mut all, OTHER_SHARE));
            let differing =
                patches.windows(2).filter(|two| dot(&two[0], &two[1]) < DIFFERING * found.same).count();
            assert_close(found.changed, differing as f32 / 8.0);
        }
    }

    #[test]
    fn the_best_match_is_the_highest_correlation_with_every_other_frame() {
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
