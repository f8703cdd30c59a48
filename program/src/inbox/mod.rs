//! The inbox: a folder, or a mounted card, whose recordings are read as soon as they have stopped growing.
//!
//! ```text
//! folder -> listing (recordings, setups) -> arrivals (complete recordings) -> processor -> reader -> results
//!                                                                           processor <-> journal (what was done)
//! ```
//!
//! Nothing here waits or reads a clock: the caller passes the time since the start and a listing of the folder.

mod arrivals;
mod journal;
mod listing;
mod processor;
#[cfg(test)]
mod tests;

pub use listing::Listing;
pub use processor::{InboxFolders, InboxProcessor, ReadingOutcome, RecordingReader};
