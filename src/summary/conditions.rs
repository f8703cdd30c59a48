//! Wind, air and patterns of legs in three or more directions, in `summary.json`.

use serde::{Deserialize, Serialize};

use super::airspeed::{AirspeedInterval, AirspeedSummary};
use super::budget::BudgetSummary;
use crate::air::Datum;
use crate::airspeed::WindSource;
use crate::airspeed::multileg::HeadingReference;
use crate::legs::Flag;

/// The wind, in `speed_unit`. These numbers are not rounded.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct WindSummary {
    /// Whether the wind was given or fitted to the turns.
    pub source: WindSource,
    /// Component of the wind across the course `course_deg`, in `speed_unit`, positive if the wind comes from the
    /// right; `None` if not finite.
    pub across: Option<f64>,
    /// Standard uncertainty of the component across the course, in `speed_unit`; `None` if not finite.
    pub across_uncertainty: Option<f64>,
    /// Wind speed, in `speed_unit`; `None` if not finite.
    pub speed: Option<f64>,
    /// Direction the wind comes from, in degrees clockwise from north; `None` if not finite.
    pub from_deg: Option<f64>,
    /// Course of the legs, in degrees clockwise from north; `None` if not finite.
    pub course_deg: Option<f64>,
}

/// The air at the altitude of the legs.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct AirSummary {
    /// What the displayed altitude is measured from; `None` if unknown.
    pub altitude_from: Option<Datum>,
    /// Whether the pilot gave `altitude_from`.
    pub altitude_from_given: bool,
    /// Elevation of the field above sea level, in metres; `None` if it is not known.
    pub field_elevation_m: Option<f64>,
    /// Height of the legs above the field, in metres; `None` if it is not known what the altitude is measured
    /// from.
    pub height_above_field_m: Option<f64>,
    /// Air temperature in degrees Celsius; `None` if the air is not known.
    pub temperature_c: Option<f64>,
    /// Whether the temperature is that of the standard atmosphere, because none was given.
    pub temperature_is_standard: bool,
    /// Air pressure in hPa; `None` if the air is not known.
    pub pressure_hpa: Option<f64>,
    /// Whether the pressure is that of the standard atmosphere, because none was given.
    pub pressure_is_standard: bool,
    /// Air density in kg/m^3; `None` if the air is not known.
    pub density_kg_m3: Option<f64>,
    /// Density altitude in metres; `None` if the air is not known.
    pub density_altitude_m: Option<f64>,
    /// The airspeed of each throttle step converted to sea-level density at the same power.
    pub at_sea_level: Vec<SeaLevelSummary>,
}

/// The airspeed of one throttle step converted to sea-level density at the same power, in `speed_unit`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SeaLevelSummary {
    /// Number of the step, from 1.
    pub step: u32,
    /// Throttle in per cent; `None` if unknown.
    pub throttle_percent: Option<f64>,
    /// Airspeed at sea-level density, with its 95 % interval.
    #[serde(flatten)]
    pub airspeed: AirspeedInterval,
}

/// Airspeed and wind from legs in three or more directions. Speeds are in `speed_unit`, altitudes in
/// `altitude_unit`.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct PatternSummary {
    /// Number of the pattern, from 1.
    pub pattern: u32,
    /// Throttle in per cent; `None` if unknown.
    pub throttle_percent: Option<f64>,
    /// Numbers of the legs, from 1.
    pub legs: Vec<usize>,
    /// Whether the directions of the legs are those of the track over the ground or of the nose.
    pub heading_reference: HeadingReference,
    /// Airspeed with its 95 % interval and its standard uncertainty.
    #[serde(flatten)]
    pub airspeed: AirspeedSummary,
    /// Wind speed, in `speed_unit`; `None` if not finite.
    pub wind: Option<f64>,
    /// Direction the wind comes from, in degrees clockwise from north; `None` if not finite.
    pub wind_from_deg: Option<f64>,
    /// Median battery voltage, in volts; `None` if the overlay shows none.
    pub voltage_v: Option<f64>,
    /// Median altitude, in `altitude_unit`; `None` if the overlay shows none.
    pub altitude: Option<f64>,
    /// Warnings about these legs and the airspeed computed from them.
    pub flags: Vec<Flag>,
    /// Uncertainty budget of the airspeed.
    pub budget: BudgetSummary,
}
