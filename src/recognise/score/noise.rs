//! The noise model: the covariance of the differences between features and templates.
//!
//! Differences of neighbouring pixels are correlated (because of background, blur and compression), so a
//! plain sum of squares overrates large smooth differences. The model is one covariance matrix for all
//! characters and for the empty cell: the sample covariance of observed differences, shrunk towards a
//! stationary covariance, which depends only on the distance between pixels.

use std::ops::Range;

use nalgebra::{Cholesky, DMatrix, DMatrixViewMut, DVector};
use ndarray::Array2;
use rayon::prelude::*;

/// Share of the mean variance that is added to the diagonal (ridge), so that the matrix is invertible and
/// well conditioned. Set by judgement.
const RIDGE_SHARE: f64 = 0.03;

/// Variance that is always added to the diagonal, in squared grey levels. Set by judgement.
const RIDGE_LEVELS2: f64 = 4.0;

/// Maximum distance at which pixels are correlated in the stationary covariance, in working pixels. Set by
/// judgement.
const MAX_LAG_PX: usize = 10;

/// Number of columns of the covariance and of its Cholesky factor that are computed together. Set by
/// judgement.
const STRIP: usize = 64;

/// Covariance S of the features in a cell.
#[derive(Debug, Clone)]
pub struct Noise {
    rows: usize,
    covariance: Covariance,
}

#[derive(Debug, Clone)]
enum Covariance {
    /// Uncorrelated noise with one variance, in squared grey levels. This is the model before self-training;
    /// its variance is larger than that of the real noise.
    White(f64),
    /// The lower Cholesky factor L of a measured covariance, S = L L'. Pixels are in column-major order, so
    /// that the factor for narrower cells is the top left corner of this one.
    Measured(DMatrix<f64>),
}

impl Noise {
    /// Uncorrelated noise with the standard deviation `sd_levels` in grey levels, for cells `rows` high.
    #[must_use]
    pub fn white(rows: usize, sd_levels: f32) -> Self {
        Self { rows, covariance: Covariance::White(f64::from(sd_levels).powi(2)) }
    }

    /// The noise model of a sample of differences, each rows x cols; `None` for fewer than 8 differences, or
    /// if the covariance is not positive definite.
    #[must_use]
    pub fn from_differences(rows: usize, cols: usize, sample: &[Array2<f32>]) -> Option<Self> {
        let size = rows * cols;
        if sample.len() < 8 {
            return None;
        }
        let count = sample.len() as f64;
        let weight = count / (count + 3.0 * size as f64);
        let data = by_columns(rows, size, sample);
        let lags = Lags::of(rows, cols);
        let firsts: Vec<usize> = (0..size).step_by(STRIP).collect();
        let strips: Vec<CovarianceStrip> =
            firsts.into_par_iter().map(|first| CovarianceStrip::of(&data, first, &lags)).collect();
        let stationary = lags.covariances(&strips, count * size as f64);
        let mut covariance = vec![0.0; size * size];
        let columns = covariance.par_chunks_mut(STRIP * size);
        columns.zip(strips).for_each(|(columns, strip)| {
            for (number, column) in (strip.first..).zip(columns.chunks_exact_mut(size)) {
                let products = strip.products.column(number - strip.first);
                for (entry, product) in column[strip.first..].iter_mut().zip(&products) {
                    *entry = f64::from(*product) * (weight / count);
                }
                for (others, lag) in lags.correlated_with(number) {
                    let by_distance = &stationary[lag..lag + others.len()];
                    let entries = column[others].iter_mut().zip(by_distance);
                    entries.for_each(|(entry, at_distance)| *entry += at_distance * (1.0 - weight));
                }
            }
        });
        let mut covariance = DMatrix::from_vec(size, size, covariance);
        let mean_variance = covariance.trace() / size as f64;
        for i in 0..size {
            covariance[(i, i)] += RIDGE_SHARE * mean_variance + RIDGE_LEVELS2;
        }
        Some(Self { rows, covariance: Covariance::Measured(factor(covariance)?) })
    }

    /// Expectation of the part of t' S^-1 t that noise adds, for a template t of `pixels` pixels that is the
    /// mean of `image_count` images. The noise of the mean has the covariance S divided by the number of images,
    /// so the expectation is the number of pixels divided by the number of images. It is 0 until the
    /// covariance is measured, and for a built-in template (`image_count` is `None`).
    pub(super) fn distance2_of_mean(&self, pixels: usize, image_count: Option<u32>) -> f64 {
        match (&self.covariance, image_count) {
            (Covariance::Measured(_), Some(count)) => pixels as f64 / f64::from(count.max(1)),
            _ => 0.0,
        }
    }

    /// S^-1 t for a template t, row by row. The template may be narrower than the cells of the model; `None`
    /// if it is wider or has another height.
    pub(super) fn weights(&self, template: &Array2<f32>) -> Option<Vec<f64>> {
        let (rows, cols) = template.dim();
        match &self.covariance {
            Covariance::White(variance) => {
                Some(template.iter().map(|level| f64::from(*level) / variance).collect())
            }
            Covariance::Measured(factor) => {
                let size = rows * cols;
                if rows != self.rows || size > factor.nrows() {
                    return None;
                }
                let factor = factor.view((0, 0), (size, size));
                let level = |i: usize, _: usize| f64::from(template[[i % rows, i / rows]]);
                let mut weights = DVector::from_fn(size, level);
                let solved = factor.solve_lower_triangular_mut(&mut weights)
                    && factor.tr_solve_lower_triangular_mut(&mut weights);
                let weight = |i: usize| weights[(i % cols) * rows + i / cols];
                solved.then(|| (0..size).map(weight).collect())
            }
        }
    }
}

/// The lower Cholesky factor of a symmetric matrix given by its lower triangle; `None` if the matrix is not
/// positive definite.
///
/// The factor is computed in blocks, so that most of the work is matrix products, on all cores: the corner
/// block is factored, the block below is solved for, and their product is subtracted from the rest.
fn factor(mut matrix: DMatrix<f64>) -> Option<DMatrix<f64>> {
    let size = matrix.nrows();
    for first in (0..size).step_by(STRIP) {
        let width = STRIP.min(size - first);
        let behind = first + width;
        let corner = Cholesky::new(matrix.view((first, first), (width, width)).into_owned())?.unpack();
        let mut beside = matrix.view((behind, first), (size - behind, width)).transpose();
        corner.solve_lower_triangular_mut(&mut beside).then_some(())?;
        let below = beside.transpose();
        matrix.view_mut((first, first), (width, width)).copy_from(&corner);
        matrix.view_mut((behind, first), below.shape()).copy_from(&below);
        let rest = &mut matrix.as_mut_slice()[behind * size..];
        rest.par_chunks_mut(STRIP * size).enumerate().for_each(|(number, columns)| {
            let (from, count) = (number * STRIP, columns.len() / size);
            let mut columns = DMatrixViewMut::from_slice(columns, size, count);
            let mut below_diagonal = columns.rows_mut(behind + from, size - behind - from);
            let of_columns = beside.columns(from, count);
            below_diagonal.gemm(-1.0, &below.rows(from, below.nrows() - from), &of_columns, 1.0);
        });
    }
    matrix.fill_upper_triangle(0.0, 1);
    Some(matrix)
}

/// Cells as the columns of a matrix, each in column-major order.
fn by_columns(rows: usize, size: usize, cells: &[Array2<f32>]) -> DMatrix<f32> {
    let mut data = vec![0.0; size * cells.len()];
    data.par_chunks_exact_mut(size).zip(cells).for_each(|(levels, cell)| {
        for (levels, column) in levels.chunks_exact_mut(rows).zip(cell.columns()) {
            levels.iter_mut().zip(column).for_each(|(to, level)| *to = *level);
        }
    });
    DMatrix::from_vec(size, cells.len(), data)
}

/// Products of the values of two pixels, summed over the cells of a sample: each pixel of a strip (at most
/// [`STRIP`] consecutive pixels) with every pixel from the first one of the strip on.
struct CovarianceStrip {
    first: usize,
    /// One column for each pixel of the strip; entries above the diagonal of the covariance are computed too.
    products: DMatrix<f32>,
    /// For each lag, the sum of the products over all pairs of pixels at that distance.
    by_lag: Vec<f64>,
}

impl CovarianceStrip {
    /// The strip of at most [`STRIP`] pixels from `first` on.
    fn of(data: &DMatrix<f32>, first: usize, lags: &Lags) -> Self {
        let size = data.nrows();
        let pixels = STRIP.min(size - first);
        let products = data.rows(first, size - first) * data.rows(first, pixels).transpose();
        let mut by_lag = vec![0.0; lags.count()];
        for (number, products) in (first..).zip(products.column_iter()) {
            for (others, lag) in lags.correlated_with(number) {
                let products = products.rows(others.start - first, others.len());
                let sums = by_lag[lag..].iter_mut().zip(&products);
                sums.for_each(|(sum, product)| *sum += f64::from(*product));
            }
        }
        Self { first, products, by_lag }
    }
}

/// The lags (distances down and across) at which pixels of a cell are correlated in the stationary covariance. Pixels are in
/// column-major order.
struct Lags {
    rows: usize,
    cols: usize,
    /// Maximum lags down and across.
    max: (usize, usize),
}

impl Lags {
    fn of(rows: usize, cols: usize) -> Self {
        Self { rows, cols, max: (MAX_LAG_PX.min(rows - 1), MAX_LAG_PX.min(cols - 1)) }
    }

    /// Number of lags. Lags are ordered by the distance across, then by the distance down, where upward
    /// distances come first.
    fn count(&self) -> usize {
        (self.max.1 + 1) * self.heights()
    }

    fn heights(&self) -> usize {
        2 * self.max.0 + 1
    }

    /// The pixels at most the maximum lags away from pixel `number`, from this pixel on: ranges of pixels, each with
    /// the index of the lag of the range's first pixel; the lags of the range's other pixels follow in order.
    fn correlated_with(&self, number: usize) -> impl Iterator<Item = (Range<usize>, usize)> {
        let (x, y) = (number / self.rows, number % self.rows);
        (0..=self.max.1.min(self.cols - 1 - x)).map(move |right| {
            let top = if right == 0 { y } else { y.saturating_sub(self.max.0) };
            let bottom = (y + self.max.0 + 1).min(self.rows);
            let column = (x + right) * self.rows;
            (column + top..column + bottom, right * self.heights() + self.max.0 + top - y)
        })
    }

    /// The covariance at every lag, computed from products that are summed over `pixels` pixels. The
    /// estimator is the biased one, which keeps the matrix positive semidefinite, tapered towards the maximum
    /// lags.
    fn covariances(&self, strips: &[CovarianceStrip], pixels: f64) -> Vec<f64> {
        let taper = |lag: usize, max: usize| 1.0 - lag as f64 / (max as f64 + 1.0);
        let covariance = |lag: usize| {
            let (right, down) = (lag / self.heights(), (lag % self.heights()).abs_diff(self.max.0));
            let sum: f64 = strips.iter().map(|strip| strip.by_lag[lag]).sum();
            sum / pixels * taper(right, self.max.1) * taper(down, self.max.0)
        };
        (0..self.count()).map(covariance).collect()
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    const SIZE: (usize, usize) = (14, 13);

    /// Cells of noise in which neighbouring pixels are correlated, more so along the rows and diagonally down
    /// to the right.
    fn cells(count: usize) -> Vec<Array2<f32>> {
        let white = |number: usize, y: usize, x: usize| {
            let mixed = (number * 7919 + y * 131 + x + 1).wrapping_mul(0x9e37_79b9_7f4a_7c15);
            ((mixed >> 33) % 1001) as f32 / 50.0 - 10.0
        };
        let level = |number: usize, y: usize, x: usize| {
            white(number, y + 1, x + 1) + 0.7 * white(number, y + 1, x) + 0.4 * white(number, y, x)
        };
        (0..count).map(|number| Array2::from_shape_fn(SIZE, |(y, x)| level(number, y, x))).collect()
    }

    /// The covariance computed directly from its definition, for one pair of pixels after the other.
    fn covariance(cells: &[Array2<f32>]) -> DMatrix<f64> {
        let (rows, cols) = SIZE;
        let (size, count) = (rows * cols, cells.len() as f64);
        let product = |cell: &Array2<f32>, one: (usize, usize), other: (usize, usize)| {
            f64::from(cell[one]) * f64::from(cell[other])
        };
        let at_distance = |down: isize, right: isize| {
            let pairs = (0..size).filter_map(|one| {
                let (y, x) = (one / cols, one % cols);
                let (y2, x2) = (y.checked_add_signed(down)?, x.checked_add_signed(right)?);
                (y2 < rows && x2 < cols).then_some(((y, x), (y2, x2)))
            });
            let sum: f64 =
                pairs.map(|(one, two)| cells.iter().map(|cell| product(cell, one, two)).sum::<f64>()).sum();
            let taper = |lag: isize| (1.0 - lag.unsigned_abs() as f64 / (MAX_LAG_PX + 1) as f64).max(0.0);
            sum / (count * size as f64) * taper(down) * taper(right)
        };
        let weight = count / (count + 3.0 * size as f64);
        let entry = |i: usize, j: usize| {
            let (one, two) = ((i % rows, i / rows), (j % rows, j / rows));
            let own = cells.iter().map(|cell| product(cell, one, two)).sum::<f64>() / count;
            let (down, right) = (two.0 as isize - one.0 as isize, two.1 as isize - one.1 as isize);
            weight * own + (1.0 - weight) * at_distance(down, right)
        };
        let mut covariance = DMatrix::from_fn(size, size, entry);
        let ridge = RIDGE_SHARE * covariance.trace() / size as f64 + RIDGE_LEVELS2;
        (0..size).for_each(|i| covariance[(i, i)] += ridge);
        covariance
    }

    #[test]
    fn the_model_is_the_sample_covariance_shrunk_towards_that_of_the_distances() {
        let cells = cells(60);
        let noise = Noise::from_differences(SIZE.0, SIZE.1, &cells).unwrap();
        let covariance = covariance(&cells);
        let template = Array2::from_shape_fn(SIZE, |(y, x)| ((y * 5 + x * 3) % 11) as f32 * 9.0 - 40.0);
        let weights = noise.weights(&template).unwrap();
        // S times S^-1 t is t.
        let stacked = DVector::from_fn(SIZE.0 * SIZE.1, |i, _| weights[i % SIZE.0 * SIZE.1 + i / SIZE.0]);
        let back = covariance * stacked;
        for ((y, x), level) in template.indexed_iter() {
            let found = back[x * SIZE.0 + y];
            assert!((found - f64::from(*level)).abs() < 1e-2, "{y}, {x}: {found} {level}");
        }
    }

    #[test]
    fn a_narrower_cell_has_the_weights_of_its_own_pixels() {
        let cells = cells(60);
        let narrow: Vec<Array2<f32>> =
            cells.iter().map(|cell| cell.slice(ndarray::s![.., ..9]).to_owned()).collect();
        let template = Array2::from_shape_fn((SIZE.0, 9), |(y, x)| ((y * 5 + x * 3) % 11) as f32 * 9.0);
        let whole = Noise::from_differences(SIZE.0, SIZE.1, &cells).unwrap();
        let own = Noise::from_differences(SIZE.0, 9, &narrow).unwrap();
        let energy = |noise: &Noise| {
            let weights = noise.weights(&template).unwrap();
            weights.iter().zip(&template).map(|(weight, level)| weight * f64::from(*level)).sum::<f64>()
        };
        let (whole, own) = (energy(&whole), energy(&own));
        // The narrow cells' covariances by distance are taken from fewer pairs, and shrunk less.
        assert!((whole / own - 1.0).abs() < 0.1, "{whole} {own}");
    }

    /// Compares the factor with the one that nalgebra computes from the whole matrix.
    #[test]
    fn the_factor_is_that_of_the_whole_matrix_and_none_if_it_is_not_positive_definite() {
        for size in [1, STRIP - 1, STRIP, STRIP + 1, 3 * STRIP + 5] {
            let distance = |i: usize, j: usize| i.abs_diff(j) as f64;
            let mut matrix = DMatrix::from_fn(size, size, |i, j| {
                (-0.1 * distance(i, j)).exp() * (1.0 + 0.01 * (i * j) as f64)
            });
            let whole = Cholesky::new(matrix.clone()).unwrap().unpack();
            assert!((factor(matrix.clone()).unwrap() - whole).amax() < 1e-9, "{size}");
            matrix[(size - 1, size - 1)] = -1.0;
            assert!(factor(matrix).is_none());
        }
    }

    #[test]
    fn too_few_cells_make_no_model() {
        assert!(Noise::from_differences(SIZE.0, SIZE.1, &cells(7)).is_none());
        assert!(Noise::from_differences(SIZE.0, SIZE.1, &cells(8)).is_some());
    }
}
