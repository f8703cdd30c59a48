//! The commands: one file each.
//!
//! Exit codes: 0 done, 1 a reading failed, 2 misuse (a wrong option, file or setup). Of several flights the
//! first that failed decides.

/// Prints a line. A reader that has gone away (`pairspeed read ... | head`) is no reason to stop: the
/// results are written all the same.
macro_rules! tell {
    ($($text:tt)*) => {{
        use std::io::Write as _;
        let _gone = writeln!(std::io::stdout(), $($text)*);
    }};
}

mod compare;
mod demo;
mod each;
mod inspect;
mod plan;
mod progress;
mod quantity;
mod read;
mod setup;
mod teach;
mod told;

use std::process::ExitCode;

use clap::{Parser, Subcommand};
use pairspeed::ReadError;
use pairspeed::footage::FootageError;
use pairspeed::readings::PrepareError;

/// Measures a model aircraft's airspeed from the numerals in its onboard recording.
///
/// For use after landing. Keep within the airframe's limits, and follow local rules and the flying
/// club's.
#[derive(Debug, Parser)]
#[command(name = "pairspeed", version, arg_required_else_help = true)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Read a small clip that comes with the program and print the answer beside the truth
    Demo(demo::DemoArguments),
    /// Read the clips of one flight and work out the airspeed of every throttle step
    Read(Box<read::ReadArguments>),
    /// Propose where the readouts stand and write a setup file to start from
    Setup(setup::SetupArguments),
    /// Learn the shapes of the overlay's digits from a few told readings
    Teach(teach::TeachArguments),
    /// Show what a clip is and what each region reads
    Inspect(inspect::InspectArguments),
    Compare(compare::CompareArguments),
    Plan(plan::PlanArguments),
}

/// Why a command ended early.
#[derive(Debug)]
enum Failure {
    /// The command was given something it cannot work with.
    Misuse(String),
    /// The work itself failed.
    Failed(String),
}

impl Failure {
    fn misuse(error: impl ToString) -> Self {
        Self::Misuse(error.to_string())
    }

    fn failed(error: impl ToString) -> Self {
        Self::Failed(error.to_string())
    }

    fn message(&self) -> &str {
        match self {
            Self::Misuse(message) | Self::Failed(message) => message,
        }
    }

    /// The same kind of failure in other words.
    fn with_message(self, message: String) -> Self {
        match self {
            Self::Misuse(_) => Self::Misuse(message),
            Self::Failed(_) => Self::Failed(message),
        }
    }
}

impl From<FootageError> for Failure {
    fn from(error: FootageError) -> Self {
        match error {
            FootageError::NoSuchFile { .. }
            | FootageError::IsFolder { .. }
            | FootageError::NameNotText { .. } => Self::misuse(error),
            unreadable => Self::failed(unreadable),
        }
    }
}

impl From<ReadError> for Failure {
    fn from(error: ReadError) -> Self {
        match error {
            ReadError::Footage(error) | ReadError::Prepare(PrepareError::Footage(error)) => error.into(),
            misfit @ ReadError::Prepare(_) => Self::failed(misfit),
            misuse => Self::misuse(misuse),
        }
    }
}

/// Prints a text as it is, with the same tolerance as `tell!`.
fn tell_text(text: &str) {
    use std::io::Write as _;
    let _gone = std::io::stdout().write_all(text.as_bytes());
}

/// Runs the command told on the command line.
pub fn run() -> ExitCode {
    let result = match Arguments::parse().command {
        Command::Demo(arguments) => demo::run(&arguments),
        Command::Read(arguments) => read::run(&arguments),
        Command::Setup(arguments) => setup::run(&arguments),
        Command::Teach(arguments) => teach::run(&arguments),
        Command::Inspect(arguments) => inspect::run(&arguments),
        Command::Compare(arguments) => compare::run(&arguments),
        Command::Plan(arguments) => plan::run(&arguments),
    };
    let Err(failure) = result else { return ExitCode::SUCCESS };
    eprintln!("pairspeed: {}", failure.message());
    ExitCode::from(match failure {
        Failure::Failed(_) => 1,
        Failure::Misuse(_) => 2,
    })
}

#[cfg(test)]
mod tests {
    use clap::CommandFactory;

    #[test]
    fn the_command_line_is_consistent() {
        super::Arguments::command().debug_assert();
    }
}
