//! The window, driven without a display.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod driving;
mod new_camera;
mod path;
mod pictures;
mod reading;
mod snapshot;
mod trouble;
mod view;
mod wake;
