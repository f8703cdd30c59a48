//! Helpers of the integration tests: clips made at test time, simulated flights.
#![allow(dead_code, unused_imports, missing_docs, clippy::expect_used)]

mod clips;

pub use clips::{ffmpeg, ffprobe, folder, text};
