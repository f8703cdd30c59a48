//! Helpers of the integration tests: clips made while the tests run, and simulated flights.
#![allow(dead_code, unused_imports, missing_docs, clippy::expect_used, clippy::unwrap_used)]

mod clips;
mod drawing;
mod flights;
mod leg_score;
pub mod point_mass;

pub use clips::{ffmpeg, ffprobe, folder, text};
pub use drawing::{SPEED_SETUP, in_seven_bars, read_drawn, read_frames, write, written};
pub use flights::*;
pub use leg_score::*;
