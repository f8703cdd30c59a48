//! Cuts rectangular parts out of features, at whole and fractional columns, and correlates them.

use ndarray::{Array2, ArrayView1};

/// Copies the rectangle of `size` (rows, columns) whose top left corner is at row `top` and column `left`, with
/// linear interpolation between columns; `None` if the rectangle extends beyond the features.
pub(crate) fn features_at(
    features: &Array2<f32>,
    top: usize,
    left: f32,
    size: (usize, usize),
) -> Option<Array2<f32>> {
    let mut cell = Vec::with_capacity(size.0 * size.1);
    copy_features_at(features, top, left, size, &mut cell).then_some(())?;
    Array2::from_shape_vec(size, cell).ok()
}

/// Writes the rectangle of `size` (rows, columns) whose top left corner is at row `top` and column `left` into
/// `cell`, row by row, with linear interpolation between columns. Returns `false`, and leaves `cell` empty, if the
/// rectangle extends beyond the features.
pub(in crate::recognise) fn copy_features_at(
    features: &Array2<f32>,
    top: usize,
    left: f32,
    (rows, cols): (usize, usize),
    cell: &mut Vec<f32>,
) -> bool {
    cell.clear();
    let column = left.floor();
    let share = left - column;
    let Some(levels) = features.as_slice() else { return false };
    if column < 0.0 || top + rows > features.nrows() || column as usize + cols + 1 > features.ncols() {
        return false;
    }
    for row in levels.chunks_exact(features.ncols()).skip(top).take(rows) {
        let levels = &row[column as usize..column as usize + cols + 1];
        let (here, next) = (&levels[..cols], &levels[1..]);
        match share > 0.0 {
            true => cell.extend(here.iter().zip(next).map(|(here, next)| here + share * (next - here))),
            false => cell.extend_from_slice(here),
        }
    }
    true
}

/// Normalised correlation of two arrays over the columns that both have, -1 to 1; 0 if either consists of
/// zeros.
pub(crate) fn correlation(a: &Array2<f32>, b: &Array2<f32>) -> f32 {
    if let (true, Some(a), Some(b)) = (a.dim() == b.dim(), a.as_slice(), b.as_slice()) {
        return correlation_of(a, b);
    }
    let cols = a.ncols().min(b.ncols());
    let products = |one: &Array2<f32>, other: &Array2<f32>| -> f32 {
        let rows = one.outer_iter().zip(other.outer_iter());
        rows.filter_map(|(one, other)| Some(dot(first(one, cols)?, first(other, cols)?))).sum()
    };
    cosine(products(a, b), products(a, a), products(b, b))
}

/// Normalised correlation of two arrays of the same size, given row by row, -1 to 1.
pub(in crate::recognise) fn correlation_of(a: &[f32], b: &[f32]) -> f32 {
    cosine(dot(a, b), dot(a, a), dot(b, b))
}

fn cosine(dot_product: f32, energy: f32, other_energy: f32) -> f32 {
    let scale = (energy * other_energy).sqrt();
    if scale > 0.0 { dot_product / scale } else { 0.0 }
}

fn first(row: ArrayView1<'_, f32>, cols: usize) -> Option<&[f32]> {
    row.to_slice()?.get(..cols)
}

/// Dot product of two slices, over the length of the shorter one.
pub(crate) fn dot(one: &[f32], other: &[f32]) -> f32 {
    const LANES: usize = 8;
    let length = one.len().min(other.len());
    let (one, one_rest) = one[..length].as_chunks::<LANES>();
    let (other, other_rest) = other[..length].as_chunks::<LANES>();
    // Independent sums hide the latency of the additions.
    let mut sums = [0.0_f32; LANES];
    for (one, other) in one.iter().zip(other) {
        for lane in 0..LANES {
            sums[lane] += one[lane] * other[lane];
        }
    }
    let rest: f32 = one_rest.iter().zip(other_rest).map(|(p, q)| p * q).sum();
    sums.iter().sum::<f32>() + rest
}
