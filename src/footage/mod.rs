//! Footage: opens clips and hands out their frames as luma planes with true times.

use std::path::PathBuf;

/// What a clip is.
#[derive(Debug, Clone, PartialEq)]
pub struct ClipInfo {
    /// The file.
    pub path: PathBuf,
    /// Name of the container format.
    pub container: String,
    /// Name of the video codec.
    pub codec: String,
    /// Frame width in pixels.
    pub width: u32,
    /// Frame height in pixels.
    pub height: u32,
    /// Frames a second as the container states them; for messages only, times come from stamps.
    pub nominal_rate_hz: Option<f64>,
    /// Length as the container states it, in seconds.
    pub stated_length_s: Option<f64>,
}

/// The brightness of one frame, borrowed from the decoder.
#[derive(Debug, Clone, Copy)]
pub struct LumaPlane<'a> {
    /// Rows of `stride` bytes each, of which the first `width` count.
    pub data: &'a [u8],
    /// Width in pixels.
    pub width: usize,
    /// Height in pixels.
    pub height: usize,
    /// Bytes from one row to the next.
    pub stride: usize,
}

/// One decoded frame.
#[derive(Debug, Clone, Copy)]
pub struct LumaFrame<'a> {
    /// Number of the frame in the clip, from 0, in order of presentation.
    pub index: u64,
    /// Time since the clip's first video frame, in seconds.
    pub time_s: f64,
    /// The picture.
    pub luma: LumaPlane<'a>,
}
