//! From packets to decoded pictures, passing over what is damaged.

use std::mem;
use std::path::{Path, PathBuf};
use std::thread::available_parallelism;

use ffmpeg_next::codec::{self, Parameters, decoder, threading};
use ffmpeg_next::error::EAGAIN;
use ffmpeg_next::frame::Video;
use ffmpeg_next::{Dictionary, Error, Packet, Rational, Stream};

use super::error::FootageError;
use super::libav;
use super::open::LARGEST_SIDE;

/// A decoder that objects to this many pictures, and to most, is told to be lenient.
const MAX_OBJECTIONS: u64 = 8;

/// How the decoder of a video is opened.
#[derive(Clone)]
pub(super) struct Recipe {
    pub path: PathBuf,
    pub parameters: Parameters,
    pub codec: codec::Id,
    pub time_base: Rational,
    /// Threads of a decoder: it may work on slices of a picture at once.
    pub threads: usize,
    /// The first pictures are sound, so that errors are damage and no habit of the recorder.
    pub sound: bool,
}

impl Recipe {
    pub(super) fn of(path: &Path, stream: &Stream) -> Self {
        let parameters = stream.parameters();
        let codec = parameters.id();
        let threads = available_parallelism().map_or(1, usize::from);
        let time_base = stream.time_base();
        Self { path: path.into(), parameters: parameters.clone(), codec, time_base, threads, sound: false }
    }

    /// Opens the decoder; `gives_up`: it is to give up on pictures with errors.
    fn open(&self, gives_up: bool) -> Result<decoder::Video, FootageError> {
        let name = self.codec.name();
        let missing = || FootageError::CodecMissing { path: self.path.clone(), codec: name.to_owned() };
        let found = decoder::find(self.codec).ok_or_else(missing)?;
        let mut context = codec::Context::from_parameters(self.parameters.clone()).map_err(|_| missing())?;
        // Slices, not frames: with a thread a frame, libavcodec 5 reports an error in H.264 only if the picture is
        // finished before it is handed out, so which frames count as damaged would change from run to run.
        let slices = threading::Config::kind(threading::Type::Slice);
        context.set_threading(threading::Config { count: self.threads, ..slices });
        let mut decoder = context.decoder();
        decoder.set_packet_time_base(self.time_base);
        if gives_up {
            decoder.check(decoder::Check::EXPLODE);
        }
        let mut options = Dictionary::new();
        options.set("max_pixels", &(u64::from(LARGEST_SIDE) * u64::from(LARGEST_SIDE)).to_string());
        let opened = decoder.open_as_with(found, options).and_then(decoder::Opened::video);
        opened.map_err(|error| FootageError::Damaged {
            path: self.path.clone(),
            reason: format!("its {name} video cannot be set up: {error}"),
        })
    }
}

/// What became of asking for a picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Received {
    /// A picture; `errors`: with errors.
    Picture { errors: bool },
    /// None before more packets are given.
    WantsPackets,
    /// None any more.
    End,
    /// One that could not be decoded.
    Lost,
}

/// Turns packets into pictures in order of presentation.
pub(super) struct PictureDecoder {
    recipe: Recipe,
    decoder: decoder::Video,
    strictness: Strictness,
    draining: bool,
}

/// How errors in pictures that stand alone are found. libavcodec's MJPEG decoder passes over errors unless
/// told to give up on them, so it is told, and a second decoder makes what can be made of the picture.
enum Strictness {
    /// The decoder reports errors with the picture.
    Reports,
    /// The decoder gives up; the lenient one is opened when first needed.
    GivesUp { lenient: Option<Box<decoder::Video>>, holds_picture: bool, objections: u64, passes: u64 },
}

impl PictureDecoder {
    pub(super) fn open(recipe: Recipe) -> Result<Self, FootageError> {
        let gives_up = recipe.codec == codec::Id::MJPEG;
        let decoder = recipe.open(gives_up)?;
        let strictness = if gives_up { Strictness::new() } else { Strictness::Reports };
        Ok(Self { recipe, decoder, strictness, draining: false })
    }

    /// How the pixels' levels are meant.
    pub(super) fn color_range(&self) -> ffmpeg_next::util::color::Range {
        self.decoder.color_range()
    }

    /// Gives the decoder a packet. `false`: it is lost.
    pub(super) fn give(&mut self, packet: &Packet) -> bool {
        match self.decoder.send_packet(packet) {
            Ok(()) => {
                self.strictness.count_pass();
                true
            }
            Err(_) => self.rescue(packet),
        }
    }

    /// Tells the decoder that no more packets come. `false`: it was told before, or minds.
    pub(super) fn end(&mut self) -> bool {
        !mem::replace(&mut self.draining, true) && self.decoder.send_eof().is_ok()
    }

    /// Makes ready for packets from another place.
    pub(super) fn flush(&mut self) {
        self.decoder.flush();
        self.draining = false;
    }

    /// The next picture in order of presentation, into `frame`.
    pub(super) fn receive(&mut self, frame: &mut Video) -> Received {
        if self.strictness.take_rescued(frame) {
            return Received::Picture { errors: true };
        }
        match self.decoder.receive_frame(frame) {
            Ok(()) => Received::Picture { errors: frame.is_corrupt() || frame.has_decode_errors() },
            Err(Error::Other { errno: EAGAIN }) => Received::WantsPackets,
            Err(Error::Eof) => Received::End,
            Err(_) => Received::Lost,
        }
    }

    /// Pictures that may still come before that of the packet now given to the decoder, itself included.
    pub(super) fn in_flight(&self) -> u32 {
        libav::reorder_delay(&self.decoder).saturating_add(1)
    }

    /// Lets the lenient decoder make what it can of a packet the strict one gave up on.
    fn rescue(&mut self, packet: &Packet) -> bool {
        let Strictness::GivesUp { lenient, holds_picture, objections, passes } = &mut self.strictness else {
            return false;
        };
        if lenient.is_none() {
            *lenient = self.recipe.open(false).ok().map(Box::new);
        }
        let Some(decoder) = lenient else { return false };
        *objections += 1;
        if !self.recipe.sound && *objections > MAX_OBJECTIONS && *objections > *passes {
            // Most pictures break the standard somewhere: a habit of this recorder, not damage.
            mem::swap(&mut self.decoder, decoder);
            self.strictness = Strictness::Reports;
            return self.decoder.send_packet(packet).is_ok();
        }
        *holds_picture = decoder.send_packet(packet).is_ok();
        *holds_picture
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
        mem::take(holds_picture) && lenient.receive_frame(frame).is_ok()
    }
}
