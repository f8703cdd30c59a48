//! Set-up notes of the aircraft: the table `[aircraft]` of a camera setup, or of a file of their own.

use std::io;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use thiserror::Error;
use toml::de::DeTable;

use super::error::{Fault, Problem};
use super::file::{line_of, read_text};
use super::outline::Outline;
use super::{LIMIT_BYTES, SetupError};

/// Voltage per cell under which to land: a convention, published figures run from 3.3 to 3.75 V (common
/// practice, no source).
pub const LANDING_V_PER_CELL: f64 = 3.5;

/// Voltage of a full cell, the highest a lithium-polymer cell is charged to, with what a voltmeter may be off.
pub const FULL_CELL_V: f64 = 4.25;

/// What is told of the aircraft; all of it may be left out.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Aircraft {
    /// What to call it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// Revolutions a minute per volt of the motor without load.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub motor_kv: Option<f64>,
    /// Cells of the pack in series.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cells: Option<u32>,
    /// Voltage per cell under load below which to land; without it 3.5 V.
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
    /// Where the motor sits, such as "pusher".
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mount: Option<String>,
    /// Anything else.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub notes: Option<String>,
}

/// Why notes in a file of their own cannot be used.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum AircraftError {
    /// The file cannot be read.
    #[error("cannot read the aircraft's notes {}: {source}. Check the name", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// The system's reason.
        source: io::Error,
    },
    /// The file is no text, or far larger than any notes.
    #[error(
        "{} holds no notes of an aircraft: it is not text, or larger than {LIMIT_BYTES} bytes. Give the .toml file",
        path.display()
    )]
    NotText {
        /// The file.
        path: PathBuf,
    },
    /// The text is not TOML.
    #[error("{}, line {line}: not valid TOML ({message}): mend this line", path.display())]
    NotToml {
        /// The file.
        path: PathBuf,
        /// The line, from 1.
        line: usize,
        /// What the parser says.
        message: String,
    },
    /// The file is TOML but the notes in it are wrong.
    #[error("{}{}: {fault}", path.display(), line.map(|line| format!(", line {line}")).unwrap_or_default())]
    Invalid {
        /// The file.
        path: PathBuf,
        /// The line, from 1, where there is one.
        line: Option<usize>,
        /// What is wrong.
        fault: Fault,
    },
}

/// A file that holds the aircraft's notes and nothing else.
#[derive(Deserialize)]
struct NotesFile {
    aircraft: Aircraft,
}

impl Aircraft {
    /// Reads notes from a file that holds a table `[aircraft]`.
    ///
    /// # Errors
    /// [`AircraftError`] names the file, the line, the key, what is wrong and the mend.
    pub fn load(path: &Path) -> Result<Self, AircraftError> {
        let text = read_text(path).map_err(|error| match error {
            SetupError::Unreadable { path, source } => AircraftError::Unreadable { path, source },
            _ => AircraftError::NotText { path: path.to_owned() },
        })?;
        let root = DeTable::parse(&text).map_err(|error| AircraftError::NotToml {
            path: path.to_owned(),
            line: line_of(&text, error.span().map_or(0, |span| span.start)),
            message: error.message().replace('\n', " "),
        })?;
        let invalid_at = |(fault, at): (Fault, Option<usize>)| AircraftError::Invalid {
            path: path.to_owned(),
            line: at.map(|at| line_of(&text, at)),
            fault,
        };
        let outline = Outline::of_notes(root.get_ref()).map_err(invalid_at)?;
        let file = NotesFile::deserialize(toml::Deserializer::from(root))
            .map_err(|error| invalid_at(outline.wrong_value(&error)))?;
        file.aircraft.validate().map_err(|fault| {
            let at = outline.place_of(&fault);
            invalid_at((fault, at))
        })?;
        Ok(file.aircraft)
    }

    /// Checks that every number can be.
    ///
    /// # Errors
    /// The first [`Fault`]: its key, value and range.
    pub(super) fn validate(&self) -> Result<(), Fault> {
        let ranges = [
            ("motor_kv", self.motor_kv, 1.0, 100_000.0),
            ("cells", self.cells.map(f64::from), 1.0, 30.0),
            ("landing_v_per_cell", self.landing_v_per_cell, 0.5, 5.0),
            ("propeller_diameter_in", self.propeller_diameter_in, 0.5, 100.0),
            ("propeller_pitch_in", self.propeller_pitch_in, 0.1, 100.0),
            ("mass_kg", self.mass_kg, 0.001, 1000.0),
        ];
        for (key, value, least, most) in ranges {
            if let Some(value) = value.filter(|value| !(least..=most).contains(value)) {
                return Err(Fault::new(None, Some(key), Problem::OutOfRange { key, value, least, most }));
            }
        }
        Ok(())
    }

    /// Voltage per cell under which to land.
    #[must_use]
    pub fn landing_v_per_cell(&self) -> f64 {
        self.landing_v_per_cell.unwrap_or(LANDING_V_PER_CELL)
    }

    /// Voltage of the whole pack under which to land; `None` unless the cells are told.
    #[must_use]
    pub fn landing_v(&self) -> Option<f64> {
        self.cells.map(|cells| f64::from(cells) * self.landing_v_per_cell())
    }

    /// The notes in one line, such as `salt wing (motor 1150 rpm/V, 6 cells, propeller 6 x 6 in)`; empty
    /// without any.
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
        let told = parts.into_iter().flatten().collect::<Vec<_>>().join(", ");
        match &self.name {
            Some(name) if told.is_empty() => name.clone(),
            Some(name) => format!("{name} ({told})"),
            None => told,
        }
    }
}
