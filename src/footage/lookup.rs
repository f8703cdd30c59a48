//! Single frames at given times.

use image::GrayImage;

use super::{FootageError, FrameOutput, FrameSource, LumaFrame, LumaPlane, ProgressCounter};
use crate::geometry::PixelRect;

/// A frame looked up by its time.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundFrame {
    /// The time asked for, in seconds since the first frame.
    pub asked_s: f64,
    /// The time of the frame got, in seconds since the first frame.
    pub time_s: f64,
    /// Number of the frame; see [`LumaFrame::index`](super::LumaFrame::index).
    pub index: u64,
    /// The decoder reported errors in it.
    pub damaged: bool,
    /// Its brightness.
    pub image: GrayImage,
}

/// The frames nearest to `times_s`, in the order asked. They are fetched in order of time, so that a source
/// that cannot seek is read through once. The source is left somewhere within the clip.
///
/// # Errors
/// Those of the source.
pub fn frames_near<S: FrameSource + ?Sized>(
    source: &mut S,
    times_s: &[f64],
) -> Result<Vec<FoundFrame>, FootageError> {
    let mut in_time: Vec<(usize, f64)> = times_s.iter().copied().enumerate().collect();
    in_time.sort_by(|(_, one), (_, two)| one.total_cmp(two));
    let mut found: Vec<(usize, FoundFrame)> = Vec::with_capacity(times_s.len());
    for (place, asked_s) in in_time {
        source.seek(asked_s)?;
        if let Some(frame) = source.next_frame()? {
            let image = frame.luma.to_image();
            let (time_s, index, damaged) = (frame.time_s, frame.index, frame.damaged);
            found.push((place, FoundFrame { asked_s, time_s, index, damaged, image }));
        }
    }
    found.sort_by_key(|(place, _)| *place);
    Ok(found.into_iter().map(|(_, frame)| frame).collect())
}

/// `count` frames spread evenly over the clip: those at the middles of `count` equal stretches. A clip with
/// fewer frames gives each of them once, so fewer come back. Frames are held in memory: `width` x `height`
/// bytes each.
///
/// # Errors
/// Those of the source.
pub fn sample<S: FrameSource>(source: &mut S, count: usize) -> Result<Vec<FoundFrame>, FootageError> {
    sample_with(source, count, &|_| ())
}

/// The same, where `fetched` is called with the share of the frames that were fetched, 0 to 1, from several threads.
///
/// # Errors
/// Those of the source.
pub fn sample_with<S: FrameSource>(
    source: &mut S,
    count: usize,
    fetched: &(dyn Fn(f64) + Sync),
) -> Result<Vec<FoundFrame>, FootageError> {
    let counted = ProgressCounter::new(fetched, count);
    let times_s = middles_s(source.last_time_s()?, count);
    let whole = PixelRect::new(0, 0, source.info().width, source.info().height);
    let found = source.process_at(&times_s, &[whole], &|luma| {
        counted.count();
        luma.to_image()
    })?;
    let frame = |FrameOutput { index, time_s, damaged, output: image }| FoundFrame {
        asked_s: time_s,
        time_s,
        index,
        damaged,
        image,
    };
    Ok(found.into_iter().map(frame).collect())
}

/// The middles of `count` equal stretches of a length.
pub(super) fn middles_s(length_s: f64, count: usize) -> Vec<f64> {
    (0..count).map(|place| length_s * (place as f64 + 0.5) / count as f64).collect()
}

/// Works on the frames nearest to times, each once and in order, one sought after the other.
pub(super) fn one_at_a_time<S: FrameSource + ?Sized, T>(
    source: &mut S,
    times_s: &[f64],
    work: &(dyn Fn(LumaPlane<'_>) -> T + Sync),
) -> Result<Vec<FrameOutput<T>>, FootageError> {
    let mut times_s = times_s.to_vec();
    times_s.sort_by(f64::total_cmp);
    let mut found: Vec<FrameOutput<T>> = Vec::with_capacity(times_s.len());
    for asked_s in times_s {
        // The frame found last is still the nearest: another seek would lead back to it.
        if found.last().is_some_and(|last| asked_s <= last.time_s) {
            continue;
        }
        source.seek(asked_s)?;
        let Some(LumaFrame { index, time_s, damaged, luma }) = source.next_frame()? else { continue };
        if found.last().is_none_or(|last| time_s > last.time_s) {
            found.push(FrameOutput { index, time_s, damaged, output: work(luma) });
        }
    }
    Ok(found)
}

/// The time of the last frame that a seek leads to, in seconds.
pub(super) fn sought_end_s<S: FrameSource + ?Sized>(source: &mut S) -> Result<f64, FootageError> {
    source.seek(f64::MAX)?;
    Ok(source.next_frame()?.map_or(0.0, |frame| frame.time_s))
}
