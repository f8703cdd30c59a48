//! Divides the flight into legs, turns and the rest by optimal partitioning with dynamic programming.
//!
//! Each division has a cost in units of the noise's variance; the cheapest division is found exactly (Jackson
//! et al. 2005, "An algorithm for optimal partitioning of data on an interval", here with three kinds of
//! segment). A leg costs the squared slopes of its speed and the squared deviations of its speed from the
//! mean. A turn and the rest cost a fixed amount per time step, whatever the speed does there. Beginning a
//! segment costs a fixed amount. A time step is therefore cheaper in a turn if its speed changes fast or lies
//! far from the leg's mean, and a leg is divided only where enough such steps come together.

use super::flight_grid::{FlightGrid, STEP_S};

/// Minimum length of a leg, in seconds (set by judgement).
pub(super) const MIN_LEG_S: f64 = 4.0;

/// Maximum length of a leg found in one piece, in seconds; it bounds the computing time (set by judgement).
const MAX_LEG_S: f64 = 75.0;

/// Minimum and maximum duration of a turn between two legs, in seconds (set by judgement).
const TURN_S: (f64, f64) = (1.2, 10.0);

/// Cost of a time step of a turn, in units of the noise's variance (set by judgement).
const TURN_STEP_COST: f64 = 2.0;

/// Cost of a time step of the rest of the flight (launch, climb, circling, landing), in units of the noise's
/// variance (set by judgement).
const REST_STEP_COST: f64 = 2.9;

/// Weight, in the cost of a leg, of a time step's squared deviation from the leg's mean speed. The deviation is
/// measured relative to its typical value (set by judgement).
const LEVEL_WEIGHT: f64 = 0.15;

/// Weight, in the cost of a leg, of the squared slope of the speed at a time step, which is measured relative to its
/// typical value. It exceeds [`LEVEL_WEIGHT`], since gusts change the level slowly but turns change it fast (set by
/// judgement).
const SLOPE_WEIGHT: f64 = 0.4;

/// Cost of beginning a leg, in units of the noise's variance (set by judgement).
const LEG_START_COST: f64 = 6.0;

/// Cost of beginning a turn, in units of the noise's variance (set by judgement).
const TURN_START_COST: f64 = 12.0;

/// Cost of beginning a segment that is neither leg nor turn, in units of the noise's variance (set by judgement).
const REST_START_COST: f64 = 18.0;

/// Additional cost of a time step that contradicts the heading, in units of the noise's variance: one in a leg while
/// the heading changes, or one in a turn while the heading is steady (set by judgement).
const HEADING_MISMATCH_COST: f64 = 6.0;

/// Additional cost of a time step in a leg while the aircraft climbs or descends, in units of the noise's
/// variance (set by judgement).
const CLIMB_COST: f64 = 6.0;

/// Minimum share of a leg's steps that must have a trusted speed (set by judgement).
const MIN_TRUSTED_SHARE: f64 = 0.5;

/// One leg in time steps of the flight grid: the first time step of the leg, and the first one after the leg.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct LegSteps {
    pub first: usize,
    pub end: usize,
}

/// Prefix sums over the steps of the grid, so that the cost of any segment takes constant time.
struct PrefixSums {
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

impl PrefixSums {
    fn of(grid: &FlightGrid) -> Self {
        let trusted = || grid.speed.iter().map(|speed| if speed.is_finite() { *speed } else { 0.0 });
        let flag = |flags: &[bool]| prefix(flags.iter().map(|flag| f64::from(u8::from(*flag))));
        Self {
            count: prefix(grid.speed.iter().map(|speed| f64::from(u8::from(speed.is_finite())))),
            speed: prefix(trusted()),
            squares: prefix(trusted().map(|speed| speed * speed)),
            turning: prefix(grid.turning.iter().map(|turning| turning.unwrap_or(0.0))),
            straight: prefix(grid.turning.iter().map(|turning| turning.map_or(0.0, |turning| 1.0 - turning))),
            climbing: prefix(grid.climbing.iter().copied()),
            sloping: prefix(grid.sloping.iter().copied()),
            broken: flag(&grid.broken),
            throttle_change: flag(&grid.throttle_change),
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

/// The costs of all possible segments of one flight.
struct SegmentCosts {
    sums: PrefixSums,
    variance: f64,
    standing_speed: f64,
}

impl SegmentCosts {
    /// Cost of a leg that extends over the time steps `first..end` of the flight grid; infinite if no leg is possible
    /// there.
    fn leg(&self, first: usize, end: usize) -> f64 {
        let sums = &self.sums;
        let count = over(&sums.count, first, end);
        let mean = over(&sums.speed, first, end) / count;
        let interrupted = over(&sums.broken, first, end) > 0.0
            || over(&sums.throttle_change, (first + 1).min(end), end) > 0.0
            || count < MIN_TRUSTED_SHARE * (end - first) as f64;
        if interrupted || mean.is_nan() || mean < self.standing_speed {
            return f64::INFINITY;
        }
        let squares = (over(&sums.squares, first, end) - count * mean * mean).max(0.0);
        LEVEL_WEIGHT * squares / self.variance
            + SLOPE_WEIGHT * over(&sums.sloping, first, end)
            + HEADING_MISMATCH_COST * over(&sums.turning, first, end)
            + CLIMB_COST * over(&sums.climbing, first, end)
            + LEG_START_COST
    }

    fn turn(&self, first: usize, end: usize) -> f64 {
        let sums = &self.sums;
        TURN_STEP_COST * over(&sums.count, first, end)
            + HEADING_MISMATCH_COST * over(&sums.straight, first, end)
            + TURN_START_COST
    }

    fn rest(&self, first: usize, end: usize) -> f64 {
        REST_STEP_COST * over(&self.sums.count, first, end)
    }
}

/// The cheapest divisions of the time steps before a given one into segments: for each kind of last segment, the cost
/// and the time step at which the last segment begins.
#[derive(Clone, Copy)]
struct BestDivision {
    leg: (f64, usize),
    turn: (f64, usize),
    rest: (f64, usize),
}

const IMPOSSIBLE: (f64, usize) = (f64::INFINITY, 0);

/// The legs of the cheapest division, in order.
pub(super) fn legs(grid: &FlightGrid) -> Vec<LegSteps> {
    let costs = SegmentCosts {
        sums: PrefixSums::of(grid),
        variance: grid.noise.powi(2).max(1e-12),
        standing_speed: grid.standing_speed,
    };
    let mut best = vec![BestDivision { leg: IMPOSSIBLE, turn: IMPOSSIBLE, rest: (0.0, 0) }];
    for end in 1..=grid.speed.len() {
        let leg = cheapest_leg(&costs, grid, &best, end);
        let turn = cheapest(end, TURN_S, |first| best[first].leg.0 + costs.turn(first, end));
        let rest = cheapest_rest(&costs, &best, end);
        best.push(BestDivision { leg, turn, rest });
    }
    follow_back(&best, grid)
}

fn steps(seconds: f64) -> usize {
    (seconds / STEP_S).round() as usize
}

fn cheapest(end: usize, length_s: (f64, f64), cost: impl Fn(usize) -> f64) -> (f64, usize) {
    let longest = end.saturating_sub(steps(length_s.1));
    let shortest = (end + 1).saturating_sub(steps(length_s.0));
    (longest..shortest)
        .map(|first| (cost(first), first))
        .fold(IMPOSSIBLE, |kept, new| if new.0 < kept.0 { new } else { kept })
}

fn cheapest_leg(costs: &SegmentCosts, grid: &FlightGrid, best: &[BestDivision], end: usize) -> (f64, usize) {
    cheapest(end, (MIN_LEG_S, MAX_LEG_S), |first| {
        let after_leg = if grid.throttle_change[first] { best[first].leg.0 } else { f64::INFINITY };
        best[first].turn.0.min(best[first].rest.0).min(after_leg) + costs.leg(first, end)
    })
}

/// The cheapest division of the time steps before `end` whose last segment is neither leg nor turn: its cost, and the
/// time step at which the last segment begins. It extends or follows a division that ends one time step earlier, so
/// that only the last time step adds a cost.
fn cheapest_rest(costs: &SegmentCosts, best: &[BestDivision], end: usize) -> (f64, usize) {
    let before = best[end - 1];
    let step = costs.rest(end - 1, end);
    let begun = before.leg.0 + REST_START_COST;
    if begun < before.rest.0 { (begun + step, end - 1) } else { (before.rest.0 + step, before.rest.1) }
}

/// The kind of a segment of the flight.
enum SegmentKind {
    Leg,
    Turn,
    Rest,
}

fn follow_back(best: &[BestDivision], grid: &FlightGrid) -> Vec<LegSteps> {
    let mut legs = Vec::new();
    let mut end = best.len() - 1;
    let mut kind = if best[end].leg.0 < best[end].rest.0 { SegmentKind::Leg } else { SegmentKind::Rest };
    while end > 0 {
        let here = best[end];
        (kind, end) = match kind {
            SegmentKind::Leg => {
                let first = here.leg.1;
                legs.push(LegSteps { first, end });
                (before_leg(&best[first], grid.throttle_change[first]), first)
            }
            SegmentKind::Turn => (SegmentKind::Leg, here.turn.1),
            SegmentKind::Rest => (SegmentKind::Leg, here.rest.1),
        };
    }
    legs.reverse();
    legs
}

fn before_leg(best: &BestDivision, throttle_change: bool) -> SegmentKind {
    if throttle_change && best.leg.0 < best.turn.0 && best.leg.0 < best.rest.0 {
        SegmentKind::Leg
    } else if best.turn.0 < best.rest.0 {
        SegmentKind::Turn
    } else {
        SegmentKind::Rest
    }
}
