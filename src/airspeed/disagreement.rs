//! Tests whether pairs flown at one throttle differ by more than their own uncertainties explain.

use statrs::distribution::{ContinuousCDF, FisherSnedecor};

use super::Pair;
use super::budget::{Budget, Cause, Contribution};
use crate::stats::{mean, standard_deviation};

/// Probability of calling consistent pairs inconsistent: the usual level of 5 %.
const FALSE_ALARM_PROBABILITY: f64 = 0.05;

/// Comparison of two variances of the airspeeds of pairs at the same throttle step: the variance found, and the
/// variance expected from the uncertainties of the pairs.
pub(super) struct Disagreement {
    /// Variance found between the pairs of a step, pooled over the steps, in squared speed units.
    found: f64,
    /// Variance expected from the pairs' own uncertainties, in squared speed units.
    expected: f64,
    /// Degrees of freedom of `found`.
    degrees_of_freedom: f64,
    /// Degrees of freedom of the expected variance.
    expected_degrees_of_freedom: f64,
}

/// The variance between the pairs of one throttle step, found and expected.
struct StepScatter {
    variance: f64,
    expected: f64,
    degrees_of_freedom: f64,
}

impl Disagreement {
    /// Tests whether the pairs of a step differ by more than their uncertainties explain. `s^2` is the variance
    /// between the pairs of a step, pooled over the steps. `u^2` is the variance that the budgets of the pairs predict
    /// without the shared rows. An F test compares the two, as in the analysis of variance of JCGM 100:2008, H.5.2. A
    /// second test compares them in the worst step alone. Each test has half of the 5 % of false alarms.
    ///
    /// If one of the tests finds `s^2` larger, every pair is assumed to have an additional independent error with the
    /// variance `s^2 - u^2` (random effects, method of moments: DerSimonian and Laird, "Meta-analysis in clinical
    /// trials", Controlled Clinical Trials 7, 1986, here with equal weights). `None` if the pairs agree, or if no step
    /// has two pairs.
    ///
    /// The variances are pooled because two pairs of one step may agree by chance, and because one step has few
    /// degrees of freedom.
    pub fn of(pairs: &[Pair]) -> Option<Self> {
        let mut in_steps: Vec<&Pair> = pairs.iter().collect();
        in_steps.sort_by_key(|pair| pair.step);
        let groups: Vec<StepScatter> =
            in_steps.chunk_by(|one, next| one.step == next.step).filter_map(StepScatter::of).collect();
        let degrees_of_freedom: f64 = groups.iter().map(|group| group.degrees_of_freedom).sum();
        let pooled = |of: fn(&StepScatter) -> f64| {
            groups.iter().map(|group| group.degrees_of_freedom * of(group)).sum::<f64>() / degrees_of_freedom
        };
        let (found, expected) = (pooled(|group| group.variance), pooled(|group| group.expected));
        let own = own_of_mean(&in_steps).degrees_of_freedom();
        let exceeds = |ratio: f64, freedom: f64, chance: f64| {
            f_limit(freedom, own, chance).is_some_and(|limit| ratio > limit)
        };
        let share = FALSE_ALARM_PROBABILITY / 2.0;
        let worst_exceeds = |group: &StepScatter| {
            let ratio = group.variance / group.expected;
            exceeds(ratio, group.degrees_of_freedom, share / groups.len() as f64)
        };
        let is_inconsistent =
            exceeds(found / expected, degrees_of_freedom, share) || groups.iter().any(worst_exceeds);
        (is_inconsistent && found > expected).then_some(Self {
            found,
            expected,
            degrees_of_freedom,
            expected_degrees_of_freedom: own,
        })
    }

    /// The row of the uncertainty budget for the disagreement between pairs, in the standard uncertainty of the mean of
    /// `pairs` pairs.
    pub fn row(&self, pairs: usize) -> Contribution {
        Contribution {
            cause: Cause::Disagreement,
            uncertainty: ((self.found - self.expected) / pairs as f64).sqrt(),
            degrees_of_freedom: self.degrees_of_freedom,
            shared: false,
        }
    }

    /// Whether the pairs of one step with these `airspeeds` contribute to the disagreement. They do if their variance
    /// fails the F test for this step alone, or is at least the variance found over all steps.
    pub fn shows_in(&self, airspeeds: &[f64]) -> bool {
        let Some(deviation) = standard_deviation(airspeeds) else { return false };
        let limit =
            f_limit((airspeeds.len() - 1) as f64, self.expected_degrees_of_freedom, FALSE_ALARM_PROBABILITY);
        deviation.powi(2) >= limit.map_or(self.found, |limit| self.found.min(limit * self.expected))
    }
}

impl StepScatter {
    fn of(pairs: &[&Pair]) -> Option<Self> {
        let airspeeds: Vec<f64> = pairs.iter().map(|pair| pair.airspeed.value).collect();
        let own: Vec<f64> = pairs.iter().map(|pair| pair.budget.own().combined().powi(2)).collect();
        Some(Self {
            variance: standard_deviation(&airspeeds)?.powi(2),
            expected: mean(&own)?,
            degrees_of_freedom: (pairs.len() - 1) as f64,
        })
    }
}

/// The budget of the mean of pairs, without the rows that all pairs of a flight share.
fn own_of_mean(pairs: &[&Pair]) -> Budget {
    Budget::of_mean(&pairs.iter().map(|pair| &pair.budget).collect::<Vec<&Budget>>()).own()
}

/// Value of the F statistic that consistent pairs exceed with the probability `chance`, 0 to 1, for `of_found`
/// degrees of freedom of the found variance. Degrees of freedom are limited to the range from 1 to 10 000. `None`
/// if the distribution cannot be evaluated.
fn f_limit(of_found: f64, expected_degrees_of_freedom: f64, chance: f64) -> Option<f64> {
    let limited = |freedom: f64| freedom.clamp(1.0, 1e4);
    Some(
        FisherSnedecor::new(limited(of_found), limited(expected_degrees_of_freedom))
            .ok()?
            .inverse_cdf(1.0 - chance),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_limit_is_that_of_the_gum_example() {
        // JCGM 100:2008, H.5.2: F_0.95(9, 40) = 2.12 and F_0.975(9, 40) = 2.45.
        for (chance, expected) in [(0.05, 2.12), (0.025, 2.45)] {
            assert!((f_limit(9.0, 40.0, chance).unwrap_or_default() - expected).abs() < 0.006);
        }
    }
}
