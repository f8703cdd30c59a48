//! The test card of the next flight: how often and how long to fly each throttle step, and in which order.

mod budget;
mod order;
mod outlook;
mod shortfall;

use serde::Serialize;
use thiserror::Error;

use crate::model::units::Unit;
use crate::propulsion::{FlownStep, SpeedCurve};
use crate::stats::median;
use crate::summary::FlownFlight;

use budget::Budget;
use order::{runs, worst_correlation};
use outlook::Outlook;

pub use order::balanced_order;
pub use outlook::dryden;
pub use shortfall::Shortfall;

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

/// Half the width of the interval that is usually wanted, for speeds in this unit, as it is written.
#[must_use]
pub fn usual_half_width(unit: Unit) -> &'static str {
    match unit {
        Unit::MilesPerHour => "1 mph",
        Unit::Knots => "1 kn",
        Unit::MetresPerSecond => "0.5 m/s",
        _ => "2 km/h",
    }
}

/// Why no card can be made; each says what to tell.
#[derive(Debug, Clone, PartialEq, Error)]
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
    /// The course is over before the speed is steady.
    #[error(
        "--course {course_m:.0} m ({:.0} ft): at {throttle_percent} % it is flown downwind in {leg_s:.1} s, and the speed \
         takes {SETTLE_S:.0} s to be steady: give a course of {needed_m:.0} m ({:.0} ft) or more",
        feet(*course_m), feet(*needed_m)
    )]
    NoSteadyFlight {
        /// The course as told.
        course_m: f64,
        /// The step that passes it fastest.
        throttle_percent: f64,
        /// In that time, downwind.
        leg_s: f64,
        /// The shortest course that would do for all steps.
        needed_m: f64,
    },
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
    /// Half the width of the 95 % interval to expect, in m/s; `None` where the card cannot be flown or the
    /// legs are too short.
    pub half_width_mps: Option<f64>,
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
    /// What keeps the card from giving what is wanted: the first thing to know of it.
    pub shortfalls: Vec<Shortfall>,
    /// What was assumed, a sentence each.
    pub assumptions: Vec<String>,
    /// What to mind, a sentence each.
    pub notes: Vec<String>,
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
    check_course(&wish, &legs)?;
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
    let fits = budget.passes_a_flight != Some(0);
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
            half_width_mps: Some(outlook.half_width(leg, &legs, passes)).filter(|_| fits && !leg.is_short()),
        })
        .collect();
    let longest = flights.iter().copied().max().unwrap_or(1);
    Ok(TestCard {
        shortfalls: shortfall::shortfalls(&wish, &legs, &steps, &budget),
        notes: notes(&wish, &steps, wind),
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
        former.iter().flat_map(|flight| &flight.steps).filter_map(FlownStep::point).collect();
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

    /// Whether the leg downwind is too short to be one.
    fn is_short(&self) -> bool {
        self.downwind_s - SETTLE_S < LEAST_STEADY_S
    }
}

/// The shortest course that gives every step's leg downwind the least steady flight; whole tens of metres.
fn needed_course_m(wish: &PlanWish, legs: &[StepLegs]) -> f64 {
    let shortest_s = legs.iter().map(|leg| leg.downwind_s).fold(f64::INFINITY, f64::min);
    let course_m = wish.course_m.unwrap_or(0.0);
    10.0 * (course_m * (SETTLE_S + LEAST_STEADY_S) / shortest_s / 10.0).ceil()
}

fn check_course(wish: &PlanWish, legs: &[StepLegs]) -> Result<(), PlanError> {
    let fastest = legs.iter().min_by(|one, other| one.downwind_s.total_cmp(&other.downwind_s));
    let Some((course_m, fastest)) = wish.course_m.zip(fastest) else { return Ok(()) };
    if fastest.downwind_s > SETTLE_S {
        return Ok(());
    }
    Err(PlanError::NoSteadyFlight {
        course_m,
        throttle_percent: fastest.throttle_percent,
        leg_s: fastest.downwind_s,
        needed_m: needed_course_m(wish, legs),
    })
}

fn feet(length_m: f64) -> f64 {
    length_m / Unit::Feet.si_per_unit()
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

fn notes(wish: &PlanWish, steps: &[PlannedStep], wind: f64) -> Vec<String> {
    let mut notes = Vec::new();
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
