//! From an open file to decoded pictures in order of presentation, passing over what is damaged.

use std::collections::VecDeque;
use std::path::{Path, PathBuf};

use ffmpeg_next::codec::{self, decoder};
use ffmpeg_next::error::EAGAIN;
use ffmpeg_next::format::context::Input;
use ffmpeg_next::frame::Video;
use ffmpeg_next::{Error, Packet};

use super::error::FootageError;
use super::libav;
use super::open::{Stated, open_decoder, open_input, video_stream};
use super::suspicion::Suspicion;

/// Packets read ahead when a file is opened, to judge its stamps.
const PACKETS_READ_AHEAD: usize = 128;
/// Bytes read ahead at most.
const BYTES_READ_AHEAD: usize = 32 << 20;
/// Failures one after the other, with no packet between them, after which reading ends.
const MAX_FAILURES: u32 = 1000;
/// A packet's place is that of its bytes; the index of an AVI file counts from the chunk's name and length,
/// four bytes each, before them.
const RIFF_CHUNK_HEADER_BYTES: i64 = 8;
/// A decoder that objects to this many pictures, and to most, is told to be lenient.
const MAX_OBJECTIONS: u64 = 8;

/// A decoded picture with what is known of it.
pub(super) struct Picture {
    pub frame: Video,
    /// Time stamp in the stream's time base.
    pub stamp: Option<i64>,
    /// The decoder saw errors here or in what this picture builds on.
    pub damaged: bool,
}

impl Picture {
    pub(super) fn empty() -> Self {
        Self { frame: Video::empty(), stamp: None, damaged: false }
    }
}

/// An open file and its decoder.
pub(super) struct Decode {
    path: PathBuf,
    input: Input,
    decoder: decoder::Video,
    stream: usize,
    /// The container's index tells the stamp of a packet from its place in the file.
    stamps_by_place: bool,
    last_entry: Option<i32>,
    strictness: Strictness,
    ahead: VecDeque<Packet>,
    wants_key: bool,
    draining: bool,
    suspicion: Suspicion,
    /// Packets or pictures that could not be decoded since the start or the last seek.
    pub lost: u64,
    /// Why reading ended before the end of the file.
    pub stopped: Option<String>,
}

/// How errors in pictures that stand alone are found. libavcodec's MJPEG decoder passes over errors unless
/// told to give up on them, so it is told, and a second decoder makes what can be made of the picture.
enum Strictness {
    /// The decoder reports errors with the picture.
    Reports,
    /// The decoder gives up; the lenient one is opened when first needed.
    GivesUp { lenient: Option<Box<decoder::Video>>, holds_picture: bool, objections: u64, passes: u64 },
}

impl Decode {
    /// Opens `path` at its first video packet.
    pub(super) fn open(path: &Path) -> Result<(Self, Stated), FootageError> {
        let input = open_input(path)?;
        let stream = video_stream(path, &input)?;
        let codec = stream.parameters().id();
        let gives_up = codec == codec::Id::MJPEG;
        let decoder = open_decoder(path, &stream, gives_up)?;
        let stamps_by_place = input.format().name() == "avi";
        let stated = Stated::of(path, &input, &stream, &decoder);
        let stream = stream.index();
        let suspicion = Suspicion::new(libav::is_intra_only(codec));
        let mut this = Self {
            path: path.into(),
            input,
            decoder,
            stream,
            stamps_by_place,
            last_entry: None,
            strictness: if gives_up { Strictness::new() } else { Strictness::Reports },
            ahead: VecDeque::new(),
            wants_key: false,
            draining: false,
            suspicion,
            lost: 0,
            stopped: None,
        };
        libav::keep_only_stream(&mut this.input, stream);
        this.read_ahead();
        Ok((this, stated))
    }

    /// The stamps of the packets read ahead, in the order of the file.
    pub(super) fn stamps_ahead(&self) -> Vec<Option<i64>> {
        self.ahead.iter().map(|packet| packet.pts().or(packet.dts())).collect()
    }

    /// Decodes the next picture in order of presentation. `false`: there is none left.
    pub(super) fn next(&mut self, picture: &mut Picture) -> bool {
        let mut failures = 0;
        while failures < MAX_FAILURES {
            if self.strictness.take_rescued(&mut picture.frame) {
                picture.stamp = picture.frame.timestamp();
                picture.damaged = self.suspicion.judge(true, true);
                return true;
            }
            match self.decoder.receive_frame(&mut picture.frame) {
                Ok(()) => {
                    let errors = picture.frame.is_corrupt() || picture.frame.has_decode_errors();
                    picture.stamp = picture.frame.timestamp();
                    picture.damaged = self.suspicion.judge(errors, picture.frame.is_key());
                    return true;
                }
                Err(Error::Other { errno: EAGAIN }) if self.feed() => {}
                Err(Error::Eof | Error::Other { errno: EAGAIN }) => return false,
                Err(_) => {
                    failures += 1;
                    self.lose();
                }
            }
        }
        self.stopped = Some("the decoder gave up".into());
        false
    }

    /// Moves to the key frame at or before `stamp`. Answers whether the container could.
    pub(super) fn seek(&mut self, stamp: i64) -> bool {
        if !libav::seek_before(&mut self.input, self.stream, stamp) {
            return false;
        }
        self.ahead.clear();
        self.decoder.flush();
        self.wants_key = true;
        self.draining = false;
        self.last_entry = None;
        self.suspicion.forget();
        self.lost = 0;
        self.stopped = None;
        true
    }

    /// The stamp of the key frame at or before `stamp`, if the container's index tells.
    pub(super) fn key_stamp_before(&mut self, stamp: i64) -> Option<i64> {
        libav::key_stamp_before(&mut self.input, self.stream, stamp)
    }

    fn read_ahead(&mut self) {
        let mut bytes = 0;
        while self.ahead.len() < PACKETS_READ_AHEAD && bytes < BYTES_READ_AHEAD {
            let Some(packet) = self.read() else { break };
            bytes += packet.size();
            self.ahead.push_back(packet);
        }
    }

    /// Gives the decoder one packet, or once the end of the stream. `false`: there is nothing left to give.
    fn feed(&mut self) -> bool {
        let Some(packet) = self.next_packet() else {
            return !std::mem::replace(&mut self.draining, true) && self.decoder.send_eof().is_ok();
        };
        if packet.is_corrupt() {
            self.suspicion.packet_incomplete(self.pictures_in_flight());
        }
        match self.decoder.send_packet(&packet) {
            Ok(()) => self.strictness.count_pass(),
            Err(_) if self.rescue(&packet) => {}
            Err(_) => self.lose(),
        }
        true
    }

    /// The next packet worth decoding. Empty ones stand for frames the recorder dropped; to the decoder they
    /// would mean the end.
    fn next_packet(&mut self) -> Option<Packet> {
        loop {
            let mut packet = self.ahead.pop_front().or_else(|| self.read())?;
            self.set_stamp_by_place(&mut packet);
            if packet.size() == 0 || (self.wants_key && !packet.is_key()) {
                continue;
            }
            self.wants_key = false;
            return Some(packet);
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
    /// so those behind a hole come too early. The index tells their true place, and how many are missing.
    fn set_stamp_by_place(&mut self, packet: &mut Packet) {
        if !self.stamps_by_place {
            return;
        }
        let place = packet.position() as i64 - RIFF_CHUNK_HEADER_BYTES;
        let Some(entry) = libav::index_entry_at(&mut self.input, self.stream, place) else { return };
        if let Some(last) = self.last_entry.filter(|last| entry.number > *last) {
            let missing = libav::filled_entries_between(&mut self.input, self.stream, last, entry.number);
            self.lost += missing;
            if missing > 0 {
                self.suspicion.packet_lost(self.pictures_in_flight());
            }
        }
        self.last_entry = Some(entry.number);
        if let Some(late) = packet.dts().and_then(|dts| entry.stamp.checked_sub(dts)).filter(|late| *late > 0)
        {
            packet.set_dts(packet.dts().map(|dts| dts.saturating_add(late)));
            packet.set_pts(packet.pts().map(|pts| pts.saturating_add(late)));
        }
    }

    fn lose(&mut self) {
        self.lost += 1;
        self.suspicion.packet_lost(self.pictures_in_flight());
    }

    /// Pictures that may still come before that of the packet now given to the decoder, itself included.
    fn pictures_in_flight(&self) -> u32 {
        libav::reorder_delay(&self.decoder).saturating_add(1)
    }

    /// Lets the lenient decoder make what it can of a packet the strict one gave up on.
    fn rescue(&mut self, packet: &Packet) -> bool {
        let Strictness::GivesUp { lenient, holds_picture, objections, passes } = &mut self.strictness else {
            return false;
        };
        if lenient.is_none() {
            let stream = self.input.stream(self.stream);
            let opened = stream.and_then(|stream| open_decoder(&self.path, &stream, false).ok());
            *lenient = opened.map(Box::new);
        }
        let Some(decoder) = lenient else { return false };
        *objections += 1;
        if *objections > MAX_OBJECTIONS && *objections > *passes {
            // Most pictures break the standard somewhere: a habit of this recorder, not damage.
            std::mem::swap(&mut self.decoder, decoder);
            self.strictness = Strictness::Reports;
            return self.decoder.send_packet(packet).is_ok();
        }
        *holds_picture = decoder.send_packet(packet).is_ok();
        *holds_picture
    }

    /// The error for a file of which nothing can be decoded.
    pub(super) fn nothing_decoded(&self) -> FootageError {
        let path = self.path.clone();
        match &self.stopped {
            Some(reason) => FootageError::ReadFailed { path, reason: reason.clone() },
            None => {
                FootageError::Damaged { path, reason: "not one picture of its video can be decoded".into() }
            }
        }
    }
}

impl Strictness {
    fn new() -> Self {
        Self::GivesUp { lenient: None, holds_picture: false, objections: 0, passes: 0 }
    }

    fn count_pass(&mut self) {
        if let Self::GivesUp { passes, .. } = self {
            *passes += 1;
        }
    }

    /// Fetches the picture the lenient decoder made, if there is one.
    fn take_rescued(&mut self, frame: &mut Video) -> bool {
        let Self::GivesUp { lenient: Some(lenient), holds_picture, .. } = self else { return false };
        std::mem::take(holds_picture) && lenient.receive_frame(frame).is_ok()
    }
}
