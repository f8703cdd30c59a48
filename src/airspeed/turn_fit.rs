//! The wind from whole turns: ground speed against course, where the overlay shows both.
//!
//! At an airspeed `V` on a course `c` over the ground with a wind of components `a` along and `b` across
//! that course, the ground speed is `sqrt(V^2 - b^2) + a`: the circle of ground vectors about the wind. In
//! a turn drag takes some airspeed, by a share that is fitted as well. Turns of both ends of the course are
//! needed, over either side: with turns over one side only the loss and the crosswind cannot be told apart
//! and there is no fit. The loss differs between the sides of a turn by about its own share of the wind, since
//! the nose turns at another rate than the course and the receiver lags: that share, evenly distributed
//! (JCGM 100:2008, 4.3.7), is in the uncertainty.

use nalgebra::{DMatrix, DVector};

use crate::legs::LegSet;
use crate::model::channel::Channel;
use crate::series::Series;
use crate::stats::{Fit, curved};

/// A heading is taken for a speed's when their updates are this close, in seconds.
const SAME_MOMENT_S: f64 = 0.15;

/// Moments in the middle of turns over either side that are needed at least.
const LEAST_IN_TURNS: usize = 5;

/// Parameters before the airspeeds of the steps: wind towards east and north, and the share of the
/// airspeed lost in the middle of a turn.
const COMMON: usize = 3;

/// What the turns say, in the unit of the speeds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct TurnFit {
    /// Speed of the wind.
    pub wind: f64,
    /// Direction it comes from, in degrees clockwise from north.
    pub from_deg: f64,
    /// Standard uncertainty of the wind across the usual course.
    pub uncertainty: f64,
}

/// One moment of the flight.
#[derive(Debug, Clone, Copy)]
struct Moment {
    speed: f64,
    time_s: f64,
    /// Course over the ground, in radians clockwise from north.
    course: f64,
    /// How far through a turn: 0 on a leg, 1 in the middle of a turn by half a circle.
    turned: f64,
    /// Place of the step among the fitted ones.
    step: usize,
}

/// Fits wind, loss and the airspeed of each step to the legs of a step and the turns between them.
pub(super) fn fit(series: &Series, set: &LegSet) -> Option<TurnFit> {
    let wobble = set.wobble.as_ref()?;
    let (moments, courses) = moments(series, set);
    if !turns_over_both_sides(&moments, courses) {
        return None;
    }
    let steps = moments.iter().map(|moment| moment.step + 1).max()?;
    let usual = moments.iter().map(|moment| moment.speed).sum::<f64>() / moments.len() as f64;
    let mut start = DVector::from_element(COMMON + steps, usual);
    start.rows_mut(0, COMMON).fill(0.0);
    let found = curved(&start, |guess| residuals(&moments, guess))?;
    let (east, north) = (found.parameters[0], found.parameters[1]);
    let deviation = found.residual_deviation()?.max(wobble.gust);
    let (_, slopes) = residuals(&moments, &found.parameters);
    let weights = across_weights(&found, &slopes, courses);
    let of_shape = found.parameters[2] * east.hypot(north) / 3f64.sqrt();
    let variance = gust_variance(&moments, &weights, wobble.gust_time_s);
    Some(TurnFit {
        wind: east.hypot(north),
        from_deg: (-east).atan2(-north).to_degrees().rem_euclid(360.0),
        uncertainty: (deviation * variance.sqrt()).hypot(of_shape),
    })
}

/// Direction of the usual course, in radians; which way round is left open.
fn usual_course(doubled: (f64, f64)) -> f64 {
    doubled.0.atan2(doubled.1) / 2.0
}

fn turns_over_both_sides(moments: &[Moment], doubled: (f64, f64)) -> bool {
    let middle = moments.iter().filter(|moment| moment.turned > 0.5);
    let (right, left): (Vec<&Moment>, Vec<&Moment>) =
        middle.partition(|moment| (moment.course - usual_course(doubled)).sin() > 0.0);
    right.len() >= LEAST_IN_TURNS && left.len() >= LEAST_IN_TURNS
}

/// What each moment's speed weighs in the wind across the usual course: the row of `(J^T J)^-1 J^T` for
/// it. Courses come as the sum of their doubled angles' vectors, so that both ways count as one.
fn across_weights(found: &Fit, slopes: &DMatrix<f64>, doubled: (f64, f64)) -> DVector<f64> {
    let course = usual_course(doubled);
    let mut across = DVector::zeros(found.parameters.len());
    across[0] = course.cos();
    across[1] = -course.sin();
    slopes * (&found.unit_covariance * across)
}

/// Variance of a weighted sum of the speeds for gusts of variance 1 in either direction over the ground
/// whose correlation falls off as `exp(-t/T)`: `sum_ij w_i w_j exp(-|t_i - t_j|/T)`, summed up along the
/// flight, with the weights' parts towards east and north.
fn gust_variance(moments: &[Moment], weights: &DVector<f64>, gust_time_s: f64) -> f64 {
    let part = |of: fn(f64) -> f64| {
        let (mut before_s, mut remembered, mut variance) = (f64::NEG_INFINITY, 0.0, 0.0);
        for (moment, weight) in moments.iter().zip(weights.iter()) {
            let weight = weight * of(moment.course);
            remembered *= (-(moment.time_s - before_s) / gust_time_s).exp();
            variance += weight * (weight + 2.0 * remembered);
            remembered += weight;
            before_s = moment.time_s;
        }
        variance
    };
    part(f64::sin) + part(f64::cos)
}

/// Moments of the legs of the steps and of the turns between neighbouring legs of a step.
fn moments(series: &Series, set: &LegSet) -> (Vec<Moment>, (f64, f64)) {
    let speed = series.updates(&Channel::Speed);
    let heading = series.updates(&Channel::Heading);
    let course_at = |time_s: f64| {
        let after = heading.time_s.partition_point(|time| *time < time_s);
        let apart = |place: &usize| (heading.time_s[*place] - time_s).abs();
        let neighbours = after.saturating_sub(1)..(after + 1).min(heading.time_s.len());
        let nearest = neighbours.min_by(|a, b| apart(a).total_cmp(&apart(b)));
        nearest.filter(|place| apart(place) <= SAME_MOMENT_S).map(|place| heading.values[place].to_radians())
    };
    let mut steps: Vec<u32> = set.legs.iter().filter_map(|leg| leg.step).collect();
    steps.dedup();
    let (mut moments, mut doubled) = (Vec::new(), (0.0, 0.0));
    for (index, leg) in set.legs.iter().enumerate() {
        let place = leg.step.and_then(|step| steps.iter().position(|other| *other == step));
        let (Some(step), Some(Some(leg_deg))) = (place, set.headings_deg.get(index)) else { continue };
        let leg_course = leg_deg.to_radians();
        doubled = (doubled.0 + (2.0 * leg_course).sin(), doubled.1 + (2.0 * leg_course).cos());
        let next = set.legs.get(index + 1).filter(|next| next.step == leg.step);
        let end_s = next.map_or(leg.steady_end_s, |next| next.steady_start_s);
        let from = speed.time_s.partition_point(|time| *time < leg.steady_start_s);
        let until = speed.time_s.partition_point(|time| *time < end_s);
        for (time_s, speed) in speed.time_s[from..until].iter().zip(&speed.values[from..until]) {
            if let Some(course) = course_at(*time_s) {
                let in_turn = *time_s > leg.steady_end_s;
                let turned = if in_turn { (course - leg_course).sin().powi(2) } else { 0.0 };
                moments.push(Moment { time_s: *time_s, speed: *speed, course, turned, step });
            }
        }
    }
    (moments, doubled)
}

fn residuals(moments: &[Moment], guess: &DVector<f64>) -> (DVector<f64>, DMatrix<f64>) {
    let mut residuals = DVector::zeros(moments.len());
    let mut slopes = DMatrix::zeros(moments.len(), guess.len());
    for (row, moment) in moments.iter().enumerate() {
        let (sin, cos) = moment.course.sin_cos();
        let along = guess[0] * sin + guess[1] * cos;
        let across = guess[0] * cos - guess[1] * sin;
        let left = 1.0 - guess[2] * moment.turned;
        let airspeed = guess[COMMON + moment.step] * left;
        let forward = (airspeed.powi(2) - across.powi(2)).max(1e-6).sqrt();
        residuals[row] = moment.speed - forward - along;
        let (by_airspeed, by_across) = (airspeed / forward, -across / forward);
        slopes[(row, 0)] = sin + by_across * cos;
        slopes[(row, 1)] = cos - by_across * sin;
        slopes[(row, 2)] = -by_airspeed * guess[COMMON + moment.step] * moment.turned;
        slopes[(row, COMMON + moment.step)] = by_airspeed * left;
    }
    (residuals, slopes)
}
