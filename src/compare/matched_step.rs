//! Corrects the steps of two flights at one throttle to the same voltage and density, and takes their difference.

use statrs::distribution::{ContinuousCDF, StudentsT};

use super::step_pair::StepPair;
use super::{CompareOptions, StepDifference, Verdict};
use crate::model::estimate::{COVERAGE_PROBABILITY, Estimate};
use crate::propulsion::{FlownStep, SharedUncertainty, VOLTAGE_UNCERTAINTY_V, VoltageModel};
use crate::stats::{StandardUncertainty, coverage_factor, welch_satterthwaite};

/// Statistical power for which the number of pairs is calculated: the probability that the comparison shows an
/// existing difference of the wanted size (0.8 is the usual choice for planning experiments).
const POWER: f64 = 0.8;

/// Largest number of pairs per step that is proposed; more cannot be flown (set by judgement).
const MAX_PAIRS: u32 = 200;

/// Exponent `m` of the air density in the airspeed, `V ~ rho^-m`. It is 0 at the same motor speed and 1/3 at the same
/// power. An electric motor at one throttle and voltage lies between: a rectangular distribution from 0 to 1/3 (JCGM
/// 100:2008, 4.3.7), of which this is the mean.
const DENSITY_EXPONENT: f64 = 1.0 / 6.0;

/// Standard deviation of the rectangular distribution that is assumed for the density exponent: its width
/// divided by `sqrt(12)`.
const DENSITY_EXPONENT_UNCERTAINTY: f64 = 1.0 / 3.0 / 3.464_101_615_137_754_6;

/// Factor from the maximum effect of an unknown crosswind, at 30 degrees between course and wind, to a standard
/// uncertainty for flights 20 to 30 degrees off the wind. The factor is the root mean square of the difference between
/// the effect and its mean over 0 to 30 degrees (see [`reads_low`](crate::airspeed::reads_low)), divided by the
/// maximum. The effect is proportional to the squared tangent of the angle, and all angles from 20 to 30 degrees are
/// equally likely. For angles from 0 to 30 degrees the factor would be 0.290.
const CROSSWIND_SHARE: f64 = 0.399;

/// The combined standard uncertainty of the two steps, without the parts that the steps of a flight share
/// (Welch-Satterthwaite), in m/s.
fn own_of_difference(first: &FlownStep, later: &FlownStep) -> StandardUncertainty {
    welch_satterthwaite(&[first, later].map(|step| StandardUncertainty {
        value: step.own_uncertainty_mps,
        degrees_of_freedom: step.own_degrees_of_freedom,
    }))
}

/// Combines the standard uncertainty `own` with the standard uncertainties `known`, whose degrees of freedom are
/// infinite; all in m/s.
fn with_known_parts(own: StandardUncertainty, known: impl IntoIterator<Item = f64>) -> StandardUncertainty {
    let known = known.into_iter().map(StandardUncertainty::known);
    welch_satterthwaite(&std::iter::once(own).chain(known).collect::<Vec<StandardUncertainty>>())
}

/// Two steps of different flights, corrected to the same voltage and density.
pub(super) struct MatchedStep {
    first: FlownStep,
    later: FlownStep,
    difference_mps: f64,
    voltage_part_mps: Option<f64>,
    density_part_mps: Option<f64>,
    /// Standard uncertainty of the difference, in m/s, without the parts that all steps of a flight share.
    own: StandardUncertainty,
    /// Effects on the difference, in m/s, of an error of one standard uncertainty: first in the exponent of voltage,
    /// then in that of density. The signs are kept, since each exponent has the same error at all steps.
    exponents_mps: [f64; 2],
    /// Standard uncertainty of the difference from the uncertainties of the two voltages, in m/s.
    voltages_mps: f64,
}

impl MatchedStep {
    /// Corrects the airspeeds of two steps to the same voltage with the `model`, and to the same density with
    /// `density_ratio`, the air density of the first flight divided by that of the later. A correction is left out if
    /// its argument is `None`. Returns `None` if the difference is not finite.
    pub(super) fn of(
        StepPair { first, later }: StepPair,
        model: Option<&VoltageModel>,
        density_ratio: Option<f64>,
        options: &CompareOptions,
    ) -> Option<Self> {
        let mut matched = Self {
            first,
            later,
            difference_mps: later.airspeed_mps - first.airspeed_mps,
            voltage_part_mps: None,
            density_part_mps: None,
            own: own_of_difference(&first, &later),
            exponents_mps: [0.0; 2],
            voltages_mps: 0.0,
        };
        if let (Some(model), Some(one), Some(other)) = (model, first.voltage_v, later.voltage_v) {
            let reference_v = options.reference_v.unwrap_or(f64::midpoint(one, other));
            matched.match_voltage(model, [one, other], reference_v)?;
        }
        if let Some(ratio) = density_ratio {
            matched.match_density(ratio);
        }
        matched.difference_mps.is_finite().then_some(matched)
    }

    fn match_voltage(&mut self, model: &VoltageModel, voltages: [f64; 2], reference_v: f64) -> Option<()> {
        let speeds = [self.first.airspeed_mps, self.later.airspeed_mps];
        let factors = [model.factor(voltages[0], reference_v)?, model.factor(voltages[1], reference_v)?];
        let [one, other] = [speeds[0] * factors[0], speeds[1] * factors[1]];
        self.voltage_part_mps = Some(self.difference_mps - (other - one));
        self.difference_mps = other - one;
        self.exponents_mps[0] = (other * (reference_v / voltages[1]).ln()
            - one * (reference_v / voltages[0]).ln())
            * model.uncertainty;
        let of_voltage = |speed: f64, voltage: f64| model.exponent * speed / voltage * VOLTAGE_UNCERTAINTY_V;
        self.voltages_mps = of_voltage(one, voltages[0]).hypot(of_voltage(other, voltages[1]));
        Some(())
    }

    /// Corrects the later flight's airspeed to the first flight's density: `V (rho_later / rho_first)^m`.
    fn match_density(&mut self, ratio: f64) {
        let corrected = self.later.airspeed_mps * ratio.powf(-DENSITY_EXPONENT);
        self.density_part_mps = Some(self.later.airspeed_mps - corrected);
        self.exponents_mps[1] = corrected * ratio.ln() * DENSITY_EXPONENT_UNCERTAINTY;
        self.difference_mps -= self.later.airspeed_mps - corrected;
    }

    /// Standard uncertainties in m/s, with sign, of the errors that all steps share: from the exponents of voltage and
    /// density, then from crosswind, rounding and other causes, each for the first and for the later flight.
    /// `crosswind_mps` returns the part of a flight from the crosswind.
    fn shared_mps(&self, crosswind_mps: fn(&SharedUncertainty) -> f64) -> [f64; 8] {
        let [one, other] = [&self.first.shared, &self.later.shared];
        let [voltage, density] = self.exponents_mps;
        [
            voltage,
            density,
            crosswind_mps(one),
            crosswind_mps(other),
            one.rounding_mps,
            other.rounding_mps,
            one.other_mps,
            other.other_mps,
        ]
    }

    /// The difference with its interval. The verdict is filled in later, since it depends on the other steps.
    pub(super) fn difference(&self, wanted_mps: f64) -> StepDifference {
        let shared_mps = self.shared_mps(|shared| shared.crosswind_mps);
        let uncertainty = with_known_parts(self.own, shared_mps.into_iter().chain([self.voltages_mps]));
        let difference_mps =
            Estimate::centred(self.difference_mps, uncertainty.value, uncertainty.degrees_of_freedom);
        let probability = two_sided_probability(&difference_mps);
        StepDifference {
            throttle_percent: self.first.throttle_percent,
            step: self.first.step,
            first_mps: self.first.reported_mps,
            later_mps: self.later.reported_mps,
            voltage_part_mps: self.voltage_part_mps,
            density_part_mps: self.density_part_mps,
            difference_mps,
            probability,
            corrected_probability: probability,
            verdict: Verdict::NotSignificant,
            verdict_as_flown: None,
            pairs_needed: pairs_needed(&self.first, &self.later, wanted_mps),
        }
    }
}

/// Probability that Student's distribution gives a value at least this far from zero, on either side.
fn two_sided_probability(difference: &Estimate) -> f64 {
    let t = difference.value / difference.standard_uncertainty;
    let freedom = difference.degrees_of_freedom.clamp(1.0, 1e4);
    StudentsT::new(0.0, 1.0, freedom)
        .map_or(1.0, |student| 2.0 * (1.0 - student.cdf(t.abs())))
        .clamp(0.0, 1.0)
}

/// The smallest number of pairs `n` in each flight with `(t_0.975 + t_0.80) sqrt(s^2 / n + u^2) <= wanted_mps`: the
/// usual sample size of a two-sided test at 5 % with a power of 80 %. Here `s^2` is the sum of the variances of one
/// pair in each flight, and `u` are the shared uncertainties of both flights, which more pairs do not reduce. Each pair
/// adds as many degrees of freedom as the pairs flown have on average. `None` if more than 200 pairs are needed.
#[must_use]
pub fn pairs_needed(first: &FlownStep, later: &FlownStep, wanted_mps: f64) -> Option<u32> {
    let pair_variance = |step: &FlownStep| step.own_uncertainty_mps.powi(2) * step.pairs as f64;
    let deviation_mps = (pair_variance(first) + pair_variance(later)).sqrt();
    let freedom = own_of_difference(first, later).degrees_of_freedom;
    let mean_pairs = (first.pairs + later.pairs) as f64 / 2.0;
    let shared_mps = [first, later].map(|step| step.shared.combined_mps());
    (1..=MAX_PAIRS).find(|pairs| {
        let pairs = f64::from(*pairs);
        let own = StandardUncertainty {
            value: deviation_mps / pairs.sqrt(),
            degrees_of_freedom: freedom * pairs / mean_pairs,
        };
        let StandardUncertainty { value: standard, degrees_of_freedom } = with_known_parts(own, shared_mps);
        let factor = coverage_factor(COVERAGE_PROBABILITY, degrees_of_freedom)
            + coverage_factor(2.0 * POWER - 1.0, degrees_of_freedom);
        factor * standard <= wanted_mps
    })
}

/// Standard uncertainty, in m/s, of the mean over all steps due to the crosswind. The angle to the wind is the same in
/// the whole flight, so the effect does not average out over the steps. The value is that of flights 20 to 30 degrees
/// off the wind ([`CROSSWIND_SHARE`]): with the standard deviation over all angles, such flights would too often be
/// reported as different.
fn overall_crosswind_mps(shared: &SharedUncertainty) -> f64 {
    (CROSSWIND_SHARE * shared.crosswind_bound_mps).max(shared.crosswind_mps)
}

/// Mean difference as a share of the first flight's airspeed, weighted by the inverse variances of the steps' own
/// uncertainties. Shared uncertainties add up linearly over the steps. The degrees of freedom of the own uncertainty
/// are the smallest of any step, because all steps of a flight share one estimate of the gusts. `None` for fewer than
/// two steps.
pub(super) fn overall(steps: &[MatchedStep]) -> Option<Estimate> {
    if steps.len() < 2 {
        return None;
    }
    let own_share = |step: &MatchedStep| step.own.value.hypot(step.voltages_mps) / step.first.airspeed_mps;
    let weights: Vec<f64> = steps.iter().map(|step| own_share(step).powi(-2)).collect();
    let sum: f64 = weights.iter().sum();
    let mut shared = [0.0; 8];
    let mut share = 0.0;
    for (step, weight) in steps.iter().zip(&weights) {
        let weight_per_mps = weight / sum / step.first.airspeed_mps;
        share += weight_per_mps * step.difference_mps;
        for (sum, part_mps) in shared.iter_mut().zip(step.shared_mps(overall_crosswind_mps)) {
            *sum += weight_per_mps * part_mps;
        }
    }
    let degrees_of_freedom =
        steps.iter().map(|step| step.own.degrees_of_freedom).fold(f64::INFINITY, f64::min);
    let own = StandardUncertainty { value: sum.sqrt().recip(), degrees_of_freedom };
    let uncertainty = with_known_parts(own, shared);
    let estimate = Estimate::centred(share, uncertainty.value, uncertainty.degrees_of_freedom);
    (share.is_finite() && estimate.half_width().is_finite()).then_some(estimate)
}

#[cfg(test)]
mod tests {
    use super::CROSSWIND_SHARE;
    use crate::airspeed::{COURSE_WITHIN_DEG, crosswind_bound, reads_low};

    #[test]
    fn the_share_of_the_crosswind_is_that_of_angles_from_20_to_30_degrees() {
        let bound = crosswind_bound(25.0, 1.0, COURSE_WITHIN_DEG);
        let mean = reads_low(25.0, 1.0, COURSE_WITHIN_DEG).mean;
        let squares = (0..1000).map(|part| {
            let angle_deg = 20.0 + 10.0 * (f64::from(part) + 0.5) / 1000.0;
            (crosswind_bound(25.0, 1.0, angle_deg) - mean).powi(2)
        });
        let share = (squares.sum::<f64>() / 1000.0).sqrt() / bound;
        assert!((share - CROSSWIND_SHARE).abs() < 0.001, "{share}");
    }
}
