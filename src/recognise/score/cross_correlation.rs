//! Cross-correlation of templates with features at every column, several columns at a time.

use std::borrow::Cow;

use ndarray::Array2;
use pulp::{Arch, Simd, WithSimd};

/// Maximum number of columns that are processed together (a tile): two vectors of 512 bits.
const MAX_TILE: usize = 32;

/// Some rows of features, prepared for cross-correlation.
#[derive(Debug)]
pub(in crate::recognise) struct FeatureRows<'a> {
    /// The rows, one after the other. Narrow rows are extended with zeros, so that [`MAX_TILE`] columns can
    /// be read at every position of a template.
    levels: Cow<'a, [f32]>,
    stride: usize,
    width: usize,
}

impl<'a> FeatureRows<'a> {
    /// Prepares the `rows` rows from row `top` on, for templates with at most `widest` columns; `None` if
    /// these rows extend beyond the features, or if there are none.
    pub(in crate::recognise) fn of(
        features: &'a Array2<f32>,
        top: usize,
        (rows, widest): (usize, usize),
    ) -> Option<Self> {
        let (height, width) = features.dim();
        if rows == 0 || top + rows > height || width == 0 {
            return None;
        }
        let levels = &features.as_slice()?[top * width..(top + rows) * width];
        if width >= widest + MAX_TILE {
            return Some(Self { levels: Cow::Borrowed(levels), stride: width, width });
        }
        let stride = width + MAX_TILE;
        let mut padded = vec![0.0; rows * stride];
        for (padded, row) in padded.chunks_exact_mut(stride).zip(levels.chunks_exact(width)) {
            padded[..width].copy_from_slice(row);
        }
        Some(Self { levels: Cow::Owned(padded), stride, width })
    }

    /// Number of columns at which the left edge of a cell `cols` columns wide can be.
    pub(in crate::recognise) fn columns(&self, cols: usize) -> usize {
        (self.width + 1).saturating_sub(cols)
    }

    /// Sum of squares of every column, in squared grey levels.
    pub(in crate::recognise) fn energies(&self) -> Vec<f32> {
        let mut energies = vec![0.0_f32; self.width];
        for row in self.levels.chunks_exact(self.stride) {
            energies.iter_mut().zip(row).for_each(|(sum, level)| *sum += level * level);
        }
        energies
    }

    /// Writes sum(t f) for every template t and the features f in its cell into the template's row of `sums`.
    /// A row of `sums` is as long as the features are wide. Entry x is for the cell whose left edge is at
    /// column x; only the first [`Self::columns`] entries are written. An entry outside the template's mask
    /// may keep its old value.
    pub(in crate::recognise) fn products(&self, templates: &[TemplateRow<'_>], sums: &mut [f32]) {
        let alike =
            |one: &TemplateRow<'_>, other: &TemplateRow<'_>| (one.cols, one.mask) == (other.cols, other.mask);
        for templates in templates.chunk_by(alike) {
            Arch::new().dispatch(CrossCorrelation { templates, feature_rows: self, sums });
        }
    }
}

/// A template with as many rows as the features.
#[derive(Debug, Clone, Copy)]
pub(in crate::recognise) struct TemplateRow<'a> {
    /// Levels of the template, row by row.
    pub(in crate::recognise) levels: &'a [f32],
    /// Number of columns.
    pub(in crate::recognise) cols: usize,
    /// Index of the template's row in `sums`.
    pub(in crate::recognise) row: usize,
    /// For every column, whether its sum is needed; `None` if all are.
    pub(in crate::recognise) mask: Option<&'a [bool]>,
}

impl<'a> TemplateRow<'a> {
    /// A template whose sums are written to row `row` of `sums`; `None` unless its levels are stored row by
    /// row.
    pub(in crate::recognise) fn of(row: usize, levels: &'a Array2<f32>) -> Option<Self> {
        Some(Self { levels: levels.as_slice()?, cols: levels.ncols(), row, mask: None })
    }
}

/// Cross-correlation of templates with the same width and mask.
struct CrossCorrelation<'a> {
    templates: &'a [TemplateRow<'a>],
    feature_rows: &'a FeatureRows<'a>,
    sums: &'a mut [f32],
}

impl WithSimd for CrossCorrelation<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(mut self, simd: S) {
        let [TemplateRow { cols, mask, .. }, ..] = *self.templates else { return };
        let columns = self.feature_rows.columns(cols);
        let Some(mask) = mask else {
            (0..columns).step_by(2 * S::F32_LANES).for_each(|first| self.tile::<S, 2>(simd, first));
            return;
        };
        // The columns of the mask need not be adjacent.
        let mut first = 0;
        while let Some(next) = (first..columns.min(mask.len())).find(|column| mask[*column]) {
            self.tile::<S, 1>(simd, next);
            first = next + S::F32_LANES;
        }
    }
}

impl CrossCorrelation<'_> {
    /// Computes the sums of all templates for a tile of columns, as wide as `VECTORS` SIMD vectors. The tile
    /// starts at column `first`, or further left if it would extend beyond the row. Templates are processed
    /// in groups whose sums fit into the registers.
    #[inline(always)]
    fn tile<S: Simd, const VECTORS: usize>(&mut self, simd: S, first: usize) {
        let mut rest = self.templates;
        let [TemplateRow { cols, .. }, ..] = *rest else { return };
        let first = first.min((self.feature_rows.stride + 1).saturating_sub(cols + VECTORS * S::F32_LANES));
        while !rest.is_empty() {
            rest = match rest.len() {
                10.. if VECTORS == 1 => self.sums_of_group::<S, VECTORS, 10>(simd, first, rest),
                5.. => self.sums_of_group::<S, VECTORS, 5>(simd, first, rest),
                4 => self.sums_of_group::<S, VECTORS, 4>(simd, first, rest),
                3 => self.sums_of_group::<S, VECTORS, 3>(simd, first, rest),
                2 => self.sums_of_group::<S, VECTORS, 2>(simd, first, rest),
                _ => self.sums_of_group::<S, VECTORS, 1>(simd, first, rest),
            };
        }
    }

    /// Computes the sums of the first `N` templates for one tile of columns, and writes them to `self.sums`.
    /// The features are loaded once for all `N` templates. Returns the other templates.
    #[inline(always)]
    fn sums_of_group<'t, S: Simd, const VECTORS: usize, const N: usize>(
        &mut self,
        simd: S,
        first: usize,
        templates: &'t [TemplateRow<'t>],
    ) -> &'t [TemplateRow<'t>] {
        let Some((templates, rest)) = templates.split_first_chunk::<N>() else { return &[] };
        let FeatureRows { levels, stride, width } = self.feature_rows;
        let (cols, tile) = (templates[0].cols, VECTORS * S::F32_LANES);
        let mut kept = [[simd.splat_f32s(0.0); VECTORS]; N];
        for (y, row) in levels.chunks_exact(*stride).enumerate() {
            let row = &row[first..first + cols - 1 + tile];
            let weights: [&[f32]; N] =
                std::array::from_fn(|n| &templates[n].levels[y * cols..(y + 1) * cols]);
            for x in 0..cols {
                let (levels, _) = S::as_simd_f32s(&row[x..x + tile]);
                let levels: [S::f32s; VECTORS] = std::array::from_fn(|vector| levels[vector]);
                for n in 0..N {
                    let weight = simd.splat_f32s(weights[n][x]);
                    for vector in 0..VECTORS {
                        kept[n][vector] = simd.mul_add_f32s(weight, levels[vector], kept[n][vector]);
                    }
                }
            }
        }
        let inside = tile.min(self.feature_rows.columns(cols) - first);
        for (template, kept) in templates.iter().zip(kept) {
            let sums = &mut self.sums[template.row * width + first..][..inside];
            let mut tile_sums = [0.0; MAX_TILE];
            let whole = inside == tile;
            let (vectors, _) = S::as_mut_simd_f32s(if whole { &mut *sums } else { &mut tile_sums });
            vectors.iter_mut().zip(kept).for_each(|(vector, kept)| *vector = kept);
            if !whole {
                sums.copy_from_slice(&tile_sums[..inside]);
            }
        }
        rest
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    /// Compares the products with sums computed one by one, for 1 to 12 templates and for features narrower
    /// and wider than a tile.
    #[test]
    fn products_are_the_sums_of_products() {
        let level = |i: usize| ((i * 37 + 11) % 53) as f32 - 26.0;
        for (width, cols) in
            [(9, 4), (31, 5), (70, 6), (104, 18), (5, 5), (40, 1), (49, 18), (50, 18), (51, 18)]
        {
            let features = Array2::from_shape_fn((7, width), |(y, x)| level(y * width + x));
            let feature_rows = FeatureRows::of(&features, 2, (4, cols)).unwrap();
            for count in 1..=12 {
                let templates: Vec<Vec<f32>> =
                    (0..count).map(|k| (0..4 * cols).map(|i| level(100 * k + 3 * i)).collect()).collect();
                let templates: Vec<TemplateRow<'_>> = templates
                    .iter()
                    .zip(0..)
                    .map(|(levels, row)| TemplateRow { levels, cols, row, mask: None })
                    .collect();
                let mut sums = vec![0.0; count * width];
                feature_rows.products(&templates, &mut sums);
                for (template, sums) in templates.iter().zip(sums.chunks(width)) {
                    for (x, sum) in sums.iter().enumerate().take(width + 1 - cols) {
                        let cells = (0..4).flat_map(|y| (0..cols).map(move |dx| (y, dx)));
                        let expected: f32 = cells
                            .map(|(y, dx)| template.levels[y * cols + dx] * features[[2 + y, x + dx]])
                            .sum();
                        assert!((sum - expected).abs() < 0.01, "{width} {cols} {count}: {sum} {expected}");
                    }
                }
            }
        }
    }

    #[test]
    fn rows_outside_the_features_are_none() {
        let features = Array2::zeros((7, 20));
        assert!(FeatureRows::of(&features, 4, (4, 20)).is_none());
        assert!(
            FeatureRows::of(&features, 3, (4, 20))
                .is_some_and(|feature_rows| feature_rows.columns(21) == 0 && feature_rows.columns(20) == 1)
        );
    }
}
