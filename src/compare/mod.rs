//! Compares flights: what a change to the aircraft did to its airspeed, step by step, with intervals.

use serde::Serialize;

mod matched_step;
mod notes;
mod step_pair;

use crate::model::estimate::Estimate;
use crate::propulsion::VoltageModel;
use crate::stats::holm;
use crate::summary::FlownFlight;
pub use matched_step::pairs_needed;
use matched_step::{MatchedStep, overall};
use notes::notes;
use step_pair::step_pairs;

/// Significance level of the verdicts: the probability that a comparison of unchanged aircraft reports a difference,
/// over all steps compared.
const SIGNIFICANCE_LEVEL: f64 = 0.05;

/// How flights are compared.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CompareOptions {
    /// Whether airspeeds are corrected to a common battery voltage.
    pub match_voltage: bool,
    /// The voltage that airspeeds are corrected to, in volts. If `None`, it is the mean of the two voltages at each
    /// step.
    pub reference_v: Option<f64>,
    /// The difference for which the number of pairs needed is calculated, in m/s.
    pub wanted_mps: f64,
}

impl Default for CompareOptions {
    fn default() -> Self {
        Self { match_voltage: true, reference_v: None, wanted_mps: 0.5 }
    }
}

/// What the difference at one step shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// The later flight is faster than the first.
    Faster,
    /// The later flight is slower than the first.
    Slower,
    /// The difference would be significant if only this step were compared; it is not after the correction for the
    /// number of steps compared.
    NotSignificantAfterCorrection,
    /// The difference is not significant: its interval includes zero.
    NotSignificant,
}

impl Verdict {
    /// Whether the difference is significant: faster or slower.
    #[must_use]
    pub fn is_significant(self) -> bool {
        matches!(self, Self::Faster | Self::Slower)
    }

    /// Whether two verdicts are equal, or both report no significant difference.
    #[must_use]
    pub fn agrees_with(self, other: Self) -> bool {
        self == other || !(self.is_significant() || other.is_significant())
    }
}

/// The difference at one throttle step: the later flight minus the first. Speeds are in m/s.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StepDifference {
    /// Throttle in per cent; `None` if neither flight knows it.
    pub throttle_percent: Option<f64>,
    /// Number of the step in the first flight, from 1.
    pub step: u32,
    /// Reported airspeed of the first flight in m/s, not corrected to a common voltage or density.
    pub first_mps: f64,
    /// Reported airspeed of the later flight in m/s, not corrected to a common voltage or density.
    pub later_mps: f64,
    /// Part of the difference (later minus first flight) that the different voltages cause, in m/s; `None` if
    /// airspeeds were not corrected to a common voltage.
    pub voltage_part_mps: Option<f64>,
    /// Part of the difference (later minus first flight) that the different air densities cause, in m/s; `None` if
    /// airspeeds were not corrected to a common density.
    pub density_part_mps: Option<f64>,
    /// The later flight's airspeed minus the first one's, in m/s, after correction to a common voltage and density
    /// where that was possible. The airspeeds used are the middles of their intervals. The interval of the difference
    /// is valid for this step alone.
    pub difference_mps: Estimate,
    /// Probability that unchanged aircraft would show a difference at least this large (two-sided p-value), 0
    /// to 1.
    pub probability: f64,
    /// The p-value corrected for the number of steps compared (Holm), 0 to 1.
    pub corrected_probability: f64,
    /// What the difference shows.
    pub verdict: Verdict,
    /// The verdict on airspeeds not corrected to a common voltage; `None` if no correction was made.
    pub verdict_as_flown: Option<Verdict>,
    /// Number of pairs of legs, at this step and in each flight, that show the wanted difference with a power
    /// of 80 %; `None` if more than 200 are needed.
    pub pairs_needed: Option<u32>,
}

/// A later flight compared with the first.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// Name of the first flight.
    pub first: String,
    /// Name of the later flight.
    pub later: String,
    /// The steps that both flights have.
    pub steps: Vec<StepDifference>,
    /// Weighted mean difference of all steps, later minus first flight, as a share of the first flight's airspeed;
    /// `None` for fewer than two steps.
    pub overall: Option<Estimate>,
    /// Weighted mean difference without correction to a common voltage; `None` if no correction was made.
    pub overall_as_flown: Option<Estimate>,
    /// Number of steps in all comparisons made together; the verdicts are corrected for this number.
    pub steps_compared: usize,
    /// The assumed or fitted effect of voltage on speed; `None` if airspeeds were not corrected to a common
    /// voltage.
    pub voltage_model: Option<VoltageModel>,
    /// Notes for the pilot, one sentence each.
    pub notes: Vec<String>,
}

/// Compares every further flight with the first.
///
/// Uncertainties that the steps of a flight share ([`SharedUncertainty`](crate::propulsion::SharedUncertainty)) are
/// fully correlated between its steps: over all steps they add up linearly (JCGM 100:2008, 5.2.2, with correlation
/// coefficients of 1).
///
/// Two flights are treated as independent, which is cautious if the wind comes from the same side in both. The one
/// exception is a display that may truncate: the same display has the same bias in both flights, so it cancels in the
/// difference. Two flights have the same display if their camera, speed unit and display resolution agree. Different
/// displays may differ in this bias, and the uncertainty of the difference includes that.
///
/// Intervals are those of each step alone. The verdicts hold over all steps compared: their probabilities are
/// corrected by the step-down procedure of S. Holm ("A simple sequentially rejective multiple test procedure",
/// Scandinavian Journal of Statistics 6, 1979).
///
/// If voltages are matched, the verdicts without matching are reported as well.
#[must_use]
pub fn compare(flights: &[FlownFlight], options: &CompareOptions) -> Vec<Comparison> {
    let mut comparisons = with_verdicts(flights, options);
    if options.match_voltage {
        let as_flown = with_verdicts(flights, &CompareOptions { match_voltage: false, ..*options });
        for (comparison, as_flown) in comparisons.iter_mut().zip(&as_flown) {
            add_as_flown(comparison, as_flown);
        }
    }
    comparisons
}

/// Copies the verdicts of `as_flown`, made without correction to a common voltage, into a comparison.
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

/// Compares the flights, and corrects the verdicts for the number of steps in all comparisons.
fn with_verdicts(flights: &[FlownFlight], options: &CompareOptions) -> Vec<Comparison> {
    let Some((first, later)) = flights.split_first() else { return Vec::new() };
    let mut comparisons: Vec<Comparison> =
        later.iter().map(|later| compare_two(first, later, options)).collect();
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
    if step.probability > SIGNIFICANCE_LEVEL {
        Verdict::NotSignificant
    } else if step.corrected_probability > SIGNIFICANCE_LEVEL {
        Verdict::NotSignificantAfterCorrection
    } else if step.difference_mps.value > 0.0 {
        Verdict::Faster
    } else {
        Verdict::Slower
    }
}

fn compare_two(first: &FlownFlight, later: &FlownFlight, options: &CompareOptions) -> Comparison {
    let pairs = step_pairs(first, later);
    let with_voltage = pairs.iter().filter(|pair| pair.has_voltages()).count();
    let model = (options.match_voltage && with_voltage > 0)
        .then(|| VoltageModel::of(&[first.runs.clone(), later.runs.clone()].concat()));
    let density_ratio = density_ratio(first, later);
    let matched: Vec<MatchedStep> = pairs
        .iter()
        .filter_map(|pair| MatchedStep::of(*pair, model.as_ref(), density_ratio, options))
        .collect();
    let mut notes = notes(first, later, pairs.len(), density_ratio.is_some());
    if options.match_voltage && with_voltage < pairs.len() {
        notes.push(notes::without_voltage(pairs.len() - with_voltage, pairs.len()));
    }
    notes.extend(model.as_ref().map(VoltageModel::sentence));
    Comparison {
        first: first.name.clone(),
        later: later.name.clone(),
        steps: matched.iter().map(|matched| matched.difference(options.wanted_mps)).collect(),
        overall: overall(&matched),
        overall_as_flown: None,
        steps_compared: matched.len(),
        voltage_model: model,
        notes,
    }
}

/// Air density of the first flight divided by that of the later; `None` if either is unknown, or if the ratio is not a
/// positive number.
fn density_ratio(first: &FlownFlight, later: &FlownFlight) -> Option<f64> {
    let ratio = first.density_kg_m3? / later.density_kg_m3?;
    (ratio.is_finite() && ratio > 0.0).then_some(ratio)
}
