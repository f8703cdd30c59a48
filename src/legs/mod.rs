//! Legs: finds the straight, steady stretches between turns and describes each.

mod circling;
mod evidence;
mod limits;
mod merge;
mod note;
mod pairing;
mod partition;
mod patterns;
mod reversal;
mod runs;
mod steady;
mod steps;
mod told;
mod turns;
mod wobble;

use serde::{Deserialize, Serialize};
use thiserror::Error;

pub use note::{NotPaired, Note};
pub use patterns::LegPattern;
pub use told::{GivenLeg, LegsFileError, read_file};
pub use wobble::{MedianUncertainty, SpeedVariability};

use crate::model::channel::Channel;
use crate::series::Series;
use crate::stats;
use evidence::Evidence;
use steady::{Gauges, Stretch};
use steps::Steps;

/// What a stretch of the flight is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum LegKind {
    /// Flown into the wind.
    Upwind,
    /// Flown with the wind.
    Downwind,
    /// A leg without a partner flown the other way: reported, not used for an airspeed.
    #[serde(alias = "odd")]
    Unpaired,
    /// A leg told by the pilot whose direction is to be found from the speeds, or one of a pattern of
    /// three or more directions.
    Leg,
}

/// Whether a leg counts towards an airspeed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LegUse {
    /// It is in a pair or in a pattern.
    Used,
    /// It is in a pair that may not be two legs flown opposite ways.
    Doubtful,
    /// It is in no pair, for this reason.
    LeftOut(NotPaired),
}

/// Something about a leg or pair that a pilot should know, in words.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Flag(pub String);

/// One straight leg. Speeds are in the speed channel's unit.
#[derive(Debug, Clone, PartialEq)]
pub struct Leg {
    /// Start of the whole leg, in seconds of flight time. Result files give the steady middle as
    /// the leg's start and end: told back, those give the same median.
    pub start_s: f64,
    /// End of the whole leg.
    pub end_s: f64,
    /// Start of the steady middle that the median is taken over.
    pub steady_start_s: f64,
    /// End of the steady middle.
    pub steady_end_s: f64,
    /// What the leg is.
    pub kind: LegKind,
    /// Throttle in per cent, where it is known.
    pub throttle_percent: Option<f64>,
    /// Number of the throttle step this leg belongs to, from 1; `None` for an odd leg.
    pub step: Option<u32>,
    /// Median speed over the overlay updates of the steady middle, interpolated within the display
    /// step it falls into (see [`stats::grouped_median`]).
    pub speed_median: f64,
    /// Spread of the speed there: 1.4826 x the median absolute deviation.
    pub speed_spread: f64,
    /// Overlay updates in the steady middle whose speed is trusted.
    pub samples: usize,
    /// Standard uncertainty of the median, autocorrelation and rounding included.
    pub speed_uncertainty: f64,
    /// Median pack voltage over the steady middle, in volts.
    pub voltage_v: Option<f64>,
    /// Median altitude over the steady middle, in the altitude channel's unit.
    pub altitude: Option<f64>,
    /// Median satellites over the steady middle.
    pub satellites: Option<f64>,
    /// Whether it counts towards an airspeed.
    pub usage: LegUse,
    /// What a pilot should know of this leg.
    pub flags: Vec<Flag>,
}

/// Where the throttle of the runs came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ThrottleSource {
    /// Read from the overlay.
    Overlay,
    /// Given by the pilot as a list of steps.
    #[serde(rename = "told")]
    Given,
    /// Told in the file of legs.
    LegsFile,
    /// Not known: steps are numbered.
    #[default]
    Numbered,
}

/// Two legs flown one after the other at one throttle, one each way.
#[derive(Debug, Clone, PartialEq)]
pub struct LegPair {
    /// Index of the upwind leg.
    pub upwind: usize,
    /// Index of the downwind leg.
    pub downwind: usize,
    /// Number of the throttle step, from 1.
    pub step: u32,
    /// Throttle in per cent, where it is known.
    pub throttle_percent: Option<f64>,
    /// What makes it doubtful that these are two legs flown opposite ways in the wind of this flight.
    pub doubts: Vec<Note>,
    /// Largest error of the airspeed if the doubts are right, in the speed channel's unit; 0 without doubts.
    pub largest_error: f64,
}

/// The legs of a flight and which of them belong together.
#[derive(Debug, Clone, PartialEq)]
pub struct LegSet {
    /// The legs in order of time.
    pub legs: Vec<Leg>,
    /// The pairs in order of time.
    pub pairs: Vec<LegPair>,
    /// Where the throttle of the runs came from.
    pub throttle_source: ThrottleSource,
    /// How much and how slowly the speed wobbles within legs; `None` without legs.
    pub wobble: Option<SpeedVariability>,
    /// Direction of each leg in degrees clockwise from north, where the overlay shows it.
    pub headings_deg: Vec<Option<f64>>,
    /// Legs flown in three or more directions at one throttle.
    pub patterns: Vec<LegPattern>,
    /// Metres per second in one unit of the speeds.
    pub speed_si: f64,
    /// What the pilot should know of the flight as a whole.
    pub notes: Vec<Note>,
}

/// What the pilot told of the legs.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct LegOptions {
    /// The legs themselves, instead of those found in the speeds.
    pub given: Option<Vec<GivenLeg>>,
    /// How many edits made them of the legs found; 0 where they were told outright.
    pub edits: usize,
    /// The throttle steps in the order flown, in per cent. They go before a throttle that the overlay shows,
    /// unless there are more of them than pairs or one would hold pairs shown at several throttles; those in a file of legs go before them.
    pub throttle_steps: Option<Vec<f64>>,
    /// Pack voltage below which a leg is flagged, in volts; without it the usual landing limit of the
    /// cells that the flight's highest voltage speaks for.
    pub min_voltage_v: Option<f64>,
}

/// Told legs that do not fit the flight.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum GivenLegError {
    /// A leg lies outside the flight.
    #[error(
        "the told leg from {start_s} s to {end_s} s lies outside the recording, which lasts from {first_s:.1} s to {last_s:.1} s: mend its times"
    )]
    OutsideFlight {
        /// Start as told.
        start_s: f64,
        /// End as told.
        end_s: f64,
        /// Time of the first frame.
        first_s: f64,
        /// Time of the last frame.
        last_s: f64,
    },
    /// A leg ends before it starts.
    #[error("the told leg from {start_s} s to {end_s} s ends before it starts: exchange its times")]
    Reversed {
        /// Start as told.
        start_s: f64,
        /// End as told.
        end_s: f64,
    },
    /// A leg starts before the one before it ends.
    #[error(
        "the told leg from {start_s} s overlaps the one that ends at {other_end_s} s: legs must not overlap"
    )]
    Overlap {
        /// Start as told.
        start_s: f64,
        /// End of the leg before.
        other_end_s: f64,
    },
}

/// A told leg may reach this far beyond the recording, in seconds: times are rounded.
const OVERHANG_S: f64 = 0.5;

/// Finds the legs, or takes the told ones, describes them and pairs them.
///
/// A found leg is flat where the speed changes slowly about one level; it is said to reach up to 1 s
/// beyond. Its steady middle leaves out 0.4 s at either end of the flat part and then, second by second,
/// ends whose speed differs plainly from the rest. Of a told leg only such ends are left out: what was
/// trimmed once is not trimmed again.
///
/// # Errors
/// [`GivenLegError`] when a told leg is reversed, overlaps another or lies outside the flight. Whatever
/// else is missing is said in [`LegSet::notes`].
pub fn find(series: &Series, options: &LegOptions) -> Result<LegSet, GivenLegError> {
    let Some(gauges) = Gauges::of(series, options.min_voltage_v) else {
        return Ok(LegSet {
            legs: Vec::new(),
            pairs: Vec::new(),
            throttle_source: ThrottleSource::Numbered,
            wobble: None,
            headings_deg: Vec::new(),
            patterns: Vec::new(),
            speed_si: series.speed_si(),
            notes: vec![Note::SpeedNotMarked],
        });
    };
    let (linked, circling): (Vec<(Leg, Link)>, bool) = match &options.given {
        Some(told) => {
            let given = told_legs(&gauges, &checked(told, series)?).into_iter();
            (given.map(|(leg, pair)| (leg, Link { pair, turn_before: None })).collect(), false)
        }
        None => {
            let (found, circling) = found_legs(&gauges, series);
            let link = |turn_before| Link { pair: None, turn_before };
            (found.into_iter().map(|(leg, turn_before)| (leg, link(turn_before))).collect(), circling)
        }
    };
    Ok(leg_set(linked, circling, &gauges, series, options))
}

/// What is known of how a leg goes with its neighbours.
struct Link {
    /// Number of the pair it is given to belong to.
    pair: Option<u32>,
    /// Whether the speeds show a turn between the leg before and this one; `None` where that was not looked at.
    turn_before: Option<bool>,
}

fn checked(told: &[GivenLeg], series: &Series) -> Result<Vec<GivenLeg>, GivenLegError> {
    let time_s = &series.readings.time_s;
    let first_s = time_s.first().copied().unwrap_or(0.0);
    let last_s = time_s.last().copied().unwrap_or(0.0);
    let mut told = told.to_vec();
    told.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    let mut other_end_s = f64::NEG_INFINITY;
    for &GivenLeg { start_s, end_s, .. } in &told {
        if start_s.is_nan() || end_s.is_nan() || start_s < first_s - OVERHANG_S || end_s > last_s + OVERHANG_S
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
    Ok(told)
}

/// The told legs, each with the number of the pair it is told to belong to.
fn told_legs(gauges: &Gauges, told: &[GivenLeg]) -> Vec<(Leg, Option<u32>)> {
    told.iter()
        .filter_map(|leg| {
            let steady = gauges.without_unsteady_ends(Stretch { start_s: leg.start_s, end_s: leg.end_s });
            let (start_s, end_s) = leg.whole_s.unwrap_or((leg.start_s, leg.end_s));
            let whole = Stretch { start_s: start_s.min(leg.start_s), end_s: end_s.max(leg.end_s) };
            let throttle = leg.throttle_percent.or_else(|| gauges.throttle_percent(steady));
            Some((gauges.leg(whole, steady, leg.kind, throttle)?, leg.pair))
        })
        .collect()
}

/// The told numbers of pairs that two neighbours bear, and no third leg.
fn told_mates(told_pairs: &[Option<u32>]) -> Vec<Option<u32>> {
    let bearers = |pair: u32| told_pairs.iter().filter(|other| **other == Some(pair)).count();
    let beside = |index: usize, pair: u32| {
        let at = |index: Option<usize>| index.and_then(|index| *told_pairs.get(index)?) == Some(pair);
        at(index.checked_sub(1)) || at(index.checked_add(1))
    };
    let kept = |(index, pair): (usize, &Option<u32>)| {
        pair.filter(|pair| bearers(*pair) == 2 && beside(index, *pair))
    };
    told_pairs.iter().enumerate().map(kept).collect()
}

/// The legs found in the speeds, each with whether a turn is seen between the one before and it, and whether the speed
/// swings as in a circle.
fn found_legs(gauges: &Gauges, series: &Series) -> (Vec<(Leg, Option<bool>)>, bool) {
    let Some(evidence) = Evidence::of(series) else { return (Vec::new(), false) };
    let straight = turns::without_turns(&evidence, partition::legs(&evidence));
    let found = reversal::joined(&evidence, &merge::joined(&evidence, straight), gauges.quantum);
    let flat: Vec<Stretch> = found
        .iter()
        .map(|leg| Stretch { start_s: evidence.time_s(leg.first), end_s: evidence.time_s(leg.end) })
        .collect();
    let turn_before: Vec<Option<bool>> = (0..found.len())
        .map(|index| {
            let before = index.checked_sub(1)?;
            Some(reversal::is_seen(&evidence, found[before], found[index], gauges.quantum))
        })
        .collect();
    let circling = circling::is_seen(&evidence, &found, &turn_before);
    let legs = (0..flat.len())
        .filter_map(|index| {
            let before_s = index.checked_sub(1).map(|before| flat[before].end_s);
            let after_s = flat.get(index + 1).map(|after| after.start_s);
            let steady = gauges.steady_of_found(flat[index]);
            let whole = steady::whole_leg(flat[index], before_s, after_s);
            let leg = gauges.leg(whole, steady, LegKind::Leg, gauges.throttle_percent(steady))?;
            Some((leg, turn_before[index]))
        })
        .collect();
    (legs, circling)
}

fn leg_set(
    linked: Vec<(Leg, Link)>,
    circling: bool,
    gauges: &Gauges,
    series: &Series,
    options: &LegOptions,
) -> LegSet {
    let (mut legs, links): (Vec<Leg>, Vec<Link>) = linked.into_iter().unzip();
    let mut notes = Vec::new();
    notes.extend((options.edits > 0).then_some(Note::Edited { edits: options.edits }));
    let speed_si = series.speed_si();
    let wobble = SpeedVariability::of(&legs, gauges, speed_si, series.update_interval_s());
    if let Some(wobble) = &wobble {
        for leg in &mut legs {
            leg.speed_uncertainty = wobble.of_median(leg).combined();
        }
    }
    let headings_deg: Vec<Option<f64>> = legs
        .iter()
        .map(|leg| steady::mean_heading(gauges.heading.within(leg.steady_start_s, leg.steady_end_s)))
        .collect();
    let candidates = candidates(&legs, &headings_deg, &links);
    let judged = runs::judge(&candidates, options.given.is_some(), circling);
    let mates: Vec<(usize, usize)> = judged.pairs.iter().map(|pair| (pair.first, pair.second)).collect();
    let patterns = patterns::patterns(&legs, &headings_deg, &mates);
    let steps = steps_of(&legs, &mates, gauges, options);
    notes.extend(missing(series, &legs, &mates).filter(|_| patterns.is_empty()));
    notes.extend(steps.note.clone().filter(|_| !mates.is_empty()));
    let pairs = mark(&mut legs, &judged.pairs, &steps);
    patterns::mark(&mut legs, &patterns);
    say_why_left_out(&mut legs, &judged.left_out, options.given.is_some());
    notes.extend(odd_legs(&legs));
    LegSet { legs, pairs, throttle_source: steps.source, wobble, headings_deg, patterns, speed_si, notes }
}

fn candidates(legs: &[Leg], headings_deg: &[Option<f64>], links: &[Link]) -> Vec<pairing::Candidate> {
    let given_pairs = told_mates(&links.iter().map(|link| link.pair).collect::<Vec<Option<u32>>>());
    legs.iter()
        .zip(headings_deg)
        .zip(links.iter().zip(given_pairs))
        .map(|((leg, heading), (link, pair))| pairing::Candidate::of(leg, *heading, pair, link.turn_before))
        .collect()
}

fn steps_of(legs: &[Leg], mates: &[(usize, usize)], gauges: &Gauges, options: &LegOptions) -> Steps {
    let throttles: Vec<Option<f64>> = mates
        .iter()
        .map(|(first, second)| {
            let known = [legs[*first].throttle_percent, legs[*second].throttle_percent];
            stats::mean(&known.into_iter().flatten().collect::<Vec<f64>>()).map(f64::round)
        })
        .collect();
    let told_in_file = options.given.iter().flatten().any(|leg| leg.throttle_percent.is_some());
    if told_in_file {
        return steps::known(&throttles, ThrottleSource::LegsFile);
    }
    let shown = gauges.shows_throttle().then(|| steps::known(&throttles, ThrottleSource::Overlay));
    let Some(told) = &options.throttle_steps else {
        return shown.unwrap_or_else(|| steps::numbered(mates.len()));
    };
    let airspeeds: Vec<f64> = mates
        .iter()
        .map(|(first, second)| (legs[*first].speed_median + legs[*second].speed_median) / 2.0)
        .collect();
    let told = steps::told(told, &airspeeds);
    match shown {
        Some(shown) if told.source != ThrottleSource::Given => Steps { note: told.note, ..shown },
        Some(shown) if steps::is_mixed(&told, &throttles) => {
            let count = |steps: &Steps| steps.of_pairs.iter().map(|(step, _)| *step).max().unwrap_or(0);
            let note = Note::ThrottleListUnfit { told: count(&told), shown: count(&shown) };
            Steps { note: Some(note), ..shown }
        }
        Some(_) => Steps { note: steps::contradiction(&told, &throttles).or(told.note.clone()), ..told },
        None => told,
    }
}

/// Writes kind, step and throttle into the legs and gives the pairs. Of two found legs the slower one
/// is the upwind one; what the pilot told stands.
fn mark(legs: &mut [Leg], judged: &[runs::JudgedPair], steps: &Steps) -> Vec<LegPair> {
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
            let told = steps.source == ThrottleSource::Given;
            legs[leg].throttle_percent =
                if told { throttle_percent.or(own) } else { own.or(throttle_percent) };
        }
        pairs.push(LegPair {
            upwind,
            downwind,
            step,
            throttle_percent,
            doubts: pair.doubts.clone(),
            largest_error: pair.largest_error,
        });
    }
    for leg in legs.iter_mut().filter(|leg| leg.step.is_none()) {
        leg.kind = LegKind::Unpaired;
    }
    pairs
}

fn missing(series: &Series, legs: &[Leg], mates: &[(usize, usize)]) -> Option<Note> {
    let speeds = series.readings.channel(&Channel::Speed).map(|speed| stats::sorted(&speed.values));
    let speeds = speeds.unwrap_or_default();
    if speeds.is_empty() {
        Some(Note::NoTrustedSpeed)
    } else if speeds.first() == speeds.last() {
        Some(Note::ConstantSpeed)
    } else if legs.is_empty() {
        Some(Note::NoLegs)
    } else if legs.len() == 1 {
        Some(Note::OneLeg)
    } else {
        mates.is_empty().then_some(Note::NoPairs)
    }
}

/// Marks every leg without a partner with what keeps it out of a pair; legs that are `given` are not flagged with it.
fn say_why_left_out(legs: &mut [Leg], left_out: &[Option<NotPaired>], given: bool) {
    for (leg, why) in legs.iter_mut().zip(left_out).filter(|(leg, _)| leg.kind == LegKind::Unpaired) {
        if let Some(why) = why {
            leg.usage = LegUse::LeftOut(*why);
            leg.flags.extend((!given).then(|| Flag::from(Note::LeftOut(*why))));
        }
    }
}

/// Up to this many legs without a partner are named one by one.
const NAMED_LEGS: usize = 3;

fn odd_legs(legs: &[Leg]) -> Vec<Note> {
    let odd = legs.iter().enumerate().filter(|(_, leg)| leg.kind == LegKind::Unpaired);
    let named: Vec<Note> =
        odd.map(|(index, leg)| Note::UnpairedLeg { leg: index + 1, start_s: leg.start_s }).collect();
    if named.len() > NAMED_LEGS { vec![Note::LegsLeftOut { legs: named.len() }] } else { named }
}
