//! Coverage factors, combined uncertainties and multiple comparisons.

use statrs::distribution::{ContinuousCDF, StudentsT};

/// Half-width of the interval of Student's distribution that holds `probability` of it, in standard
/// uncertainties. Degrees of freedom below 1 are taken as 1, and NaN as infinite; beyond 10 000 the
/// normal distribution's value differs by less than 0.0003.
#[must_use]
pub fn coverage_factor(probability: f64, degrees_of_freedom: f64) -> f64 {
    let freedom = if degrees_of_freedom.is_nan() { 1e4 } else { degrees_of_freedom.clamp(1.0, 1e4) };
    let tail = 1.0 - (1.0 - probability.clamp(0.0, 0.999_999)) / 2.0;
    StudentsT::new(0.0, 1.0, freedom).map_or(f64::INFINITY, |student| student.inverse_cdf(tail))
}

/// Probabilities corrected after Holm: in ascending order each is multiplied by the number of those not
/// yet passed, and none falls below the one before it. In the order given.
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

/// Standard uncertainty of a sum or difference of independent parts, and its degrees of freedom after
/// Welch and Satterthwaite (JCGM 100:2008, G.2b). Parts are `(standard uncertainty, degrees of freedom)`.
#[must_use]
pub fn welch(parts: &[(f64, f64)]) -> (f64, f64) {
    let combined = parts.iter().map(|(uncertainty, _)| uncertainty.powi(2)).sum::<f64>().sqrt();
    let sampled: f64 = parts
        .iter()
        .map(|(uncertainty, freedom)| uncertainty.powi(4) / freedom)
        .filter(|share| share.is_finite())
        .sum();
    (combined, if sampled > 0.0 { combined.powi(4) / sampled } else { f64::INFINITY })
}
