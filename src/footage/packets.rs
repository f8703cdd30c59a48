//! The video packets of a file in file order, with corrected timestamps.

use std::collections::VecDeque;
use std::path::Path;

use ffmpeg_next::codec::Id;
use ffmpeg_next::error::EAGAIN;
use ffmpeg_next::format::context::Input;
use ffmpeg_next::{Error, Packet};

use super::decoder::DecoderConfig;
use super::error::FootageError;
use super::libav;
use super::open::{AVI, MAX_FRAME_PX, StreamInfo, open_input, video_stream};
use super::picture_check::size_of_first_sound;

/// Maximum number of packets that are read ahead when a file is opened, to check its timestamps. Set by judgement:
/// some seconds of video.
const MAX_PACKETS_AHEAD: usize = 128;
/// Maximum number of bytes that are read ahead when a file is opened. Set by judgement, to limit the memory.
const MAX_BYTES_AHEAD: usize = 32 << 20;
/// Number of consecutive failures to read a packet after which reading ends. Set by judgement: no intact file has
/// nearly as many.
const MAX_FAILURES: u32 = 1000;
/// Size of the header (name and length) of a chunk of an AVI file, in bytes. Positions in the file's index are those
/// of the header of a chunk, while positions of packets are those of the data after the header.
const RIFF_CHUNK_HEADER_BYTES: i64 = 8;

/// A packet that is to be decoded.
pub(super) struct VideoPacket {
    pub packet: Packet,
    /// Number of packets that the index lists between the packet before and this one, but that are missing in
    /// the file.
    pub missing: u64,
}

/// The video packets of an open file.
pub(super) struct Packets {
    input: Input,
    stream: usize,
    /// Whether the timestamp of a packet can be found in the container's index by the packet's position in
    /// the file.
    timestamps_by_position: bool,
    last_entry: Option<i32>,
    ahead: VecDeque<Packet>,
    /// Whether packets are skipped until the next key frame.
    needs_key: bool,
    /// Why reading stopped before the end of the file; `None` if it did not.
    pub stopped: Option<String>,
}

impl Packets {
    /// Opens `path` at its first video packet. Also returns the settings of the decoder and the properties
    /// that the container states.
    pub(super) fn open(path: &Path) -> Result<(Self, DecoderConfig, StreamInfo), FootageError> {
        let input = open_input(path)?;
        let stream = video_stream(path, &input)?;
        let mut config = DecoderConfig::of(path, &stream);
        let info = StreamInfo::of(path, &input, &stream);
        let index = stream.index();
        let timestamps_by_position = input.format().name() == AVI;
        let mut packets = Self {
            input,
            stream: index,
            timestamps_by_position,
            last_entry: None,
            ahead: VecDeque::new(),
            needs_key: false,
            stopped: None,
        };
        libav::keep_only_stream(&mut packets.input, index);
        packets.read_ahead();
        if config.codec == Id::MJPEG {
            config.checked_size =
                size_of_first_sound(packets.ahead.iter().filter_map(Packet::data), MAX_FRAME_PX);
        }
        Ok((packets, config, info))
    }

    /// The timestamps of the packets read ahead, in file order.
    pub(super) fn timestamps_ahead(&self) -> Vec<Option<i64>> {
        self.ahead.iter().map(timestamp_of).collect()
    }

    /// Seeks the key frame at or before `timestamp`. Returns whether the container supports seeking.
    pub(super) fn seek(&mut self, timestamp: i64) -> bool {
        if !libav::seek_before(&mut self.input, self.stream, timestamp) {
            return false;
        }
        self.ahead.clear();
        self.needs_key = true;
        self.last_entry = None;
        self.stopped = None;
        true
    }

    /// The timestamp of the key frame at or before `timestamp`; `None` if the container's index has none.
    pub(super) fn key_timestamp_before(&mut self, timestamp: i64) -> Option<i64> {
        libav::key_timestamp_before(&mut self.input, self.stream, timestamp)
    }

    /// The timestamps of all key frames in the container's index.
    pub(super) fn key_timestamps(&mut self) -> Vec<i64> {
        libav::key_timestamps(&mut self.input, self.stream)
    }

    /// The latest timestamp of a frame, found by reading the file from the last key frame in the container's index.
    /// `None` if the container has no index, or does not support seeking.
    pub(super) fn last_timestamp(&mut self) -> Option<i64> {
        // Some demuxers read the index only at the first seek.
        for _ in 0..2 {
            let last_key = self.key_timestamps().into_iter().max()?;
            if !self.seek(last_key) {
                return None;
            }
        }
        let timestamps = std::iter::from_fn(|| self.next()).map(|next| timestamp_of(&next.packet));
        timestamps.flatten().max()
    }

    /// The next packet to be decoded; `None` at the end of the clip. After a seek, packets before the first key frame
    /// are skipped. Empty packets are also skipped: recorders write them in place of dropped frames, but decoders
    /// treat them as the end of the video.
    pub(super) fn next(&mut self) -> Option<VideoPacket> {
        let mut missing = 0;
        loop {
            let mut packet = self.ahead.pop_front().or_else(|| self.read())?;
            missing += self.correct_timestamp(&mut packet);
            if packet.size() == 0 || (self.needs_key && !packet.is_key()) {
                continue;
            }
            self.needs_key = false;
            return Some(VideoPacket { packet, missing });
        }
    }

    fn read_ahead(&mut self) {
        let mut bytes = 0;
        while self.ahead.len() < MAX_PACKETS_AHEAD && bytes < MAX_BYTES_AHEAD {
            let Some(packet) = self.read() else { break };
            bytes += packet.size();
            self.ahead.push_back(packet);
        }
    }

    /// The next packet of the video stream; `None` at the end of the file, or if reading has failed too
    /// often.
    fn read(&mut self) -> Option<Packet> {
        let mut packet = Packet::empty();
        let mut failures = 0;
        loop {
            match packet.read(&mut self.input) {
                Ok(()) if packet.stream() == self.stream => return Some(packet),
                Ok(()) => packet = Packet::empty(),
                Err(Error::Eof) => return None,
                Err(Error::InvalidData | Error::Other { errno: EAGAIN }) if failures < MAX_FAILURES => {
                    failures += 1;
                }
                Err(error) => {
                    self.stopped = Some(error.to_string());
                    return None;
                }
            }
        }
    }

    /// Corrects the timestamp of a packet after missing packets in an AVI file, and returns the number of
    /// missing packets. The demuxer counts the packets it finds, so timestamps after missing packets are too
    /// early. The index has the correct ones.
    fn correct_timestamp(&mut self, packet: &mut Packet) -> u64 {
        if !self.timestamps_by_position {
            return 0;
        }
        let position = packet.position() as i64 - RIFF_CHUNK_HEADER_BYTES;
        let Some(entry) = libav::index_entry_at(&mut self.input, self.stream, position) else { return 0 };
        let last = self.last_entry.filter(|last| entry.number > *last);
        let missing = last.map_or(0, |last| {
            libav::filled_entries_between(&mut self.input, self.stream, last, entry.number)
        });
        self.last_entry = Some(entry.number);
        let late = packet.dts().and_then(|dts| entry.timestamp.checked_sub(dts)).filter(|late| *late > 0);
        if let Some(late) = late {
            packet.set_dts(packet.dts().map(|dts| dts.saturating_add(late)));
            packet.set_pts(packet.pts().map(|pts| pts.saturating_add(late)));
        }
        missing
    }
}

/// The presentation timestamp of a packet, or its decoding timestamp if it has no presentation timestamp; `None` if
/// it has neither.
pub(super) fn timestamp_of(packet: &Packet) -> Option<i64> {
    packet.pts().or(packet.dts())
}
