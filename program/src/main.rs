//! The command line program: hands over to one file a command.

mod commands;
mod wording;

fn main() -> std::process::ExitCode {
    commands::run()
}
