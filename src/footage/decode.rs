//! From an open file to decoded pictures in order of presentation, one after the other.

use std::path::Path;

use ffmpeg_next::frame::Video;

use super::error::FootageError;
use super::libav;
use super::open::{Stated, level_range};
use super::packets::Packets;
use super::pictures::{PictureDecoder, Received, Recipe};
use super::suspicion::Suspicion;

/// Failures one after the other, with no packet between them, after which reading ends.
const MAX_FAILURES: u32 = 1000;

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
    recipe: Recipe,
    /// `None` once closed.
    packets: Option<Packets>,
    decoder: PictureDecoder,
    suspicion: Suspicion,
    /// Packets or pictures that could not be decoded since the start or the last seek.
    pub lost: u64,
    gave_up: bool,
}

impl Decode {
    /// Opens `path` at its first video packet.
    pub(super) fn open(path: &Path) -> Result<(Self, Stated), FootageError> {
        let (packets, recipe, mut stated) = Packets::open(path)?;
        let decoder = PictureDecoder::open(recipe.clone())?;
        stated.levels = level_range(decoder.color_range());
        let suspicion = Suspicion::new(libav::is_intra_only(recipe.codec));
        Ok((Self { recipe, packets: Some(packets), decoder, suspicion, lost: 0, gave_up: false }, stated))
    }

    /// The stamps of the packets read ahead, in the order of the file.
    pub(super) fn stamps_ahead(&self) -> Vec<Option<i64>> {
        self.packets.as_ref().map(Packets::stamps_ahead).unwrap_or_default()
    }

    /// How the decoder was opened.
    pub(super) fn recipe(&self) -> &Recipe {
        &self.recipe
    }

    /// Why reading ended before the end of the file.
    pub(super) fn stopped(&self) -> Option<String> {
        let stopped = self.packets.as_ref().and_then(|packets| packets.stopped.clone());
        stopped.or_else(|| self.gave_up.then(|| "the decoder gave up".into()))
    }

    /// Decodes the next picture in order of presentation. `false`: there is none left.
    pub(super) fn next(&mut self, picture: &mut Picture) -> bool {
        let mut failures = 0;
        while failures < MAX_FAILURES {
            match self.decoder.receive(&mut picture.frame) {
                Received::Picture { errors } => {
                    picture.stamp = picture.frame.timestamp();
                    picture.damaged = self.suspicion.judge(errors, picture.frame.is_key());
                    return true;
                }
                Received::WantsPackets if self.feed() => {}
                Received::WantsPackets | Received::End => return false,
                Received::Lost => {
                    failures += 1;
                    self.lose(1);
                }
            }
        }
        self.gave_up = true;
        false
    }

    /// Moves to the key frame at or before `stamp`. Answers whether the container could.
    pub(super) fn seek(&mut self, stamp: i64) -> bool {
        if !self.packets.as_mut().is_some_and(|packets| packets.seek(stamp)) {
            return false;
        }
        self.decoder.flush();
        self.suspicion.forget();
        self.lost = 0;
        self.gave_up = false;
        true
    }

    /// The stamp of the key frame at or before `stamp`, if the container's index tells.
    pub(super) fn key_stamp_before(&mut self, stamp: i64) -> Option<i64> {
        self.packets.as_mut()?.key_stamp_before(stamp)
    }

    /// Closes the file: what the container's index takes of memory grows with the length of the clip.
    pub(super) fn close(&mut self) {
        self.packets = None;
    }

    /// Gives the decoder one packet, or once the end of the stream. `false`: there is nothing left to give.
    fn feed(&mut self) -> bool {
        let Some(parcel) = self.packets.as_mut().and_then(Packets::next) else { return self.decoder.end() };
        self.lose(parcel.missing);
        if parcel.packet.is_corrupt() {
            self.suspicion.packet_incomplete(self.decoder.in_flight());
        }
        if !self.decoder.give(&parcel.packet) {
            self.lose(1);
        }
        true
    }

    fn lose(&mut self, packets: u64) {
        self.lost += packets;
        if packets > 0 {
            self.suspicion.packet_lost(self.decoder.in_flight());
        }
    }

    /// The error for a file of which nothing can be decoded.
    pub(super) fn nothing_decoded(&self) -> FootageError {
        let path = self.recipe.path.clone();
        match self.stopped() {
            Some(reason) => FootageError::ReadFailed { path, reason },
            None => {
                FootageError::Damaged { path, reason: "not one picture of its video can be decoded".into() }
            }
        }
    }
}
