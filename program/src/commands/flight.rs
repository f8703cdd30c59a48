//! Reads a flight, and adds the commands that teach the channels that cannot be read.

use std::path::PathBuf;

use pairspeed::flight::Flight;
use pairspeed::readings::Progress;
use pairspeed::setup::LoadedSetup;
use pairspeed::{ReadError, ReadOptions, read_flight};

use crate::wording;

/// Reads a flight, and adds to each channel that cannot be read the command that teaches it.
pub fn flight_with_commands(
    clips: &[PathBuf],
    setup: &LoadedSetup,
    options: &ReadOptions,
    progress: &mut dyn Progress,
) -> Result<Flight, ReadError> {
    let mut flight = read_flight(clips, setup, options, progress)?;
    for unread in &mut flight.legibility.unread {
        unread.command = wording::teach_command(unread);
    }
    Ok(flight)
}
