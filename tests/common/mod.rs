//! Helpers of the integration tests: clips made at test time, simulated flights.
#![allow(dead_code, unused_imports, missing_docs, clippy::expect_used, clippy::unwrap_used)]

mod clips;
mod drawing;
mod flights;

pub use clips::{ffmpeg, ffprobe, folder, text};
pub use drawing::{FRAME, in_seven_bars, written};
pub use flights::*;
