//! Decides which pairs lie within a run, which are doubtful, and why a leg is unpaired.
//!
//! In a run the legs follow each other with turns of the typical length, each flown in the direction opposite
//! to the previous one. So the last leg of a pair and the first leg of the next pair are opposite neighbours
//! too. This is rarely true of accidental pairs before, between and after the runs.

use super::flight_grid::SAME_THROTTLE_PERCENT;
use super::note::{NotPaired, Note};
use super::pairing::{
    CandidateLeg, LegPairing, TypicalLeg, best_pairing, half_difference, main_obstacle, total_cost, wind_cost,
};

/// Maximum duration of a turn within a run, as a multiple of the typical turn, before [`MAX_TURN_MARGIN_S`] is
/// added (docs/benchmarks.md).
const MAX_TURN_SHARE: f64 = 2.0;
/// Margin added to the maximum duration of a turn within a run, in seconds (docs/benchmarks.md).
const MAX_TURN_MARGIN_S: f64 = 2.0;

/// Maximum number of unpaired legs between two pairs of one run. One is needed for throttle steps of three
/// legs.
const MAX_UNPAIRED_BETWEEN: usize = 1;

/// Minimum difference between the ground speeds of the two legs of a pair for the faster leg to be regarded as flown
/// with the wind, in standard uncertainties of the difference (set by judgement).
const CALM_DEVIATIONS: f64 = 2.0;

/// Maximum cost (misfit) of a pair outside the runs, in squared standard deviations. A pair of lower cost fits
/// nearly as well as one in a run; it is kept and marked as doubtful (docs/benchmarks.md).
const MAX_COST_OUTSIDE_RUNS: f64 = 3.0;

/// Cost (misfit) of a pair's wind above which the pair is doubtful, in squared standard deviations
/// (docs/benchmarks.md).
const DOUBTFUL_WIND_COST: f64 = 6.0;
/// Total cost (misfit) above which the first or last pair of a run is doubtful, in squared standard deviations:
/// accidental pairs before and after a run join it at its ends (docs/benchmarks.md).
const DOUBTFUL_EDGE_COST: f64 = 4.0;

/// Minimum number of legs for a flight to be judged as a whole by the share of paired legs (docs/benchmarks.md).
const MIN_LEGS: usize = 4;

/// Minimum share of the legs that must be paired for the flight as a whole not to be doubtful (docs/benchmarks.md).
const MIN_PAIRED_SHARE: f64 = 0.5;

/// A pair with the reasons to doubt it.
#[derive(Debug, Clone)]
pub(super) struct JudgedPair {
    pub first: usize,
    pub second: usize,
    pub doubts: Vec<Note>,
    /// Largest error that the airspeed has if the doubts are justified, in the speed channel's unit; 0
    /// without doubts. If two legs were flown in the same direction, the airspeed is off by the wind. If the
    /// flight was not up and down one course, it is off by up to half of the range of the legs' speeds.
    pub max_error: f64,
}

/// The pairs of a flight, and the reason why each of the other legs is unpaired.
#[derive(Debug, Clone, Default)]
pub(super) struct JudgedPairs {
    pub pairs: Vec<JudgedPair>,
    /// For every leg the reason why it is unpaired; `None` for a paired leg.
    pub left_out: Vec<Option<NotPaired>>,
}

/// Pairs the legs and judges every pair. If `given` is true, the pilot gave the legs, and pairs that the pilot
/// assigned are kept; `circling` means that the speed follows the sine of a circle flown in wind.
pub(super) fn judged_pairs(legs: &[CandidateLeg], given: bool, circling: bool) -> JudgedPairs {
    let typical = TypicalLeg::of(legs);
    let pairing = best_pairing(legs, given);
    let linked: Vec<bool> =
        pairing.pairs.windows(2).map(|two| are_linked(legs, two[0], two[1], &typical)).collect();
    let in_run: Vec<bool> = (0..pairing.pairs.len()).map(|pair| links(&linked, pair) > 0).collect();
    let has_runs = 2 * in_run.iter().filter(|in_run| **in_run).count() >= pairing.pairs.len();
    let outside = |pair: usize| !given && has_runs && !in_run[pair];
    let cost = |(first, second): (usize, usize)| total_cost(&legs[first], &legs[second], &pairing, &typical);
    // A pair outside the runs is used only if no pair in the runs was flown at its throttle.
    let throttle = |pair: usize| legs[pairing.pairs[pair].0].throttle_percent;
    let throttle_is_in_runs = |pair: usize| {
        let same = |other: usize| {
            throttle(pair).zip(throttle(other)).is_some_and(|(a, b)| (a - b).abs() <= SAME_THROTTLE_PERCENT)
        };
        (0..pairing.pairs.len()).any(|other| in_run[other] && same(other))
    };
    let is_left_out = |pair: usize| {
        outside(pair) && (throttle_is_in_runs(pair) || cost(pairing.pairs[pair]) > MAX_COST_OUTSIDE_RUNS)
    };
    let (dropped, kept): (Vec<usize>, Vec<usize>) =
        (0..pairing.pairs.len()).partition(|pair| is_left_out(*pair));
    let of_flight = doubt_of_flight(legs.len(), 2 * kept.len(), circling).filter(|_| !given);
    let pairs = kept.iter().map(|pair| {
        let (first, second) = pairing.pairs[*pair];
        let inside = given || links(&linked, *pair) == 2;
        let mut doubts = doubts(&legs[first], &legs[second], &pairing, &typical, inside);
        doubts.extend((!given && !in_run[*pair] && pairing.pairs.len() > 1).then_some(Note::OutsideRuns));
        doubts.extend(of_flight.clone());
        let wind = pairing.wind.between(&legs[first], &legs[second]);
        let of_wind = half_difference(&legs[first], &legs[second]).max(wind);
        let max_error = match (doubts.is_empty(), &of_flight) {
            (true, _) => 0.0,
            (false, None) => of_wind,
            (false, Some(_)) => of_wind.max(half_range(legs)),
        };
        JudgedPair { first, second, doubts, max_error }
    });
    let pairs: Vec<JudgedPair> = pairs.collect();
    let dropped: Vec<(usize, usize)> = dropped.iter().map(|pair| pairing.pairs[*pair]).collect();
    let left_out = (0..legs.len()).map(|leg| why_left_out(leg, legs, &pairs, &dropped, &pairing, &typical));
    JudgedPairs { left_out: left_out.collect(), pairs }
}

/// Half of the range of the legs' speeds, in the speed's unit.
fn half_range(legs: &[CandidateLeg]) -> f64 {
    let speeds = || legs.iter().map(|leg| leg.speed);
    (speeds().fold(f64::NEG_INFINITY, f64::max) - speeds().fold(f64::INFINITY, f64::min)) / 2.0
}

fn doubts(
    first: &CandidateLeg,
    second: &CandidateLeg,
    pairing: &LegPairing,
    typical: &TypicalLeg,
    inside_run: bool,
) -> Vec<Note> {
    let wind = half_difference(first, second);
    let wind_differs = wind_cost(first, second, pairing, typical) > DOUBTFUL_WIND_COST;
    let unlike = !inside_run && total_cost(first, second, pairing, typical) > DOUBTFUL_EDGE_COST;
    let notes = [
        wind_differs.then_some(Note::WindDiffers { wind, fitted_wind: pairing.wind.between(first, second) }),
        unlike.then_some(Note::UnlikeOthers),
    ];
    notes.into_iter().flatten().collect()
}

fn doubt_of_flight(legs: usize, paired: usize, circling: bool) -> Option<Note> {
    let few_fit = legs >= MIN_LEGS && (paired as f64) < MIN_PAIRED_SHARE * legs as f64;
    if circling { Some(Note::Circling) } else { few_fit.then_some(Note::FewLegsFit { paired, legs }) }
}

/// Number of the two neighbouring pairs that are in the same run as the pair with index `pair`: 0 to 2.
fn links(linked: &[bool], pair: usize) -> usize {
    let at = |index: Option<usize>| index.and_then(|index| linked.get(index)).is_some_and(|linked| *linked);
    usize::from(at(pair.checked_sub(1))) + usize::from(at(Some(pair)))
}

/// Whether two successive pairs belong to one run: the legs from the last one of the first pair to the first one of
/// the next pair follow each other with turns of typical length and in alternating directions, and at most
/// [`MAX_UNPAIRED_BETWEEN`] of them are unpaired.
fn are_linked(
    legs: &[CandidateLeg],
    one: (usize, usize),
    next: (usize, usize),
    typical: &TypicalLeg,
) -> bool {
    let turns = next.0 - one.1;
    let regular = (one.1..next.0).all(|leg| is_regular_turn(&legs[leg], &legs[leg + 1], typical));
    let last = flown_with_wind(&legs[one.1], &legs[one.0]);
    let first = flown_with_wind(&legs[next.0], &legs[next.1]);
    let alternates = last.zip(first).is_none_or(|(last, first)| (last == first) == turns.is_multiple_of(2));
    turns <= MAX_UNPAIRED_BETWEEN + 1 && regular && alternates
}

/// Whether two legs follow each other with a turn of the typical length.
fn is_regular_turn(before: &CandidateLeg, after: &CandidateLeg, typical: &TypicalLeg) -> bool {
    let gap_s = after.steady_start_s - before.steady_end_s;
    after.turn_before != Some(false) && gap_s <= MAX_TURN_SHARE * typical.turn_s + MAX_TURN_MARGIN_S
}

/// Whether a leg is the faster one of its pair, flown with the wind; `None` if the difference is within
/// [`CALM_DEVIATIONS`] standard uncertainties.
fn flown_with_wind(leg: &CandidateLeg, partner: &CandidateLeg) -> Option<bool> {
    let difference = leg.speed - partner.speed;
    let significant = difference.abs() > CALM_DEVIATIONS * leg.uncertainty.hypot(partner.uncertainty);
    significant.then_some(difference > 0.0)
}

/// The reason why a leg is unpaired; `None` for a paired leg.
fn why_left_out(
    leg: usize,
    legs: &[CandidateLeg],
    pairs: &[JudgedPair],
    dropped: &[(usize, usize)],
    pairing: &LegPairing,
    typical: &TypicalLeg,
) -> Option<NotPaired> {
    let is_in = |index: usize| pairs.iter().any(|pair| pair.first == index || pair.second == index);
    if is_in(leg) {
        return None;
    }
    if dropped.iter().any(|pair| pair.0 == leg || pair.1 == leg) {
        return Some(NotPaired::OutsideRuns);
    }
    let neighbours = [leg.checked_sub(1), Some(leg + 1).filter(|next| *next < legs.len())];
    let free = |index: &usize| !is_in(*index);
    let obstacle_to = |other: usize| {
        let (first, second) = (leg.min(other), leg.max(other));
        (
            total_cost(&legs[first], &legs[second], pairing, typical),
            main_obstacle(&legs[first], &legs[second], pairing, typical),
        )
    };
    let cheapest = |others: Vec<usize>| {
        others.into_iter().map(obstacle_to).min_by(|a, b| a.0.total_cmp(&b.0)).map(|(_, why)| why)
    };
    let near: Vec<usize> = neighbours.into_iter().flatten().collect();
    let of_free = cheapest(near.iter().copied().filter(free).collect());
    Some(of_free.unwrap_or(if near.is_empty() { NotPaired::Alone } else { NotPaired::Taken }))
}
