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

/// A standard uncertainty and how well it is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StandardUncertainty {
    /// The standard uncertainty, in the unit of the value.
    pub value: f64,
    /// Its degrees of freedom; infinite where it rests on knowledge instead of samples.
    pub degrees_of_freedom: f64,
}

impl StandardUncertainty {
    /// One that rests on knowledge instead of samples.
    #[must_use]
    pub fn known(value: f64) -> Self {
        Self { value, degrees_of_freedom: f64::INFINITY }
    }
}

/// Standard uncertainty of a sum or difference of independent parts: the root of the sum of squares, with the
/// effective degrees of freedom of Welch and Satterthwaite, `u_c^4 / sum(u_i^4 / nu_i)` (JCGM 100:2008, 5.1.2
/// and G.2b). They are infinite where no part rests on samples.
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
