//! Blurs with symmetric kernels, and the difference of two of them.

use std::ops::Range;

use ndarray::{Array2, s};
use pulp::{Arch, Simd, WithSimd};

/// One half of a normalised Gaussian kernel: the centre weight, then those to one side.
pub(super) fn gaussian(sigma: f32) -> Vec<f32> {
    let reach = (3.0 * sigma).ceil() as usize;
    let half: Vec<f32> = (0..=reach).map(|i| (-0.5 * (i as f32 / sigma).powi(2)).exp()).collect();
    let total = half[0] + 2.0 * half[1..].iter().sum::<f32>();
    half.iter().map(|weight| weight / total).collect()
}

/// Blurs a picture along its lines, edges repeating; nothing is done for a standard deviation of 0.
pub(super) fn blurred_across(levels: &Array2<f32>, sigma_px: f32) -> Array2<f32> {
    if sigma_px <= 0.0 {
        return levels.clone();
    }
    let half = gaussian(sigma_px);
    let reach = half.len() - 1;
    let mut blurred = levels.clone();
    let mut line = vec![0.0; levels.ncols() + 2 * reach];
    for (from, mut to) in levels.rows().into_iter().zip(blurred.rows_mut()) {
        line[reach..].iter_mut().zip(from).for_each(|(there, level)| *there = *level);
        repeat_edges(&mut line, reach, levels.ncols());
        to.mapv_inplace(|level| half[0] * level);
        for (k, weight) in half.iter().enumerate().skip(1) {
            let pairs = line[reach - k..].iter().zip(&line[reach + k..]);
            to.iter_mut().zip(pairs).for_each(|(level, (before, after))| *level += weight * (before + after));
        }
    }
    blurred
}

/// Fills what lies before and behind `length` entries from `reach` on with the first and the last of them.
fn repeat_edges(line: &mut [f32], reach: usize, length: usize) {
    if length == 0 {
        return;
    }
    let (first, last) = (line[reach], line[reach + length - 1]);
    line[..reach].fill(first);
    line[reach + length..].fill(last);
}

/// Some rows of a picture blurred with a narrow and with a wide kernel, halves both, edges repeating: the
/// difference, limited to +-`limit`. As many rows x the picture's columns.
pub(super) fn difference(
    levels: &Array2<f32>,
    (narrow, wide): (&[f32], &[f32]),
    rows: Range<usize>,
    limit: f32,
) -> Array2<f32> {
    let width = levels.ncols();
    if (1..WIDEST_TILE).contains(&width) {
        let wider =
            Array2::from_shape_fn((levels.nrows(), WIDEST_TILE), |(y, x)| levels[[y, x.min(width - 1)]]);
        return difference(&wider, (narrow, wide), rows, limit).slice(s![.., ..width]).to_owned();
    }
    let mut out = Array2::zeros((rows.len(), width));
    if let (Some(levels), Some(out)) = (levels.as_slice(), out.as_slice_mut()) {
        Arch::new().dispatch(Difference { levels, width, kernels: [narrow, wide], rows, limit, out });
    }
    out
}

/// Vectors worked on at a time.
const VECTORS: usize = 2;

/// Levels in so many vectors of 512 bits.
const WIDEST_TILE: usize = VECTORS * 16;

/// [`difference`] of a picture `width` wide: a tile at least, or nothing.
struct Difference<'a> {
    levels: &'a [f32],
    width: usize,
    kernels: [&'a [f32]; 2],
    rows: Range<usize>,
    limit: f32,
    out: &'a mut [f32],
}

impl WithSimd for Difference<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        let Self { levels, width, kernels: [narrow, wide], rows, limit, out } = self;
        let (tile, last) = (VECTORS * S::F32_LANES, (levels.len() / width.max(1)).saturating_sub(1));
        let reach = narrow.len().max(wide.len()) - 1;
        let (most, least) = (simd.splat_f32s(limit), simd.splat_f32s(-limit));
        // Both blurs down the columns, the edges repeated.
        let mut fine = vec![0.0_f32; width + 2 * reach];
        let mut coarse = fine.clone();
        for (row, target) in rows.zip(out.chunks_exact_mut(width.max(1))) {
            // The last tile may overlap the one before: it holds the same.
            let firsts = || (0..width / tile).map(|number| number * tile).chain(width.checked_sub(tile));
            for first in firsts() {
                let down = |k: usize| {
                    let (before, after) = (row.saturating_sub(k), (row + k).min(last));
                    [before, after].map(|row| row * width + first)
                };
                put::<S>(&mut fine, reach + first, weighed(simd, narrow, levels, down));
                put::<S>(&mut coarse, reach + first, weighed(simd, wide, levels, down));
            }
            repeat_edges(&mut fine, reach, width);
            repeat_edges(&mut coarse, reach, width);
            for first in firsts() {
                let across = |k: usize| [reach + first - k, reach + first + k];
                let fine = weighed(simd, narrow, &fine, across);
                let coarse = weighed(simd, wide, &coarse, across);
                let mut limited = fine;
                for vector in 0..VECTORS {
                    let difference = simd.sub_f32s(fine[vector], coarse[vector]);
                    limited[vector] = simd.max_f32s(least, simd.min_f32s(most, difference));
                }
                put::<S>(target, first, limited);
            }
        }
    }
}

/// Sums over a neighbourhood: `places` tells where the neighbours at a distance start.
#[inline(always)]
fn weighed<S: Simd>(
    simd: S,
    half: &[f32],
    levels: &[f32],
    places: impl Fn(usize) -> [usize; 2],
) -> [S::f32s; VECTORS] {
    let at = |place: usize| S::as_simd_f32s(&levels[place..place + VECTORS * S::F32_LANES]).0;
    let (middle, weight) = (at(places(0)[0]), simd.splat_f32s(half[0]));
    let mut sums = [weight; VECTORS];
    for vector in 0..VECTORS {
        sums[vector] = simd.mul_f32s(weight, middle[vector]);
    }
    for (k, weight) in half.iter().enumerate().skip(1) {
        let ([before, after], weight) = (places(k), simd.splat_f32s(*weight));
        let (before, after) = (at(before), at(after));
        for vector in 0..VECTORS {
            let both = simd.add_f32s(before[vector], after[vector]);
            sums[vector] = simd.mul_add_f32s(weight, both, sums[vector]);
        }
    }
    sums
}

#[inline(always)]
fn put<S: Simd>(levels: &mut [f32], first: usize, vectors: [S::f32s; VECTORS]) {
    let place = S::as_mut_simd_f32s(&mut levels[first..first + VECTORS * S::F32_LANES]).0;
    place.copy_from_slice(&vectors);
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Widths around those of vectors, against the two-dimensional sums.
    #[test]
    fn the_difference_is_that_of_the_sums_over_the_neighbourhood() {
        let (narrow, wide) = (gaussian(0.7), gaussian(1.9));
        for width in [1, 7, 16, 31, 32, 33, 63, 64, 70] {
            let levels = Array2::from_shape_fn((12, width), |(y, x)| ((y * 31 + x * 17) % 41) as f32);
            let blurred = |half: &[f32], y: usize, x: usize| {
                let reach = half.len() as isize - 1;
                let weight = |offset: isize| half[offset.unsigned_abs()];
                let inside = |at: usize, by: isize, length: usize| {
                    (at as isize + by).clamp(0, length as isize - 1) as usize
                };
                let rows = (-reach..=reach).flat_map(|dy| (-reach..=reach).map(move |dx| (dy, dx)));
                rows.map(|(dy, dx)| {
                    weight(dy) * weight(dx) * levels[[inside(y, dy, 12), inside(x, dx, width)]]
                })
                .sum::<f32>()
            };
            let found = difference(&levels, (&narrow, &wide), 3..11, 9.0);
            for ((y, x), found) in found.indexed_iter() {
                let expected = (blurred(&narrow, y + 3, x) - blurred(&wide, y + 3, x)).clamp(-9.0, 9.0);
                assert!((found - expected).abs() < 1e-3, "{width}: {y}, {x}: {found} {expected}");
            }
        }
    }
}
