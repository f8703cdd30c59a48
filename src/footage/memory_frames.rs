//! Frames that are held in memory instead of a file.

use std::path::PathBuf;

use image::GrayImage;

use super::{ClipInfo, ClipNotes, FootageError, FrameSource, LumaFrame, LumaImage as _, LumaPlane};

/// A source of frames that are held in memory.
#[derive(Debug, Clone)]
pub struct MemoryFrames {
    info: ClipInfo,
    notes: ClipNotes,
    frames: Vec<(f64, GrayImage)>,
    next: usize,
}

impl MemoryFrames {
    /// A source of frames, given with their times in seconds. The times are shifted so that the first becomes
    /// 0.
    ///
    /// # Errors
    ///
    /// [`FootageError`] if there is no frame, or if a frame differs in size from the first or is not later
    /// than the frame before.
    pub fn new(mut frames: Vec<(f64, GrayImage)>) -> Result<Self, FootageError> {
        let Some((start_s, size)) = frames.first().map(|(time_s, image)| (*time_s, image.dimensions()))
        else {
            return Err(FootageError::NoClips);
        };
        let unlike = frames.iter().position(|(_, image)| image.dimensions() != size);
        let unordered = frames.windows(2).position(|pair| {
            let times_s: Vec<f64> = pair.iter().map(|(time_s, _)| *time_s).collect();
            !times_s.is_sorted_by(|one, two| one < two)
        });
        if let Some(index) = unlike.or(unordered.map(|before| before + 1)) {
            return Err(FootageError::FrameMismatch { index });
        }
        frames.iter_mut().for_each(|(time_s, _)| *time_s -= start_s);
        let length_s = frames.last().map_or(0.0, |(time_s, _)| *time_s);
        let info = ClipInfo {
            path: PathBuf::from("(frames in memory)"),
            container: "memory".into(),
            codec: "none".into(),
            intra_only: true,
            width: size.0,
            height: size.1,
            nominal_rate_hz: (length_s > 0.0).then(|| (frames.len() - 1) as f64 / length_s),
            stated_length_s: Some(length_s),
        };
        Ok(Self { info, notes: ClipNotes::default(), frames, next: 0 })
    }
}

impl FrameSource for MemoryFrames {
    fn info(&self) -> &ClipInfo {
        &self.info
    }

    fn next_frame(&mut self) -> Result<Option<LumaFrame<'_>>, FootageError> {
        let Some((time_s, image)) = self.frames.get(self.next) else { return Ok(None) };
        let index = self.next as u64;
        self.next += 1;
        Ok(Some(LumaFrame { index, time_s: *time_s, damaged: false, luma: LumaPlane::of(image) }))
    }

    fn seek(&mut self, time_s: f64) -> Result<(), FootageError> {
        // For a time far beyond the end, the distances to all frames would be rounded to the same number.
        let time_s = time_s.clamp(0.0, self.info.stated_length_s.unwrap_or(0.0));
        let distance = |frame: &(f64, GrayImage)| (frame.0 - time_s).abs();
        let nearest = self.frames.iter().enumerate().min_by(|(_, one), (_, two)| {
            let (one, two) = (distance(one), distance(two));
            one.total_cmp(&two)
        });
        self.next = nearest.map_or(0, |(index, _)| index);
        Ok(())
    }

    fn notes(&self) -> &ClipNotes {
        &self.notes
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use image::Luma;

    use super::*;
    use crate::footage::{frames_near, sample};

    fn grey(level: u8) -> GrayImage {
        GrayImage::from_pixel(2, 1, Luma([level]))
    }

    fn ten_frames() -> MemoryFrames {
        MemoryFrames::new((0..10_u8).map(|n| (5.0 + f64::from(n) / 10.0, grey(n))).collect()).unwrap()
    }

    #[test]
    fn frames_come_in_order_with_times_from_zero() {
        let mut source = ten_frames();
        let mut count = 0;
        while let Some(frame) = source.next_frame().unwrap() {
            assert_eq!(frame.index, count);
            assert!((frame.time_s - count as f64 / 10.0).abs() < 1e-9);
            assert_eq!(frame.luma.data, [count as u8; 2]);
            count += 1;
        }
        assert_eq!(count, 10);
    }

    #[test]
    fn the_nearest_frames_come_in_the_order_requested() {
        let found = frames_near(&mut ten_frames(), &[0.52, 9.0, -1.0, 0.38]).unwrap();
        let indices: Vec<u64> = found.iter().map(|frame| frame.index).collect();
        assert_eq!(indices, [5, 9, 0, 4]);
        assert_eq!(found.iter().map(|frame| frame.requested_s).collect::<Vec<_>>(), [0.52, 9.0, -1.0, 0.38]);
    }

    #[test]
    fn a_sample_is_spread_evenly_and_never_repeats_a_frame() {
        let indices = |count| {
            let found = sample(&mut ten_frames(), count).unwrap();
            found.iter().map(|frame| frame.index).collect::<Vec<_>>()
        };
        assert_eq!(indices(2), [2, 7]);
        assert_eq!(indices(100), (0..10).collect::<Vec<_>>());
        assert_eq!(indices(0), Vec::<u64>::new());
    }

    #[test]
    fn frames_of_another_size_or_out_of_order_are_refused() {
        let index = |frames| match MemoryFrames::new(frames) {
            Err(FootageError::FrameMismatch { index }) => Some(index),
            _ => None,
        };
        assert_eq!(index(vec![(0.0, grey(0)), (0.1, GrayImage::new(3, 1))]), Some(1));
        assert_eq!(index(vec![(0.0, grey(0)), (0.1, grey(1)), (0.1, grey(2))]), Some(2));
        assert_eq!(index(vec![(0.0, grey(0)), (f64::NAN, grey(1))]), Some(1));
        assert!(MemoryFrames::new(Vec::new()).is_err());
    }
}
