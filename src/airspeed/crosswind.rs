//! The effect of a crosswind on the mean of two legs whose course is held over the ground.
//!
//! To hold a course over the ground in a crosswind `Wc`, the nose must point into the wind. The mean of the two
//! ground speeds is then `sqrt(V^2 - Wc^2)`, which reads low by about `Wc^2 / 2V`. A known crosswind is corrected
//! for. For an unknown one, the angle between course and wind is assumed to be uniformly distributed within
//! [`COURSE_WITHIN_DEG`] on either side; the mean and the standard deviation of its effect enter the interval (JCGM
//! 100:2008, 4.3.7 for the distribution, 3.2.3 for the correction).

use serde::{Deserialize, Serialize};

use super::Pair;
use super::multileg::HeadingReference;
use super::turn_fit;
use crate::advice::{Advice, FlightNote};
use crate::legs::LegSet;
use crate::series::Series;
use crate::stats::median;

/// Maximum angle between the course and the wind, in degrees, where the crosswind is unknown. Pilots fly up and down
/// the wind (common practice, no source).
pub const COURSE_WITHIN_DEG: f64 = 30.0;

/// The wind across the course, in the unit of the speeds.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum Crosswind {
    /// Not known: the angle between course and wind is assumed to be at most [`COURSE_WITHIN_DEG`].
    #[default]
    Unknown,
    /// Given by the pilot, or fitted to the speeds in the turns.
    Known {
        /// Speed of the wind across the course, in the unit of the speeds; the sign does not matter.
        speed: f64,
        /// Standard uncertainty of the speed across the course, in the unit of the speeds.
        uncertainty: f64,
    },
}

/// Effect of a crosswind on the mean of two legs, in the unit of the speeds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct CrosswindEffect {
    /// Amount by which the mean of the two ground speeds is too low, in the unit of the speeds; it is added to the
    /// mean.
    pub correction: f64,
    /// Mean amount by which the corrected airspeed still reads low, in the unit of the speeds.
    pub reads_low: f64,
    /// Standard uncertainty of the correction and of `reads_low` together, in the unit of the speeds.
    pub uncertainty: f64,
    /// Maximum amount by which the corrected airspeed reads low, in the unit of the speeds; 0 if the
    /// crosswind is known.
    pub bound: f64,
}

impl Crosswind {
    /// The effect of this crosswind on the mean ground speed `mean_speed` of two legs; `wind_along` is the wind along
    /// the course. Both are in the unit of the speeds.
    pub(super) fn effect(&self, mean_speed: f64, wind_along: f64) -> CrosswindEffect {
        match *self {
            Self::Unknown => {
                let bias = reads_low(mean_speed, wind_along, COURSE_WITHIN_DEG);
                let bound = crosswind_bound(mean_speed, wind_along, COURSE_WITHIN_DEG);
                CrosswindEffect { correction: 0.0, reads_low: bias.mean, uncertainty: bias.deviation, bound }
            }
            Self::Known { speed, uncertainty } => known(mean_speed, speed, uncertainty),
        }
    }
}

/// The effect of a known crosswind `Wc` on the mean ground speed `m`: the airspeed is `V = sqrt(m^2 + Wc^2)`.
/// If `Wc` has the standard uncertainty `u`, its square is biased by `u^2`, which is subtracted (the result
/// is at least 0). For a normal distribution, `Wc^2` has the standard uncertainty `sqrt(4 Wc^2 u^2 + 2 u^4)`.
fn known(mean_speed: f64, crosswind: f64, uncertainty: f64) -> CrosswindEffect {
    let (square, doubt) = (crosswind.powi(2), uncertainty.powi(2));
    let across = (square - doubt).max(0.0);
    let airspeed = (mean_speed.powi(2) + across).sqrt();
    let of_square = (4.0 * square * doubt + 2.0 * doubt.powi(2)).sqrt();
    let uncertainty = if airspeed > 0.0 { of_square / (2.0 * airspeed) } else { 0.0 };
    CrosswindEffect { correction: airspeed - mean_speed.abs(), reads_low: 0.0, uncertainty, bound: 0.0 }
}

/// Maximum amount by which the mean of two legs reads low when the course lies within `within_deg` of the wind: `V -
/// sqrt(V^2 - Wc^2)`, about `Wc^2 / 2V`. The crosswind is `Wc = W tan(within_deg)` for the wind `W` along the course.
/// The result never exceeds the airspeed as read.
#[must_use]
pub fn crosswind_bound(airspeed: f64, wind: f64, within_deg: f64) -> f64 {
    let crosswind = wind.abs() * within_deg.to_radians().tan();
    if airspeed <= 0.0 { 0.0 } else { (airspeed.hypot(crosswind) - airspeed).min(airspeed) }
}

/// Amount by which the mean of two legs reads low in an unknown crosswind, in the unit of the speeds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CrosswindBias {
    /// Mean of the amount, in the unit of the speeds.
    pub mean: f64,
    /// Standard deviation of the amount, in the unit of the speeds.
    pub deviation: f64,
}

/// The amount by which an unknown crosswind makes the airspeed `V` read low: `W^2 tan^2(b) / 2V` for an angle
/// `b` between course and wind that is uniformly distributed within `a` = `within_deg` on either side. With `t = tan a`: `E tan^2 = t/a - 1` and `E tan^4 = (t^3/3 - t + a)/a`. Both
/// results are scaled so that the maximum equals the [`crosswind_bound`].
#[must_use]
pub fn reads_low(airspeed: f64, wind: f64, within_deg: f64) -> CrosswindBias {
    let bound = crosswind_bound(airspeed, wind, within_deg);
    let half_angle = within_deg.to_radians();
    let t = half_angle.tan();
    let square = t / half_angle - 1.0;
    let fourth = (t.powi(3) / 3.0 - t + half_angle) / half_angle;
    let of_full = |share: f64| bound * share / t.powi(2);
    if bound <= 0.0 || half_angle <= 0.0 {
        return CrosswindBias { mean: 0.0, deviation: 0.0 };
    }
    CrosswindBias { mean: of_full(square), deviation: of_full((fourth - square.powi(2)).max(0.0).sqrt()) }
}

/// Standard uncertainty of the speed of a given wind, as a share of the speed (common practice, no source).
const GIVEN_SPEED_SHARE: f64 = 0.15;

/// Standard uncertainty of the direction of a given wind, in degrees (common practice, no source).
const GIVEN_DIRECTION_DEG: f64 = 10.0;

/// A wind.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wind {
    /// Speed of the wind, in m/s.
    pub speed_mps: f64,
    /// Direction the wind comes from, in degrees clockwise from north.
    pub from_deg: f64,
}

/// Course and wind as the pilot gives them.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct GivenWind {
    /// Speed of the wind in m/s, and the direction it comes from in degrees clockwise from north; `None` if
    /// not given.
    pub wind: Option<Wind>,
    /// Course of the legs over the ground in either direction, in degrees clockwise from north; `None` if not
    /// given.
    pub course_deg: Option<f64>,
    /// Whether the heading that the overlay shows is the direction of the track over the ground or that of the nose.
    pub heading_reference: HeadingReference,
}

/// Where the value of the wind across the course comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum WindSource {
    /// Given by the pilot.
    Given,
    /// Fitted to the ground speeds in the turns.
    Turns,
}

/// A known wind, in the unit of the speeds.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct WindFinding {
    /// Whether the pilot gave the wind or it was fitted to the turns.
    pub source: WindSource,
    /// Component of the wind across the course `course_deg`, in the unit of the speeds; positive if the wind comes
    /// from the right.
    pub across: f64,
    /// Standard uncertainty of `across`, in the unit of the speeds.
    pub across_uncertainty: f64,
    /// Speed of the wind, in the unit of the speeds.
    pub speed: f64,
    /// Direction the wind comes from, in degrees clockwise from north.
    pub from_deg: f64,
    /// Course of the legs, which `across` refers to, in degrees clockwise from north.
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

/// The wind that the pilot gave or, if none is given, the wind fitted to the turns. A given wind needs a course, given
/// or shown by the overlay. A fit needs an overlay that shows the course over the ground, and must be clearly less
/// uncertain than an unknown crosswind. `None` if these conditions are not met.
#[must_use]
pub fn find_wind(series: &Series, set: &LegSet, given: &GivenWind) -> Option<WindFinding> {
    let shown_deg = || shown_course_deg(set);
    match given.wind {
        Some(Wind { speed_mps, from_deg }) => {
            let course_deg = given.course_deg.or_else(shown_deg)?;
            Some(given_wind(speed_mps / set.speed_si, from_deg, course_deg))
        }
        None if given.heading_reference == HeadingReference::Track => {
            fitted_wind(series, set, given.course_deg.or_else(shown_deg)?)
        }
        None => None,
    }
}

fn given_wind(speed: f64, from_deg: f64, course_deg: f64) -> WindFinding {
    let (sin, cos) = (from_deg - course_deg).to_radians().sin_cos();
    let of_speed = GIVEN_SPEED_SHARE * speed * sin;
    let of_direction = GIVEN_DIRECTION_DEG.to_radians() * speed * cos;
    WindFinding {
        source: WindSource::Given,
        across: speed * sin,
        across_uncertainty: of_speed.hypot(of_direction),
        speed,
        from_deg,
        course_deg,
    }
}

/// The wind fitted to the turns, if the uncertainty of its component across the course is less than half the
/// uncertainty of an unknown crosswind; otherwise `None`. The uncertainty of an unknown crosswind is `W sqrt(E tan^2)`
/// (see [`reads_low`]), where `W` is the component of the fitted wind along the course.
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

/// Circular mean of the course of the upwind legs as the overlay shows it, in degrees clockwise from north;
/// `None` if the overlay shows no course for them.
fn shown_course_deg(set: &LegSet) -> Option<f64> {
    let headings = set.pairs.iter().filter_map(|pair| *set.headings_deg.get(pair.upwind)?);
    let (sin, cos) = headings
        .map(|heading| heading.to_radians().sin_cos())
        .fold((0.0, 0.0), |sum, part| (sum.0 + part.0, sum.1 + part.1));
    (sin != 0.0 || cos != 0.0).then(|| sin.atan2(cos).to_degrees().rem_euclid(360.0))
}

/// A given wind contradicts the pairs if its component along the course differs from the median wind of the pairs by
/// more than two limits. This limit is a share of the larger of the two winds; the other is
/// [`CONTRADICTION_UNCERTAINTIES`]. Set by judgement.
const CONTRADICTION_SHARE: f64 = 0.5;

/// Second limit of the difference between a given wind and the wind of the pairs (see [`CONTRADICTION_SHARE`]), in
/// median standard uncertainties of a pair's airspeed. Set by judgement.
const CONTRADICTION_UNCERTAINTIES: f64 = 3.0;

/// Notes on a given wind that cannot be used, or that contradicts the legs.
#[must_use]
pub fn wind_notes(given: &GivenWind, found: Option<&WindFinding>, pairs: &[Pair]) -> Vec<FlightNote> {
    let mut notes = Vec::new();
    if given.wind.is_some() && found.is_none() && !pairs.is_empty() {
        notes.push(FlightNote {
            sentence: "The given wind is not used: the overlay shows no course; give the course of the legs."
                .to_owned(),
            advice: Some(Advice::GiveCourse),
        });
    }
    let given_finding = found.filter(|wind| wind.source == WindSource::Given);
    let winds: Vec<f64> = pairs.iter().map(|pair| pair.wind).collect();
    if let (Some(wind), Some(usual)) = (given_finding, median(&winds)) {
        let along = (wind.speed * (wind.from_deg - wind.course_deg).to_radians().cos()).abs();
        let doubts: Vec<f64> = pairs.iter().map(|pair| pair.airspeed.standard_uncertainty).collect();
        let doubt = CONTRADICTION_UNCERTAINTIES * median(&doubts).unwrap_or(0.0);
        if (along - usual.abs()).abs() > doubt.max(CONTRADICTION_SHARE * along.max(usual.abs())) {
            notes.push(FlightNote::from(format!(
                "Along the course, the given wind blows at {along:.1}, but the speeds of the legs show {:.1} (both in the unit of the results): check the speed, unit and direction of the given wind.",
                usual.abs()
            )));
        }
    }
    notes
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
            let wind = given_wind(20.0, 270.0, course_deg);
            let known = Crosswind::Known { speed: wind.across, uncertainty: 0.0 };
            near(mean_speed + known.effect(mean_speed, 0.0).correction, 100.0, 1e-3);
        }
    }

    #[test]
    fn the_uncertainty_of_a_given_wind_contributes_to_that_of_the_airspeed() {
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
        let bias = reads_low(airspeed, wind, COURSE_WITHIN_DEG);
        near(bias.mean, average, 0.01 * average);
        near(bias.deviation, variance.sqrt(), 0.01 * average);
        let none = CrosswindBias { mean: 0.0, deviation: 0.0 };
        assert_eq!(reads_low(0.0, 3.0, 30.0), none);
        assert_eq!(reads_low(25.0, 0.0, 30.0), none);
    }
}
