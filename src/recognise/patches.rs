//! Patches: parts of a window's features, at whole and at fractional columns.

use ndarray::{Array2, s};

/// A patch of features with its left edge at a fractional column, interpolated.
pub(crate) fn patch_at(
    features: &Array2<f32>,
    top: usize,
    left: f32,
    (rows, cols): (usize, usize),
) -> Option<Array2<f32>> {
    let column = left.floor();
    let share = left - column;
    if column < 0.0 || top + rows > features.nrows() || column as usize + cols + 1 > features.ncols() {
        return None;
    }
    let column = column as usize;
    let here = features.slice(s![top..top + rows, column..column + cols]);
    let next = features.slice(s![top..top + rows, column + 1..column + 1 + cols]);
    Some(&here * (1.0 - share) + &next * share)
}

/// Correlation of two shapes over the columns both have.
pub(crate) fn correlation(a: &Array2<f32>, b: &Array2<f32>) -> f32 {
    let cols = a.ncols().min(b.ncols());
    let (a, b) = (a.slice(s![.., ..cols]), b.slice(s![.., ..cols]));
    let product = |x: &ndarray::ArrayView2<'_, f32>, y: &ndarray::ArrayView2<'_, f32>| -> f32 {
        x.iter().zip(y.iter()).map(|(p, q)| p * q).sum()
    };
    let scale = (product(&a, &a) * product(&b, &b)).sqrt();
    if scale > 0.0 { product(&a, &b) / scale } else { 0.0 }
}
