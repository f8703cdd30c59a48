//! Pairs flown at one throttle that differ by more than their own uncertainties explain.

use statrs::distribution::{ContinuousCDF, FisherSnedecor};

use super::Pair;
use super::budget::{Budget, Cause, Contribution};
use crate::stats::{mean, standard_deviation};

/// Probability of finding pairs at odds that are not.
const FALSE_ALARM: f64 = 0.05;

/// What the pairs of a flight differ by, within their steps, beyond their own uncertainties.
pub(super) struct Disagreement {
    /// Variance of the pairs within their steps, and what their own uncertainties let expect.
    found: f64,
    expected: f64,
    degrees_of_freedom: f64,
    /// Degrees of freedom of what is expected.
    of_expected: f64,
}

/// The pairs of one step.
struct Group {
    variance: f64,
    expected: f64,
    degrees_of_freedom: f64,
}

impl Disagreement {
    /// The variance `s^2` of the pairs within their steps, pooled over the steps, is held to the variance `u^2`
    /// that their own parts of the budget let expect, by an F test as in the analysis of variance of
    /// JCGM 100:2008, H.5.2; so is that of the worst step alone, and each of both tests has half of the 5 % of
    /// false alarms. Where one of them finds `s^2` larger, each pair has a deviation of its own with the
    /// variance `s^2 - u^2` (random effects, method of moments: DerSimonian and Laird, "Meta-analysis in
    /// clinical trials", Controlled Clinical Trials 7, 1986, here with equal weights). `None` where the pairs
    /// agree, or where no step has two of them.
    ///
    /// Pooling leaves a chance agreement of two pairs no say, and keeps the degrees of freedom off 1.
    pub fn of(pairs: &[Pair]) -> Option<Self> {
        let mut in_steps: Vec<&Pair> = pairs.iter().collect();
        in_steps.sort_by_key(|pair| pair.step);
        let groups: Vec<Group> =
            in_steps.chunk_by(|one, next| one.step == next.step).filter_map(Group::of).collect();
        let degrees_of_freedom: f64 = groups.iter().map(|group| group.degrees_of_freedom).sum();
        let pooled = |of: fn(&Group) -> f64| {
            groups.iter().map(|group| group.degrees_of_freedom * of(group)).sum::<f64>() / degrees_of_freedom
        };
        let (found, expected) = (pooled(|group| group.variance), pooled(|group| group.expected));
        let own = own_of_mean(&in_steps).degrees_of_freedom();
        let exceeds = |ratio: f64, freedom: f64, chance: f64| {
            f_limit(freedom, own, chance).is_some_and(|limit| ratio > limit)
        };
        let share = FALSE_ALARM / 2.0;
        let worst_exceeds = |group: &Group| {
            let ratio = group.variance / group.expected;
            exceeds(ratio, group.degrees_of_freedom, share / groups.len() as f64)
        };
        let at_odds =
            exceeds(found / expected, degrees_of_freedom, share) || groups.iter().any(worst_exceeds);
        (at_odds && found > expected).then_some(Self {
            found,
            expected,
            degrees_of_freedom,
            of_expected: own,
        })
    }

    /// The row that it brings into the budget of the mean of so many pairs.
    pub fn row(&self, pairs: usize) -> Contribution {
        Contribution {
            cause: Cause::Disagreement,
            uncertainty: ((self.found - self.expected) / pairs as f64).sqrt(),
            degrees_of_freedom: self.degrees_of_freedom,
            shared: false,
        }
    }

    /// Whether the pairs of a step, by their airspeeds, are at odds by themselves or more so than usual.
    pub fn is_in(&self, airspeeds: &[f64]) -> bool {
        let Some(deviation) = standard_deviation(airspeeds) else { return false };
        let limit = f_limit((airspeeds.len() - 1) as f64, self.of_expected, FALSE_ALARM);
        deviation.powi(2) >= limit.map_or(self.found, |limit| self.found.min(limit * self.expected))
    }
}

impl Group {
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

/// The parts of their own in the budget of the mean of pairs.
fn own_of_mean(pairs: &[&Pair]) -> Budget {
    Budget::of_mean(&pairs.iter().map(|pair| &pair.budget).collect::<Vec<&Budget>>()).own()
}

/// The ratio of two variances that is exceeded by chance with that probability; degrees of freedom below 1
/// are taken as 1, those above 10 000 as 10 000.
fn f_limit(of_found: f64, of_expected: f64, chance: f64) -> Option<f64> {
    let usual = |freedom: f64| freedom.clamp(1.0, 1e4);
    Some(FisherSnedecor::new(usual(of_found), usual(of_expected)).ok()?.inverse_cdf(1.0 - chance))
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
