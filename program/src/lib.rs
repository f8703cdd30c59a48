//! The command line program. Each command has its own file in `commands/`.

#[macro_use]
mod commands;
mod inbox;
mod quoting;
mod version;
mod wording;

pub use commands::{definition, run};
