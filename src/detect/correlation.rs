//! Normalised correlations of image patches, by sums that a processor adds several at a time.

use std::ops::Range;

use pulp::Arch;

use crate::geometry::PixelRect;

/// Grey level of a pixel as bright as its surroundings, after their mean has been subtracted.
pub(super) const MIDDLE_LEVEL: i16 = 128;
/// A patch whose root of the summed squared deviations is below this, in grey levels, is flat: its correlation is 0.
const MIN_NORM: f32 = 1e-3;
/// Number of sums kept in parallel. The order of the additions depends on it.
const LANES: usize = 8;

/// Grey levels of a line in one frame, minus [`MIDDLE_LEVEL`]. Pixels outside the frame count as 0.
pub(super) struct LineLevels {
    columns: usize,
    rows: Vec<Vec<i16>>,
}

impl LineLevels {
    /// The levels of the line's rows.
    pub(super) fn of<'a>(rows: impl Iterator<Item = &'a [u8]>) -> Self {
        let offset = |row: &[u8]| row.iter().map(|level| i16::from(*level) - MIDDLE_LEVEL).collect();
        let rows: Vec<Vec<i16>> = rows.map(offset).collect();
        Self { columns: rows.first().map_or(0, Vec::len), rows }
    }

    /// Sums of the products with another frame, column by column.
    pub(super) fn products(&self, other: &Self) -> CumulativeSums {
        let mut columns = vec![0_i32; self.columns];
        Arch::new().dispatch(|| {
            for (one, other) in self.rows.iter().zip(&other.rows) {
                for ((sum, one), other) in columns.iter_mut().zip(one).zip(other) {
                    *sum += i32::from(*one) * i32::from(*other);
                }
            }
        });
        CumulativeSums::of(&columns)
    }

    /// Sums of the levels, column by column.
    fn sums(&self) -> CumulativeSums {
        let mut columns = vec![0_i32; self.columns];
        for row in &self.rows {
            columns.iter_mut().zip(row).for_each(|(sum, level)| *sum += i32::from(*level));
        }
        CumulativeSums::of(&columns)
    }

    /// Sum and norm of the levels in windows of columns, each `rows` high.
    pub(super) fn moments(&self, windows: &[Range<usize>], rows: usize) -> Vec<Moments> {
        let (sums, squares) = (self.sums(), self.products(self));
        let moments = |window: &Range<usize>| {
            let count = (window.len() * rows).max(1) as f64;
            let sum = sums.within(window);
            Moments { count, sum, norm: (squares.within(window) - sum * sum / count).max(0.0).sqrt() }
        };
        windows.iter().map(moments).collect()
    }
}

/// Moments of the levels of one frame in a window, for its correlation with another frame.
pub(super) struct Moments {
    /// Number of pixels.
    count: f64,
    sum: f64,
    /// Square root of the sum of squared deviations from the mean.
    norm: f64,
}

impl Moments {
    /// The correlation with another frame, given the sum of products; 0 if one of them is flat.
    pub(super) fn correlation(&self, other: &Self, products: f64) -> f32 {
        if self.norm.min(other.norm) <= f64::from(MIN_NORM) {
            return 0.0;
        }
        ((products - self.sum * other.sum / self.count) / (self.norm * other.norm)) as f32
    }
}

/// Cumulative sums over columns: entry `n` is the sum of the first `n`.
pub(super) struct CumulativeSums(Vec<i64>);

impl CumulativeSums {
    fn of(columns: &[i32]) -> Self {
        let sums = columns.iter().scan(0, |sum, column| {
            *sum += i64::from(*column);
            Some(*sum)
        });
        Self(std::iter::once(0).chain(sums).collect())
    }

    /// The sum over some columns. Columns beyond the last are left out.
    pub(super) fn within(&self, columns: &Range<usize>) -> f64 {
        let last = self.0.len().saturating_sub(1);
        let sum = |count: usize| self.0.get(count.min(last)).copied().unwrap_or(0);
        (sum(columns.end) - sum(columns.start)) as f64
    }
}

/// The correlation of a normalised template with the rows of a window of its size.
#[inline(always)]
pub(super) fn template_correlation<'a>(
    template: &[f32],
    window: PixelRect,
    rows: impl Iterator<Item = &'a [u8]>,
) -> f32 {
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
    if norm > MIN_NORM { (products - mean * template.iter().sum::<f32>()) / norm } else { 0.0 }
}

/// Adds products of weights and levels, levels, and squared levels to sums in parallel lanes. Levels are counted from
/// [`MIDDLE_LEVEL`].
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

/// The levels of a window minus their mean, scaled to a sum of squares of 1; all 0 if the window is flat. Pixels outside
/// the frame have [`MIDDLE_LEVEL`].
pub(super) fn normalised<'a>(rows: impl Iterator<Item = &'a [u8]>, window: PixelRect) -> Vec<f32> {
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

/// Scales a patch to a sum of squares of 1, or to zeros if it is flat.
pub(super) fn scale_to_one(patch: &mut [f32]) {
    let norm = dot(patch, patch).sqrt();
    let scale = if norm > MIN_NORM { 1.0 / norm } else { 0.0 };
    patch.iter_mut().for_each(|value| *value *= scale);
}

/// The sum of products. For two normalised patches it is their correlation.
pub(super) fn dot(one: &[f32], other: &[f32]) -> f32 {
    one.iter().zip(other).map(|(one, other)| one * other).sum()
}
