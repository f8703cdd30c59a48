//! `window`: opens the desktop window.

use std::path::PathBuf;

use clap::Args;
use pairspeed::confinement::Confinement;

use super::Failure;

#[derive(Debug, Args)]
pub struct WindowArguments {
    /// The clips of one flight, in recording order
    #[arg(value_name = "CLIP")]
    clips: Vec<PathBuf>,
}

pub fn run(arguments: &WindowArguments) -> Result<(), Failure> {
    if let Err(error) = Confinement::check_available() {
        say_line!("pairspeed: {error}");
    }
    pairspeed_window::open(arguments.clips.clone()).map_err(Failure::failed)
}
