//! Least squares: fits linear and nonlinear models, with the covariance of their parameters.
//!
//! Checked against the NIST Statistical Reference Datasets and JCGM 100:2008, H.3.

use nalgebra::{DMatrix, DVector};

/// Minimum ratio of the smallest to the largest singular value of a model's design matrix. Below this ratio, the
/// values do not determine the parameters (set by judgement).
const MIN_SINGULAR_RATIO: f64 = 1e-13;

/// Maximum number of iterations of a nonlinear fit (set by judgement).
const MAX_ITERATIONS: usize = 50;

/// A fitted model.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// The fitted parameters.
    pub parameters: DVector<f64>,
    /// Covariance of the parameters if the residuals are independent with standard deviation 1: `(J^T J)^-1`,
    /// where `J` holds the derivatives of the fitted values with respect to the parameters. Multiply it by the
    /// residual variance for the covariance of the parameters.
    pub unit_covariance: DMatrix<f64>,
    /// Observed minus fitted values.
    pub residuals: DVector<f64>,
}

impl Fit {
    /// Number of observations minus number of parameters.
    #[must_use]
    pub fn degrees_of_freedom(&self) -> usize {
        self.residuals.len().saturating_sub(self.parameters.len())
    }

    /// Residual standard deviation: the root of the sum of squared residuals over the degrees of freedom.
    /// `None` if there are no degrees of freedom.
    #[must_use]
    pub fn residual_deviation(&self) -> Option<f64> {
        let freedom = self.degrees_of_freedom();
        (freedom > 0).then(|| (self.residuals.norm_squared() / freedom as f64).sqrt())
    }

    /// Covariance of the parameters, estimated with the residual variance. `None` if there are no degrees of
    /// freedom.
    #[must_use]
    pub fn covariance(&self) -> Option<DMatrix<f64>> {
        self.residual_deviation().map(|deviation| &self.unit_covariance * deviation.powi(2))
    }
}

/// Fits `values = design * parameters`. `design` has a row for each value and a column for each parameter.
/// `None` with fewer values than parameters, if a number is not finite, or if the columns do not determine
/// the parameters.
#[must_use]
pub fn linear(design: &DMatrix<f64>, values: &DVector<f64>) -> Option<Fit> {
    let finite = design.iter().chain(values.iter()).all(|number| number.is_finite());
    if !finite || design.nrows() != values.len() || design.nrows() < design.ncols() || design.ncols() == 0 {
        return None;
    }
    // Columns are scaled to equal length, for numerical stability with powers of a polynomial.
    let scales: Vec<f64> = design.column_iter().map(|column| column.norm()).collect();
    if scales.contains(&0.0) {
        return None;
    }
    let mut scaled = design.clone();
    for (mut column, scale) in scaled.column_iter_mut().zip(&scales) {
        column /= *scale;
    }
    let svd = scaled.svd(true, true);
    let (largest, smallest) = (svd.singular_values.max(), svd.singular_values.min());
    if smallest.is_nan() || smallest <= MIN_SINGULAR_RATIO * largest {
        return None;
    }
    let unscaled = DVector::from_iterator(scales.len(), scales.iter().map(|scale| 1.0 / scale));
    let parameters = svd.solve(values, 0.0).ok()?.component_mul(&unscaled);
    let mut inverse = svd.v_t?.transpose();
    for (mut column, singular) in inverse.column_iter_mut().zip(svd.singular_values.iter()) {
        column /= *singular;
    }
    let unscale = DMatrix::from_diagonal(&unscaled);
    let unit_covariance = &unscale * (&inverse * inverse.transpose()) * &unscale;
    let residuals = values - design * &parameters;
    Some(Fit { parameters, unit_covariance, residuals })
}

/// A nonlinear model linearised at one set of parameters.
#[derive(Debug, Clone, PartialEq)]
pub struct Linearisation {
    /// Observed minus fitted values.
    pub residuals: DVector<f64>,
    /// Derivatives of the fitted values: a row for each observation and a column for each parameter.
    pub derivatives: DMatrix<f64>,
}

/// Fits a nonlinear model by the Gauss-Newton method with step halving, starting at the parameters `start`.
/// `model` returns the residuals and the derivatives at given parameters. `None` if the derivatives do not
/// determine a step, or if the fit does not converge within the maximum number of iterations.
#[must_use]
pub fn nonlinear(start: &DVector<f64>, model: impl Fn(&DVector<f64>) -> Linearisation) -> Option<Fit> {
    let mut parameters = start.clone();
    let mut here = model(&parameters);
    for _ in 0..MAX_ITERATIONS {
        let step = linear(&here.derivatives, &here.residuals)?;
        let better = halvings().find_map(|share| {
            let tried = &parameters + &step.parameters * share;
            let there = model(&tried);
            (there.residuals.norm_squared() <= here.residuals.norm_squared()).then_some((tried, there))
        });
        let moved = step.parameters.norm() > 1e-10 * (1.0 + parameters.norm());
        match better {
            Some(next) if moved => (parameters, here) = next,
            _ => {
                let unit_covariance = step.unit_covariance;
                return Some(Fit { parameters, unit_covariance, residuals: here.residuals });
            }
        }
    }
    None
}

fn halvings() -> impl Iterator<Item = f64> {
    (0..12).map(|halving| 0.5f64.powi(halving))
}
