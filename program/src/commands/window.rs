//! `window`: opens the desktop window.

use std::path::PathBuf;

use clap::Args;

use super::Failure;

#[derive(Debug, Args)]
pub struct WindowArguments {
    /// The clips of one flight, in recording order
    #[arg(value_name = "CLIP")]
    clips: Vec<PathBuf>,
}

pub fn run(arguments: &WindowArguments) -> Result<(), Failure> {
    pairspeed_window::open(arguments.clips.clone()).map_err(Failure::failed)
}
