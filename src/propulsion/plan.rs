//! The test card of the next flight: how often and how long to fly each throttle step, and in which order.

use serde::Serialize;
use thiserror::Error;

use super::curve::SpeedCurve;
use super::flown::FlownFlight;
use crate::airspeed::{ASSUMED_DRIFT_SHARE, RECEIVER_MPS, coverage_factor};
use crate::series::statistics::{effective_count, mean, median};

/// Seconds after a turn until the speed is steady: not counted (common practice, no source).
pub const SETTLE_S: f64 = 2.0;

/// Shortest steady stretch that is worth a leg, in seconds.
const LEAST_STEADY_S: f64 = 4.0;

/// Length of a leg where no course is told, in seconds.
const USUAL_LEG_S: f64 = 12.0;

/// Most passes that are planned.
const MOST_PASSES: u32 = 40;

/// Passes that are planned where no number of them gives the interval wanted.
const PASSES_OUT_OF_REACH: u32 = 6;

/// Share of a pack that may be used (a common rule of flying clubs).
const USABLE_SHARE: f64 = 0.8;

/// Launch, climb, approach and landing, in seconds (common practice, no source).
const OVERHEAD_S: f64 = 60.0;

/// Exponent of speed in throttle where no former flight tells it (common practice, no source).
const ASSUMED_EXPONENT: f64 = 0.7;

/// Time between overlay updates that is reckoned with, in seconds.
const UPDATE_S: f64 = 0.2;

/// What the flight is to be like.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanWish {
    /// Throttle steps in per cent.
    pub steps_percent: Vec<f64>,
    /// Half the width of the 95 % interval wanted of each step's airspeed, in m/s.
    pub half_width_mps: f64,
    /// Airspeed at full throttle in m/s, where no former flight tells it.
    pub full_throttle_mps: Option<f64>,
    /// Wind in m/s.
    pub wind_mps: Option<f64>,
    /// Standard deviation of the gusts in m/s; `None`: from a former flight or from the wind.
    pub gust_mps: Option<f64>,
    /// Length of the straight course in m.
    pub course_m: Option<f64>,
    /// Height above ground in m.
    pub height_m: f64,
    /// Step of the display in m/s.
    pub quantum_mps: f64,
    /// Seconds of a turn.
    pub turn_s: f64,
    /// Flying time of a pack, in seconds, launch and landing included.
    pub flight_s: Option<f64>,
    /// Energy of the pack in Wh and electrical power at full throttle in W.
    pub pack: Option<(f64, f64)>,
}

impl Default for PlanWish {
    fn default() -> Self {
        Self {
            steps_percent: vec![50.0, 60.0, 70.0, 80.0, 90.0, 100.0],
            half_width_mps: 0.5,
            full_throttle_mps: None,
            wind_mps: None,
            gust_mps: None,
            course_m: None,
            height_m: 30.0,
            quantum_mps: 0.5,
            turn_s: 5.0,
            flight_s: None,
            pack: None,
        }
    }
}

/// Why no card can be made; each says what to tell.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum PlanError {
    /// A throttle that is none, or none at all.
    #[error(
        "--steps: give throttle steps above 0 and up to 100 per cent, each once, such as 50,60,70,80,90,100"
    )]
    Steps,
    /// More steps than fit a card.
    #[error("--steps: {0} steps are more than a card holds: give at most 20")]
    TooManySteps(usize),
    /// A number that must be above 0.
    #[error("{option} {value}: it must be above 0")]
    NotPositive {
        /// The option.
        option: &'static str,
        /// Its value as taken, in SI units.
        value: f64,
    },
    /// A number that must not be below 0.
    #[error("{option} {value}: it must not be below 0")]
    Negative {
        /// The option.
        option: &'static str,
        /// Its value as taken, in SI units.
        value: f64,
    },
    /// The speed is not known.
    #[error(
        "the speed to expect is not known: tell it with --top-speed, or give a former result with --from whose \
         throttle is known"
    )]
    NoSpeed,
    /// The wind is not known.
    #[error(
        "the wind to expect is not known: tell it with --wind, such as --wind \"5 mph\", or give a former result with --from"
    )]
    NoWind,
    /// A step is slower than the wind.
    #[error(
        "at {throttle_percent} % the aircraft would not get ahead against the wind: leave that step out, or wait for less wind"
    )]
    SlowerThanWind {
        /// The step.
        throttle_percent: f64,
    },
}

/// One throttle step of the card.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PlannedStep {
    /// Throttle in per cent.
    pub throttle_percent: f64,
    /// Airspeed to expect, in m/s.
    pub airspeed_mps: f64,
    /// Seconds of straight flight upwind, settling included.
    pub upwind_s: f64,
    /// Seconds of straight flight downwind, settling included.
    pub downwind_s: f64,
    /// Pairs of legs.
    pub pairs: u32,
    /// Pairs that would do for this step by itself; `None` where no number does.
    pub pairs_needed: Option<u32>,
    /// Half the width of the 95 % interval to expect, in m/s.
    pub half_width_mps: f64,
}

/// One pair of legs to fly.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PlannedRun {
    /// Number of the flight, each on a full pack, from 1.
    pub flight: u32,
    /// Number of the run, from 1.
    pub run: u32,
    /// Throttle in per cent.
    pub throttle_percent: f64,
}

/// The card.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TestCard {
    /// The steps, in ascending order of throttle.
    pub steps: Vec<PlannedStep>,
    /// The runs, in the order to fly them.
    pub runs: Vec<PlannedRun>,
    /// Flights, each on a full pack.
    pub flights: u32,
    /// Flying time of the longest flight in seconds, launch and landing included.
    pub flight_s: f64,
    /// Energy of the longest flight in Wh, where it could be reckoned.
    pub flight_wh: Option<f64>,
    /// Half the width of the interval wanted, in m/s.
    pub wanted_half_width_mps: f64,
    /// Wind reckoned with, in m/s.
    pub wind_mps: f64,
    /// Gusts reckoned with: standard deviation in m/s.
    pub gust_mps: f64,
    /// How far throttle and order go together within a flight: 0 not at all, 1 wholly.
    pub throttle_order_correlation: f64,
    /// What was assumed, a sentence each.
    pub assumptions: Vec<String>,
    /// What to mind, a sentence each.
    pub notes: Vec<String>,
}

/// Standard deviation of the gusts along the flight and their scale, for a wind at 20 ft and a height:
/// `sigma_u = 0.1 W20 / (0.177 + 0.000823 h)^0.4`, `L_u = h / (0.177 + 0.000823 h)^1.2` with the height in
/// feet, below 1000 ft (MIL-F-8785C, low-altitude Dryden model). In m/s and m.
#[must_use]
pub fn dryden(wind_mps: f64, height_m: f64) -> (f64, f64) {
    let height_ft = (height_m / 0.3048).clamp(10.0, 1000.0);
    let base = 0.177 + 0.000_823 * height_ft;
    (0.1 * wind_mps / base.powf(0.4), 0.3048 * height_ft / base.powf(1.2))
}

/// Makes the card.
///
/// The airspeed of a pair is the mean of two legs. Its uncertainty is made of gusts that the legs are too
/// short to average out, rounding, the receiver and a wind that changes between the legs, as for a flight
/// that was read; repeating shrinks all but the rounding that all legs share. Every step is flown in every
/// pass; a pass is flown there and back in its order, so that a falling voltage falls on all steps alike
/// (mirrored, counterbalanced order).
///
/// # Errors
/// [`PlanError`] says what to tell or to change.
pub fn plan(wish: &PlanWish, former: Option<&FlownFlight>) -> Result<TestCard, PlanError> {
    let mut wish = wish.clone();
    wish.steps_percent.sort_by(f64::total_cmp);
    check(&wish)?;
    let mut assumptions = Vec::new();
    let speeds = speeds(&wish, former, &mut assumptions)?;
    let wind = wind(&wish, former, &mut assumptions)?;
    let outlook = Outlook::of(&wish, former, wind, &mut assumptions);
    let legs = legs(&wish, &speeds, wind)?;
    let needed: Vec<Option<u32>> = legs
        .iter()
        .map(|leg| {
            (1..=MOST_PASSES).find(|pairs| outlook.half_width(leg, &legs, *pairs) <= wish.half_width_mps)
        })
        .collect();
    let passes = passes(&needed);
    let budget = Budget::of(&wish, &legs);
    let flights = budget.flights(passes);
    let runs = runs(&wish.steps_percent, &flights);
    let steps: Vec<PlannedStep> = legs
        .iter()
        .zip(&needed)
        .map(|(leg, needed)| PlannedStep {
            throttle_percent: leg.throttle_percent,
            airspeed_mps: leg.airspeed_mps,
            upwind_s: leg.upwind_s,
            downwind_s: leg.downwind_s,
            pairs: passes,
            pairs_needed: *needed,
            half_width_mps: outlook.half_width(leg, &legs, passes),
        })
        .collect();
    let longest = flights.iter().copied().max().unwrap_or(1);
    Ok(TestCard {
        notes: notes(&wish, &steps, &budget, wind),
        throttle_order_correlation: worst_correlation(&runs),
        runs,
        flights: flights.len() as u32,
        flight_s: OVERHEAD_S + f64::from(longest) * budget.pass_s,
        flight_wh: budget.pass_wh.map(|wh| budget.overhead_wh + f64::from(longest) * wh),
        wanted_half_width_mps: wish.half_width_mps,
        wind_mps: wind,
        gust_mps: outlook.gust_mps,
        steps,
        assumptions,
    })
}

/// Passes over all steps: what the most demanding step needs. An odd number would not be mirrored, except
/// where one is enough; where no number does, a few, since more would bring little.
fn passes(needed: &[Option<u32>]) -> u32 {
    let all: Option<Vec<u32>> = needed.iter().copied().collect();
    match all.and_then(|all| all.into_iter().max()) {
        Some(1) => 1,
        Some(most) => most + most % 2,
        None => PASSES_OUT_OF_REACH,
    }
}

fn check(wish: &PlanWish) -> Result<(), PlanError> {
    let steps = &wish.steps_percent;
    let sound = steps.iter().all(|step| *step > 0.0 && *step <= 100.0);
    if steps.is_empty() || !sound || steps.windows(2).any(|two| two[0] == two[1]) {
        return Err(PlanError::Steps);
    }
    if steps.len() > 20 {
        return Err(PlanError::TooManySteps(steps.len()));
    }
    let above_zero = [
        ("--within", Some(wish.half_width_mps)),
        ("--top-speed", wish.full_throttle_mps),
        ("--course", wish.course_m),
        ("--minutes", wish.flight_s),
        ("--pack-wh", wish.pack.map(|pack| pack.0)),
        ("--full-power-w", wish.pack.map(|pack| pack.1)),
        ("--height", Some(wish.height_m)),
    ];
    let wrong = |value: f64| !(value.is_finite() && value > 0.0);
    for (option, value) in above_zero {
        if let Some(value) = value.filter(|value| wrong(*value)) {
            return Err(PlanError::NotPositive { option, value });
        }
    }
    for (option, value) in
        [("--wind", wish.wind_mps), ("--gusts", wish.gust_mps), ("--turn-s", Some(wish.turn_s))]
    {
        if let Some(value) = value.filter(|value| !(value.is_finite() && *value >= 0.0)) {
            return Err(PlanError::Negative { option, value });
        }
    }
    Ok(())
}

/// The airspeed to expect at each step: told, or from the former flight's curve, or its steps.
fn speeds(
    wish: &PlanWish,
    former: Option<&FlownFlight>,
    said: &mut Vec<String>,
) -> Result<Vec<f64>, PlanError> {
    if let Some(full) = wish.full_throttle_mps {
        said.push(format!(
            "Speeds below full throttle go with throttle to the power {ASSUMED_EXPONENT} (assumed)."
        ));
        return Ok(wish
            .steps_percent
            .iter()
            .map(|step| full * (step / 100.0).powf(ASSUMED_EXPONENT))
            .collect());
    }
    let points: Vec<_> =
        former.iter().flat_map(|flight| &flight.steps).filter_map(super::flown::FlownStep::point).collect();
    if let Some(curve) = SpeedCurve::of(&points) {
        said.push("Speeds come from the curve through the former flight's steps.".to_owned());
        return Ok(wish.steps_percent.iter().map(|step| curve.at(*step).0).collect());
    }
    let one = points.first().ok_or(PlanError::NoSpeed)?;
    said.push(format!(
        "Speeds come from the former flight's only step and go with throttle to the power {ASSUMED_EXPONENT} (assumed)."
    ));
    let speed = |step: &f64| one.airspeed_mps * (step / one.throttle_percent).powf(ASSUMED_EXPONENT);
    Ok(wish.steps_percent.iter().map(speed).collect())
}

fn wind(wish: &PlanWish, former: Option<&FlownFlight>, said: &mut Vec<String>) -> Result<f64, PlanError> {
    if let Some(wind) = wish.wind_mps {
        return Ok(wind);
    }
    let winds: Vec<f64> =
        former.iter().flat_map(|flight| &flight.steps).map(|step| step.wind_mps.abs()).collect();
    said.push("The wind is that of the former flight.".to_owned());
    median(&winds).ok_or(PlanError::NoWind)
}

/// The legs of one step.
struct StepLegs {
    throttle_percent: f64,
    airspeed_mps: f64,
    upwind_s: f64,
    downwind_s: f64,
}

impl StepLegs {
    fn steady_s(&self) -> [f64; 2] {
        [self.upwind_s, self.downwind_s].map(|leg_s| (leg_s - SETTLE_S).max(UPDATE_S))
    }
}

fn legs(wish: &PlanWish, speeds: &[f64], wind: f64) -> Result<Vec<StepLegs>, PlanError> {
    wish.steps_percent
        .iter()
        .zip(speeds)
        .map(|(throttle_percent, airspeed_mps)| {
            if *airspeed_mps <= wind * 1.1 {
                return Err(PlanError::SlowerThanWind { throttle_percent: *throttle_percent });
            }
            let seconds =
                |ground_mps: f64| wish.course_m.map_or(USUAL_LEG_S, |course_m| course_m / ground_mps);
            Ok(StepLegs {
                throttle_percent: *throttle_percent,
                airspeed_mps: *airspeed_mps,
                upwind_s: seconds(airspeed_mps - wind),
                downwind_s: seconds(airspeed_mps + wind),
            })
        })
        .collect()
}

/// What makes airspeeds uncertain on the day.
struct Outlook {
    gust_mps: f64,
    gust_scale_m: f64,
    wind_mps: f64,
    quantum_mps: f64,
}

impl Outlook {
    fn of(wish: &PlanWish, former: Option<&FlownFlight>, wind_mps: f64, said: &mut Vec<String>) -> Self {
        let (expected, gust_scale_m) = dryden(wind_mps, wish.height_m);
        let mut outlook = Self { gust_mps: expected, gust_scale_m, wind_mps, quantum_mps: wish.quantum_mps };
        if let Some(gust) = wish.gust_mps {
            outlook.gust_mps = gust;
        } else if let Some(gust) = former.and_then(|flight| outlook.gust_of(flight)) {
            outlook.gust_mps = gust;
            said.push("The gusts are those of the former flight.".to_owned());
        } else {
            said.push("The gusts are those usual over open ground in this wind (MIL-F-8785C).".to_owned());
        }
        outlook
    }

    /// Independent looks at the gusts in a stretch, as for legs that were read.
    fn looks(&self, steady_s: f64, airspeed_mps: f64) -> f64 {
        let memory = (-UPDATE_S * airspeed_mps / self.gust_scale_m).exp();
        effective_count(steady_s / UPDATE_S, memory)
    }

    /// Variance of a pair's airspeed that gusts do not account for.
    fn other_variance(&self) -> f64 {
        let rounding = self.quantum_mps.powi(2) / 12.0 / 2.0;
        rounding + RECEIVER_MPS.powi(2) / 2.0 + (ASSUMED_DRIFT_SHARE * self.wind_mps / 2.0).powi(2)
    }

    /// The gusts that explain the former flight's uncertainties.
    fn gust_of(&self, flight: &FlownFlight) -> Option<f64> {
        let steady_s = flight.leg_s?;
        let squares: Vec<f64> = flight
            .steps
            .iter()
            .map(|step| {
                let of_pair = step.uncertainty_mps.powi(2) * step.pairs as f64;
                (of_pair - self.other_variance()).max(0.0) * 2.0 * self.looks(steady_s, step.airspeed_mps)
            })
            .collect();
        mean(&squares).map(f64::sqrt).filter(|gust| gust.is_finite())
    }

    /// Half the width of the 95 % interval after so many pairs of every step.
    fn half_width(&self, leg: &StepLegs, all: &[StepLegs], pairs: u32) -> f64 {
        let count = f64::from(pairs);
        let of_leg = |steady_s: f64| self.gust_mps.powi(2) / self.looks(steady_s, leg.airspeed_mps);
        let [up, down] = leg.steady_s();
        let own = (of_leg(up) + of_leg(down)) / 4.0 + self.other_variance();
        let shared = self.quantum_mps.powi(2) / 24.0;
        let looks = |leg: &StepLegs| {
            leg.steady_s().iter().map(|s| self.looks(*s, leg.airspeed_mps) - 1.0).sum::<f64>()
        };
        // What is known of the gusts is pooled over all legs; 3 is what the expectation is worth.
        let freedom = 3.0 + count * all.iter().map(looks).sum::<f64>();
        coverage_factor(0.95, freedom) * (own / count + shared).sqrt()
    }
}

/// Time and energy of a pass over all steps, and what a flight has of both.
struct Budget {
    pass_s: f64,
    pass_wh: Option<f64>,
    overhead_wh: f64,
    /// Passes a flight can hold; `None` without a limit.
    passes_a_flight: Option<u32>,
}

impl Budget {
    fn of(wish: &PlanWish, legs: &[StepLegs]) -> Self {
        let run_s = |leg: &StepLegs| leg.upwind_s + leg.downwind_s + 2.0 * wish.turn_s;
        let pass_s: f64 = legs.iter().map(run_s).sum();
        let fastest =
            legs.iter().map(|leg| leg.airspeed_mps / (leg.throttle_percent / 100.0).powf(ASSUMED_EXPONENT));
        let full = fastest.fold(0.0, f64::max);
        // Power goes with the cube of the speed while drag goes with its square.
        let energy = |full_w: f64| {
            legs.iter().map(|leg| full_w * (leg.airspeed_mps / full).powi(3) * run_s(leg)).sum::<f64>()
                / 3600.0
        };
        let pass_wh = wish.pack.map(|(_, full_w)| energy(full_w));
        let overhead_wh = wish.pack.map_or(0.0, |(_, full_w)| full_w * 0.5 * OVERHEAD_S / 3600.0);
        let by_time = wish.flight_s.map(|flight_s| (flight_s - OVERHEAD_S) / pass_s);
        let by_energy = wish
            .pack
            .zip(pass_wh)
            .map(|((pack_wh, _), pass_wh)| (USABLE_SHARE * pack_wh - overhead_wh) / pass_wh);
        let least = [by_time, by_energy].into_iter().flatten().reduce(f64::min);
        Self {
            pass_s,
            pass_wh,
            overhead_wh,
            passes_a_flight: least.map(|passes| passes.clamp(0.0, 1e6) as u32),
        }
    }

    /// Passes in each flight; a flight has an even number of them where it can.
    fn flights(&self, passes: u32) -> Vec<u32> {
        let most = self.passes_a_flight.unwrap_or(passes).max(1);
        let each = if most > 1 && passes > 1 { most - most % 2 } else { 1 };
        let mut left = passes;
        let mut flights = Vec::new();
        while left > 0 {
            let now = left.min(each);
            flights.push(now);
            left -= now;
        }
        flights
    }
}

/// The runs of all flights: passes in a balanced order, every other one backwards.
fn runs(steps: &[f64], flights: &[u32]) -> Vec<PlannedRun> {
    let order = balanced_order(steps);
    let mut runs = Vec::new();
    let mut pass = 0;
    for (flight, passes) in (1..).zip(flights) {
        for _ in 0..*passes {
            let mut throttles = order.clone();
            if pass % 2 == 1 {
                throttles.reverse();
            }
            pass += 1;
            for throttle_percent in throttles {
                runs.push(PlannedRun { flight, run: runs.len() as u32 + 1, throttle_percent });
            }
        }
    }
    runs
}

/// The order of the steps in which throttle has the least to do with the time of flying, so that even a
/// single pass does not take a falling voltage for throttle: from the middle of the list outwards,
/// improved by exchanging two steps as long as that lessens the correlation.
#[must_use]
pub fn balanced_order(steps: &[f64]) -> Vec<f64> {
    let mut order = Vec::with_capacity(steps.len());
    for place in 0..steps.len() {
        let index = if place % 2 == 0 { place / 2 } else { steps.len() - 1 - place / 2 };
        order.extend(steps.get(index));
    }
    let mut least = order_correlation(&order);
    loop {
        let mut exchanged = None;
        for one in 0..order.len() {
            for other in one + 1..order.len() {
                order.swap(one, other);
                let now = order_correlation(&order);
                if now < least - 1e-9 {
                    (least, exchanged) = (now, Some((one, other)));
                }
                order.swap(one, other);
            }
        }
        match exchanged {
            Some((one, other)) => order.swap(one, other),
            None => return order,
        }
    }
}

/// How far numbers go with their places: the size of the correlation coefficient; 0 where it is not defined.
fn order_correlation(numbers: &[f64]) -> f64 {
    let places: Vec<f64> = (0..numbers.len()).map(|place| place as f64).collect();
    let (Some(place), Some(number)) = (mean(&places), mean(numbers)) else { return 0.0 };
    let apart: Vec<(f64, f64)> = places.iter().zip(numbers).map(|(p, n)| (p - place, n - number)).collect();
    let sum = |of: fn(&(f64, f64)) -> f64| apart.iter().map(of).sum::<f64>();
    let spread = (sum(|(p, _)| p * p) * sum(|(_, n)| n * n)).sqrt();
    if spread > 0.0 { (sum(|(p, n)| p * n) / spread).abs() } else { 0.0 }
}

fn worst_correlation(runs: &[PlannedRun]) -> f64 {
    runs.chunk_by(|one, next| one.flight == next.flight)
        .map(|flight| order_correlation(&flight.iter().map(|run| run.throttle_percent).collect::<Vec<f64>>()))
        .fold(0.0, f64::max)
}

fn notes(wish: &PlanWish, steps: &[PlannedStep], budget: &Budget, wind: f64) -> Vec<String> {
    let mut notes = Vec::new();
    let short: Vec<String> = steps
        .iter()
        .filter(|step| step.downwind_s - SETTLE_S < LEAST_STEADY_S)
        .map(|step| format!("{:.0} %", step.throttle_percent))
        .collect();
    if !short.is_empty() {
        notes.push(format!(
            "The course is too short for {}: less than {LEAST_STEADY_S:.0} s of steady flight downwind. Lengthen it or leave those steps out.",
            short.join(", ")
        ));
    }
    if steps.iter().any(|step| step.pairs_needed.is_none()) {
        notes.push(format!(
            "The interval wanted is out of reach in this air, even with {MOST_PASSES} pairs a step: wait for less wind, lengthen the course, or be content with the interval stated."
        ));
    }
    if budget.passes_a_flight == Some(0) {
        notes.push(
            "One pass over all steps does not fit into the time or the pack told: plan fewer steps or a shorter course."
                .to_owned(),
        );
    }
    if wish.pack.is_none() {
        notes.push(
            "Energy was not reckoned: tell --pack-wh and --full-power-w, or land on your usual timer."
                .to_owned(),
        );
    }
    if wish.flight_s.is_none() {
        notes.push(
            "No limit of time was told (--minutes): do not fly longer than your pack allows.".to_owned(),
        );
    }
    if steps.iter().any(|step| wind > 0.3 * step.airspeed_mps) {
        notes.push(
            "The wind is above three tenths of the airspeed: a crosswind then makes airspeeds read low. Fly the course along the wind or wait."
                .to_owned(),
        );
    }
    notes
}
