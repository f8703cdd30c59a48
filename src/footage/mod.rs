//! Footage: opens clips and hands out their frames as luma planes with true times.
//!
//! ```text
//! file -> open -> packets -> pictures -> decode (damage) -> placing (numbers and times) -> luma (brightness in place)
//!      -> Clip, a FrameSource -> lookup (single frames), Recording (several clips one after the other)
//! ```
//!
//! The same on all cores, for work that looks at each frame for itself:
//!
//! ```text
//! packets -> pass (parted where decoding can start anew) -> crew (pictures, or region_decoder: only the wanted parts; the work)
//!         -> pass (in order again: damage, placing) -> the results
//! ```

mod at_times;
mod clip;
mod counted;
mod crew;
mod decode;
mod error;
mod libav;
mod lookup;
mod luma;
mod memory;
mod notes;
mod open;
mod packets;
mod pass;
mod pictures;
mod placing;
mod random_access;
mod recorded;
mod recording;
mod region_decoder;
mod suspicion;
mod timeline;

use std::ops::ControlFlow;
use std::path::PathBuf;

use crate::geometry::PixelRect;

pub use clip::Clip;
pub(crate) use counted::ProgressCounter;
pub use error::FootageError;
pub use lookup::{FoundFrame, frames_near, sample, sample_with};
use lookup::{one_at_a_time, sought_end_s};
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
    /// Whether every picture is coded by itself, so that nothing of one can linger in the next.
    pub intra_only: bool,
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

    /// The plane of an image.
    #[must_use]
    pub fn of(image: &'a image::GrayImage) -> Self {
        let (width, height) = (image.width() as usize, image.height() as usize);
        Self { data: image.as_raw(), width, height, stride: width }
    }

    /// A copy of the plane as an image of its own.
    #[must_use]
    pub fn to_image(&self) -> image::GrayImage {
        let side = |pixels: usize| u32::try_from(pixels).unwrap_or(u32::MAX);
        self.crop(PixelRect::new(0, 0, side(self.width), side(self.height)))
    }

    /// A copy of the part of the plane in an area; the part outside the plane is left out.
    #[must_use]
    pub fn crop(&self, area: PixelRect) -> image::GrayImage {
        let (columns, rows) = (area.columns(), area.rows());
        let columns = columns.start..columns.end.min(self.width);
        let rows = rows.start..rows.end.min(self.height);
        let mut pixels = Vec::with_capacity(columns.len() * rows.len());
        let lines = self.rows().take(rows.end).skip(rows.start);
        lines.filter_map(|line| line.get(columns.clone())).for_each(|line| pixels.extend_from_slice(line));
        let size = u32::try_from(columns.len()).ok().zip(u32::try_from(rows.len()).ok());
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

/// What was made of one frame.
#[derive(Debug, Clone, Copy)]
pub struct FrameOutput<T> {
    /// Number of the frame; see [`LumaFrame::index`].
    pub index: u64,
    /// Time since the first frame, in seconds.
    pub time_s: f64,
    /// See [`LumaFrame::damaged`].
    pub damaged: bool,
    /// What the work made of its picture.
    pub output: T,
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

    /// Works on every frame from the first on, and hands what is made of each over in order, until `take`
    /// breaks off. Sources that can decode several frames at once do so on several threads: for every stretch of
    /// frames `start` gives the work, which is called for one frame of it after the other. Of the planes only
    /// `areas` need be right.
    ///
    /// # Errors
    /// As for [`next_frame`](Self::next_frame).
    fn process_all<'a, T: Send>(
        &mut self,
        #[expect(unused_variables)] areas: &[PixelRect],
        start: &'a Start<'a, T>,
        take: &mut dyn FnMut(FrameOutput<T>) -> ControlFlow<()>,
    ) -> Result<(), FootageError>
    where
        Self: Sized,
    {
        one_by_one(self, start, take).map(drop)
    }

    /// Works on about `count` sound frames spread over the source, in order. Sources that can reach some
    /// frames at less cost than others may choose those. Of the planes only `areas` need be right.
    ///
    /// # Errors
    /// As for [`next_frame`](Self::next_frame).
    fn process_some<T: Send>(
        &mut self,
        count: usize,
        areas: &[PixelRect],
        work: &(dyn Fn(LumaPlane<'_>) -> T + Sync),
    ) -> Result<Vec<FrameOutput<T>>, FootageError>
    where
        Self: Sized,
    {
        spread_evenly(self, count, areas, work)
    }

    /// Works on the frames nearest to `times_s` (the first for times before the start, the last for times after the
    /// end), each once, in order. Sources that can decode several frames at once do so on several threads, and may
    /// work on more frames than are returned. Of the planes only `areas` need be right.
    ///
    /// # Errors
    /// As for [`next_frame`](Self::next_frame).
    fn process_at<T: Send>(
        &mut self,
        times_s: &[f64],
        #[expect(unused_variables)] areas: &[PixelRect],
        work: &(dyn Fn(LumaPlane<'_>) -> T + Sync),
    ) -> Result<Vec<FrameOutput<T>>, FootageError>
    where
        Self: Sized,
    {
        one_at_a_time(self, times_s, work)
    }

    /// Time of the last frame, in seconds since the first; sources may take the word of the file for it, without
    /// decoding the frame.
    ///
    /// # Errors
    /// As for [`next_frame`](Self::next_frame).
    fn last_time_s(&mut self) -> Result<f64, FootageError> {
        sought_end_s(self)
    }

    /// What was met on the way: damage, repaired stamps, gaps. Counts cover the frames passed since the
    /// source was opened or last sought, so they are those of the whole clip after one pass from the start.
    fn notes(&self) -> &ClipNotes;
}

/// FrameTask on the frames of a stretch, in order.
pub type FrameTask<'a, T> = Box<dyn FnMut(LumaPlane<'_>) -> T + 'a>;

/// Gives the work for a stretch.
pub type Start<'a, T> = dyn Fn() -> FrameTask<'a, T> + Sync + 'a;

/// Works on every frame from the first on, one after the other. Answers whether `take` broke off.
fn one_by_one<'a, S: FrameSource + ?Sized, T>(
    source: &mut S,
    start: &'a Start<'a, T>,
    take: &mut dyn FnMut(FrameOutput<T>) -> ControlFlow<()>,
) -> Result<ControlFlow<()>, FootageError> {
    source.seek(0.0)?;
    let mut work = start();
    while let Some(LumaFrame { index, time_s, damaged, luma }) = source.next_frame()? {
        if take(FrameOutput { index, time_s, damaged, output: work(luma) }).is_break() {
            return Ok(ControlFlow::Break(()));
        }
    }
    Ok(ControlFlow::Continue(()))
}

/// Works on the sound ones of the frames at the middles of `count` equal stretches, each once.
fn spread_evenly<S: FrameSource, T: Send>(
    source: &mut S,
    count: usize,
    areas: &[PixelRect],
    work: &(dyn Fn(LumaPlane<'_>) -> T + Sync),
) -> Result<Vec<FrameOutput<T>>, FootageError> {
    let times_s = lookup::middles_s(source.last_time_s()?, count);
    let mut some = source.process_at(&times_s, areas, work)?;
    some.retain(|frame| !frame.damaged);
    Ok(some)
}
