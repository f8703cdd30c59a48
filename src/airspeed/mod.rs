//! The airspeed of every pair of legs and of every throttle step, with its uncertainty and its interval.

mod budget;
mod crosswind;
mod disagreement;
mod drift;
pub mod multileg;
mod patterns;
mod turn_fit;

pub use budget::{Budget, Cause, Contribution, SHARED_ROUNDING_STEPS};
use budget::{rounding_reads_low, shared_rounding};
pub use crosswind::{
    COURSE_WITHIN_DEG, Crosswind, CrosswindBias, GivenWind, Wind, WindFinding, WindSource, crosswind_bound,
    find_wind, reads_low, wind_notes,
};
use disagreement::Disagreement;
use drift::Drift;
pub use drift::{ASSUMED_DRIFT_SHARE, MIN_PAIRS_FOR_DRIFT, RECEIVER_MPS};
pub use patterns::{Pattern, patterns};

use crate::legs::{Flag, Leg, LegPair, LegSet, MedianUncertainty, Note, SpeedVariability};
use crate::model::estimate::Estimate;
use crate::stats::mean;

/// One pair of legs: the airspeed from an upwind and a downwind leg. Speeds are in the speed
/// channel's unit.
#[derive(Debug, Clone, PartialEq)]
pub struct Pair {
    /// Number of the pair, from 1.
    pub pair: u32,
    /// Throttle in per cent; `None` where it is not known.
    pub throttle_percent: Option<f64>,
    /// Number of the throttle step, from 1.
    pub step: u32,
    /// Indices of the upwind and of the downwind leg in the list of legs.
    pub legs: PairedLegs,
    /// Median ground speed of the upwind leg, in the speed channel's unit.
    pub upwind: f64,
    /// Median ground speed of the downwind leg, in the speed channel's unit.
    pub downwind: f64,
    /// Airspeed: the mean of the two ground speeds, corrected for a known crosswind.
    pub airspeed: Estimate,
    /// Wind along the course, in the speed channel's unit: half of downwind minus upwind ground speed, positive if it
    /// is a headwind on the upwind leg.
    pub wind: f64,
    /// Mean of the legs' median pack voltages, in volts; `None` if neither leg has a voltage reading.
    pub voltage_v: Option<f64>,
    /// Mean of the legs' median altitudes, in the altitude channel's unit; `None` if neither leg has an altitude
    /// reading.
    pub altitude: Option<f64>,
    /// Whether it is doubtful that the legs were flown in opposite directions of one course; the reasons are among the
    /// `flags`.
    pub doubtful: bool,
    /// Warnings about this pair.
    pub flags: Vec<Flag>,
    /// Warnings about the two legs.
    pub leg_flags: Vec<Flag>,
    /// The uncertainty budget of the airspeed.
    pub budget: Budget,
}

/// The legs of a pair, as indices into the list of legs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PairedLegs {
    /// The upwind leg.
    pub upwind: usize,
    /// The downwind leg.
    pub downwind: usize,
}

impl PairedLegs {
    /// Whether the leg with index `leg` is one of the two legs of the pair.
    #[must_use]
    pub fn contains(self, leg: usize) -> bool {
        self.upwind == leg || self.downwind == leg
    }
}

/// One throttle step: the combined result of its pairs. Speeds are in the speed channel's unit.
#[derive(Debug, Clone, PartialEq)]
pub struct StepResult {
    /// Number of the step, from 1.
    pub step: u32,
    /// Throttle in per cent; `None` where it is not known.
    pub throttle_percent: Option<f64>,
    /// Numbers of the pairs that the result is computed from: those at this step that are not doubtful, or all if all
    /// are doubtful.
    pub pairs: Vec<u32>,
    /// Airspeed: mean over the pairs.
    pub airspeed: Estimate,
    /// Wind along the course, in the speed channel's unit: mean over the pairs.
    pub wind: f64,
    /// Mean pack voltage of the pairs, in volts; `None` if no pair has a voltage.
    pub voltage_v: Option<f64>,
    /// Mean altitude of the pairs, in the altitude channel's unit; `None` if no pair has an altitude.
    pub altitude: Option<f64>,
    /// Whether all pairs of the step are doubtful, so that the step is doubtful too.
    pub doubtful: bool,
    /// Warnings about this step.
    pub flags: Vec<Flag>,
    /// Warnings about the pairs in `pairs` and their legs, each with the number of the pair.
    pub pair_flags: Vec<Flag>,
    /// The uncertainty budget of the airspeed.
    pub budget: Budget,
}

/// Airspeed and wind along the course, in the unit of the ground speeds they come from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AirspeedAndWind {
    /// Airspeed.
    pub airspeed: f64,
    /// Wind along the course; positive if it is a headwind on the upwind leg.
    pub wind: f64,
}

/// Airspeed and wind along the course from two ground speeds flown in opposite directions: their mean, and half of
/// downwind minus upwind speed. Both are exact when the nose points along the course. For a course held over the
/// ground in a crosswind `Wc`, the mean is `sqrt(V^2 - Wc^2)`.
#[must_use]
pub fn airspeed_and_wind(upwind: f64, downwind: f64) -> AirspeedAndWind {
    AirspeedAndWind { airspeed: (upwind + downwind) / 2.0, wind: (downwind - upwind) / 2.0 }
}

/// The airspeed of every pair of legs, with the uncertainty of an unknown crosswind.
#[must_use]
pub fn pair(set: &LegSet) -> Vec<Pair> {
    pair_with(set, &Crosswind::Unknown)
}

/// The airspeed of every pair of legs. A known crosswind `Wc` is corrected for: `V = sqrt(m^2 + Wc^2)` with the mean
/// `m` of the two legs, whose courses are held over the ground.
#[must_use]
pub fn pair_with(set: &LegSet, crosswind: &Crosswind) -> Vec<Pair> {
    let Some(variability) = &set.variability else { return Vec::new() };
    let drift = Drift::of(set, variability);
    set.pairs
        .iter()
        .filter_map(|pair| Some((pair, legs_of(set, pair)?)))
        .zip(1..)
        .map(|((pair, legs), number)| one_pair(number, pair, legs, crosswind, &(variability, &drift)))
        .map(flagged)
        .collect()
}

fn legs_of<'a>(set: &'a LegSet, pair: &LegPair) -> Option<[&'a Leg; 2]> {
    Some([set.legs.get(pair.upwind)?, set.legs.get(pair.downwind)?])
}

/// The wind along the course of every pair, in the speed's unit.
fn winds(set: &LegSet) -> Vec<f64> {
    set.pairs.iter().filter_map(|pair| legs_of(set, pair)).map(wind).collect()
}

fn wind([upwind, downwind]: [&Leg; 2]) -> f64 {
    airspeed_and_wind(upwind.speed_median, downwind.speed_median).wind
}

fn one_pair(
    number: u32,
    pair: &LegPair,
    legs: [&Leg; 2],
    crosswind: &Crosswind,
    variability: &(&SpeedVariability, &Drift),
) -> Pair {
    let [upwind, downwind] = legs.map(|leg| leg.speed_median);
    let AirspeedAndWind { airspeed: mean_speed, wind } = airspeed_and_wind(upwind, downwind);
    let effect = crosswind.effect(mean_speed, wind);
    let airspeed = mean_speed + effect.correction;
    let mut budget = budget(legs, &effect, variability);
    budget.rows.extend(doubt(pair));
    let over =
        |of: fn(&Leg) -> Option<f64>| mean(&legs.iter().filter_map(|leg| of(leg)).collect::<Vec<f64>>());
    Pair {
        pair: number,
        throttle_percent: pair.throttle_percent,
        step: pair.step,
        legs: PairedLegs { upwind: pair.upwind, downwind: pair.downwind },
        upwind,
        downwind,
        airspeed: budget.estimate(airspeed),
        wind,
        voltage_v: over(|leg| leg.voltage_v),
        altitude: over(|leg| leg.altitude),
        doubtful: !pair.doubts.is_empty(),
        flags: pair.doubts.iter().cloned().map(Flag::from).collect(),
        leg_flags: legs.iter().flat_map(|leg| leg.flags.iter().cloned()).collect(),
        budget,
    }
}

/// The uncertainty budget of a pair. The airspeed is the mean of the median speeds of two legs. Independent
/// uncertainties `u1` and `u2` of the legs therefore contribute `sqrt(u1^2 + u2^2) / 2`; an uncertainty that both legs
/// share contributes its full value.
fn budget(
    legs: [&Leg; 2],
    effect: &crosswind::CrosswindEffect,
    (variability, drift): &(&SpeedVariability, &Drift),
) -> Budget {
    let medians = legs.map(|leg| variability.of_median(leg));
    let own = |part: fn(&MedianUncertainty) -> f64| part(&medians[0]).hypot(part(&medians[1])) / 2.0;
    let known = f64::INFINITY;
    let row = |cause, uncertainty, degrees_of_freedom, shared| Contribution {
        cause,
        uncertainty,
        degrees_of_freedom,
        shared,
    };
    let samples = legs.iter().map(|leg| leg.samples as f64).sum::<f64>();
    let wind = wind(legs);
    Budget {
        rows: vec![
            row(Cause::Gusts, own(|median| median.gusts), variability.degrees_of_freedom, false),
            row(Cause::Noise, own(|median| median.noise), (samples - 2.0).max(1.0), false),
            row(Cause::Rounding, own(|median| median.rounding), known, false),
            shared_rounding(variability.quantum),
            row(Cause::Receiver, drift.receiver() / 2f64.sqrt(), known, false),
            row(Cause::WindDrift, drift.uncertainty(wind), drift.degrees_of_freedom(), false),
            row(Cause::Crosswind, effect.uncertainty, known, true),
        ],
        reads_low: effect.reads_low + rounding_reads_low(variability.quantum),
        crosswind_bound: effect.bound,
    }
}

/// Contribution to the budget if it is doubtful that the legs were flown in opposite directions: all errors from minus
/// to plus the pair's `max_error` are equally likely (a rectangular distribution, JCGM 100:2008, 4.3.7). The pairs of
/// a step share this contribution, since they have the same reason for doubt. `None` if the pair has no doubts.
fn doubt(pair: &LegPair) -> Option<Contribution> {
    (!pair.doubts.is_empty()).then(|| Contribution {
        cause: Cause::Doubt,
        uncertainty: pair.max_error / 3f64.sqrt(),
        degrees_of_freedom: f64::INFINITY,
        shared: true,
    })
}

/// Minimum half-width of an interval that is flagged as wide, as a share of the airspeed (set by judgement).
const WIDE_INTERVAL_SHARE: f64 = 0.05;

fn flagged(mut pair: Pair) -> Pair {
    if pair.wind < 0.0 {
        pair.flags.push(Note::UpwindFaster.into());
    }
    let share = pair.airspeed.half_width() / pair.airspeed.value;
    if share > WIDE_INTERVAL_SHARE {
        pair.flags.push(Note::WideInterval { share }.into());
    }
    pair
}

/// The airspeed of every throttle step, in the order of the steps: the mean of its pairs. If pairs of one step differ
/// by more than their uncertainties explain, the conditions of the flight were not the same for all pairs. In this
/// case the intervals of all steps with several pairs are wider, and the steps that contribute to the disagreement are
/// flagged.
#[must_use]
pub fn steps(pairs: &[Pair]) -> Vec<StepResult> {
    let mut numbers: Vec<u32> = pairs.iter().map(|pair| pair.step).collect();
    numbers.sort_unstable();
    numbers.dedup();
    let sound: Vec<Pair> = pairs.iter().filter(|pair| !pair.doubtful).cloned().collect();
    let disagreement = Disagreement::of(if sound.is_empty() { pairs } else { &sound });
    numbers.into_iter().filter_map(|step| one_step(step, pairs, disagreement.as_ref())).collect()
}

/// The result of one throttle step: the mean of its pairs that are not doubtful, or of all its pairs if all are
/// doubtful. `None` if the step has no pairs.
fn one_step(step: u32, pairs: &[Pair], disagreement: Option<&Disagreement>) -> Option<StepResult> {
    let of_step = || pairs.iter().filter(|pair| pair.step == step);
    let doubtful = of_step().all(|pair| pair.doubtful);
    let members: Vec<&Pair> = of_step().filter(|pair| doubtful || !pair.doubtful).collect();
    let over = |of: fn(&Pair) -> Option<f64>| {
        mean(&members.iter().filter_map(|pair| of(pair)).collect::<Vec<f64>>())
    };
    let airspeeds: Vec<f64> = members.iter().map(|pair| pair.airspeed.value).collect();
    let budgets: Vec<&Budget> = members.iter().map(|pair| &pair.budget).collect();
    let disagreement = disagreement.filter(|_| members.len() > 1);
    let mut budget = Budget::of_mean(&budgets);
    budget.rows.extend(disagreement.map(|found| found.row(members.len())));
    let airspeed = budget.estimate(mean(&airspeeds)?);
    let flags = [
        doubtful.then(|| Note::DoubtfulStep.into()),
        disagreement.filter(|found| found.shows_in(&airspeeds)).map(|_| disagree(&airspeeds)),
    ];
    Some(StepResult {
        step,
        throttle_percent: members.first()?.throttle_percent,
        pairs: members.iter().map(|pair| pair.pair).collect(),
        airspeed,
        wind: over(|pair| Some(pair.wind))?,
        voltage_v: over(|pair| pair.voltage_v),
        altitude: over(|pair| pair.altitude),
        doubtful,
        flags: flags.into_iter().flatten().collect(),
        pair_flags: members.iter().flat_map(|pair| flags_of(pair)).collect(),
        budget,
    })
}

/// The warnings about a pair and its legs, with the number of the pair.
fn flags_of(pair: &Pair) -> Vec<Flag> {
    let all = pair.flags.iter().chain(&pair.leg_flags);
    all.map(|flag| Flag(format!("pair {}: {}", pair.pair, flag.0))).collect()
}

fn disagree(airspeeds: &[f64]) -> Flag {
    let slowest = airspeeds.iter().copied().fold(f64::INFINITY, f64::min);
    let fastest = airspeeds.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    Note::PairsDisagree { slowest, fastest }.into()
}
