//! Decides which neighbouring legs form a pair and which legs stay unpaired.
//!
//! All pairs of a flight are flown in one wind. The wind along the course and the pairs are therefore found jointly:
//! for every wind that two neighbours suggest, dynamic programming finds the pairing with the lowest cost, and the
//! cheapest of these is kept. Costs are squared standardised residuals. An unpaired leg costs a fixed amount, which
//! bounds the influence of legs that belong to no run (a truncated quadratic loss, as in robust regression).

use super::flight_grid::SAME_THROTTLE_PERCENT;
use super::note::NotPaired;
use super::{Leg, LegKind};
use crate::stats::median;

/// Cost of an unpaired leg, in squared standard deviations. Two legs are not paired if the pair would cost
/// more than two unpaired legs. Chosen on two flight simulators (docs/benchmarks.md).
const UNPAIRED_COST: f64 = 5.0;

/// Cost of an unpaired leg among legs that the pilot gave, in squared standard deviations: so high that
/// practically all of them are paired.
const GIVEN_UNPAIRED_COST: f64 = 1e6;

/// Upper limit of the cost that a single trait (a property in which the legs of a pair are compared, such as length
/// or voltage) adds for a pair of given legs, in squared standard deviations, so that unusual legs are still paired.
const MAX_TRAIT_COST_OF_GIVEN: f64 = 8.0;

/// Standard deviation of the wind along the course between nearby pairs, as a share of the wind: the part of gusts
/// that remains in the mean of a leg. Chosen on two flight simulators (docs/benchmarks.md).
const WIND_VARIATION: f64 = 0.2;

/// Standard deviation of the wind along the course over a whole flight, in which the mean wind changes too,
/// as a share of the wind (docs/benchmarks.md).
const VARIATION_IN_FLIGHT: f64 = 0.3;

/// Number of estimates, nearest in time, whose median is the wind along the course at a time. A pair gives two equal
/// estimates, and the last leg of a pair gives another one with the first leg of the next pair. Eight estimates
/// therefore come from about three pairs (docs/benchmarks.md).
const LOCAL_NEIGHBOURS: usize = 8;

/// Standard deviation of `ln(a / b)` for the lengths `a` and `b` of the two legs of a pair, by time or by
/// distance (docs/benchmarks.md).
const LENGTH_VARIATION: f64 = 0.45;

/// Length below which a leg has an additional cost for being short, as a share of the typical leg
/// (docs/benchmarks.md).
const SHORT_SHARE: f64 = 0.75;

/// Standard deviation of the length of short legs, as a share of the typical leg. The cost of a short leg is the
/// square of its shortfall below [`SHORT_SHARE`] over this value (docs/benchmarks.md).
const SHORT_VARIATION: f64 = 0.15;

/// Time between the legs of a pair above which the pair has an additional cost for a long turn, in seconds
/// (docs/benchmarks.md).
const MAX_TURN_S: f64 = 12.0;

/// Standard deviation of the duration of long turns, in seconds. The cost of a long turn is the square of its excess
/// over [`MAX_TURN_S`] over this value (docs/benchmarks.md).
const TURN_VARIATION_S: f64 = 4.0;

/// Standard deviation of `ln(t / T)` for the duration `t` of a turn that is quicker than the typical turn `T`
/// of the flight (docs/benchmarks.md).
const QUICK_TURN_VARIATION: f64 = 0.5;

/// Standard deviation of the pack voltage between the legs of a pair, as a share of the voltage (set by judgement).
const VOLTAGE_VARIATION: f64 = 0.017;

/// Maximum deviation of the difference of two headings from 180 degrees, in degrees (set by judgement).
const OPPOSITE_WITHIN_DEG: f64 = 30.0;

/// A leg with the values that the search for pairs uses. Speeds and their uncertainty are in the speed channel's
/// unit.
#[derive(Debug, Clone, Copy)]
pub(super) struct CandidateLeg {
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
    /// Number of the pair that the pilot assigned the leg to; `None` if the pilot assigned none.
    pub pair: Option<u32>,
    /// Whether the speeds show a turn between the previous leg and this one; `None` for the first leg and for given
    /// legs.
    pub turn_before: Option<bool>,
    /// Whether many of its speeds are blank because a digit has no glyph.
    pub has_unknown_digits: bool,
}

impl CandidateLeg {
    pub fn of(
        leg: &Leg,
        heading_deg: Option<f64>,
        pair: Option<u32>,
        turn_before: Option<bool>,
        has_unknown_digits: bool,
    ) -> Self {
        Self {
            pair,
            turn_before,
            has_unknown_digits,
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

/// The pairs of a flight's legs and the wind that fits them.
#[derive(Debug, Clone, Default)]
pub(super) struct LegPairing {
    /// The pairs as (first, second) indices of successive legs.
    pub pairs: Vec<(usize, usize)>,
    /// The wind along the course.
    pub wind: CourseWind,
}

/// The wind along the course during a flight, in the speed channel's unit. Two neighbouring legs flown in opposite
/// directions give an estimate: half the absolute difference between their speeds, so the wind has no sign. The wind
/// at a time is the median of the estimates nearest to it.
#[derive(Debug, Clone, Default)]
pub(super) struct CourseWind {
    /// Times in seconds of flight time, each with half the difference between the speeds of two neighbouring
    /// legs, in order of time.
    half_differences: Vec<(f64, f64)>,
}

impl CourseWind {
    fn steady(wind: f64) -> Self {
        Self { half_differences: vec![(0.0, wind)] }
    }

    /// Collects half the speed difference of all neighbouring legs that are in pairs. Neighbours from two different
    /// pairs are included, since they are flown in opposite directions as well; this reveals which of two
    /// contradictory pairs is wrong. The value for the two legs of one pair is entered twice, because neighbours from
    /// different pairs may be flown at different throttles.
    fn of(legs: &[CandidateLeg], pairs: &[(usize, usize)]) -> Self {
        let in_pair = |index: usize| pairs.iter().any(|pair| pair.0 == index || pair.1 == index);
        let neighbours = (1..legs.len()).filter(|index| in_pair(index - 1) && in_pair(*index));
        let opposite = neighbours.filter(|index| rejection(&legs[index - 1], &legs[*index]).is_none());
        let of_two = |index: usize| {
            let (first, second) = (&legs[index - 1], &legs[index]);
            let times = if pairs.contains(&(index - 1, index)) { 2 } else { 1 };
            let one = (f64::midpoint(first.end_s, second.start_s), half_difference(first, second));
            std::iter::repeat_n(one, times)
        };
        Self { half_differences: opposite.flat_map(of_two).collect() }
    }

    /// The strength of the wind along the course at a time in seconds of flight time, in the speed's unit, without
    /// sign; 0 if no legs are paired.
    fn at(&self, time_s: f64) -> f64 {
        let mut nearest = self.half_differences.clone();
        nearest.sort_by(|a, b| (a.0 - time_s).abs().total_cmp(&(b.0 - time_s).abs()));
        nearest.truncate(LOCAL_NEIGHBOURS);
        let winds: Vec<f64> = nearest.iter().map(|(_, wind)| *wind).collect();
        median(&winds).unwrap_or(0.0)
    }

    /// The strength of the wind along the course, without sign, at the time half-way between two legs, in the speed's
    /// unit.
    pub fn between(&self, first: &CandidateLeg, second: &CandidateLeg) -> f64 {
        self.at(f64::midpoint(first.end_s, second.start_s))
    }
}

/// The typical leg of a flight: half of the time flown in legs is flown in longer ones. Durations are in
/// seconds, distances in units of speed times seconds.
#[derive(Debug, Clone, Copy)]
pub(super) struct TypicalLeg {
    time_s: f64,
    distance: f64,
    /// Median time between successive legs with a turn between them, in seconds.
    pub turn_s: f64,
}

impl TypicalLeg {
    pub fn of(legs: &[CandidateLeg]) -> Self {
        let half_way = |length: fn(&CandidateLeg) -> f64| {
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
            time_s: half_way(CandidateLeg::length_s),
            distance: half_way(|leg| leg.speed * leg.length_s()),
            turn_s: median(&turns_s).unwrap_or(0.0),
        }
    }

    /// Length of a leg relative to the typical leg, by time or by distance, whichever ratio is larger: pilots
    /// fly legs for a time or between two marks on the ground.
    fn share(&self, leg: &CandidateLeg) -> f64 {
        (leg.length_s() / self.time_s).max(leg.speed * leg.length_s() / self.distance)
    }
}

/// Finds the pairs and the wind that fit the legs best: first with one wind for the whole flight, then with the local
/// wind that is computed from the first pairs. `given` is true if the pilot gave the legs.
pub(super) fn best_pairing(legs: &[CandidateLeg], given: bool) -> LegPairing {
    let typical = TypicalLeg::of(legs);
    let mut winds: Vec<f64> = legs.windows(2).map(|two| half_difference(&two[0], &two[1])).collect();
    winds.push(0.0);
    winds.sort_by(f64::total_cmp);
    let stride = winds.len().div_ceil(100).max(1);
    let in_wind = |wind: &CourseWind, variation: f64| {
        cheapest(legs, given, |first, second| {
            pair_cost(first, second, &PairExpectation { wind, variation, typical }, given)
        })
    };
    let of_steady = |wind: &f64| in_wind(&CourseWind::steady(*wind), VARIATION_IN_FLIGHT);
    let first = winds.iter().step_by(stride).map(of_steady).min_by(|a, b| a.0.total_cmp(&b.0));
    let wind = CourseWind::of(legs, &first.map(|(_, pairs)| pairs).unwrap_or_default());
    let pairs = in_wind(&wind, WIND_VARIATION).1;
    LegPairing { wind: CourseWind::of(legs, &pairs), pairs }
}

/// The values that the traits of a pair (such as its wind, lengths and turn) are compared with.
#[derive(Clone, Copy)]
struct PairExpectation<'a> {
    wind: &'a CourseWind,
    /// Standard deviation of the wind along the course, as a share of that wind.
    variation: f64,
    typical: TypicalLeg,
}

/// Half the absolute difference of the ground speeds of two legs: the strength of the wind along the course if the
/// legs are flown in opposite directions.
pub(super) fn half_difference(first: &CandidateLeg, second: &CandidateLeg) -> f64 {
    (second.speed - first.speed).abs() / 2.0
}

/// The lowest total cost of a pairing, and the pairs of that pairing as indices of their legs. `given` is true if the
/// pilot gave the legs; `pair_cost` returns the cost of pairing two legs.
fn cheapest(
    legs: &[CandidateLeg],
    given: bool,
    pair_cost: impl Fn(&CandidateLeg, &CandidateLeg) -> f64,
) -> (f64, Vec<(usize, usize)>) {
    let left_out = if given { GIVEN_UNPAIRED_COST } else { UNPAIRED_COST };
    let alone_cost = |leg: &CandidateLeg| if leg.kind == LegKind::Unpaired { 0.0 } else { left_out };
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

fn pair_cost(first: &CandidateLeg, second: &CandidateLeg, expected: &PairExpectation, given: bool) -> f64 {
    if first.pair.is_some() || second.pair.is_some() {
        return if first.pair == second.pair { 0.0 } else { f64::INFINITY };
    }
    if rejection(first, second).is_some() {
        return f64::INFINITY;
    }
    let limit = if given { MAX_TRAIT_COST_OF_GIVEN } else { f64::INFINITY };
    traits(first, second, expected).iter().map(|(_, cost)| cost.min(limit)).sum()
}

/// The reason that rules out a pair regardless of its speeds; `None` if nothing rules it out.
fn rejection(first: &CandidateLeg, second: &CandidateLeg) -> Option<NotPaired> {
    let same_way = first.kind == second.kind && first.kind != LegKind::Leg;
    let left_out = first.kind == LegKind::Unpaired || second.kind == LegKind::Unpaired;
    let throttles = first.throttle_percent.zip(second.throttle_percent);
    let headings = first.heading_deg.zip(second.heading_deg);
    let off_opposite = |(a, b): (f64, f64)| ((b - a).rem_euclid(360.0) - 180.0).abs();
    if same_way || left_out {
        Some(NotPaired::Given)
    } else if first.has_unknown_digits || second.has_unknown_digits {
        Some(NotPaired::UnknownDigits)
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

/// How far a pair deviates from the expectation in each trait, as a squared standardised residual. Each trait
/// is named by the reason for which it would rule the pair out.
fn traits(first: &CandidateLeg, second: &CandidateLeg, expected: &PairExpectation) -> [(NotPaired, f64); 6] {
    let PairExpectation { variation, typical, .. } = expected;
    let wind = expected.wind.between(first, second);
    let wind_variance =
        (first.uncertainty.powi(2) + second.uncertainty.powi(2)) / 4.0 + (variation * wind).powi(2);
    let residual = half_difference(first, second) - wind;
    let times = (first.length_s() / second.length_s()).ln();
    let distances = times + (first.speed / second.speed).ln();
    let share = typical.share(first).min(typical.share(second));
    let turn = ((second.steady_start_s - first.steady_end_s) / typical.turn_s).max(0.1);
    let apart_s = (second.start_s - first.end_s - MAX_TURN_S).max(0.0);
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

/// Cost of the difference between a pair's wind and the wind of the flight, in squared standard deviations.
pub(super) fn wind_cost(
    first: &CandidateLeg,
    second: &CandidateLeg,
    pairing: &LegPairing,
    typical: &TypicalLeg,
) -> f64 {
    let all = traits(first, second, &expected(pairing, typical));
    all.iter().find(|(name, _)| *name == NotPaired::Wind).map_or(0.0, |(_, cost)| *cost)
}

fn expected<'a>(pairing: &'a LegPairing, typical: &TypicalLeg) -> PairExpectation<'a> {
    PairExpectation { wind: &pairing.wind, variation: WIND_VARIATION, typical: *typical }
}

/// Total cost of a pair, in squared standard deviations; infinite if the pair is ruled out.
pub(super) fn total_cost(
    first: &CandidateLeg,
    second: &CandidateLeg,
    pairing: &LegPairing,
    typical: &TypicalLeg,
) -> f64 {
    pair_cost(first, second, &expected(pairing, typical), false)
}

/// The reason that rules out a pair of two neighbours. If nothing rules it out, the reason that belongs to the trait
/// with the highest cost.
pub(super) fn main_obstacle(
    first: &CandidateLeg,
    second: &CandidateLeg,
    pairing: &LegPairing,
    typical: &TypicalLeg,
) -> NotPaired {
    let worst = || {
        traits(first, second, &expected(pairing, typical))
            .into_iter()
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .map_or(NotPaired::Wind, |(name, _)| name)
    };
    rejection(first, second).unwrap_or_else(worst)
}
