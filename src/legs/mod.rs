//! Finds the straight, steady legs of a flight, describes each of them, and pairs them.

mod circling;
mod flight_grid;
mod given_legs;
mod leg;
mod leg_channels;
mod limits;
mod merge;
mod note;
mod pairing;
mod partition;
mod patterns;
mod reversal;
mod runs;
mod steps;
mod turns;
mod variability;

use serde::{Deserialize, Serialize};
use thiserror::Error;

pub(crate) use given_legs::MAX_TIME_S;
pub use given_legs::{GivenLeg, LegsFileError, read_file};
pub use leg::{Leg, LegKind, LegUse};
pub use note::{Flag, NotPaired, Note};
pub use patterns::LegPattern;
pub use variability::{MedianUncertainty, SpeedVariability};

use crate::model::channel::Channel;
use crate::series::Series;
use crate::stats;
use flight_grid::FlightGrid;
use leg_channels::{LegChannels, TimeInterval};
use steps::ThrottleSteps;

/// Where the throttle of the legs comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ThrottleSource {
    /// Read from the overlay.
    Overlay,
    /// Given by the pilot as a list of steps.
    Given,
    /// Given in the legs file.
    LegsFile,
    /// Not known: the steps are numbered.
    #[default]
    Numbered,
}

/// Two legs flown one after the other at one throttle, in opposite directions.
#[derive(Debug, Clone, PartialEq)]
pub struct LegPair {
    /// Index of the upwind leg in the list of legs.
    pub upwind: usize,
    /// Index of the downwind leg in the list of legs.
    pub downwind: usize,
    /// Number of the throttle step, from 1.
    pub step: u32,
    /// Throttle in per cent; `None` where it is not known.
    pub throttle_percent: Option<f64>,
    /// Reasons to doubt that the two legs were flown in opposite directions in the wind of this flight.
    pub doubts: Vec<Note>,
    /// Largest error that the airspeed has if the doubts are justified, in the speed channel's unit; 0
    /// without doubts.
    pub max_error: f64,
}

/// The legs of a flight, and the pairs among them.
#[derive(Debug, Clone, PartialEq)]
pub struct LegSet {
    /// The legs in order of time.
    pub legs: Vec<Leg>,
    /// The pairs in order of time.
    pub pairs: Vec<LegPair>,
    /// Where the throttle of the legs comes from.
    pub throttle_source: ThrottleSource,
    /// Variability of the speed within the legs; `None` if there are no legs.
    pub variability: Option<SpeedVariability>,
    /// Direction of each leg, in degrees clockwise from north; `None` where the overlay shows no heading.
    pub headings_deg: Vec<Option<f64>>,
    /// Legs flown in three or more directions at one throttle.
    pub patterns: Vec<LegPattern>,
    /// Factor from the unit of the speeds to metres per second.
    pub speed_si: f64,
    /// Warnings about the flight as a whole.
    pub notes: Vec<Note>,
}

/// The legs, throttle steps and limits that the pilot gives.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct LegOptions {
    /// Legs to use instead of searching for legs in the speeds; `None` if the legs are to be found.
    pub given: Option<Vec<GivenLeg>>,
    /// Number of edits by which the pilot changed the found legs to [`Self::given`]; 0 if the legs were given
    /// directly.
    pub edits: usize,
    /// The throttle steps in the order flown, in per cent; `None` if the pilot gives none.
    ///
    /// The steps override the throttle that the overlay shows, unless there are more steps than pairs, or a step
    /// would contain pairs for which the overlay shows different throttles. The throttles of a legs file override the
    /// steps.
    pub throttle_steps: Option<Vec<f64>>,
    /// Pack voltage below which a leg is flagged, in volts. `None` stands for the usual landing limit of a
    /// pack, whose number of cells is estimated from the highest voltage of the flight.
    pub min_voltage_v: Option<f64>,
}

/// A given leg that does not fit the flight.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum GivenLegError {
    /// A leg extends beyond the recording, or its times are not numbers.
    #[error(
        "the given leg from {start_s} s to {end_s} s lies outside the recording, which lasts from {first_s:.1} s to {last_s:.1} s: fix its times"
    )]
    OutsideFlight {
        /// Start of the leg as given, in seconds of flight time.
        start_s: f64,
        /// End of the leg as given, in seconds of flight time.
        end_s: f64,
        /// Time of the recording's first frame, in seconds of flight time.
        first_s: f64,
        /// Time of the recording's last frame, in seconds of flight time.
        last_s: f64,
    },
    /// A leg ends before it starts.
    #[error("the given leg from {start_s} s to {end_s} s ends before it starts: swap its two times")]
    Reversed {
        /// Start of the leg as given, in seconds of flight time.
        start_s: f64,
        /// End of the leg as given, in seconds of flight time.
        end_s: f64,
    },
    /// A leg starts before the previous one ends.
    #[error(
        "the given leg from {start_s} s overlaps the leg that ends at {other_end_s} s: legs must not overlap; correct one of the times"
    )]
    Overlap {
        /// Start of the leg as given, in seconds of flight time.
        start_s: f64,
        /// End of the previous leg, in seconds of flight time.
        other_end_s: f64,
    },
}

/// Time by which a given leg may extend beyond the recording, in seconds, because its times are rounded (set
/// by judgement).
const MAX_OVERHANG_S: f64 = 0.5;

/// Finds the legs in the speeds, or uses the given ones; then describes and pairs them.
///
/// A leg is found where the speed changes slowly about one level (the flat part). The whole leg extends up to
/// 1 s beyond its flat part at either end. The steady middle is the flat part without 0.4 s at either end,
/// and without further seconds at the ends whose speed differs clearly from the rest. Given legs lose only
/// such deviating ends, so that a leg that was trimmed once is not trimmed again.
///
/// # Errors
///
/// [`GivenLegError`] when a given leg is reversed, overlaps another or lies outside the flight. Everything
/// else that is missing is named in [`LegSet::notes`].
pub fn find(series: &Series, options: &LegOptions) -> Result<LegSet, GivenLegError> {
    let Some(channels) = LegChannels::of(series, options.min_voltage_v) else {
        return Ok(LegSet {
            legs: Vec::new(),
            pairs: Vec::new(),
            throttle_source: ThrottleSource::Numbered,
            variability: None,
            headings_deg: Vec::new(),
            patterns: Vec::new(),
            speed_si: series.speed_si(),
            notes: vec![Note::SpeedNotMarked],
        });
    };
    let (linked, circling): (Vec<(Leg, NeighbourLink)>, bool) = match &options.given {
        Some(given) => {
            let given = given_legs(&channels, &checked_legs(given, series)?).into_iter();
            (given.map(|(leg, pair)| (leg, NeighbourLink { pair, turn_before: None })).collect(), false)
        }
        None => {
            let (found, circling) = found_legs(&channels, series);
            let link = |turn_before| NeighbourLink { pair: None, turn_before };
            (found.into_iter().map(|(leg, turn_before)| (leg, link(turn_before))).collect(), circling)
        }
    };
    Ok(leg_set(linked, circling, &channels, series, options))
}

/// How a leg is connected with the legs before and after it.
struct NeighbourLink {
    /// Number of the pair that the pilot assigned the leg to; `None` if the pilot assigned none.
    pair: Option<u32>,
    /// Whether the speeds show a turn between the previous leg and this one. `None` for the first leg, and for given
    /// legs, for which this is not examined.
    turn_before: Option<bool>,
}

fn checked_legs(given: &[GivenLeg], series: &Series) -> Result<Vec<GivenLeg>, GivenLegError> {
    let time_s = &series.readings.time_s;
    let first_s = time_s.first().copied().unwrap_or(0.0);
    let last_s = time_s.last().copied().unwrap_or(0.0);
    let mut given = given.to_vec();
    given.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    let mut other_end_s = f64::NEG_INFINITY;
    for &GivenLeg { start_s, end_s, .. } in &given {
        if start_s.is_nan()
            || end_s.is_nan()
            || start_s < first_s - MAX_OVERHANG_S
            || end_s > last_s + MAX_OVERHANG_S
        {
            return Err(GivenLegError::OutsideFlight { start_s, end_s, first_s, last_s });
        }
        if end_s <= start_s {
            return Err(GivenLegError::Reversed { start_s, end_s });
        }
        if start_s < other_end_s {
            return Err(GivenLegError::Overlap { start_s, other_end_s });
        }
        other_end_s = end_s;
    }
    Ok(given)
}

/// The given legs, each with the number of the pair that the pilot assigned it to.
fn given_legs(channels: &LegChannels, given: &[GivenLeg]) -> Vec<(Leg, Option<u32>)> {
    given
        .iter()
        .filter_map(|leg| {
            let steady =
                channels.without_unsteady_ends(TimeInterval { start_s: leg.start_s, end_s: leg.end_s });
            let (start_s, end_s) = leg.whole_s.unwrap_or((leg.start_s, leg.end_s));
            let whole = TimeInterval { start_s: start_s.min(leg.start_s), end_s: end_s.max(leg.end_s) };
            let throttle = leg.throttle_percent.or_else(|| channels.throttle_percent(steady));
            Some((channels.leg(whole, steady, leg.kind, throttle)?, leg.pair))
        })
        .collect()
}

/// Keeps the number of an assigned pair only if exactly two legs have it and these are neighbours.
fn assigned_pairs(pair_numbers: &[Option<u32>]) -> Vec<Option<u32>> {
    let carriers = |pair: u32| pair_numbers.iter().filter(|other| **other == Some(pair)).count();
    let beside = |index: usize, pair: u32| {
        let at = |index: Option<usize>| index.and_then(|index| *pair_numbers.get(index)?) == Some(pair);
        at(index.checked_sub(1)) || at(index.checked_add(1))
    };
    let kept = |(index, pair): (usize, &Option<u32>)| {
        pair.filter(|pair| carriers(*pair) == 2 && beside(index, *pair))
    };
    pair_numbers.iter().enumerate().map(kept).collect()
}

/// The legs found in the speeds, and whether the flight is circling. Each leg comes with whether the speeds show a
/// turn before it; `None` for the first leg.
fn found_legs(channels: &LegChannels, series: &Series) -> (Vec<(Leg, Option<bool>)>, bool) {
    let Some(grid) = FlightGrid::of(series) else { return (Vec::new(), false) };
    let straight = turns::without_turns(&grid, partition::legs(&grid));
    let found = reversal::joined(&grid, &merge::joined(&grid, straight), channels.quantum);
    let flat: Vec<TimeInterval> = found
        .iter()
        .map(|leg| TimeInterval { start_s: grid.time_s(leg.first), end_s: grid.time_s(leg.end) })
        .collect();
    let turn_before: Vec<Option<bool>> = (0..found.len())
        .map(|index| {
            let before = index.checked_sub(1)?;
            Some(reversal::is_seen(&grid, found[before], found[index], channels.quantum))
        })
        .collect();
    let circling = circling::is_seen(&grid, &found, &turn_before);
    let legs = (0..flat.len())
        .filter_map(|index| {
            let before_s = index.checked_sub(1).map(|before| flat[before].end_s);
            let after_s = flat.get(index + 1).map(|after| after.start_s);
            let steady = channels.steady_of_found(flat[index]);
            let whole = leg_channels::whole_leg(flat[index], before_s, after_s);
            let leg = channels.leg(whole, steady, LegKind::Leg, channels.throttle_percent(steady))?;
            Some((leg, turn_before[index]))
        })
        .collect();
    (legs, circling)
}

fn leg_set(
    linked: Vec<(Leg, NeighbourLink)>,
    circling: bool,
    channels: &LegChannels,
    series: &Series,
    options: &LegOptions,
) -> LegSet {
    let (mut legs, links): (Vec<Leg>, Vec<NeighbourLink>) = linked.into_iter().unzip();
    let mut notes = Vec::new();
    notes.extend((options.edits > 0).then_some(Note::Edited { edits: options.edits }));
    let speed_si = series.speed_si();
    let variability = SpeedVariability::of(&legs, channels, speed_si, series.update_interval_s());
    if let Some(variability) = &variability {
        for leg in &mut legs {
            leg.speed_uncertainty = variability.of_median(leg).combined();
        }
    }
    let headings_deg: Vec<Option<f64>> = legs
        .iter()
        .map(|leg| leg_channels::mean_heading(channels.heading.within(leg.steady_start_s, leg.steady_end_s)))
        .collect();
    let candidates = candidates(&legs, channels, &headings_deg, &links);
    let judged = runs::judged_pairs(&candidates, options.given.is_some(), circling);
    let pair_indices: Vec<(usize, usize)> =
        judged.pairs.iter().map(|pair| (pair.first, pair.second)).collect();
    let patterns = patterns::patterns(&legs, &headings_deg, &pair_indices);
    let steps = steps_of(&legs, &pair_indices, channels, options);
    notes.extend(missing_note(series, legs.len(), &judged).filter(|_| patterns.is_empty()));
    notes.extend(steps.note.clone().filter(|_| !pair_indices.is_empty()));
    let pairs = mark(&mut legs, &judged.pairs, &steps);
    patterns::mark(&mut legs, &patterns);
    mark_unpaired(&mut legs, &judged.left_out, options.given.is_some());
    notes.extend(unpaired_notes(&legs));
    LegSet {
        legs,
        pairs,
        throttle_source: steps.source,
        variability,
        headings_deg,
        patterns,
        speed_si,
        notes,
    }
}

fn candidates(
    legs: &[Leg],
    channels: &LegChannels,
    headings_deg: &[Option<f64>],
    links: &[NeighbourLink],
) -> Vec<pairing::CandidateLeg> {
    let given_pairs = assigned_pairs(&links.iter().map(|link| link.pair).collect::<Vec<Option<u32>>>());
    legs.iter()
        .zip(headings_deg)
        .zip(links.iter().zip(given_pairs))
        .map(|((leg, heading), (link, pair))| {
            let has_unknown_digits = channels.has_unknown_digits(leg.steady_start_s, leg.steady_end_s);
            pairing::CandidateLeg::of(leg, *heading, pair, link.turn_before, has_unknown_digits)
        })
        .collect()
}

fn steps_of(
    legs: &[Leg],
    pair_indices: &[(usize, usize)],
    channels: &LegChannels,
    options: &LegOptions,
) -> ThrottleSteps {
    let throttles: Vec<Option<f64>> = pair_indices
        .iter()
        .map(|(first, second)| {
            let known = [legs[*first].throttle_percent, legs[*second].throttle_percent];
            stats::mean(&known.into_iter().flatten().collect::<Vec<f64>>()).map(f64::round)
        })
        .collect();
    let given_in_file = options.given.iter().flatten().any(|leg| leg.throttle_percent.is_some());
    if given_in_file {
        return steps::known(&throttles, ThrottleSource::LegsFile);
    }
    let shown = channels.shows_throttle().then(|| steps::known(&throttles, ThrottleSource::Overlay));
    let Some(given) = &options.throttle_steps else {
        return shown.unwrap_or_else(|| steps::numbered(pair_indices.len()));
    };
    let airspeeds: Vec<f64> = pair_indices
        .iter()
        .map(|(first, second)| (legs[*first].speed_median + legs[*second].speed_median) / 2.0)
        .collect();
    let given = steps::given(given, &airspeeds);
    match shown {
        Some(shown) if given.source != ThrottleSource::Given => ThrottleSteps { note: given.note, ..shown },
        Some(shown) if steps::is_mixed(&given, &throttles) => {
            let count =
                |steps: &ThrottleSteps| steps.of_pairs.iter().map(|(step, _)| *step).max().unwrap_or(0);
            let note = Note::ThrottleStepsMixed { given: count(&given), shown: count(&shown) };
            ThrottleSteps { note: Some(note), ..shown }
        }
        Some(_) => {
            ThrottleSteps { note: steps::contradiction(&given, &throttles).or(given.note.clone()), ..given }
        }
        None => given,
    }
}

/// Writes kind, step, throttle and use into the paired legs, marks all other legs as unpaired, and returns the pairs.
/// The slower leg of a pair is the upwind one, unless the pilot gave the kind of one of the legs.
fn mark(legs: &mut [Leg], judged: &[runs::JudgedPair], steps: &ThrottleSteps) -> Vec<LegPair> {
    let mut pairs = Vec::new();
    for (pair, &(step, throttle_percent)) in judged.iter().zip(&steps.of_pairs) {
        let (first, second) = (pair.first, pair.second);
        let first_is_upwind = match (legs[first].kind, legs[second].kind) {
            (LegKind::Upwind, _) | (_, LegKind::Downwind) => true,
            (LegKind::Downwind, _) | (_, LegKind::Upwind) => false,
            _ => legs[first].speed_median <= legs[second].speed_median,
        };
        let (upwind, downwind) = if first_is_upwind { (first, second) } else { (second, first) };
        for (leg, kind) in [(upwind, LegKind::Upwind), (downwind, LegKind::Downwind)] {
            legs[leg].kind = kind;
            legs[leg].step = Some(step);
            legs[leg].usage = if pair.doubts.is_empty() { LegUse::Used } else { LegUse::Doubtful };
            let own = legs[leg].throttle_percent;
            let given = steps.source == ThrottleSource::Given;
            legs[leg].throttle_percent =
                if given { throttle_percent.or(own) } else { own.or(throttle_percent) };
        }
        pairs.push(LegPair {
            upwind,
            downwind,
            step,
            throttle_percent,
            doubts: pair.doubts.clone(),
            max_error: pair.max_error,
        });
    }
    for leg in legs.iter_mut().filter(|leg| leg.step.is_none()) {
        leg.kind = LegKind::Unpaired;
    }
    pairs
}

/// The reason why a flight has no pairs, from the number of its legs and its pairs; `None` if it has pairs.
fn missing_note(series: &Series, legs: usize, judged: &runs::JudgedPairs) -> Option<Note> {
    let speeds = series.readings.channel(&Channel::Speed).map(|speed| stats::sorted(&speed.values));
    let speeds = speeds.unwrap_or_default();
    if speeds.is_empty() {
        Some(Note::NoTrustedSpeed)
    } else if speeds.first() == speeds.last() {
        Some(Note::ConstantSpeed)
    } else if legs == 0 {
        Some(Note::NoLegs)
    } else if legs == 1 {
        Some(Note::OneLeg)
    } else if !judged.pairs.is_empty() {
        None
    } else if judged.left_out.contains(&Some(NotPaired::UnknownDigits)) {
        Some(Note::UnknownDigits)
    } else {
        Some(Note::NoPairs)
    }
}

/// Marks every unpaired leg with the reason, and flags it unless the pilot gave the legs (`given`).
fn mark_unpaired(legs: &mut [Leg], left_out: &[Option<NotPaired>], given: bool) {
    for (leg, why) in legs.iter_mut().zip(left_out).filter(|(leg, _)| leg.kind == LegKind::Unpaired) {
        if let Some(why) = why {
            leg.usage = LegUse::LeftOut(*why);
            leg.flags.extend((!given).then(|| Flag::from(Note::LeftOut(*why))));
        }
    }
}

/// Maximum number of unpaired legs that are named one by one; if there are more, only their number is stated
/// (set by judgement).
const MAX_NAMED_LEGS: usize = 3;

fn unpaired_notes(legs: &[Leg]) -> Vec<Note> {
    let unpaired = legs.iter().enumerate().filter(|(_, leg)| leg.kind == LegKind::Unpaired);
    let named: Vec<Note> =
        unpaired.map(|(index, leg)| Note::UnpairedLeg { leg: index + 1, start_s: leg.start_s }).collect();
    if named.len() > MAX_NAMED_LEGS { vec![Note::LegsLeftOut { legs: named.len() }] } else { named }
}
