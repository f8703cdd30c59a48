//! A measured value with its uncertainty.

use crate::stats::coverage_factor;

/// Coverage probability of every interval that this program states.
pub const COVERAGE_PROBABILITY: f64 = 0.95;

/// A measured value with its standard uncertainty and its interval of [`COVERAGE_PROBABILITY`], all in the
/// same unit.
///
/// The interval need not be centred on the value: a correction for a systematic effect shifts the interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The measured value.
    pub value: f64,
    /// Standard uncertainty of the value.
    pub standard_uncertainty: f64,
    /// Effective degrees of freedom of the standard uncertainty; infinite if the standard uncertainty is not
    /// estimated from samples.
    pub degrees_of_freedom: f64,
    /// Lower end of the 95 % interval.
    pub low: f64,
    /// Upper end of the 95 % interval.
    pub high: f64,
}

impl Estimate {
    /// An estimate whose interval is centred on its value: `value -/+ t u` with the standard uncertainty `u`
    /// and the coverage factor `t` of Student's distribution (JCGM 100:2008, G.6.4).
    #[must_use]
    pub fn centred(value: f64, standard_uncertainty: f64, degrees_of_freedom: f64) -> Self {
        let half = coverage_factor(COVERAGE_PROBABILITY, degrees_of_freedom) * standard_uncertainty;
        Self { value, standard_uncertainty, degrees_of_freedom, low: value - half, high: value + half }
    }

    /// Half the width of the interval.
    #[must_use]
    pub fn half_width(&self) -> f64 {
        (self.high - self.low) / 2.0
    }

    /// Whether the interval contains a value, including its ends.
    #[must_use]
    pub fn holds(&self, value: f64) -> bool {
        (self.low..=self.high).contains(&value)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_interval_of_many_degrees_of_freedom_is_that_of_the_normal_distribution() {
        let estimate = Estimate::centred(20.0, 0.5, f64::INFINITY);
        assert!((estimate.half_width() - 1.96 * 0.5).abs() < 1e-3, "{estimate:?}");
        assert!(estimate.holds(20.9) && !estimate.holds(21.1));
    }

    #[test]
    fn few_degrees_of_freedom_widen_the_interval_as_the_gum_says() {
        // JCGM 100:2008, table G.2: t_95(3) = 3.18.
        let estimate = Estimate::centred(0.0, 1.0, 3.0);
        assert!((estimate.high - 3.18).abs() < 5e-3 && estimate.low == -estimate.high, "{estimate:?}");
    }
}
