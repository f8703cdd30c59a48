//! Tests of the result files, on invented flights.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod budgets;
mod captions;
mod csv_files;
mod dead_readout;
mod folder;
mod readings;
mod report;
mod sample;
mod summary_json;
mod terminal_table;
mod unread;
