//! Tests of the result files, on flights made up here.
#![allow(clippy::unwrap_used)]

mod csv_files;
mod sample;
mod terminal_table;
