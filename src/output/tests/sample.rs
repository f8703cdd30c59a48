//! Made-up flights: one small enough to know every cell of, and variations of it.

use crate::airspeed::Pair;
use crate::channel::Channel;
use crate::flight::{Flight, Step};
use crate::footage::ClipInfo;
use crate::legs::{Flag, Leg, LegKind, ThrottleSource};
use crate::series::{Blank, ChannelReadings, Readings, Series};
use crate::setup::{Camera, Setup};
use crate::units::Unit;

pub fn clip(name: &str) -> ClipInfo {
    ClipInfo {
        path: name.into(),
        container: "avi".into(),
        codec: "mjpeg".into(),
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
        flags: vec![],
    }
}

pub fn pair(number: u32, step: u32, throttle_percent: Option<f64>, upwind: f64, downwind: f64) -> Pair {
    let airspeed = (upwind + downwind) / 2.0;
    Pair {
        pair: number,
        throttle_percent,
        step,
        legs: (0, 1),
        upwind,
        downwind,
        airspeed,
        airspeed_low: airspeed - 1.25,
        airspeed_high: airspeed + 1.25,
        airspeed_uncertainty: 0.6,
        degrees_of_freedom: 20.0,
        wind: (downwind - upwind) / 2.0,
        voltage_v: Some(23.1),
        altitude: None,
        flags: vec![],
    }
}

pub fn step(number: u32, throttle_percent: Option<f64>, airspeed: f64, pairs: usize) -> Step {
    Step {
        step: number,
        throttle_percent,
        airspeed,
        airspeed_low: airspeed - 1.0,
        airspeed_high: airspeed + 1.0,
        wind: 7.0,
        voltage_v: Some(23.1),
        pairs,
    }
}

/// Three frames, speed and voltage, one pair of legs with the textbook speeds 60 and 74.
pub fn small_flight() -> Flight {
    let speed = [(60.0, 0.98768, Blank::No), (f64::NAN, 0.0, Blank::Unclear), (74.0, 0.999_99, Blank::No)];
    let voltage = [(23.1, 0.5, Blank::No), (23.0, 1.0, Blank::No), (f64::NAN, 0.0, Blank::Empty)];
    let readings = Readings {
        frame: vec![0, 1, 2],
        time_s: vec![0.0, 0.033_366_7, 0.066_733],
        channels: vec![
            channel(Channel::Speed, Some(Unit::KilometresPerHour), 0, &speed),
            channel(Channel::Voltage, Some(Unit::Volts), 1, &voltage),
        ],
        gaps: vec![],
    };
    let mut upwind = leg(LegKind::Upwind, 0.0, 0.02, 60.0);
    upwind.flags = vec![Flag("short".into()), Flag("gusty, see the plot".into())];
    Flight {
        program_version: "0.1.0".into(),
        clips: vec![clip("salt-flat-1.avi"), clip("salt-flat-2.avi")],
        setup: Setup {
            camera: Camera { name: "wing camera".into(), frame: (640, 480), glyphs: None },
            regions: vec![],
        },
        series: Series { readings, speed_smooth: vec![60.123, f64::NAN, 73.987], update_rate_hz: Some(8.1) },
        legs: vec![upwind, leg(LegKind::Downwind, 0.04, 0.066_733, 74.0)],
        throttle_source: ThrottleSource::Overlay,
        pairs: vec![pair(1, 1, Some(60.0), 60.0, 74.0)],
        steps: vec![step(1, Some(60.0), 67.0, 1)],
        notes: vec!["The second clip starts 0.4 s after the first ends.".into()],
    }
}

/// Nothing marked, nothing read, nothing found.
pub fn blank_flight() -> Flight {
    let mut flight = small_flight();
    for channel in &mut flight.series.readings.channels {
        channel.values.fill(f64::NAN);
        channel.confidence.fill(0.0);
        channel.blank.fill(Blank::LostPicture);
    }
    flight.series.speed_smooth.fill(f64::NAN);
    flight.series.update_rate_hz = None;
    flight.legs.clear();
    flight.pairs.clear();
    flight.steps.clear();
    flight
}

/// The small flight without any unit and with numbered steps.
pub fn flight_without_units() -> Flight {
    let mut flight = small_flight();
    for channel in &mut flight.series.readings.channels {
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
