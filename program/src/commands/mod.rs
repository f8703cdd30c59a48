//! The commands of the program, one file each. [`EXIT_CODES`] explains the exit codes.

/// Prints a line of formatted text with [`print()`], which handles a closed pipe. Control characters are escaped.
macro_rules! print_line {
    () => { $crate::commands::print(format_args!("\n")) };
    ($($text:tt)*) => {
        $crate::commands::print(format_args!("{}\n", pairspeed::visible::line(&format!($($text)*))))
    };
}

/// Prints a line of formatted text to standard error. Control characters are escaped.
macro_rules! say_line {
    ($($text:tt)*) => { eprintln!("{}", pairspeed::visible::line(&format!($($text)*))) };
}

mod ask;
mod camera;
mod compare;
mod demo;
mod each;
mod flight;
mod given;
mod health;
mod inbox;
mod inspect;
mod numbers;
mod page;
mod plan;
mod progress;
mod quantity;
mod read;
mod reading_process;
mod refusal;
mod setup;
mod teach;
#[cfg(feature = "window")]
mod window;

use std::ffi::OsString;
use std::fmt;
use std::io::{self, Write as _};
use std::process::ExitCode;
use std::sync::OnceLock;

use clap::{ArgAction, CommandFactory as _, FromArgMatches as _, Parser, Subcommand};
use pairspeed::ReadError;
use pairspeed::advice::Advised;
use pairspeed::confinement::Confinement;
use pairspeed::files::{Existing, WriteRefusal, write_error_in_words};
use pairspeed::footage::FootageError;
use pairspeed::learn::ExampleError;
use pairspeed::output::folder::OutputError;
use pairspeed::picture::PictureError;
use pairspeed::readings::PrepareError;
use pairspeed::visible;

use crate::{version, wording};

/// Measures a model aircraft's airspeed from the numerals in its onboard recording.
///
/// For use after landing. Keep within the airframe's limits, and follow local rules and the flying
/// club's.
#[derive(Debug, Parser)]
#[command(
    name = "pairspeed",
    arg_required_else_help = true,
    help_template = OVERVIEW,
    after_help = EXIT_CODES,
    disable_help_subcommand = true,
    disable_help_flag = true,
    disable_version_flag = true
)]
struct Arguments {
    /// Print help
    #[arg(short, long, global = true, action = ArgAction::Help)]
    help: Option<bool>,
    /// Print the version; with --version also the commit, the FFmpeg release and the features
    #[arg(short = 'V', long, action = ArgAction::Version)]
    version: Option<bool>,
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Read a short clip that comes with the program and compare the result with the truth
    Demo(demo::DemoArguments),
    /// Read the clips of one flight and compute the airspeed at every throttle step
    Read(Box<read::ReadArguments>),
    Inbox(inbox::InboxArguments),
    #[command(hide = true)]
    ReadArrived(reading_process::ReadArrivedArguments),
    /// Find the readouts in a clip and write a first version of the setup file
    Setup(setup::SetupArguments),
    /// Learn the overlay's digits from a few readings that you label
    Teach(teach::TeachArguments),
    /// Show the properties of a clip and what each region reads
    Inspect(inspect::InspectArguments),
    Compare(compare::CompareArguments),
    Plan(plan::PlanArguments),
    /// Open the window: drop a recording, mark its readouts, see the result. Without arguments, the program
    /// opens the window if there is a display
    #[cfg(feature = "window")]
    Window(window::WindowArguments),
    /// Check that this computer has what the program needs: codecs, permission to write, display
    Health(health::HealthArguments),
}

/// Template of the program's help text.
const OVERVIEW: &str = "{about-with-newline}
Usual order: setup, inspect, teach if digits are not read, then read.
Help for a command: pairspeed COMMAND --help

{subcommands}

{options}{after-help}";

/// Template of a command's help text.
const OF_COMMAND: &str = "{about-with-newline}
  {usage}

{all-args}{after-help}";

/// The exit codes, for scripts.
const EXIT_CODES: &str = "Exit codes
  0  success; also if `read` finds no airspeed: the readings are saved, and the table says why
  1  a clip could not be read (for `read`: none of its channels), or the result could not be printed
  2  wrong usage: an invalid option, file or setup, or a folder that cannot be written to";

/// What to do with existing files: replace them if `force` (the option `--force`) is true, otherwise do what
/// `unforced` says.
fn existing_or(force: bool, unforced: Existing) -> Existing {
    if force { Existing::Replace } else { unforced }
}

/// The failure for an error in saving an image. If the existing file was not made by this program, the message
/// names the option that replaces it.
fn picture_failure(error: &PictureError) -> Failure {
    let is_foreign = matches!(error, PictureError::Refused { refusal: WriteRefusal::NotOwn, .. });
    Failure::Misuse(format!("{error}{}", if is_foreign { ", or replace it with --force" } else { "" }))
}

/// Restricts the process to the files in `confinement` before it decodes a recording. If the system cannot do
/// that, prints the reason and continues without the restriction.
fn begin(confinement: Confinement) {
    if let Err(error) = confinement.begin() {
        say_line!("pairspeed: {error}");
    }
}

/// Why a command ended early.
#[derive(Debug)]
enum Failure {
    /// Wrong usage: an invalid option, file or folder.
    Misuse(String),
    /// The command itself failed, although its use was correct.
    Failed(String),
}

impl Failure {
    fn misuse(error: impl ToString) -> Self {
        Self::Misuse(error.to_string())
    }

    /// A failure due to wrong usage, from an error that comes with advice.
    fn advised(error: impl Advised) -> Self {
        Self::Misuse(wording::message(&error))
    }

    fn failed(error: impl ToString) -> Self {
        Self::Failed(error.to_string())
    }

    fn message(&self) -> &str {
        match self {
            Self::Misuse(message) | Self::Failed(message) => message,
        }
    }

    /// The program's exit code.
    fn code(&self) -> u8 {
        match self {
            Self::Failed(_) => 1,
            Self::Misuse(_) => 2,
        }
    }

    /// The same kind of failure with another message.
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
            | FootageError::NameNotText { .. }
            | FootageError::NotAlike { .. }
            | FootageError::GivenTwice { .. } => Self::misuse(error),
            unreadable => Self::failed(unreadable),
        }
    }
}

impl From<OutputError> for Failure {
    fn from(error: OutputError) -> Self {
        match error {
            OutputError::Render { .. } => Self::failed(error),
            unwritable => Self::advised(unwritable),
        }
    }
}

impl From<ExampleError> for Failure {
    fn from(error: ExampleError) -> Self {
        match error {
            ExampleError::Footage(error) => error.into(),
            misuse => Self::misuse(misuse),
        }
    }
}

impl From<ReadError> for Failure {
    fn from(error: ReadError) -> Self {
        match error {
            ReadError::Footage(error) | ReadError::Prepare(PrepareError::Footage(error)) => error.into(),
            misfit @ ReadError::Prepare(_) => Self::Failed(wording::message(&misfit)),
            misuse => Self::advised(misuse),
        }
    }
}

/// The first error of printing, which is reported when the program ends.
static UNPRINTED: OnceLock<String> = OnceLock::new();

/// Prints a text. A closed pipe (`pairspeed read ... | head`) is no failure; [`printed`] reports any other error.
/// In both cases the program continues, so that the results are still written to files.
fn print(text: fmt::Arguments<'_>) {
    note_unprinted(io::stdout().write_fmt(text));
}

fn note_unprinted(done: io::Result<()>) {
    if let Err(error) = done.map_err(write_error_in_words)
        && error.kind() != io::ErrorKind::BrokenPipe
    {
        UNPRINTED.get_or_init(|| error.to_string());
    }
}

/// Prints a text of several lines. Control characters are escaped.
fn print_text(text: &str) {
    print(format_args!("{}", visible::lines(text)));
}

/// Prints JSON, in which control characters are escaped already, and a line feed.
fn print_json(json: &str) {
    print(format_args!("{}\n", json.trim_end()));
}

/// Returns the first error of printing, if there was one.
fn printed() -> Result<(), Failure> {
    note_unprinted(io::stdout().flush());
    UNPRINTED.get().map_or(Ok(()), |reason| {
        Err(Failure::Failed(format!("the result could not be printed in full: {reason}")))
    })
}

/// The definition of the command line.
#[must_use]
pub fn definition() -> clap::Command {
    let definition = Arguments::command().version(version::VERSION).long_version(version::TEXT.as_str());
    let names: Vec<String> =
        definition.get_subcommands().map(|command| command.get_name().to_owned()).collect();
    names.iter().fold(definition, |definition, name| {
        definition.mut_subcommand(name, |command| command.help_template(OF_COMMAND))
    })
}

/// Prints the help or the version if the command line asks for it, otherwise why it is invalid, in the same form
/// as all other messages.
fn refused(error: &clap::Error) -> ExitCode {
    if !error.use_stderr() || error.kind() == clap::error::ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand
    {
        let _gone = error.print();
        return ExitCode::from(u8::try_from(error.exit_code()).unwrap_or(2));
    }
    said(&refusal::message(error), 2)
}

/// The arguments of the command line. If there are none, the arguments that open the window, provided there
/// is a display.
fn given() -> Vec<OsString> {
    #[cfg(feature = "window")]
    let window = std::env::args_os().len() == 1 && pairspeed_window::has_display();
    #[cfg(not(feature = "window"))]
    let window = false;
    std::env::args_os().chain(window.then(|| OsString::from("window"))).collect()
}

/// Runs the command that the command line names.
pub fn run() -> ExitCode {
    #[cfg(all(windows, feature = "window"))]
    if std::env::args_os().len() == 1 && window::start_without_console() {
        return ExitCode::SUCCESS;
    }
    let matches = definition().try_get_matches_from(given());
    let arguments = match matches.and_then(|matches| Arguments::from_arg_matches(&matches)) {
        Ok(arguments) => arguments,
        Err(error) => return refused(&error),
    };
    let result = match arguments.command {
        Command::Demo(arguments) => demo::run(&arguments),
        Command::Read(arguments) => read::run(&arguments),
        Command::Inbox(arguments) => inbox::run(&arguments),
        Command::ReadArrived(arguments) => reading_process::run(&arguments),
        Command::Setup(arguments) => setup::run(&arguments),
        Command::Teach(arguments) => teach::run(&arguments),
        Command::Inspect(arguments) => inspect::run(&arguments),
        Command::Compare(arguments) => compare::run(&arguments),
        Command::Plan(arguments) => plan::run(&arguments),
        #[cfg(feature = "window")]
        Command::Window(arguments) => window::run(&arguments),
        Command::Health(arguments) => health::run(&arguments),
    };
    match result.and_then(|()| printed()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => said(&visible::line(failure.message()), failure.code()),
    }
}

fn said(message: &str, code: u8) -> ExitCode {
    eprintln!("pairspeed: {}", visible::lines(message));
    ExitCode::from(code)
}

#[cfg(test)]
mod tests {
    #[test]
    fn the_command_line_is_consistent() {
        super::definition().debug_assert();
    }
}
