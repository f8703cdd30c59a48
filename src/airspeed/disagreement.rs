//! Tests whether pairs flown at one throttle differ by more than their own uncertainties explain.

use statrs::distribution::{ContinuousCDF, FisherSnedecor};

use super::Pair;
use super::budget::{Budget, Cause, Contribution};
use crate::stats::{mean, standard_deviation};

/// Probability of calling consistent pairs inconsistent: the usual level of 5 %.
const FALSE_ALARM_PROBABILITY: f64 = 0.05;

/// Scatter of the airspeeds of the pairs of each throttle step, compared with the scatter that the pairs' own
/// uncertainties predict.
pub(super) struct Disagreement {
    /// Variance of the pairs within their steps, pooled over the steps, in squared speed units.
    found: f64,
    /// Variance expected from the pairs' own uncertainties, in squared speed units.
    expected: f64,
    /// Degrees of freedom of `found`.
    degrees_of_freedom: f64,
    /// Degrees of freedom of the expected variance.
    expected_degrees_of_freedom: f64,
}

/// The scatter of the pairs of one throttle step.
struct StepScatter {
    variance: f64,
    expected: f64,
    degrees_of_freedom: f64,
}

impl Disagreement {
    /// Compares the variance `s^2` of the pairs within their steps, pooled over the steps, with the variance `u^2`
    /// that their own parts of the budget predict. The comparison is an F test as in the analysis of variance of JCGM
    /// 100:2008, H.5.2. The worst step is also tested by itself; each of the two tests gets half of the 5 % of false
    /// alarms.
    ///
    /// Where a test finds `s^2` larger, each pair has a deviation of its own with the variance `s^2 - u^2` (random
    /// effects, method of moments: DerSimonian and Laird, "Meta-analysis in clinical trials", Controlled Clinical
    /// Trials 7, 1986, here with equal weights). `None` where the pairs agree, or where no step has two of them.
    ///
    /// Pooling reduces the influence of two pairs that agree by chance, and keeps the degrees of freedom well above
    /// 1.
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

    /// The budget row that adds the disagreement to the mean of `pairs` pairs.
    pub fn row(&self, pairs: usize) -> Contribution {
        Contribution {
            cause: Cause::Disagreement,
            uncertainty: ((self.found - self.expected) / pairs as f64).sqrt(),
            degrees_of_freedom: self.degrees_of_freedom,
            shared: false,
        }
    }

    /// Whether the airspeeds of the pairs of one step are inconsistent when the step is tested alone, or have at
    /// least the variance of the pairs within their steps, pooled over all steps.
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
