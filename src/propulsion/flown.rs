//! Flights worked out before: the folders that `read` writes, read back.

use std::io;
use std::path::{Path, PathBuf};

use serde::Deserialize;
use thiserror::Error;

use super::flown_step::{Extent, FlownStep, Interval, Part, SharedUncertainty};
use super::voltage::Run;
use crate::model::units::{Quantity, Unit};
use crate::output::SUMMARY_FORMAT;
use crate::stats::{mean, median};

/// The file that is read in a folder of results.
const SUMMARY: &str = "summary.json";

/// Why a former result cannot be used; each says what to do next.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum FlownError {
    /// The folder holds no result.
    #[error(
        "{}: no {SUMMARY} in it: give a folder that `pairspeed read` wrote, such as flight-result",
        folder.display()
    )]
    NoSummary {
        /// The folder.
        folder: PathBuf,
    },
    /// The file cannot be read.
    #[error("cannot read {}: {source}. Give a folder that `pairspeed read` wrote", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// The system's reason.
        source: io::Error,
    },
    /// The file is not a summary.
    #[error(
        "{}: not a summary of a flight ({source}). Give a folder that `pairspeed read` wrote, or read the \
         clip again with `pairspeed read --force`",
        path.display()
    )]
    NotSummary {
        /// The file.
        path: PathBuf,
        /// What the parser says, with line and column.
        source: serde_json::Error,
    },
    /// The file comes from a later version of the program.
    #[error(
        "{}: its format is {format}, and this version knows none above {SUMMARY_FORMAT}: read the clip again \
         with this version, or use the later one",
        path.display()
    )]
    LaterFormat {
        /// The file.
        path: PathBuf,
        /// Its format.
        format: u32,
    },
    /// The unit of the speeds is not known.
    #[error(
        "{}: the unit of its speeds is not known, so they cannot be compared: add unit = \"km/h\" (or mph, kn, \
         m/s) to the speed region of the setup and read the clip again",
        path.display()
    )]
    NoUnit {
        /// The file.
        path: PathBuf,
    },
}

/// Densities of the air that models fly in, in kg/m^3.
const DENSITIES_KG_M3: std::ops::RangeInclusive<f64> = 0.1..=2.0;

/// A told density that no air has.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
#[error("{told}: it lies between 0.1 and 2 kg/m^3; at sea level about 1.225")]
pub struct DensityError {
    /// What was told.
    pub told: f64,
}

/// A flight as far as comparing and planning need it. All speeds are in m/s.
#[derive(Debug, Clone, PartialEq)]
pub struct FlownFlight {
    /// What to call it: the name of its folder.
    pub name: String,
    /// Name of the camera whose overlay showed the speeds, where it is known.
    pub camera: Option<String>,
    /// The unit its speeds were shown in.
    pub speed_unit: Unit,
    /// The throttle steps that have an airspeed, from pairs of legs or, where a throttle has none, from legs
    /// in three or more directions.
    pub steps: Vec<FlownStep>,
    /// Runs grouped by step, for the effect of voltage.
    pub runs: Vec<Vec<Run>>,
    /// Usual length of the steady middle of a leg, in seconds.
    pub leg_s: Option<f64>,
    /// Density of the air in kg/m^3, where it is known.
    pub density_kg_m3: Option<f64>,
}

#[derive(Debug, Deserialize)]
struct Summary {
    format: u32,
    camera: Option<CameraEntry>,
    speed_unit: Option<Unit>,
    air: Option<Air>,
    #[serde(default)]
    legs: Vec<Leg>,
    #[serde(default)]
    pairs: Vec<Pair>,
    steps: Vec<Step>,
    #[serde(default)]
    patterns: Vec<Pattern>,
}

#[derive(Debug, Deserialize)]
struct CameraEntry {
    name: Option<String>,
}

#[derive(Debug, Deserialize)]
struct Air {
    density_kg_m3: Option<f64>,
}

#[derive(Debug, Deserialize)]
struct Leg {
    step: Option<u32>,
    steady_start_s: Option<f64>,
    steady_end_s: Option<f64>,
}

#[derive(Debug, Deserialize)]
struct Pair {
    step: u32,
    airspeed: Option<f64>,
    airspeed_uncertainty: Option<f64>,
    degrees_of_freedom: Option<f64>,
    voltage_v: Option<f64>,
}

#[derive(Debug, Deserialize)]
struct Step {
    step: u32,
    throttle_percent: Option<f64>,
    airspeed: Option<f64>,
    airspeed_low: Option<f64>,
    airspeed_high: Option<f64>,
    wind: Option<f64>,
    voltage_v: Option<f64>,
    budget: Option<Budget>,
}

#[derive(Debug, Deserialize)]
struct Pattern {
    throttle_percent: Option<f64>,
    airspeed: Option<f64>,
    airspeed_low: Option<f64>,
    airspeed_high: Option<f64>,
    airspeed_uncertainty: Option<f64>,
    degrees_of_freedom: Option<f64>,
    wind: Option<f64>,
    voltage_v: Option<f64>,
}

#[derive(Debug, Deserialize)]
struct Budget {
    #[serde(default)]
    rows: Vec<Row>,
    combined: Option<f64>,
    degrees_of_freedom: Option<f64>,
    crosswind_bound: Option<f64>,
}

#[derive(Debug, Deserialize)]
struct Row {
    cause: Option<String>,
    uncertainty: Option<f64>,
    degrees_of_freedom: Option<f64>,
    extent: Option<String>,
}

impl Row {
    fn part(&self) -> Part {
        let extent = match (self.extent.as_deref(), self.cause.as_deref()) {
            (Some("shared"), Some("crosswind")) => Extent::Crosswind,
            (Some("shared"), Some("shared-rounding")) => Extent::Rounding,
            (Some("shared"), _) => Extent::Other,
            _ => Extent::Own,
        };
        Part {
            extent,
            uncertainty: self.uncertainty.unwrap_or(f64::NAN),
            // Infinite degrees of freedom are written as null.
            degrees_of_freedom: self.degrees_of_freedom.unwrap_or(f64::INFINITY),
        }
    }
}

impl FlownFlight {
    /// Reads a folder of results, or its `summary.json`.
    ///
    /// # Errors
    /// [`FlownError`] names the file, what is wrong and the mend.
    pub fn load(path: &Path) -> Result<Self, FlownError> {
        let file = if path.is_dir() { path.join(SUMMARY) } else { path.to_owned() };
        if path.is_dir() && !file.exists() {
            return Err(FlownError::NoSummary { folder: path.to_owned() });
        }
        let bytes =
            std::fs::read(&file).map_err(|source| FlownError::Unreadable { path: file.clone(), source })?;
        let summary: Summary = serde_json::from_slice(&bytes)
            .map_err(|source| FlownError::NotSummary { path: file.clone(), source })?;
        if summary.format > SUMMARY_FORMAT {
            return Err(FlownError::LaterFormat { path: file, format: summary.format });
        }
        let unit = summary.speed_unit.filter(|unit| unit.quantity() == Quantity::Speed);
        let speed_unit = unit.ok_or_else(|| FlownError::NoUnit { path: file.clone() })?;
        Ok(summary.flight(name_of(&file), speed_unit))
    }
}

impl FlownFlight {
    /// Reads several folders of results. Flights whose folders have one name are called by their paths.
    ///
    /// # Errors
    /// As [`FlownFlight::load`].
    pub fn load_all(paths: &[PathBuf]) -> Result<Vec<Self>, FlownError> {
        let mut flights = paths.iter().map(|path| Self::load(path)).collect::<Result<Vec<Self>, _>>()?;
        let names: Vec<String> = flights.iter().map(|flight| flight.name.clone()).collect();
        for (flight, path) in flights.iter_mut().zip(paths) {
            if names.iter().filter(|name| **name == flight.name).count() > 1 {
                flight.name = path.display().to_string();
            }
        }
        Ok(flights)
    }

    /// Tells the density of the air in kg/m^3, in place of that of the results.
    ///
    /// # Errors
    /// [`DensityError`] where no air is as thin or as thick.
    pub fn tell_density(&mut self, density_kg_m3: f64) -> Result<(), DensityError> {
        if !DENSITIES_KG_M3.contains(&density_kg_m3) {
            return Err(DensityError { told: density_kg_m3 });
        }
        self.density_kg_m3 = Some(density_kg_m3);
        Ok(())
    }
}

/// The name of the folder the file stands in.
fn name_of(file: &Path) -> String {
    let folder = std::fs::canonicalize(file).unwrap_or_else(|_| file.to_owned());
    let folder = folder.parent().and_then(Path::file_name).map(|name| name.to_string_lossy().into_owned());
    folder.unwrap_or_else(|| file.display().to_string())
}

impl Summary {
    fn flight(&self, name: String, speed_unit: Unit) -> FlownFlight {
        let speed_si = speed_unit.si_per_unit();
        let lengths: Vec<f64> = self
            .legs
            .iter()
            .filter(|leg| leg.step.is_some())
            .filter_map(|leg| Some(leg.steady_end_s? - leg.steady_start_s?))
            .collect();
        let mut steps: Vec<FlownStep> =
            self.steps.iter().filter_map(|step| self.step(step, speed_si)).collect();
        for pattern in &self.patterns {
            steps.extend(pattern.as_step(&steps, speed_si));
        }
        FlownFlight {
            name,
            camera: self.camera.as_ref().and_then(|camera| camera.name.clone()),
            speed_unit,
            steps,
            runs: self.steps.iter().map(|step| self.runs(step.step, speed_si)).collect(),
            leg_s: median(&lengths),
            density_kg_m3: self.air.as_ref().and_then(|air| air.density_kg_m3),
        }
    }

    fn step(&self, step: &Step, speed_si: f64) -> Option<FlownStep> {
        let pairs: Vec<&Pair> =
            self.pairs.iter().filter(|pair| pair.step == step.step && pair.airspeed.is_some()).collect();
        // Infinite degrees of freedom are written as null.
        let of_pairs: Vec<f64> = pairs.iter().filter_map(|pair| pair.degrees_of_freedom).collect();
        let of_budget = step.budget.as_ref().map(|budget| budget.degrees_of_freedom.unwrap_or(f64::INFINITY));
        let degrees_of_freedom = of_budget.or_else(|| mean(&of_pairs)).unwrap_or(f64::INFINITY);
        let budget = step.budget.as_ref();
        let combined = budget.and_then(|budget| budget.combined);
        let from =
            Interval { low: step.airspeed_low?, high: step.airspeed_high?, combined, degrees_of_freedom };
        let rows = budget.map_or(&[][..], |budget| &budget.rows).iter().map(Row::part);
        let crosswind_bound = budget.and_then(|budget| budget.crosswind_bound).unwrap_or(0.0);
        let uncertainty = from.uncertainty(rows, crosswind_bound, speed_si)?;
        let airspeed_mps = from.middle_mps(speed_si)?;
        Some(FlownStep {
            step: step.step,
            throttle_percent: step.throttle_percent,
            airspeed_mps,
            reported_mps: step.airspeed.map_or(airspeed_mps, |airspeed| airspeed * speed_si),
            own_uncertainty_mps: uncertainty.own.0,
            own_degrees_of_freedom: uncertainty.own.1,
            shared: uncertainty.shared,
            wind_mps: step.wind.unwrap_or(f64::NAN) * speed_si,
            voltage_v: step.voltage_v,
            pairs: pairs.len().max(1),
        })
    }

    fn runs(&self, step: u32, speed_si: f64) -> Vec<Run> {
        let of_step = self.pairs.iter().filter(|pair| pair.step == step);
        of_step
            .filter_map(|pair| {
                Some(Run {
                    airspeed: pair.airspeed? * speed_si,
                    uncertainty: pair.airspeed_uncertainty? * speed_si,
                    voltage_v: pair.voltage_v?,
                })
            })
            .collect()
    }
}

impl Pattern {
    /// The pattern as a step of its own, unless its throttle is among the steps already. Without a known
    /// throttle it is one only where nothing else was flown.
    fn as_step(&self, steps: &[FlownStep], speed_si: f64) -> Option<FlownStep> {
        let known = |percent: f64| steps.iter().any(|step| step.throttle_percent == Some(percent));
        if self.throttle_percent.map_or(!steps.is_empty(), known) {
            return None;
        }
        let degrees_of_freedom = self.degrees_of_freedom.unwrap_or(f64::INFINITY);
        let combined = self.airspeed_uncertainty;
        let from =
            Interval { low: self.airspeed_low?, high: self.airspeed_high?, combined, degrees_of_freedom };
        let (airspeed_mps, uncertainty_mps) = (from.middle_mps(speed_si)?, from.combined_mps(speed_si)?);
        Some(FlownStep {
            step: steps.iter().map(|step| step.step).max().unwrap_or(0).saturating_add(1),
            throttle_percent: self.throttle_percent,
            airspeed_mps,
            reported_mps: self.airspeed.map_or(airspeed_mps, |airspeed| airspeed * speed_si),
            own_uncertainty_mps: uncertainty_mps,
            own_degrees_of_freedom: degrees_of_freedom,
            shared: SharedUncertainty::default(),
            wind_mps: self.wind.unwrap_or(f64::NAN) * speed_si,
            voltage_v: self.voltage_v,
            pairs: 1,
        })
    }
}
