//! The command line program: starts the command, each of which has a file of its own.

#[macro_use]
mod commands;
mod confinement;
mod inbox;
mod quoting;
mod version;
mod wording;

pub use commands::{definition, run};
