//! Comparing flights: what a change to the aircraft brought, step by step, with its interval.

use serde::Serialize;

mod matched;

use crate::propulsion::{FlownStep, VoltageModel};
use crate::stats::holm;
use crate::summary::FlownFlight;
pub use matched::pairs_needed;
use matched::{Matched, overall};

/// Probability of calling a difference that is not there, over all steps compared.
const FALSE_ALARM: f64 = 0.05;

/// Steps whose throttle differs by no more than this are the same, in per cent.
const SAME_THROTTLE_PERCENT: f64 = 2.0;

/// Shared roundings in m/s that differ by no more than this are those of one display: the summary has six
/// decimals.
const SAME_ROUNDING_MPS: f64 = 1e-5;

/// What the shared rounding of flights with two displays is multiplied by. If one display cuts off and the other
/// does not, their speeds differ by `B`, half a step of the display, in all steps. An interval of half the width
/// `sqrt((1.960 o)^2 + K^2)` leaves out zero in at most 5 % of such comparisons if it is no less than
/// `B + 1.645 o` whatever the own uncertainty `o`: `K = 1.84 B`, or 0.33 display steps as a standard uncertainty of
/// each flight. The budget has 0.238 steps, see `SHARED_ROUNDING_STEPS`.
const TWO_DISPLAYS: f64 = 1.4;

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

/// Compares every further flight with the first. Parts of the uncertainty that the steps of a flight have in
/// common are fully correlated between its steps ([`SharedUncertainty`](crate::propulsion::SharedUncertainty)): over all
/// steps they add up linearly (JCGM 100:2008, 5.2.2, with correlation coefficients of 1).
///
/// Two flights are taken as independent of each other, which is cautious where the wind comes from the same
/// side in both. The exception is a display that may cut off: one display does the same in both flights, and what
/// it reads low cancels in the difference. It is one display where camera, unit of the speed and step of the
/// display are the same. Two displays may differ in this, and all uncertainties of the difference allow for it.
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

fn two(first: &FlownFlight, later: &FlownFlight, options: &CompareOptions) -> Comparison {
    let common = common_steps(first, later);
    let with_voltage =
        common.iter().filter(|(one, other)| one.voltage_v.and(other.voltage_v).is_some()).count();
    let model = (options.match_voltage && with_voltage > 0)
        .then(|| VoltageModel::of(&[first.runs.clone(), later.runs.clone()].concat()));
    let density = density_factors(first, later);
    let found: Vec<Matched> = common
        .iter()
        .filter_map(|(one, other)| Matched::of(*one, *other, model.as_ref(), density, options))
        .collect();
    let mut notes = notes(first, later, common.len());
    if options.match_voltage && with_voltage < common.len() {
        notes.push(format!(
            "{} of {} steps lack a voltage in one of the flights and are compared as flown.",
            common.len() - with_voltage,
            common.len()
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

/// Steps of the same throttle; by their number where neither flight knows any throttle. Their rounding is that of
/// the difference: none where the flights have one display.
fn common_steps(first: &FlownFlight, later: &FlownFlight) -> Vec<(FlownStep, FlownStep)> {
    let knows = |flight: &FlownFlight| flight.steps.iter().any(|step| step.throttle_percent.is_some());
    let by_number = !knows(first) && !knows(later);
    let apart = |one: &FlownStep, other: &FlownStep| match (one.throttle_percent, other.throttle_percent) {
        (Some(one), Some(other)) => Some((one - other).abs()).filter(|apart| *apart <= SAME_THROTTLE_PERCENT),
        _ => (by_number && one.step == other.step).then_some(0.0),
    };
    let nearest = |one: &FlownStep| {
        let near = later.steps.iter().filter_map(|other| Some((apart(one, other)?, other)));
        near.min_by(|one, other| one.0.total_cmp(&other.0)).map(|(_, other)| (*one, *other))
    };
    let has_one_display =
        first.camera.is_some() && first.camera == later.camera && first.speed_unit == later.speed_unit;
    let as_displayed = |(one, other): (FlownStep, FlownStep)| {
        let apart_mps = (one.shared.rounding_mps - other.shared.rounding_mps).abs();
        let cancels = has_one_display && apart_mps <= SAME_ROUNDING_MPS;
        let factor = if cancels { 0.0 } else { TWO_DISPLAYS };
        (one.with_rounding_times(factor), other.with_rounding_times(factor))
    };
    first.steps.iter().filter_map(nearest).map(as_displayed).collect()
}

fn notes(first: &FlownFlight, later: &FlownFlight, common: usize) -> Vec<String> {
    let mut notes = Vec::new();
    for flight in [first, later] {
        if flight.steps.is_empty() {
            notes.push(format!("{} has no airspeed: no pair of legs was found in it.", flight.name));
        } else if flight.steps.iter().all(|step| step.throttle_percent.is_none()) {
            notes.push(format!(
                "{} does not know its throttle: tell its throttle steps when reading it{}.",
                flight.name,
                if common > 0 { "; its steps are compared in the order flown" } else { "" }
            ));
        }
    }
    if common == 0 && !first.steps.is_empty() && !later.steps.is_empty() {
        notes.push(format!("{} and {} have no throttle step in common.", first.name, later.name));
    }
    let unmatched = (first.steps.len() + later.steps.len()).saturating_sub(2 * common);
    if common > 0 && unmatched > 0 {
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
