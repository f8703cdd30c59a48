//! Computes the numbers and times of frames in presentation order, and collects notes about them.

use super::ClipInfo;
use super::notes::{ClipNotes, MIN_SHORTFALL_S, TimeBasis};
use super::open::AVI;
use super::timeline::Timeline;

/// Minimum difference between the stated and the real length of an AVI clip that is reported as missing or doubled
/// frames, in typical frame intervals. AVI files state their number of frames, so a difference means that frames are
/// missing or doubled. Set by judgement: between half a frame and a whole one.
const MIN_COUNTED_INTERVALS: f64 = 0.75;

/// The properties of a decoded frame that its timing depends on.
#[derive(Debug, Clone, Copy)]
pub(super) struct FrameStatus {
    /// Timestamp in ticks of the stream's time base; `None` if the container states none.
    pub timestamp: Option<i64>,
    pub damaged: bool,
    pub interlaced: bool,
}

/// Number and time of a frame.
#[derive(Debug, Clone, Copy)]
pub(super) struct FramePosition {
    /// Index of the frame in the clip, defined as for [`LumaFrame::index`](super::LumaFrame::index).
    pub index: u64,
    /// Time since the clip's first frame, in seconds.
    pub time_s: f64,
}

/// Assigns numbers and times to the frames of a clip, one after the other.
pub(super) struct FrameTiming {
    pub timeline: Timeline,
    pub notes: ClipNotes,
    /// Position of the last frame; `None` before the first frame.
    pub last: Option<FramePosition>,
    /// Whether every frame since the clip's first one has been given a position.
    pub from_start: bool,
    rate_hz: f64,
}

impl FrameTiming {
    /// Starts at the clip's first frame. `rate_hz` is the clip's usual frame rate in frames per second.
    pub(super) fn new(timeline: Timeline, rate_hz: f64, notes: ClipNotes) -> Self {
        Self { timeline, notes, last: None, from_start: true, rate_hz }
    }

    /// Assigns number and time to `frame`, the frame after the last one positioned, and returns them. `next` is the
    /// timestamp of the frame that follows `frame`, in ticks of the stream's time base; `None` if the container
    /// states none or if `frame` is the last of the clip.
    pub(super) fn advance(&mut self, frame: FrameStatus, next: Option<i64>) -> FramePosition {
        let is_first = self.timeline.is_at_start();
        let time_s = self.timeline.advance(frame.timestamp, next);
        let index = match self.last {
            Some(last) if !is_first => last.index + 1,
            _ => self.first_index(time_s),
        };
        let position = FramePosition { index, time_s };
        self.last = Some(position);
        self.update_notes(frame);
        position
    }

    /// Index of the first frame after the start of the clip or after a seek, defined as for
    /// [`LumaFrame::index`](super::LumaFrame::index). `time_s` is the time of that frame in seconds.
    fn first_index(&self, time_s: f64) -> u64 {
        if self.from_start { 0 } else { self.index_near(time_s) }
    }

    /// Index of the frame at `time_s` (in seconds since the first frame), for a clip with a constant frame rate.
    pub(super) fn index_near(&self, time_s: f64) -> u64 {
        (time_s * self.rate_hz).round().max(0.0) as u64
    }

    fn update_notes(&mut self, frame: FrameStatus) {
        self.notes.frames_damaged += u64::from(frame.damaged);
        self.notes.frames_interlaced += u64::from(frame.interlaced);
        let repairs = self.timeline.repairs();
        self.notes.timestamps_repaired = repairs.repaired;
        self.notes.timestamps_restarted = repairs.restarted;
        self.notes.frames_missing = repairs.missing;
        if self.notes.gaps.len() != repairs.gaps.len() {
            self.notes.gaps.clone_from(&repairs.gaps);
        }
    }

    /// Notes that a frame is skipped because its size differs from that of the first.
    pub(super) fn skip_other_size(&mut self, timestamp: Option<i64>) {
        self.notes.frames_of_other_size += 1;
        let time_s = timestamp.and_then(|timestamp| self.timeline.time_of(timestamp));
        self.notes.other_size_at_s = self.notes.other_size_at_s.or(time_s);
    }

    /// Notes that the last frame was reached. `stopped` is the reason why reading stopped before the end of
    /// the file, if it did.
    pub(super) fn finish(&mut self, stopped: Option<String>, info: &ClipInfo) {
        self.notes.stopped_early = stopped;
        self.notes.short_by_s = info.stated_length_s.zip(self.last).and_then(|(length_s, last)| {
            let interval_s = self.timeline.typical_interval_s();
            let short_s = length_s - last.time_s - interval_s;
            // AVI states the number of frames, and frames are as far apart as it states the rate. Other containers
            // round the length, and only a clip that is too short matters.
            let is_counted = info.container == AVI && self.timeline.basis() == TimeBasis::Timestamps;
            let reported = match is_counted {
                true => short_s.abs() >= MIN_COUNTED_INTERVALS * interval_s,
                false => short_s > MIN_SHORTFALL_S,
            };
            reported.then_some(short_s)
        });
    }

    /// The end of the last frame, in seconds since the clip's first frame: one typical frame interval after the last
    /// frame's time.
    pub(super) fn end_s(&self) -> f64 {
        self.last.map_or(0.0, |last| last.time_s + self.timeline.typical_interval_s())
    }

    /// Prepares for frames from another position in the clip.
    pub(super) fn reset(&mut self) {
        self.last = None;
        self.timeline.reset();
        self.notes = ClipNotes {
            time_basis: self.notes.time_basis,
            levels: self.notes.levels,
            rotation_degrees: self.notes.rotation_degrees,
            ..ClipNotes::default()
        };
    }
}
