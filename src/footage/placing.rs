//! From pictures in order of presentation to numbered frames with times, and the notes on the way.

use super::notes::ClipNotes;
use super::timeline::Timeline;

/// A clip that ends this long before its stated length is said to be short, in seconds.
const SHORT_S: f64 = 1.0;

/// What placing needs to know of a picture.
#[derive(Debug, Clone, Copy)]
pub(super) struct Seen {
    /// Time stamp in the stream's time base.
    pub stamp: Option<i64>,
    pub damaged: bool,
    pub interlaced: bool,
}

/// Where a frame stands.
#[derive(Debug, Clone, Copy)]
pub(super) struct At {
    pub index: u64,
    pub time_s: f64,
}

/// Places the frames of a clip one after the other.
pub(super) struct Placing {
    pub timeline: Timeline,
    pub notes: ClipNotes,
    /// The frame placed last.
    pub at: Option<At>,
    /// Whether all frames since the clip's first were placed.
    pub from_start: bool,
    rate_hz: f64,
}

impl Placing {
    /// For frames from the clip's first on; `rate_hz` is its usual rate.
    pub(super) fn new(timeline: Timeline, rate_hz: f64, notes: ClipNotes) -> Self {
        Self { timeline, notes, at: None, from_start: true, rate_hz }
    }

    /// Places the next picture; `next` is the stamp of the one after it.
    pub(super) fn place(&mut self, seen: Seen, next: Option<i64>) -> At {
        let fresh = self.timeline.is_fresh();
        let time_s = self.timeline.place(seen.stamp, next);
        let index = match self.at {
            Some(at) if !fresh => at.index + 1,
            _ => self.index_at(time_s),
        };
        let at = At { index, time_s };
        self.at = Some(at);
        self.note(seen);
        at
    }

    /// The number of the first frame after a jump; see [`LumaFrame::index`](super::LumaFrame::index).
    fn index_at(&self, time_s: f64) -> u64 {
        if self.from_start { 0 } else { self.index_near(time_s) }
    }

    /// The number that a frame of a steady clip has at a time.
    pub(super) fn index_near(&self, time_s: f64) -> u64 {
        (time_s * self.rate_hz).round().max(0.0) as u64
    }

    fn note(&mut self, seen: Seen) {
        self.notes.frames_damaged += u64::from(seen.damaged);
        self.notes.frames_interlaced += u64::from(seen.interlaced);
        let found = self.timeline.findings();
        self.notes.stamps_repaired = found.repaired;
        self.notes.stamps_restarted = found.restarted;
        self.notes.frames_missing = found.missing;
        if self.notes.gaps.len() != found.gaps.len() {
            self.notes.gaps.clone_from(&found.gaps);
        }
    }

    /// Notes a picture passed over since its size is another.
    pub(super) fn pass_over(&mut self, stamp: Option<i64>) {
        self.notes.frames_of_other_size += 1;
        let time_s = stamp.and_then(|stamp| self.timeline.time_of(stamp));
        self.notes.other_size_at_s = self.notes.other_size_at_s.or(time_s);
    }

    /// Notes that no frame follows: `stopped` says why before the end of the file.
    pub(super) fn finish(&mut self, stopped: Option<String>, stated_length_s: Option<f64>) {
        self.notes.stopped_early = stopped;
        self.notes.short_by_s = stated_length_s.zip(self.at).and_then(|(length_s, at)| {
            let short_s = length_s - at.time_s - self.timeline.typical_s();
            (short_s > SHORT_S).then_some(short_s)
        });
    }

    /// One typical interval after the frame placed last, in seconds since the first.
    pub(super) fn end_s(&self) -> f64 {
        self.at.map_or(0.0, |at| at.time_s + self.timeline.typical_s())
    }

    /// Makes ready for frames from another place of the clip.
    pub(super) fn forget(&mut self) {
        self.at = None;
        self.timeline.jump();
        self.notes = ClipNotes {
            time_basis: self.notes.time_basis,
            levels: self.notes.levels,
            rotation_degrees: self.notes.rotation_degrees,
            ..ClipNotes::default()
        };
    }
}
