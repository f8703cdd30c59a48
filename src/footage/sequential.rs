//! Decodes the frames of a file in presentation order, one after the other.

use std::path::Path;

use ffmpeg_next::frame::Video;

use super::decoder::{DecoderConfig, DecoderOutput, FrameDecoder};
use super::error::FootageError;
use super::error_propagation::ErrorPropagation;
use super::libav;
use super::open::{StreamInfo, level_range};
use super::packets::Packets;

/// Number of consecutive failures to read a packet after which decoding ends. Set by judgement: no intact video has
/// nearly as many.
const MAX_FAILURES: u32 = 1000;

/// A decoded frame and its status.
pub(super) struct DecodedFrame {
    pub frame: Video,
    /// Timestamp of the frame, in ticks of the stream's time base; `None` if the container states none.
    pub timestamp: Option<i64>,
    /// Whether the decoder reported errors in this frame or in one that it is predicted from.
    pub damaged: bool,
}

impl DecodedFrame {
    pub(super) fn empty() -> Self {
        Self { frame: Video::empty(), timestamp: None, damaged: false }
    }
}

/// The packets of an open file, and their decoder.
struct OpenFile {
    packets: Packets,
    decoder: FrameDecoder,
}

/// Decodes the frames of a file one after the other.
pub(super) struct SequentialDecoder {
    config: DecoderConfig,
    /// `None` once the file is closed.
    open: Option<OpenFile>,
    propagation: ErrorPropagation,
    /// Number of packets or frames that could not be decoded since the start or the last seek.
    pub lost: u64,
    gave_up: bool,
    /// Number of pictures that the decoder kept to predict others from, when it was closed.
    references: usize,
}

impl SequentialDecoder {
    /// Opens `path` at its first video packet.
    pub(super) fn open(path: &Path) -> Result<(Self, StreamInfo), FootageError> {
        let (packets, config, mut info) = Packets::open(path)?;
        let decoder = FrameDecoder::open(config.clone())?;
        info.levels = level_range(decoder.color_range());
        let propagation = ErrorPropagation::new(libav::is_intra_only(config.codec));
        let open = Some(OpenFile { packets, decoder });
        Ok((Self { config, open, propagation, lost: 0, gave_up: false, references: 0 }, info))
    }

    /// The timestamps of the packets read ahead, in file order.
    pub(super) fn timestamps_ahead(&self) -> Vec<Option<i64>> {
        self.open.as_ref().map(|open| open.packets.timestamps_ahead()).unwrap_or_default()
    }

    /// The settings with which the decoder was opened.
    pub(super) fn config(&self) -> &DecoderConfig {
        &self.config
    }

    /// Why reading stopped before the end of the file; `None` if it did not.
    pub(super) fn stopped(&self) -> Option<String> {
        self.read_stopped().or_else(|| {
            self.gave_up.then(|| "too many pieces of the video in a row could not be decoded".into())
        })
    }

    /// Decodes the next frame in presentation order. Returns `false` after the last.
    pub(super) fn next(&mut self, decoded: &mut DecodedFrame) -> bool {
        let mut failures = 0;
        while failures < MAX_FAILURES {
            let Some(open) = &mut self.open else { return false };
            match open.decoder.receive(&mut decoded.frame) {
                DecoderOutput::Frame { errors } => {
                    decoded.timestamp = decoded.frame.timestamp();
                    decoded.damaged = self.propagation.is_damaged(errors, decoded.frame.is_key());
                    return true;
                }
                DecoderOutput::NeedsPackets if self.send_packet() => {}
                DecoderOutput::NeedsPackets | DecoderOutput::End => return false,
                DecoderOutput::Lost => {
                    failures += 1;
                    self.count_lost(1);
                }
            }
        }
        self.gave_up = true;
        false
    }

    /// Decodes the next frame. In a video whose pictures are checked, frames of other than the checked size are
    /// skipped, because their headers are damaged. Returns `false` after the last frame.
    pub(super) fn next_of_checked_size(&mut self, decoded: &mut DecodedFrame) -> bool {
        while self.next(decoded) {
            let size = (decoded.frame.width(), decoded.frame.height());
            if self.config.checked_size.is_none_or(|checked| checked == size) {
                return true;
            }
            self.count_lost(1);
        }
        false
    }

    /// Seeks the key frame at or before `timestamp`. Returns whether the container supports seeking.
    pub(super) fn seek(&mut self, timestamp: i64) -> bool {
        let Some(open) = &mut self.open else { return false };
        if !open.packets.seek(timestamp) {
            return false;
        }
        open.decoder.flush();
        self.propagation.reset();
        self.lost = 0;
        self.gave_up = false;
        true
    }

    /// The timestamp of the key frame at or before `timestamp`; `None` if the container's index has none.
    pub(super) fn key_timestamp_before(&mut self, timestamp: i64) -> Option<i64> {
        self.open.as_mut()?.packets.key_timestamp_before(timestamp)
    }

    /// Closes the file. This frees the container's index, whose size grows with the length of the clip, and the pictures of the
    /// decoder.
    pub(super) fn close(&mut self) {
        self.references = self.references();
        self.open = None;
    }

    pub(super) fn is_closed(&self) -> bool {
        self.open.is_none()
    }

    /// Number of pictures that the decoder keeps to predict others from, as the video states it.
    pub(super) fn references(&self) -> usize {
        self.open.as_ref().map_or(self.references, |open| open.decoder.references())
    }

    /// Sends the decoder one packet, or the end of the stream. Returns `false` if the end was sent before.
    fn send_packet(&mut self) -> bool {
        let Some(open) = &mut self.open else { return false };
        let Some(next) = open.packets.next() else { return open.decoder.send_end() };
        self.count_lost(next.missing);
        if next.packet.is_corrupt() {
            self.propagation.packet_incomplete(self.in_flight());
        }
        if !self.open.as_mut().is_some_and(|open| open.decoder.send(&next.packet)) {
            self.count_lost(1);
        }
        true
    }

    fn in_flight(&self) -> u32 {
        self.open.as_ref().map_or(1, |open| open.decoder.in_flight())
    }

    fn count_lost(&mut self, packets: u64) {
        self.lost += packets;
        if packets > 0 {
            self.propagation.packet_lost(self.in_flight());
        }
    }

    /// Why no further packets could be read; `None` if the end of the file was reached, or not yet.
    fn read_stopped(&self) -> Option<String> {
        self.open.as_ref().and_then(|open| open.packets.stopped.clone())
    }

    /// The error for a file of which no frame can be decoded.
    pub(super) fn nothing_decoded(&self) -> FootageError {
        if let Err(error) = self.config.check_memory() {
            return error;
        }
        let path = self.config.path.clone();
        // If only the decoder failed, the disk is not at fault.
        match self.read_stopped() {
            Some(reason) => FootageError::ReadFailed { path, reason },
            None => FootageError::Damaged { path, reason: "none of its video frames can be decoded".into() },
        }
    }
}
