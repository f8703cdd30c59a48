//! From a file to decoded pictures in order of presentation, passing over what is damaged.

use std::collections::VecDeque;
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::sync::Once;
use std::thread::available_parallelism;

use ffmpeg_next::codec::{self, decoder, threading};
use ffmpeg_next::error::{EAGAIN, EIO};
use ffmpeg_next::format::context::Input;
use ffmpeg_next::format::stream::Disposition;
use ffmpeg_next::frame::Video;
use ffmpeg_next::packet::side_data::Type as SideData;
use ffmpeg_next::util::color;
use ffmpeg_next::{Dictionary, Error, Packet, Rational, Stream, media};

use super::error::FootageError;
use super::libav;
use super::notes::LevelRange;

/// Largest width and height of a frame, in pixels.
pub(super) const LARGEST_SIDE: u32 = 16384;
/// Containers and bare streams that recorders and converters write. Others are not even tried: a text file
/// or a picture also has a demuxer in libavformat.
const CONTAINERS: &str = "avi,mov,matroska,mpegts,mpeg,h264,hevc,m4v,mjpeg,mpegvideo,flv,asf,ogg,nut,dv,mxf,\
                          yuv4mpegpipe,ivf,av1,obu";
/// Packets read ahead when a file is opened, to judge its stamps.
const PACKETS_READ_AHEAD: usize = 128;
/// Bytes read ahead at most.
const BYTES_READ_AHEAD: usize = 32 << 20;
/// Failures one after the other, with no packet between them, after which reading ends.
const MAX_FAILURES: u32 = 1000;
/// Damage is taken to last at most this many frames where no key frame ends it: a cycle of gradual refresh
/// is shorter.
const MAX_SUSPECT_FRAMES: u32 = 300;

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

/// What a container states about its video.
#[derive(Debug, Clone)]
pub(super) struct Stated {
    pub container: String,
    pub codec: String,
    pub rate_hz: Option<f64>,
    pub length_s: Option<f64>,
    pub tick_s: f64,
    pub rotation_degrees: Option<i32>,
    pub levels: LevelRange,
}

/// An open file and its decoder.
pub(super) struct Decode {
    path: PathBuf,
    input: Input,
    decoder: decoder::Video,
    stream: usize,
    intra_only: bool,
    ahead: VecDeque<Packet>,
    wants_key: bool,
    draining: bool,
    pictures_in_flight: u32,
    suspect_frames: u32,
    /// Packets or pictures that could not be decoded since the start or the last seek.
    pub lost: u64,
    /// Why reading ended before the end of the file.
    pub stopped: Option<String>,
}

impl Decode {
    /// Opens `path` at its first video packet.
    pub(super) fn open(path: &Path) -> Result<(Self, Stated), FootageError> {
        let input = open_input(path)?;
        let container = input.format().name().to_owned();
        let found = input.streams().best(media::Type::Video);
        let stream = found.filter(|stream| !stream.disposition().contains(Disposition::ATTACHED_PIC));
        let Some(stream) = stream else {
            return Err(FootageError::NoVideoStream { path: path.into(), container });
        };
        let (decoder, codec) = open_decoder(path, &stream)?;
        let stated = Stated {
            container,
            codec: codec.name().to_owned(),
            rate_hz: positive_rate(stream.avg_frame_rate()).or_else(|| positive_rate(stream.rate())),
            length_s: stated_length_s(&input, &stream),
            tick_s: positive_rate(stream.time_base()).unwrap_or(0.0),
            rotation_degrees: rotation_degrees(&stream),
            levels: level_range(decoder.color_range()),
        };
        let stream = stream.index();
        let mut this = Self {
            path: path.into(),
            input,
            decoder,
            stream,
            intra_only: libav::is_intra_only(codec),
            ahead: VecDeque::new(),
            wants_key: false,
            draining: false,
            pictures_in_flight: u32::try_from(threads()).unwrap_or(u32::MAX),
            suspect_frames: 0,
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
            match self.decoder.receive_frame(&mut picture.frame) {
                Ok(()) => {
                    picture.stamp = picture.frame.timestamp();
                    picture.damaged = self.judge(&picture.frame);
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
        self.suspect_frames = 0;
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
            self.suspect_frames = MAX_SUSPECT_FRAMES;
        }
        if self.decoder.send_packet(&packet).is_err() {
            self.lose();
        }
        true
    }

    /// The next packet worth decoding. Empty ones stand for frames the recorder dropped; to the decoder they
    /// would mean the end.
    fn next_packet(&mut self) -> Option<Packet> {
        loop {
            let packet = self.ahead.pop_front().or_else(|| self.read())?;
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

    fn lose(&mut self) {
        self.lost += 1;
        self.suspect_frames = MAX_SUSPECT_FRAMES;
    }

    /// Whether a picture is damaged. In codecs that predict pictures from each other damage lasts until the
    /// next key frame. With several threads an error is reported while earlier pictures are still to come,
    /// so the first few key frames after it do not end it.
    fn judge(&mut self, frame: &Video) -> bool {
        let own = frame.is_corrupt() || frame.has_decode_errors();
        let in_flight = self.suspect_frames.saturating_add(self.pictures_in_flight) > MAX_SUSPECT_FRAMES;
        if own {
            self.suspect_frames = MAX_SUSPECT_FRAMES;
        } else if self.intra_only || (frame.is_key() && !in_flight) {
            self.suspect_frames = 0;
        } else {
            self.suspect_frames = self.suspect_frames.saturating_sub(1);
        }
        own || self.suspect_frames > 0
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

fn open_input(path: &Path) -> Result<Input, FootageError> {
    static QUIET: Once = Once::new();
    QUIET.call_once(|| ffmpeg_next::log::set_level(ffmpeg_next::log::Level::Quiet));
    let head = read_head(path)?;
    let name = path.to_str().filter(|name| !name.contains('\0'));
    let Some(name) = name else { return Err(FootageError::NameNotText { path: path.into() }) };
    let mut options = Dictionary::new();
    options.set("format_whitelist", CONTAINERS);
    options.set("protocol_whitelist", "file");
    // The prefix keeps a name such as `concat:a` from being taken for more than a name.
    ffmpeg_next::format::input_with_dictionary(&format!("file:{name}"), options)
        .map_err(|error| explain_open_failure(path, &head, error))
}

/// The first bytes of the file; refuses what is no readable file of any length.
fn read_head(path: &Path) -> Result<Vec<u8>, FootageError> {
    let cannot = |error: std::io::Error| match error.kind() {
        std::io::ErrorKind::NotFound => FootageError::NoSuchFile { path: path.into() },
        _ => FootageError::CannotOpen { path: path.into(), reason: error.to_string() },
    };
    let about = std::fs::metadata(path).map_err(cannot)?;
    if about.is_dir() {
        return Err(FootageError::IsFolder { path: path.into() });
    }
    let mut head = Vec::new();
    File::open(path).and_then(|file| file.take(16).read_to_end(&mut head)).map_err(cannot)?;
    if head.is_empty() {
        return Err(FootageError::Empty { path: path.into() });
    }
    Ok(head)
}

fn explain_open_failure(path: &Path, head: &[u8], error: Error) -> FootageError {
    let path = path.to_path_buf();
    let is_mp4 = head.get(4..8).is_some_and(|kind| [b"ftyp", b"mdat", b"wide"].iter().any(|k| kind == *k));
    let is_known = is_mp4 || head.starts_with(b"RIFF") || head.starts_with(&[0x1a, 0x45, 0xdf, 0xa3]);
    match error {
        Error::InvalidData if is_mp4 => FootageError::IndexMissing { path },
        Error::Other { errno: EIO } => FootageError::ReadFailed { path, reason: error.to_string() },
        _ if is_known => FootageError::Damaged { path, reason: "its header cannot be understood".into() },
        _ => FootageError::NotVideo { path },
    }
}

fn open_decoder(path: &Path, stream: &Stream) -> Result<(decoder::Video, codec::Id), FootageError> {
    let parameters = stream.parameters();
    let codec = parameters.id();
    let missing = || FootageError::CodecMissing { path: path.into(), codec: codec.name().to_owned() };
    let found = decoder::find(codec).ok_or_else(missing)?;
    let mut context = codec::Context::from_parameters(parameters).map_err(|_| missing())?;
    context.set_threading(threading::Config {
        count: threads(),
        ..threading::Config::kind(threading::Type::Frame)
    });
    let mut decoder = context.decoder();
    decoder.set_packet_time_base(stream.time_base());
    let mut options = Dictionary::new();
    options.set("max_pixels", &(u64::from(LARGEST_SIDE) * u64::from(LARGEST_SIDE)).to_string());
    let opened = decoder.open_as_with(found, options).and_then(decoder::Opened::video);
    opened.map(|decoder| (decoder, codec)).map_err(|error| FootageError::Damaged {
        path: path.into(),
        reason: format!("its {} video cannot be set up: {error}", codec.name()),
    })
}

fn threads() -> usize {
    available_parallelism().map_or(1, usize::from)
}

fn positive_rate(rate: Rational) -> Option<f64> {
    (rate.numerator() > 0 && rate.denominator() > 0)
        .then(|| f64::from(rate.numerator()) / f64::from(rate.denominator()))
}

fn stated_length_s(input: &Input, stream: &Stream) -> Option<f64> {
    let tick_s = positive_rate(stream.time_base())?;
    let of_stream = (stream.duration() > 0).then(|| stream.duration() as f64 * tick_s);
    let of_file = || (input.duration() > 0).then(|| input.duration() as f64 / 1e6);
    of_stream.or_else(of_file)
}

/// Clockwise rotation from the display matrix (ISO/IEC 14496-12, track header), in degrees.
fn rotation_degrees(stream: &Stream) -> Option<i32> {
    let side = stream.side_data().find(|side| side.kind() == SideData::DisplayMatrix)?;
    let number = |place: usize| {
        let bytes = side.data().get(place * 4..place * 4 + 4)?;
        Some(f64::from(i32::from_ne_bytes(bytes.try_into().ok()?)))
    };
    let degrees = number(1)?.atan2(number(0)?).to_degrees().round() as i32;
    (degrees != 0).then_some(degrees)
}

fn level_range(range: color::Range) -> LevelRange {
    match range {
        color::Range::Unspecified => LevelRange::Unstated,
        color::Range::MPEG => LevelRange::Limited,
        color::Range::JPEG => LevelRange::Full,
    }
}
