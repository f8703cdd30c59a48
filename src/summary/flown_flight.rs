//! The part of a flight's summary that comparisons and plans need, in SI units.

use thiserror::Error;

use super::budget::{ContributionSummary, Extent};
use super::conditions::PatternSummary;
use super::pairs::{PairSummary, StepSummary};
use super::schema::Summary;
use crate::airspeed::Contribution;
use crate::model::units::{Quantity, Unit};
use crate::propulsion::{FlownStep, StepAirspeed, VoltageRun};
use crate::stats::median;

/// Plausible air densities, in kg/m^3: from about 18 km above sea level in the standard atmosphere to far denser than
/// any air at the ground. The limits only catch typing errors (set by judgement).
const DENSITIES_KG_M3: std::ops::RangeInclusive<f64> = 0.1..=2.0;

/// The speeds of a summary have no known unit, so they cannot be converted to m/s.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
#[error(
    "the unit of its speeds is not known, so they cannot be compared: add unit = \"km/h\" (or mph, kn, m/s) to the \
     speed region of the setup and read the clip again"
)]
pub struct SpeedUnitError;

/// A given air density is implausible.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
#[error("{given}: it lies between 0.1 and 2 kg/m^3; at sea level about 1.225")]
pub struct DensityError {
    /// The given density, in kg/m^3.
    pub given: f64,
}

/// The results of one flight. All speeds are in m/s.
#[derive(Debug, Clone, PartialEq)]
pub struct FlownFlight {
    /// Name shown to the pilot: the name of the result folder.
    pub name: String,
    /// Name of the camera, if it is known.
    pub camera: Option<String>,
    /// The unit in which the speeds were displayed.
    pub speed_unit: Unit,
    /// The throttle steps with an airspeed: from pairs of legs or, where a throttle has no pairs, from legs in three
    /// or more directions.
    pub steps: Vec<FlownStep>,
    /// For each throttle step of the summary, the airspeeds and voltages of its pairs, for fitting the effect of
    /// the battery voltage.
    pub runs: Vec<Vec<VoltageRun>>,
    /// Median duration of the evaluated part of a leg, in seconds; `None` without legs.
    pub leg_s: Option<f64>,
    /// Air density in kg/m^3, if it is known.
    pub density_kg_m3: Option<f64>,
}

impl FlownFlight {
    /// Takes the results of a flight from its summary.
    ///
    /// # Errors
    /// [`SpeedUnitError`] if the unit of the speeds is unknown.
    pub fn from_summary(summary: &Summary, name: String) -> Result<Self, SpeedUnitError> {
        let speed_unit =
            summary.speed_unit.filter(|unit| unit.quantity() == Quantity::Speed).ok_or(SpeedUnitError)?;
        let speed_si = speed_unit.si_per_unit();
        let mut steps: Vec<FlownStep> =
            summary.steps.iter().filter_map(|step| flown_step(summary, step, speed_si)).collect();
        for pattern in &summary.patterns {
            steps.extend(pattern_step(pattern, &steps, speed_si));
        }
        Ok(Self {
            name,
            camera: summary.camera.name.clone(),
            speed_unit,
            steps,
            runs: summary.steps.iter().map(|step| runs(summary, step.step, speed_si)).collect(),
            leg_s: median(&leg_durations_s(summary)),
            density_kg_m3: summary.air.density_kg_m3,
        })
    }

    /// Sets the air density in kg/m^3; it overrides that of the summary.
    ///
    /// # Errors
    /// [`DensityError`] if the density is implausible.
    pub fn set_density(&mut self, density_kg_m3: f64) -> Result<(), DensityError> {
        if !DENSITIES_KG_M3.contains(&density_kg_m3) {
            return Err(DensityError { given: density_kg_m3 });
        }
        self.density_kg_m3 = Some(density_kg_m3);
        Ok(())
    }
}

/// Durations of the steady middles of all legs that belong to a throttle step, in seconds.
fn leg_durations_s(summary: &Summary) -> Vec<f64> {
    let legs = summary.legs.iter().filter(|leg| leg.step.is_some());
    legs.filter_map(|leg| Some(leg.steady_end_s? - leg.steady_start_s?)).collect()
}

fn flown_step(summary: &Summary, step: &StepSummary, speed_si: f64) -> Option<FlownStep> {
    let has_airspeed = |pair: &&PairSummary| pair.step == step.step && pair.airspeed.interval.value.is_some();
    let budget = &step.budget;
    let airspeed = StepAirspeed {
        step: step.step,
        throttle_percent: step.throttle_percent,
        airspeed: step.airspeed.value,
        low: step.airspeed.low?,
        high: step.airspeed.high?,
        uncertainty: budget.combined,
        // Infinite degrees of freedom are written as null.
        degrees_of_freedom: budget.degrees_of_freedom.unwrap_or(f64::INFINITY),
        contributions: budget.rows.iter().map(contribution).collect(),
        crosswind_bound: budget.crosswind_bound.unwrap_or(0.0),
        wind: step.wind.unwrap_or(f64::NAN),
        voltage_v: step.voltage_v,
        pairs: summary.pairs.iter().filter(has_airspeed).count().max(1),
    };
    airspeed.in_si(speed_si)
}

fn contribution(row: &ContributionSummary) -> Contribution {
    Contribution {
        cause: row.cause,
        uncertainty: row.uncertainty.unwrap_or(f64::NAN),
        degrees_of_freedom: row.degrees_of_freedom.unwrap_or(f64::INFINITY),
        shared: row.extent == Extent::Shared,
    }
}

fn runs(summary: &Summary, step: u32, speed_si: f64) -> Vec<VoltageRun> {
    let run = |pair: &PairSummary| {
        Some(VoltageRun {
            airspeed: pair.airspeed.interval.value? * speed_si,
            uncertainty: pair.airspeed.uncertainty? * speed_si,
            voltage_v: pair.voltage_v?,
        })
    };
    summary.pairs.iter().filter(|pair| pair.step == step).filter_map(run).collect()
}

/// Converts a pattern to a throttle step in SI units; `speed_si` is the number of m/s in the unit of the speeds.
/// `None` if one of `steps` has the same throttle, if the throttle is unknown and there are steps already, or if
/// the airspeed or its uncertainty cannot be used.
fn pattern_step(pattern: &PatternSummary, steps: &[FlownStep], speed_si: f64) -> Option<FlownStep> {
    let is_known = |percent: f64| steps.iter().any(|step| step.throttle_percent == Some(percent));
    if pattern.throttle_percent.map_or(!steps.is_empty(), is_known) {
        return None;
    }
    let airspeed = StepAirspeed {
        step: steps.iter().map(|step| step.step).max().unwrap_or(0).saturating_add(1),
        throttle_percent: pattern.throttle_percent,
        airspeed: pattern.airspeed.interval.value,
        low: pattern.airspeed.interval.low?,
        high: pattern.airspeed.interval.high?,
        uncertainty: pattern.airspeed.uncertainty,
        degrees_of_freedom: pattern.airspeed.degrees_of_freedom.unwrap_or(f64::INFINITY),
        contributions: Vec::new(),
        crosswind_bound: 0.0,
        wind: pattern.wind.unwrap_or(f64::NAN),
        voltage_v: pattern.voltage_v,
        pairs: 1,
    };
    airspeed.in_si(speed_si)
}
