//! Simulates the flight, which gives the truth about a clip.

mod gusts;
mod motion;
mod pack;
mod receiver;
mod timeline;

pub use gusts::GustStrength;
pub use receiver::Fix;

use crate::scenario::{LegKind, Scenario};
use motion::{Aircraft, STEP_S};
use timeline::{Motion, Segment};

/// The aircraft's state at one time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    /// Seconds from the start of the flight.
    pub time_s: f64,
    /// True airspeed in metres per second.
    pub true_airspeed_mps: f64,
    /// The airspeed towards which the airspeed tends at this throttle and voltage, in metres per second; lower in turns
    /// and during the landing.
    pub steady_airspeed_mps: f64,
    /// Ground speed in metres per second.
    pub ground_speed_mps: f64,
    /// Direction of the nose, in degrees clockwise from true north.
    pub heading_deg: f64,
    /// Direction over the ground, in degrees clockwise from true north.
    pub track_deg: f64,
    /// Bank angle in degrees, right wing down positive.
    pub roll_deg: f64,
    /// Climb angle in degrees, up positive.
    pub pitch_deg: f64,
    /// Throttle in percent.
    pub throttle_percent: f64,
    /// Current in amperes.
    pub current_a: f64,
    /// Pack voltage in volts.
    pub voltage_v: f64,
    /// Charge used since the start, in ampere hours.
    pub used_ah: f64,
    /// Height above the field in metres.
    pub height_m: f64,
    /// Position east and north of the starting point, in metres.
    pub position_m: [f64; 2],
}

/// A leg as flown.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Leg {
    /// Start of the straight flight, in seconds from the start of the flight.
    pub start_s: f64,
    /// End of the straight flight, in seconds from the start of the flight.
    pub end_s: f64,
    /// Direction of the leg: upwind or downwind.
    pub kind: LegKind,
    /// Throttle in percent.
    pub throttle_percent: f64,
    /// Mean ground speed over the second half of the leg, in metres per second.
    pub ground_speed_mps: f64,
}

/// A throttle step as flown.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// Throttle in percent.
    pub throttle_percent: f64,
    /// The airspeed at which the aircraft settles at this throttle in level straight flight, averaged over
    /// the step's legs, in m/s.
    pub true_airspeed_mps: f64,
    /// Mean true airspeed over the second halves of the step's legs, gusts included, in m/s.
    pub flown_airspeed_mps: f64,
}

/// A simulated flight.
#[derive(Debug, Clone, PartialEq)]
pub struct Truth {
    /// The states, one every 0.02 s from time 0.
    pub samples: Vec<Sample>,
    /// The satellite receiver's reports.
    pub fixes: Vec<Fix>,
    /// The legs in the order flown.
    pub legs: Vec<Leg>,
    /// The throttle steps in the order flown; a leg without partner is not a step.
    pub steps: Vec<Step>,
}

impl Truth {
    /// Length of the flight in seconds.
    #[must_use]
    pub fn length_s(&self) -> f64 {
        self.samples.len() as f64 * STEP_S
    }

    /// The state at a time in seconds. For a time outside the flight it is the first or the last state;
    /// `None` for an empty flight.
    #[must_use]
    pub fn sample_at(&self, time_s: f64) -> Option<&Sample> {
        let index = (time_s / STEP_S).floor().max(0.0) as usize;
        self.samples.get(index).or(self.samples.last())
    }

    /// The receiver's latest report at a time in seconds; `None` if there is none.
    #[must_use]
    pub fn fix_at(&self, time_s: f64) -> Option<&Fix> {
        let later = self.fixes.partition_point(|fix| fix.time_s <= time_s + 1e-9);
        self.fixes.get(later.saturating_sub(1))
    }
}

/// Simulates the flight of a scenario.
#[must_use]
pub fn simulate(scenario: &Scenario) -> Truth {
    let segments = timeline::segments(scenario);
    let samples = fly(scenario, &segments);
    let fixes = receiver::fixes(scenario, &samples);
    let legs: Vec<Leg> = segments.iter().filter_map(|segment| leg(segment, &samples)).collect();
    let steps = steps(scenario, &legs, &samples);
    Truth { samples, fixes, legs, steps }
}

fn fly(scenario: &Scenario, segments: &[Segment]) -> Vec<Sample> {
    let mut flyer = Aircraft::new(scenario, segments.first());
    let mut samples = Vec::new();
    for segment in segments {
        flyer.enter(segment);
        loop {
            let time_s = samples.len() as f64 * STEP_S;
            if time_s >= segment.end_s {
                break;
            }
            samples.push(flyer.step(segment, time_s));
        }
    }
    samples
}

fn leg(segment: &Segment, samples: &[Sample]) -> Option<Leg> {
    let Motion::Straight { kind, leg: true } = segment.motion else { return None };
    let (start_s, end_s) = (segment.start_s, segment.end_s);
    let settled = within(samples, (start_s + end_s) / 2.0, end_s);
    Some(Leg {
        start_s,
        end_s,
        kind,
        throttle_percent: segment.throttle_percent,
        ground_speed_mps: mean(settled, |sample| sample.ground_speed_mps),
    })
}

fn steps(scenario: &Scenario, legs: &[Leg], samples: &[Sample]) -> Vec<Step> {
    let plan = &scenario.flight;
    let of_steps = legs.chunks(plan.legs_per_step.max(1));
    plan.throttle_percent
        .iter()
        .zip(of_steps)
        .map(|(&throttle_percent, legs)| {
            let over = |start: fn(&Leg) -> f64, value: fn(&Sample) -> f64| {
                let means = legs.iter().map(|leg| mean(within(samples, start(leg), leg.end_s), value));
                means.sum::<f64>() / legs.len() as f64
            };
            Step {
                throttle_percent,
                true_airspeed_mps: over(|leg| leg.start_s, |sample| sample.steady_airspeed_mps),
                flown_airspeed_mps: over(
                    |leg| (leg.start_s + leg.end_s) / 2.0,
                    |sample| sample.true_airspeed_mps,
                ),
            }
        })
        .collect()
}

fn within(samples: &[Sample], start_s: f64, end_s: f64) -> &[Sample] {
    let index = |time_s: f64| samples.partition_point(|sample| sample.time_s < time_s);
    &samples[index(start_s)..index(end_s)]
}

fn mean(samples: &[Sample], value: impl Fn(&Sample) -> f64) -> f64 {
    samples.iter().map(value).sum::<f64>() / samples.len().max(1) as f64
}
