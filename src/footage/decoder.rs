//! Decodes packets to frames, and continues after damaged packets.

use std::mem;
use std::path::{Path, PathBuf};
use std::thread::available_parallelism;

use ffmpeg_next::codec::{self, Parameters, decoder, threading};
use ffmpeg_next::error::EAGAIN;
use ffmpeg_next::frame::Video;
use ffmpeg_next::{Dictionary, Error, Packet, Rational, Stream};

use super::error::FootageError;
use super::libav;
use super::open::{MAX_FRAME_PX, check_size};

/// Number of rejected frames from which a strict decoder is replaced by a lenient one, if it also rejected
/// more frames than it accepted. Set by judgement.
const MAX_REJECTED: u64 = 8;

/// The settings with which the decoder of a video is opened.
#[derive(Clone)]
pub(super) struct DecoderConfig {
    pub path: PathBuf,
    pub parameters: Parameters,
    pub codec: codec::Id,
    pub time_base: Rational,
    /// Number of threads of one decoder, which it uses for the slices of a frame.
    pub threads: usize,
    /// Whether the first frames are known to follow the standard, so that errors in later frames are damage.
    pub starts_valid: bool,
}

impl DecoderConfig {
    pub(super) fn of(path: &Path, stream: &Stream) -> Self {
        let parameters = stream.parameters();
        Self {
            path: path.into(),
            parameters: parameters.clone(),
            codec: parameters.id(),
            time_base: stream.time_base(),
            threads: available_parallelism().map_or(1, usize::from),
            starts_valid: false,
        }
    }

    /// Opens the decoder. `strict` tells whether it rejects frames with errors.
    fn open(&self, strict: bool) -> Result<decoder::Video, FootageError> {
        let name = self.codec.name();
        let missing = || FootageError::CodecMissing { path: self.path.clone(), codec: name.to_owned() };
        let found = decoder::find(self.codec).ok_or_else(missing)?;
        // Zero where the container does not state the size; the first frame is checked as well.
        if let (width @ 1.., height @ 1..) = libav::frame_size(&self.parameters) {
            check_size(&self.path, width, height)?;
        }
        let mut context = codec::Context::from_parameters(self.parameters.clone()).map_err(|_| missing())?;
        // Threads share slices, not frames. With one thread per frame, libavcodec 5 reports an error in an
        // H.264 frame only if the frame is finished before it is returned. The frames counted as damaged
        // would then change from run to run.
        let slices = threading::Config::kind(threading::Type::Slice);
        context.set_threading(threading::Config { count: self.threads, ..slices });
        let mut decoder = context.decoder();
        decoder.set_packet_time_base(self.time_base);
        if strict {
            decoder.check(decoder::Check::EXPLODE);
        }
        let mut options = Dictionary::new();
        options.set("max_pixels", &MAX_FRAME_PX.to_string());
        let opened = decoder.open_as_with(found, options).and_then(decoder::Opened::video);
        opened.map_err(|error| FootageError::Damaged {
            path: self.path.clone(),
            reason: format!("its {name} video cannot be set up: {error}"),
        })
    }
}

/// The answer to a request for a frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum DecoderOutput {
    /// A frame. `errors` tells whether the decoder reported errors in it.
    Frame { errors: bool },
    /// More packets are needed first.
    NeedsPackets,
    /// The last frame was already returned.
    End,
    /// A frame could not be decoded.
    Lost,
}

/// Decodes packets to frames in presentation order.
pub(super) struct FrameDecoder {
    config: DecoderConfig,
    decoder: decoder::Video,
    strictness: Strictness,
    draining: bool,
}

/// How errors in frames are detected. The MJPEG decoder of libavcodec reports errors only if it may reject
/// the frame. So a strict decoder is opened, and a second, lenient decoder decodes the frames that the strict
/// one rejects.
enum Strictness {
    /// The decoder reports errors along with the frame.
    Lenient,
    /// The decoder rejects frames with errors. The lenient decoder is opened when it is first needed.
    Strict { lenient: Option<Box<decoder::Video>>, holds_frame: bool, rejected: u64, accepted: u64 },
}

impl FrameDecoder {
    pub(super) fn open(config: DecoderConfig) -> Result<Self, FootageError> {
        let is_strict = config.codec == codec::Id::MJPEG;
        let decoder = config.open(is_strict)?;
        let strictness = if is_strict { Strictness::strict() } else { Strictness::Lenient };
        Ok(Self { config, decoder, strictness, draining: false })
    }

    /// The range of the luma levels that the video states.
    pub(super) fn color_range(&self) -> ffmpeg_next::util::color::Range {
        self.decoder.color_range()
    }

    /// Sends a packet to the decoder. Returns `false` if the packet is lost.
    pub(super) fn send(&mut self, packet: &Packet) -> bool {
        match self.decoder.send_packet(packet) {
            Ok(()) => {
                self.strictness.count_accepted();
                true
            }
            Err(_) => self.send_to_lenient(packet),
        }
    }

    /// Tells the decoder that no more packets follow. Returns `false` if that was done before, or if it
    /// fails.
    pub(super) fn send_end(&mut self) -> bool {
        !mem::replace(&mut self.draining, true) && self.decoder.send_eof().is_ok()
    }

    /// Prepares for packets from another position.
    pub(super) fn flush(&mut self) {
        self.decoder.flush();
        self.draining = false;
    }

    /// Writes the next frame in presentation order into `frame`.
    pub(super) fn receive(&mut self, frame: &mut Video) -> DecoderOutput {
        if self.strictness.receive_lenient(frame) {
            return DecoderOutput::Frame { errors: true };
        }
        match self.decoder.receive_frame(frame) {
            Ok(()) => DecoderOutput::Frame { errors: frame.is_corrupt() || frame.has_decode_errors() },
            Err(Error::Other { errno: EAGAIN }) => DecoderOutput::NeedsPackets,
            Err(Error::Eof) => DecoderOutput::End,
            Err(_) => DecoderOutput::Lost,
        }
    }

    /// The number of frames that the decoder still holds, including that of the packet sent next.
    pub(super) fn in_flight(&self) -> u32 {
        libav::reorder_delay(&self.decoder).saturating_add(1)
    }

    /// Sends a packet that the strict decoder rejected to the lenient one.
    fn send_to_lenient(&mut self, packet: &Packet) -> bool {
        let Strictness::Strict { lenient, holds_frame, rejected, accepted } = &mut self.strictness else {
            return false;
        };
        if lenient.is_none() {
            *lenient = self.config.open(false).ok().map(Box::new);
        }
        let Some(decoder) = lenient else { return false };
        *rejected += 1;
        if !self.config.starts_valid && *rejected > MAX_REJECTED && *rejected > *accepted {
            // Most frames violate the standard. This is how the recorder writes them, and no damage.
            mem::swap(&mut self.decoder, decoder);
            self.strictness = Strictness::Lenient;
            return self.decoder.send_packet(packet).is_ok();
        }
        *holds_frame = decoder.send_packet(packet).is_ok();
        *holds_frame
    }
}

impl Strictness {
    fn strict() -> Self {
        Self::Strict { lenient: None, holds_frame: false, rejected: 0, accepted: 0 }
    }

    fn count_accepted(&mut self) {
        if let Self::Strict { accepted, .. } = self {
            *accepted += 1;
        }
    }

    /// Receives the frame that the lenient decoder holds, if it holds one.
    fn receive_lenient(&mut self, frame: &mut Video) -> bool {
        let Self::Strict { lenient: Some(lenient), holds_frame, .. } = self else { return false };
        mem::take(holds_frame) && lenient.receive_frame(frame).is_ok()
    }
}
