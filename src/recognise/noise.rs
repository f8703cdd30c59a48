//! The noise model: how features differ from the glyphs' templates.
//!
//! Differences are correlated from pixel to pixel (the picture behind the text, blur, compression),
//! so a plain sum of squares overrates large smooth differences. The model is one covariance matrix
//! over a cell, shared by all glyphs and the blank: the sample covariance of observed differences,
//! shrunk towards the stationary covariance with the same correlations at each distance.

use nalgebra::{Cholesky, DMatrix, DVector};
use ndarray::Array2;
use rayon::prelude::*;

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

/// Columns of the covariance that are worked out together.
const STRIP: usize = 64;

/// Covariance S of the features of a cell.
#[derive(Debug, Clone)]
pub struct Noise {
    rows: usize,
    form: Form,
}

#[derive(Debug, Clone)]
enum Form {
    /// Uncorrelated, of one variance: a start that is safely too large.
    White(f64),
    /// The lower factor of a measured covariance, S = L L'. Pixels stand column by column, so that the factor for
    /// narrower cells is its top left corner.
    Measured(DMatrix<f64>),
}

impl Noise {
    /// Uncorrelated noise of the given standard deviation in grey levels, in cells so high.
    #[must_use]
    pub fn white(rows: usize, sd_levels: f32) -> Self {
        Self { rows, form: Form::White(f64::from(sd_levels).powi(2)) }
    }

    /// The model of a sample of differences, each rows x cols; `None` when there are too few, or the covariance
    /// cannot be inverted.
    #[must_use]
    pub fn from_differences(rows: usize, cols: usize, sample: &[Array2<f32>]) -> Option<Self> {
        let size = rows * cols;
        if sample.len() < 8 {
            return None;
        }
        let stationary = Stationary::of(rows, cols, sample);
        let count = sample.len() as f64;
        let weight = count / (count + 3.0 * size as f64);
        let data = DMatrix::from_fn(size, sample.len(), |i, j| sample[j][[i % rows, i / rows]]);
        // Below the diagonal, which is all that the factor is made from.
        let strip = |first: usize| {
            let products =
                data.rows(first, size - first) * data.rows(first, STRIP.min(size - first)).transpose();
            let entry = |i: usize, j: usize| {
                let product = f64::from(products[(i, j)]) * (weight / count);
                product + stationary.between(first + i, first + j) * (1.0 - weight)
            };
            (first, DMatrix::from_fn(size - first, products.ncols(), entry))
        };
        let strips: Vec<usize> = (0..size).step_by(STRIP).collect();
        let strips: Vec<(usize, DMatrix<f64>)> = strips.into_par_iter().map(strip).collect();
        let mut covariance = DMatrix::zeros(size, size);
        for (first, strip) in strips {
            covariance.view_mut((first, first), strip.shape()).copy_from(&strip);
        }
        let mean_variance = covariance.trace() / size as f64;
        for i in 0..size {
            covariance[(i, i)] += RIDGE_SHARE * mean_variance + RIDGE_LEVELS2;
        }
        Some(Self { rows, form: Form::Measured(Cholesky::new(covariance)?.unpack()) })
    }

    /// What noise alone adds to t' S^-1 t of a template t of `pixels` pixels that is the mean of so many
    /// pictures: the noise of the mean has the covariance S / n, so its expectation is the number of
    /// pixels over n. Nothing while the covariance is not measured.
    pub(super) fn distance2_of_mean(&self, pixels: usize, pictures: Option<u32>) -> f64 {
        match (&self.form, pictures) {
            (Form::Measured(_), Some(count)) => pixels as f64 / f64::from(count.max(1)),
            _ => 0.0,
        }
    }

    /// S^-1 t for a template t, row-major; its cell may be narrower than the model's. `None` if it is of another
    /// height or wider.
    pub(super) fn weights(&self, template: &Array2<f32>) -> Option<Vec<f64>> {
        let (rows, cols) = template.dim();
        match &self.form {
            Form::White(variance) => {
                Some(template.iter().map(|level| f64::from(*level) / variance).collect())
            }
            Form::Measured(factor) => {
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

/// Covariance that depends on the distance between two pixels only; the biased estimator, which
/// keeps the matrix positive semidefinite. Pixels stand column by column.
struct Stationary {
    rows: usize,
    reach: (usize, usize),
    /// By the distance down, then by that to the right, negative ones first; tapered.
    by_lag: Vec<f64>,
}

impl Stationary {
    fn of(rows: usize, cols: usize, sample: &[Array2<f32>]) -> Self {
        let reach = (REACH_PX.min(rows - 1), REACH_PX.min(cols - 1));
        let cells: Vec<&Array2<f32>> =
            sample.iter().step_by(sample.len().div_ceil(STATIONARY_CELLS)).collect();
        let pixels = (cells.len() * rows * cols) as f64;
        let taper = |lag: usize, reach: usize| 1.0 - lag as f64 / (reach as f64 + 1.0);
        let lags =
            (0..=reach.0).flat_map(|dy| (0..=2 * reach.1).map(move |k| (dy, k as isize - reach.1 as isize)));
        let lags: Vec<(usize, isize)> = lags.collect();
        let covariance = |(dy, dx): (usize, isize)| {
            let sum: f64 = cells.iter().map(|cell| lagged_product(cell, dy, dx)).sum();
            sum / pixels * (taper(dy, reach.0) * taper(dx.unsigned_abs(), reach.1))
        };
        Self { rows, reach, by_lag: lags.into_par_iter().map(covariance).collect() }
    }

    /// Covariance of two pixels.
    fn between(&self, one: usize, other: usize) -> f64 {
        let (y, x) = (one % self.rows, one / self.rows);
        let (other_y, other_x) = (other % self.rows, other / self.rows);
        // The one that stands higher comes first.
        let (dy, from, to) = if y < other_y { (other_y - y, x, other_x) } else { (y - other_y, other_x, x) };
        let k = to + self.reach.1;
        if dy > self.reach.0 || k < from || k - from > 2 * self.reach.1 {
            return 0.0;
        }
        self.by_lag[dy * (2 * self.reach.1 + 1) + k - from]
    }
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
