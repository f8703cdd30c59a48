//! Which legs belong together: each leg is paired with its neighbour or stays odd.

use super::evidence::SAME_THROTTLE_PERCENT;
use super::{Leg, LegKind};

/// Cost of leaving a leg without a partner, in squared standard deviations.
const LEFT_ODD: f64 = 9.0;

/// The same when the pilot told the legs.
const TOLD_LEFT_ODD: f64 = 1e6;

/// Largest cost that a single trait of a pair is charged.
const WORST_TRAIT: f64 = 8.0;

/// A turn between two legs takes at most this long; more speaks against a pair, in seconds.
const LONGEST_TURN_S: f64 = 12.0;

/// Headings of the two legs must be opposite to within this, in degrees.
const OPPOSITE_WITHIN_DEG: f64 = 30.0;

/// What the search for pairs looks at in a leg.
#[derive(Debug, Clone, Copy)]
pub(super) struct Candidate {
    pub speed: f64,
    pub start_s: f64,
    pub end_s: f64,
    pub kind: LegKind,
    pub throttle_percent: Option<f64>,
    pub heading_deg: Option<f64>,
    pub voltage_v: Option<f64>,
    /// Number of the pair it is told to belong to.
    pub pair: Option<u32>,
}

impl Candidate {
    pub fn of(leg: &Leg, heading_deg: Option<f64>, pair: Option<u32>) -> Self {
        Self {
            pair,
            speed: leg.speed_median,
            start_s: leg.start_s,
            end_s: leg.end_s,
            kind: leg.kind,
            throttle_percent: leg.throttle_percent,
            heading_deg,
            voltage_v: leg.voltage_v,
        }
    }
}

/// The pairs as (first, second) indices, each of two legs that follow one another.
///
/// The division into pairs and odd legs with the least cost is found by dynamic programming, for
/// every difference of speed that occurs as the supposed effect of the wind; the cheapest wins. Legs of
/// one pair differ by that effect, last about equally long, are one turn apart and draw about the
/// same voltage; they never differ in throttle or fly the same way. Neighbours told to belong together do.
pub(super) fn pairs(legs: &[Candidate], tolerance: f64, told: bool) -> Vec<(usize, usize)> {
    let left_odd = if told { TOLD_LEFT_ODD } else { LEFT_ODD };
    let mut effects: Vec<f64> = legs.windows(2).map(|two| (two[1].speed - two[0].speed).abs()).collect();
    effects.push(0.0);
    effects.sort_by(f64::total_cmp);
    let thinning = effects.len().div_ceil(100).max(1);
    let divisions = effects
        .iter()
        .step_by(thinning)
        .map(|effect| divide(legs, left_odd, |first, second| pair_cost(first, second, *effect, tolerance)));
    divisions.min_by(|a, b| a.0.total_cmp(&b.0)).map_or_else(Vec::new, |(_, pairs)| pairs)
}

/// The cheapest division for one cost of a pair, with its cost.
fn divide(
    legs: &[Candidate],
    left_odd: f64,
    pair_cost: impl Fn(&Candidate, &Candidate) -> f64,
) -> (f64, Vec<(usize, usize)>) {
    let odd_cost = |leg: &Candidate| if leg.kind == LegKind::Odd { 0.0 } else { left_odd };
    let mut best = vec![(0.0, false)];
    for (index, leg) in legs.iter().enumerate() {
        let odd = best[index].0 + odd_cost(leg);
        let paired = index
            .checked_sub(1)
            .map_or(f64::INFINITY, |before| best[before].0 + pair_cost(&legs[before], leg));
        best.push(if paired < odd { (paired, true) } else { (odd, false) });
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

fn pair_cost(first: &Candidate, second: &Candidate, effect: f64, tolerance: f64) -> f64 {
    if first.pair.is_some() || second.pair.is_some() {
        return if first.pair == second.pair { 0.0 } else { f64::INFINITY };
    }
    if !may_pair(first, second) {
        return f64::INFINITY;
    }
    let limited = |cost: f64| cost.min(WORST_TRAIT);
    let difference = (second.speed - first.speed).abs();
    let wind = ((difference - effect) / tolerance).powi(2);
    let length = ((first.end_s - first.start_s) / (second.end_s - second.start_s)).ln();
    let apart = ((second.start_s - first.end_s - LONGEST_TURN_S) / 4.0).max(0.0).powi(2);
    let voltage = first.voltage_v.zip(second.voltage_v).map_or(0.0, |(a, b)| ((a - b) / (0.012 * a)).powi(2));
    limited(wind) + limited(2.0 * length.powi(2)) + limited(apart) + 0.5 * limited(voltage)
}

fn may_pair(first: &Candidate, second: &Candidate) -> bool {
    let told_same_way = first.kind == second.kind && first.kind != LegKind::Leg;
    let odd = first.kind == LegKind::Odd || second.kind == LegKind::Odd;
    let other_throttle = first
        .throttle_percent
        .zip(second.throttle_percent)
        .is_some_and(|(a, b)| (a - b).abs() > SAME_THROTTLE_PERCENT);
    let not_opposite = first
        .heading_deg
        .zip(second.heading_deg)
        .is_some_and(|(a, b)| ((b - a).rem_euclid(360.0) - 180.0).abs() > OPPOSITE_WITHIN_DEG);
    !(told_same_way || odd || other_throttle || not_opposite)
}
