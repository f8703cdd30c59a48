//! Recordings that contain no legs.

use std::f64::consts::TAU;

use pairspeed::series::Readings;

use super::conditions::{Conditions, LegPlan, ThrottleReadout};
use super::random::{Random, Wandering};
use super::{GRAVITY, Instant, Manoeuvre, STEP_S, fly_plan, overlay, plan};

/// Kinds of recordings without legs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoFlight {
    /// A constant speed, without or with noise.
    ConstantSpeed,
    ConstantSpeedNoisy,
    /// Circles in the wind, 8 to 40 s each; no heading shown.
    Circling,
    /// A speed that follows a sine with a period of 20 to 120 s.
    SlowSine,
    RandomWalk,
    /// Two speeds in alternation, with a period of 1 to 6 s.
    Alternation,
    /// A speed that increases and decreases linearly for 20 to 90 s each.
    RampsLiveThrottle,
    RampsDeadThrottle,
    RampsNoThrottle,
    /// The aircraft stands while the throttle is moved.
    BenchRun,
    /// Hovering or walking about, up to 5 km/h.
    Hovering,
    /// Random turns, with straight flight for less than 3 s at a time.
    SportFlying,
}

impl NoFlight {
    pub const ALL: &[Self] = &[
        Self::ConstantSpeed,
        Self::ConstantSpeedNoisy,
        Self::Circling,
        Self::SlowSine,
        Self::RandomWalk,
        Self::Alternation,
        Self::RampsLiveThrottle,
        Self::RampsDeadThrottle,
        Self::RampsNoThrottle,
        Self::BenchRun,
        Self::Hovering,
        Self::SportFlying,
    ];
}

/// Readings of a recording of about 90 to 300 s without legs.
pub fn without_legs(kind: NoFlight, seed: u64) -> Readings {
    let mut conditions = Conditions::draw(seed, 0.0..9.0);
    let mut random = Random::new(seed ^ 0x0000_f1a7);
    let duration_s = random.uniform(90.0, 300.0);
    match kind {
        NoFlight::ConstantSpeed => conditions.noise_mps = 0.0,
        NoFlight::Circling => conditions.heading_shown = false,
        // The descent would be straight.
        NoFlight::SportFlying => conditions.ends_on_ground = false,
        NoFlight::RampsLiveThrottle | NoFlight::BenchRun => {
            conditions.throttle_readout = ThrottleReadout::Alive;
        }
        NoFlight::RampsDeadThrottle => conditions.throttle_readout = ThrottleReadout::Dead,
        NoFlight::RampsNoThrottle => conditions.throttle_readout = ThrottleReadout::Absent,
        _ => {}
    }
    let track = match kind {
        NoFlight::Circling => circling(&mut conditions, duration_s, &mut random),
        NoFlight::SportFlying => fly_plan(&conditions, &plan::sport_flying(&conditions, duration_s)).0,
        _ => along_track(&conditions, duration_s, course_of_speed(kind, &conditions, &mut random)),
    };
    overlay::read(&conditions, &track)
}

fn circling(conditions: &mut Conditions, duration_s: f64, random: &mut Random) -> Vec<Instant> {
    conditions.starts_on_ground = false;
    let airspeed_mps = random.uniform(12.0, 30.0);
    conditions.airspeeds_mps = vec![airspeed_mps];
    conditions.throttles_percent = vec![random.uniform(40.0, 100.0).round()];
    conditions.wind_mps = conditions.wind_mps.min(0.6 * airspeed_mps);
    let period_s = random.uniform(8.0, 40.0);
    let bank_rad = (TAU * airspeed_mps / (GRAVITY * period_s)).atan();
    let by_rad = random.sign() * TAU * duration_s / period_s;
    let start = Manoeuvre::Straight { end: LegPlan::TimeS(0.5), leg: None };
    fly_plan(conditions, &[start, Manoeuvre::Turn { by_rad, bank_rad }]).0
}

/// A flight along a straight track, given by its ground speed in m/s and throttle in per cent at each time.
fn along_track(
    conditions: &Conditions,
    duration_s: f64,
    mut speed_and_throttle: impl FnMut(f64) -> (f64, f64),
) -> Vec<Instant> {
    let instant = |step: usize| {
        let time_s = step as f64 * STEP_S;
        let (speed_mps, throttle_percent) = speed_and_throttle(time_s);
        let velocity_mps = [speed_mps.max(0.0), 0.0];
        let height_m = conditions.height_m;
        Instant { time_s, velocity_mps, throttle_percent, height_m, ..Instant::default() }
    };
    (0..(duration_s / STEP_S) as usize).map(instant).collect()
}

type SpeedAndThrottle = Box<dyn FnMut(f64) -> (f64, f64)>;

fn course_of_speed(kind: NoFlight, conditions: &Conditions, random: &mut Random) -> SpeedAndThrottle {
    let middle_mps = random.uniform(10.0, 40.0);
    let swing_mps = middle_mps * random.uniform(0.15, 0.7);
    let throttle_percent = random.uniform(30.0, 100.0).round();
    let ramp_s = random.uniform(20.0, 90.0);
    match kind {
        NoFlight::SlowSine => {
            let period_s = random.uniform(20.0, 120.0);
            Box::new(move |time_s| {
                (middle_mps + swing_mps * (TAU * time_s / period_s).sin(), throttle_percent)
            })
        }
        NoFlight::RandomWalk => {
            let mut own = Random::new(conditions.seed ^ 0x3a11);
            let mut speed_mps = middle_mps;
            let spread = random.uniform(0.3, 1.5) * STEP_S.sqrt();
            Box::new(move |_| {
                speed_mps = (speed_mps + spread * own.normal()).abs();
                (speed_mps, throttle_percent)
            })
        }
        NoFlight::Alternation => {
            let period_s = random.uniform(1.0, 6.0);
            Box::new(move |time_s| {
                let sign = if (time_s / period_s).fract() < 0.5 { 0.5 } else { -0.5 };
                (middle_mps + sign * swing_mps, throttle_percent)
            })
        }
        NoFlight::RampsLiveThrottle | NoFlight::RampsDeadThrottle | NoFlight::RampsNoThrottle => {
            Box::new(move |time_s| {
                let up = 1.0 - 2.0 * ((time_s / ramp_s).rem_euclid(2.0) - 1.0).abs();
                (middle_mps + swing_mps * up, (55.0 + 45.0 * up).round())
            })
        }
        NoFlight::BenchRun => {
            let mut own = Random::new(conditions.seed ^ 0xbe9c);
            let (mut until_s, mut now_percent) = (0.0, 0.0);
            Box::new(move |time_s| {
                if time_s >= until_s {
                    until_s = time_s + own.uniform(2.0, 15.0);
                    now_percent = own.pick(&[0.0, 25.0, 40.0, 60.0, 80.0, 100.0]);
                }
                (0.0, now_percent)
            })
        }
        NoFlight::Hovering => {
            let mut own = Random::new(conditions.seed ^ 0x0ca1);
            let mut part_mps = Wandering::new(0.3, &mut own);
            Box::new(move |_| {
                let speed_mps = part_mps.step(STEP_S / 6.0, &mut own).abs() * 2.0;
                (speed_mps.min(5.0 / 3.6), 30.0)
            })
        }
        _ => Box::new(move |_| (middle_mps, throttle_percent)),
    }
}
