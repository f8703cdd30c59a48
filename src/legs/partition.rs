//! Divides the flight into legs, turns and the rest: optimal partitioning by dynamic programming.
//!
//! Every division is given a cost in units of the noise's variance, and the cheapest one is found
//! exactly (Jackson et al. 2005, "An algorithm for optimal partitioning of data on an interval", here
//! with three kinds of segment): a leg costs the squares of its slopes and of its deviations from its
//! mean, a turn and the rest a fixed amount a step whatever the speed does there, and each segment
//! costs something to begin. So a step is cheaper in a turn when the speed changes fast there or lies far
//! off the leg's mean, and a leg is only divided where enough such steps come together.

use super::evidence::{Evidence, STEP_S};

/// Shortest leg, in seconds.
pub(super) const SHORTEST_LEG_S: f64 = 4.0;

/// Longest leg that is looked for in one piece, in seconds.
const LONGEST_LEG_S: f64 = 75.0;

/// Shortest and longest turn between two legs, in seconds.
const TURN_S: (f64, f64) = (1.2, 10.0);

/// Cost of a step of a turn, and of the rest of the flight (launch, climb, circling, landing).
const TURN_STEP: f64 = 2.0;
const REST_STEP: f64 = 2.9;

/// Weights of a step's squared deviation from the leg's mean, and of its squared slope, both in units of
/// what is usual. Gusts shift the level slowly but turns change it fast, so the slope weighs more.
const LEVEL_WEIGHT: f64 = 0.15;
const SLOPE_WEIGHT: f64 = 0.4;

/// Cost of beginning a leg, a turn, the rest.
const BEGIN_LEG: f64 = 6.0;
const BEGIN_TURN: f64 = 12.0;
const BEGIN_REST: f64 = 18.0;

/// Cost of a step of a leg while the heading turns, and of a turn while it does not.
const HEADING_AT_ODDS: f64 = 6.0;

/// Cost of a step of a leg while the altitude climbs or sinks.
const CLIMB_AT_ODDS: f64 = 6.0;

/// Least share of a leg's steps that must have a trusted speed.
const LEAST_TRUSTED_SHARE: f64 = 0.5;

/// One leg as steps of the grid: first step, and first step after it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct LegSteps {
    pub first: usize,
    pub end: usize,
}

/// Sums over the first steps of the grid, so that any stretch's cost takes constant time.
struct Sums {
    count: Vec<f64>,
    speed: Vec<f64>,
    squares: Vec<f64>,
    turning: Vec<f64>,
    straight: Vec<f64>,
    climbing: Vec<f64>,
    sloping: Vec<f64>,
    broken: Vec<f64>,
    throttle_change: Vec<f64>,
}

impl Sums {
    fn of(evidence: &Evidence) -> Self {
        let trusted = || evidence.speed.iter().map(|speed| if speed.is_finite() { *speed } else { 0.0 });
        let flag = |flags: &[bool]| prefix(flags.iter().map(|flag| f64::from(u8::from(*flag))));
        Self {
            count: prefix(evidence.speed.iter().map(|speed| f64::from(u8::from(speed.is_finite())))),
            speed: prefix(trusted()),
            squares: prefix(trusted().map(|speed| speed * speed)),
            turning: prefix(evidence.turning.iter().map(|turning| turning.unwrap_or(0.0))),
            straight: prefix(
                evidence.turning.iter().map(|turning| turning.map_or(0.0, |turning| 1.0 - turning)),
            ),
            climbing: prefix(evidence.climbing.iter().copied()),
            sloping: prefix(evidence.sloping.iter().copied()),
            broken: flag(&evidence.broken),
            throttle_change: flag(&evidence.throttle_change),
        }
    }
}

fn prefix(values: impl Iterator<Item = f64>) -> Vec<f64> {
    let mut sum = 0.0;
    std::iter::once(0.0)
        .chain(values.map(|value| {
            sum += value;
            sum
        }))
        .collect()
}

fn over(sums: &[f64], first: usize, end: usize) -> f64 {
    sums[end] - sums[first]
}

/// Costs of the segments of one flight.
struct Costs {
    sums: Sums,
    variance: f64,
    standing_speed: f64,
}

impl Costs {
    /// Cost of a leg over the steps `first..end`; infinite where none may be.
    fn leg(&self, first: usize, end: usize) -> f64 {
        let sums = &self.sums;
        let count = over(&sums.count, first, end);
        let mean = over(&sums.speed, first, end) / count;
        let interrupted = over(&sums.broken, first, end) > 0.0
            || over(&sums.throttle_change, (first + 1).min(end), end) > 0.0
            || count < LEAST_TRUSTED_SHARE * (end - first) as f64;
        if interrupted || mean.is_nan() || mean < self.standing_speed {
            return f64::INFINITY;
        }
        let squares = (over(&sums.squares, first, end) - count * mean * mean).max(0.0);
        LEVEL_WEIGHT * squares / self.variance
            + SLOPE_WEIGHT * over(&sums.sloping, first, end)
            + HEADING_AT_ODDS * over(&sums.turning, first, end)
            + CLIMB_AT_ODDS * over(&sums.climbing, first, end)
            + BEGIN_LEG
    }

    fn turn(&self, first: usize, end: usize) -> f64 {
        let sums = &self.sums;
        TURN_STEP * over(&sums.count, first, end)
            + HEADING_AT_ODDS * over(&sums.straight, first, end)
            + BEGIN_TURN
    }

    fn rest(&self, first: usize, end: usize) -> f64 {
        REST_STEP * over(&self.sums.count, first, end)
    }
}

/// The cheapest division of the first steps that ends in each kind of segment, and where that
/// segment begins.
#[derive(Clone, Copy)]
struct Best {
    leg: (f64, usize),
    turn: (f64, usize),
    rest: (f64, usize),
}

const NEVER: (f64, usize) = (f64::INFINITY, 0);

/// The legs of the cheapest division, in order.
pub(super) fn legs(evidence: &Evidence) -> Vec<LegSteps> {
    let costs = Costs {
        sums: Sums::of(evidence),
        variance: evidence.noise.powi(2).max(1e-12),
        standing_speed: evidence.standing_speed,
    };
    let mut best = vec![Best { leg: NEVER, turn: NEVER, rest: (0.0, 0) }];
    for end in 1..=evidence.speed.len() {
        let leg = cheapest_leg(&costs, evidence, &best, end);
        let turn = cheapest(end, TURN_S, |first| best[first].leg.0 + costs.turn(first, end));
        let rest = cheapest_rest(&costs, &best, end);
        best.push(Best { leg, turn, rest });
    }
    follow_back(&best, evidence)
}

fn steps(seconds: f64) -> usize {
    (seconds / STEP_S).round() as usize
}

fn cheapest(end: usize, length_s: (f64, f64), cost: impl Fn(usize) -> f64) -> (f64, usize) {
    let longest = end.saturating_sub(steps(length_s.1));
    let shortest = (end + 1).saturating_sub(steps(length_s.0));
    (longest..shortest)
        .map(|first| (cost(first), first))
        .fold(NEVER, |kept, new| if new.0 < kept.0 { new } else { kept })
}

fn cheapest_leg(costs: &Costs, evidence: &Evidence, best: &[Best], end: usize) -> (f64, usize) {
    cheapest(end, (SHORTEST_LEG_S, LONGEST_LEG_S), |first| {
        let after_leg = if evidence.throttle_change[first] { best[first].leg.0 } else { f64::INFINITY };
        best[first].turn.0.min(best[first].rest.0).min(after_leg) + costs.leg(first, end)
    })
}

/// The rest grows step by step, so only its last step is charged anew.
fn cheapest_rest(costs: &Costs, best: &[Best], end: usize) -> (f64, usize) {
    let before = best[end - 1];
    let step = costs.rest(end - 1, end);
    let begun = before.leg.0 + BEGIN_REST;
    if begun < before.rest.0 { (begun + step, end - 1) } else { (before.rest.0 + step, before.rest.1) }
}

/// Which kind of segment ends here.
enum Kind {
    Leg,
    Turn,
    Rest,
}

fn follow_back(best: &[Best], evidence: &Evidence) -> Vec<LegSteps> {
    let mut legs = Vec::new();
    let mut end = best.len() - 1;
    let mut kind = if best[end].leg.0 < best[end].rest.0 { Kind::Leg } else { Kind::Rest };
    while end > 0 {
        let here = best[end];
        (kind, end) = match kind {
            Kind::Leg => {
                let first = here.leg.1;
                legs.push(LegSteps { first, end });
                (before_leg(&best[first], evidence.throttle_change[first]), first)
            }
            Kind::Turn => (Kind::Leg, here.turn.1),
            Kind::Rest => (Kind::Leg, here.rest.1),
        };
    }
    legs.reverse();
    legs
}

fn before_leg(best: &Best, throttle_change: bool) -> Kind {
    if throttle_change && best.leg.0 < best.turn.0 && best.leg.0 < best.rest.0 {
        Kind::Leg
    } else if best.turn.0 < best.rest.0 {
        Kind::Turn
    } else {
        Kind::Rest
    }
}
