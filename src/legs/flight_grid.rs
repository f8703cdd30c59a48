//! The flight resampled to even time steps: the input of the search for legs.

use crate::model::channel::Channel;
use crate::series::{Series, Updates, without_outliers};
use crate::stats::{median, quantile};

/// Time step of the grid, in seconds (set by judgement).
pub(super) const STEP_S: f64 = 0.2;

/// Maximum age of an overlay update that fills a grid step without an update of its own, in seconds. For slow
/// overlays the limit is one and a half update intervals instead (set by judgement).
const MAX_UPDATE_AGE_S: f64 = 0.5;

/// Maximum length of a blank interval within a leg, in seconds. A longer one may hide a turn (set by
/// judgement).
const MAX_BLANK_S: f64 = 3.0;

/// Maximum length of a gap in the recording within a leg, in seconds (set by judgement).
const MAX_GAP_S: f64 = 1.5;

/// Two turn rates in degrees a second: the flight is straight below the first rate and turns above the second (set by
/// judgement).
const TURN_RATE_DPS: (f64, f64) = (6.0, 14.0);

/// Ground speed below which an aircraft stands, taxies or is carried, in m/s: a brisk walk (common practice, no
/// source). A leg flown into a wind nearly as fast as the aircraft is still faster than this.
const STANDING_MPS: f64 = 2.0;

/// Ground speed above which an aircraft that stood has taken off, in m/s (common practice, no source).
const AIRBORNE_MPS: f64 = 4.0;

/// Two rates of climb or descent in m/s: the flight is level below the first rate and climbs or descends above the
/// second (set by judgement).
const CLIMB_MPS: (f64, f64) = (1.2, 2.5);

/// Time before and after a time step over which the rate of climb is measured, in seconds (set by judgement).
const CLIMB_REACH_S: f64 = 2.0;

/// Time after take-off and before landing that is not searched for legs, in seconds, if the overlay shows no altitude
/// (set by judgement).
const NEAR_GROUND_S: f64 = 8.0;

/// Time after take-off and before landing that is not searched for legs, in seconds, if the overlay shows the
/// altitude: climb and descent are then recognised directly (set by judgement).
const NEAR_GROUND_WITH_ALTITUDE_S: f64 = 2.0;

/// Time before and after a time step over which the slope of the speed is measured, in seconds (set by judgement).
const SLOPE_REACH_S: f64 = 1.0;

/// Upper limit of the typical slope of the speed within legs, as a share of the speed per second: 0.2 m/s a
/// second at 25 m/s. A limit is needed because a flight of many short turns has little flat speed to measure
/// the slope from (set by judgement).
const MAX_TYPICAL_SLOPE: f64 = 0.008;

/// Upper limit of the squared slope of the speed at one time step, as a multiple of the typical squared slope (set by
/// judgement).
const MAX_SQUARED_SLOPE: f64 = 16.0;

/// Ratio of the standard deviation of the gusts to the standard deviation of the speed's slope, in seconds. Computed
/// for a least-squares slope over 2 s and gusts whose correlation falls off as `exp(-t / 5 s)`.
const GUST_PER_SLOPE_S: f64 = 2.3;

/// Throttle changes smaller than this are noise of the stick, in per cent (set by judgement).
pub(super) const SAME_THROTTLE_PERCENT: f64 = 3.0;

/// The flight in time steps of [`STEP_S`] seconds. All vectors have one entry for each time step.
#[derive(Debug, Clone)]
pub(super) struct FlightGrid {
    /// Time of the start of the first step, in seconds of flight time.
    pub start_s: f64,
    /// Speed, in the speed channel's unit; NaN where no reading is trusted.
    pub speed: Vec<f64>,
    /// True for time steps that no leg may contain: long blank intervals, gaps in the recording, and the time on the
    /// ground or close to take-off and landing.
    pub broken: Vec<bool>,
    /// True for time steps at whose start the throttle changes.
    pub throttle_change: Vec<bool>,
    /// Turn rate at each time step, scaled from 0 (straight) to 1 (turning); `None` where the heading is not known.
    pub turning: Vec<Option<f64>>,
    /// Rate of climb or descent at each time step, scaled from 0 (level) to 1 (climbing or descending); 0 where the
    /// altitude is not known.
    pub climbing: Vec<f64>,
    /// Squared slope of the speed, divided by the typical squared slope within legs.
    pub sloping: Vec<f64>,
    /// Typical standard deviation of the speed about the mean of a leg, in the speed's unit.
    pub noise: f64,
    /// Ground speed below which the aircraft stands, taxies or is carried, in the speed's unit.
    pub standing_speed: f64,
}

impl FlightGrid {
    /// Resamples a series to the grid; `None` for a series without a trusted speed, or longer than a week.
    pub fn of(series: &Series) -> Option<Self> {
        let speed = series.updates(&Channel::Speed);
        let quantum = series.readings.channel(&Channel::Speed)?.quantum();
        let (start_s, end_s) = (*speed.time_s.first()?, *speed.time_s.last()?);
        let steps = ((end_s - start_s) / STEP_S).floor();
        if !(0.0..3e6).contains(&steps) {
            return None;
        }
        let steps = steps as usize + 1;
        let held_s = MAX_UPDATE_AGE_S.max(1.5 * series.update_interval_s());
        let cleaned = Updates { values: without_outliers(&speed.values, quantum), time_s: speed.time_s };
        let speed = on_grid(&cleaned, start_s, steps, held_s);
        let standing_speed = STANDING_MPS / series.speed_si();
        let slopes = slopes(&speed, standing_speed);
        let typical_slope = typical_slope(&slopes, quantum).min(MAX_TYPICAL_SLOPE * quantile(&speed, 0.7)?);
        let throttle = on_grid(&series.updates(&Channel::Throttle), start_s, steps, held_s);
        let heading = on_grid(&series.updates(&Channel::Heading), start_s, steps, held_s);
        Some(Self {
            start_s,
            broken: broken(&speed, series, start_s),
            climbing: climbing(
                &on_grid(&series.updates(&Channel::Altitude), start_s, steps, held_s),
                series.altitude_si(),
            ),
            throttle_change: throttle_changes(&throttle),
            turning: turning(&heading),
            sloping: sloping(&slopes, &speed, typical_slope),
            speed,
            noise: GUST_PER_SLOPE_S * typical_slope,
            standing_speed,
        })
    }

    /// Time of the start of a step, in seconds of flight time.
    pub fn time_s(&self, step: usize) -> f64 {
        self.start_s + step as f64 * STEP_S
    }
}

/// The value of the last overlay update in each step. A step without an update repeats the previous value as
/// long as that is younger than `held_s` seconds, since an overlay slower than the grid still shows it.
fn on_grid(updates: &Updates, start_s: f64, steps: usize, held_s: f64) -> Vec<f64> {
    let mut grid = vec![f64::NAN; steps];
    for (time, value) in updates.time_s.iter().zip(&updates.values) {
        let step = (time - start_s) / STEP_S;
        if step >= 0.0
            && let Some(slot) = grid.get_mut(step as usize)
        {
            *slot = *value;
        }
    }
    for step in 1..steps {
        let age = updates_age(updates, start_s + (step as f64 + 1.0) * STEP_S);
        if grid[step].is_nan() && age < held_s {
            grid[step] = grid[step - 1];
        }
    }
    grid
}

/// Time from the last update before `time_s` to `time_s`, in seconds; infinite if there is no update before.
fn updates_age(updates: &Updates, time_s: f64) -> f64 {
    let after = updates.time_s.partition_point(|time| *time < time_s);
    after.checked_sub(1).and_then(|last| updates.time_s.get(last)).map_or(f64::INFINITY, |last| time_s - last)
}

fn broken(speed: &[f64], series: &Series, start_s: f64) -> Vec<bool> {
    let mut broken = vec![false; speed.len()];
    let longest = (MAX_BLANK_S / STEP_S) as usize;
    let mut from = 0;
    for step in 0..=speed.len() {
        if speed.get(step).is_none_or(|value| value.is_finite()) {
            if step - from > longest {
                broken[from..step].fill(true);
            }
            from = step + 1;
        }
    }
    for gap in series.readings.gaps.iter().filter(|gap| gap.end_s - gap.start_s > MAX_GAP_S) {
        let step = |time_s: f64| (((time_s - start_s) / STEP_S).max(0.0) as usize).min(speed.len());
        let (first, last) = (step(gap.start_s), step(gap.end_s));
        broken[first..last].fill(true);
    }
    let altitude_shown = series.alive(&Channel::Altitude).is_some();
    let near_ground_s = if altitude_shown { NEAR_GROUND_WITH_ALTITUDE_S } else { NEAR_GROUND_S };
    let near_ground = (near_ground_s / STEP_S) as usize;
    if let Some(take_off) = take_off(speed.iter(), series.speed_si()) {
        broken[..speed.len().min(take_off + near_ground)].fill(true);
    }
    if let Some(before_end) = take_off(speed.iter().rev(), series.speed_si()) {
        broken[speed.len().saturating_sub(before_end + near_ground)..].fill(true);
    }
    broken
}

/// The first time step in flight after the aircraft stood; `None` if the recording begins in flight, or if the
/// aircraft never takes off. Given speeds in reverse order, it finds the landing.
fn take_off<'a>(speed: impl Iterator<Item = &'a f64>, speed_si: f64) -> Option<usize> {
    let stood = (1.0 / STEP_S) as usize;
    let mut slow = 0;
    for (step, value) in speed.enumerate() {
        if *value * speed_si < STANDING_MPS {
            slow += 1;
        } else if *value * speed_si >= AIRBORNE_MPS {
            return (slow >= stood).then_some(step);
        }
    }
    None
}

fn climbing(altitude: &[f64], altitude_si: f64) -> Vec<f64> {
    let reach = (CLIMB_REACH_S / STEP_S) as usize;
    (0..altitude.len())
        .map(|step| {
            let (first, last) = (step.saturating_sub(reach), (step + reach).min(altitude.len() - 1));
            let climbed_m = (altitude[last] - altitude[first]).abs() * altitude_si;
            let rate = climbed_m / ((last - first).max(1) as f64 * STEP_S);
            let share = (rate - CLIMB_MPS.0) / (CLIMB_MPS.1 - CLIMB_MPS.0);
            if share.is_nan() { 0.0 } else { share.clamp(0.0, 1.0) }
        })
        .collect()
}

/// Marks the steps at which the median throttle of the next 2 s differs from that of the previous 2 s, and
/// differs most among the neighbouring steps.
fn throttle_changes(throttle: &[f64]) -> Vec<bool> {
    let span = (2.0 / STEP_S) as usize;
    let change: Vec<f64> = (0..throttle.len())
        .map(|step| {
            let before = median(&throttle[step.saturating_sub(span)..step]);
            let after = median(&throttle[step..throttle.len().min(step + span)]);
            before.zip(after).map_or(0.0, |(before, after)| (after - before).abs())
        })
        .collect();
    (0..change.len())
        .map(|step| {
            let near = &change[step.saturating_sub(span)..change.len().min(step + span)];
            let first_largest = near.iter().copied().fold(0.0, f64::max) <= change[step]
                && change[step.saturating_sub(span)..step].iter().all(|earlier| *earlier < change[step]);
            change[step] > SAME_THROTTLE_PERCENT && first_largest
        })
        .collect()
}

/// Turn rate over about 1 s for each time step, scaled from 0 (straight) to 1 (turning); `None` where the heading is
/// not known.
fn turning(heading: &[f64]) -> Vec<Option<f64>> {
    let reach = (0.6 / STEP_S) as usize;
    (0..heading.len())
        .map(|step| {
            let before = heading[step.saturating_sub(reach)];
            let after = heading[(step + reach).min(heading.len() - 1)];
            let turned = ((after - before + 180.0).rem_euclid(360.0) - 180.0).abs();
            let rate = turned / (2.0 * reach as f64 * STEP_S);
            let share = (rate - TURN_RATE_DPS.0) / (TURN_RATE_DPS.1 - TURN_RATE_DPS.0);
            share.is_finite().then(|| share.clamp(0.0, 1.0))
        })
        .collect()
}

/// Slope of the least-squares line through the speeds around each step, in speed units per second. NaN where
/// the aircraft stands, and where less than half of the speeds are trusted.
fn slopes(speed: &[f64], standing_speed: f64) -> Vec<f64> {
    let reach = (SLOPE_REACH_S / STEP_S) as usize;
    (0..speed.len())
        .map(|step| {
            let from = step.saturating_sub(reach);
            let window = &speed[from..speed.len().min(step + reach + 1)];
            let points = window.iter().enumerate().filter(|(_, speed)| speed.is_finite());
            let (count, sum_x, sum_y) = points
                .clone()
                .fold((0.0, 0.0, 0.0), |sum, (x, y)| (sum.0 + 1.0, sum.1 + x as f64, sum.2 + y));
            let (mean_x, mean_y) = (sum_x / count, sum_y / count);
            let (over, under) = points.fold((0.0, 0.0), |sum, (x, y)| {
                let x = x as f64 - mean_x;
                (sum.0 + x * (y - mean_y), sum.1 + x * x)
            });
            let known = count > reach as f64 && mean_y > standing_speed;
            if known { over / under / STEP_S } else { f64::NAN }
        })
        .collect()
}

/// Standard deviation of the speed's slope within legs, estimated from the flattest 15 % of the flight: 15 %
/// of normally distributed values lie within 0.1891 standard deviations of zero. The result is at least a
/// quarter of a display step per second.
fn typical_slope(slopes: &[f64], quantum: f64) -> f64 {
    let sizes: Vec<f64> = slopes.iter().map(|slope| slope.abs()).collect();
    (quantile(&sizes, 0.15).unwrap_or(0.0) / 0.1891).max(0.25 * quantum).max(1e-9)
}

/// Squared slope of the speed at each time step, divided by the typical squared slope within legs at that speed; 0
/// where the slope is not known. `usual` is the typical slope, in speed units per second.
fn sloping(slopes: &[f64], speed: &[f64], usual: f64) -> Vec<f64> {
    let typical = quantile(speed, 0.7).unwrap_or(1.0);
    slopes
        .iter()
        .zip(speed)
        .map(|(slope, speed)| {
            let usual = usual * (speed / typical).clamp(0.5, 1.5);
            let share = (slope / usual).powi(2).min(MAX_SQUARED_SLOPE);
            if slope.is_finite() { share } else { 0.0 }
        })
        .collect()
}
