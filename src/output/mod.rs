//! Output: one format a file. A serializer takes the flight and gives bytes; only [`folder`]
//! touches files.

pub mod answer;
pub mod axis;
pub mod blanks;
mod captions;
pub mod comparison;
pub mod conditions;
pub mod decimation;
mod evidence_png;
pub mod folder;
mod legs_csv;
pub mod numbers;
mod page;
mod pairs_csv;
mod patterns_csv;
pub mod propulsion;
pub mod reading_statistics;
mod report;
mod series_csv;
mod summary_json;
pub mod table;
pub mod test_card;
#[cfg(test)]
mod tests;
pub mod throttle_bars;
pub mod unread;
pub mod words;

use std::io::{self, Write};

use thiserror::Error;

use crate::flight::Flight;

pub use blanks::BlankReasons;
pub use captions::captions_vtt;
pub use comparison::{ComparisonStyle, comparison_html, comparison_json, comparison_text};
pub use evidence_png::evidence_png;
pub use legs_csv::legs_csv;
pub use pairs_csv::pairs_csv;
pub use patterns_csv::patterns_csv;
pub use report::report_html;
pub use series_csv::series_csv;
pub use summary_json::summary_json;
pub use table::table;
pub use test_card::{test_card_html, test_card_json, test_card_text};
pub use words::CAUTIONS;

/// Why a result could not be put into its format.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum RenderError {
    /// The CSV writer refused a record.
    #[error("a table could not be written as CSV: {0}")]
    Csv(#[from] csv::Error),
    /// The JSON writer refused a value.
    #[error("the summary could not be written as JSON: {0}")]
    Json(#[from] serde_json::Error),
    /// A picture could not be written as PNG.
    #[error("a picture could not be written as PNG: {0}")]
    Picture(#[from] png::EncodingError),
    /// A plot could not be drawn.
    #[error("a plot could not be drawn: {0}")]
    Plot(String),
    /// Bytes could not be written.
    #[error("bytes could not be written: {0}")]
    Write(#[from] io::Error),
}

/// What the pilot should know of a flight, a sentence each: channels that cannot be read, what else was left blank, and
/// its notes.
fn notes(flight: &Flight) -> Vec<String> {
    let unread = unread::sentences(flight);
    unread.into_iter().chain(blanks::sentences(flight)).chain(flight.notes.iter().cloned()).collect()
}

/// Turns a flight into one result file.
#[derive(Debug, Clone, Copy)]
enum Serializer {
    /// Gives all its bytes.
    Whole(fn(&Flight) -> Result<Vec<u8>, RenderError>),
    /// Writes it bit by bit: it grows with the flight's length.
    ByAndBy(fn(&Flight, &mut dyn Write) -> Result<(), RenderError>),
}

impl Serializer {
    fn write(self, flight: &Flight, out: &mut dyn Write) -> Result<(), RenderError> {
        match self {
            Self::Whole(bytes) => Ok(out.write_all(&bytes(flight)?)?),
            Self::ByAndBy(write) => write(flight, out),
        }
    }
}

use Serializer::{ByAndBy, Whole};

const SERIES: &str = "series.csv";
const LEGS: &str = "legs.csv";
const PAIRS: &str = "pairs.csv";
const REPORT: &str = "report.html";

/// The result files and what writes each.
const FORMATS: [(&str, Serializer); 8] = [
    (SERIES, ByAndBy(series_csv)),
    (LEGS, Whole(legs_csv)),
    (PAIRS, Whole(pairs_csv)),
    ("patterns.csv", Whole(patterns_csv)),
    ("summary.json", Whole(summary_json)),
    ("captions.vtt", Whole(captions_vtt)),
    ("evidence.png", ByAndBy(evidence_png)),
    (REPORT, Whole(report_html)),
];

/// A result file that a reader may want by itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ResultFile {
    /// Every frame's readings.
    Series,
    /// The legs.
    Legs,
    /// The pairs of legs with their airspeeds.
    Pairs,
    /// The report to read and print.
    Report,
}

impl ResultFile {
    /// Its name in the folder of results, and what writes it.
    fn format(self) -> (&'static str, Serializer) {
        match self {
            Self::Series => (SERIES, ByAndBy(series_csv)),
            Self::Legs => (LEGS, Whole(legs_csv)),
            Self::Pairs => (PAIRS, Whole(pairs_csv)),
            Self::Report => (REPORT, Whole(report_html)),
        }
    }
}

/// Writes records as CSV after RFC 4180: comma, quotes where needed, lines end in CR LF.
fn write_csv<I, R>(records: I, out: impl Write) -> Result<(), RenderError>
where
    I: IntoIterator<Item = R>,
    R: IntoIterator<Item = String>,
{
    let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(out);
    for record in records {
        writer.write_record(record.into_iter().map(String::into_bytes))?;
    }
    Ok(writer.flush()?)
}

/// The same as bytes.
fn csv_bytes<I, R>(records: I) -> Result<Vec<u8>, RenderError>
where
    I: IntoIterator<Item = R>,
    R: IntoIterator<Item = String>,
{
    let mut bytes = Vec::new();
    write_csv(records, &mut bytes)?;
    Ok(bytes)
}
