//! A clip read through libavformat and libavcodec.

use std::mem;
use std::ops::ControlFlow;
use std::path::Path;

use ffmpeg_next::format::Pixel;

use super::decode::{Decode, Picture};
use super::error::FootageError;
use super::luma;
use super::notes::{ClipNotes, TimeBasis};
use super::open::{LARGEST_SIDE, Stated};
use super::pictures::Recipe;
use super::placing::{At, Placing, Seen};
use super::recorded::Recorded;
use super::timeline::{self, Timeline};
use super::{ClipInfo, FrameOutput, FrameSource, LumaFrame, LumaPlane, Start, sought_end_s, spread_evenly};
use crate::geometry::PixelRect;

/// Frames a second taken for granted when neither stamps nor the container tell.
const ASSUMED_RATE_HZ: f64 = 25.0;
/// Relative difference between the stated rate and that of the first stamps from which on the latter counts.
const RATE_TOLERANCE: f64 = 0.02;
/// A target this close ahead is reached by reading on rather than by a seek, in seconds, when the container
/// does not tell where its key frames are.
const READ_ON_S: f64 = 2.0;
/// How far before the target seeks start, in seconds: where the first lands behind it, the next goes further.
const STEPS_BACK_S: [f64; 4] = [0.0, 2.0, 10.0, 60.0];
/// A clip of any container and codec libav knows.
pub struct Clip {
    info: ClipInfo,
    recorded: Recorded,
    pub(super) placing: Placing,
    /// As it was before the first frame.
    fresh: Timeline,
    decode: Decode,
    current: Picture,
    ahead: Picture,
    has_ahead: bool,
    held: bool,
    /// The frames were passed without these pictures.
    passed: bool,
    /// Where the short way through motion JPEG was seen to give what the long one gives.
    pub(super) plain: Vec<PixelRect>,
    buffer: Vec<u8>,
}

impl Clip {
    /// Opens the clip at `path` and decodes its first frame.
    ///
    /// # Errors
    /// If the file is not there, is no video, has no decoder here, or none of its frames can be decoded.
    pub fn open(path: &Path) -> Result<Self, FootageError> {
        let (mut decode, stated) = Decode::open(path)?;
        let timeline = begin_timeline(&decode, &stated);
        let rate_hz = usual_rate_hz(&decode, &stated);
        let mut ahead = Picture::empty();
        let has_packets = !decode.stamps_ahead().is_empty();
        if !decode.next(&mut ahead) {
            return Err(match decode.nothing_decoded() {
                FootageError::Damaged { path, .. } if !has_packets => FootageError::NoFrame { path },
                other => other,
            });
        }
        let (width, height) = checked_size(path, &ahead)?;
        let notes = ClipNotes {
            time_basis: timeline.basis(),
            levels: stated.levels,
            rotation_degrees: stated.rotation_degrees,
            ..ClipNotes::default()
        };
        let info = ClipInfo {
            path: path.into(),
            container: stated.container,
            codec: stated.codec,
            intra_only: stated.intra_only,
            width,
            height,
            nominal_rate_hz: stated.rate_hz,
            stated_length_s: stated.length_s,
        };
        let mut clip = Self {
            info,
            recorded: stated.recorded,
            placing: Placing::new(timeline.clone(), rate_hz, notes),
            fresh: timeline,
            decode,
            current: Picture::empty(),
            ahead,
            has_ahead: true,
            held: false,
            passed: false,
            plain: Vec::new(),
            buffer: Vec::new(),
        };
        clip.luma_of_ahead_is_understood()?;
        Ok(clip)
    }

    fn luma_of_ahead_is_understood(&mut self) -> Result<(), FootageError> {
        let (width, height) = (self.info.width as usize, self.info.height as usize);
        match luma::of_frame(&self.ahead.frame, width, height, &mut self.buffer) {
            Some(_) => Ok(()),
            None => Err(unknown_pixels(&self.info, self.ahead.frame.format())),
        }
    }

    /// When the clip was recorded.
    pub(super) fn recorded(&self) -> &Recorded {
        &self.recorded
    }

    /// One typical interval after the last frame handed out, in seconds since the first.
    pub(super) fn end_s(&self) -> f64 {
        self.placing.end_s()
    }

    /// The number after that of the last frame handed out.
    pub(super) fn frames_so_far(&self) -> u64 {
        self.placing.at.map_or(0, |at| at.index + 1)
    }

    /// Makes the frame due next the current one. `false` after the last.
    pub(super) fn step(&mut self) -> bool {
        mem::take(&mut self.held) || self.advance()
    }

    /// Goes one picture on. `false` after the last, which then stays the current one.
    fn advance(&mut self) -> bool {
        if !self.has_ahead {
            return false;
        }
        mem::swap(&mut self.current, &mut self.ahead);
        self.fetch();
        let next = self.ahead.stamp.filter(|_| self.has_ahead);
        let Picture { stamp, damaged, ref frame } = self.current;
        self.placing.place(Seen { stamp, damaged, interlaced: frame.is_interlaced() }, next);
        self.placing.notes.packets_lost = self.decode.lost;
        if !self.has_ahead {
            self.placing.finish(self.decode.stopped(), self.info.stated_length_s);
        }
        true
    }

    /// Decodes the next picture of the right size into `ahead`.
    fn fetch(&mut self) {
        loop {
            self.has_ahead = self.decode.next(&mut self.ahead);
            let size = (self.ahead.frame.width(), self.ahead.frame.height());
            if !self.has_ahead || size == (self.info.width, self.info.height) {
                return;
            }
            self.placing.pass_over(self.ahead.stamp);
        }
    }

    /// The current frame.
    pub(super) fn view(&mut self) -> Result<Option<LumaFrame<'_>>, FootageError> {
        let Some(At { index, time_s }) = self.placing.at else { return Ok(None) };
        let damaged = self.current.damaged;
        let (width, height) = (self.info.width as usize, self.info.height as usize);
        match luma::of_frame(&self.current.frame, width, height, &mut self.buffer) {
            Some(luma) => Ok(Some(LumaFrame { index, time_s, damaged, luma })),
            None => Err(unknown_pixels(&self.info, self.current.frame.format())),
        }
    }

    /// Reads on until the current picture is the one nearest to `time_s`, and holds it.
    fn read_on_to(&mut self, time_s: f64) {
        self.held = self.placing.at.is_some() || self.advance();
        while self.has_ahead && self.placing.at.is_some_and(|at| self.next_is_nearer(at.time_s, time_s)) {
            self.advance();
        }
    }

    fn next_is_nearer(&self, current_s: f64, target_s: f64) -> bool {
        let next_s = self.ahead.stamp.and_then(|stamp| self.placing.timeline.time_of(stamp));
        let next_s = next_s.filter(|next_s| *next_s > current_s);
        let next_s = next_s.unwrap_or_else(|| current_s + self.placing.timeline.typical_s());
        target_s - current_s > next_s - target_s
    }

    /// Whether `time_s` lies ahead and no key frame between here and there would save decoding.
    fn reading_on_is_best(&mut self, time_s: f64) -> bool {
        let Some(At { time_s: here_s, .. }) = self.placing.at else { return false };
        let Some(stamp) = self.placing.timeline.stamp_at(time_s) else { return time_s >= here_s };
        let key_s = self.decode.key_stamp_before(stamp).and_then(|key| self.placing.timeline.time_of(key));
        time_s >= here_s && key_s.map_or(time_s - here_s < READ_ON_S, |key_s| key_s <= here_s)
    }

    /// Tries to land on a picture at or before `time_s` by the container's own seek.
    fn jump_before(&mut self, time_s: f64) -> bool {
        if self.placing.notes.stamps_restarted > 0 {
            return false;
        }
        let time_s = time_s.min(self.info.stated_length_s.unwrap_or(time_s));
        for back_s in STEPS_BACK_S {
            let start_s = time_s - back_s;
            let Some(stamp) = self.placing.timeline.stamp_at(start_s) else { return false };
            if start_s <= 0.0 || !self.decode.seek(stamp) {
                return false;
            }
            self.forget_place();
            self.placing.from_start = false;
            self.fetch();
            let landed_s = self.ahead.stamp.and_then(|stamp| self.placing.timeline.time_of(stamp));
            if self.has_ahead && landed_s.is_some_and(|landed_s| landed_s <= time_s) {
                return true;
            }
        }
        false
    }

    /// Opens the file again at its first frame.
    fn rewind(&mut self) -> Result<(), FootageError> {
        (self.decode, _) = Decode::open(&self.info.path)?;
        self.stand_before_the_first();
        self.fetch();
        if self.has_ahead { Ok(()) } else { Err(self.decode.nothing_decoded()) }
    }

    /// How its decoder is opened.
    pub(super) fn recipe(&self) -> &Recipe {
        self.decode.recipe()
    }

    /// Forgets all frames placed.
    pub(super) fn stand_before_the_first(&mut self) {
        self.placing.timeline = self.fresh.clone();
        self.forget_place();
        self.placing.from_start = true;
    }

    /// Goes to the end and closes the file, all frames being placed without decoding them here.
    pub(super) fn stand_behind_the_last(&mut self) {
        self.decode.close();
        self.has_ahead = false;
        self.held = false;
        self.passed = true;
    }

    /// Whether the time of a picture is known by its stamp alone.
    pub(super) fn stamps_tell_the_time(&self) -> bool {
        self.placing.notes.stamps_restarted == 0 && self.placing.timeline.basis() == TimeBasis::Stamps
    }

    /// The stamp of a time in seconds; `None` without stamps to go by.
    pub(super) fn stamp_at(&mut self, time_s: f64) -> Option<i64> {
        self.place_origin();
        self.placing.timeline.stamp_at(time_s)
    }

    /// Number and time of the frame with a stamp; see [`LumaFrame::index`].
    pub(super) fn place_of(&mut self, stamp: i64) -> Option<(u64, f64)> {
        self.place_origin();
        let time_s = self.placing.timeline.time_of(stamp)?;
        Some((self.placing.index_near(time_s), time_s))
    }

    /// The origin of the clip's time is its first frame, so that one must be placed first.
    fn place_origin(&mut self) {
        if self.placing.at.is_none() && self.placing.from_start && self.placing.timeline.is_fresh() {
            self.held = self.advance();
        }
    }

    fn forget_place(&mut self) {
        self.held = false;
        self.placing.forget();
    }
}

impl FrameSource for Clip {
    fn info(&self) -> &ClipInfo {
        &self.info
    }

    fn next_frame(&mut self) -> Result<Option<LumaFrame<'_>>, FootageError> {
        if self.step() { self.view() } else { Ok(None) }
    }

    fn seek(&mut self, time_s: f64) -> Result<(), FootageError> {
        let time_s = if time_s.is_nan() { 0.0 } else { time_s };
        if mem::take(&mut self.passed) {
            self.rewind()?;
        }
        self.place_origin();
        if !self.reading_on_is_best(time_s) && !self.jump_before(time_s) {
            self.rewind()?;
        }
        self.read_on_to(time_s);
        Ok(())
    }

    fn process_all<'a, T: Send>(
        &mut self,
        areas: &[PixelRect],
        start: &'a Start<'a, T>,
        take: &mut dyn FnMut(FrameOutput<T>) -> ControlFlow<()>,
    ) -> Result<(), FootageError> {
        self.pass(areas, start, take).map(drop)
    }

    fn process_some<T: Send>(
        &mut self,
        count: usize,
        areas: &[PixelRect],
        work: &(dyn Fn(LumaPlane<'_>) -> T + Sync),
    ) -> Result<Vec<FrameOutput<T>>, FootageError> {
        match self.glances(count, areas, work)? {
            Some(some) => Ok(some),
            None => spread_evenly(self, count, areas, work),
        }
    }

    fn process_at<T: Send>(
        &mut self,
        times_s: &[f64],
        areas: &[PixelRect],
        work: &(dyn Fn(LumaPlane<'_>) -> T + Sync),
    ) -> Result<Vec<FrameOutput<T>>, FootageError> {
        self.decode_at(times_s, areas, work)
    }

    fn last_time_s(&mut self) -> Result<f64, FootageError> {
        match self.last_packet_s() {
            Some(time_s) => Ok(time_s),
            None => sought_end_s(self),
        }
    }

    fn notes(&self) -> &ClipNotes {
        &self.placing.notes
    }
}

fn begin_timeline(decode: &Decode, stated: &Stated) -> Timeline {
    let usable = stated.tick_s > 0.0 && timeline::are_usable(&decode.stamps_ahead());
    let basis = match stated.rate_hz {
        _ if usable => TimeBasis::Stamps,
        Some(rate_hz) => TimeBasis::ContainerRate { rate_hz },
        None => TimeBasis::AssumedRate { rate_hz: ASSUMED_RATE_HZ },
    };
    let rate_hz =
        if usable { usual_rate_hz(decode, stated) } else { stated.rate_hz.unwrap_or(ASSUMED_RATE_HZ) };
    Timeline::new(basis, stated.tick_s, 1.0 / rate_hz)
}

/// The stated rate, which is the more precise, unless the first stamps contradict it.
fn usual_rate_hz(decode: &Decode, stated: &Stated) -> f64 {
    let counted_hz = timeline::mean_rate_hz(&decode.stamps_ahead(), stated.tick_s);
    match (stated.rate_hz, counted_hz) {
        (Some(stated_hz), Some(counted_hz)) if (stated_hz / counted_hz - 1.0).abs() > RATE_TOLERANCE => {
            counted_hz
        }
        (stated_hz, counted_hz) => stated_hz.or(counted_hz).unwrap_or(ASSUMED_RATE_HZ),
    }
}

fn checked_size(path: &Path, picture: &Picture) -> Result<(u32, u32), FootageError> {
    let (width, height) = (picture.frame.width(), picture.frame.height());
    let fits = |side: u32| (1..=LARGEST_SIDE).contains(&side);
    if fits(width) && fits(height) {
        return Ok((width, height));
    }
    Err(FootageError::FrameSize { path: path.into(), width, height, limit: LARGEST_SIDE })
}

pub(super) fn unknown_pixels(info: &ClipInfo, format: Pixel) -> FootageError {
    let described = format.descriptor().map(|descriptor| descriptor.name().to_owned());
    FootageError::PixelFormat { path: info.path.clone(), format: described.unwrap_or_else(|| "none".into()) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clip_can_be_read_on_another_thread() {
        fn can_be_sent<T: Send>() {}
        can_be_sent::<Clip>();
    }
}
