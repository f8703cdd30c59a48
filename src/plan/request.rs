//! The pilot's request for the next flight, and the reasons why a request cannot be planned.

use std::fmt;

use thiserror::Error;

use crate::model::units::Unit;

/// Time after a turn until the speed is steady, in seconds; this part of a leg is not evaluated (common
/// practice, no source).
pub const SETTLE_S: f64 = 2.0;

/// Largest number of throttle steps: more do not fit on one printed page (set by judgement).
const MAX_STEPS: usize = 20;

/// The pilot's request for the next flight.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanRequest {
    /// Throttle steps in per cent.
    pub steps_percent: Vec<f64>,
    /// Wanted half-width of the 95 % interval of each step's airspeed, in m/s.
    pub half_width_mps: f64,
    /// Airspeed at full throttle in m/s; `None` if it is to be taken from an earlier flight.
    pub full_throttle_mps: Option<f64>,
    /// Wind speed in m/s; `None` if it is to be taken from an earlier flight.
    pub wind_mps: Option<f64>,
    /// Standard deviation of the gusts in m/s; `None` if it is to be taken from an earlier flight or derived
    /// from the wind.
    pub gust_mps: Option<f64>,
    /// Length of the straight course in metres; `None` for legs of the usual duration.
    pub course_m: Option<f64>,
    /// Height above the ground in metres.
    pub height_m: f64,
    /// Display step of the speed, in m/s.
    pub quantum_mps: f64,
    /// Duration of a turn in seconds.
    pub turn_s: f64,
    /// Flying time of a battery in seconds, launch and landing included; `None` for no limit.
    pub flight_s: Option<f64>,
    /// The battery; `None` if the energy is not to be calculated.
    pub pack: Option<Pack>,
}

/// Energy and power of the battery.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pack {
    /// Energy of the charged battery in Wh.
    pub energy_wh: f64,
    /// Electrical power at full throttle in W.
    pub full_power_w: f64,
}

impl Default for PlanRequest {
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

/// Half-width of the 95 % interval that a plan aims for if the pilot wants no other, as text with a unit, such
/// as `2 km/h`.
#[must_use]
pub fn usual_half_width(unit: Unit) -> &'static str {
    match unit {
        Unit::MilesPerHour => "1 mph",
        Unit::Knots => "1 kn",
        Unit::MetresPerSecond => "0.5 m/s",
        _ => "2 km/h",
    }
}

/// A quantity that a [`PlanRequest`] contains.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PlanQuantity {
    /// Wanted half-width of the interval.
    HalfWidth,
    /// Airspeed at full throttle.
    TopSpeed,
    /// Wind speed.
    Wind,
    /// Standard deviation of the gusts.
    Gusts,
    /// Length of the course.
    Course,
    /// Height above the ground.
    Height,
    /// Duration of a turn.
    Turn,
    /// Flying time of a battery.
    FlightTime,
    /// Energy of the battery.
    PackEnergy,
    /// Power at full throttle.
    FullPower,
}

impl PlanQuantity {
    fn unit(self) -> &'static str {
        match self {
            Self::HalfWidth | Self::TopSpeed | Self::Wind | Self::Gusts => "m/s",
            Self::Course | Self::Height => "m",
            Self::Turn | Self::FlightTime => "s",
            Self::PackEnergy => "Wh",
            Self::FullPower => "W",
        }
    }
}

impl fmt::Display for PlanQuantity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::HalfWidth => "half-width of the interval",
            Self::TopSpeed => "airspeed at full throttle",
            Self::Wind => "wind",
            Self::Gusts => "gusts",
            Self::Course => "length of the course",
            Self::Height => "height",
            Self::Turn => "duration of a turn",
            Self::FlightTime => "flying time",
            Self::PackEnergy => "energy of the battery",
            Self::FullPower => "power at full throttle",
        })
    }
}

/// Why a request cannot be planned.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum PlanError {
    /// There is no throttle step, a step is out of range, or a step occurs twice.
    #[error("give throttle steps above 0 and up to 100 per cent, each once, such as 50,60,70,80,90,100")]
    Steps,
    /// There are more steps than fit on a card.
    #[error("{0} throttle steps are more than fit on a card: give at most {MAX_STEPS}")]
    TooManySteps(usize),
    /// A quantity that must be above 0 is 0, negative or not finite.
    #[error("{quantity} is {value} {}, but must be above 0", quantity.unit())]
    NotPositive {
        /// The quantity with the wrong value.
        quantity: PlanQuantity,
        /// Value of the quantity in SI units; an energy in Wh.
        value: f64,
    },
    /// A quantity that must be 0 or above is negative or not finite.
    #[error("{quantity} is {value} {}, but must not be below 0", quantity.unit())]
    Negative {
        /// The quantity with the wrong value.
        quantity: PlanQuantity,
        /// Value of the quantity, in SI units.
        value: f64,
    },
    /// The expected airspeed is neither given nor known from an earlier flight.
    #[error(
        "the expected airspeed is not known: give the airspeed at full throttle, or the results of an earlier flight \
         whose throttle is known"
    )]
    NoSpeed,
    /// The expected wind is neither given nor known from an earlier flight.
    #[error("the expected wind is not known: give it, such as 5 mph, or the results of an earlier flight")]
    NoWind,
    /// The downwind leg of a step ends before the speed is steady.
    #[error(
        "a course of {course_m:.0} m ({:.0} ft) is too short: at {throttle_percent} % the downwind leg takes {leg_s:.1} s, \
         but the speed needs {SETTLE_S:.0} s to become steady: give a course of {needed_m:.0} m ({:.0} ft) or more",
        feet(*course_m), feet(*needed_m)
    )]
    NoSteadyFlight {
        /// Length of the course in metres.
        course_m: f64,
        /// The fastest throttle step, in per cent.
        throttle_percent: f64,
        /// Duration of the downwind leg of that step, in seconds.
        leg_s: f64,
        /// Length of the shortest course that suits all steps, in metres.
        needed_m: f64,
    },
    /// The airspeed of a step is not higher than the wind.
    #[error(
        "at {throttle_percent} % the aircraft would not make headway against the wind: leave that step out, or wait for \
         less wind"
    )]
    SlowerThanWind {
        /// The throttle step that is too slow, in per cent.
        throttle_percent: f64,
    },
}

fn feet(length_m: f64) -> f64 {
    length_m / Unit::Feet.si_per_unit()
}

/// Checks a request whose throttle steps are in ascending order.
pub(super) fn check(request: &PlanRequest) -> Result<(), PlanError> {
    let steps = &request.steps_percent;
    let in_range = steps.iter().all(|step| *step > 0.0 && *step <= 100.0);
    if steps.is_empty() || !in_range || steps.windows(2).any(|two| two[0] == two[1]) {
        return Err(PlanError::Steps);
    }
    if steps.len() > MAX_STEPS {
        return Err(PlanError::TooManySteps(steps.len()));
    }
    let positive = [
        (PlanQuantity::HalfWidth, Some(request.half_width_mps)),
        (PlanQuantity::TopSpeed, request.full_throttle_mps),
        (PlanQuantity::Course, request.course_m),
        (PlanQuantity::FlightTime, request.flight_s),
        (PlanQuantity::PackEnergy, request.pack.map(|pack| pack.energy_wh)),
        (PlanQuantity::FullPower, request.pack.map(|pack| pack.full_power_w)),
        (PlanQuantity::Height, Some(request.height_m)),
    ];
    for (quantity, value) in positive {
        if let Some(value) = value.filter(|value| !(value.is_finite() && *value > 0.0)) {
            return Err(PlanError::NotPositive { quantity, value });
        }
    }
    let not_negative = [
        (PlanQuantity::Wind, request.wind_mps),
        (PlanQuantity::Gusts, request.gust_mps),
        (PlanQuantity::Turn, Some(request.turn_s)),
    ];
    for (quantity, value) in not_negative {
        if let Some(value) = value.filter(|value| !(value.is_finite() && *value >= 0.0)) {
            return Err(PlanError::Negative { quantity, value });
        }
    }
    Ok(())
}
