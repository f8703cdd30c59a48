//! Several clips as the consecutive files of one recording.
//!
//! The time of the recording starts at the first clip's first frame. Each further clip starts one typical
//! frame interval after the last frame of the clip before, plus the gap between the two, if their recording
//! times show one.

use std::collections::HashSet;
use std::mem;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};

use image::RgbImage;

use super::recording_time::RecordingTime;
use super::{
    Clip, ClipInfo, ClipNotes, FootageError, FrameOutput, FrameSource, LumaFrame, LumaPlane, TaskFactory,
    last_time_by_seek_s, process_by_seeking, process_evenly_spread,
};
use crate::geometry::PixelRect;

/// Maximum difference between recording times that does not count as a gap, in seconds: recording times are
/// stated in whole seconds.
const GAP_TOLERANCE_S: f64 = 1.0;
/// Longest plausible gap within one flight, in seconds. Recording times that show a longer gap are ignored.
/// Set by judgement.
const MAX_GAP_S: f64 = 86_400.0;

/// What is known about the gap between a clip and the clip before it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ClipGap {
    /// The length of the gap follows from the recording times.
    Known {
        /// Length of the gap in seconds; 0 if the recording times leave no room for a gap.
        length_s: f64,
    },
    /// There are no recording times, or they are not plausible. The gap is assumed to be 0.
    Unknown,
    /// According to their recording times the clips are in the wrong order. The gap is assumed to be 0.
    Backwards,
}

impl ClipGap {
    /// The length of the gap that is used to compute times of the recording, in seconds.
    pub fn length_s(self) -> f64 {
        match self {
            Self::Known { length_s } => length_s,
            Self::Unknown | Self::Backwards => 0.0,
        }
    }
}

/// The position of a clip in the recording.
#[derive(Debug, Clone, PartialEq)]
pub struct ClipSpan {
    /// Path of the clip.
    pub path: PathBuf,
    /// The gap between the previous clip and this one; `None` for the first clip of the recording.
    pub gap_before: Option<ClipGap>,
    /// Time of the clip's first frame in the recording, in seconds.
    pub start_s: f64,
    /// Index of the clip's first frame in the recording, if all clips before it were processed.
    pub first_index: Option<u64>,
}

/// The clips of one flight, read one after the other.
pub struct Recording {
    info: ClipInfo,
    files: Vec<RecordingFile>,
    spans: Vec<ClipSpan>,
    clip: Clip,
    /// Index of `clip` in `files`.
    current: usize,
    /// Number of frames of the clips before the current one.
    frames_before: u64,
    /// Notes on the clips before the current one.
    notes_before: ClipNotes,
    notes: ClipNotes,
}

struct RecordingFile {
    info: ClipInfo,
    recording_time: RecordingTime,
    /// Length of the clip in seconds, up to the end of its last frame; `None` until it is measured.
    length_s: Option<f64>,
}

impl Recording {
    /// Opens every clip once to check that all are alike, and starts at the first frame of the first clip.
    ///
    /// # Errors
    ///
    /// [`FootageError`] if there is no clip, or if a clip cannot be opened, is given twice, or differs from
    /// the first in frame size or codec.
    pub fn open<P: AsRef<Path>>(paths: &[P]) -> Result<Self, FootageError> {
        check_each_once(paths)?;
        let mut clips = paths.iter().map(|path| Clip::open(path.as_ref()));
        let clip = clips.next().ok_or(FootageError::NoClips)??;
        let mut info = clip.info().clone();
        let mut files = vec![RecordingFile::of(&clip)];
        for other in clips {
            let other = other?;
            check_alike(clip.info(), other.info())?;
            let lengths = info.stated_length_s.zip(other.info().stated_length_s);
            info.stated_length_s = lengths.map(|(sum_s, length_s)| sum_s + length_s);
            files.push(RecordingFile::of(&other));
        }
        let path = clip.info().path.clone();
        let spans = vec![ClipSpan { path, gap_before: None, start_s: 0.0, first_index: Some(0) }];
        let notes = clip.notes().clone();
        let notes_before = ClipNotes::default();
        Ok(Self { info, files, spans, clip, current: 0, frames_before: 0, notes_before, notes })
    }

    /// The properties of each clip, including its container and length, in the given order.
    pub fn clip_infos(&self) -> impl Iterator<Item = &ClipInfo> {
        self.files.iter().map(|file| &file.info)
    }

    /// The positions of the clips in the recording, as far as they are known; all are known once the last
    /// clip was reached. A leg must not contain the start of a clip, whatever the gap.
    pub fn spans(&self) -> &[ClipSpan] {
        &self.spans
    }

    /// Sentences about how the clips were joined, one for each pair of successive clips.
    pub fn join_sentences(&self) -> Vec<String> {
        let pairs = self.spans.iter().zip(self.spans.iter().skip(1));
        pairs.filter_map(|(before, span)| Some(join_sentence(before, span, span.gap_before?))).collect()
    }

    /// Moves to the next frame, or from the end of a clip to the first frame of the next. Returns `false`
    /// after the last frame.
    fn step(&mut self) -> Result<bool, FootageError> {
        while !self.clip.step()? {
            if !self.enter_next()? {
                return Ok(false);
            }
        }
        Ok(true)
    }

    /// Moves from the end of a clip to the next one. Returns `false` after the last clip.
    fn enter_next(&mut self) -> Result<bool, FootageError> {
        if self.current + 1 >= self.files.len() {
            return Ok(false);
        }
        self.finish_clip();
        let frames = self.clip.frames_so_far();
        self.enter(self.current + 1)?;
        self.frames_before += frames;
        if let Some(span) = self.spans.get_mut(self.current) {
            span.first_index = Some(self.frames_before);
        }
        Ok(true)
    }

    /// Stores the notes and the length of the current clip, which was read to its end.
    fn finish_clip(&mut self) {
        let shift_s = self.start_s();
        self.notes_before.add(self.clip.notes(), &self.clip.info().path, shift_s);
        let length_s = self.clip.end_s();
        self.set_length(self.current, length_s);
    }

    /// Sets the length of a clip, and with it the start of the next clip.
    fn set_length(&mut self, index: usize, length_s: f64) {
        let next = index + 1;
        if let Some(file) = self.files.get_mut(index) {
            file.length_s = Some(length_s);
        }
        let (Some(before), Some(file)) = (self.files.get(index), self.files.get(next)) else { return };
        let gap = gap_between(&before.recording_time, &file.recording_time, length_s);
        let start_s = self.spans.get(index).map_or(0.0, |span| span.start_s) + length_s + gap.length_s();
        let path = file.info.path.clone();
        let span = ClipSpan { path, gap_before: Some(gap), start_s, first_index: None };
        match self.spans.get_mut(next) {
            Some(known) => known.start_s = start_s,
            None => self.spans.push(span),
        }
    }

    /// Start of the current clip in the recording, in seconds.
    fn start_s(&self) -> f64 {
        self.spans.get(self.current).map_or(0.0, |span| span.start_s)
    }

    fn enter(&mut self, index: usize) -> Result<(), FootageError> {
        if let Some(file) = self.files.get(index) {
            self.clip.close();
            self.clip = Clip::open(&file.info.path)?;
            self.current = index;
        }
        Ok(())
    }

    /// The index of the clip that contains the frame nearest to `time_s`. Measures the lengths of clips that
    /// are not known yet.
    fn file_at(&mut self, time_s: f64) -> Result<usize, FootageError> {
        for index in 0..self.files.len().saturating_sub(1) {
            if self.spans.len() <= index + 1 {
                self.measure(index)?;
            }
            let start_s = |index: usize| self.spans.get(index).map_or(f64::INFINITY, |span| span.start_s);
            let end_s = start_s(index) + self.files.get(index).and_then(|file| file.length_s).unwrap_or(0.0);
            if time_s < f64::midpoint(end_s, start_s(index + 1)) {
                return Ok(index);
            }
        }
        Ok(self.files.len().saturating_sub(1))
    }

    /// Measures the length of a clip by its last frame.
    fn measure(&mut self, index: usize) -> Result<(), FootageError> {
        let Some(file) = self.files.get(index) else { return Ok(()) };
        let mut clip = Clip::open(&file.info.path)?;
        clip.seek(f64::MAX)?;
        clip.step()?;
        self.set_length(index, clip.end_s());
        Ok(())
    }

    fn refresh_notes(&mut self) {
        let shift_s = self.start_s();
        self.notes.clone_from(&self.notes_before);
        self.notes.add(self.clip.notes(), &self.clip.info().path, shift_s);
    }
}

impl Recording {
    /// The frame that was returned last, in colour; see [`Clip::colour_image`]. `None` before the first
    /// frame.
    #[must_use]
    pub fn colour_image(&self) -> Option<RgbImage> {
        self.clip.colour_image()
    }
}

impl FrameSource for Recording {
    /// The properties of the first clip, but with the length of all clips together; [`Recording::clip_infos`]
    /// has those of each clip.
    fn info(&self) -> &ClipInfo {
        &self.info
    }

    fn next_frame(&mut self) -> Result<Option<LumaFrame<'_>>, FootageError> {
        let has_frame = self.step()?;
        self.refresh_notes();
        if !has_frame {
            return Ok(None);
        }
        let (shift_s, frames_before) = (self.start_s(), self.frames_before);
        let frame = self.clip.view()?;
        Ok(frame.map(|frame| LumaFrame {
            index: frame.index + frames_before,
            time_s: frame.time_s + shift_s,
            ..frame
        }))
    }

    fn seek(&mut self, time_s: f64) -> Result<(), FootageError> {
        let index = self.file_at(time_s)?;
        if index != self.current {
            self.enter(index)?;
        }
        let spans = self.spans.iter().take(index + 1);
        self.frames_before = spans.rev().find_map(|span| span.first_index).unwrap_or(0);
        mem::take(&mut self.notes_before);
        let shift_s = self.start_s();
        self.clip.seek(time_s - shift_s)?;
        self.refresh_notes();
        Ok(())
    }

    fn process_all<'a, T: Send>(
        &mut self,
        areas: &[PixelRect],
        start: &'a TaskFactory<'a, T>,
        take: &mut dyn FnMut(FrameOutput<T>) -> ControlFlow<()>,
    ) -> Result<(), FootageError> {
        if self.current != 0 {
            self.enter(0)?;
        }
        self.frames_before = 0;
        mem::take(&mut self.notes_before);
        loop {
            let (shift_s, frames_before) = (self.start_s(), self.frames_before);
            let flow = self.clip.process_in_parallel(areas, start, &mut |frame| {
                let (index, time_s) = (frame.index + frames_before, frame.time_s + shift_s);
                take(FrameOutput { index, time_s, ..frame })
            })?;
            if flow.is_break() || !self.enter_next()? {
                self.refresh_notes();
                return Ok(());
            }
        }
    }

    fn process_some<T: Send>(
        &mut self,
        count: usize,
        areas: &[PixelRect],
        work: &(dyn Fn(LumaPlane<'_>) -> T + Sync),
    ) -> Result<Vec<FrameOutput<T>>, FootageError> {
        if self.files.len() > 1 {
            return process_evenly_spread(self, count, areas, work);
        }
        self.clip.process_some(count, areas, work)
    }

    fn process_at<T: Send>(
        &mut self,
        times_s: &[f64],
        areas: &[PixelRect],
        work: &(dyn Fn(LumaPlane<'_>) -> T + Sync),
    ) -> Result<Vec<FrameOutput<T>>, FootageError> {
        if self.files.len() > 1 {
            return process_by_seeking(self, times_s, work);
        }
        self.clip.process_at(times_s, areas, work)
    }

    fn last_time_s(&mut self) -> Result<f64, FootageError> {
        if self.files.len() > 1 { last_time_by_seek_s(self) } else { self.clip.last_time_s() }
    }

    fn notes(&self) -> &ClipNotes {
        &self.notes
    }
}

impl RecordingFile {
    fn of(clip: &Clip) -> Self {
        Self { info: clip.info().clone(), recording_time: clip.recording_time().clone(), length_s: None }
    }
}

/// Returns an error if a file is given twice, even by two different paths. A missing file is reported when it
/// is opened.
fn check_each_once<P: AsRef<Path>>(paths: &[P]) -> Result<(), FootageError> {
    let mut known = HashSet::new();
    for path in paths.iter().map(AsRef::as_ref) {
        if path.canonicalize().is_ok_and(|file| !known.insert(file)) {
            return Err(FootageError::GivenTwice { path: path.to_owned() });
        }
    }
    Ok(())
}

fn check_alike(first: &ClipInfo, second: &ClipInfo) -> Result<(), FootageError> {
    let size = |info: &ClipInfo| format!("{} x {} pixels", info.width, info.height);
    let differs = |what, first_value: String, second_value: String| {
        let (first, second) = (first.path.clone(), second.path.clone());
        Err(FootageError::NotAlike { first, second, what, first_value, second_value })
    };
    if (first.width, first.height) != (second.width, second.height) {
        return differs("frames of", size(first), size(second));
    }
    if first.codec != second.codec {
        return differs("the codec", first.codec.clone(), second.codec.clone());
    }
    Ok(())
}

/// The gap between a clip that lasts `length_s` seconds and the next clip, according to their recording
/// times.
fn gap_between(before: &RecordingTime, next: &RecordingTime, length_s: f64) -> ClipGap {
    let Some(apart_s) = before.seconds_until(next) else {
        let is_backwards = next.seconds_until(before).is_some();
        return if is_backwards { ClipGap::Backwards } else { ClipGap::Unknown };
    };
    let rest_s = apart_s - length_s;
    if !(-GAP_TOLERANCE_S..=MAX_GAP_S).contains(&rest_s) {
        return ClipGap::Unknown;
    }
    ClipGap::Known { length_s: if rest_s > GAP_TOLERANCE_S { rest_s } else { 0.0 } }
}

fn join_sentence(before: &ClipSpan, span: &ClipSpan, gap: ClipGap) -> String {
    let (before, name) = (before.path.display(), span.path.display());
    match gap {
        ClipGap::Unknown => format!(
            "the time between the end of {before} and the start of {name} is unknown and assumed to be 0 s"
        ),
        ClipGap::Backwards => format!(
            "according to their recording times, {name} was recorded before {before}: give the clips in the order flown; the time between them is assumed to be 0 s"
        ),
        ClipGap::Known { length_s } if length_s > 0.0 => {
            format!(
                "according to their recording times, {length_s:.0} s passed between the end of {before} and the start of {name}"
            )
        }
        ClipGap::Known { .. } => {
            format!("according to their recording times, {name} follows {before} without a gap")
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn recorded_at(text: &str) -> RecordingTime {
        RecordingTime::new(Some(text), Path::new("clip.mp4"))
    }

    #[test]
    fn recording_times_give_a_gap_only_if_they_are_plausible() {
        let start = recorded_at("2024-05-01T10:00:00.000000Z");
        let gap = |next: &str, length_s| gap_between(&start, &recorded_at(next), length_s);
        assert_eq!(gap("2024-05-01T10:05:00.000000Z", 290.0), ClipGap::Known { length_s: 10.0 });
        assert_eq!(gap("2024-05-01T10:05:00.000000Z", 299.4), ClipGap::Known { length_s: 0.0 });
        assert_eq!(gap("2024-05-01T10:05:00.000000Z", 300.6), ClipGap::Known { length_s: 0.0 });
        assert_eq!(gap("2024-05-01T10:05:00.000000Z", 350.0), ClipGap::Unknown);
        assert_eq!(gap("2024-05-09T10:05:00.000000Z", 300.0), ClipGap::Unknown);
        assert_eq!(gap("1970-01-01T00:00:00.000000Z", 300.0), ClipGap::Unknown);
        assert_eq!(gap("2024-05-01T10:00:00.000000Z", 300.0), ClipGap::Unknown);
        assert_eq!(gap("2024-05-01T09:55:00.000000Z", 300.0), ClipGap::Backwards);
    }
}
