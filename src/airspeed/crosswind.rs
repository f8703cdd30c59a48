//! The crosswind: what it takes from the mean of two legs whose course is held over the ground.
//!
//! A wind `Wc` across a course that is held over the ground turns the nose aside, and the mean of the two
//! legs is `sqrt(V^2 - Wc^2)`: it reads low by about `Wc^2 / 2V`. Where the crosswind is known this is
//! put right. Where it is not, the angle between course and wind is taken as evenly distributed within
//! [`COURSE_WITHIN_DEG`] either side, and what that takes on the average and its spread go into the
//! interval (JCGM 100:2008, 4.3.7 for the distribution, 3.2.3 for the correction).

/// The course is taken to lie within this angle of the wind's direction, in degrees, unless told: a
/// pilot looks at the wind before flying up and down it (common practice, no source).
pub const COURSE_WITHIN_DEG: f64 = 30.0;

/// What is known of the wind across the course, in the unit of the speeds.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum Crosswind {
    /// Nothing: see [`COURSE_WITHIN_DEG`].
    #[default]
    Unknown,
    /// Its size, told or fitted.
    Known {
        /// The wind across the course; the sign does not matter.
        speed: f64,
        /// Its standard uncertainty.
        uncertainty: f64,
    },
}

/// What a crosswind does to the mean of two legs, in the unit of the speeds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Effect {
    /// To be added to the mean.
    pub correction: f64,
    /// What the corrected airspeed still reads low on the average.
    pub reads_low: f64,
    /// Standard uncertainty of both.
    pub uncertainty: f64,
    /// What the corrected airspeed may read low at the most; 0 where the crosswind is known.
    pub bound: f64,
}

impl Crosswind {
    /// The effect on the mean of two legs, given the wind along the course.
    pub(super) fn effect(&self, mean_speed: f64, wind_along: f64) -> Effect {
        match *self {
            Self::Unknown => {
                let (reads_low, uncertainty) = reads_low(mean_speed, wind_along, COURSE_WITHIN_DEG);
                let bound = crosswind_bound(mean_speed, wind_along, COURSE_WITHIN_DEG);
                Effect { correction: 0.0, reads_low, uncertainty, bound }
            }
            Self::Known { speed, uncertainty } => known(mean_speed, speed, uncertainty),
        }
    }
}

/// `V = sqrt(m^2 + Wc^2)`. The square of an uncertain crosswind `Wc` is biased by the square of its
/// uncertainty `u`, which is taken off again where it leaves something; `Wc^2` has the standard
/// uncertainty `sqrt(4 Wc^2 u^2 + 2 u^4)` for a normal distribution.
fn known(mean_speed: f64, crosswind: f64, uncertainty: f64) -> Effect {
    let (square, doubt) = (crosswind.powi(2), uncertainty.powi(2));
    let across = (square - doubt).max(0.0);
    let airspeed = (mean_speed.powi(2) + across).sqrt();
    let of_square = (4.0 * square * doubt + 2.0 * doubt.powi(2)).sqrt();
    let uncertainty = if airspeed > 0.0 { of_square / (2.0 * airspeed) } else { 0.0 };
    Effect { correction: airspeed - mean_speed.abs(), reads_low: 0.0, uncertainty, bound: 0.0 }
}

/// How much the mean of two legs held on a course over the ground may read low when the course lies
/// within `within_deg` of the wind: `V - sqrt(V^2 - Wc^2)`, about `Wc^2 / 2V`, with the crosswind
/// `Wc = W tan(within_deg)` for the wind `W` along the course. Never more than the airspeed as read.
#[must_use]
pub fn crosswind_bound(airspeed: f64, wind: f64, within_deg: f64) -> f64 {
    let crosswind = wind.abs() * within_deg.to_radians().tan();
    if airspeed <= 0.0 { 0.0 } else { (airspeed.hypot(crosswind) - airspeed).min(airspeed) }
}

/// Mean and standard deviation of `W^2 tan^2(b) / 2V` for an angle `b` evenly distributed within `a` =
/// `within_deg` either side: with `tan a = t`, `E tan^2 = t/a - 1` and `E tan^4 = (t^3/3 - t + a)/a`. No
/// more than the [`crosswind_bound`] and half of it.
#[must_use]
pub fn reads_low(airspeed: f64, wind: f64, within_deg: f64) -> (f64, f64) {
    let bound = crosswind_bound(airspeed, wind, within_deg);
    let half_angle = within_deg.to_radians();
    let t = half_angle.tan();
    let square = t / half_angle - 1.0;
    let fourth = (t.powi(3) / 3.0 - t + half_angle) / half_angle;
    let of_full = |share: f64| bound * share / t.powi(2);
    let known = bound > 0.0 && half_angle > 0.0;
    if known { (of_full(square), of_full((fourth - square.powi(2)).max(0.0).sqrt())) } else { (0.0, 0.0) }
}
