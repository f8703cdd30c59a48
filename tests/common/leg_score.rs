//! Scores legs, pairs and steps against those that were flown, for any simulator.

use pairspeed::airspeed::{Crosswind, GivenWind, Pair, StepResult, find_wind, pair_with, steps};
use pairspeed::legs::{Leg, LegOptions, LegSet, find};
use pairspeed::model::channel::Channel;
use pairspeed::series::{Readings, trust};

/// A leg as flown, in the time of the display.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlannedLeg {
    pub start_s: f64,
    pub end_s: f64,
    pub step: usize,
    /// Direction: +1 along the course, -1 back.
    pub direction: i8,
    /// Mean true airspeed after the speed has become steady, in the unit shown.
    pub airspeed: f64,
}

/// The readings of a flight and its true legs.
pub struct ScoredFlight {
    pub readings: Readings,
    pub legs: Vec<PlannedLeg>,
}

/// The legs, pairs and steps found in one flight.
pub struct Found {
    pub set: LegSet,
    pub pairs: Vec<Pair>,
    pub steps: Vec<StepResult>,
    pub quantum: f64,
}

pub fn work_out(readings: Readings) -> Found {
    let series = trust(readings);
    let quantum = series.readings.channel(&Channel::Speed).map_or(1.0, |speed| speed.quantum());
    let set = find(&series, &LegOptions::default()).unwrap();
    let wind = find_wind(&series, &set, &GivenWind::default());
    let pairs = pair_with(&set, &Crosswind::from(wind.as_ref()));
    let steps = steps(&pairs);
    Found { set, pairs, steps, quantum }
}

/// Counts over many flights.
#[derive(Debug, Default, Clone)]
pub struct LegScore {
    pub flights: usize,
    pub planned: usize,
    pub missed: usize,
    pub legs: usize,
    pub false_legs: usize,
    pub false_legs_paired: usize,
    pub pairs: usize,
    /// Number of pairs that are not two planned legs flown in opposite directions.
    pub bad_pairs: usize,
    pub bad_pairs_flagged: usize,
    pub good_pairs_flagged: usize,
    pub same_way: usize,
    pub steps: usize,
    pub held: usize,
    /// Number of steps that contain only good pairs, and number of those whose interval contains the truth.
    pub good_steps: usize,
    pub good_held: usize,
    /// Number of steps that are wrong by more than two half-widths, and number of those that are flagged.
    pub far_off: usize,
    pub far_off_flagged: usize,
    /// Sum of the squares of error over standard uncertainty, for good steps.
    pub squares: f64,
}

/// The planned leg that a found leg measures. More than half of the steady middle, over which the median is
/// taken, must lie in the planned leg, so that the median is a speed of that leg. They must also share more
/// than half of the shorter of the two. Half a second of tolerance at either end allows for the lag of the
/// display.
pub fn planned_leg(flight: &ScoredFlight, leg: &Leg) -> Option<usize> {
    let steady_s = leg.steady_end_s - leg.steady_start_s;
    flight.legs.iter().position(|truth| {
        let (start_s, end_s) = (truth.start_s - 0.5, truth.end_s + 0.5);
        let shared_s = leg.steady_end_s.min(end_s) - leg.steady_start_s.max(start_s);
        shared_s > 0.5 * steady_s && shared_s > 0.5 * steady_s.min(truth.end_s - truth.start_s)
    })
}

/// The two planned legs of a pair, if they belong to one step and were flown in opposite directions.
pub fn real_pair(flight: &ScoredFlight, found: &Found, pair: &Pair) -> Option<(usize, usize)> {
    let up = planned_leg(flight, &found.set.legs[pair.legs.upwind])?;
    let down = planned_leg(flight, &found.set.legs[pair.legs.downwind])?;
    (flight.legs[up].direction != flight.legs[down].direction).then_some((up, down))
}

fn true_airspeed(flight: &ScoredFlight, found: &Found, step: &StepResult) -> Option<f64> {
    let members = found.pairs.iter().filter(|pair| step.pairs.contains(&pair.pair));
    let real: Vec<(usize, usize)> = members.filter_map(|pair| real_pair(flight, found, pair)).collect();
    let sum: f64 =
        real.iter().map(|(up, down)| flight.legs[*up].airspeed + flight.legs[*down].airspeed).sum();
    (!real.is_empty()).then(|| sum / (2 * real.len()) as f64)
}

impl LegScore {
    pub fn add(&mut self, flight: &ScoredFlight) {
        let found = work_out(flight.readings.clone());
        let of_legs: Vec<Option<usize>> = found.set.legs.iter().map(|leg| planned_leg(flight, leg)).collect();
        self.flights += 1;
        self.planned += flight.legs.len();
        self.missed += (0..flight.legs.len()).filter(|leg| !of_legs.contains(&Some(*leg))).count();
        self.legs += found.set.legs.len();
        self.false_legs += of_legs.iter().filter(|leg| leg.is_none()).count();
        let paired = |index: usize| found.pairs.iter().any(|pair| pair.legs.contains(index));
        self.false_legs_paired +=
            of_legs.iter().enumerate().filter(|(index, leg)| leg.is_none() && paired(*index)).count();
        for pair in &found.pairs {
            let flagged = is_flagged_pair(pair);
            let good = real_pair(flight, &found, pair).is_some();
            self.pairs += 1;
            self.bad_pairs += usize::from(!good);
            self.bad_pairs_flagged += usize::from(!good && flagged);
            self.good_pairs_flagged += usize::from(good && flagged);
            let both = of_legs[pair.legs.upwind].zip(of_legs[pair.legs.downwind]);
            self.same_way += usize::from(both.is_some() && !good);
        }
        for step in &found.steps {
            let truth = true_airspeed(flight, &found, step);
            let middle = (step.airspeed.low + step.airspeed.high) / 2.0;
            let half = step.airspeed.half_width();
            let held = truth.is_some_and(|truth| (truth - middle).abs() <= half);
            let far_off = truth.is_none_or(|truth| (truth - middle).abs() > 2.0 * half);
            let members = found.pairs.iter().filter(|pair| step.pairs.contains(&pair.pair));
            let good = members.clone().all(|pair| real_pair(flight, &found, pair).is_some());
            self.steps += 1;
            self.held += usize::from(held);
            self.good_steps += usize::from(good);
            self.good_held += usize::from(good && held);
            self.far_off += usize::from(far_off);
            self.far_off_flagged += usize::from(far_off && is_flagged_step(step));
            if good {
                self.squares +=
                    ((truth.unwrap_or(middle) - middle) / step.airspeed.standard_uncertainty).powi(2);
            }
        }
    }

    /// The sum of two scores.
    #[must_use]
    pub fn plus(&self, other: &Self) -> Self {
        Self {
            flights: self.flights + other.flights,
            planned: self.planned + other.planned,
            missed: self.missed + other.missed,
            legs: self.legs + other.legs,
            false_legs: self.false_legs + other.false_legs,
            false_legs_paired: self.false_legs_paired + other.false_legs_paired,
            pairs: self.pairs + other.pairs,
            bad_pairs: self.bad_pairs + other.bad_pairs,
            bad_pairs_flagged: self.bad_pairs_flagged + other.bad_pairs_flagged,
            good_pairs_flagged: self.good_pairs_flagged + other.good_pairs_flagged,
            same_way: self.same_way + other.same_way,
            steps: self.steps + other.steps,
            held: self.held + other.held,
            good_steps: self.good_steps + other.good_steps,
            good_held: self.good_held + other.good_held,
            far_off: self.far_off + other.far_off,
            far_off_flagged: self.far_off_flagged + other.far_off_flagged,
            squares: self.squares + other.squares,
        }
    }

    pub fn print(&self, name: &str) {
        let percent = |count: usize, of: usize| 100.0 * count as f64 / (of as f64).max(1.0);
        println!(
            "{name:34} {:4} fl | legs {:5} missed {:4.1}% false {:4.1}% (paired {:4.1}%) | pairs {:5} bad {:4.2}% flagged {:3.0}% (same way {}) good flagged {:4.1}% | steps {:5} held {:4.1}% good {:4.1}% rms {:.2} far {} flagged {}",
            self.flights,
            self.planned,
            percent(self.missed, self.planned),
            percent(self.false_legs, self.legs),
            percent(self.false_legs_paired, self.legs),
            self.pairs,
            percent(self.bad_pairs, self.pairs),
            percent(self.bad_pairs_flagged, self.bad_pairs),
            self.same_way,
            percent(self.good_pairs_flagged, self.pairs - self.bad_pairs),
            self.steps,
            percent(self.held, self.steps),
            percent(self.good_held, self.good_steps),
            (self.squares / self.good_steps.max(1) as f64).sqrt(),
            self.far_off,
            self.far_off_flagged,
        );
    }
}

fn is_flagged_pair(pair: &Pair) -> bool {
    pair.doubtful
}

fn is_flagged_step(step: &StepResult) -> bool {
    step.doubtful
}
