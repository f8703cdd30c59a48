//! The memory that the decoders of a clip may take for pictures.
//!
//! A video can make its decoder keep up to 16 pictures (ITU-T H.264 and H.265, annex A), and each worker has a decoder of its
//! own. Every picture of every decoder is counted here, so that neither many workers nor a hostile video exceed the limit.

use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

/// Maximum memory of the pictures in all decoders of a clip, in bytes. The aim of the project is at most 300 MB for the whole
/// program with any recording; everything else takes up to 80 MB (docs/reliability.md, "Memory").
const MAX_BYTES: usize = 220_000_000;
/// Memory that a decoder needs beside a picture, mostly for motion vectors: bytes for each block of 4 x 4 pixels (structure
/// `MvField` of libavcodec's H.265 decoder; that for H.264 needs about two thirds).
const SIDE_BYTES_PER_BLOCK: usize = 12;
/// Number of pictures that a decoder holds beside those that other pictures may be predicted from: one that is being decoded,
/// and two that were decoded and are in use.
const OTHER_PICTURES: usize = 3;

/// Counts the memory of the pictures in all decoders of a clip.
#[derive(Debug, Default)]
pub(super) struct PictureMemory {
    used_bytes: AtomicUsize,
    /// Memory that the caller needs for frames, in bytes.
    reserved_bytes: AtomicUsize,
    largest_bytes: AtomicUsize,
    is_exceeded: AtomicBool,
}

impl PictureMemory {
    /// The memory of a picture of `pixels` pixels in bytes, with `plane_bytes` bytes of pixel values.
    pub(super) fn bytes_of(plane_bytes: usize, pixels: usize) -> usize {
        plane_bytes + pixels / 16 * SIDE_BYTES_PER_BLOCK
    }

    /// Takes the memory of a picture. `false` if it would exceed the limit.
    pub(super) fn take(&self, bytes: usize) -> bool {
        self.largest_bytes.fetch_max(bytes, Ordering::Relaxed);
        let used = self.used_bytes.fetch_add(bytes, Ordering::Relaxed).saturating_add(bytes);
        let fits = used <= MAX_BYTES;
        if !fits {
            self.release(bytes);
            self.is_exceeded.store(true, Ordering::Relaxed);
        }
        fits
    }

    /// Releases the memory of a picture, as it was taken.
    pub(super) fn release(&self, bytes: usize) {
        self.used_bytes.fetch_sub(bytes, Ordering::Relaxed);
    }

    /// Whether a decoder was refused the memory for a picture.
    pub(super) fn is_exceeded(&self) -> bool {
        self.is_exceeded.load(Ordering::Relaxed)
    }

    /// Reserves memory for frames that the caller keeps, in bytes, so that fewer decoders run at the same time. No decoder is
    /// refused memory because of it.
    pub(super) fn reserve(&self, bytes: usize) {
        self.reserved_bytes.store(bytes, Ordering::Relaxed);
    }

    /// The limit, in bytes.
    pub(super) const fn limit_bytes() -> usize {
        MAX_BYTES
    }

    /// Number of decoders for which there is memory beside the one of the clip itself, if each keeps `references` pictures to
    /// predict others from and all have the size of the largest picture so far.
    pub(super) fn further_decoders(&self, references: usize) -> usize {
        let decoder_bytes = (references + OTHER_PICTURES) * self.largest_bytes.load(Ordering::Relaxed);
        let free_bytes = MAX_BYTES.saturating_sub(self.reserved_bytes.load(Ordering::Relaxed));
        (free_bytes / decoder_bytes.max(1)).saturating_sub(1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pictures_are_refused_above_the_limit_and_accepted_again_once_others_are_released() {
        let memory = PictureMemory::default();
        assert!(memory.take(MAX_BYTES / 2) && memory.take(MAX_BYTES / 2) && !memory.is_exceeded());
        assert!(!memory.take(MAX_BYTES / 2) && memory.is_exceeded());
        memory.release(MAX_BYTES / 2);
        assert!(memory.take(MAX_BYTES / 2));
    }

    #[test]
    fn small_frames_are_decoded_on_all_cores_and_large_ones_by_one_decoder() {
        let further = |width: usize, height: usize, references: usize| {
            let memory = PictureMemory::default();
            let pixels = width * height;
            assert!(memory.take(PictureMemory::bytes_of(pixels * 3 / 2, pixels)));
            memory.further_decoders(references)
        };
        assert!(further(640, 480, 4) > 40);
        assert!(further(1920, 1080, 4) >= 5);
        assert_eq!(further(3840, 2160, 4), 0);
        assert_eq!(further(7680, 4320, 1), 0);
    }

    #[test]
    fn memory_reserved_for_frames_leaves_room_for_fewer_decoders() {
        let memory = PictureMemory::default();
        assert!(memory.take(MAX_BYTES / 40));
        let all = memory.further_decoders(1);
        memory.reserve(MAX_BYTES / 2);
        assert_eq!((all, memory.further_decoders(1)), (9, 4));
        assert!(memory.take(MAX_BYTES / 2), "a single decoder may use what is reserved");
    }
}
