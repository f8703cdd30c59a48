//! The version of the schema: writing a summary as JSON and reading it back.

use std::cmp::Ordering;

use serde::Deserialize;
use serde::de::{Error as _, IgnoredAny};
use thiserror::Error;

use super::schema::Summary;

/// Version of the schema of `summary.json`. Raise it when a field is renamed, removed or given another meaning, or
/// when a variant of an enum gets another name in the file. A new field needs no new version: if a file lacks the
/// field, the field gets its default value.
pub const SUMMARY_FORMAT: u32 = 2;

/// Maximum number of throttle steps, and of patterns, in a summary: a hundred times as many as in a long flight.
/// It limits the time of a comparison, which searches all pairs for each step. Set by judgement.
const MAX_STEPS: usize = 1000;
/// Maximum number of legs, and of pairs of legs, in a summary: fifty times as many as in a long flight. Set by
/// judgement.
const MAX_PAIRS: usize = 10_000;

/// Why bytes cannot be read as a summary.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum SummaryError {
    /// The bytes are not a summary.
    #[error("not the summary of a flight ({0})")]
    NotSummary(#[from] serde_json::Error),
    /// A list in the summary has more entries than allowed.
    #[error("its list of {list} has {found} entries; a summary has at most {limit}")]
    TooLong {
        /// Name of the list that is too long.
        list: &'static str,
        /// Number of entries in the list.
        found: usize,
        /// Largest number of entries that the list may have.
        limit: usize,
    },
    /// The summary was written in a later version of the schema.
    #[error(
        "its format is {found}, but this version of the program reads format {SUMMARY_FORMAT}: use the newer \
         version that wrote it, or read the clips again with this one"
    )]
    Newer {
        /// Version of the schema in the file.
        found: u32,
    },
    /// The summary was written in an earlier version of the schema.
    #[error(
        "its format is {found}, but this version of the program reads format {SUMMARY_FORMAT}: read the clips again \
         with this version"
    )]
    Older {
        /// Version of the schema in the file.
        found: u32,
    },
}

/// The version of the schema, which summaries of all versions contain, and the throttle steps. A file without
/// throttle steps is not a summary.
#[derive(Deserialize)]
struct Header {
    format: u32,
    steps: Option<IgnoredAny>,
}

impl Summary {
    /// Reads the content of a `summary.json`.
    ///
    /// # Errors
    ///
    /// [`SummaryError`] if the bytes are not a summary, or are a summary of another version of the schema.
    pub fn read(json: &[u8]) -> Result<Self, SummaryError> {
        let header: Header = serde_json::from_slice(json)?;
        match header.format.cmp(&SUMMARY_FORMAT) {
            Ordering::Greater => Err(SummaryError::Newer { found: header.format }),
            Ordering::Less => Err(SummaryError::Older { found: header.format }),
            Ordering::Equal if header.steps.is_none() => {
                Err(serde_json::Error::custom("missing field `steps`").into())
            }
            Ordering::Equal => serde_json::from_slice::<Self>(json)?.with_short_lists(),
        }
    }

    /// Returns the summary, or [`SummaryError::TooLong`] if one of its lists has more entries than allowed.
    fn with_short_lists(self) -> Result<Self, SummaryError> {
        let lists = [
            ("steps", self.steps.len(), MAX_STEPS),
            ("patterns", self.patterns.len(), MAX_STEPS),
            ("legs", self.legs.len(), MAX_PAIRS),
            ("pairs", self.pairs.len(), MAX_PAIRS),
        ];
        match lists.into_iter().find(|(_, found, limit)| found > limit) {
            Some((list, found, limit)) => Err(SummaryError::TooLong { list, found, limit }),
            None => Ok(self),
        }
    }

    /// The content of `summary.json`: indented UTF-8 text that ends with a line feed.
    ///
    /// # Errors
    ///
    /// Errors of the JSON writer.
    pub fn to_json(&self) -> Result<Vec<u8>, serde_json::Error> {
        let mut bytes = serde_json::to_vec_pretty(self)?;
        bytes.push(b'\n');
        Ok(bytes)
    }
}
