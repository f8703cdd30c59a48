//! Comparing flights: what a change to the aircraft brought, step by step, with its interval.

use serde::Serialize;
use statrs::distribution::{ContinuousCDF, StudentsT};

use super::flown::{FlownFlight, FlownStep};
use super::voltage::{VOLTAGE_UNCERTAINTY_V, VoltageModel};
use crate::airspeed::coverage_factor;

/// Probability of calling a difference that is not there, over all steps compared.
const FALSE_ALARM: f64 = 0.05;

/// Chance of showing a wanted difference that the number of pairs is worked out for.
const POWER: f64 = 0.8;

/// Most pairs a step that are proposed.
const MOST_PAIRS: u32 = 200;

/// Steps whose throttle differs by no more than this are the same, in per cent.
const SAME_THROTTLE_PERCENT: f64 = 2.0;

/// Exponent of the density that an airspeed goes with, `V ~ rho^-m`, and its standard uncertainty. At the
/// same revolutions `m` is 0, at the same power 1/3; an electric motor at one throttle and voltage lies
/// between: a rectangular distribution from 0 to 1/3 (JCGM 100:2008, 4.3.7).
const DENSITY_EXPONENT: (f64, f64) = (1.0 / 6.0, 1.0 / 3.0 / 3.464_101_615_137_754_6);

/// How to compare.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CompareOptions {
    /// Whether speeds are taken to the same voltage first.
    pub match_voltage: bool,
    /// The voltage they are taken to, in volts; `None`: the mean of the two at each step.
    pub reference_v: Option<f64>,
    /// The difference that the number of pairs needed is worked out for, in m/s.
    pub wanted_mps: f64,
}

impl Default for CompareOptions {
    fn default() -> Self {
        Self { match_voltage: true, reference_v: None, wanted_mps: 0.5 }
    }
}

/// What a difference amounts to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// Faster than the first flight.
    Faster,
    /// Slower than the first flight.
    Slower,
    /// The step's own interval leaves out zero, but of so many steps one may well do so by chance.
    NotAmongSoMany,
    /// No difference shown: the interval holds zero.
    NotShown,
}

impl Verdict {
    /// Whether it tells a difference.
    #[must_use]
    pub fn is_shown(self) -> bool {
        matches!(self, Self::Faster | Self::Slower)
    }

    /// Whether two verdicts say the same of the flights: the same difference, or none.
    #[must_use]
    pub fn agrees_with(self, other: Self) -> bool {
        self == other || !(self.is_shown() || other.is_shown())
    }
}

/// The difference at one throttle step: the later flight less the first. Speeds in m/s.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct StepDifference {
    /// Throttle in per cent, where both know it.
    pub throttle_percent: Option<f64>,
    /// Number of the step in the first flight.
    pub step: u32,
    /// Airspeed of the first flight, as flown and as its report gives it.
    pub first_mps: f64,
    /// Airspeed of the later flight, as flown and as its report gives it.
    pub later_mps: f64,
    /// How much of the difference as flown is voltage; `None` where not matched.
    pub voltage_part_mps: Option<f64>,
    /// How much of the difference as flown is density; `None` where not matched.
    pub density_part_mps: Option<f64>,
    /// The difference, matched, between the middles of the two intervals.
    pub difference_mps: f64,
    /// Lower end of its 95 % interval, for this step alone.
    pub low_mps: f64,
    /// Upper end of that interval.
    pub high_mps: f64,
    /// Standard uncertainty of the difference.
    pub uncertainty_mps: f64,
    /// Degrees of freedom of that (Welch-Satterthwaite).
    pub degrees_of_freedom: f64,
    /// Probability of such a difference, or a larger one, without a change.
    pub probability: f64,
    /// The same, corrected for the number of steps compared (Holm).
    pub corrected_probability: f64,
    /// What it amounts to.
    pub verdict: Verdict,
    /// What it would amount to at the voltages as flown; `None` where voltages were not matched.
    pub verdict_as_flown: Option<Verdict>,
    /// Pairs of legs at this step, in each flight, that show the wanted difference four times in five;
    /// `None` where even 200 do not.
    pub pairs_needed: Option<u32>,
}

/// The change over all steps together.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Overall {
    /// Mean difference as a share of the first flight's airspeed, weighted by what is known of each step.
    pub share: f64,
    /// Lower end of its 95 % interval.
    pub low: f64,
    /// Upper end of its 95 % interval.
    pub high: f64,
}

/// A later flight against the first.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Comparison {
    /// Name of the first flight.
    pub first: String,
    /// Name of the later flight.
    pub later: String,
    /// The steps that both have.
    pub steps: Vec<StepDifference>,
    /// All steps together, where there are two or more.
    pub overall: Option<Overall>,
    /// The same at the voltages as flown; `None` where no voltages were matched.
    pub overall_as_flown: Option<Overall>,
    /// Steps compared in all comparisons of the call, which the verdicts allow for.
    pub steps_compared: usize,
    /// The effect of voltage that was taken, where voltages were matched.
    pub voltage_model: Option<VoltageModel>,
    /// What the reader should know, a sentence each.
    pub notes: Vec<String>,
}

/// Compares every further flight with the first. The uncertainties of two flights are taken as independent,
/// which errs on the side of caution where they share a receiver and a display.
///
/// Intervals are those of each step alone; the verdicts hold over all steps compared: probabilities are
/// corrected by the step-down procedure of S. Holm ("A simple sequentially rejective multiple test
/// procedure", Scandinavian Journal of Statistics 6, 1979).
///
/// Where voltages are matched, the verdicts at the voltages as flown are given beside.
#[must_use]
pub fn compare(flights: &[FlownFlight], options: &CompareOptions) -> Vec<Comparison> {
    let mut comparisons = judged(flights, options);
    if options.match_voltage {
        let as_flown = judged(flights, &CompareOptions { match_voltage: false, ..*options });
        for (comparison, as_flown) in comparisons.iter_mut().zip(&as_flown) {
            add_as_flown(comparison, as_flown);
        }
    }
    comparisons
}

fn add_as_flown(comparison: &mut Comparison, as_flown: &Comparison) {
    if comparison.voltage_model.is_none() {
        return;
    }
    comparison.overall_as_flown = as_flown.overall;
    for step in comparison.steps.iter_mut().filter(|step| step.voltage_part_mps.is_some()) {
        let same = as_flown.steps.iter().find(|other| other.step == step.step);
        step.verdict_as_flown = same.map(|other| other.verdict);
    }
}

fn judged(flights: &[FlownFlight], options: &CompareOptions) -> Vec<Comparison> {
    let Some((first, later)) = flights.split_first() else { return Vec::new() };
    let mut comparisons: Vec<Comparison> = later.iter().map(|later| two(first, later, options)).collect();
    let probabilities: Vec<f64> =
        comparisons.iter().flat_map(|one| one.steps.iter().map(|step| step.probability)).collect();
    let corrected = holm(&probabilities);
    let steps = comparisons.iter_mut().flat_map(|one| one.steps.iter_mut());
    for (step, corrected) in steps.zip(corrected) {
        step.corrected_probability = corrected;
        step.verdict = verdict(step);
    }
    for comparison in &mut comparisons {
        comparison.steps_compared = probabilities.len();
    }
    comparisons
}

fn verdict(step: &StepDifference) -> Verdict {
    if step.probability > FALSE_ALARM {
        Verdict::NotShown
    } else if step.corrected_probability > FALSE_ALARM {
        Verdict::NotAmongSoMany
    } else if step.difference_mps > 0.0 {
        Verdict::Faster
    } else {
        Verdict::Slower
    }
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

fn two(first: &FlownFlight, later: &FlownFlight, options: &CompareOptions) -> Comparison {
    let mates = mates(first, later);
    let with_voltage =
        mates.iter().filter(|(one, other)| one.voltage_v.and(other.voltage_v).is_some()).count();
    let model = (options.match_voltage && with_voltage > 0)
        .then(|| VoltageModel::of(&[first.runs.clone(), later.runs.clone()].concat()));
    let density = density_factors(first, later);
    let found: Vec<Matched> =
        mates.iter().filter_map(|mates| Matched::of(*mates, model.as_ref(), density, options)).collect();
    let mut notes = notes(first, later, mates.len());
    if options.match_voltage && with_voltage < mates.len() {
        notes.push(format!(
            "{} of {} steps lack a voltage in one of the flights and are compared as flown.",
            mates.len() - with_voltage,
            mates.len()
        ));
    }
    notes.extend(model.as_ref().map(VoltageModel::sentence));
    Comparison {
        first: first.name.clone(),
        later: later.name.clone(),
        steps: found.iter().map(|matched| matched.difference(options.wanted_mps)).collect(),
        overall: overall(&found),
        overall_as_flown: None,
        steps_compared: found.len(),
        voltage_model: model,
        notes,
    }
}

/// Steps of the same throttle; by their number where neither flight knows any throttle.
fn mates<'a>(first: &'a FlownFlight, later: &'a FlownFlight) -> Vec<(&'a FlownStep, &'a FlownStep)> {
    let knows = |flight: &FlownFlight| flight.steps.iter().any(|step| step.throttle_percent.is_some());
    let by_number = !knows(first) && !knows(later);
    let apart = |one: &FlownStep, other: &FlownStep| match (one.throttle_percent, other.throttle_percent) {
        (Some(one), Some(other)) => Some((one - other).abs()).filter(|apart| *apart <= SAME_THROTTLE_PERCENT),
        _ => (by_number && one.step == other.step).then_some(0.0),
    };
    let mate = |one: &'a FlownStep| {
        let near = later.steps.iter().filter_map(|other| Some((apart(one, other)?, other)));
        near.min_by(|one, other| one.0.total_cmp(&other.0)).map(|(_, other)| (one, other))
    };
    first.steps.iter().filter_map(mate).collect()
}

fn notes(first: &FlownFlight, later: &FlownFlight, mates: usize) -> Vec<String> {
    let mut notes = Vec::new();
    for flight in [first, later] {
        if flight.steps.is_empty() {
            notes.push(format!("{} has no airspeed: no pair of legs was found in it.", flight.name));
        } else if flight.steps.iter().all(|step| step.throttle_percent.is_none()) {
            notes.push(format!(
                "{} does not know its throttle: tell its throttle steps when reading it{}.",
                flight.name,
                if mates > 0 { "; its steps are compared in the order flown" } else { "" }
            ));
        }
    }
    if mates == 0 && !first.steps.is_empty() && !later.steps.is_empty() {
        notes.push(format!("{} and {} have no throttle step in common.", first.name, later.name));
    }
    let unmatched = (first.steps.len() + later.steps.len()).saturating_sub(2 * mates);
    if mates > 0 && unmatched > 0 {
        let steps = if unmatched == 1 { "1 step".to_owned() } else { format!("{unmatched} steps") };
        notes.push(format!("Left out: {steps} flown in only one of the flights."));
    }
    if density_factors(first, later).is_none() {
        notes.push(
            "Air density is not matched, since it is not known for both flights: tell the air density of both when \
             comparing, or elevation, temperature and pressure when reading. 10 degrees warmer or 300 m higher is worth up to \
             1 % of the speed."
                .to_owned(),
        );
    }
    notes
}

/// Density of the first flight over that of the later.
fn density_factors(first: &FlownFlight, later: &FlownFlight) -> Option<f64> {
    let ratio = first.density_kg_m3? / later.density_kg_m3?;
    (ratio.is_finite() && ratio > 0.0).then_some(ratio)
}

/// Two steps taken to the same voltage and density.
struct Matched {
    first: FlownStep,
    later: FlownStep,
    difference_mps: f64,
    voltage_part_mps: Option<f64>,
    density_part_mps: Option<f64>,
    /// Of the flights themselves.
    own: (f64, f64),
    /// Of the exponent of voltage and that of density: the same for all steps, with sign.
    shared: [f64; 2],
    /// Of the two voltages.
    voltages: f64,
}

impl Matched {
    fn of(
        (first, later): (&FlownStep, &FlownStep),
        model: Option<&VoltageModel>,
        density: Option<f64>,
        options: &CompareOptions,
    ) -> Option<Self> {
        let as_flown = later.airspeed_mps - first.airspeed_mps;
        let mut matched = Self {
            first: *first,
            later: *later,
            difference_mps: as_flown,
            voltage_part_mps: None,
            density_part_mps: None,
            own: welch(&[
                (first.uncertainty_mps, first.degrees_of_freedom),
                (later.uncertainty_mps, later.degrees_of_freedom),
            ]),
            shared: [0.0; 2],
            voltages: 0.0,
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
            matched.shared[1] = taken * ratio.ln() * doubt;
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
        self.shared[0] = (other * (reference_v / voltages[1]).ln() - one * (reference_v / voltages[0]).ln())
            * model.uncertainty;
        let of_voltage = |speed: f64, voltage: f64| model.exponent * speed / voltage * VOLTAGE_UNCERTAINTY_V;
        self.voltages = of_voltage(one, voltages[0]).hypot(of_voltage(other, voltages[1]));
        Some(())
    }

    fn difference(&self, wanted_mps: f64) -> StepDifference {
        let known = f64::INFINITY;
        let parts = [self.own, (self.voltages, known), (self.shared[0], known), (self.shared[1], known)];
        let (uncertainty_mps, degrees_of_freedom) = welch(&parts);
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

/// The least number of pairs in each flight with `(t_0.975 + t_0.80) s / sqrt(n) <= wanted`, where `s^2` is
/// the sum of the variances of one pair of either flight (the usual sample size for a two-sided test at
/// 5 % with a power of 80 %). Each pair brings the degrees of freedom it has brought so far.
#[must_use]
pub fn pairs_needed(first: &FlownStep, later: &FlownStep, wanted_mps: f64) -> Option<u32> {
    let of_one = |step: &FlownStep| step.uncertainty_mps.powi(2) * step.pairs as f64;
    let (_, freedom) = welch(&[
        (first.uncertainty_mps, first.degrees_of_freedom),
        (later.uncertainty_mps, later.degrees_of_freedom),
    ]);
    let deviation = (of_one(first) + of_one(later)).sqrt();
    let mean_pairs = (first.pairs + later.pairs) as f64 / 2.0;
    (1..=MOST_PAIRS).find(|pairs| {
        let freedom = freedom * f64::from(*pairs) / mean_pairs;
        let factor = coverage_factor(0.95, freedom) + coverage_factor(2.0 * POWER - 1.0, freedom);
        factor * deviation / f64::from(*pairs).sqrt() <= wanted_mps
    })
}

/// Mean of the differences as shares of the first airspeed, weighted by the inverse variances of what is
/// each step's own. What steps share counts in full; the degrees of freedom are the fewest of any step,
/// since the steps of a flight pool what they know of the gusts.
fn overall(found: &[Matched]) -> Option<Overall> {
    if found.len() < 2 {
        return None;
    }
    let own = |one: &Matched| one.own.0.hypot(one.voltages) / one.first.airspeed_mps;
    let weights: Vec<f64> = found.iter().map(|one| own(one).powi(-2)).collect();
    let sum: f64 = weights.iter().sum();
    let mean = |of: &dyn Fn(&Matched) -> f64| {
        found.iter().zip(&weights).map(|(one, weight)| weight * of(one) / one.first.airspeed_mps).sum::<f64>()
            / sum
    };
    let share = mean(&|one| one.difference_mps);
    let shared = mean(&|one| one.shared[0]).hypot(mean(&|one| one.shared[1]));
    let freedom = found.iter().map(|one| one.own.1).fold(f64::INFINITY, f64::min);
    let half = coverage_factor(0.95, freedom) * sum.sqrt().recip().hypot(shared);
    (share.is_finite() && half.is_finite()).then_some(Overall {
        share,
        low: share - half,
        high: share + half,
    })
}
