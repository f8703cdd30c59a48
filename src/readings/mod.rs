//! Readings: runs recognition over a recording and smooths its observations over time.
//!
//! [`prepare()`] calibrates the recogniser on a [`sample`] of the recording; [`collect()`] reads every frame.
//! For each channel, a `channel_reader` turns observations into values in three steps: forward-backward
//! smoothing, corrections for blended fields and ambiguous values, and calibration of the confidences.

mod calibration;
mod channel_legibility;
mod channel_reader;
mod collect;
mod crop_sampler;
mod field_blending;
mod fingerprint;
mod forward_backward;
mod frame_observation;
mod posteriors;
mod prepare;
mod run_lengths;
mod sampling;
mod signal_loss;
mod single_frame;

pub use channel_legibility::{ChannelLegibility, UnreadCause, UnreadChannel};
pub use collect::{DEFAULT_MIN_CONFIDENCE, Progress, Silent, collect, gaps_between};
pub use prepare::{Misfit, PrepareError, Prepared, prepare};
pub use sampling::sample;
pub use signal_loss::lost_sentences;
pub use single_frame::{FrameReading, read_frame};
