//! The crosswind: what it takes from the mean of two legs whose course is held over the ground.
//!
//! A wind `Wc` across a course that is held over the ground turns the nose aside, and the mean of the two
//! legs is `sqrt(V^2 - Wc^2)`: it reads low by about `Wc^2 / 2V`. Where the crosswind is known this is
//! put right. Where it is not, the angle between course and wind is taken as evenly distributed within
//! [`COURSE_WITHIN_DEG`] either side, and what that takes on the average and its spread go into the
//! interval (JCGM 100:2008, 4.3.7 for the distribution, 3.2.3 for the correction).

use serde::{Deserialize, Serialize};

use super::Pair;
use super::multileg::HeadingReference;
use super::turn_fit;
use crate::legs::LegSet;
use crate::series::Series;
use crate::stats::median;

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

/// How well a told wind speed and direction are known, as standard uncertainties: a share of the speed, and
/// degrees (common practice, no source).
const TOLD_SPEED_SHARE: f64 = 0.15;
const TOLD_DIRECTION_DEG: f64 = 10.0;

/// Course and wind as the pilot told them.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct GivenWind {
    /// Speed in m/s and direction the wind comes from, in degrees clockwise from north.
    pub wind: Option<(f64, f64)>,
    /// Course of the legs over the ground, either way, in degrees clockwise from north.
    pub course_deg: Option<f64>,
    /// What the heading the overlay shows means.
    pub heading_reference: HeadingReference,
}

/// Where the wind across the course is known from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum WindSource {
    /// Given by the pilot.
    #[serde(rename = "told")]
    Given,
    /// Fitted to the ground speeds through the turns.
    Turns,
}

/// What is known of the wind, in the unit of the speeds.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct WindFinding {
    /// Where it is known from.
    pub source: WindSource,
    /// Wind across the course.
    pub across: f64,
    /// Its standard uncertainty.
    pub across_uncertainty: f64,
    /// Speed of the wind.
    pub speed: f64,
    /// Direction it comes from, in degrees clockwise from north.
    pub from_deg: f64,
    /// Course it was held against, in degrees clockwise from north.
    pub course_deg: f64,
}

impl From<Option<&WindFinding>> for Crosswind {
    fn from(finding: Option<&WindFinding>) -> Self {
        finding.map_or(Self::Unknown, |wind| Self::Known {
            speed: wind.across,
            uncertainty: wind.across_uncertainty,
        })
    }
}

/// The wind across the course: told, or fitted to the turns where the overlay shows the course and the fit
/// says more than nothing. `None` where neither tells it; a told wind needs a course, told or shown.
#[must_use]
pub fn find_wind(series: &Series, set: &LegSet, told: &GivenWind) -> Option<WindFinding> {
    let shown_deg = || shown_course_deg(set);
    match told.wind {
        Some((speed_mps, from_deg)) => {
            let course_deg = told.course_deg.or_else(shown_deg)?;
            Some(told_wind(speed_mps / set.speed_si, from_deg, course_deg))
        }
        None if told.heading_reference == HeadingReference::Track => {
            fitted_wind(series, set, told.course_deg.or_else(shown_deg)?)
        }
        None => None,
    }
}

fn told_wind(speed: f64, from_deg: f64, course_deg: f64) -> WindFinding {
    let (sin, cos) = (from_deg - course_deg).to_radians().sin_cos();
    let of_speed = TOLD_SPEED_SHARE * speed * sin;
    let of_direction = TOLD_DIRECTION_DEG.to_radians() * speed * cos;
    WindFinding {
        source: WindSource::Given,
        across: speed * sin,
        across_uncertainty: of_speed.hypot(of_direction),
        speed,
        from_deg,
        course_deg,
    }
}

/// A fit is worth having when it knows the crosswind at least twice as well as nothing does: its standard
/// deviation is then `W sqrt(E tan^2)` (see [`reads_low`]) for the wind `W` along the course.
fn fitted_wind(series: &Series, set: &LegSet, course_deg: f64) -> Option<WindFinding> {
    let fit = turn_fit::fit(series, set)?;
    let (sin, cos) = (fit.from_deg - course_deg).to_radians().sin_cos();
    let half_angle = COURSE_WITHIN_DEG.to_radians();
    let unknown = (fit.wind * cos).abs() * (half_angle.tan() / half_angle - 1.0).sqrt();
    (fit.uncertainty < 0.5 * unknown).then_some(WindFinding {
        source: WindSource::Turns,
        across: fit.wind * sin,
        across_uncertainty: fit.uncertainty,
        speed: fit.wind,
        from_deg: fit.from_deg,
        course_deg,
    })
}

/// Course of the upwind legs as the overlay shows it, averaged on the circle.
fn shown_course_deg(set: &LegSet) -> Option<f64> {
    let headings = set.pairs.iter().filter_map(|pair| *set.headings_deg.get(pair.upwind)?);
    let (sin, cos) = headings
        .map(|heading| heading.to_radians().sin_cos())
        .fold((0.0, 0.0), |sum, part| (sum.0 + part.0, sum.1 + part.1));
    (sin != 0.0 || cos != 0.0).then(|| sin.atan2(cos).to_degrees().rem_euclid(360.0))
}

/// A told wind is at odds with the pairs when its part along the course differs from theirs by more than
/// this share of it, and by as many standard uncertainties of a pair.
const TOLD_AT_ODDS: (f64, f64) = (0.5, 3.0);

/// Sentences on the wind that was told: used, not usable, or at odds with what the legs show.
#[must_use]
pub fn wind_sentences(told: &GivenWind, found: Option<&WindFinding>, pairs: &[Pair]) -> Vec<String> {
    let mut sentences = Vec::new();
    if told.wind.is_some() && found.is_none() && !pairs.is_empty() {
        sentences.push(
            "The told wind is not used: tell the course of the legs with --course, since the overlay shows none."
                .to_owned(),
        );
    }
    let told_found = found.filter(|wind| wind.source == WindSource::Given);
    let winds: Vec<f64> = pairs.iter().map(|pair| pair.wind).collect();
    if let (Some(wind), Some(usual)) = (told_found, median(&winds)) {
        let along = (wind.speed * (wind.from_deg - wind.course_deg).to_radians().cos()).abs();
        let doubts: Vec<f64> = pairs.iter().map(|pair| pair.airspeed.standard_uncertainty).collect();
        let doubt = TOLD_AT_ODDS.1 * median(&doubts).unwrap_or(0.0);
        if (along - usual.abs()).abs() > doubt.max(TOLD_AT_ODDS.0 * along.max(usual.abs())) {
            sentences.push(format!(
                "The told wind puts {along:.1} along the course, but the legs show {:.1}: check its speed, unit and direction.",
                usual.abs()
            ));
        }
    }
    sentences
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(value: f64, expected: f64, tolerance: f64) {
        assert!((value - expected).abs() <= tolerance, "{value} instead of {expected}");
    }

    #[test]
    fn a_known_crosswind_gives_the_airspeed_of_the_wind_triangle() {
        // Vector arithmetic: airspeed 100, wind 20 from 270. Tracks 300 and 120 give 82.1782 and 116.8193,
        // tracks 0 and 180 give 97.9796 each.
        for (mean_speed, course_deg) in [((82.1782 + 116.8193) / 2.0, 300.0), (97.9796, 0.0)] {
            let wind = told_wind(20.0, 270.0, course_deg);
            let known = Crosswind::Known { speed: wind.across, uncertainty: 0.0 };
            near(mean_speed + known.effect(mean_speed, 0.0).correction, 100.0, 1e-3);
        }
    }

    #[test]
    fn the_uncertainty_of_a_told_wind_goes_into_the_airspeed() {
        let sure = Crosswind::Known { speed: 6.0, uncertainty: 0.0 }.effect(25.0, 0.0);
        let unsure = Crosswind::Known { speed: 6.0, uncertainty: 1.0 }.effect(25.0, 0.0);
        near(sure.uncertainty, 0.0, 1e-12);
        // dV = Wc dWc / V, and a little more for the square of the uncertainty.
        near(unsure.uncertainty, 6.0 / 25.7, 0.005);
        assert!(unsure.correction < sure.correction);
    }

    #[test]
    fn an_unknown_crosswind_takes_the_mean_of_all_angles_within_its_bound() {
        // The mean over evenly spread angles, added up.
        let (airspeed, wind, angles) = (25.0, 3.0, 20_000);
        let taken: Vec<f64> = (0..angles)
            .map(|angle| -30.0 + 60.0 * (f64::from(angle) + 0.5) / f64::from(angles))
            .map(|angle_deg: f64| (wind * angle_deg.to_radians().tan()).powi(2) / (2.0 * airspeed))
            .collect();
        let average = taken.iter().sum::<f64>() / taken.len() as f64;
        let variance = taken.iter().map(|taken| (taken - average).powi(2)).sum::<f64>() / taken.len() as f64;
        let (low, spread) = reads_low(airspeed, wind, COURSE_WITHIN_DEG);
        near(low, average, 0.01 * average);
        near(spread, variance.sqrt(), 0.01 * average);
        assert_eq!(reads_low(0.0, 3.0, 30.0), (0.0, 0.0));
        assert_eq!(reads_low(25.0, 0.0, 30.0), (0.0, 0.0));
    }
}
