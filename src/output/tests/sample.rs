//! Invented flights: one so small that every cell is known, and variations of it.

use std::sync::Arc;

use crate::airspeed::multileg::HeadingReference;
use crate::airspeed::{Budget, Cause, Contribution, Pair, PairedLegs, Pattern, StepResult};
use crate::flight::Flight;
use crate::footage::ClipInfo;
use crate::legs::{Flag, Leg, LegKind, LegUse, ThrottleSource};
use crate::model::channel::Channel;
use crate::model::estimate::Estimate;
use crate::model::units::Unit;
use crate::propulsion::Findings;
use crate::series::{Blank, ChannelReadings, Readings, Series};
use crate::setup::{Aircraft, Camera, Setup};

pub fn clip(name: &str) -> ClipInfo {
    ClipInfo {
        path: name.into(),
        container: "avi".into(),
        codec: "mjpeg".into(),
        intra_only: true,
        width: 640,
        height: 480,
        nominal_rate_hz: Some(30.0),
        stated_length_s: Some(0.1),
    }
}

pub fn channel(
    channel: Channel,
    unit: Option<Unit>,
    decimals: u8,
    cells: &[(f64, f32, Blank)],
) -> ChannelReadings {
    ChannelReadings {
        channel,
        unit,
        decimals,
        step: None,
        range: None,
        max_rate: None,
        values: cells.iter().map(|cell| cell.0).collect(),
        confidence: cells.iter().map(|cell| cell.1).collect(),
        blank: cells.iter().map(|cell| cell.2).collect(),
    }
}

pub fn leg(kind: LegKind, start_s: f64, end_s: f64, speed_median: f64) -> Leg {
    Leg {
        start_s,
        end_s,
        steady_start_s: start_s,
        steady_end_s: end_s,
        kind,
        throttle_percent: Some(60.0),
        step: Some(1),
        speed_median,
        speed_spread: 1.4826,
        samples: 50,
        speed_uncertainty: 0.4567,
        voltage_v: Some(23.104),
        altitude: None,
        satellites: Some(14.0),
        usage: LegUse::Used,
        flags: vec![],
    }
}

/// A budget with gusts of 0.4 with 10.24 degrees of freedom and a crosswind of 0.3: together 0.5 with 25,
/// since 0.5^4 / (0.4^4 / 10.24) = 25. The rounding of each leg contributes nothing.
pub fn budget() -> Budget {
    let row = |cause, uncertainty, degrees_of_freedom, shared| Contribution {
        cause,
        uncertainty,
        degrees_of_freedom,
        shared,
    };
    let rows = vec![
        row(Cause::Gusts, 0.4, 10.24, false),
        row(Cause::Rounding, 0.0, f64::INFINITY, false),
        row(Cause::Crosswind, 0.3, f64::INFINITY, true),
    ];
    Budget { rows, ..Budget::default() }
}

pub fn pair(number: u32, step: u32, throttle_percent: Option<f64>, upwind: f64, downwind: f64) -> Pair {
    let airspeed = (upwind + downwind) / 2.0;
    let budget = budget();
    Pair {
        pair: number,
        throttle_percent,
        step,
        legs: PairedLegs { upwind: 0, downwind: 1 },
        upwind,
        downwind,
        airspeed: budget.estimate(airspeed),
        wind: (downwind - upwind) / 2.0,
        voltage_v: Some(23.1),
        altitude: None,
        doubtful: false,
        flags: vec![],
        leg_flags: vec![],
        budget,
    }
}

pub fn step(number: u32, throttle_percent: Option<f64>, airspeed: f64, pairs: usize) -> StepResult {
    let budget = budget();
    StepResult {
        step: number,
        throttle_percent,
        airspeed: budget.estimate(airspeed),
        wind: 7.0,
        voltage_v: Some(23.1),
        pairs: (1..=pairs as u32).collect(),
        altitude: None,
        doubtful: false,
        flags: vec![],
        pair_flags: vec![],
        budget,
    }
}

/// Three frames, speed and voltage, one pair of legs with the textbook speeds 60 and 74.
pub fn small_flight() -> Flight {
    let speed = [(60.0, 0.98768, Blank::No), (f64::NAN, 0.0, Blank::Unclear), (74.0, 0.999_99, Blank::No)];
    let voltage = [(23.1, 0.5, Blank::No), (23.0, 1.0, Blank::No), (f64::NAN, 0.0, Blank::Empty)];
    let readings = Readings {
        time_s: vec![0.0, 0.033_366_7, 0.066_733],
        channels: vec![
            channel(Channel::Speed, Some(Unit::KilometresPerHour), 0, &speed),
            channel(Channel::Voltage, Some(Unit::Volts), 1, &voltage),
        ],
        gaps: vec![],
        lost: vec![],
        crops: Default::default(),
    };
    let mut upwind = leg(LegKind::Upwind, 0.0, 0.02, 60.0);
    upwind.flags = vec![Flag("short".into()), Flag("gusty, see the plot".into())];
    Flight {
        program_version: "0.1.0".into(),
        clips: vec![clip("salt-flat-1.avi"), clip("salt-flat-2.avi")],
        setup: Setup {
            camera: Camera { name: "wing camera".into(), frame: (640, 480), glyphs: None },
            aircraft: None,
            regions: vec![],
        },
        series: Arc::new(Series {
            readings,
            speed_smooth: vec![60.123, f64::NAN, 73.987],
            update_rate_hz: Some(8.1),
            dead: vec![],
        }),
        legibility: Default::default(),
        legs: vec![upwind, leg(LegKind::Downwind, 0.04, 0.066_733, 74.0)],
        throttle_source: ThrottleSource::Overlay,
        pairs: vec![pair(1, 1, Some(60.0), 60.0, 74.0)],
        steps: vec![step(1, Some(60.0), 67.0, 1)],
        patterns: vec![],
        wind: None,
        air: crate::air::FlightAir::default(),
        aircraft: Aircraft::default(),
        propulsion: Findings::default(),
        notes: vec!["The second clip starts 0.4 s after the first ends.".into()],
    }
}

/// The small flight with three legs in three directions instead of its pair.
pub fn triangle_flight() -> Flight {
    let mut flight = small_flight();
    let legs = [(0.0, 76.5), (0.02, 87.9), (0.04, 128.7)];
    flight.legs = legs.map(|(start_s, speed)| leg(LegKind::Leg, start_s, start_s + 0.01, speed)).to_vec();
    flight.pairs.clear();
    flight.steps.clear();
    flight.patterns = vec![Pattern {
        pattern: 1,
        throttle_percent: Some(100.0),
        legs: vec![0, 1, 2],
        heading_reference: HeadingReference::Track,
        airspeed: Estimate {
            value: 100.0,
            standard_uncertainty: 0.75,
            degrees_of_freedom: 60.0,
            low: 98.5,
            high: 101.5,
        },
        wind: 30.0,
        wind_from_deg: 45.0,
        voltage_v: Some(22.4),
        altitude: None,
        flags: vec![Flag("the legs disagree".into())],
        budget: Budget::default(),
    }];
    flight
}

/// A flight without any region, reading or leg.
pub fn blank_flight() -> Flight {
    let mut flight = small_flight();
    for channel in &mut Arc::make_mut(&mut flight.series).readings.channels {
        channel.values.fill(f64::NAN);
        channel.confidence.fill(0.0);
        channel.blank.fill(Blank::SignalLost);
    }
    Arc::make_mut(&mut flight.series).speed_smooth.fill(f64::NAN);
    Arc::make_mut(&mut flight.series).update_rate_hz = None;
    flight.legs.clear();
    flight.pairs.clear();
    flight.steps.clear();
    flight
}

/// The small flight without any unit and with numbered steps.
pub fn flight_without_units() -> Flight {
    let mut flight = small_flight();
    for channel in &mut Arc::make_mut(&mut flight.series).readings.channels {
        channel.unit = None;
    }
    for leg in &mut flight.legs {
        leg.throttle_percent = None;
    }
    for pair in &mut flight.pairs {
        pair.throttle_percent = None;
    }
    for step in &mut flight.steps {
        step.throttle_percent = None;
    }
    flight.throttle_source = ThrottleSource::Numbered;
    flight
}

/// Six minutes at 30 frames a second with three throttle steps, one of them flown twice, a signal loss, a gap
/// and an unpaired leg: enough for every plot.
pub fn long_flight() -> Flight {
    let mut flight = small_flight();
    let legs = long_legs();
    let times: Vec<f64> =
        (0..10_800).map(|n| f64::from(n) / 30.0).filter(|time_s| !(200.0..206.0).contains(time_s)).collect();
    let speed_at = |time_s: f64| {
        let leg = legs.iter().find(|leg| (leg.start_s..leg.end_s).contains(&time_s));
        leg.map_or(52.0, |leg| leg.speed_median) + 1.5 * (time_s * 1.7).sin() + (time_s * 0.6).cos()
    };
    let lost = |time_s: &f64| (150.0..158.0).contains(time_s);
    // The overlay shows whole numbers and is updated eight times a second.
    let shown = |time_s: &f64| speed_at((time_s * 8.0).floor() / 8.0).round();
    let cell = |time_s: &f64, value: f64| {
        if lost(time_s) { (f64::NAN, 0.0, Blank::SignalLost) } else { (value, 0.99, Blank::No) }
    };
    let column =
        |value: &dyn Fn(&f64) -> f64| -> Vec<_> { times.iter().map(|t| cell(t, value(t))).collect() };
    let tenths = |value: f64| (value * 10.0).round() / 10.0;
    Arc::make_mut(&mut flight.series).readings = Readings {
        time_s: times.clone(),
        channels: vec![
            channel(Channel::Speed, Some(Unit::KilometresPerHour), 0, &column(&shown)),
            channel(Channel::Voltage, Some(Unit::Volts), 1, &column(&|t| tenths(25.2 - t / 120.0))),
            channel(
                Channel::Altitude,
                Some(Unit::Metres),
                0,
                &column(&|t| (60.0 + 8.0 * (t / 20.0).sin()).round()),
            ),
        ],
        gaps: vec![crate::series::Gap { start_s: 200.0, end_s: 206.0 }],
        lost: vec![],
        crops: Default::default(),
    };
    Arc::make_mut(&mut flight.series).speed_smooth =
        times.iter().map(|t| if lost(t) { f64::NAN } else { speed_at(*t) }).collect();
    flight.legs = legs;
    flight.pairs = vec![
        pair(1, 1, Some(60.0), 60.0, 74.0),
        pair(2, 2, Some(80.0), 67.0, 81.0),
        pair(3, 2, Some(80.0), 68.0, 81.0),
        pair(4, 3, Some(100.0), 77.0, 87.0),
    ];
    flight.pairs[3].flags = vec![Flag("voltage 1.2 V lower than in the first step".into())];
    flight.steps =
        vec![step(1, Some(60.0), 67.0, 1), step(2, Some(80.0), 74.2, 2), step(3, Some(100.0), 82.0, 1)];
    flight
}

/// The long flight with its altitude readout stuck at 67 m.
pub fn flight_with_dead_altitude() -> Flight {
    let mut flight = long_flight();
    for value in &mut Arc::make_mut(&mut flight.series).readings.channels[2].values {
        *value = if value.is_finite() { 67.0 } else { f64::NAN };
    }
    Arc::make_mut(&mut flight.series).dead = vec![Channel::Altitude];
    flight
}

fn long_legs() -> Vec<Leg> {
    let speeds = [60.0, 74.0, 67.0, 81.0, 68.0, 81.0, 77.0, 87.0, 88.0];
    let throttles = [60.0, 60.0, 80.0, 80.0, 80.0, 80.0, 100.0, 100.0, 100.0];
    let legs = speeds.into_iter().zip(throttles).zip(0..9).map(|((speed, throttle), number)| {
        let kind = match number {
            8 => LegKind::Unpaired,
            _ if number % 2 == 0 => LegKind::Upwind,
            _ => LegKind::Downwind,
        };
        let start_s = 15.0 + 38.0 * f64::from(number);
        Leg { throttle_percent: Some(throttle), ..leg(kind, start_s, start_s + 22.0, speed) }
    });
    legs.collect()
}
