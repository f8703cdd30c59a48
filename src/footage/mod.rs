//! Footage: opens clips and hands out their frames as luma planes with true times.
//!
//! ```text
//! file -> open -> decode (packets, pictures, damage) -> timeline (stamps to times) -> luma (brightness in place)
//!      -> Clip, a FrameSource -> lookup (single frames), Recording (several clips one after the other)
//! ```

mod clip;
mod decode;
mod error;
mod libav;
mod lookup;
mod luma;
mod memory;
mod notes;
mod open;
mod recorded;
mod recording;
mod suspicion;
mod timeline;

use std::path::PathBuf;

pub use clip::Clip;
pub use error::FootageError;
pub use lookup::{FoundFrame, frames_near, sample};
pub use memory::MemoryFrames;
pub use notes::{ClipNotes, LevelRange, Stretch, TimeBasis};
pub use recording::{ClipSpan, Gap, Recording};

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
    /// Rows of `stride` bytes each, of which the first `width` count; the last row may end after `width`.
    pub data: &'a [u8],
    /// Width in pixels.
    pub width: usize,
    /// Height in pixels.
    pub height: usize,
    /// Bytes from one row to the next.
    pub stride: usize,
}

impl<'a> LumaPlane<'a> {
    /// The rows from top to bottom, `width` bytes each.
    pub fn rows(&self) -> impl Iterator<Item = &'a [u8]> + use<'a> {
        let width = self.width;
        self.data.chunks(self.stride.max(1)).take(self.height).filter_map(move |row| row.get(..width))
    }

    /// A copy of the plane as an image of its own.
    pub fn to_image(&self) -> image::GrayImage {
        let pixels: Vec<u8> = self.rows().flatten().copied().collect();
        let size = u32::try_from(self.width).ok().zip(u32::try_from(self.height).ok());
        size.and_then(|(width, height)| image::GrayImage::from_raw(width, height, pixels)).unwrap_or_default()
    }
}

/// One decoded frame.
#[derive(Debug, Clone, Copy)]
pub struct LumaFrame<'a> {
    /// Number of the frame in the clip, from 0, in order of presentation.
    ///
    /// It is counted in a pass from the start. After a [`seek`](FrameSource::seek) into the middle it is the
    /// frame's time multiplied by the clip's usual rate, which is exact for clips of a steady rate
    /// without gaps and an estimate for others.
    pub index: u64,
    /// Time since the clip's first video frame, in seconds.
    pub time_s: f64,
    /// The decoder reported errors in this frame, or in one it is predicted from: parts of the picture may
    /// be missing or be those of an earlier frame.
    pub damaged: bool,
    /// The picture.
    pub luma: LumaPlane<'a>,
}

/// Something that hands out frames one after the other: a clip, several of them, or frames made for a test.
///
/// A frame borrows the source, so each must be done with before the next is asked for.
pub trait FrameSource {
    /// What the source is. Its frames all have the size given there.
    fn info(&self) -> &ClipInfo;

    /// The next frame in order of presentation, with a later time than the one before; `None` after the last.
    ///
    /// # Errors
    /// Those that end the reading. What can be skipped is skipped and counted in [`notes`](Self::notes).
    fn next_frame(&mut self) -> Result<Option<LumaFrame<'_>>, FootageError>;

    /// Makes the frame nearest to `time_s` the next one handed out: the first for times before the start, the
    /// last for times after the end.
    ///
    /// # Errors
    /// As for [`next_frame`](Self::next_frame).
    fn seek(&mut self, time_s: f64) -> Result<(), FootageError>;

    /// What was met on the way: damage, repaired stamps, gaps. Counts cover the frames passed since the
    /// source was opened or last sought, so they are those of the whole clip after one pass from the start.
    fn notes(&self) -> &ClipNotes;
}
