//! Notes on the reading of a clip, as values and as sentences.

use std::path::{Path, PathBuf};

/// Minimum time by which a clip must end before its stated length to be reported as cut off, in seconds. Set by
/// judgement: containers round lengths, but by less than this.
pub(super) const MIN_SHORTFALL_S: f64 = 1.0;

/// What the times of a clip's frames are computed from.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum TimeBasis {
    /// The timestamps that the recorder wrote.
    #[default]
    Timestamps,
    /// The index of the frame divided by the average frame rate that the container states. The timestamps
    /// cannot be used: they are missing, all equal, or out of order.
    ContainerRate {
        /// Frames per second.
        rate_hz: f64,
    },
    /// The index of the frame divided by an assumed frame rate. The container states none, and the timestamps
    /// cannot be used.
    AssumedRate {
        /// Frames per second.
        rate_hz: f64,
    },
}

/// The range of luma levels, as the clip states it. Levels are not converted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum LevelRange {
    /// The clip does not state the range. For YUV this usually means limited range.
    #[default]
    Unstated,
    /// Black is 16, white is 235.
    Limited,
    /// Black is 0, white is 255.
    Full,
}

/// An interval without frames, in seconds since the first frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FrameGap {
    /// Time of the last frame before the interval, in seconds.
    pub from_s: f64,
    /// Time of the first frame after the interval, in seconds.
    pub to_s: f64,
}

/// Damage, repairs and gaps found while reading a clip.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ClipNotes {
    /// What the times of the frames are computed from.
    pub time_basis: TimeBasis,
    /// The range of luma levels.
    pub levels: LevelRange,
    /// Number of frames that were returned although the decoder reported errors in them, or in frames that
    /// they are predicted from.
    pub frames_damaged: u64,
    /// Number of packets or frames that could not be decoded at all.
    pub packets_lost: u64,
    /// Number of frames missing between the timestamps of a clip with a constant rate: dropped by the
    /// recorder, or lost.
    pub frames_missing: u64,
    /// Number of frames that were skipped because their size differs from that of the first frame.
    pub frames_of_other_size: u64,
    /// Time of the first frame that was skipped because of its size, in seconds; `None` if none was skipped,
    /// or its time is unknown.
    pub other_size_at_s: Option<f64>,
    /// Number of frames whose timestamp was missing, repeated or out of order, and was replaced by one
    /// between those of the neighbouring frames.
    pub timestamps_repaired: u64,
    /// Number of times that the timestamps started again from another value: a lower one, or one that is more than an
    /// hour later. The frames after such a restart follow directly; how much time was lost there is unknown.
    pub timestamps_restarted: u64,
    /// Intervals without frames, at most the first hundred.
    pub gaps: Vec<FrameGap>,
    /// Number of interlaced frames, in which alternate lines show two different times.
    pub frames_interlaced: u64,
    /// Clockwise rotation that the file asks players to apply, in degrees from 1 to 359. It is not applied
    /// here. `None` if it asks for none.
    pub rotation_degrees: Option<i32>,
    /// Why reading stopped before the end of the file, in the words of the operating system or the video
    /// library; `None` if it did not.
    pub stopped_early: Option<String>,
    /// Stated length of the container minus the real length of the clip, in seconds; `None` if the lengths agree
    /// closely enough. It is negative if an AVI clip is longer than stated; for other containers that is not
    /// reported.
    pub short_by_s: Option<f64>,
    /// In the notes on several clips: the paths of the clips whose length differs from the stated one, each with the
    /// difference in seconds, as in `short_by_s`.
    pub short_clips: Vec<(PathBuf, f64)>,
}

impl ClipNotes {
    /// The notes as sentences; empty if nothing was found. `clip` is the path of the clip.
    pub fn sentences(&self, clip: &Path) -> Vec<String> {
        let mut sentences = Vec::new();
        sentences.extend(self.about_times());
        sentences.extend(self.about_damage());
        sentences.extend(self.about_ends(clip));
        sentences.extend(self.about_gaps());
        sentences.extend(self.about_frames());
        sentences
    }

    /// Adds the notes on the next clip of a recording. `clip` is the path of that clip, and `shift_s` is the
    /// time of its first frame in the recording, in seconds.
    pub(super) fn add(&mut self, other: &Self, clip: &Path, shift_s: f64) {
        let shifted = |gap: &FrameGap| FrameGap { from_s: gap.from_s + shift_s, to_s: gap.to_s + shift_s };
        if self.time_basis == TimeBasis::Timestamps {
            self.time_basis = other.time_basis;
        }
        if self.levels == LevelRange::Unstated {
            self.levels = other.levels;
        }
        self.frames_damaged += other.frames_damaged;
        self.packets_lost += other.packets_lost;
        self.frames_missing += other.frames_missing;
        self.frames_of_other_size += other.frames_of_other_size;
        self.other_size_at_s = self.other_size_at_s.or(other.other_size_at_s.map(|at_s| at_s + shift_s));
        self.timestamps_repaired += other.timestamps_repaired;
        self.timestamps_restarted += other.timestamps_restarted;
        self.gaps.extend(other.gaps.iter().map(shifted));
        self.frames_interlaced += other.frames_interlaced;
        self.rotation_degrees = self.rotation_degrees.or(other.rotation_degrees);
        self.stopped_early = self.stopped_early.take().or_else(|| other.stopped_early.clone());
        self.short_clips.extend(other.short_by_s.map(|short_s| (clip.to_owned(), short_s)));
    }

    fn about_times(&self) -> Vec<String> {
        let basis = match self.time_basis {
            TimeBasis::Timestamps => None,
            TimeBasis::ContainerRate { rate_hz } => Some(format!(
                "the timestamps are unusable: times are computed from the frame rate that the file states, {rate_hz:.3} frames per second"
            )),
            TimeBasis::AssumedRate { rate_hz } => Some(format!(
                "the file has neither usable timestamps nor a frame rate: times are computed for an assumed rate of {rate_hz:.0} frames per second"
            )),
        };
        let repaired = counted(self.timestamps_repaired, "timestamp was", "timestamps were").map(|timestamps| {
            format!("{timestamps} missing or out of order; times between those of the neighbouring frames are used instead")
        });
        let restarted = counted(self.timestamps_restarted, "time", "times")
            .map(|times| format!("within the clip, the timestamps start again {times}; how much time is missing there is unknown"));
        [basis, repaired, restarted].into_iter().flatten().collect()
    }

    fn about_damage(&self) -> Vec<String> {
        let damaged =
            counted(self.frames_damaged, "frame is", "frames are").map(|frames| format!("{frames} damaged"));
        let lost = counted(self.packets_lost, "piece of the video", "pieces of the video")
            .map(|pieces| format!("{pieces} could not be decoded"));
        let missing = counted(self.frames_missing, "frame is", "frames are")
            .map(|frames| format!("{frames} missing: the timestamps leave gaps"));
        let sizes = counted(self.frames_of_other_size, "frame is", "frames are").map(|frames| {
            let from = self.other_size_at_s.map_or(String::new(), |at| format!(" from {at:.2} s on"));
            format!("{frames} skipped{from}: the frame size differs from that of the first frame")
        });
        let stopped = self
            .stopped_early
            .as_ref()
            .map(|why| format!("reading stopped before the end of the clip: {why}"));
        [damaged, lost, missing, sizes, stopped].into_iter().flatten().collect()
    }

    fn about_ends(&self, clip: &Path) -> Vec<String> {
        let here = self.short_by_s.map(|short_s| (clip, short_s));
        let clips = here.into_iter().chain(self.short_clips.iter().map(|(clip, s)| (clip.as_path(), *s)));
        let sentence = |(clip, short_s): (&Path, f64)| {
            let name = clip.file_name().unwrap_or(clip.as_os_str()).to_string_lossy();
            if short_s >= MIN_SHORTFALL_S {
                return format!(
                    "{name} ends {short_s:.1} s before the length that the file states: if the copy may be incomplete, copy the file from the recorder's card again"
                );
            }
            let (shorter_or_longer, cause) = if short_s > 0.0 {
                ("shorter", "frames are missing")
            } else {
                ("longer", "frames are doubled, or the stated length is wrong")
            };
            format!(
                "{name} is {:.2} s {shorter_or_longer} than the file states: {cause}, so times may be wrong by up to that much",
                short_s.abs()
            )
        };
        clips.map(sentence).collect()
    }

    fn about_gaps(&self) -> Vec<String> {
        let gap = |gap: &FrameGap| {
            format!("the recording has no frames between {:.2} s and {:.2} s", gap.from_s, gap.to_s)
        };
        let more = self.gaps.len().saturating_sub(MAX_GAPS_NAMED);
        let rest = counted(u64::try_from(more).unwrap_or(u64::MAX), "further gap", "further gaps")
            .map(|further_gaps| format!("the recording has {further_gaps} without frames"));
        self.gaps.iter().take(MAX_GAPS_NAMED).map(gap).chain(rest).collect()
    }

    fn about_frames(&self) -> Vec<String> {
        let interlaced = counted(self.frames_interlaced, "frame is", "frames are").map(|frames| {
            format!(
                "{frames} interlaced: alternate lines were recorded at two different times, so one frame may show two values of a changing number, mixed"
            )
        });
        let rotated = self.rotation_degrees.map(|degrees| {
            format!("the file asks players to rotate the video clockwise by {degrees} degrees; the video is read without that rotation")
        });
        [interlaced, rotated].into_iter().flatten().collect()
    }
}

/// Maximum number of gaps that are named one by one; further gaps are only counted. Set by judgement.
const MAX_GAPS_NAMED: usize = 3;

/// The count followed by its noun: `one` in the singular, `many` in the plural; `None` for 0.
fn counted(count: u64, one: &str, many: &str) -> Option<String> {
    match count {
        0 => None,
        1 => Some(format!("1 {one}")),
        _ => Some(format!("{count} {many}")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clean_clip_has_no_sentences() {
        assert_eq!(ClipNotes::default().sentences(Path::new("a.avi")), Vec::<String>::new());
    }

    #[test]
    fn a_missing_or_doubled_frame_may_shift_times() {
        let said = |short_by_s| ClipNotes { short_by_s: Some(short_by_s), ..ClipNotes::default() };
        assert_eq!(
            said(0.1).sentences(Path::new("card/a.avi")),
            [
                "a.avi is 0.10 s shorter than the file states: frames are missing, so times may be wrong by up to that much"
            ]
        );
        assert_eq!(
            said(-0.04).sentences(Path::new("a.avi")),
            [
                "a.avi is 0.04 s longer than the file states: frames are doubled, or the stated length is wrong, so times may be wrong by up to that much"
            ]
        );
    }

    #[test]
    fn every_note_has_a_sentence() {
        let gaps = (0..5).map(f64::from).map(|at| FrameGap { from_s: at, to_s: at + 0.7 }).collect();
        let notes = ClipNotes {
            time_basis: TimeBasis::ContainerRate { rate_hz: 30000.0 / 1001.0 },
            frames_damaged: 1,
            packets_lost: 2,
            frames_missing: 4,
            frames_of_other_size: 3,
            other_size_at_s: Some(1.5),
            timestamps_repaired: 1,
            timestamps_restarted: 2,
            gaps,
            frames_interlaced: 9,
            rotation_degrees: Some(180),
            stopped_early: Some("Input/output error".into()),
            short_by_s: Some(12.34),
            ..ClipNotes::default()
        };
        assert_eq!(
            notes.sentences(Path::new("card/a.avi")),
            [
                "the timestamps are unusable: times are computed from the frame rate that the file states, 29.970 frames per second",
                "1 timestamp was missing or out of order; times between those of the neighbouring frames are used instead",
                "within the clip, the timestamps start again 2 times; how much time is missing there is unknown",
                "1 frame is damaged",
                "2 pieces of the video could not be decoded",
                "4 frames are missing: the timestamps leave gaps",
                "3 frames are skipped from 1.50 s on: the frame size differs from that of the first frame",
                "reading stopped before the end of the clip: Input/output error",
                "a.avi ends 12.3 s before the length that the file states: if the copy may be incomplete, copy the file from the recorder's card again",
                "the recording has no frames between 0.00 s and 0.70 s",
                "the recording has no frames between 1.00 s and 1.70 s",
                "the recording has no frames between 2.00 s and 2.70 s",
                "the recording has 2 further gaps without frames",
                "9 frames are interlaced: alternate lines were recorded at two different times, so one frame may show two values of a changing number, mixed",
                "the file asks players to rotate the video clockwise by 180 degrees; the video is read without that rotation",
            ]
        );
    }
}
