//! Blurs with symmetric kernels, and the difference between two such blurs.

use std::ops::Range;

use ndarray::Array2;
use pulp::{Arch, Simd, WithSimd, bytemuck};

use super::scratch::{self, ScratchBuffer};

/// One half of a normalised Gaussian kernel: the centre weight, then the weights to one side. `sigma` is the
/// standard deviation in pixels.
pub(super) fn gaussian(sigma: f32) -> Vec<f32> {
    let radius = (3.0 * sigma).ceil() as usize;
    let half: Vec<f32> = (0..=radius).map(|i| (-0.5 * (i as f32 / sigma).powi(2)).exp()).collect();
    let total = half[0] + 2.0 * half[1..].iter().sum::<f32>();
    half.iter().map(|weight| weight / total).collect()
}

/// Blurs grey levels along their rows. Beyond the edges the edge pixels are repeated. A standard deviation of
/// 0 changes nothing.
pub(in crate::recognise) fn blurred_across(levels: &Array2<f32>, sigma_px: f32) -> Array2<f32> {
    if sigma_px <= 0.0 {
        return levels.clone();
    }
    let half = gaussian(sigma_px);
    let radius = half.len() - 1;
    let mut blurred = levels.clone();
    let mut line = vec![0.0; levels.ncols() + 2 * radius];
    for (from, mut to) in levels.rows().into_iter().zip(blurred.rows_mut()) {
        line[radius..].iter_mut().zip(from).for_each(|(there, level)| *there = *level);
        repeat_edges(&mut line, radius, levels.ncols());
        to.mapv_inplace(|level| half[0] * level);
        for (k, weight) in half.iter().enumerate().skip(1) {
            let pairs = line[radius - k..].iter().zip(&line[radius + k..]);
            to.iter_mut().zip(pairs).for_each(|(level, (before, after))| *level += weight * (before + after));
        }
    }
    blurred
}

/// Extends `line[radius..radius + length]` by repeating its first value before it and its last value after
/// it.
fn repeat_edges(line: &mut [f32], radius: usize, length: usize) {
    if length == 0 {
        return;
    }
    let (first, last) = (line[radius], line[radius + length - 1]);
    line[..radius].fill(first);
    line[radius + length..].fill(last);
}

/// Difference between a narrow and a wide blur of some rows, limited to the range from `-limit` to `limit`
/// grey levels. Beyond the edges the edge pixels are repeated. The kernels are given by their centre weight
/// and the weights to one side.
pub(super) fn difference(
    levels: &Array2<f32>,
    (narrow, wide): (&[f32], &[f32]),
    rows: Range<usize>,
    limit: f32,
) -> Array2<f32> {
    let width = levels.ncols();
    let mut out = scratch::zeros((rows.len(), width));
    if let (Some(levels), Some(out), true) = (levels.as_slice(), out.as_slice_mut(), width > 0) {
        Arch::new().dispatch(BlurDifference { levels, width, kernels: [narrow, wide], rows, limit, out });
    }
    out
}

/// Maximum number of SIMD vectors in a tile (a group of adjacent columns that are computed together): the
/// sums of both kernels then fit into registers of 512 bits.
const MAX_VECTORS: usize = 8;

/// Arguments of [`difference`] for the SIMD code; `width` is at least 1.
struct BlurDifference<'a> {
    levels: &'a [f32],
    width: usize,
    kernels: [&'a [f32]; 2],
    rows: Range<usize>,
    limit: f32,
    out: &'a mut [f32],
}

impl WithSimd for BlurDifference<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        let vectors = self.width.div_ceil(S::F32_LANES);
        // Tiles have equal widths. Independent sums hide the latency of the additions.
        match vectors.div_ceil(vectors.div_ceil(MAX_VECTORS)) {
            1 => self.by_tiles::<S, 1>(simd),
            2 => self.by_tiles::<S, 2>(simd),
            3 => self.by_tiles::<S, 3>(simd),
            4 => self.by_tiles::<S, 4>(simd),
            5 => self.by_tiles::<S, 5>(simd),
            6 => self.by_tiles::<S, 6>(simd),
            7 => self.by_tiles::<S, 7>(simd),
            _ => self.by_tiles::<S, MAX_VECTORS>(simd),
        }
    }
}

impl BlurDifference<'_> {
    #[inline(always)]
    fn by_tiles<S: Simd, const N: usize>(self, simd: S) {
        let Self { levels, width, kernels, rows, limit, out } = self;
        let radius = kernels.iter().map(|half| half.len()).max().unwrap_or(1) - 1;
        let tile = N * S::F32_LANES;
        let (tiles, edge) = (width.div_ceil(tile), radius.next_multiple_of(S::F32_LANES));
        let zero = simd.splat_f32s(0.0);
        let (most, least) = (simd.splat_f32s(limit), simd.splat_f32s(-limit));
        // The rows within the radius, each padded to whole tiles.
        let near = rows.start.saturating_sub(radius)..(rows.end + radius).min(levels.len() / width);
        let mut filled = ScratchBuffer::filled(near.len() * tiles * tile, 0.0);
        for (filled, row) in
            filled.chunks_exact_mut(tiles * tile).zip(levels.chunks_exact(width).skip(near.start))
        {
            filled[..width].copy_from_slice(row);
        }
        let (filled, _) = S::as_simd_f32s(&filled).0.as_chunks::<N>();
        // Both blurs down the columns, with padding for the repeated edges.
        let mut lines = [(); 2].map(|()| ScratchBuffer::filled(edge + tiles * tile + edge, 0.0));
        for (row, target) in rows.zip(out.chunks_exact_mut(width)) {
            for number in 0..tiles {
                let (column, middle) = (&filled[number..], row - near.start);
                let sums = down::<S, N>(simd, kernels, (column, tiles), (middle, near.len() - 1));
                for (line, sums) in lines.iter_mut().zip(sums) {
                    let place = &mut line[edge + number * tile..][..tile];
                    S::as_mut_simd_f32s(place).0.copy_from_slice(&sums);
                }
            }
            for line in &mut lines {
                repeat_edges(&mut line[edge - radius..edge + width + radius], radius, width);
            }
            for (number, target) in target.chunks_mut(tile).enumerate() {
                let [narrow, wide] = kernels;
                let fine = across::<S, N>(simd, narrow, &lines[0], edge + number * tile);
                let coarse = across::<S, N>(simd, wide, &lines[1], edge + number * tile);
                let mut limited = [zero; N];
                for vector in 0..N {
                    let difference = simd.sub_f32s(fine[vector], coarse[vector]);
                    limited[vector] = simd.max_f32s(least, simd.min_f32s(most, difference));
                }
                let limited: &[f32] = bytemuck::cast_slice(&limited);
                target.copy_from_slice(&limited[..target.len()]);
            }
        }
    }
}

/// Convolves the columns of a tile (a group of adjacent columns) with both kernels. Returns the result in row
/// `middle` for the narrow and for the wide kernel. The rows of the tile are `stride` entries of `tiles`
/// apart; `last` is the index of the last row.
#[inline(always)]
fn down<S: Simd, const N: usize>(
    simd: S,
    [narrow, wide]: [&[f32]; 2],
    (tiles, stride): (&[[S::f32s; N]], usize),
    (middle, last): (usize, usize),
) -> [[S::f32s; N]; 2] {
    let weights = [simd.splat_f32s(narrow[0]), simd.splat_f32s(wide[0])];
    let mut sums = weights.map(|weight| [weight; N]);
    for vector in 0..N {
        let level = tiles[middle * stride][vector];
        sums[0][vector] = simd.mul_f32s(weights[0], level);
        sums[1][vector] = simd.mul_f32s(weights[1], level);
    }
    for k in 1..narrow.len().max(wide.len()) {
        let (before, after) = (middle.saturating_sub(k), (middle + k).min(last));
        let (before, after) = (&tiles[before * stride], &tiles[after * stride]);
        let mut both = *before;
        for vector in 0..N {
            both[vector] = simd.add_f32s(before[vector], after[vector]);
        }
        for (sums, half) in sums.iter_mut().zip([narrow, wide]) {
            let Some(weight) = half.get(k) else { continue };
            let weight = simd.splat_f32s(*weight);
            for vector in 0..N {
                sums[vector] = simd.mul_add_f32s(weight, both[vector], sums[vector]);
            }
        }
    }
    sums
}

/// Convolves a line with one kernel, given by its centre weight and the weights to one side. Returns the
/// result for the tile (group of adjacent columns) that starts at index `first` of the line.
#[inline(always)]
fn across<S: Simd, const N: usize>(simd: S, half: &[f32], line: &[f32], first: usize) -> [S::f32s; N] {
    let tile = N * S::F32_LANES;
    let weight = simd.splat_f32s(half[0]);
    let (middle, _) = S::as_simd_f32s(&line[first..first + tile]);
    let mut sums = [weight; N];
    for vector in 0..N {
        sums[vector] = simd.mul_f32s(weight, middle[vector]);
    }
    let (before, after) = (line[..first + tile - 1].windows(tile).rev(), line[first + 1..].windows(tile));
    for ((weight, before), after) in half[1..].iter().zip(before).zip(after) {
        let weight = simd.splat_f32s(*weight);
        let ((before, _), (after, _)) = (S::as_simd_f32s(before), S::as_simd_f32s(after));
        for vector in 0..N {
            let both = simd.add_f32s(before[vector], after[vector]);
            sums[vector] = simd.mul_add_f32s(weight, both, sums[vector]);
        }
    }
    sums
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Compared with two-dimensional sums, for widths near multiples of the vector width.
    #[test]
    fn the_difference_equals_that_of_sums_over_the_neighbourhood() {
        let (narrow, wide) = (gaussian(0.7), gaussian(1.9));
        for width in [1, 7, 16, 31, 32, 33, 63, 64, 70, 130, 300] {
            let levels = Array2::from_shape_fn((12, width), |(y, x)| ((y * 31 + x * 17) % 41) as f32);
            let blurred = |half: &[f32], y: usize, x: usize| {
                let radius = half.len() as isize - 1;
                let weight = |offset: isize| half[offset.unsigned_abs()];
                let inside = |at: usize, by: isize, length: usize| {
                    (at as isize + by).clamp(0, length as isize - 1) as usize
                };
                let rows = (-radius..=radius).flat_map(|dy| (-radius..=radius).map(move |dx| (dy, dx)));
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
