//! The wind from whole turns: a fit of ground speed against course, for overlays that show both.
//!
//! With the airspeed `V`, and the wind components `a` along the course over the ground and `b` across it, the ground
//! speed is `sqrt(V^2 - b^2) + a`: the circle of ground vectors about the wind. Drag reduces the airspeed in a turn;
//! the fit determines this loss as a share of the airspeed. The fit needs turns on both sides of the course line: with
//! turns on one side only, the loss cannot be separated from the crosswind. The loss is not the same in the two halves
//! of a turn, since the nose turns at a different rate than the course and the receiver lags. The error of the wind
//! due to this is about the same share of the wind as the loss is of the airspeed; the uncertainty includes it as a
//! uniform distribution (JCGM 100:2008, 4.3.7).

use nalgebra::{DMatrix, DVector};

use crate::legs::LegSet;
use crate::model::channel::Channel;
use crate::series::Series;
use crate::stats::{Fit, Linearisation, nonlinear};

/// Maximum time between a heading update and the speed update it is combined with, in seconds (set by
/// judgement).
const MAX_OFFSET_S: f64 = 0.15;

/// Minimum number of samples in the middle of turns on each side of the course line (set by judgement).
const MIN_SAMPLES_IN_TURNS: usize = 5;

/// Number of fitted parameters other than the airspeeds of the steps: the wind towards east and towards
/// north, and the share of the airspeed lost in the middle of a turn.
const COMMON_PARAMETERS: usize = 3;

/// The fitted wind, in the unit of the speeds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct TurnFit {
    /// Speed of the wind, in the unit of the speeds.
    pub wind: f64,
    /// Direction the wind comes from, in degrees clockwise from north.
    pub from_deg: f64,
    /// Standard uncertainty of the wind across the typical course, in the unit of the speeds.
    pub uncertainty: f64,
}

/// One overlay update of the speed, with the course at that time.
#[derive(Debug, Clone, Copy)]
struct TurnSample {
    speed: f64,
    time_s: f64,
    /// Course over the ground, in radians clockwise from north.
    course: f64,
    /// Squared sine of the angle between the course and that of the leg before the turn: 0 on a leg, 1 where the
    /// course is across the leg. It is the share of the full loss of speed that the sample has.
    loss_share: f64,
    /// Index of the throttle step among the fitted steps.
    step: usize,
}

/// Fits the wind, the loss of speed in turns, and the airspeed of each throttle step. Uses the legs, and the turns
/// between successive legs of one step. `None` if there are too few turns on one side of the course line, or if the
/// fit fails.
pub(super) fn fit(series: &Series, set: &LegSet) -> Option<TurnFit> {
    let variability = set.variability.as_ref()?;
    let (samples, courses) = samples(series, set);
    if !has_turns_on_both_sides(&samples, courses) {
        return None;
    }
    let steps = samples.iter().map(|sample| sample.step + 1).max()?;
    let mean_speed = samples.iter().map(|sample| sample.speed).sum::<f64>() / samples.len() as f64;
    let mut start = DVector::from_element(COMMON_PARAMETERS + steps, mean_speed);
    start.rows_mut(0, COMMON_PARAMETERS).fill(0.0);
    let found = nonlinear(&start, |guess| linearised(&samples, guess))?;
    let (east, north) = (found.parameters[0], found.parameters[1]);
    let deviation = found.residual_deviation()?.max(variability.gust);
    let slopes = linearised(&samples, &found.parameters).derivatives;
    let weights = across_weights(&found, &slopes, courses);
    let of_shape = found.parameters[2] * east.hypot(north) / 3f64.sqrt();
    let variance = gust_variance(&samples, &weights, variability.gust_time_s);
    Some(TurnFit {
        wind: east.hypot(north),
        from_deg: (-east).atan2(-north).to_degrees().rem_euclid(360.0),
        uncertainty: (deviation * variance.sqrt()).hypot(of_shape),
    })
}

/// Direction of the typical course in radians clockwise from north; opposite directions are equivalent. `double_angle_sum` is
/// the sum of unit vectors at twice the angle of each leg's course: the sum of the sines and the sum of the cosines.
fn typical_course(double_angle_sum: (f64, f64)) -> f64 {
    double_angle_sum.0.atan2(double_angle_sum.1) / 2.0
}

fn has_turns_on_both_sides(samples: &[TurnSample], double_angle_sum: (f64, f64)) -> bool {
    let middle = samples.iter().filter(|sample| sample.loss_share > 0.5);
    let (right, left): (Vec<&TurnSample>, Vec<&TurnSample>) =
        middle.partition(|sample| (sample.course - typical_course(double_angle_sum)).sin() > 0.0);
    right.len() >= MIN_SAMPLES_IN_TURNS && left.len() >= MIN_SAMPLES_IN_TURNS
}

/// For each sample, the weight of its speed in the fitted wind component across the typical course: one row of
/// `(J^T J)^-1 J^T`, where `J` holds the derivatives of the fitted speeds. `double_angle_sum` is the sum of unit vectors at
/// twice the angle of each leg's course: the sum of the sines and the sum of the cosines.
fn across_weights(found: &Fit, slopes: &DMatrix<f64>, double_angle_sum: (f64, f64)) -> DVector<f64> {
    let course = typical_course(double_angle_sum);
    let mut across = DVector::zeros(found.parameters.len());
    across[0] = course.cos();
    across[1] = -course.sin();
    slopes * (&found.unit_covariance * across)
}

/// Variance that gusts cause in the sum of the samples' speeds times `weights`, as a multiple of the variance of the
/// gusts: `sum_ij w_i w_j exp(-|t_i - t_j|/T)` with the time constant `T` = `gust_time_s`. Gusts towards east and
/// towards north are independent. The sum is therefore computed twice, with the weights times the sine and times the
/// cosine of the course, and the results are added. The computing time is linear in the number of samples.
fn gust_variance(samples: &[TurnSample], weights: &DVector<f64>, gust_time_s: f64) -> f64 {
    let part = |of: fn(f64) -> f64| {
        let (mut before_s, mut remembered, mut variance) = (f64::NEG_INFINITY, 0.0, 0.0);
        for (sample, weight) in samples.iter().zip(weights.iter()) {
            let weight = weight * of(sample.course);
            remembered *= (-(sample.time_s - before_s) / gust_time_s).exp();
            variance += weight * (weight + 2.0 * remembered);
            remembered += weight;
            before_s = sample.time_s;
        }
        variance
    };
    part(f64::sin) + part(f64::cos)
}

/// Samples of the legs and of the turns between successive legs of one step. The second value is the sum of unit
/// vectors at twice the angle of each leg's course: the sum of the sines and the sum of the cosines.
fn samples(series: &Series, set: &LegSet) -> (Vec<TurnSample>, (f64, f64)) {
    let speed = series.updates(&Channel::Speed);
    let heading = series.updates(&Channel::Heading);
    let course_at = |time_s: f64| {
        let after = heading.time_s.partition_point(|time| *time < time_s);
        let apart = |place: &usize| (heading.time_s[*place] - time_s).abs();
        let neighbours = after.saturating_sub(1)..(after + 1).min(heading.time_s.len());
        let nearest = neighbours.min_by(|a, b| apart(a).total_cmp(&apart(b)));
        nearest.filter(|place| apart(place) <= MAX_OFFSET_S).map(|place| heading.values[place].to_radians())
    };
    let mut steps: Vec<u32> = set.legs.iter().filter_map(|leg| leg.step).collect();
    steps.dedup();
    let (mut samples, mut double_angle_sum) = (Vec::new(), (0.0, 0.0));
    for (index, leg) in set.legs.iter().enumerate() {
        let place = leg.step.and_then(|step| steps.iter().position(|other| *other == step));
        let (Some(step), Some(Some(leg_deg))) = (place, set.headings_deg.get(index)) else { continue };
        let leg_course = leg_deg.to_radians();
        double_angle_sum =
            (double_angle_sum.0 + (2.0 * leg_course).sin(), double_angle_sum.1 + (2.0 * leg_course).cos());
        let next = set.legs.get(index + 1).filter(|next| next.step == leg.step);
        let end_s = next.map_or(leg.steady_end_s, |next| next.steady_start_s);
        let from = speed.time_s.partition_point(|time| *time < leg.steady_start_s);
        let until = speed.time_s.partition_point(|time| *time < end_s);
        for (time_s, speed) in speed.time_s[from..until].iter().zip(&speed.values[from..until]) {
            if let Some(course) = course_at(*time_s) {
                let in_turn = *time_s > leg.steady_end_s;
                let loss_share = if in_turn { (course - leg_course).sin().powi(2) } else { 0.0 };
                samples.push(TurnSample { time_s: *time_s, speed: *speed, course, loss_share, step });
            }
        }
    }
    (samples, double_angle_sum)
}

fn linearised(samples: &[TurnSample], guess: &DVector<f64>) -> Linearisation {
    let mut residuals = DVector::zeros(samples.len());
    let mut derivatives = DMatrix::zeros(samples.len(), guess.len());
    for (row, sample) in samples.iter().enumerate() {
        let (sin, cos) = sample.course.sin_cos();
        let along = guess[0] * sin + guess[1] * cos;
        let across = guess[0] * cos - guess[1] * sin;
        let left = 1.0 - guess[2] * sample.loss_share;
        let airspeed = guess[COMMON_PARAMETERS + sample.step] * left;
        let forward = (airspeed.powi(2) - across.powi(2)).max(1e-6).sqrt();
        residuals[row] = sample.speed - forward - along;
        let (by_airspeed, by_across) = (airspeed / forward, -across / forward);
        derivatives[(row, 0)] = sin + by_across * cos;
        derivatives[(row, 1)] = cos - by_across * sin;
        derivatives[(row, 2)] = -by_airspeed * guess[COMMON_PARAMETERS + sample.step] * sample.loss_share;
        derivatives[(row, COMMON_PARAMETERS + sample.step)] = by_airspeed * left;
    }
    Linearisation { residuals, derivatives }
}
