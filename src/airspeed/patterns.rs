//! Airspeed and wind from patterns of legs in three or more directions at one throttle.

use super::drift::Drift;
use super::multileg::{AirAndWind, GroundLeg, HeadingReference, air_and_wind};
use super::{Budget, Cause, Contribution, rounding_reads_low, shared_rounding};
use crate::legs::{Flag, Leg, LegPattern, LegSet, MedianUncertainty, Note, SpeedVariability};
use crate::model::estimate::Estimate;
use crate::stats::mean;

/// One pattern: airspeed and wind from legs in three or more directions. Speeds are in the speed
/// channel's unit.
#[derive(Debug, Clone, PartialEq)]
pub struct Pattern {
    /// Number of the pattern, from 1.
    pub pattern: u32,
    /// Throttle in per cent; `None` where it is not known.
    pub throttle_percent: Option<f64>,
    /// Indices of the legs in the list of legs.
    pub legs: Vec<usize>,
    /// Whether the headings of the legs are directions of the track over the ground or of the nose.
    pub heading_reference: HeadingReference,
    /// Airspeed.
    pub airspeed: Estimate,
    /// Speed of the wind, in the speed channel's unit.
    pub wind: f64,
    /// Direction the wind comes from, in degrees clockwise from north.
    pub wind_from_deg: f64,
    /// Mean of the legs' median pack voltages, in volts; `None` if no leg has a voltage reading.
    pub voltage_v: Option<f64>,
    /// Mean of the legs' median altitudes, in the altitude channel's unit; `None` if no leg has an altitude
    /// reading.
    pub altitude: Option<f64>,
    /// Warnings about this pattern.
    pub flags: Vec<Flag>,
    /// The uncertainty budget of the airspeed.
    pub budget: Budget,
}

/// Maximum standard deviation of the residuals of a pattern whose legs agree, as a multiple of the standard
/// uncertainty of one leg's speed (set by judgement).
const MAX_RESIDUAL_RATIO: f64 = 3.0;

/// The airspeed of every pattern of legs.
#[must_use]
pub fn patterns(set: &LegSet, heading_reference: HeadingReference) -> Vec<Pattern> {
    let Some(variability) = &set.variability else { return Vec::new() };
    let drift = Drift::of(set, variability);
    let solved = set
        .patterns
        .iter()
        .filter_map(|pattern| one_pattern(pattern, set, heading_reference, variability, &drift));
    solved.zip(1..).map(|(pattern, number)| Pattern { pattern: number, ..pattern }).collect()
}

fn one_pattern(
    pattern: &LegPattern,
    set: &LegSet,
    heading_reference: HeadingReference,
    variability: &SpeedVariability,
    drift: &Drift,
) -> Option<Pattern> {
    let legs: Vec<&Leg> = pattern.legs.iter().filter_map(|index| set.legs.get(*index)).collect();
    let directions = pattern.legs.iter().filter_map(|index| *set.headings_deg.get(*index)?);
    let ground: Vec<GroundLeg> = legs
        .iter()
        .zip(directions)
        .map(|(leg, direction_deg)| GroundLeg { speed: leg.speed_median, direction_deg })
        .collect();
    let air = air_and_wind(&ground, heading_reference)?;
    let budget = budget(&legs, &air, variability, drift);
    let over =
        |of: fn(&Leg) -> Option<f64>| mean(&legs.iter().filter_map(|leg| of(leg)).collect::<Vec<f64>>());
    let of_a_leg = budget.combined() / air.airspeed_per_speed;
    let residual = air.residual.filter(|residual| *residual > MAX_RESIDUAL_RATIO * of_a_leg);
    Some(Pattern {
        pattern: 0,
        throttle_percent: pattern.throttle_percent,
        legs: pattern.legs.clone(),
        heading_reference,
        airspeed: budget.estimate(air.airspeed),
        wind: air.wind,
        wind_from_deg: air.wind_from_deg,
        voltage_v: over(|leg| leg.voltage_v),
        altitude: over(|leg| leg.altitude),
        flags: residual.map(|residual| Note::LegsDisagree { residual }.into()).into_iter().collect(),
        budget,
    })
}

/// The uncertainty budget of a pattern. An independent uncertainty of the legs' speeds is multiplied by
/// [`AirAndWind::airspeed_per_speed`]; an uncertainty that all legs share contributes its full value. The change of
/// the wind is given for a pair, the mean of two legs; for one leg it is `sqrt(2)` times as large.
fn budget(legs: &[&Leg], air: &AirAndWind, variability: &SpeedVariability, drift: &Drift) -> Budget {
    let medians: Vec<MedianUncertainty> = legs.iter().map(|leg| variability.of_median(leg)).collect();
    let root_mean_square = |part: fn(&MedianUncertainty) -> f64| {
        mean(&medians.iter().map(|median| part(median).powi(2)).collect::<Vec<f64>>()).unwrap_or(0.0).sqrt()
    };
    let samples = legs.iter().map(|leg| leg.samples as f64).sum::<f64>();
    let known = f64::INFINITY;
    let own = |cause, of_leg: f64, degrees_of_freedom| Contribution {
        cause,
        uncertainty: air.airspeed_per_speed * of_leg,
        degrees_of_freedom,
        shared: false,
    };
    Budget {
        rows: vec![
            own(Cause::Gusts, root_mean_square(|median| median.gusts), variability.degrees_of_freedom),
            own(
                Cause::Noise,
                root_mean_square(|median| median.noise),
                (samples - legs.len() as f64).max(1.0),
            ),
            own(Cause::Rounding, root_mean_square(|median| median.rounding), known),
            shared_rounding(variability.quantum),
            own(Cause::Receiver, drift.receiver(), known),
            own(Cause::WindDrift, 2f64.sqrt() * drift.uncertainty(air.wind), drift.degrees_of_freedom()),
        ],
        reads_low: rounding_reads_low(variability.quantum),
        ..Budget::default()
    }
}
