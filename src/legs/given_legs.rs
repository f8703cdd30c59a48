//! Legs that the pilot gives in a CSV file.

use std::io;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::LegKind;
use crate::files::MAX_TEXT_BYTES;
use crate::visible::excerpt;

/// Largest time in a file of legs, in seconds: about thirty years. Without a limit, a message that repeats a time
/// could contain more than 300 digits.
pub(crate) const MAX_TIME_S: f64 = 1e9;

/// A leg that the pilot gives by its times. Its steady middle is the whole interval, except for pieces at the ends
/// whose speed differs clearly from the rest (see [`super::find`]).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct GivenLeg {
    /// Start, in seconds of flight time.
    pub start_s: f64,
    /// End, in seconds of flight time.
    pub end_s: f64,
    /// Whether the leg is upwind, downwind or unpaired; [`LegKind::Leg`] if the speeds decide.
    pub kind: LegKind,
    /// Throttle in per cent; `None` if it is not given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub throttle_percent: Option<f64>,
    /// Start and end of the whole leg in seconds of flight time; `None` if the whole leg is the interval from
    /// `start_s` to `end_s`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub whole_s: Option<(f64, f64)>,
    /// Number of a pair: two neighbouring legs with the same number form a pair, whatever their speeds are. `None` if
    /// the pilot assigned the leg to no pair.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pair: Option<u32>,
}

impl GivenLeg {
    /// A leg of which only the times and the kind are given.
    #[must_use]
    pub fn new(start_s: f64, end_s: f64, kind: LegKind) -> Self {
        Self { start_s, end_s, kind, throttle_percent: None, whole_s: None, pair: None }
    }
}

/// A problem with a legs file.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum LegsFileError {
    /// The legs file cannot be opened or read.
    #[error("cannot read the legs file {}: {source}; check its name and folder", path.display())]
    Unreadable {
        /// Path of the legs file.
        path: PathBuf,
        /// Error of the operating system.
        source: io::Error,
    },
    /// The file is not text, or is far larger than a list of legs could be.
    #[error("{} is not a legs file: it is not text, or it is too long; give a CSV file, not the clip", path.display())]
    NotText {
        /// Path of the legs file.
        path: PathBuf,
    },
    /// The values in the file are separated by semicolons instead of commas.
    #[error("{}: the values are separated by semicolons; separate them by commas, and write decimals with a point", path.display())]
    Semicolons {
        /// Path of the legs file.
        path: PathBuf,
    },
    /// The header of the file lacks a column.
    #[error("{}: no column \"{column}\": the first line must name start_s, end_s, kind and throttle_percent", path.display())]
    MissingColumn {
        /// Path of the legs file.
        path: PathBuf,
        /// Name of the missing column.
        column: &'static str,
    },
    /// A value in the file cannot be understood.
    #[error("{}, line {line}, column {column}: \"{value}\" is not {wanted}", path.display())]
    BadCell {
        /// Path of the legs file.
        path: PathBuf,
        /// Line number in the file, from 1.
        line: u64,
        /// Name of the value's column.
        column: &'static str,
        /// The start of the value as written.
        value: String,
        /// The values that are allowed.
        wanted: &'static str,
    },
    /// A leg ends before it starts.
    #[error("{}, line {line}: the leg ends at {end_s} s, before or at its start at {start_s} s; swap the two times or fix them", path.display())]
    Reversed {
        /// Path of the legs file.
        path: PathBuf,
        /// Line number in the file, from 1.
        line: u64,
        /// Start of the leg as given, in seconds of flight time.
        start_s: f64,
        /// End of the leg as given, in seconds of flight time.
        end_s: f64,
    },
    /// The file has a header but no leg.
    #[error("{}: there is no leg below the header; write one line for each leg", path.display())]
    NoLegs {
        /// Path of the legs file.
        path: PathBuf,
    },
    /// Two legs overlap.
    #[error("{}, line {line}: the leg from {start_s} s starts before the leg on line {other_line} ends at {other_end_s} s: legs must not overlap; correct one of the times", path.display())]
    Overlap {
        /// Path of the legs file.
        path: PathBuf,
        /// Line number of the leg in the file, from 1.
        line: u64,
        /// Start of the leg as given, in seconds of flight time.
        start_s: f64,
        /// Line number of the other leg, from 1.
        other_line: u64,
        /// End of the other leg, in seconds of flight time.
        other_end_s: f64,
    },
}

/// Indices of the columns of a legs file, as found in its header.
struct ColumnIndices {
    start: usize,
    end: usize,
    kind: usize,
    throttle: usize,
}

/// Reads a legs file: CSV with a header that names at least `start_s`, `end_s`, `kind` and
/// `throttle_percent`, in any order. Other columns are ignored, so that the `legs.csv` of a result folder can
/// be used. The kinds are upwind, downwind, unpaired and leg, in upper or lower case. An empty throttle means
/// that the throttle is not known. The legs are returned in order of time.
///
/// # Errors
///
/// [`LegsFileError`] names the file, the line, the column, the value and the fix.
pub fn read_file(path: impl AsRef<Path>) -> Result<Vec<GivenLeg>, LegsFileError> {
    let path = path.as_ref();
    let text = read_text(path)?;
    let unreadable =
        |error: csv::Error| LegsFileError::Unreadable { path: path.to_owned(), source: error.into() };
    let mut reader =
        csv::ReaderBuilder::new().trim(csv::Trim::All).flexible(true).from_reader(text.as_bytes());
    let columns = columns(path, reader.headers().map_err(unreadable)?)?;
    let mut legs = Vec::new();
    for record in reader.records() {
        let record = record.map_err(unreadable)?;
        let line = record.position().map_or(0, csv::Position::line);
        if record.iter().any(|cell| !cell.is_empty()) {
            legs.push((line, given_leg(path, line, &record, &columns)?));
        }
    }
    in_order(path, legs)
}

fn read_text(path: &Path) -> Result<String, LegsFileError> {
    crate::files::read_text(path, MAX_TEXT_BYTES).map_err(|source| match source.kind() {
        io::ErrorKind::FileTooLarge | io::ErrorKind::InvalidData => {
            LegsFileError::NotText { path: path.to_owned() }
        }
        _ => LegsFileError::Unreadable { path: path.to_owned(), source },
    })
}

fn columns(path: &Path, header: &csv::StringRecord) -> Result<ColumnIndices, LegsFileError> {
    if header.len() == 1 && header.iter().any(|cell| cell.contains(';')) {
        return Err(LegsFileError::Semicolons { path: path.to_owned() });
    }
    let place = |column: &'static str| {
        header
            .iter()
            .position(|name| name.trim_start_matches('\u{feff}').eq_ignore_ascii_case(column))
            .ok_or_else(|| LegsFileError::MissingColumn { path: path.to_owned(), column })
    };
    Ok(ColumnIndices {
        start: place("start_s")?,
        end: place("end_s")?,
        kind: place("kind")?,
        throttle: place("throttle_percent")?,
    })
}

fn given_leg(
    path: &Path,
    line: u64,
    record: &csv::StringRecord,
    columns: &ColumnIndices,
) -> Result<GivenLeg, LegsFileError> {
    let bad = |column, value: &str, wanted| LegsFileError::BadCell {
        path: path.to_owned(),
        line,
        column,
        value: excerpt(value),
        wanted,
    };
    let cell = |place: usize| record.get(place).unwrap_or("");
    let time = |place, column| {
        let finite = cell(place).parse().ok().filter(|time: &f64| (0.0..=MAX_TIME_S).contains(time));
        finite.ok_or_else(|| {
            bad(column, cell(place), "a time: give seconds from the first frame, such as 12.5")
        })
    };
    let (start_s, end_s) = (time(columns.start, "start_s")?, time(columns.end, "end_s")?);
    if end_s <= start_s {
        return Err(LegsFileError::Reversed { path: path.to_owned(), line, start_s, end_s });
    }
    let kind = kind(cell(columns.kind)).ok_or_else(|| {
        bad(
            "kind",
            cell(columns.kind),
            "a kind of leg: write upwind, downwind, unpaired, or leg (its speed then decides the direction)",
        )
    })?;
    let throttle_percent = throttle(cell(columns.throttle)).ok_or_else(|| {
        bad(
            "throttle_percent",
            cell(columns.throttle),
            "a throttle in per cent: write 0 to 100, or nothing if the throttle is not known",
        )
    })?;
    Ok(GivenLeg { throttle_percent, ..GivenLeg::new(start_s, end_s, kind) })
}

fn kind(cell: &str) -> Option<LegKind> {
    match cell.to_lowercase().as_str() {
        "upwind" => Some(LegKind::Upwind),
        "downwind" => Some(LegKind::Downwind),
        "unpaired" | "odd" => Some(LegKind::Unpaired),
        "leg" => Some(LegKind::Leg),
        _ => None,
    }
}

/// Parses a throttle in per cent: `Some(None)` for an empty text, `None` for a text that is no throttle.
fn throttle(cell: &str) -> Option<Option<f64>> {
    if cell.is_empty() {
        return Some(None);
    }
    cell.parse().ok().filter(|percent| (0.0..=100.0).contains(percent)).map(Some)
}

fn in_order(path: &Path, mut legs: Vec<(u64, GivenLeg)>) -> Result<Vec<GivenLeg>, LegsFileError> {
    if legs.is_empty() {
        return Err(LegsFileError::NoLegs { path: path.to_owned() });
    }
    legs.sort_by(|(_, a), (_, b)| a.start_s.total_cmp(&b.start_s));
    for two in legs.windows(2) {
        let ((other_line, other), (line, leg)) = (two[0], two[1]);
        if leg.start_s < other.end_s {
            return Err(LegsFileError::Overlap {
                path: path.to_owned(),
                line,
                start_s: leg.start_s,
                other_line,
                other_end_s: other.end_s,
            });
        }
    }
    Ok(legs.into_iter().map(|(_, leg)| leg).collect())
}
