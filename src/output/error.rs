//! Why a result could not be converted to its format.

use std::io;

use thiserror::Error;

/// Why a result could not be converted to its format.
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
    /// The bytes of a result could not be written.
    #[error("the result could not be written: {0}")]
    Write(#[from] io::Error),
}
