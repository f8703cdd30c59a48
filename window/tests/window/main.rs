//! The window, driven without a display.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod driving;
mod looks;
mod path;
mod pictures;
mod reading;
mod trouble;
mod view;
