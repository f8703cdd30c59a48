//! Which legs belong together: each leg is paired with its neighbour or left out.
//!
//! All pairs of a flight are flown in one wind. So the wind along the course and the division into pairs and legs left
//! out are found jointly: for every wind that two neighbours suggest, dynamic programming finds the division with
//! the least cost, and the cheapest of these is taken. Costs are squared standardised residuals; a leg left out costs
//! a fixed amount, which bounds the influence of legs that belong to no run (a truncated quadratic loss, as in robust
//! regression).

use super::evidence::SAME_THROTTLE_PERCENT;
use super::note::NotPaired;
use super::{Leg, LegKind};
use crate::stats::median;

/// Cost of leaving a leg out, in squared standard deviations: a pair that costs more than two of these is not made.
const LEFT_OUT: f64 = 5.0;

/// The same when the pilot gave the legs.
const GIVEN_LEFT_OUT: f64 = 1e6;

/// Largest cost of any trait of a pair of given legs, so that they stay together.
const WORST_TRAIT_OF_GIVEN: f64 = 8.0;

/// Standard deviation of the wind along the course from one pair to another nearby, as a share of it: what gusts leave in
/// the mean of a leg.
const WIND_VARIATION: f64 = 0.2;

/// The same over a whole flight, in which the mean wind changes too.
const VARIATION_IN_FLIGHT: f64 = 0.3;

/// So many half differences, those of pairs counted twice, tell the wind at a time: about three pairs and the neighbours
/// between them.
const LOCAL_NEIGHBOURS: usize = 8;

/// Standard deviation of the logarithm of the ratio of the lengths of two legs of one pair, whose time or whose
/// distance is alike.
const LENGTH_VARIATION: f64 = 0.45;

/// Legs shorter than this share of the flight's usual leg are unlike it, with the standard deviation of that share.
const SHORT_SHARE: f64 = 0.75;
const SHORT_VARIATION: f64 = 0.15;

/// A turn between two legs takes at most this long; beyond it a pair becomes unlikely with this standard deviation, in
/// seconds.
const LONGEST_TURN_S: f64 = 12.0;
const TURN_VARIATION_S: f64 = 4.0;

/// Standard deviation of the logarithm of a turn that is quicker than the flight's usual one, as a share of that.
const QUICK_TURN_VARIATION: f64 = 0.5;

/// Standard deviation of the pack voltage between the legs of a pair, as a share.
const VOLTAGE_VARIATION: f64 = 0.017;

/// Headings of the two legs must be opposite to within this, in degrees.
const OPPOSITE_WITHIN_DEG: f64 = 30.0;

/// What the search for pairs looks at in a leg. Speeds and their uncertainty are in the speed channel's unit.
#[derive(Debug, Clone, Copy)]
pub(super) struct Candidate {
    pub speed: f64,
    pub uncertainty: f64,
    pub start_s: f64,
    pub end_s: f64,
    pub steady_start_s: f64,
    pub steady_end_s: f64,
    pub kind: LegKind,
    pub throttle_percent: Option<f64>,
    pub heading_deg: Option<f64>,
    pub voltage_v: Option<f64>,
    /// Number of the pair it is given to belong to.
    pub pair: Option<u32>,
    /// Whether the speeds show a turn between the leg before and this one; `None` for a leg that was given.
    pub turn_before: Option<bool>,
}

impl Candidate {
    pub fn of(leg: &Leg, heading_deg: Option<f64>, pair: Option<u32>, turn_before: Option<bool>) -> Self {
        Self {
            pair,
            turn_before,
            speed: leg.speed_median,
            uncertainty: leg.speed_uncertainty,
            start_s: leg.start_s,
            end_s: leg.end_s,
            steady_start_s: leg.steady_start_s,
            steady_end_s: leg.steady_end_s,
            kind: leg.kind,
            throttle_percent: leg.throttle_percent,
            heading_deg,
            voltage_v: leg.voltage_v,
        }
    }

    fn length_s(&self) -> f64 {
        self.end_s - self.start_s
    }
}

/// The division of a flight's legs.
#[derive(Debug, Clone, Default)]
pub(super) struct Division {
    /// The pairs as (first, second) indices, each of two legs that follow one another.
    pub pairs: Vec<(usize, usize)>,
    /// Wind along the course that they fit.
    pub wind: CourseWind,
}

/// The wind along the course through a flight, in the speed channel's unit. It changes slowly: at any time it is the
/// median of the half differences of the neighbours flown nearest to it.
#[derive(Debug, Clone, Default)]
pub(super) struct CourseWind {
    /// Times in seconds, and half differences there, in order of time.
    half_differences: Vec<(f64, f64)>,
}

impl CourseWind {
    fn steady(wind: f64) -> Self {
        Self { half_differences: vec![(0.0, wind)] }
    }

    /// The wind from all neighbours that are in pairs, those of two different pairs too: these are flown opposite ways
    /// as well, so that of two pairs that differ the one is found that is wrong. As these may be flown at two throttles,
    /// the legs of one pair count twice.
    fn of(legs: &[Candidate], pairs: &[(usize, usize)]) -> Self {
        let in_pair = |index: usize| pairs.iter().any(|pair| pair.0 == index || pair.1 == index);
        let neighbours = (1..legs.len()).filter(|index| in_pair(index - 1) && in_pair(*index));
        let opposite = neighbours.filter(|index| barrier(&legs[index - 1], &legs[*index]).is_none());
        let of_two = |index: usize| {
            let (first, second) = (&legs[index - 1], &legs[index]);
            let times = if pairs.contains(&(index - 1, index)) { 2 } else { 1 };
            let one = (f64::midpoint(first.end_s, second.start_s), half_difference(first, second));
            std::iter::repeat_n(one, times)
        };
        Self { half_differences: opposite.flat_map(of_two).collect() }
    }

    /// The wind at a time.
    fn at(&self, time_s: f64) -> f64 {
        let mut nearest = self.half_differences.clone();
        nearest.sort_by(|a, b| (a.0 - time_s).abs().total_cmp(&(b.0 - time_s).abs()));
        nearest.truncate(LOCAL_NEIGHBOURS);
        let winds: Vec<f64> = nearest.iter().map(|(_, wind)| *wind).collect();
        median(&winds).unwrap_or(0.0)
    }

    /// The wind between two legs.
    pub fn between(&self, first: &Candidate, second: &Candidate) -> f64 {
        self.at(f64::midpoint(first.end_s, second.start_s))
    }
}

/// The usual leg of a flight: half of the time in legs is spent in longer ones. Lengths in seconds and in units of speed
/// times seconds.
#[derive(Debug, Clone, Copy)]
pub(super) struct UsualLeg {
    time_s: f64,
    distance: f64,
    /// Median time between legs with a turn between them.
    pub turn_s: f64,
}

impl UsualLeg {
    pub fn of(legs: &[Candidate]) -> Self {
        let half_way = |length: fn(&Candidate) -> f64| {
            let mut lengths: Vec<f64> = legs.iter().map(length).collect();
            lengths.sort_by(f64::total_cmp);
            let total: f64 = lengths.iter().sum();
            let mut sum = 0.0;
            let passed = |length: &&f64| {
                sum += **length;
                sum >= total / 2.0
            };
            lengths.iter().find(passed).copied().unwrap_or(0.0)
        };
        let turns = legs.windows(2).filter(|two| two[1].turn_before == Some(true));
        let turns_s: Vec<f64> = turns.map(|two| two[1].steady_start_s - two[0].steady_end_s).collect();
        Self {
            time_s: half_way(Candidate::length_s),
            distance: half_way(|leg| leg.speed * leg.length_s()),
            turn_s: median(&turns_s).unwrap_or(0.0),
        }
    }

    /// Length of a leg as a share of the usual one, by time or by distance, whichever is more: legs are flown for a
    /// time or between two marks on the ground.
    fn share(&self, leg: &Candidate) -> f64 {
        (leg.length_s() / self.time_s).max(leg.speed * leg.length_s() / self.distance)
    }
}

/// The pairs and the wind that fit the legs best: first in one wind for the whole flight, then in the wind at the time
/// that these pairs show.
pub(super) fn divide(legs: &[Candidate], given: bool) -> Division {
    let usual = UsualLeg::of(legs);
    let mut winds: Vec<f64> = legs.windows(2).map(|two| half_difference(&two[0], &two[1])).collect();
    winds.push(0.0);
    winds.sort_by(f64::total_cmp);
    let thinning = winds.len().div_ceil(100).max(1);
    let in_wind = |wind: &CourseWind, variation: f64| {
        cheapest(legs, given, |first, second| {
            pair_cost(first, second, &Expected { wind, variation, usual }, given)
        })
    };
    let of_steady = |wind: &f64| in_wind(&CourseWind::steady(*wind), VARIATION_IN_FLIGHT);
    let first = winds.iter().step_by(thinning).map(of_steady).min_by(|a, b| a.0.total_cmp(&b.0));
    let wind = CourseWind::of(legs, &first.map(|(_, pairs)| pairs).unwrap_or_default());
    let pairs = in_wind(&wind, WIND_VARIATION).1;
    Division { wind: CourseWind::of(legs, &pairs), pairs }
}

/// What a pair is held to.
#[derive(Clone, Copy)]
struct Expected<'a> {
    wind: &'a CourseWind,
    /// Standard deviation of the wind about that, as a share of it.
    variation: f64,
    usual: UsualLeg,
}

/// Half the difference of the speeds of two legs: the wind along the course if they are flown opposite ways.
pub(super) fn half_difference(first: &Candidate, second: &Candidate) -> f64 {
    (second.speed - first.speed).abs() / 2.0
}

/// The cheapest division for one cost of a pair, with its cost.
fn cheapest(
    legs: &[Candidate],
    given: bool,
    pair_cost: impl Fn(&Candidate, &Candidate) -> f64,
) -> (f64, Vec<(usize, usize)>) {
    let left_out = if given { GIVEN_LEFT_OUT } else { LEFT_OUT };
    let alone_cost = |leg: &Candidate| if leg.kind == LegKind::Unpaired { 0.0 } else { left_out };
    let mut best = vec![(0.0, false)];
    for (index, leg) in legs.iter().enumerate() {
        let alone = best[index].0 + alone_cost(leg);
        let paired = index
            .checked_sub(1)
            .map_or(f64::INFINITY, |before| best[before].0 + pair_cost(&legs[before], leg));
        best.push(if paired < alone { (paired, true) } else { (alone, false) });
    }
    let mut pairs = Vec::new();
    let mut end = legs.len();
    while end > 0 {
        let paired = best[end].1;
        if paired {
            pairs.push((end - 2, end - 1));
        }
        end -= if paired { 2 } else { 1 };
    }
    pairs.reverse();
    (best[legs.len()].0, pairs)
}

fn pair_cost(first: &Candidate, second: &Candidate, expected: &Expected, given: bool) -> f64 {
    if first.pair.is_some() || second.pair.is_some() {
        return if first.pair == second.pair { 0.0 } else { f64::INFINITY };
    }
    if barrier(first, second).is_some() {
        return f64::INFINITY;
    }
    let limit = if given { WORST_TRAIT_OF_GIVEN } else { f64::INFINITY };
    traits(first, second, expected).iter().map(|(_, cost)| cost.min(limit)).sum()
}

/// What rules a pair out, whatever its speeds are.
fn barrier(first: &Candidate, second: &Candidate) -> Option<NotPaired> {
    let same_way = first.kind == second.kind && first.kind != LegKind::Leg;
    let left_out = first.kind == LegKind::Unpaired || second.kind == LegKind::Unpaired;
    let throttles = first.throttle_percent.zip(second.throttle_percent);
    let headings = first.heading_deg.zip(second.heading_deg);
    let off_opposite = |(a, b): (f64, f64)| ((b - a).rem_euclid(360.0) - 180.0).abs();
    if same_way || left_out {
        Some(NotPaired::Given)
    } else if throttles.is_some_and(|(a, b)| (a - b).abs() > SAME_THROTTLE_PERCENT) {
        Some(NotPaired::Throttle)
    } else if headings.is_some_and(|headings| off_opposite(headings) > OPPOSITE_WITHIN_DEG) {
        Some(NotPaired::Heading)
    } else if headings.is_none() && second.turn_before == Some(false) {
        Some(NotPaired::NoTurn)
    } else {
        None
    }
}

/// The traits of a pair as squared standardised residuals.
fn traits(first: &Candidate, second: &Candidate, expected: &Expected) -> [(NotPaired, f64); 6] {
    let Expected { variation, usual, .. } = expected;
    let wind = expected.wind.between(first, second);
    let wind_variance =
        (first.uncertainty.powi(2) + second.uncertainty.powi(2)) / 4.0 + (variation * wind).powi(2);
    let residual = half_difference(first, second) - wind;
    let times = (first.length_s() / second.length_s()).ln();
    let distances = times + (first.speed / second.speed).ln();
    let share = usual.share(first).min(usual.share(second));
    let turn = ((second.steady_start_s - first.steady_end_s) / usual.turn_s).max(0.1);
    let apart_s = (second.start_s - first.end_s - LONGEST_TURN_S).max(0.0);
    let voltage =
        first.voltage_v.zip(second.voltage_v).map_or(0.0, |(a, b)| (a - b) / (VOLTAGE_VARIATION * a));
    [
        (NotPaired::Wind, residual.powi(2) / wind_variance),
        (NotPaired::Lengths, (times.abs().min(distances.abs()) / LENGTH_VARIATION).powi(2)),
        (NotPaired::Short, ((SHORT_SHARE - share).max(0.0) / SHORT_VARIATION).powi(2)),
        (NotPaired::QuickTurn, (turn.ln().min(0.0) / QUICK_TURN_VARIATION).powi(2)),
        (NotPaired::Apart, (apart_s / TURN_VARIATION_S).powi(2)),
        (NotPaired::Voltage, voltage.powi(2)),
    ]
}

/// Cost of a pair's wind against that of the flight, in squared standard deviations.
pub(super) fn wind_cost(first: &Candidate, second: &Candidate, division: &Division, usual: &UsualLeg) -> f64 {
    let all = traits(first, second, &expected(division, usual));
    all.iter().find(|(name, _)| *name == NotPaired::Wind).map_or(0.0, |(_, cost)| *cost)
}

fn expected<'a>(division: &'a Division, usual: &UsualLeg) -> Expected<'a> {
    Expected { wind: &division.wind, variation: WIND_VARIATION, usual: *usual }
}

/// Cost of a pair in all, in squared standard deviations; infinite where it may not be.
pub(super) fn total_cost(
    first: &Candidate,
    second: &Candidate,
    division: &Division,
    usual: &UsualLeg,
) -> f64 {
    pair_cost(first, second, &expected(division, usual), false)
}

/// What speaks most against pairing two neighbours.
pub(super) fn obstacle(
    first: &Candidate,
    second: &Candidate,
    division: &Division,
    usual: &UsualLeg,
) -> NotPaired {
    let worst = || {
        traits(first, second, &expected(division, usual))
            .into_iter()
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .map_or(NotPaired::Wind, |(name, _)| name)
    };
    barrier(first, second).unwrap_or_else(worst)
}
