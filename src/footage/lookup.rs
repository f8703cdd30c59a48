//! Finds single frames at given times.

use image::GrayImage;

use super::{FootageError, FrameOutput, FrameSource, LumaFrame, LumaImage as _, LumaPlane, ProgressCounter};
use crate::geometry::PixelRect;

/// A frame that was found by its time.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundFrame {
    /// The requested time, in seconds since the first frame.
    pub requested_s: f64,
    /// The time of the frame that was found, in seconds since the first frame.
    pub time_s: f64,
    /// Index of the frame in the clip, defined as for [`LumaFrame::index`](super::LumaFrame::index).
    pub index: u64,
    /// Whether the decoder reported errors in this frame, or in one that it is predicted from.
    pub damaged: bool,
    /// The luma of the frame, as grey levels.
    pub image: GrayImage,
}

/// The frames nearest to `times_s` (seconds since the first frame), in the given order. They are decoded in
/// order of time, so that a source that cannot seek is read only once. Afterwards the source's position is
/// undefined.
///
/// # Errors
///
/// Errors of the source.
pub fn frames_near<S: FrameSource + ?Sized>(
    source: &mut S,
    times_s: &[f64],
) -> Result<Vec<FoundFrame>, FootageError> {
    let mut in_time: Vec<(usize, f64)> = times_s.iter().copied().enumerate().collect();
    in_time.sort_by(|(_, one), (_, two)| one.total_cmp(two));
    let mut found: Vec<(usize, FoundFrame)> = Vec::with_capacity(times_s.len());
    for (order, requested_s) in in_time {
        source.seek(requested_s)?;
        if let Some(frame) = source.next_frame()? {
            let image = frame.luma.to_image();
            let (time_s, index, damaged) = (frame.time_s, frame.index, frame.damaged);
            found.push((order, FoundFrame { requested_s, time_s, index, damaged, image }));
        }
    }
    found.sort_by_key(|(order, _)| *order);
    Ok(found.into_iter().map(|(_, frame)| frame).collect())
}

/// At most `count` frames spread evenly over the clip: the frames nearest to the middles of `count` equal intervals.
/// If the clip has fewer frames, each is returned once. The image of a frame takes one byte per pixel.
///
/// # Errors
///
/// Errors of the source.
pub fn sample<S: FrameSource>(source: &mut S, count: usize) -> Result<Vec<FoundFrame>, FootageError> {
    sample_with(source, count, &|_| (), &|luma| luma.to_image())
}

/// Returns at most `count` frames spread evenly over the clip, as [`sample`] does, with the image that `image` makes of each.
/// Calls `progress` from several threads with the share of frames decoded so far, from 0 to 1.
///
/// # Errors
///
/// Errors of the source.
pub fn sample_with<S: FrameSource>(
    source: &mut S,
    count: usize,
    progress: &(dyn Fn(f64) + Sync),
    image: &(dyn Fn(LumaPlane<'_>) -> GrayImage + Sync),
) -> Result<Vec<FoundFrame>, FootageError> {
    let counter = ProgressCounter::new(progress, count);
    let times_s = middles_s(source.last_time_s()?, count);
    let whole = PixelRect::new(0, 0, source.info().width, source.info().height);
    let found = source.process_at(&times_s, &[whole], &|luma| {
        counter.count();
        image(luma)
    })?;
    let frame = |FrameOutput { index, time_s, damaged, output: image }| FoundFrame {
        requested_s: time_s,
        time_s,
        index,
        damaged,
        image,
    };
    Ok(found.into_iter().map(frame).collect())
}

/// The middles of `count` equal intervals that fill a length, all in seconds.
pub(super) fn middles_s(length_s: f64, count: usize) -> Vec<f64> {
    (0..count).map(|number| length_s * (number as f64 + 0.5) / count as f64).collect()
}

/// Calls `work` on the frames nearest to `times_s` (in seconds since the first frame), on each once and in order of
/// time, with a separate seek for each frame.
pub(super) fn process_by_seeking<S: FrameSource + ?Sized, T>(
    source: &mut S,
    times_s: &[f64],
    work: &(dyn Fn(LumaPlane<'_>) -> T + Sync),
) -> Result<Vec<FrameOutput<T>>, FootageError> {
    let mut times_s = times_s.to_vec();
    times_s.sort_by(f64::total_cmp);
    let mut found: Vec<FrameOutput<T>> = Vec::with_capacity(times_s.len());
    for requested_s in times_s {
        // The last frame found is still the nearest one, so another seek would find it again.
        if found.last().is_some_and(|last| requested_s <= last.time_s) {
            continue;
        }
        source.seek(requested_s)?;
        let Some(LumaFrame { index, time_s, damaged, luma }) = source.next_frame()? else { continue };
        if found.last().is_none_or(|last| time_s > last.time_s) {
            found.push(FrameOutput { index, time_s, damaged, output: work(luma) });
        }
    }
    Ok(found)
}

/// The time of the last frame in seconds, found by seeking the end of the source.
pub(super) fn last_time_by_seek_s<S: FrameSource + ?Sized>(source: &mut S) -> Result<f64, FootageError> {
    source.seek(f64::MAX)?;
    Ok(source.next_frame()?.map_or(0.0, |frame| frame.time_s))
}
