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

/// Starts `pairspeed-window.exe`, the program that opens the window without a console, from the folder of this
/// program. A console that was opened for this program then closes at once. Returns whether the other program was
/// started.
#[cfg(windows)]
pub fn start_without_console() -> bool {
    let own = std::env::current_exe();
    own.is_ok_and(|own| {
        std::process::Command::new(own.with_file_name("pairspeed-window.exe")).spawn().is_ok()
    })
}
