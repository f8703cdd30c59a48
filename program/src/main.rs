//! The command line program: hands over to one file a command.

mod commands;
mod quoting;
mod wording;

fn main() -> std::process::ExitCode {
    commands::run()
}
