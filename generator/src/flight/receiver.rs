//! Reports of the satellite receiver during the flight.

use rand::RngExt;

use super::Sample;
use super::motion::STEP_S;
use crate::random::{Purpose, Wander, normal, stream};
use crate::scenario::Scenario;

/// One position fix.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fix {
    /// Time at which the report arrived, in seconds from the start of the flight.
    pub time_s: f64,
    /// Ground speed in metres per second, with filter and noise of the receiver.
    pub speed_mps: f64,
    /// Height above the field in metres.
    pub height_m: f64,
    /// Course over the ground, in degrees clockwise from true north.
    pub track_deg: f64,
    /// Number of satellites used.
    pub satellites: u32,
}

/// Mean time between changes of the number of satellites, in seconds (set by judgement).
const SATELLITE_CHANGE_S: f64 = 9.0;

/// The receiver's reports over the flight.
pub(super) fn fixes(scenario: &Scenario, samples: &[Sample]) -> Vec<Fix> {
    let receiver = &scenario.receiver;
    let mut random = stream(scenario.seed, Purpose::Receiver);
    let mut altitude_noise = Wander::new(receiver.altitude_noise_m, 8.0);
    let period_s = 1.0 / receiver.update_hz;
    let follow = if receiver.lag_s > 0.0 { 1.0 - (-STEP_S / receiver.lag_s).exp() } else { 1.0 };
    let [fewest, most] = receiver.satellites;
    let mut satellites = (fewest + most) / 2;
    let mut filtered = samples.first().map_or([0.0; 2], |first| [first.ground_speed_mps, first.height_m]);
    let mut fixes: Vec<Fix> = Vec::new();
    for sample in samples {
        filtered[0] += follow * (sample.ground_speed_mps - filtered[0]);
        filtered[1] += follow * (sample.height_m - filtered[1]);
        let due_s = fixes.len() as f64 * period_s;
        if sample.time_s + 1e-9 < due_s {
            continue;
        }
        if random.random_bool((period_s / SATELLITE_CHANGE_S).min(1.0)) {
            let next = if random.random_bool(0.5) { satellites + 1 } else { satellites.saturating_sub(1) };
            satellites = next.clamp(fewest.min(most), most.max(fewest));
        }
        let moving = if sample.ground_speed_mps > 0.5 { 1.0 } else { 0.3 };
        fixes.push(Fix {
            time_s: sample.time_s,
            speed_mps: (filtered[0] + moving * receiver.speed_noise_mps * normal(&mut random)).max(0.0),
            height_m: filtered[1] + altitude_noise.step(period_s, &mut random),
            track_deg: sample.track_deg,
            satellites,
        });
    }
    fixes
}
