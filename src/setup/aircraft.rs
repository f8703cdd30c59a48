//! The description of the aircraft: the table `[aircraft]` of a camera setup or of a separate file.

use std::io;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use thiserror::Error;
use toml::de::DeTable;

use super::error::{SettingError, SetupError, SetupProblem};
use super::key_positions::{KeyPositions, LocatedError};
use super::text_file::{line_at, read_text};
use crate::files::MAX_TEXT_BYTES;

/// Default voltage per cell under load at which the pilot should land, in volts. Common practice, no source:
/// published figures range from 3.3 to 3.75 V.
pub const LANDING_V_PER_CELL: f64 = 3.5;

/// Highest voltage that a full cell can show, in volts: the 4.2 V to which a lithium-polymer cell is charged, plus 0.05 V
/// for the voltmeter's error (set by judgement).
pub const FULL_CELL_V: f64 = 4.25;

/// The pilot's description of the aircraft. All fields are optional.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Aircraft {
    /// Name of the aircraft.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// Revolutions per minute per volt of the motor without load.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub motor_kv: Option<f64>,
    /// Number of cells of the pack in series.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cells: Option<u32>,
    /// Voltage per cell under load at which the pilot should land, in volts; [`LANDING_V_PER_CELL`] if
    /// `None`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub landing_v_per_cell: Option<f64>,
    /// Diameter of the propeller in inches.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub propeller_diameter_in: Option<f64>,
    /// Pitch printed on the propeller, in inches.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub propeller_pitch_in: Option<f64>,
    /// Mass ready to fly, in kg.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mass_kg: Option<f64>,
    /// Where the motor is mounted, such as "pusher".
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mount: Option<String>,
    /// Any other remarks.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub notes: Option<String>,
}

/// Why a separate file with a description of the aircraft cannot be used.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum AircraftError {
    /// The file cannot be read.
    #[error("cannot read the aircraft file {}: {source}. Check the name", path.display())]
    Unreadable {
        /// Path of the aircraft file.
        path: PathBuf,
        /// Error of the operating system.
        source: io::Error,
    },
    /// The file is not text, or too large.
    #[error(
        "{} is not an aircraft file: it is not text, or it is larger than {MAX_TEXT_BYTES} bytes. Give the .toml file",
        path.display()
    )]
    NotText {
        /// Path of the aircraft file.
        path: PathBuf,
    },
    /// The text is not valid TOML.
    #[error("{}, line {line}: not valid TOML ({message}): fix this line", path.display())]
    NotToml {
        /// Path of the aircraft file.
        path: PathBuf,
        /// Line number, from 1.
        line: usize,
        /// The parser's message.
        message: String,
    },
    /// The file is valid TOML, but not a valid description.
    #[error("{}{}: {error}", path.display(), line.map(|line| format!(", line {line}")).unwrap_or_default())]
    Invalid {
        /// Path of the aircraft file.
        path: PathBuf,
        /// Line number, from 1; `None` if the error belongs to no line.
        line: Option<usize>,
        /// The wrong setting, and what is wrong with it.
        error: SettingError,
    },
}

/// The content of a separate aircraft file.
#[derive(Deserialize)]
struct AircraftFile {
    aircraft: Aircraft,
}

impl Aircraft {
    /// Reads the description from a file that has only the table `[aircraft]`.
    ///
    /// # Errors
    /// [`AircraftError`] names the file, the line and the key, and says what is wrong and how to fix it.
    pub fn load(path: &Path) -> Result<Self, AircraftError> {
        let text = read_text(path).map_err(|error| match error {
            SetupError::Unreadable { path, source } => AircraftError::Unreadable { path, source },
            _ => AircraftError::NotText { path: path.to_owned() },
        })?;
        let root = DeTable::parse(&text).map_err(|error| AircraftError::NotToml {
            path: path.to_owned(),
            line: line_at(&text, error.span().map_or(0, |span| span.start)),
            message: error.message().replace('\n', " "),
        })?;
        let located = |LocatedError { error, byte }| AircraftError::Invalid {
            path: path.to_owned(),
            line: byte.map(|byte| line_at(&text, byte)),
            error,
        };
        let positions = KeyPositions::of_aircraft(root.get_ref()).map_err(located)?;
        let file = AircraftFile::deserialize(toml::Deserializer::from(root))
            .map_err(|error| located(positions.wrong_value(&error)))?;
        file.aircraft.validate().map_err(|error| located(positions.locate(error)))?;
        Ok(file.aircraft)
    }

    /// Checks that every number is within bounds. The bounds are set by judgement: wide enough for any
    /// aircraft, narrow enough to notice a wrong unit or a misplaced decimal point.
    ///
    /// # Errors
    ///
    /// [`SettingError`] names the first wrong setting, its value and its bounds.
    pub(super) fn validate(&self) -> Result<(), SettingError> {
        let bounds = [
            ("motor_kv", self.motor_kv, 1.0, 100_000.0),
            ("cells", self.cells.map(f64::from), 1.0, 30.0),
            ("landing_v_per_cell", self.landing_v_per_cell, 0.5, 5.0),
            ("propeller_diameter_in", self.propeller_diameter_in, 0.5, 100.0),
            ("propeller_pitch_in", self.propeller_pitch_in, 0.1, 100.0),
            ("mass_kg", self.mass_kg, 0.001, 1000.0),
        ];
        for (key, value, min, max) in bounds {
            if let Some(value) = value.filter(|value| !(min..=max).contains(value)) {
                let problem = SetupProblem::OutOfRange { key, value, min, max };
                return Err(SettingError::new(None, Some(key), problem));
            }
        }
        Ok(())
    }

    /// Voltage per cell under load at which the pilot should land, in volts: the given one, otherwise
    /// [`LANDING_V_PER_CELL`].
    #[must_use]
    pub fn landing_v_per_cell(&self) -> f64 {
        self.landing_v_per_cell.unwrap_or(LANDING_V_PER_CELL)
    }

    /// Voltage of the pack under load at which the pilot should land, in volts; `None` if the number of cells
    /// is not given.
    #[must_use]
    pub fn landing_v(&self) -> Option<f64> {
        self.cells.map(|cells| f64::from(cells) * self.landing_v_per_cell())
    }

    /// The description in one line, such as `salt wing (motor 1150 rpm/V, 6 cells, propeller 6 x 6 in)`; empty if nothing
    /// is given.
    #[must_use]
    pub fn line(&self) -> String {
        let propeller = match (self.propeller_diameter_in, self.propeller_pitch_in) {
            (Some(diameter), Some(pitch)) => Some(format!("propeller {diameter} x {pitch} in")),
            (Some(diameter), None) => Some(format!("propeller of {diameter} in")),
            (None, Some(pitch)) => Some(format!("propeller of {pitch} in pitch")),
            (None, None) => None,
        };
        let parts = [
            self.motor_kv.map(|kv| format!("motor {kv} rpm/V")),
            self.cells.map(|cells| format!("{cells} cells")),
            propeller,
            self.mass_kg.map(|mass| format!("{mass} kg")),
            self.mount.clone(),
            self.notes.clone(),
        ];
        let details = parts.into_iter().flatten().collect::<Vec<_>>().join(", ");
        match &self.name {
            Some(name) if details.is_empty() => name.clone(),
            Some(name) => format!("{name} ({details})"),
            None => details,
        }
    }
}
