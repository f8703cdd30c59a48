//! What was met while reading a clip, as values and in words.

use std::path::{Path, PathBuf};

/// Where the times of a clip's frames come from.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum TimeBasis {
    /// The time stamps the recorder wrote.
    #[default]
    Stamps,
    /// The number of the frame divided by the average rate the container states, since its stamps are
    /// unusable: absent, all alike, or in no order.
    ContainerRate {
        /// Frames a second.
        rate_hz: f64,
    },
    /// The number of the frame divided by an assumed rate: the container states none, and its stamps are
    /// unusable.
    AssumedRate {
        /// Frames a second.
        rate_hz: f64,
    },
}

/// How the levels of luma are meant. They are handed out as stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum LevelRange {
    /// The clip does not say; for YUV that usually means limited.
    #[default]
    Unstated,
    /// Black is 16, white is 235.
    Limited,
    /// Black is 0, white is 255.
    Full,
}

/// A stretch of time, in seconds since the first frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    /// Its start: the last frame before it.
    pub from_s: f64,
    /// Its end: the first frame after it.
    pub to_s: f64,
}

/// What was met while reading a clip.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ClipNotes {
    /// Where the times come from.
    pub time_basis: TimeBasis,
    /// How luma levels are meant.
    pub levels: LevelRange,
    /// Frames handed out although the decoder reported errors in them or in what they build on.
    pub frames_damaged: u64,
    /// Packets of the video, or pictures, that could not be decoded at all.
    pub packets_lost: u64,
    /// Frames that the time stamps of a steady clip pass over: dropped by the recorder, or lost.
    pub frames_missing: u64,
    /// Frames skipped since their size differs from the first one's.
    pub frames_of_other_size: u64,
    /// Time of the first frame skipped for its size.
    pub other_size_at_s: Option<f64>,
    /// Frames whose time stamp was missing, repeated or out of order and was set between its neighbours'.
    pub stamps_repaired: u64,
    /// Places where the stamps started anew and were joined on: the time lost there is not known.
    pub stamps_restarted: u64,
    /// Stretches without a frame, at most the first hundred.
    pub gaps: Vec<Stretch>,
    /// Interlaced frames: two moments on alternate lines.
    pub frames_interlaced: u64,
    /// Clockwise rotation a player would apply, in degrees from 1 to 359; it is not applied here.
    pub rotation_degrees: Option<i32>,
    /// Reading stopped before the end of the file: why, in the words of the system or the library.
    pub stopped_early: Option<String>,
    /// The clip ends this long before the length its container states, in seconds.
    pub short_by_s: Option<f64>,
    /// In the notes of several clips: those that end early, and by how many seconds.
    pub short_clips: Vec<(PathBuf, f64)>,
}

impl ClipNotes {
    /// The notes in words, a sentence each; none if all went well. `clip` is the file they are about.
    pub fn sentences(&self, clip: &Path) -> Vec<String> {
        let mut said = Vec::new();
        said.extend(self.about_times());
        said.extend(self.about_damage());
        said.extend(self.about_ends(clip));
        said.extend(self.about_gaps());
        said.extend(self.about_pictures());
        said
    }

    /// Adds the notes of a further clip, the file `clip`, whose first frame stands at `shift_s` on the clock
    /// of these.
    pub(super) fn add(&mut self, other: &Self, clip: &Path, shift_s: f64) {
        let shifted = |gap: &Stretch| Stretch { from_s: gap.from_s + shift_s, to_s: gap.to_s + shift_s };
        if self.time_basis == TimeBasis::Stamps {
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
        self.stamps_repaired += other.stamps_repaired;
        self.stamps_restarted += other.stamps_restarted;
        self.gaps.extend(other.gaps.iter().map(shifted));
        self.frames_interlaced += other.frames_interlaced;
        self.rotation_degrees = self.rotation_degrees.or(other.rotation_degrees);
        self.stopped_early = self.stopped_early.take().or_else(|| other.stopped_early.clone());
        self.short_clips.extend(other.short_by_s.map(|short_s| (clip.to_owned(), short_s)));
    }

    fn about_times(&self) -> Vec<String> {
        let basis = match self.time_basis {
            TimeBasis::Stamps => None,
            TimeBasis::ContainerRate { rate_hz } => Some(format!(
                "the time stamps are unusable: times are counted from the {rate_hz:.3} frames a second the file states"
            )),
            TimeBasis::AssumedRate { rate_hz } => Some(format!(
                "there are no usable time stamps and no stated frame rate: times assume {rate_hz:.0} frames a second"
            )),
        };
        let repaired = counted(self.stamps_repaired, "time stamp was", "time stamps were")
            .map(|what| format!("{what} missing or out of order and set between the neighbours"));
        let restarted = counted(self.stamps_restarted, "time", "times")
            .map(|what| format!("the time stamps start anew {what}; the time lost there is not known"));
        [basis, repaired, restarted].into_iter().flatten().collect()
    }

    fn about_damage(&self) -> Vec<String> {
        let damaged =
            counted(self.frames_damaged, "frame is", "frames are").map(|what| format!("{what} damaged"));
        let lost = counted(self.packets_lost, "piece of the video", "pieces of the video")
            .map(|what| format!("{what} could not be decoded"));
        let missing = counted(self.frames_missing, "frame is", "frames are")
            .map(|what| format!("{what} missing: the time stamps pass over them"));
        let sizes = counted(self.frames_of_other_size, "frame", "frames").map(|what| {
            let from = self.other_size_at_s.map_or(String::new(), |at| format!(", from {at:.2} s on,"));
            format!("{what}{from} of another size skipped")
        });
        let stopped = self.stopped_early.as_ref().map(|why| format!("reading stopped early: {why}"));
        [damaged, lost, missing, sizes, stopped].into_iter().flatten().collect()
    }

    fn about_ends(&self, clip: &Path) -> Vec<String> {
        let here = self.short_by_s.map(|short_s| (clip, short_s));
        let clips = here.into_iter().chain(self.short_clips.iter().map(|(clip, s)| (clip.as_path(), *s)));
        let said = |(clip, short_s): (&Path, f64)| {
            let name = clip.file_name().unwrap_or(clip.as_os_str()).to_string_lossy();
            format!("{name} ends {short_s:.1} s before the length the file states")
        };
        clips.map(said).collect()
    }

    fn about_gaps(&self) -> Vec<String> {
        let gap =
            |gap: &Stretch| format!("there is no frame between {:.2} s and {:.2} s", gap.from_s, gap.to_s);
        let more = self.gaps.len().saturating_sub(MAX_GAPS_SAID);
        let rest = counted(u64::try_from(more).unwrap_or(u64::MAX), "further gap", "further gaps")
            .map(|what| format!("there are {what} without frames"));
        self.gaps.iter().take(MAX_GAPS_SAID).map(gap).chain(rest).collect()
    }

    fn about_pictures(&self) -> Vec<String> {
        let interlaced = counted(self.frames_interlaced, "frame is", "frames are").map(|what| {
            format!(
                "{what} interlaced: two moments on alternate lines, so a changing numeral may look double"
            )
        });
        let rotated = self.rotation_degrees.map(|degrees| {
            format!("the file asks players to turn the picture clockwise by {degrees} degrees; it is read as recorded")
        });
        [interlaced, rotated].into_iter().flatten().collect()
    }
}

/// Gaps named one by one; the rest is counted.
const MAX_GAPS_SAID: usize = 3;

/// `count` with the word that fits; `None` for 0.
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
    fn a_clean_clip_has_nothing_to_say() {
        assert_eq!(ClipNotes::default().sentences(Path::new("a.avi")), Vec::<String>::new());
    }

    #[test]
    fn every_note_is_put_in_words() {
        let gaps = (0..5).map(f64::from).map(|at| Stretch { from_s: at, to_s: at + 0.7 }).collect();
        let notes = ClipNotes {
            time_basis: TimeBasis::ContainerRate { rate_hz: 30000.0 / 1001.0 },
            frames_damaged: 1,
            packets_lost: 2,
            frames_missing: 4,
            frames_of_other_size: 3,
            other_size_at_s: Some(1.5),
            stamps_repaired: 1,
            stamps_restarted: 2,
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
                "the time stamps are unusable: times are counted from the 29.970 frames a second the file states",
                "1 time stamp was missing or out of order and set between the neighbours",
                "the time stamps start anew 2 times; the time lost there is not known",
                "1 frame is damaged",
                "2 pieces of the video could not be decoded",
                "4 frames are missing: the time stamps pass over them",
                "3 frames, from 1.50 s on, of another size skipped",
                "reading stopped early: Input/output error",
                "a.avi ends 12.3 s before the length the file states",
                "there is no frame between 0.00 s and 0.70 s",
                "there is no frame between 1.00 s and 1.70 s",
                "there is no frame between 2.00 s and 2.70 s",
                "there are 2 further gaps without frames",
                "9 frames are interlaced: two moments on alternate lines, so a changing numeral may look double",
                "the file asks players to turn the picture clockwise by 180 degrees; it is read as recorded",
            ]
        );
    }
}
