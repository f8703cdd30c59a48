//! The noise model: how features differ from the glyphs' templates.
//!
//! Differences are correlated from pixel to pixel (the picture behind the text, blur, compression),
//! so a plain sum of squares overrates large smooth differences. The model is one covariance matrix
//! over a cell, shared by all glyphs and the blank: the sample covariance of observed differences,
//! shrunk towards the stationary covariance with the same correlations at each distance.

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};
use ndarray::Array2;

use super::patches::product;

/// Share of the variance added to the diagonal, so that the matrix can be inverted and no single
/// direction is trusted without bound.
const RIDGE_SHARE: f64 = 0.03;

/// Variance added to the diagonal in any case, in grey levels squared.
const RIDGE_LEVELS2: f64 = 4.0;

/// Largest distance at which pixels are taken as correlated in the stationary part, in pixels.
const REACH_PX: usize = 10;

/// Cells that the stationary part is measured on: each holds hundreds of pairs at a distance.
const STATIONARY_CELLS: usize = 400;

/// Covariance of the features of a cell.
#[derive(Debug, Clone)]
pub struct Noise {
    rows: usize,
    cols: usize,
    covariance: DMatrix<f64>,
    /// Whether the covariance was measured; else it is a start that is safely too large.
    measured: bool,
}

impl Noise {
    /// Uncorrelated noise of the given standard deviation in grey levels.
    #[must_use]
    pub fn white(rows: usize, cols: usize, sd_levels: f32) -> Self {
        let variance = f64::from(sd_levels).powi(2);
        let covariance = DMatrix::from_diagonal_element(rows * cols, rows * cols, variance);
        Self { rows, cols, covariance, measured: false }
    }

    /// The model of a sample of differences, each rows x cols; `None` when there are too few.
    #[must_use]
    pub fn from_differences(rows: usize, cols: usize, sample: &[Array2<f32>]) -> Option<Self> {
        let size = rows * cols;
        if sample.len() < 8 {
            return None;
        }
        let stationary = stationary_covariance(rows, cols, sample);
        let count = sample.len() as f64;
        let weight = count / (count + 3.0 * size as f64);
        let data = DMatrix::from_fn(size, sample.len(), |i, j| sample[j][[i / cols, i % cols]]);
        let products = (&data * data.transpose()).map(f64::from);
        let mut covariance = products * (weight / count) + stationary * (1.0 - weight);
        let mean_variance = covariance.trace() / size as f64;
        for i in 0..size {
            covariance[(i, i)] += RIDGE_SHARE * mean_variance + RIDGE_LEVELS2;
        }
        Some(Self { rows, cols, covariance, measured: true })
    }

    /// What noise alone adds to t' S^-1 t of a template t of `pixels` pixels that is the mean of so many
    /// pictures: the noise of the mean has the covariance S / n, so its expectation is the number of
    /// pixels over n. Nothing while the covariance is not measured.
    pub(super) fn distance2_of_mean(&self, pixels: usize, pictures: Option<u32>) -> f64 {
        match pictures {
            Some(count) if self.measured => pixels as f64 / f64::from(count.max(1)),
            _ => 0.0,
        }
    }

    /// Prepares the model for templates of `cols` columns (at most the model's own).
    pub(super) fn solver(&self, cols: usize) -> Option<Solver> {
        let cols = cols.min(self.cols);
        let kept: Vec<usize> = (0..self.rows * self.cols).filter(|i| i % self.cols < cols).collect();
        let part = DMatrix::from_fn(kept.len(), kept.len(), |i, j| self.covariance[(kept[i], kept[j])]);
        Some(Solver { cholesky: Cholesky::new(part)? })
    }
}

/// Covariance that depends on the distance between two pixels only; the biased estimator, which
/// keeps the matrix positive semidefinite.
fn stationary_covariance(rows: usize, cols: usize, sample: &[Array2<f32>]) -> DMatrix<f64> {
    let (reach_y, reach_x) = (REACH_PX.min(rows - 1), REACH_PX.min(cols - 1));
    let mut by_lag = Array2::<f64>::zeros((reach_y + 1, 2 * reach_x + 1));
    let stride = sample.len().div_ceil(STATIONARY_CELLS);
    let mut used = 0.0;
    for cell in sample.iter().step_by(stride) {
        used += 1.0;
        for dy in 0..=reach_y {
            for (k, lag) in by_lag.row_mut(dy).iter_mut().enumerate() {
                *lag += lagged_product(cell, dy, k as isize - reach_x as isize);
            }
        }
    }
    by_lag /= used * (rows * cols) as f64;
    DMatrix::from_fn(rows * cols, rows * cols, |i, j| {
        let (dy, dx) = ((i / cols) as isize - (j / cols) as isize, (i % cols) as isize - (j % cols) as isize);
        let (dy, dx) = if dy < 0 { (-dy, -dx) } else { (dy, dx) };
        let taper =
            |lag: isize, reach: usize| (1.0 - lag.unsigned_abs() as f64 / (reach as f64 + 1.0)).max(0.0);
        let weight = taper(dy, reach_y) * taper(dx, reach_x);
        if weight == 0.0 {
            return 0.0;
        }
        by_lag[[dy as usize, (dx + reach_x as isize) as usize]] * weight
    })
}

fn lagged_product(cell: &Array2<f32>, dy: usize, dx: isize) -> f64 {
    let (rows, cols) = cell.dim();
    let Some(levels) = cell.as_slice() else { return 0.0 };
    let first = (-dx).max(0) as usize;
    let last = (cols as isize - dx.max(0)).max(first as isize) as usize;
    let there = |at: usize| (at as isize + dx) as usize;
    let rows = (0..rows - dy).map(|y| {
        let (here, below) = (&levels[y * cols..][..cols], &levels[(y + dy) * cols..][..cols]);
        product(&here[first..last], &below[there(first)..there(last)])
    });
    f64::from(rows.sum::<f32>())
}

/// A factored covariance.
pub(super) struct Solver {
    cholesky: Cholesky<f64, Dyn>,
}

impl Solver {
    /// Covariance^-1 x template, in the template's row-major order.
    pub(super) fn weights(&self, template: &Array2<f32>) -> Vec<f64> {
        let vector = DVector::from_iterator(template.len(), template.iter().map(|level| f64::from(*level)));
        self.cholesky.solve(&vector).iter().copied().collect()
    }
}
