//! Which pairs lie in the runs, which are doubtful, and why a leg is left out.
//!
//! In a run one leg follows the other with a turn of the usual length between them, each flown opposite to the one
//! before. So the last leg of a pair and the first leg of the next are such neighbours too. Pairs in the flying about
//! before, between and after the runs seldom are.

use super::evidence::SAME_THROTTLE_PERCENT;
use super::note::{NotPaired, Note};
use super::pairing::{
    Candidate, Division, UsualLeg, divide, half_difference, obstacle, total_cost, wind_cost,
};

/// A turn within a run takes at most this many times the flight's usual turn, and this much longer, in seconds.
const LONGEST_TURN_SHARE: f64 = 2.0;
const LONGEST_TURN_MARGIN_S: f64 = 2.0;

/// Legs without a partner that a run may have between two pairs: steps of three legs have one.
const MOST_BETWEEN: usize = 1;

/// Differences within so many standard uncertainties do not tell which leg of a pair was flown with the wind.
const CALM_DEVIATIONS: f64 = 2.0;

/// Cost above which a pair outside the runs is left out, in squared standard deviations: where legs are flown
/// nearly as in a run the pair is kept, and said to be doubtful.
const WORST_OUTSIDE_RUNS: f64 = 3.0;

/// Cost of its wind above which any pair is doubtful, and cost in all above which the first and the last pair of a run
/// are, in squared standard deviations: pairs of the flying about before and after join the runs at their ends.
const DOUBTFUL_WIND: f64 = 6.0;
const DOUBTFUL_AT_EDGE: f64 = 4.0;

/// A flight of so many legs or more is doubtful as a whole if less than this share of them is in pairs.
const FEWEST_LEGS: usize = 4;
const LEAST_PAIRED_SHARE: f64 = 0.5;

/// A pair, and what makes it doubtful.
#[derive(Debug, Clone)]
pub(super) struct JudgedPair {
    pub first: usize,
    pub second: usize,
    pub doubts: Vec<Note>,
    /// Largest error of the airspeed if the doubts are right, in the speed channel's unit: two legs flown the same way
    /// are off by the wind, legs of no flight up and down by half of what the legs of the flight differ by. 0 without
    /// doubts.
    pub largest_error: f64,
}

/// The pairs of a flight, and why each other leg is in none.
#[derive(Debug, Clone, Default)]
pub(super) struct Judged {
    pub pairs: Vec<JudgedPair>,
    /// For every leg, what keeps it out of a pair; `None` for one in a pair.
    pub left_out: Vec<Option<NotPaired>>,
}

/// Pairs the legs and judges every pair. `given` legs keep the pairs they are given; `circling` says that the speed
/// swings as in a circle.
pub(super) fn judge(legs: &[Candidate], given: bool, circling: bool) -> Judged {
    let usual = UsualLeg::of(legs);
    let division = divide(legs, given);
    let linked: Vec<bool> =
        division.pairs.windows(2).map(|two| are_linked(legs, two[0], two[1], &usual)).collect();
    let in_run: Vec<bool> = (0..division.pairs.len()).map(|pair| links(&linked, pair) > 0).collect();
    let has_runs = 2 * in_run.iter().filter(|in_run| **in_run).count() >= division.pairs.len();
    let outside = |pair: usize| !given && has_runs && !in_run[pair];
    let cost = |(first, second): (usize, usize)| total_cost(&legs[first], &legs[second], &division, &usual);
    // A pair outside the runs serves only where no pair in the runs was flown at its throttle.
    let throttle = |pair: usize| legs[division.pairs[pair].0].throttle_percent;
    let throttle_is_in_runs = |pair: usize| {
        let same = |other: usize| {
            throttle(pair).zip(throttle(other)).is_some_and(|(a, b)| (a - b).abs() <= SAME_THROTTLE_PERCENT)
        };
        (0..division.pairs.len()).any(|other| in_run[other] && same(other))
    };
    let is_left_out = |pair: usize| {
        outside(pair) && (throttle_is_in_runs(pair) || cost(division.pairs[pair]) > WORST_OUTSIDE_RUNS)
    };
    let (dropped, kept): (Vec<usize>, Vec<usize>) =
        (0..division.pairs.len()).partition(|pair| is_left_out(*pair));
    let of_flight = doubt_of_flight(legs.len(), 2 * kept.len(), circling).filter(|_| !given);
    let pairs = kept.iter().map(|pair| {
        let (first, second) = division.pairs[*pair];
        let inside = given || links(&linked, *pair) == 2;
        let mut doubts = doubts(&legs[first], &legs[second], &division, &usual, inside);
        doubts.extend((!given && !in_run[*pair] && division.pairs.len() > 1).then_some(Note::OutsideRuns));
        doubts.extend(of_flight.clone());
        let wind = division.wind.between(&legs[first], &legs[second]);
        let of_wind = half_difference(&legs[first], &legs[second]).max(wind);
        let largest_error = match (doubts.is_empty(), &of_flight) {
            (true, _) => 0.0,
            (false, None) => of_wind,
            (false, Some(_)) => of_wind.max(half_range(legs)),
        };
        JudgedPair { first, second, doubts, largest_error }
    });
    let pairs: Vec<JudgedPair> = pairs.collect();
    let dropped: Vec<(usize, usize)> = dropped.iter().map(|pair| division.pairs[*pair]).collect();
    let left_out = (0..legs.len()).map(|leg| why_left_out(leg, legs, &pairs, &dropped, &division, &usual));
    Judged { left_out: left_out.collect(), pairs }
}

/// Half of what the legs of a flight differ by.
fn half_range(legs: &[Candidate]) -> f64 {
    let speeds = || legs.iter().map(|leg| leg.speed);
    (speeds().fold(f64::NEG_INFINITY, f64::max) - speeds().fold(f64::INFINITY, f64::min)) / 2.0
}

fn doubts(
    first: &Candidate,
    second: &Candidate,
    division: &Division,
    usual: &UsualLeg,
    inside_run: bool,
) -> Vec<Note> {
    let wind = half_difference(first, second);
    let at_odds = wind_cost(first, second, division, usual) > DOUBTFUL_WIND;
    let unlike = !inside_run && total_cost(first, second, division, usual) > DOUBTFUL_AT_EDGE;
    let notes = [
        at_odds.then_some(Note::WindAtOdds { wind, usual: division.wind.between(first, second) }),
        unlike.then_some(Note::UnlikeOthers),
    ];
    notes.into_iter().flatten().collect()
}

fn doubt_of_flight(legs: usize, paired: usize, circling: bool) -> Option<Note> {
    let few_fit = legs >= FEWEST_LEGS && (paired as f64) < LEAST_PAIRED_SHARE * legs as f64;
    if circling { Some(Note::Circling) } else { few_fit.then_some(Note::FewLegsFit { paired, legs }) }
}

/// How many neighbouring pairs belong to the same run as a pair: 0 to 2.
fn links(linked: &[bool], pair: usize) -> usize {
    let at = |index: Option<usize>| index.and_then(|index| linked.get(index)).is_some_and(|linked| *linked);
    usize::from(at(pair.checked_sub(1))) + usize::from(at(Some(pair)))
}

/// Whether two successive pairs follow each other as the legs of one pair do, with at most [`MOST_BETWEEN`] legs between
/// them that belong to no pair.
fn are_linked(legs: &[Candidate], one: (usize, usize), next: (usize, usize), usual: &UsualLeg) -> bool {
    let turns = next.0 - one.1;
    let regular = (one.1..next.0).all(|leg| is_regular_turn(&legs[leg], &legs[leg + 1], usual));
    let last = flown_with_wind(&legs[one.1], &legs[one.0]);
    let first = flown_with_wind(&legs[next.0], &legs[next.1]);
    let alternates = last.zip(first).is_none_or(|(last, first)| (last == first) == turns.is_multiple_of(2));
    turns <= MOST_BETWEEN + 1 && regular && alternates
}

/// Whether two legs follow each other with a turn of the usual length.
fn is_regular_turn(before: &Candidate, after: &Candidate, usual: &UsualLeg) -> bool {
    let gap_s = after.steady_start_s - before.steady_end_s;
    after.turn_before != Some(false) && gap_s <= LONGEST_TURN_SHARE * usual.turn_s + LONGEST_TURN_MARGIN_S
}

/// Whether a leg is the faster one of its pair; `None` where the difference is within [`CALM_DEVIATIONS`].
fn flown_with_wind(leg: &Candidate, partner: &Candidate) -> Option<bool> {
    let difference = leg.speed - partner.speed;
    let significant = difference.abs() > CALM_DEVIATIONS * leg.uncertainty.hypot(partner.uncertainty);
    significant.then_some(difference > 0.0)
}

/// What keeps a leg out of a pair; `None` for one in a pair.
fn why_left_out(
    leg: usize,
    legs: &[Candidate],
    pairs: &[JudgedPair],
    dropped: &[(usize, usize)],
    division: &Division,
    usual: &UsualLeg,
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
            total_cost(&legs[first], &legs[second], division, usual),
            obstacle(&legs[first], &legs[second], division, usual),
        )
    };
    let cheapest = |others: Vec<usize>| {
        others.into_iter().map(obstacle_to).min_by(|a, b| a.0.total_cmp(&b.0)).map(|(_, why)| why)
    };
    let near: Vec<usize> = neighbours.into_iter().flatten().collect();
    let of_free = cheapest(near.iter().copied().filter(free).collect());
    Some(of_free.unwrap_or(if near.is_empty() { NotPaired::Alone } else { NotPaired::Taken }))
}
