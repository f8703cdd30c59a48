//! Output: one format a file. A serializer takes the flight and returns bytes; only [`folder`]
//! touches files.

mod answer;
mod captions;
mod comparison;
mod evidence_png;
pub mod folder;
mod legs_csv;
mod numbers;
mod page;
mod pairs_csv;
mod patterns_csv;
mod propulsion;
mod report;
mod series_csv;
mod summary;
mod surroundings;
mod table;
mod tally;
mod test_card;
#[cfg(test)]
mod tests;
mod words;

use thiserror::Error;

use crate::flight::Flight;

pub use captions::captions_vtt;
pub use comparison::{ComparisonStyle, comparison_html, comparison_json, comparison_text};
pub use evidence_png::evidence_png;
pub use legs_csv::legs_csv;
pub use pairs_csv::pairs_csv;
pub use patterns_csv::patterns_csv;
pub use report::report_html;
pub use series_csv::series_csv;
pub use summary::{SUMMARY_FORMAT, summary_json};
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
    Picture(#[source] image::ImageError),
    /// A plot could not be drawn.
    #[error("a plot could not be drawn: {0}")]
    Plot(String),
}

/// Turns a flight into the bytes of one result file.
type Serializer = fn(&Flight) -> Result<Vec<u8>, RenderError>;

/// The result files and what writes each.
const FORMATS: [(&str, Serializer); 8] = [
    ("series.csv", series_csv),
    ("legs.csv", legs_csv),
    ("pairs.csv", pairs_csv),
    ("patterns.csv", patterns_csv),
    ("summary.json", summary_json),
    ("captions.vtt", captions_vtt),
    ("evidence.png", evidence_png),
    ("report.html", report_html),
];

/// Collects records into CSV after RFC 4180: comma, quotes where needed, lines end in CR LF.
fn csv_bytes<I, R>(records: I) -> Result<Vec<u8>, RenderError>
where
    I: IntoIterator<Item = R>,
    R: IntoIterator<Item = String>,
{
    let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    for record in records {
        writer.write_record(record.into_iter().map(String::into_bytes))?;
    }
    writer.into_inner().map_err(|error| RenderError::Csv(error.into_error().into()))
}
