//! A small flight simulator with a seed: gives the readings of an overlay frame by frame, and the truth.
//!
//! Speeds are in m/s internally. Gusts follow the Dryden model at low altitude along the flight path, with
//! its first-order longitudinal form (MIL-F-8785C): sigma_u about 0.17 W20 and L_u 154 m at 100 ft.

use pairspeed::flight::FlightRecord;
use pairspeed::geometry::PixelRect;
use pairspeed::model::channel::Channel;
use pairspeed::model::units::Unit;
use pairspeed::series::{Blank, ChannelReadings, Gap, Readings, trust};
use pairspeed::setup::{Camera, Region, Setup};

/// Pseudo-random numbers: splitmix64 (Steele, Lea, Flood 2014), the same on every machine.
pub struct Chance(u64);

impl Chance {
    pub fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ 0x5DEE_CE66)
    }

    fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// A number uniformly distributed between 0 and 1.
    pub fn even(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1u64 << 53) as f64
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.even()
    }

    pub fn happens(&mut self, probability: f64) -> bool {
        self.even() < probability
    }

    /// A normal deviate with mean 0 and standard deviation 1 (Box and Muller).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.even()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.even()).cos()
    }
}

/// A flight to simulate.
#[derive(Debug, Clone)]
pub struct Plan {
    pub seed: u64,
    /// Airspeed of each throttle step, in m/s.
    pub airspeeds: Vec<f64>,
    /// Throttle of each step in per cent.
    pub throttles: Vec<f64>,
    pub legs_per_step: usize,
    /// Standard deviation between the airspeeds of the pairs of one step, in m/s.
    pub pair_spread: f64,
    /// Directions of the legs of a step relative to the first leg, in degrees; they are repeated in this
    /// order.
    pub directions_deg: Vec<f64>,
    /// Whether all turns are in the same direction; otherwise left and right turns alternate.
    pub racetrack: bool,
    pub leg_s: (f64, f64),
    pub turn_s: (f64, f64),
    /// Share of the airspeed lost in a turn.
    pub turn_loss: f64,
    pub wind: f64,
    /// Angle between the wind and the course, in degrees.
    pub wind_angle_deg: f64,
    /// Standard deviation of the gusts, in m/s.
    pub gust: f64,
    /// Longitudinal scale of the gusts, in metres.
    pub gust_length_m: f64,
    /// Random walk of the mean wind, in m/s per square root of a second.
    pub wind_walk: f64,
    pub unit: Unit,
    pub decimals: u8,
    /// Whether the display truncates further digits instead of rounding.
    pub cuts_off: bool,
    pub frames_hz: f64,
    pub updates_hz: f64,
    pub receiver_noise: f64,
    pub receiver_lag_s: f64,
    pub blank_share: f64,
    pub wrong_share: f64,
    /// Whether launch and climb come before the legs, and approach and landing after them.
    pub whole_flight: bool,
    pub throttle_readout: Readout,
    pub heading_readout: bool,
    pub voltage_readout: bool,
    pub altitude_readout: bool,
    /// Intervals in which the signal is lost, in seconds of flight time.
    pub lost: Vec<(f64, f64)>,
    /// Intervals without frames, in seconds of flight time.
    pub gaps: Vec<(f64, f64)>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Readout {
    None,
    Alive,
    Dead,
}

impl Default for Plan {
    fn default() -> Self {
        Self {
            seed: 1,
            airspeeds: vec![20.0, 22.5, 25.0, 27.5, 30.0, 33.0],
            throttles: vec![50.0, 60.0, 70.0, 80.0, 90.0, 100.0],
            legs_per_step: 2,
            pair_spread: 0.0,
            directions_deg: vec![0.0, 180.0],
            racetrack: false,
            leg_s: (9.0, 12.0),
            turn_s: (3.5, 6.0),
            turn_loss: 0.1,
            wind: 3.0,
            wind_angle_deg: 10.0,
            gust: 0.5,
            gust_length_m: 154.0,
            wind_walk: 0.03,
            unit: Unit::KilometresPerHour,
            decimals: 0,
            cuts_off: false,
            frames_hz: 30.0,
            updates_hz: 5.0,
            receiver_noise: 0.1,
            receiver_lag_s: 0.6,
            blank_share: 0.05,
            wrong_share: 0.005,
            whole_flight: true,
            throttle_readout: Readout::None,
            heading_readout: false,
            voltage_readout: true,
            altitude_readout: true,
            lost: Vec::new(),
            gaps: Vec::new(),
        }
    }
}

/// Standard deviation of the gusts, and their longitudinal scale in metres, at a height in metres, for a wind
/// given at 20 ft. MIL-F-8785C, low altitude: sigma_w = 0.1 W20, sigma_u = sigma_w / (0.177 + 0.000823
/// h)^0.4, L_u = h / (0.177 + 0.000823 h)^1.2, heights in feet.
pub fn dryden(height_m: f64, wind: f64) -> (f64, f64) {
    let height_ft = height_m / 0.3048;
    let shape = 0.177 + 0.000_823 * height_ft;
    (0.1 * wind / shape.powf(0.4), 0.3048 * height_ft / shape.powf(1.2))
}

impl Plan {
    /// Direction of a leg relative to the first leg, in degrees.
    fn direction_deg(&self, leg: usize) -> f64 {
        self.directions_deg[leg % self.directions_deg.len()]
    }

    /// A flight on a random day: wind, course, gusts, receiver, display, legs and steps are all random. The course
    /// follows the wind direction as closely as a pilot can judge it.
    pub fn of_some_day(seed: u64) -> Self {
        let mut chance = Chance::new(seed ^ 0xA5A5_0000);
        let wind = chance.between(0.3, 6.0);
        let (gust, gust_length_m) = dryden(chance.between(20.0, 60.0), wind);
        let steps = 2 + (chance.even() * 4.0) as usize;
        let slowest = chance.between(16.0, 24.0);
        let rise = chance.between(1.5, 4.0);
        let leg_s = chance.between(7.0, 16.0);
        let units = [
            (Unit::KilometresPerHour, 0),
            (Unit::MilesPerHour, 0),
            (Unit::Knots, 1),
            (Unit::MetresPerSecond, 1),
        ];
        let (unit, decimals) = units[(chance.even() * 4.0) as usize % 4];
        Self {
            seed,
            airspeeds: (0..steps).map(|step| slowest + rise * step as f64).collect(),
            throttles: (0..steps).map(|step| 50.0 + 50.0 * step as f64 / steps as f64).collect(),
            legs_per_step: [2, 4][usize::from(chance.happens(0.5))],
            leg_s: (leg_s, leg_s + 3.0),
            wind,
            wind_angle_deg: 15.0 * chance.normal(),
            gust,
            gust_length_m,
            wind_walk: wind * chance.between(0.0, 0.03),
            unit,
            decimals,
            cuts_off: chance.happens(0.25),
            updates_hz: [5.0, 10.0][usize::from(chance.happens(0.5))],
            receiver_noise: chance.between(0.05, 0.15),
            receiver_lag_s: chance.between(0.3, 0.9),
            blank_share: 0.02,
            wrong_share: 0.0,
            whole_flight: false,
            voltage_readout: false,
            altitude_readout: false,
            ..Self::default()
        }
    }
}

/// A leg as flown.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrueLeg {
    pub start_s: f64,
    pub end_s: f64,
    pub upwind: bool,
    pub step: usize,
}

pub struct Flight {
    pub readings: Readings,
    pub legs: Vec<TrueLeg>,
    /// Airspeed of each step, in the unit shown.
    pub airspeeds: Vec<f64>,
    /// The value that is shown in each frame, before blanks and misreadings are added.
    pub shown_speed: Vec<f64>,
}

/// A phase of the flight with one manoeuvre.
#[derive(Debug, Clone, Copy)]
struct Phase {
    length_s: f64,
    airspeed: f64,
    throttle: f64,
    /// Course at the end of the phase relative to the wind, in degrees; it changes at a constant rate.
    course_deg: f64,
    climb_mps: f64,
    leg: Option<(bool, usize)>,
    standing: bool,
}

fn phases(plan: &Plan, chance: &mut Chance) -> Vec<Phase> {
    let mut phases = Vec::new();
    let rest = Phase {
        length_s: 0.0,
        airspeed: 0.0,
        throttle: 0.0,
        course_deg: plan.wind_angle_deg,
        climb_mps: 0.0,
        leg: None,
        standing: false,
    };
    let fastest = plan.airspeeds.iter().copied().fold(0.0, f64::max);
    let slowest = plan.airspeeds.iter().copied().fold(f64::INFINITY, f64::min);
    if plan.whole_flight {
        let climb = Phase { airspeed: 0.7 * fastest, throttle: 90.0, climb_mps: 3.5, ..rest };
        let into_wind = plan.wind_angle_deg;
        phases.push(Phase { length_s: 4.0, standing: true, ..rest });
        phases.push(Phase { length_s: chance.between(5.0, 9.0), course_deg: into_wind, ..climb });
        phases.push(Phase { length_s: 4.0, course_deg: into_wind - 180.0, ..climb });
        phases.push(Phase { length_s: chance.between(2.0, 5.0), course_deg: into_wind - 180.0, ..climb });
        let turn_in = Phase { length_s: 5.0, airspeed: slowest, throttle: plan.throttles[0], ..rest };
        phases.push(Phase { course_deg: into_wind, ..turn_in });
    }
    let mut flown = 0;
    let mut course_deg = plan.wind_angle_deg;
    let early_throttle = chance.happens(0.5);
    let steps = plan.airspeeds.len();
    for step in 0..steps {
        let (mut airspeed, throttle) = (plan.airspeeds[step], plan.throttles[step]);
        for leg in 0..plan.legs_per_step {
            if leg % 2 == 0 && plan.pair_spread > 0.0 {
                airspeed = plan.airspeeds[step] + plan.pair_spread * chance.normal();
            }
            let upwind = plan.direction_deg(flown) == 0.0;
            let length_s = chance.between(plan.leg_s.0, plan.leg_s.1);
            phases.push(Phase {
                length_s,
                airspeed,
                throttle,
                course_deg,
                leg: Some((upwind, step)),
                ..rest
            });
            flown += 1;
            let last_of_step = leg + 1 == plan.legs_per_step;
            let next = if last_of_step { (step + 1).min(steps - 1) } else { step };
            let next_deg = plan.wind_angle_deg + plan.direction_deg(flown);
            course_deg += if plan.racetrack {
                (next_deg - course_deg).rem_euclid(360.0)
            } else {
                next_deg - course_deg
            };
            let length_s = chance.between(plan.turn_s.0, plan.turn_s.1);
            let turning = Phase { length_s, course_deg, throttle: plan.throttles[next], ..rest };
            let pushed = if early_throttle { next } else { step };
            phases.push(Phase { airspeed: plan.airspeeds[pushed] * (1.0 - plan.turn_loss), ..turning });
        }
    }
    if plan.whole_flight {
        let down = Phase { airspeed: 0.75 * slowest, throttle: 20.0, climb_mps: -2.0, ..rest };
        phases.push(Phase {
            length_s: chance.between(4.0, 8.0),
            course_deg: plan.wind_angle_deg + 180.0,
            ..down
        });
        phases.push(Phase { length_s: 5.0, ..down });
        phases.push(Phase {
            length_s: chance.between(5.0, 9.0),
            airspeed: 0.6 * slowest,
            throttle: 0.0,
            ..down
        });
        phases.push(Phase { length_s: 6.0, standing: true, ..rest });
    }
    phases
}

/// The state of the flight at one overlay update.
#[derive(Debug, Clone, Copy)]
struct Shown {
    time_s: f64,
    speed: f64,
    throttle: f64,
    course_deg: f64,
    altitude: f64,
    voltage: f64,
}

const TICK_S: f64 = 0.02;

pub fn fly(plan: &Plan) -> Flight {
    let mut chance = Chance::new(plan.seed);
    let phases = phases(plan, &mut chance);
    let (shown, legs) = world(plan, &phases, &mut chance);
    let (readings, shown_speed) = recognise(plan, &shown, &mut chance);
    let factor = 1.0 / plan.unit.si_per_unit();
    Flight {
        readings,
        legs,
        airspeeds: plan.airspeeds.iter().map(|speed| speed * factor).collect(),
        shown_speed,
    }
}

fn world(plan: &Plan, phases: &[Phase], chance: &mut Chance) -> (Vec<Shown>, Vec<TrueLeg>) {
    let (mut shown, mut legs) = (Vec::new(), Vec::new());
    let (mut time_s, mut airspeed, mut measured) = (0.0, phases[0].airspeed, [f64::NAN; 2]);
    let (mut gust, mut side_gust, mut walk, mut height, mut charge) = (0.0, 0.0, 0.0, 0.0, 1.0);
    gust += plan.gust * chance.normal();
    side_gust += plan.gust * chance.normal();
    let mut course = phases[0].course_deg;
    let mut next_update_s = chance.between(0.0, 0.2);
    for phase in phases {
        let ticks = (phase.length_s / TICK_S).round().max(1.0);
        let turning = phase.course_deg != course;
        let nose_deg = |course: f64, airspeed: f64| {
            let across = (plan.wind * course.to_radians().sin() / airspeed.max(1.0)).clamp(-0.9, 0.9);
            course - across.asin().to_degrees()
        };
        let mut nose = nose_deg(course, airspeed);
        let turn = (nose_deg(phase.course_deg, phase.airspeed) - nose) / ticks;
        course = phase.course_deg;
        let start_s = time_s;
        for _ in 0..ticks as usize {
            nose += turn;
            airspeed += (phase.airspeed - airspeed) * TICK_S / 1.2;
            height += phase.climb_mps * TICK_S;
            charge -= TICK_S * (phase.throttle / 100.0).powi(2) / 900.0;
            let memory = TICK_S * airspeed.max(5.0) / plan.gust_length_m;
            let kick = plan.gust * (2.0 * memory).sqrt();
            gust += -memory * gust + kick * chance.normal();
            side_gust += -memory * side_gust + kick * chance.normal();
            walk += plan.wind_walk * TICK_S.sqrt() * chance.normal();
            let along = -(plan.wind + walk + gust) * course.to_radians().cos();
            let across = (plan.wind + walk) * course.to_radians().sin() + side_gust;
            let over_ground = (airspeed.powi(2) - across.powi(2)).max(0.0).sqrt() + along;
            let over_ground = if phase.standing { 0.0 } else { over_ground.max(0.0) };
            let (sin, cos) = course.to_radians().sin_cos();
            // A leg holds its course over the ground; in a turn the nose turns at a constant rate.
            let (nose_sin, nose_cos) = nose.to_radians().sin_cos();
            let velocity = if turning {
                [airspeed * nose_sin + side_gust, airspeed * nose_cos - (plan.wind + walk + gust)]
            } else {
                [over_ground * sin, over_ground * cos]
            };
            if measured[0].is_nan() {
                measured = velocity;
            }
            // The receiver filters the velocity, so speed and course lag by the same time.
            for axis in 0..2 {
                measured[axis] += (velocity[axis] - measured[axis]) * TICK_S / plan.receiver_lag_s;
            }
            time_s += TICK_S;
            if time_s >= next_update_s {
                next_update_s += 1.0 / plan.updates_hz;
                let speed = (measured[0].hypot(measured[1]) + plan.receiver_noise * chance.normal()).max(0.0);
                let voltage = 25.2 - 3.0 * (1.0 - charge) - 1.6 * (phase.throttle / 100.0).powi(2);
                shown.push(Shown {
                    time_s,
                    speed: if phase.standing { 0.0 } else { speed },
                    throttle: phase.throttle,
                    course_deg: measured[0].atan2(measured[1]).to_degrees(),
                    altitude: height,
                    voltage: voltage + 0.03 * chance.normal(),
                });
            }
        }
        if let Some((upwind, step)) = phase.leg {
            legs.push(TrueLeg { start_s, end_s: time_s, upwind, step });
        }
    }
    (shown, legs)
}

fn recognise(plan: &Plan, shown: &[Shown], chance: &mut Chance) -> (Readings, Vec<f64>) {
    let end_s = shown.last().map_or(0.0, |last| last.time_s);
    let frames = (end_s * plan.frames_hz) as u64;
    let outside = |time: &f64| !plan.gaps.iter().any(|gap| (gap.0..gap.1).contains(time));
    let time_s: Vec<f64> = (0..frames).map(|frame| frame as f64 / plan.frames_hz).filter(outside).collect();
    let held: Vec<usize> = time_s
        .iter()
        .map(|time| shown.partition_point(|update| update.time_s <= *time).saturating_sub(1))
        .collect();
    let speed_factor = 1.0 / plan.unit.si_per_unit();
    let cut = if plan.cuts_off { 0.5 } else { 0.0 };
    let channel = |channel, unit, decimals: u8, max_rate, of: &dyn Fn(&Shown) -> f64| {
        let scale = 10f64.powi(i32::from(decimals));
        let values: Vec<f64> =
            held.iter().map(|update| (of(&shown[*update]) * scale - cut).round() / scale).collect();
        (channel, unit, decimals, max_rate, values)
    };
    let mut truth =
        vec![channel(Channel::Speed, Some(plan.unit), plan.decimals, Some(25.0 * speed_factor), &|at| {
            at.speed * speed_factor
        })];
    if plan.voltage_readout {
        truth.push(channel(Channel::Voltage, Some(Unit::Volts), 1, None, &|at| at.voltage));
    }
    if plan.altitude_readout {
        truth.push(channel(Channel::Altitude, Some(Unit::Metres), 0, Some(15.0), &|at| at.altitude));
    }
    if plan.heading_readout {
        let degrees = Some(Unit::Degrees);
        truth.push(channel(Channel::Heading, degrees, 0, None, &|at| at.course_deg.rem_euclid(360.0)));
    }
    match plan.throttle_readout {
        Readout::None => {}
        Readout::Alive => {
            truth.push(channel(Channel::Throttle, Some(Unit::Percent), 0, None, &|at| at.throttle));
        }
        Readout::Dead => truth.push(channel(Channel::Throttle, Some(Unit::Percent), 0, None, &|_| 0.0)),
    }
    let shown_speed = truth[0].4.clone();
    let channels = truth
        .into_iter()
        .map(|(channel, unit, decimals, max_rate, values)| {
            let readings = with_errors(plan, &time_s, &values, chance);
            ChannelReadings {
                channel,
                unit,
                decimals,
                step: None,
                range: None,
                max_rate,
                confidence: readings.iter().map(|value| if value.is_nan() { 0.0 } else { 0.97 }).collect(),
                blank: readings
                    .iter()
                    .map(|value| if value.is_nan() { Blank::Unclear } else { Blank::No })
                    .collect(),
                values: readings,
            }
        })
        .collect();
    let gaps = plan.gaps.iter().map(|gap| Gap { start_s: gap.0, end_s: gap.1 }).collect();
    (Readings { time_s, channels, gaps, lost: Vec::new(), crops: Default::default() }, shown_speed)
}

/// Adds blanks and misreadings of a digit with high confidence.
fn with_errors(plan: &Plan, time_s: &[f64], values: &[f64], chance: &mut Chance) -> Vec<f64> {
    time_s
        .iter()
        .zip(values)
        .map(|(time, value)| {
            let lost = plan.lost.iter().any(|lost| (lost.0..lost.1).contains(time));
            if lost || chance.happens(plan.blank_share) {
                f64::NAN
            } else if chance.happens(plan.wrong_share) {
                let unit_of_digit = [1.0, 10.0][usize::from(chance.happens(0.5))];
                (value + unit_of_digit * (1.0 + (chance.even() * 5.0).floor())).abs()
            } else {
                *value
            }
        })
        .collect()
}

/// The record that reading the flight would give: its series, and a setup with regions for the channels
/// shown.
pub fn record(readings: Readings) -> FlightRecord {
    let regions = readings.channels.iter().zip(0..).map(|(readout, row)| Region {
        decimals: readout.decimals,
        ..Region::new(
            readout.channel.clone(),
            PixelRect { left: 10, top: 10 + 30 * row, width: 60, height: 24 },
            readout.unit,
        )
    });
    let setup = Setup {
        camera: Camera { name: "simulated".to_owned(), frame: (640, 480), glyphs: None },
        aircraft: None,
        regions: regions.collect(),
    };
    FlightRecord {
        clips: Vec::new(),
        setup,
        series: std::sync::Arc::new(trust(readings)),
        legibility: Default::default(),
        notes: Vec::new(),
    }
}
