//! Converts a flight to readings: receiver, overlay, video signal and reader.

use std::f64::consts::TAU;

use pairspeed::model::channel::Channel;
use pairspeed::model::units::Unit;
use pairspeed::series::{Blank, ChannelReadings, Readings, SignalLoss, SignalLossKind};

use super::conditions::{Conditions, ThrottleReadout};
use super::random::{Random, Wandering};
use super::{Instant, STEP_S};

/// What the overlay receives at one update; speeds in m/s, lengths in m.
struct Update {
    shown_s: f64,
    speed_mps: f64,
    course_rad: f64,
    height_m: f64,
    throttle_percent: f64,
    voltage_v: f64,
    satellites: f64,
}

/// One readout.
struct Readout {
    channel: Channel,
    unit: Option<Unit>,
    decimals: u8,
    truncates: bool,
    range: (f64, f64),
    max_rate: Option<f64>,
    /// The value in the readout's unit.
    value: Box<dyn Fn(&Update) -> f64>,
}

impl Readout {
    fn shown(&self, update: &Update) -> f64 {
        let scale = 10_f64.powi(i32::from(self.decimals));
        let scaled = (self.value)(update) * scale;
        let whole = if self.truncates { (scaled + 1e-9).floor() } else { scaled.round() };
        // No display shows a minus sign before a zero.
        whole / scale + 0.0
    }
}

/// The readings of a track, frame by frame.
pub(super) fn read(conditions: &Conditions, track: &[Instant]) -> Readings {
    let mut random = Random::new(conditions.seed ^ 0x00d1_5b1a);
    let updates = receive(conditions, track, &mut random);
    let readouts = readouts(conditions, &mut random);
    let end_s = track.last().map_or(0.0, |instant| instant.time_s);
    let frames = (end_s * conditions.frame_rate_hz) as usize;
    let time_s: Vec<f64> = (0..frames).map(|frame| frame as f64 / conditions.frame_rate_hz).collect();
    let lost = signal_losses(conditions, &time_s, &mut random);
    let mut latest = 0;
    let latest_of_frame: Vec<usize> = time_s
        .iter()
        .map(|time_s| {
            while updates.get(latest + 1).is_some_and(|update| update.shown_s <= *time_s) {
                latest += 1;
            }
            latest
        })
        .collect();
    let channels = readouts
        .iter()
        .map(|readout| read_channel(conditions, readout, &updates, &latest_of_frame, &lost, &mut random))
        .collect();
    let lost = lost.iter().map(|(first, last)| SignalLoss {
        start_s: time_s[*first],
        end_s: time_s[*last],
        frames: last - first,
        kind: SignalLossKind::Static,
    });
    Readings { lost: lost.collect(), time_s, channels, ..Readings::default() }
}

/// Velocity filter, noise and updates of the receiver; the other channels as they are at each update.
fn receive(conditions: &Conditions, track: &[Instant], random: &mut Random) -> Vec<Update> {
    let order = usize::from(conditions.filter_order.clamp(1, 2));
    let kept = (-STEP_S * order as f64 / conditions.filter_lag_s).exp();
    let mut stages = [track.first().map_or([0.0; 2], |instant| instant.velocity_mps); 2];
    // Half of the variance of the noise is slow, since it comes from the satellites and not from the
    // receiver.
    let part_mps = conditions.noise_mps * 0.5_f64.sqrt();
    let mut slow_mps = [0, 1].map(|_| Wandering::new(part_mps, random));
    let interval_s = 1.0 / conditions.update_rate_hz;
    let mut next_s = random.uniform(0.0, interval_s);
    let duration_s = track.last().map_or(1.0, |instant| instant.time_s);
    let full_v = 4.15 * random.pick(&[3.0, 4.0, 6.0]);
    let (fall, sag) = (random.uniform(0.05, 0.12) / duration_s, random.uniform(0.03, 0.12));
    let mut satellites = random.uniform(9.0, 18.0);
    let field_m = random.uniform(0.0, 500.0);
    let mut updates = Vec::with_capacity((duration_s / interval_s) as usize + 1);
    for instant in track {
        let mut input = instant.velocity_mps;
        for stage in &mut stages[..order] {
            for (filtered, new) in stage.iter_mut().zip(input) {
                *filtered = kept * *filtered + (1.0 - kept) * new;
            }
            input = *stage;
        }
        if instant.time_s < next_s {
            continue;
        }
        next_s += interval_s;
        if random.chance(0.02) {
            satellites = (satellites + random.sign()).clamp(7.0, 20.0);
        }
        // A receiver that does not move shows less noise.
        let share = if instant.velocity_mps == [0.0; 2] { 0.3 } else { 1.0 };
        let [x, y] = [0, 1].map(|axis: usize| {
            let noise_mps = slow_mps[axis].step(interval_s, random) + part_mps * random.normal();
            input[axis] + share * noise_mps
        });
        let load = (instant.throttle_percent / 100.0).powi(2);
        updates.push(Update {
            shown_s: instant.time_s + conditions.latency_s,
            speed_mps: x.hypot(y),
            course_rad: y.atan2(x),
            height_m: field_m + instant.height_m + 0.3 * random.normal(),
            throttle_percent: instant.throttle_percent,
            voltage_v: full_v * (1.0 - fall * instant.time_s - sag * load) + 0.02 * random.normal(),
            satellites,
        });
    }
    updates
}

fn readouts(conditions: &Conditions, random: &mut Random) -> Vec<Readout> {
    let per_mps = 1.0 / conditions.unit.si_per_unit();
    let mut readouts = vec![Readout {
        channel: Channel::Speed,
        unit: Some(conditions.unit),
        decimals: conditions.decimals,
        truncates: conditions.truncates,
        range: (0.0, 125.0 * per_mps),
        max_rate: Some(20.0 * per_mps),
        value: Box::new(move |update| update.speed_mps * per_mps),
    }];
    let mut add = |channel, unit, decimals, range, value: Box<dyn Fn(&Update) -> f64>| {
        let (truncates, max_rate) = (false, None);
        readouts.push(Readout { channel, unit, decimals, truncates, range, max_rate, value });
    };
    let percent = (0.0, 100.0);
    match conditions.throttle_readout {
        ThrottleReadout::Alive => {
            add(
                Channel::Throttle,
                Some(Unit::Percent),
                0,
                percent,
                Box::new(|update| update.throttle_percent),
            );
        }
        ThrottleReadout::Dead => {
            let stuck = random.pick(&[0.0, 0.0, 50.0, 100.0]);
            add(Channel::Throttle, Some(Unit::Percent), 0, percent, Box::new(move |_| stuck));
        }
        ThrottleReadout::Absent => {}
    }
    if conditions.voltage_shown {
        let decimals = random.pick(&[1, 1, 2]);
        add(Channel::Voltage, Some(Unit::Volts), decimals, (0.0, 60.0), Box::new(|update| update.voltage_v));
    }
    if let Some(unit) = conditions.altitude_unit {
        let per_m = 1.0 / unit.si_per_unit();
        let range = (-500.0 * per_m, 9000.0 * per_m);
        add(Channel::Altitude, Some(unit), 0, range, Box::new(move |update| update.height_m * per_m));
    }
    if conditions.heading_shown {
        let axis_rad = random.uniform(0.0, TAU);
        let degrees =
            move |update: &Update| (axis_rad - update.course_rad).to_degrees().rem_euclid(360.0).floor();
        add(Channel::Heading, Some(Unit::Degrees), 0, (0.0, 360.0), Box::new(degrees));
    }
    if conditions.satellites_shown {
        add(Channel::Satellites, None, 0, (0.0, 60.0), Box::new(|update| update.satellites));
    }
    readouts
}

/// First frames of the signal losses and the frames after them, in order and without overlap.
fn signal_losses(conditions: &Conditions, time_s: &[f64], random: &mut Random) -> Vec<(usize, usize)> {
    let Some(last) = time_s.len().checked_sub(1) else { return Vec::new() };
    let mut lost: Vec<(usize, usize)> = (0..conditions.signal_losses)
        .map(|_| {
            let first = random.uniform(0.0, last as f64) as usize;
            let frames = (random.uniform(0.5, 3.0) * conditions.frame_rate_hz) as usize;
            (first, (first + frames).min(last))
        })
        .collect();
    lost.sort_unstable();
    lost.dedup_by(|later, earlier| later.0 <= earlier.1 + 1);
    lost
}

fn read_channel(
    conditions: &Conditions,
    readout: &Readout,
    updates: &[Update],
    latest_of_frame: &[usize],
    lost: &[(usize, usize)],
    random: &mut Random,
) -> ChannelReadings {
    let frames = latest_of_frame.len();
    let shown: Vec<f64> = updates.iter().map(|update| readout.shown(update)).collect();
    let mut channel = ChannelReadings {
        channel: readout.channel.clone(),
        unit: readout.unit,
        decimals: readout.decimals,
        step: None,
        range: Some(readout.range),
        max_rate: readout.max_rate,
        values: Vec::with_capacity(frames),
        confidence: Vec::with_capacity(frames),
        blank: Vec::with_capacity(frames),
    };
    for latest in latest_of_frame {
        let chance = random.uniform(0.0, 1.0);
        let (value, confidence, blank) = match shown.get(*latest) {
            Some(shown) if chance >= conditions.blank_share => {
                let wrong = random.chance(conditions.wrong_share);
                let value = if wrong { misread(*shown, readout.decimals, random) } else { *shown };
                (value, random.uniform(if wrong { 0.8 } else { 0.9 }, 0.9999) as f32, Blank::No)
            }
            _ if chance < 0.2 * conditions.blank_share => (f64::NAN, 0.0, Blank::Empty),
            _ => (f64::NAN, 0.0, Blank::Unclear),
        };
        channel.values.push(value);
        channel.confidence.push(confidence);
        channel.blank.push(blank);
    }
    for (first, after) in lost {
        channel.values[*first..*after].fill(f64::NAN);
        channel.confidence[*first..*after].fill(0.0);
        channel.blank[*first..*after].fill(Blank::SignalLost);
    }
    channel
}

/// A value with one digit misread.
fn misread(shown: f64, decimals: u8, random: &mut Random) -> f64 {
    let scale = 10_f64.powi(i32::from(decimals));
    let number = (shown * scale).round() as i64;
    let unit_of_digit = random.pick(&[1, 10, 100]);
    let digit = (number / unit_of_digit) % 10;
    let other = (digit + random.pick(&[1, 2, 3, 5, 7, 9])) % 10;
    (number + (other - digit) * unit_of_digit) as f64 / scale
}
