//! Airspeed and wind from three or more legs flown in different directions.
//!
//! If the direction over the ground is known (a course held, or the course of the receiver), each leg is a ground
//! vector: the air vector, whose length is the airspeed, plus the wind. The ground vectors end on a circle around the
//! wind (D. Gray 1998; the method of flight-test schools). If the heading of the nose is known instead, only the
//! length `g` of the ground vector is known. It obeys `g^2 = V^2 + W^2 + 2 V W cos(heading - b)` with the airspeed
//! `V`, the speed of the wind `W` and the direction of the wind `b`. This is linear in three unknowns and is true for
//! any headings.

use nalgebra::{DMatrix, DVector};

use crate::stats::{Fit, Linearisation, linear, nonlinear};

/// One leg: its ground speed and its direction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GroundLeg {
    /// Speed over ground, in any unit.
    pub speed: f64,
    /// Direction of the track or of the nose, in degrees clockwise from north.
    pub direction_deg: f64,
}

/// What the direction of a leg refers to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum HeadingReference {
    /// The track over the ground.
    #[default]
    Track,
    /// The heading of the nose.
    Heading,
}

/// Airspeed and wind, in the unit of the legs' speeds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AirAndWind {
    /// True airspeed, in the unit of the legs' speeds.
    pub airspeed: f64,
    /// Speed of the wind, in the unit of the legs' speeds.
    pub wind: f64,
    /// Direction the wind comes from, in degrees clockwise from north, 0 to 360.
    pub wind_from_deg: f64,
    /// Standard uncertainty of the airspeed divided by that of the legs' speeds, which is the same for every leg.
    pub airspeed_per_speed: f64,
    /// Standard deviation of the legs' residuals, in the unit of their speeds; `None` with three legs, which
    /// leave no residuals.
    pub residual: Option<f64>,
}

/// Airspeed and wind from three or more legs. `None` with fewer legs, if the directions of the legs do not determine
/// airspeed and wind, or if the resulting airspeed is below the wind.
#[must_use]
pub fn air_and_wind(legs: &[GroundLeg], heading_reference: HeadingReference) -> Option<AirAndWind> {
    match heading_reference {
        HeadingReference::Track => circle(legs),
        HeadingReference::Heading => of_headings(legs),
    }
}

/// The circle through the ends of the ground vectors with the smallest sum of squared distances: its centre
/// is the wind, its radius the airspeed. `None` if the fit fails, or its result is implausible.
fn circle(legs: &[GroundLeg]) -> Option<AirAndWind> {
    let ends: Vec<[f64; 2]> = legs.iter().map(|leg| vector(leg.speed, leg.direction_deg)).collect();
    let fit = nonlinear(&circle_start(&ends)?, |guess| linearised_circle(&ends, guess))?;
    let [east, north, airspeed] = [fit.parameters[0], fit.parameters[1], fit.parameters[2]];
    checked_result(
        airspeed,
        east.hypot(north),
        direction_from(east, north),
        &fit,
        fit.unit_covariance[(2, 2)],
    )
}

/// Starting point of the circle fit: the algebraic circle `x^2 + y^2 = 2 a x + 2 b y + c` (I. Kasa 1976).
/// `None` if the ends determine no circle.
fn circle_start(ends: &[[f64; 2]]) -> Option<DVector<f64>> {
    let design =
        DMatrix::from_fn(ends.len(), 3, |row, column| [2.0 * ends[row][0], 2.0 * ends[row][1], 1.0][column]);
    let squares = DVector::from_fn(ends.len(), |row, _| ends[row][0].powi(2) + ends[row][1].powi(2));
    let Fit { parameters, .. } = linear(&design, &squares)?;
    let radius = (parameters[2] + parameters[0].powi(2) + parameters[1].powi(2)).max(0.0).sqrt();
    Some(DVector::from_vec(vec![parameters[0], parameters[1], radius]))
}

fn linearised_circle(ends: &[[f64; 2]], guess: &DVector<f64>) -> Linearisation {
    let from_centre = |end: &[f64; 2]| [end[0] - guess[0], end[1] - guess[1]];
    let residuals = DVector::from_iterator(
        ends.len(),
        ends.iter().map(|end| {
            let [east, north] = from_centre(end);
            east.hypot(north) - guess[2]
        }),
    );
    let derivatives = DMatrix::from_fn(ends.len(), 3, |row, column| {
        let [east, north] = from_centre(&ends[row]);
        let distance = east.hypot(north).max(f64::MIN_POSITIVE);
        [east / distance, north / distance, 1.0][column]
    });
    Linearisation { residuals, derivatives }
}

/// Airspeed and wind if the headings of the nose are known. Solves `g^2 = s + p cos h + q sin h` for each
/// leg, where `g` is the ground speed, `h` the heading, `s = V^2 + W^2`, and the vector `(p, q)` has the
/// length `2 V W` and the direction of the wind. `V^2` is the larger and `W^2` the smaller root of `x^2 - s x
/// + (p^2 + q^2) / 4`.
fn of_headings(legs: &[GroundLeg]) -> Option<AirAndWind> {
    let radians = |leg: &GroundLeg| leg.direction_deg.to_radians();
    let design = DMatrix::from_fn(legs.len(), 3, |row, column| {
        [1.0, radians(&legs[row]).cos(), radians(&legs[row]).sin()][column]
    });
    let squares = DVector::from_iterator(legs.len(), legs.iter().map(|leg| leg.speed.powi(2)));
    let fit = linear(&design, &squares)?;
    let (s, north, east) = (fit.parameters[0], fit.parameters[1], fit.parameters[2]);
    let product = north.hypot(east) / 2.0;
    let root = (s.powi(2) / 4.0 - product.powi(2)).sqrt();
    let (airspeed, wind) = ((s / 2.0 + root).sqrt(), (s / 2.0 - root).max(0.0).sqrt());
    // dV/ds and dV/d(VW). The squares have the uncertainty 2 g for an uncertainty of 1 of the speed.
    let by_sum = airspeed / (2.0 * (airspeed.powi(2) - wind.powi(2)));
    let by_product = -wind / (airspeed.powi(2) - wind.powi(2));
    let (cos, sin) = if product > 0.0 { (north / product / 2.0, east / product / 2.0) } else { (0.0, 0.0) };
    let slopes = DVector::from_vec(vec![by_sum, by_product * cos / 2.0, by_product * sin / 2.0]);
    let typical_speed = (squares.sum() / legs.len() as f64).sqrt();
    let variance =
        (slopes.transpose() * &fit.unit_covariance * &slopes)[(0, 0)] * 4.0 * typical_speed.powi(2);
    let in_speeds = Fit { residuals: &fit.residuals / (2.0 * typical_speed), ..fit };
    checked_result(airspeed, wind, direction_from(east, north), &in_speeds, variance)
}

fn checked_result(
    airspeed: f64,
    wind: f64,
    wind_from_deg: f64,
    fit: &Fit,
    variance: f64,
) -> Option<AirAndWind> {
    let sound = airspeed.is_finite() && wind.is_finite() && airspeed > wind;
    sound.then(|| AirAndWind {
        airspeed,
        wind,
        wind_from_deg,
        airspeed_per_speed: variance.sqrt(),
        residual: fit.residual_deviation(),
    })
}

/// A vector from its length and direction, as (east, north).
fn vector(length: f64, direction_deg: f64) -> [f64; 2] {
    let direction = direction_deg.to_radians();
    [length * direction.sin(), length * direction.cos()]
}

/// The direction a vector comes from, in degrees clockwise from north.
fn direction_from(east: f64, north: f64) -> f64 {
    (-east).atan2(-north).to_degrees().rem_euclid(360.0)
}
