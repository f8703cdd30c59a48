//! Opens recorded clips and gives their frames as luma planes with true times.
//!
//! One frame after the other:
//!
//! ```text
//! file -> open -> packets -> decoder (picture_check) -> sequential (damage) -> frame_timing (numbers and times) -> luma
//!      -> Clip, a FrameSource -> lookup (single frames), Recording (several clips in a row)
//! ```
//!
//! On all cores, for work that needs each frame only by itself:
//!
//! ```text
//! packets -> parallel (chunks from random access points) -> worker_pool (decoder or region_decoder, then the work)
//!         -> parallel (presentation order, damage, frame_timing) -> the outputs
//! ```

mod at_times;
mod clip;
mod colour;
mod decoder;
mod error;
mod error_propagation;
mod frame_timing;
mod hevc_references;
mod libav;
mod library;
mod lookup;
mod luma;
mod luma_image;
mod memory_frames;
mod nal_units;
mod noise;
mod notes;
mod open;
mod packets;
mod parallel;
mod picture_check;
mod picture_memory;
mod progress_counter;
mod random_access;
mod recording;
mod recording_time;
mod region_decoder;
mod sequential;
mod timeline;
mod timestamp_ranges;
mod worker_pool;

use std::ops::ControlFlow;
use std::path::PathBuf;

use crate::geometry::PixelRect;

pub use clip::Clip;
pub use error::FootageError;
pub use library::VideoLibrary;
pub use lookup::{FoundFrame, frames_near, sample, sample_with};
use lookup::{last_time_by_seek_s, process_by_seeking};
pub use luma_image::LumaImage;
pub use memory_frames::MemoryFrames;
pub use mjpeg_regions::LumaPlane;
pub use noise::{noise_sd_levels, temporal_medians};
pub use notes::{ClipNotes, FrameGap, LevelRange, TimeBasis};
pub(crate) use progress_counter::ProgressCounter;
pub use recording::{ClipGap, ClipSpan, Recording};

/// The properties that a clip's file states, and the size of its frames.
#[derive(Debug, Clone, PartialEq)]
pub struct ClipInfo {
    /// Path of the clip.
    pub path: PathBuf,
    /// Name of the container format.
    pub container: String,
    /// Name of the video codec.
    pub codec: String,
    /// Whether every frame is coded by itself, so that no content of a frame can remain in the next one.
    pub intra_only: bool,
    /// Frame width in pixels.
    pub width: u32,
    /// Frame height in pixels.
    pub height: u32,
    /// Number of frames per second that the container states. It is used only in messages; times come from
    /// timestamps. `None` if it states none.
    pub nominal_rate_hz: Option<f64>,
    /// Length that the container states, in seconds; `None` if it states none.
    pub stated_length_s: Option<f64>,
}

/// One decoded frame.
#[derive(Debug, Clone, Copy)]
pub struct LumaFrame<'a> {
    /// Index of the frame in the clip, from 0, in presentation order.
    ///
    /// It is counted from the clip's start. After a [`seek`](FrameSource::seek) it is computed as the frame's
    /// time multiplied by the clip's usual rate. This is exact for clips with a constant rate and no gaps,
    /// and an estimate for others.
    pub index: u64,
    /// Time since the clip's first video frame, in seconds.
    pub time_s: f64,
    /// Whether the decoder reported errors in this frame, or in one that it is predicted from. Parts of the frame may then
    /// be missing, or show an earlier frame.
    pub damaged: bool,
    /// The luma of the frame.
    pub luma: LumaPlane<'a>,
}

/// The output of the caller's task for one frame.
#[derive(Debug, Clone, Copy)]
pub struct FrameOutput<T> {
    /// Index of the frame in the clip, defined as for [`LumaFrame::index`].
    pub index: u64,
    /// Time since the first frame, in seconds.
    pub time_s: f64,
    /// Whether the decoder reported errors in this frame, or in one that it is predicted from.
    pub damaged: bool,
    /// The value that the task returned for the frame.
    pub output: T,
}

/// A source of frames: a clip, several clips, or frames in memory.
///
/// A frame borrows the source, so the caller must be finished with it before it asks for the next.
pub trait FrameSource {
    /// The properties of the source. All its frames have the size stated there.
    fn info(&self) -> &ClipInfo;

    /// The next frame in presentation order, later than the frame before; `None` after the last.
    ///
    /// # Errors
    ///
    /// [`FootageError`] if reading cannot continue. Damage that can be skipped is skipped, and counted in
    /// [`notes`](Self::notes).
    fn next_frame(&mut self) -> Result<Option<LumaFrame<'_>>, FootageError>;

    /// Makes the frame nearest to `time_s` (seconds since the first frame) the next one to be returned: the
    /// first frame for times before the start, the last frame for times after the end.
    ///
    /// # Errors
    ///
    /// [`FootageError`] if reading cannot continue.
    fn seek(&mut self, time_s: f64) -> Result<(), FootageError>;

    /// Processes every frame from the first on, and passes the outputs to `take` in order, until `take` returns
    /// `Break`. A source may decode several runs of consecutive frames at the same time, on several threads. For each
    /// run it calls `start`, which returns a task, and calls that task for the frames of the run in order. Only the
    /// parts of the planes inside `areas` are valid.
    ///
    /// # Errors
    ///
    /// [`FootageError`] if reading cannot continue.
    fn process_all<'a, T: Send>(
        &mut self,
        #[expect(unused_variables)] areas: &[PixelRect],
        start: &'a TaskFactory<'a, T>,
        take: &mut dyn FnMut(FrameOutput<T>) -> ControlFlow<()>,
    ) -> Result<(), FootageError>
    where
        Self: Sized,
    {
        process_sequentially(self, start, take).map(drop)
    }

    /// Calls `work` on about `count` undamaged frames spread over the source, and returns the outputs in order of
    /// time. A source may choose frames that need less decoding than others. Only the parts of the planes inside
    /// `areas` are valid.
    ///
    /// # Errors
    ///
    /// [`FootageError`] if reading cannot continue.
    fn process_some<T: Send>(
        &mut self,
        count: usize,
        areas: &[PixelRect],
        work: &(dyn Fn(LumaPlane<'_>) -> T + Sync),
    ) -> Result<Vec<FrameOutput<T>>, FootageError>
    where
        Self: Sized,
    {
        process_evenly_spread(self, count, areas, work)
    }

    /// Calls `work` on the frames nearest to `times_s`, in seconds (the first frame for times before the start, the
    /// last frame for times after the end). Returns the outputs in order of time, one for each frame. A source may
    /// use several threads, and may call `work` on further frames, whose outputs are dropped. Only the parts of the
    /// planes inside `areas` are valid.
    ///
    /// # Errors
    ///
    /// [`FootageError`] if reading cannot continue.
    fn process_at<T: Send>(
        &mut self,
        times_s: &[f64],
        #[expect(unused_variables)] areas: &[PixelRect],
        work: &(dyn Fn(LumaPlane<'_>) -> T + Sync),
    ) -> Result<Vec<FrameOutput<T>>, FootageError>
    where
        Self: Sized,
    {
        process_by_seeking(self, times_s, work)
    }

    /// Time of the last frame, in seconds since the first. A source may use the timestamps of the file
    /// without decoding the frame.
    ///
    /// # Errors
    ///
    /// [`FootageError`] if reading cannot continue.
    fn last_time_s(&mut self) -> Result<f64, FootageError> {
        last_time_by_seek_s(self)
    }

    /// Damage, repaired timestamps and gaps found so far. The counts cover the frames since the source was
    /// opened or since the last seek. After all frames were read from the start, they cover the whole source.
    fn notes(&self) -> &ClipNotes;
}

/// The task for a run of consecutive frames. It is called for one frame after the other.
pub type FrameTask<'a, T> = Box<dyn FnMut(LumaPlane<'_>) -> T + 'a>;

/// Makes the task for a run of consecutive frames.
pub type TaskFactory<'a, T> = dyn Fn() -> FrameTask<'a, T> + Sync + 'a;

/// Processes every frame from the first on, one after the other. Returns `Break` if `take` stopped before the last
/// frame.
fn process_sequentially<'a, S: FrameSource + ?Sized, T>(
    source: &mut S,
    start: &'a TaskFactory<'a, T>,
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

/// Processes the frames nearest to the middles of `count` equal intervals, each once, and drops the outputs of
/// damaged frames.
fn process_evenly_spread<S: FrameSource, T: Send>(
    source: &mut S,
    count: usize,
    areas: &[PixelRect],
    work: &(dyn Fn(LumaPlane<'_>) -> T + Sync),
) -> Result<Vec<FrameOutput<T>>, FootageError> {
    let times_s = lookup::middles_s(source.last_time_s()?, count);
    let mut outputs = source.process_at(&times_s, areas, work)?;
    outputs.retain(|frame| !frame.damaged);
    Ok(outputs)
}
