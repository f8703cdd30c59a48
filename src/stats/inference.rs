//! Coverage factors, combined uncertainties and multiple comparisons.

use statrs::distribution::{ContinuousCDF, StudentsT};

/// Coverage factor: half the width of the interval that contains the share `probability` of Student's
/// distribution, in standard uncertainties. `degrees_of_freedom` is limited to the range from 1 to 10 000, and NaN
/// is treated as 10 000. At that limit, the factor for 95 % differs from that of the normal distribution by less
/// than 0.0003.
#[must_use]
pub fn coverage_factor(probability: f64, degrees_of_freedom: f64) -> f64 {
    let freedom = if degrees_of_freedom.is_nan() { 1e4 } else { degrees_of_freedom.clamp(1.0, 1e4) };
    let tail = 1.0 - (1.0 - probability.clamp(0.0, 0.999_999)) / 2.0;
    StudentsT::new(0.0, 1.0, freedom).map_or(f64::INFINITY, |student| student.inverse_cdf(tail))
}

/// P-values corrected for multiple comparisons (Holm, 1979), in the order of `probabilities`. In ascending order,
/// the k-th of n p-values is multiplied by n - k + 1 (k from 1). Each result is at most 1, and at least as large
/// as the result for the next smaller p-value.
#[must_use]
pub fn holm(probabilities: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..probabilities.len()).collect();
    order.sort_by(|one, other| probabilities[*one].total_cmp(&probabilities[*other]));
    let mut corrected = vec![1.0; probabilities.len()];
    let mut least: f64 = 0.0;
    for (passed, index) in order.iter().enumerate() {
        least = least.max(probabilities[*index] * (probabilities.len() - passed) as f64).min(1.0);
        corrected[*index] = least;
    }
    corrected
}

/// A standard uncertainty with its degrees of freedom.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StandardUncertainty {
    /// The standard uncertainty, in the unit of the quantity that it belongs to.
    pub value: f64,
    /// Degrees of freedom of the standard uncertainty; infinite if it is not estimated from samples.
    pub degrees_of_freedom: f64,
}

impl StandardUncertainty {
    /// An uncertainty that is not estimated from samples, with infinite degrees of freedom.
    #[must_use]
    pub fn known(value: f64) -> Self {
        Self { value, degrees_of_freedom: f64::INFINITY }
    }
}

/// Standard uncertainty of a sum or difference of independent parts: the root of the sum of squares, with the
/// effective degrees of freedom of Welch and Satterthwaite, `u_c^4 / sum(u_i^4 / nu_i)` (JCGM 100:2008, 5.1.2 and
/// G.2b). The degrees of freedom are infinite if no part is estimated from samples.
#[must_use]
pub fn welch_satterthwaite(parts: &[StandardUncertainty]) -> StandardUncertainty {
    let combined = parts.iter().map(|part| part.value.powi(2)).sum::<f64>().sqrt();
    let sampled: f64 = parts
        .iter()
        .map(|part| part.value.powi(4) / part.degrees_of_freedom)
        .filter(|share| share.is_finite())
        .sum();
    let degrees_of_freedom = if sampled > 0.0 { combined.powi(4) / sampled } else { f64::INFINITY };
    StandardUncertainty { value: combined, degrees_of_freedom }
}
