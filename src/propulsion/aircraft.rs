//! Set-up notes of the aircraft, from a `flight.toml`.

use std::io;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use thiserror::Error;

/// Voltage per cell under which to land: a convention, published figures run from 3.3 to 3.75 V (common
/// practice, no source).
pub const LANDING_V_PER_CELL: f64 = 3.5;

/// The keys of `[aircraft]`, for messages.
const KEYS: &str = "name, motor_kv, cells, landing_v_per_cell, propeller_diameter_in, propeller_pitch_in, \
                    mass_kg, mount, notes";

/// No notes written by hand come near this size.
const LIMIT_BYTES: u64 = 1 << 20;

/// What is told of the aircraft; all of it may be left out.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Aircraft {
    /// What to call it.
    pub name: Option<String>,
    /// Revolutions a minute per volt of the motor without load.
    pub motor_kv: Option<f64>,
    /// Cells of the pack in series.
    pub cells: Option<u32>,
    /// Voltage per cell under load below which to land; without it 3.5 V.
    pub landing_v_per_cell: Option<f64>,
    /// Diameter of the propeller in inches.
    pub propeller_diameter_in: Option<f64>,
    /// Pitch printed on the propeller, in inches.
    pub propeller_pitch_in: Option<f64>,
    /// Mass ready to fly, in kg.
    pub mass_kg: Option<f64>,
    /// Where the motor sits, such as "pusher".
    pub mount: Option<String>,
    /// Anything else.
    pub notes: Option<String>,
}

/// Why notes cannot be used.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum AircraftError {
    /// The file cannot be read.
    #[error("cannot read the flight notes {}: {source}. Check the name", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// The system's reason.
        source: io::Error,
    },
    /// The file is far larger than any notes.
    #[error("{}: no flight notes: larger than {LIMIT_BYTES} bytes. Give the .toml file", path.display())]
    TooLarge {
        /// The file.
        path: PathBuf,
    },
    /// The text is not what was expected.
    #[error("{}, line {line}: {message}. It holds a table [aircraft] with any of the keys {KEYS}", path.display())]
    NotNotes {
        /// The file.
        path: PathBuf,
        /// The line, from 1.
        line: usize,
        /// What the parser says.
        message: String,
    },
    /// A number that cannot be.
    #[error("{}: {key} = {value}: it must be {least} to {most}", path.display())]
    OutOfRange {
        /// The file.
        path: PathBuf,
        /// The key.
        key: &'static str,
        /// Its value.
        value: f64,
        /// Least value taken.
        least: f64,
        /// Greatest value taken.
        most: f64,
    },
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    aircraft: Aircraft,
}

impl Aircraft {
    /// Reads a `flight.toml`.
    ///
    /// # Errors
    /// [`AircraftError`] names the file, the line or key, what is wrong and the mend.
    pub fn load(path: &Path) -> Result<Self, AircraftError> {
        let unreadable = |source| AircraftError::Unreadable { path: path.to_owned(), source };
        if std::fs::metadata(path).map_err(unreadable)?.len() > LIMIT_BYTES {
            return Err(AircraftError::TooLarge { path: path.to_owned() });
        }
        let text = std::fs::read_to_string(path).map_err(unreadable)?;
        let file: File = toml::from_str(&text).map_err(|error| {
            let at = error.span().map_or(0, |span| span.start);
            let line = 1 + text.bytes().take(at).filter(|byte| *byte == b'\n').count();
            AircraftError::NotNotes {
                path: path.to_owned(),
                line,
                message: error.message().replace('\n', " "),
            }
        })?;
        file.aircraft.check(path)?;
        Ok(file.aircraft)
    }

    fn check(&self, path: &Path) -> Result<(), AircraftError> {
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
                return Err(AircraftError::OutOfRange { path: path.to_owned(), key, value, least, most });
            }
        }
        Ok(())
    }

    /// Voltage per cell under which to land.
    #[must_use]
    pub fn landing_v_per_cell(&self) -> f64 {
        self.landing_v_per_cell.unwrap_or(LANDING_V_PER_CELL)
    }
}
