//! Reads the summaries in result folders: the only file access of this module.

use std::io;
use std::path::{Path, PathBuf};

use thiserror::Error;

use super::flown_flight::{FlownFlight, SpeedUnitError};
use super::format::SummaryError;
use super::schema::Summary;
use crate::files::{MAX_SUMMARY_BYTES, read_bytes};

/// Name of the summary file in a result folder.
pub const SUMMARY_FILE: &str = "summary.json";

/// Why the results of a flight cannot be loaded. Each message names the file and says what to do next.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum LoadError {
    /// The folder holds no results of a flight.
    #[error(
        "{}: the folder holds no {SUMMARY_FILE}: choose a folder with the results of a flight, such as flight-result",
        folder.display()
    )]
    NoSummary {
        /// Path of the folder.
        folder: PathBuf,
    },
    /// The summary file cannot be read.
    #[error("cannot read {}: {source}. Choose a folder with the results of a flight", path.display())]
    Unreadable {
        /// Path of the summary file.
        path: PathBuf,
        /// Error of the operating system.
        source: io::Error,
    },
    /// The file is not a summary of a flight.
    #[error(
        "{}: {source}. Choose a folder with the results of a flight, or read the clips again",
        path.display()
    )]
    NotSummary {
        /// Path of the summary file.
        path: PathBuf,
        /// What is wrong with the content, with line and column.
        source: SummaryError,
    },
    /// The summary file has another version of the schema, or a list with too many entries.
    #[error("{}: {source}", path.display())]
    OtherFormat {
        /// Path of the summary file.
        path: PathBuf,
        /// The version that was found, or the list that is too long, with what is accepted.
        source: SummaryError,
    },
    /// The unit of the speeds in the summary is not known.
    #[error("{}: {source}", path.display())]
    NoUnit {
        /// Path of the summary file.
        path: PathBuf,
        /// The error that says how to state the unit.
        source: SpeedUnitError,
    },
}

/// Path of the summary file: `summary.json` in `path` if that is a folder, otherwise `path` itself.
#[must_use]
pub fn summary_file(path: &Path) -> PathBuf {
    if path.is_dir() { path.join(SUMMARY_FILE) } else { path.to_owned() }
}

/// Loads the results of one flight from a result folder, or from the `summary.json` in it.
///
/// # Errors
///
/// [`LoadError`] if there is no usable summary.
pub fn load_flight(path: &Path) -> Result<FlownFlight, LoadError> {
    let file = summary_file(path);
    if path.is_dir() && !file.exists() {
        return Err(LoadError::NoSummary { folder: path.to_owned() });
    }
    let json = read_bytes(&file, MAX_SUMMARY_BYTES)
        .map_err(|source| LoadError::Unreadable { path: file.clone(), source })?;
    let summary = Summary::read(&json).map_err(|source| match source {
        SummaryError::NotSummary(_) => LoadError::NotSummary { path: file.clone(), source },
        _ => LoadError::OtherFormat { path: file.clone(), source },
    })?;
    FlownFlight::from_summary(&summary, folder_name(&file))
        .map_err(|source| LoadError::NoUnit { path: file, source })
}

/// Loads the results of several flights, in the given order. Flights whose folders have the same name are named by
/// their paths.
///
/// # Errors
/// [`LoadError`] for the first flight without a usable summary.
pub fn load_flights(paths: &[PathBuf]) -> Result<Vec<FlownFlight>, LoadError> {
    let mut flights = paths.iter().map(|path| load_flight(path)).collect::<Result<Vec<_>, _>>()?;
    let names: Vec<String> = flights.iter().map(|flight| flight.name.clone()).collect();
    for (flight, path) in flights.iter_mut().zip(paths) {
        if names.iter().filter(|name| **name == flight.name).count() > 1 {
            flight.name = path.display().to_string();
        }
    }
    Ok(flights)
}

/// Name of the folder that holds the file; the path of the file if the folder has no name.
fn folder_name(file: &Path) -> String {
    let file_path = std::fs::canonicalize(file).unwrap_or_else(|_| file.to_owned());
    let folder = file_path.parent().and_then(Path::file_name);
    folder.map_or_else(|| file.display().to_string(), |name| name.to_string_lossy().into_owned())
}
