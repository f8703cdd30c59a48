//! The command line program: starts the command, each of which has a file of its own.

mod commands;
mod inbox;
mod quoting;
mod wording;

fn main() -> std::process::ExitCode {
    commands::run()
}
