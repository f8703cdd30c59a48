//! Single frames at given times.

use image::GrayImage;

use super::{FootageError, FrameSource};

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
pub fn sample<S: FrameSource + ?Sized>(
    source: &mut S,
    count: usize,
) -> Result<Vec<FoundFrame>, FootageError> {
    let length_s = last_time_s(source)?;
    let middle_s = |place: usize| length_s * (place as f64 + 0.5) / count as f64;
    let mut found = frames_near(source, &(0..count).map(middle_s).collect::<Vec<_>>())?;
    found.dedup_by(|two, one| two.time_s <= one.time_s);
    Ok(found)
}

/// The time of the last frame that can be had.
pub(super) fn last_time_s<S: FrameSource + ?Sized>(source: &mut S) -> Result<f64, FootageError> {
    source.seek(f64::MAX)?;
    Ok(source.next_frame()?.map_or(0.0, |frame| frame.time_s))
}
