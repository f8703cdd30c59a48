//! Output formats, one per file, named after the result file or the place where it is shown. A serializer turns the
//! flight into bytes; only [`folder`] accesses files.
//!
//! To add a result file: write a serializer in a file of its own, such as `legs_csv.rs`, and add it to `FORMATS`.

pub mod axis;
pub mod blanks;
mod captions_vtt;
pub mod comparison;
pub mod conditions;
pub mod decimation;
mod error;
mod evidence_png;
pub mod folder;
mod legs_csv;
pub mod numbers;
mod page;
mod pairs_csv;
mod patterns_csv;
pub mod propulsion;
pub mod reading_statistics;
mod report_html;
pub mod result_rows;
mod series_csv;
mod summary_json;
pub mod terminal_table;
pub mod test_card;
#[cfg(test)]
mod tests;
pub mod throttle_bars;
pub mod unread;
pub mod words;

use std::io::Write;

use crate::advice::Advice;
use crate::flight::Flight;
use crate::legs::ThrottleSource;

pub use blanks::BlankReasons;
pub use captions_vtt::captions_vtt;
pub use comparison::{ComparisonStyle, comparison_html, comparison_json, comparison_text};
pub use error::RenderError;
pub use evidence_png::evidence_png;
pub use legs_csv::legs_csv;
pub use pairs_csv::pairs_csv;
pub use patterns_csv::patterns_csv;
pub use report_html::report_html;
pub use series_csv::series_csv;
pub use summary_json::summary_json;
pub use terminal_table::table;
pub use test_card::{test_card_html, test_card_json, test_card_text};
pub use words::CAUTIONS;

/// Advice for the pilot on a flight, each piece once: on channels that cannot be read, on an unknown throttle, on blank
/// frames, and on the other notes.
#[must_use]
pub fn advice(flight: &Flight) -> Vec<Advice> {
    let unread = (!flight.legibility.unread.is_empty()).then_some(Advice::MarkBoxes);
    let throttle = !flight.legs.is_empty() && flight.throttle_source == ThrottleSource::Numbered;
    let of_notes = flight.notes.iter().filter_map(|note| note.advice);
    let all = unread.into_iter().chain(throttle.then_some(Advice::GiveThrottle));
    let mut once = Vec::new();
    for advice in all.chain(blanks::advice(flight)).chain(of_notes) {
        if !once.contains(&advice) {
            once.push(advice);
        }
    }
    once
}

/// Notes on a flight, one sentence each: first on channels that cannot be read, then on other blank frames, then all
/// others.
fn notes(flight: &Flight) -> Vec<String> {
    unread::sentences(flight).into_iter().chain(notes_read(flight)).collect()
}

/// Notes on a flight, one sentence each, without those on channels that cannot be read.
fn notes_read(flight: &Flight) -> Vec<String> {
    blanks::sentences(flight).into_iter().chain(flight.notes.iter().map(ToString::to_string)).collect()
}

/// Turns a flight into one result file.
#[derive(Debug, Clone, Copy)]
enum Serializer {
    /// Returns all bytes of the file at once.
    Whole(fn(&Flight) -> Result<Vec<u8>, RenderError>),
    /// Writes the file in parts, for files that grow with the length of the flight.
    Streamed(fn(&Flight, &mut dyn Write) -> Result<(), RenderError>),
}

impl Serializer {
    fn write(self, flight: &Flight, out: &mut dyn Write) -> Result<(), RenderError> {
        match self {
            Self::Whole(bytes) => Ok(out.write_all(&bytes(flight)?)?),
            Self::Streamed(write) => write(flight, out),
        }
    }
}

use Serializer::{Streamed, Whole};

const SERIES: &str = "series.csv";
const LEGS: &str = "legs.csv";
const PAIRS: &str = "pairs.csv";
const REPORT: &str = "report.html";

/// The result files and their serializers.
const FORMATS: [(&str, Serializer); 8] = [
    (SERIES, Streamed(series_csv)),
    (LEGS, Whole(legs_csv)),
    (PAIRS, Whole(pairs_csv)),
    ("patterns.csv", Whole(patterns_csv)),
    ("summary.json", Whole(summary_json)),
    ("captions.vtt", Whole(captions_vtt)),
    ("evidence.png", Streamed(evidence_png)),
    (REPORT, Whole(report_html)),
];

/// A result file that can be written on its own.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ResultFile {
    /// `series.csv`: the readings of every frame.
    Series,
    /// `legs.csv`: the legs.
    Legs,
    /// `pairs.csv`: the pairs of legs with their airspeeds.
    Pairs,
    /// `report.html`: the report for reading and printing.
    Report,
}

impl ResultFile {
    /// The name of the file in the result folder.
    #[must_use]
    pub fn name(self) -> &'static str {
        self.format().0
    }

    /// The name of the file in the result folder, and its serializer.
    fn format(self) -> (&'static str, Serializer) {
        match self {
            Self::Series => (SERIES, Streamed(series_csv)),
            Self::Legs => (LEGS, Whole(legs_csv)),
            Self::Pairs => (PAIRS, Whole(pairs_csv)),
            Self::Report => (REPORT, Whole(report_html)),
        }
    }
}

/// Writes records as CSV (RFC 4180): commas, quotes where needed, lines that end in CR LF.
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

/// Records as the bytes of a CSV file.
fn csv_bytes<I, R>(records: I) -> Result<Vec<u8>, RenderError>
where
    I: IntoIterator<Item = R>,
    R: IntoIterator<Item = String>,
{
    let mut bytes = Vec::new();
    write_csv(records, &mut bytes)?;
    Ok(bytes)
}
