//! Steps of two flights at one throttle, taken to the same voltage and density, and what they show together.

use statrs::distribution::{ContinuousCDF, StudentsT};

use super::{CompareOptions, Overall, StepDifference, Verdict};
use crate::propulsion::{FlownStep, SharedUncertainty, VOLTAGE_UNCERTAINTY_V, VoltageModel};
use crate::stats::coverage_factor;
use crate::stats::welch;

/// Chance of showing a wanted difference that the number of pairs is worked out for.
const POWER: f64 = 0.8;

/// Most pairs a step that are proposed.
const MOST_PAIRS: u32 = 200;

/// Exponent of the density that an airspeed goes with, `V ~ rho^-m`, and its standard uncertainty. At the
/// same revolutions `m` is 0, at the same power 1/3; an electric motor at one throttle and voltage lies
/// between: a rectangular distribution from 0 to 1/3 (JCGM 100:2008, 4.3.7).
const DENSITY_EXPONENT: (f64, f64) = (1.0 / 6.0, 1.0 / 3.0 / 3.464_101_615_137_754_6);

/// How far the effect of an unknown crosswind lies from its mean where the course is 20 to 30 degrees off the wind:
/// the root mean square as a share of the effect's bound, that at 30 degrees. Effects go with the square of the
/// tangent of the angle, angles are evenly distributed, and the mean is that over all 30 degrees (see
/// [`reads_low`](crate::airspeed::reads_low)). Over all of them, the root mean square is 0.290.
const CROSSWIND_SHARE: f64 = 0.399;

/// Two steps taken to the same voltage and density.
pub(super) struct Matched {
    first: FlownStep,
    later: FlownStep,
    difference_mps: f64,
    voltage_part_mps: Option<f64>,
    density_part_mps: Option<f64>,
    /// Standard uncertainty in m/s of the steps' own parts, and its degrees of freedom.
    own: (f64, f64),
    /// Standard uncertainty in m/s from the exponents of voltage and density: the same for all steps, with sign.
    exponents_mps: [f64; 2],
    /// Standard uncertainty in m/s from the two voltages.
    voltages_mps: f64,
}

impl Matched {
    pub(super) fn of(
        first: FlownStep,
        later: FlownStep,
        model: Option<&VoltageModel>,
        density: Option<f64>,
        options: &CompareOptions,
    ) -> Option<Self> {
        let as_flown = later.airspeed_mps - first.airspeed_mps;
        let mut matched = Self {
            first,
            later,
            difference_mps: as_flown,
            voltage_part_mps: None,
            density_part_mps: None,
            own: own(&first, &later),
            exponents_mps: [0.0; 2],
            voltages_mps: 0.0,
        };
        if let (Some(model), Some(one), Some(other)) = (model, first.voltage_v, later.voltage_v) {
            let reference_v = options.reference_v.unwrap_or(f64::midpoint(one, other));
            matched.match_voltage(model, [one, other], reference_v)?;
        }
        if let Some(ratio) = density {
            // The later flight's speed taken to the first flight's density: V (rho_later / rho_first)^m.
            let (exponent, doubt) = DENSITY_EXPONENT;
            let taken = later.airspeed_mps * ratio.powf(-exponent);
            matched.density_part_mps = Some(later.airspeed_mps - taken);
            matched.exponents_mps[1] = taken * ratio.ln() * doubt;
            matched.difference_mps -= later.airspeed_mps - taken;
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

    /// Standard uncertainties in m/s, with sign, from causes that all steps have in common.
    fn common_mps(&self, of_crosswind: fn(&SharedUncertainty) -> f64) -> [f64; 8] {
        let [one, other] = [&self.first.shared, &self.later.shared];
        let [voltage, density] = self.exponents_mps;
        let crosswinds = [of_crosswind(one), of_crosswind(other)];
        [
            voltage,
            density,
            crosswinds[0],
            crosswinds[1],
            one.rounding_mps,
            other.rounding_mps,
            one.other_mps,
            other.other_mps,
        ]
    }

    pub(super) fn difference(&self, wanted_mps: f64) -> StepDifference {
        let common_mps = self.common_mps(|shared| shared.crosswind_mps);
        let (uncertainty_mps, degrees_of_freedom) =
            with_known_parts(self.own, common_mps.into_iter().chain([self.voltages_mps]));
        let half = coverage_factor(0.95, degrees_of_freedom) * uncertainty_mps;
        let probability = two_sided(self.difference_mps / uncertainty_mps, degrees_of_freedom);
        StepDifference {
            throttle_percent: self.first.throttle_percent,
            step: self.first.step,
            first_mps: self.first.reported_mps,
            later_mps: self.later.reported_mps,
            voltage_part_mps: self.voltage_part_mps,
            density_part_mps: self.density_part_mps,
            difference_mps: self.difference_mps,
            low_mps: self.difference_mps - half,
            high_mps: self.difference_mps + half,
            uncertainty_mps,
            degrees_of_freedom,
            probability,
            corrected_probability: probability,
            verdict: Verdict::NotShown,
            verdict_as_flown: None,
            pairs_needed: pairs_needed(&self.first, &self.later, wanted_mps),
        }
    }
}

/// Probability of Student's distribution beyond `t` on both sides.
fn two_sided(t: f64, degrees_of_freedom: f64) -> f64 {
    let freedom = degrees_of_freedom.clamp(1.0, 1e4);
    StudentsT::new(0.0, 1.0, freedom)
        .map_or(1.0, |student| 2.0 * (1.0 - student.cdf(t.abs())))
        .clamp(0.0, 1.0)
}

/// The steps' own parts together: standard uncertainty in m/s and degrees of freedom.
fn own(first: &FlownStep, later: &FlownStep) -> (f64, f64) {
    welch(&[first, later].map(|step| (step.own_uncertainty_mps, step.own_degrees_of_freedom)))
}

/// An uncertainty and its degrees of freedom together with parts that rest on knowledge instead of samples.
fn with_known_parts(own: (f64, f64), known: impl IntoIterator<Item = f64>) -> (f64, f64) {
    let known = known.into_iter().map(|part| (part, f64::INFINITY));
    welch(&std::iter::once(own).chain(known).collect::<Vec<(f64, f64)>>())
}

/// The least number of pairs `n` in each flight with `(t_0.975 + t_0.80) sqrt(s^2 / n + u^2) <= wanted`, where
/// `s^2` is the sum of the variances of one pair of either flight (the usual sample size for a two-sided test at
/// 5 % with a power of 80 %) and `u` are the shared parts of both flights, which no number of pairs reduces.
/// Each pair brings the degrees of freedom it has brought so far. `None` where 200 pairs do not suffice.
#[must_use]
pub fn pairs_needed(first: &FlownStep, later: &FlownStep, wanted_mps: f64) -> Option<u32> {
    let of_one = |step: &FlownStep| step.own_uncertainty_mps.powi(2) * step.pairs as f64;
    let deviation_mps = (of_one(first) + of_one(later)).sqrt();
    let (_, freedom) = own(first, later);
    let mean_pairs = (first.pairs + later.pairs) as f64 / 2.0;
    let shared_mps = [first, later].map(|step| step.shared.combined_mps());
    (1..=MOST_PAIRS).find(|pairs| {
        let pairs = f64::from(*pairs);
        let own = (deviation_mps / pairs.sqrt(), freedom * pairs / mean_pairs);
        let (uncertainty_mps, freedom) = with_known_parts(own, shared_mps);
        let factor = coverage_factor(0.95, freedom) + coverage_factor(2.0 * POWER - 1.0, freedom);
        factor * uncertainty_mps <= wanted_mps
    })
}

/// Standard uncertainty from the crosswind over all steps. The angle off the wind is one for the whole flight, so that
/// its effect does not average out. What is allowed for is therefore that of the flights farthest off the wind:
/// with the standard deviation over all angles, these would be called different too often.
fn overall_crosswind_mps(shared: &SharedUncertainty) -> f64 {
    (CROSSWIND_SHARE * shared.crosswind_bound_mps).max(shared.crosswind_mps)
}

/// Mean of the differences as shares of the first airspeed, weighted by the inverse variances of what is
/// each step's own. What steps have in common adds up linearly over the steps. The degrees of freedom of the own
/// parts are the fewest of any step, since the steps of a flight pool what they know of the gusts.
pub(super) fn overall(found: &[Matched]) -> Option<Overall> {
    if found.len() < 2 {
        return None;
    }
    let own = |one: &Matched| one.own.0.hypot(one.voltages_mps) / one.first.airspeed_mps;
    let weights: Vec<f64> = found.iter().map(|one| own(one).powi(-2)).collect();
    let sum: f64 = weights.iter().sum();
    let mut common = [0.0; 8];
    let mut share = 0.0;
    for (one, weight) in found.iter().zip(&weights) {
        let weight_per_mps = weight / sum / one.first.airspeed_mps;
        share += weight_per_mps * one.difference_mps;
        for (sum, part_mps) in common.iter_mut().zip(one.common_mps(overall_crosswind_mps)) {
            *sum += weight_per_mps * part_mps;
        }
    }
    let freedom = found.iter().map(|one| one.own.1).fold(f64::INFINITY, f64::min);
    let (uncertainty, freedom) = with_known_parts((sum.sqrt().recip(), freedom), common);
    let half = coverage_factor(0.95, freedom) * uncertainty;
    (share.is_finite() && half.is_finite()).then_some(Overall {
        share,
        low: share - half,
        high: share + half,
    })
}

#[cfg(test)]
mod tests {
    use super::CROSSWIND_SHARE;
    use crate::airspeed::{COURSE_WITHIN_DEG, crosswind_bound, reads_low};

    #[test]
    fn the_share_of_the_crosswind_is_that_of_angles_from_20_to_30_degrees() {
        let bound = crosswind_bound(25.0, 1.0, COURSE_WITHIN_DEG);
        let (mean, _) = reads_low(25.0, 1.0, COURSE_WITHIN_DEG);
        let squares = (0..1000).map(|part| {
            let angle_deg = 20.0 + 10.0 * (f64::from(part) + 0.5) / 1000.0;
            (crosswind_bound(25.0, 1.0, angle_deg) - mean).powi(2)
        });
        let share = (squares.sum::<f64>() / 1000.0).sqrt() / bound;
        assert!((share - CROSSWIND_SHARE).abs() < 0.001, "{share}");
    }
}
