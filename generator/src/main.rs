//! The command line program of the library: makes clips and template folders.

use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Parser, Subcommand};
use clip_generator::{Error, Scenario, make_clip, write_templates};

/// Makes demonstration and test clips, and the glyph templates.
#[derive(Parser)]
#[command(version)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Simulate the flight of a scenario and write its clip with truth, readings and setup beside it.
    Clip {
        /// The scenario, a TOML file.
        scenario: PathBuf,
        /// Folder for the clip; created if missing.
        #[arg(long)]
        out: PathBuf,
    },
    /// Write the drawn glyph sets as template folders.
    Templates {
        /// Folder for the glyph sets; created if missing.
        dir: PathBuf,
    },
}

fn main() -> ExitCode {
    match run(Arguments::parse().command) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("error: {error}");
            ExitCode::FAILURE
        }
    }
}

fn run(command: Command) -> Result<(), Error> {
    match command {
        Command::Clip { scenario, out } => {
            for paths in make_clip(&Scenario::from_file(&scenario)?, &out)? {
                println!("{}", paths.clip.display());
            }
        }
        Command::Templates { dir } => {
            for folder in write_templates(&dir)? {
                println!("{}", folder.display());
            }
        }
    }
    Ok(())
}
