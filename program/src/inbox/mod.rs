//! The inbox: a folder, or a mounted card, whose recordings are read as soon as they have stopped growing.
//!
//! ```text
//! folder -> listing (recordings, setups) -> arrivals (stopped growing?) -> keeper -> reader -> results
//!                                                                           keeper <-> journal (what was done)
//! ```
//!
//! Nothing here waits or asks for the time: the caller passes the time since the start and a listing of the folder.

mod arrivals;
mod journal;
mod keeper;
mod listing;
#[cfg(test)]
mod tests;

pub use keeper::{InboxFolders, Keeper, ReadingOutcome, RecordingReader};
pub use listing::Listing;
