//! The packets of a file's video, in the order of the file, with their stamps put right.

use std::collections::VecDeque;
use std::path::Path;

use ffmpeg_next::error::EAGAIN;
use ffmpeg_next::format::context::Input;
use ffmpeg_next::{Error, Packet};

use super::error::FootageError;
use super::libav;
use super::open::{Stated, open_input, video_stream};
use super::pictures::Recipe;

/// Packets read ahead when a file is opened, to judge its stamps.
const PACKETS_READ_AHEAD: usize = 128;
/// Bytes read ahead at most.
const BYTES_READ_AHEAD: usize = 32 << 20;
/// Failures one after the other after which reading ends.
const MAX_FAILURES: u32 = 1000;
/// A packet's place is that of its bytes; the index of an AVI file counts from the chunk's name and length,
/// four bytes each, before them.
const RIFF_CHUNK_HEADER_BYTES: i64 = 8;

/// A packet worth decoding.
pub(super) struct Parcel {
    pub packet: Packet,
    /// Packets that the index has between the one before and this one, but the file has not.
    pub missing: u64,
}

/// An open file.
pub(super) struct Packets {
    input: Input,
    stream: usize,
    /// The container's index tells the stamp of a packet from its place in the file.
    stamps_by_place: bool,
    last_entry: Option<i32>,
    ahead: VecDeque<Packet>,
    wants_key: bool,
    /// Why reading ended before the end of the file.
    pub stopped: Option<String>,
}

impl Packets {
    /// Opens `path` at its first video packet; with it comes how its decoder is opened.
    pub(super) fn open(path: &Path) -> Result<(Self, Recipe, Stated), FootageError> {
        let input = open_input(path)?;
        let stream = video_stream(path, &input)?;
        let recipe = Recipe::of(path, &stream);
        let stated = Stated::of(path, &input, &stream);
        let index = stream.index();
        let stamps_by_place = input.format().name() == "avi";
        let mut this = Self {
            input,
            stream: index,
            stamps_by_place,
            last_entry: None,
            ahead: VecDeque::new(),
            wants_key: false,
            stopped: None,
        };
        libav::keep_only_stream(&mut this.input, index);
        this.read_ahead();
        Ok((this, recipe, stated))
    }

    /// The stamps of the packets read ahead, in the order of the file.
    pub(super) fn stamps_ahead(&self) -> Vec<Option<i64>> {
        self.ahead.iter().map(stamp_of).collect()
    }

    /// Moves to the key frame at or before `stamp`. Answers whether the container could.
    pub(super) fn seek(&mut self, stamp: i64) -> bool {
        if !libav::seek_before(&mut self.input, self.stream, stamp) {
            return false;
        }
        self.ahead.clear();
        self.wants_key = true;
        self.last_entry = None;
        self.stopped = None;
        true
    }

    /// The stamp of the key frame at or before `stamp`, if the container's index tells.
    pub(super) fn key_stamp_before(&mut self, stamp: i64) -> Option<i64> {
        libav::key_stamp_before(&mut self.input, self.stream, stamp)
    }

    /// The stamps of all key frames that the container's index knows.
    pub(super) fn key_stamps(&mut self) -> Vec<i64> {
        libav::key_stamps(&mut self.input, self.stream)
    }

    /// The latest stamp of a picture behind the last key frame that the container's index knows.
    pub(super) fn last_stamp(&mut self) -> Option<i64> {
        // Of some containers the index is not read before the first seek.
        for _ in 0..2 {
            let last_key = self.key_stamps().into_iter().max()?;
            if !self.seek(last_key) {
                return None;
            }
        }
        let stamps = std::iter::from_fn(|| self.next()).map(|parcel| stamp_of(&parcel.packet));
        stamps.flatten().max()
    }

    /// The next packet worth decoding. Empty ones stand for frames the recorder dropped; to the decoder they
    /// would mean the end.
    pub(super) fn next(&mut self) -> Option<Parcel> {
        let mut missing = 0;
        loop {
            let mut packet = self.ahead.pop_front().or_else(|| self.read())?;
            missing += self.set_stamp_by_place(&mut packet);
            if packet.size() == 0 || (self.wants_key && !packet.is_key()) {
                continue;
            }
            self.wants_key = false;
            return Some(Parcel { packet, missing });
        }
    }

    fn read_ahead(&mut self) {
        let mut bytes = 0;
        while self.ahead.len() < PACKETS_READ_AHEAD && bytes < BYTES_READ_AHEAD {
            let Some(packet) = self.read() else { break };
            bytes += packet.size();
            self.ahead.push_back(packet);
        }
    }

    /// The next packet of the video; `None` at the end of the file or where reading fails for good.
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

    /// Puts right the stamp of a packet behind a hole in an AVI file: the demuxer counts the packets it finds,
    /// so those behind a hole come too early. The index tells their true place, and how many are missing,
    /// which is answered.
    fn set_stamp_by_place(&mut self, packet: &mut Packet) -> u64 {
        if !self.stamps_by_place {
            return 0;
        }
        let place = packet.position() as i64 - RIFF_CHUNK_HEADER_BYTES;
        let Some(entry) = libav::index_entry_at(&mut self.input, self.stream, place) else { return 0 };
        let last = self.last_entry.filter(|last| entry.number > *last);
        let missing = last.map_or(0, |last| {
            libav::filled_entries_between(&mut self.input, self.stream, last, entry.number)
        });
        self.last_entry = Some(entry.number);
        if let Some(late) = packet.dts().and_then(|dts| entry.stamp.checked_sub(dts)).filter(|late| *late > 0)
        {
            packet.set_dts(packet.dts().map(|dts| dts.saturating_add(late)));
            packet.set_pts(packet.pts().map(|pts| pts.saturating_add(late)));
        }
        missing
    }
}

/// The stamp of a packet: that of its picture, else that of its decoding.
pub(super) fn stamp_of(packet: &Packet) -> Option<i64> {
    packet.pts().or(packet.dts())
}
