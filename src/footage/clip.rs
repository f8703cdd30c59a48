//! A clip, read through libavformat and libavcodec.

use std::mem;
use std::ops::ControlFlow;
use std::path::Path;

use ffmpeg_next::format::Pixel;
use image::RgbImage;

use super::colour;
use super::decoder::DecoderConfig;
use super::error::FootageError;
use super::frame_timing::{FramePosition, FrameStatus, FrameTiming};
use super::luma;
use super::notes::{ClipNotes, TimeBasis};
use super::open::{StreamInfo, check_size};
use super::recording_time::RecordingTime;
use super::sequential::{DecodedFrame, SequentialDecoder};
use super::timeline::{self, Timeline};
use super::{
    ClipInfo, FrameOutput, FrameSource, LumaFrame, LumaPlane, TaskFactory, last_time_by_seek_s,
    process_evenly_spread,
};
use crate::geometry::PixelRect;
use crate::linux::release_freed_memory;

/// Frame rate that is assumed if neither timestamps nor the container state one, in frames per second. Common
/// practice, no source.
const DEFAULT_RATE_HZ: f64 = 25.0;
/// Maximum relative difference between the stated frame rate and the rate computed from the first timestamps.
/// If the difference is larger, the computed rate is used. Set by judgement.
const MAX_RATE_DIFFERENCE: f64 = 0.02;
/// If the wanted frame is at most this many seconds after the current one, all frames in between are decoded;
/// otherwise the decoder seeks. Used if the container has no index of key frames. Set by judgement.
const MAX_DECODE_AHEAD_S: f64 = 2.0;
/// Distance before the wanted time at which a seek starts, in seconds. If the first seek ends after the
/// wanted time, the next one starts earlier. Set by judgement.
const SEEK_MARGINS_S: [f64; 4] = [0.0, 2.0, 10.0, 60.0];

/// One recorded file, in any container and codec that libav supports.
pub struct Clip {
    info: ClipInfo,
    recording_time: RecordingTime,
    pub(super) timing: FrameTiming,
    /// A copy of the timeline as it was before the first frame was read, used to start again at the first frame.
    initial_timeline: Timeline,
    decoder: SequentialDecoder,
    current: DecodedFrame,
    /// The frame after `current`, decoded in advance.
    next: DecodedFrame,
    has_next: bool,
    /// Whether the current frame has not been returned yet, so that it is returned next.
    current_is_due: bool,
    /// Areas for which the region decoder was found to give the same pixels as the general decoder.
    pub(super) verified_areas: Vec<PixelRect>,
    buffer: Vec<u8>,
}

impl Clip {
    /// Opens the clip at `path` and decodes its first frame.
    ///
    /// # Errors
    ///
    /// [`FootageError`] if the file does not exist, is not a video, has a codec without a decoder, or has no
    /// frame that can be decoded.
    pub fn open(path: &Path) -> Result<Self, FootageError> {
        let (mut decoder, stream) = SequentialDecoder::open(path)?;
        let timeline = initial_timeline(&decoder, &stream);
        let rate_hz = usual_rate_hz(&decoder, &stream);
        let mut next = DecodedFrame::empty();
        let has_packets = !decoder.timestamps_ahead().is_empty();
        if !decoder.next_of_checked_size(&mut next) {
            return Err(match decoder.nothing_decoded() {
                FootageError::Damaged { path, .. } if !has_packets => FootageError::NoFrame { path },
                other => other,
            });
        }
        let (width, height) = checked_size(path, &next)?;
        let notes = ClipNotes {
            time_basis: timeline.basis(),
            levels: stream.levels,
            rotation_degrees: stream.rotation_degrees,
            ..ClipNotes::default()
        };
        let info = ClipInfo {
            path: path.into(),
            container: stream.container,
            codec: stream.codec,
            intra_only: stream.intra_only,
            width,
            height,
            nominal_rate_hz: stream.rate_hz,
            stated_length_s: stream.length_s,
        };
        let mut clip = Self {
            info,
            recording_time: stream.recording_time,
            timing: FrameTiming::new(timeline.clone(), rate_hz, notes),
            initial_timeline: timeline,
            decoder,
            current: DecodedFrame::empty(),
            next,
            has_next: true,
            current_is_due: false,
            verified_areas: Vec::new(),
            buffer: Vec::new(),
        };
        clip.check_pixel_format()?;
        Ok(clip)
    }

    /// Returns an error if the luma of the first frame's pixel format cannot be read.
    fn check_pixel_format(&mut self) -> Result<(), FootageError> {
        let (width, height) = (self.info.width as usize, self.info.height as usize);
        match luma::of_frame(&self.next.frame, width, height, &mut self.buffer) {
            Some(_) => Ok(()),
            None => Err(unknown_pixels(&self.info, self.next.frame.format())),
        }
    }

    /// The frame that was returned last, in colour for display; `None` if no frame was returned yet, or if its pixel
    /// format is not supported.
    #[must_use]
    pub fn colour_image(&self) -> Option<RgbImage> {
        let (width, height) = (self.info.width as usize, self.info.height as usize);
        self.timing.last?;
        colour::of_frame(&self.current.frame, width, height)
    }

    /// The time at which the recording of the clip started.
    pub(super) fn recording_time(&self) -> &RecordingTime {
        &self.recording_time
    }

    /// The end of the last frame returned, in seconds since the clip's first frame.
    pub(super) fn end_s(&self) -> f64 {
        self.timing.end_s()
    }

    /// Records that the last frame was reached. `stopped` is the reason why reading stopped before the end of the
    /// file; `None` if it did not.
    pub(super) fn finish_timing(&mut self, stopped: Option<String>) {
        self.timing.finish(stopped, &self.info);
    }

    /// The index of the last frame returned, plus one.
    pub(super) fn frames_so_far(&self) -> u64 {
        self.timing.last.map_or(0, |last| last.index + 1)
    }

    /// Moves to the frame to be returned next. Returns `false` after the last frame.
    pub(super) fn step(&mut self) -> Result<bool, FootageError> {
        let has_frame = mem::take(&mut self.current_is_due) || self.advance();
        if !has_frame {
            self.decoder.config().check_memory()?;
        }
        Ok(has_frame)
    }

    /// Moves to the next frame. Returns `false` at the last frame, which then stays the current one.
    fn advance(&mut self) -> bool {
        if !self.has_next {
            return false;
        }
        mem::swap(&mut self.current, &mut self.next);
        self.decode_next();
        let next = self.next.timestamp.filter(|_| self.has_next);
        let DecodedFrame { timestamp, damaged, ref frame } = self.current;
        self.timing.advance(FrameStatus { timestamp, damaged, interlaced: frame.is_interlaced() }, next);
        self.timing.notes.packets_lost = self.decoder.lost;
        if !self.has_next {
            self.timing.finish(self.decoder.stopped(), &self.info);
        }
        true
    }

    /// Decodes frames until one has the frame size of the clip, and stores it in `next`; `has_next` becomes false at
    /// the end of the clip.
    fn decode_next(&mut self) {
        loop {
            self.has_next = self.decoder.next(&mut self.next);
            let size = (self.next.frame.width(), self.next.frame.height());
            if !self.has_next || size == (self.info.width, self.info.height) {
                return;
            }
            self.timing.skip_other_size(self.next.timestamp);
        }
    }

    /// The current frame as luma; `None` if there is none. Returns an error if its pixel format is not supported.
    pub(super) fn view(&mut self) -> Result<Option<LumaFrame<'_>>, FootageError> {
        let Some(FramePosition { index, time_s }) = self.timing.last else { return Ok(None) };
        let damaged = self.current.damaged;
        let (width, height) = (self.info.width as usize, self.info.height as usize);
        match luma::of_frame(&self.current.frame, width, height, &mut self.buffer) {
            Some(luma) => Ok(Some(LumaFrame { index, time_s, damaged, luma })),
            None => Err(unknown_pixels(&self.info, self.current.frame.format())),
        }
    }

    /// Decodes frames until the current one is the nearest to `time_s` (in seconds), and marks it as the next one to
    /// be returned.
    fn decode_up_to(&mut self, time_s: f64) {
        self.current_is_due = self.timing.last.is_some() || self.advance();
        while self.has_next && self.timing.last.is_some_and(|last| self.next_is_nearer(last.time_s, time_s)) {
            self.advance();
        }
    }

    fn next_is_nearer(&self, current_s: f64, target_s: f64) -> bool {
        let next_s = self.next.timestamp.and_then(|timestamp| self.timing.timeline.time_of(timestamp));
        let next_s = next_s.filter(|next_s| *next_s > current_s);
        let next_s = next_s.unwrap_or_else(|| current_s + self.timing.timeline.typical_interval_s());
        target_s - current_s > next_s - target_s
    }

    /// Whether decoding should continue to `time_s` (in seconds) instead of seeking: the time is not before the
    /// current frame, and no key frame lies in between from which decoding would be faster.
    fn should_decode_on(&mut self, time_s: f64) -> bool {
        let Some(FramePosition { time_s: current_s, .. }) = self.timing.last else { return false };
        let Some(timestamp) = self.timing.timeline.timestamp_at(time_s) else { return time_s >= current_s };
        let key = self.decoder.key_timestamp_before(timestamp);
        let key_s = key.and_then(|key| self.timing.timeline.time_of(key));
        let is_near = key_s.map_or(time_s - current_s < MAX_DECODE_AHEAD_S, |key_s| key_s <= current_s);
        time_s >= current_s && is_near
    }

    /// Seeks to a frame at or before `time_s` (in seconds) with the container's index. Returns whether that succeeded.
    fn seek_before(&mut self, time_s: f64) -> bool {
        if self.timing.notes.timestamps_restarted > 0 {
            return false;
        }
        let time_s = time_s.min(self.info.stated_length_s.unwrap_or(time_s));
        for margin_s in SEEK_MARGINS_S {
            let start_s = time_s - margin_s;
            let Some(timestamp) = self.timing.timeline.timestamp_at(start_s) else { return false };
            if start_s <= 0.0 || !self.decoder.seek(timestamp) {
                return false;
            }
            self.forget_position();
            self.timing.from_start = false;
            self.decode_next();
            let found_s = self.next.timestamp.and_then(|timestamp| self.timing.timeline.time_of(timestamp));
            if self.has_next && found_s.is_some_and(|found_s| found_s <= time_s) {
                return true;
            }
        }
        false
    }

    /// Opens the file again at its first frame.
    fn rewind(&mut self) -> Result<(), FootageError> {
        self.close();
        (self.decoder, _) = SequentialDecoder::open(&self.info.path)?;
        self.reset_to_start();
        self.decode_next();
        if self.has_next { Ok(()) } else { Err(self.decoder.nothing_decoded()) }
    }

    /// The settings with which the clip's decoder is opened.
    pub(super) fn decoder_config(&self) -> &DecoderConfig {
        self.decoder.config()
    }

    /// Discards the positions of all frames, so that the clip's first frame comes next.
    pub(super) fn reset_to_start(&mut self) {
        self.timing.timeline = self.initial_timeline.clone();
        self.forget_position();
        self.timing.from_start = true;
    }

    /// Closes the file as if its last frame had been read, and frees the memory of its frames. The next seek opens it again.
    pub fn close(&mut self) {
        self.decoder.close();
        (self.current, self.next) = (DecodedFrame::empty(), DecodedFrame::empty());
        self.has_next = false;
        self.current_is_due = false;
        release_freed_memory();
    }

    /// Reserves memory for frames that the caller keeps, in bytes: fewer decoders run at the same time if their frames are
    /// large. The last call counts.
    pub fn reserve_memory(&self, bytes: usize) {
        self.decoder.config().pictures.reserve(bytes);
    }

    /// Number of decoders for which there is memory beside the clip's own.
    pub(super) fn further_decoders(&self) -> usize {
        self.decoder.config().pictures.further_decoders(self.decoder.references())
    }

    /// Whether the time of a frame can be computed from its timestamp alone.
    pub(super) fn timestamps_are_times(&self) -> bool {
        self.timing.notes.timestamps_restarted == 0 && self.timing.timeline.basis() == TimeBasis::Timestamps
    }

    /// The timestamp at a time in seconds; `None` if the clip has no usable timestamps.
    pub(super) fn timestamp_at(&mut self, time_s: f64) -> Option<i64> {
        self.set_origin();
        self.timing.timeline.timestamp_at(time_s)
    }

    /// Index and time in seconds of the frame with a timestamp. The index is defined as for
    /// [`LumaFrame::index`]. `None` if the clip has no usable timestamps.
    pub(super) fn position_of(&mut self, timestamp: i64) -> Option<FramePosition> {
        self.set_origin();
        let time_s = self.timing.timeline.time_of(timestamp)?;
        Some(FramePosition { index: self.timing.index_near(time_s), time_s })
    }

    /// Sets the origin of the clip's time: the time of its first frame.
    fn set_origin(&mut self) {
        if self.timing.last.is_none() && self.timing.from_start && self.timing.timeline.is_at_start() {
            self.current_is_due = self.advance();
        }
    }

    fn forget_position(&mut self) {
        self.current_is_due = false;
        self.timing.reset();
    }
}

impl FrameSource for Clip {
    fn info(&self) -> &ClipInfo {
        &self.info
    }

    fn next_frame(&mut self) -> Result<Option<LumaFrame<'_>>, FootageError> {
        if self.step()? { self.view() } else { Ok(None) }
    }

    fn seek(&mut self, time_s: f64) -> Result<(), FootageError> {
        let time_s = if time_s.is_nan() { 0.0 } else { time_s };
        if self.decoder.is_closed() {
            self.rewind()?;
        }
        self.set_origin();
        if !self.should_decode_on(time_s) && !self.seek_before(time_s) {
            self.rewind()?;
        }
        self.decode_up_to(time_s);
        self.decoder.config().check_memory()
    }

    fn process_all<'a, T: Send>(
        &mut self,
        areas: &[PixelRect],
        start: &'a TaskFactory<'a, T>,
        take: &mut dyn FnMut(FrameOutput<T>) -> ControlFlow<()>,
    ) -> Result<(), FootageError> {
        self.process_in_parallel(areas, start, take).map(drop)
    }

    fn process_some<T: Send>(
        &mut self,
        count: usize,
        areas: &[PixelRect],
        work: &(dyn Fn(LumaPlane<'_>) -> T + Sync),
    ) -> Result<Vec<FrameOutput<T>>, FootageError> {
        match self.process_random_access_frames(count, areas, work)? {
            Some(outputs) => Ok(outputs),
            None => process_evenly_spread(self, count, areas, work),
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
            None => last_time_by_seek_s(self),
        }
    }

    fn notes(&self) -> &ClipNotes {
        &self.timing.notes
    }
}

fn initial_timeline(decoder: &SequentialDecoder, stream: &StreamInfo) -> Timeline {
    let usable = stream.tick_s > 0.0 && timeline::are_usable(&decoder.timestamps_ahead());
    let basis = match stream.rate_hz {
        _ if usable => TimeBasis::Timestamps,
        Some(rate_hz) => TimeBasis::ContainerRate { rate_hz },
        None => TimeBasis::AssumedRate { rate_hz: DEFAULT_RATE_HZ },
    };
    let rate_hz =
        if usable { usual_rate_hz(decoder, stream) } else { stream.rate_hz.unwrap_or(DEFAULT_RATE_HZ) };
    Timeline::new(basis, stream.tick_s, 1.0 / rate_hz)
}

/// The usual frame rate in frames per second: the stated rate, which is more precise, unless the first
/// timestamps contradict it.
fn usual_rate_hz(decoder: &SequentialDecoder, stream: &StreamInfo) -> f64 {
    let measured_hz = timeline::mean_rate_hz(&decoder.timestamps_ahead(), stream.tick_s);
    match (stream.rate_hz, measured_hz) {
        (Some(stated_hz), Some(measured_hz))
            if (stated_hz / measured_hz - 1.0).abs() > MAX_RATE_DIFFERENCE =>
        {
            measured_hz
        }
        (stated_hz, measured_hz) => stated_hz.or(measured_hz).unwrap_or(DEFAULT_RATE_HZ),
    }
}

fn checked_size(path: &Path, decoded: &DecodedFrame) -> Result<(u32, u32), FootageError> {
    let (width, height) = (decoded.frame.width(), decoded.frame.height());
    check_size(path, width, height)?;
    Ok((width, height))
}

/// The error for a pixel format whose luma cannot be read.
pub(super) fn unknown_pixels(info: &ClipInfo, format: Pixel) -> FootageError {
    let name = format.descriptor().map(|descriptor| descriptor.name().to_owned());
    FootageError::PixelFormat { path: info.path.clone(), format: name.unwrap_or_else(|| "none".into()) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clip_can_be_sent_to_another_thread() {
        fn can_be_sent<T: Send>() {}
        can_be_sent::<Clip>();
    }
}
