//! Several clips as the consecutive files of one recording.
//!
//! The recording's clock starts with the first clip's first frame. Each further clip starts where the former
//! ends, one typical interval after its last frame, plus the gap between the two if the times at which they
//! were recorded tell of one.

use std::collections::HashSet;
use std::mem;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};

use super::recorded::Recorded;
use super::{
    Clip, ClipInfo, ClipNotes, FootageError, FrameOutput, FrameSource, LumaFrame, LumaPlane, Start,
    one_at_a_time, sought_end_s, spread_evenly,
};
use crate::geometry::PixelRect;

/// Recording times are stated to the second: differences up to this are no gap, in seconds.
const GAP_TOLERANCE_S: f64 = 1.0;
/// A longer gap than this is no pause within one flight, so the recording times are not believed, in seconds.
const LARGEST_GAP_S: f64 = 86_400.0;

/// What is known of the time between a clip and the one before it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Gap {
    /// The recording times tell: this long, in seconds; 0 if they leave no room for a gap.
    Known {
        /// Its length in seconds.
        length_s: f64,
    },
    /// Nothing tells: taken as 0.
    Unknown,
    /// The recording times tell that the clips were given in the wrong order: taken as 0.
    Backwards,
}

impl Gap {
    /// The length reckoned with, in seconds.
    pub fn length_s(self) -> f64 {
        match self {
            Self::Known { length_s } => length_s,
            Self::Unknown | Self::Backwards => 0.0,
        }
    }
}

/// One clip's place in the recording.
#[derive(Debug, Clone, PartialEq)]
pub struct ClipSpan {
    /// The file.
    pub path: PathBuf,
    /// The time between the former clip and this one; `None` for the first.
    pub gap_before: Option<Gap>,
    /// Time of its first frame on the recording's clock, in seconds.
    pub start_s: f64,
    /// Number of its first frame in the recording, if the clips before were read through.
    pub first_index: Option<u64>,
}

/// The clips of one flight, read one after the other.
pub struct Recording {
    info: ClipInfo,
    parts: Vec<Part>,
    spans: Vec<ClipSpan>,
    clip: Clip,
    place: usize,
    index_base: u64,
    done: ClipNotes,
    notes: ClipNotes,
}

struct Part {
    path: PathBuf,
    recorded: Recorded,
    /// Length up to one interval after the last frame, once it was measured.
    length_s: Option<f64>,
}

impl Recording {
    /// Opens every clip once, to see that they are alike, and stands at the first one's first frame.
    ///
    /// # Errors
    /// If there is no clip, one cannot be opened, is given twice, or differs from the first in frame size or
    /// codec.
    pub fn open<P: AsRef<Path>>(paths: &[P]) -> Result<Self, FootageError> {
        check_each_once(paths)?;
        let mut clips = paths.iter().map(|path| Clip::open(path.as_ref()));
        let clip = clips.next().ok_or(FootageError::NoClips)??;
        let mut info = clip.info().clone();
        let mut parts = vec![Part::of(&clip)];
        for other in clips {
            let other = other?;
            check_alike(clip.info(), other.info())?;
            let lengths = info.stated_length_s.zip(other.info().stated_length_s);
            info.stated_length_s = lengths.map(|(sum_s, length_s)| sum_s + length_s);
            parts.push(Part::of(&other));
        }
        let path = clip.info().path.clone();
        let spans = vec![ClipSpan { path, gap_before: None, start_s: 0.0, first_index: Some(0) }];
        let notes = clip.notes().clone();
        Ok(Self { info, parts, spans, clip, place: 0, index_base: 0, done: ClipNotes::default(), notes })
    }

    /// The places of the clips as far as they are known: all of them once the last clip was reached. No leg
    /// should be joined across the start of a span, whatever the gap.
    pub fn spans(&self) -> &[ClipSpan] {
        &self.spans
    }

    /// How the clips were joined, a sentence for each join.
    pub fn join_sentences(&self) -> Vec<String> {
        let pairs = self.spans.iter().zip(self.spans.iter().skip(1));
        pairs.filter_map(|(former, span)| Some(join_sentence(former, span, span.gap_before?))).collect()
    }

    /// Goes one frame on, into the next clip at the end of one. `false` after the last.
    fn step(&mut self) -> Result<bool, FootageError> {
        while !self.clip.step() {
            if !self.enter_next()? {
                return Ok(false);
            }
        }
        Ok(true)
    }

    /// Goes from a clip just read to its end to the next one. `false` after the last.
    fn enter_next(&mut self) -> Result<bool, FootageError> {
        if self.place + 1 >= self.parts.len() {
            return Ok(false);
        }
        self.finish_clip();
        let frames = self.clip.frames_so_far();
        self.enter(self.place + 1)?;
        self.index_base += frames;
        if let Some(span) = self.spans.get_mut(self.place) {
            span.first_index = Some(self.index_base);
        }
        Ok(true)
    }

    /// Notes the length of the clip just read to its end, and so the start of the next.
    fn finish_clip(&mut self) {
        let shift_s = self.start_s();
        self.done.add(self.clip.notes(), &self.clip.info().path, shift_s);
        let length_s = self.clip.end_s();
        self.set_length(self.place, length_s);
    }

    fn set_length(&mut self, place: usize, length_s: f64) {
        let next = place + 1;
        if let Some(part) = self.parts.get_mut(place) {
            part.length_s = Some(length_s);
        }
        let (Some(former), Some(part)) = (self.parts.get(place), self.parts.get(next)) else { return };
        let gap = gap_between(&former.recorded, &part.recorded, length_s);
        let start_s = self.spans.get(place).map_or(0.0, |span| span.start_s) + length_s + gap.length_s();
        let span = ClipSpan { path: part.path.clone(), gap_before: Some(gap), start_s, first_index: None };
        match self.spans.get_mut(next) {
            Some(known) => known.start_s = start_s,
            None => self.spans.push(span),
        }
    }

    fn start_s(&self) -> f64 {
        self.spans.get(self.place).map_or(0.0, |span| span.start_s)
    }

    fn enter(&mut self, place: usize) -> Result<(), FootageError> {
        if let Some(part) = self.parts.get(place) {
            self.clip = Clip::open(&part.path)?;
            self.place = place;
        }
        Ok(())
    }

    /// The clip with the frame nearest to `time_s`; lengths not known yet are measured on the way.
    fn place_of(&mut self, time_s: f64) -> Result<usize, FootageError> {
        for place in 0..self.parts.len().saturating_sub(1) {
            if self.spans.len() <= place + 1 {
                self.measure(place)?;
            }
            let start_s = |place: usize| self.spans.get(place).map_or(f64::INFINITY, |span| span.start_s);
            let end_s = start_s(place) + self.parts.get(place).and_then(|part| part.length_s).unwrap_or(0.0);
            if time_s < f64::midpoint(end_s, start_s(place + 1)) {
                return Ok(place);
            }
        }
        Ok(self.parts.len().saturating_sub(1))
    }

    fn measure(&mut self, place: usize) -> Result<(), FootageError> {
        let Some(part) = self.parts.get(place) else { return Ok(()) };
        let mut clip = Clip::open(&part.path)?;
        clip.seek(f64::MAX)?;
        clip.step();
        self.set_length(place, clip.end_s());
        Ok(())
    }

    fn refresh_notes(&mut self) {
        let shift_s = self.start_s();
        self.notes.clone_from(&self.done);
        self.notes.add(self.clip.notes(), &self.clip.info().path, shift_s);
    }
}

impl FrameSource for Recording {
    /// That of the first clip, with the length of all of them.
    fn info(&self) -> &ClipInfo {
        &self.info
    }

    fn next_frame(&mut self) -> Result<Option<LumaFrame<'_>>, FootageError> {
        let more = self.step()?;
        self.refresh_notes();
        if !more {
            return Ok(None);
        }
        let (shift_s, base) = (self.start_s(), self.index_base);
        let frame = self.clip.view()?;
        Ok(frame.map(|frame| LumaFrame {
            index: frame.index + base,
            time_s: frame.time_s + shift_s,
            ..frame
        }))
    }

    fn seek(&mut self, time_s: f64) -> Result<(), FootageError> {
        let place = self.place_of(time_s)?;
        if place != self.place {
            self.enter(place)?;
        }
        let spans = self.spans.iter().take(place + 1);
        self.index_base = spans.rev().find_map(|span| span.first_index).unwrap_or(0);
        mem::take(&mut self.done);
        let shift_s = self.start_s();
        self.clip.seek(time_s - shift_s)?;
        self.refresh_notes();
        Ok(())
    }

    fn process_all<'a, T: Send>(
        &mut self,
        areas: &[PixelRect],
        start: &'a Start<'a, T>,
        take: &mut dyn FnMut(FrameOutput<T>) -> ControlFlow<()>,
    ) -> Result<(), FootageError> {
        if self.place != 0 {
            self.enter(0)?;
        }
        self.index_base = 0;
        mem::take(&mut self.done);
        loop {
            let (shift_s, base) = (self.start_s(), self.index_base);
            let flow = self.clip.pass(areas, start, &mut |worked| {
                let (index, time_s) = (worked.index + base, worked.time_s + shift_s);
                take(FrameOutput { index, time_s, ..worked })
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
        if self.parts.len() > 1 {
            return spread_evenly(self, count, areas, work);
        }
        self.clip.process_some(count, areas, work)
    }

    fn process_at<T: Send>(
        &mut self,
        times_s: &[f64],
        areas: &[PixelRect],
        work: &(dyn Fn(LumaPlane<'_>) -> T + Sync),
    ) -> Result<Vec<FrameOutput<T>>, FootageError> {
        if self.parts.len() > 1 {
            return one_at_a_time(self, times_s, work);
        }
        self.clip.process_at(times_s, areas, work)
    }

    fn last_time_s(&mut self) -> Result<f64, FootageError> {
        if self.parts.len() > 1 { sought_end_s(self) } else { self.clip.last_time_s() }
    }

    fn notes(&self) -> &ClipNotes {
        &self.notes
    }
}

impl Part {
    fn of(clip: &Clip) -> Self {
        Self { path: clip.info().path.clone(), recorded: clip.recorded().clone(), length_s: None }
    }
}

/// Refuses a file that is named twice, be it by another path. What is not there is told when it is opened.
fn check_each_once<P: AsRef<Path>>(paths: &[P]) -> Result<(), FootageError> {
    let mut seen = HashSet::new();
    for path in paths.iter().map(AsRef::as_ref) {
        if path.canonicalize().is_ok_and(|file| !seen.insert(file)) {
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

/// The gap that recording times leave between a clip of `length_s` and the next.
fn gap_between(former: &Recorded, next: &Recorded, length_s: f64) -> Gap {
    let Some(apart_s) = former.seconds_until(next) else {
        return if next.seconds_until(former).is_some() { Gap::Backwards } else { Gap::Unknown };
    };
    let rest_s = apart_s - length_s;
    if !(-GAP_TOLERANCE_S..=LARGEST_GAP_S).contains(&rest_s) {
        return Gap::Unknown;
    }
    Gap::Known { length_s: if rest_s > GAP_TOLERANCE_S { rest_s } else { 0.0 } }
}

fn join_sentence(former: &ClipSpan, span: &ClipSpan, gap: Gap) -> String {
    let (former, name) = (former.path.display(), span.path.display());
    match gap {
        Gap::Unknown => format!("the gap between {former} and {name} is not known; taken as 0"),
        Gap::Backwards => format!(
            "by their recording times {name} was recorded before {former}: give the clips in the order flown; \
             the gap between them is taken as 0"
        ),
        Gap::Known { length_s } if length_s > 0.0 => {
            format!("the gap between {former} and {name} is {length_s:.0} s by their recording times")
        }
        Gap::Known { .. } => format!("{name} follows {former} without a gap by their recording times"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn recorded(text: &str) -> Recorded {
        Recorded::new(Some(text), Path::new("clip.mp4"))
    }

    #[test]
    fn recording_times_tell_of_a_gap_only_when_they_are_plausible() {
        let start = recorded("2024-05-01T10:00:00.000000Z");
        let gap = |next: &str, length_s| gap_between(&start, &recorded(next), length_s);
        assert_eq!(gap("2024-05-01T10:05:00.000000Z", 290.0), Gap::Known { length_s: 10.0 });
        assert_eq!(gap("2024-05-01T10:05:00.000000Z", 299.4), Gap::Known { length_s: 0.0 });
        assert_eq!(gap("2024-05-01T10:05:00.000000Z", 300.6), Gap::Known { length_s: 0.0 });
        assert_eq!(gap("2024-05-01T10:05:00.000000Z", 350.0), Gap::Unknown);
        assert_eq!(gap("2024-05-09T10:05:00.000000Z", 300.0), Gap::Unknown);
        assert_eq!(gap("1970-01-01T00:00:00.000000Z", 300.0), Gap::Unknown);
        assert_eq!(gap("2024-05-01T10:00:00.000000Z", 300.0), Gap::Unknown);
        assert_eq!(gap("2024-05-01T09:55:00.000000Z", 300.0), Gap::Backwards);
    }
}
