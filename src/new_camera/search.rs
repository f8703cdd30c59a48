//! The search of a clip for the readouts of its overlay.

use image::GrayImage;

use crate::decipher::{DecipheredReadout, SampledFrames, decipher, read_words};
use crate::detect::{Proposal, propose};
use crate::footage::{Clip, FootageError, FrameSource as _, sample_with};

/// Smallest and largest number of frames searched, and of bytes that they may take.
const MIN_FRAMES: usize = 24;
const MAX_FRAMES: usize = 120;
const MAX_BYTES: usize = 200 << 20;
/// Minimum number of labels of a readout: with fewer, the learned glyphs cannot be checked against each other.
const MIN_LABELS: usize = 4;

/// Whether a readout overlaps none that was deciphered before: boxes grow by the digits beside them.
fn is_clear_of(readout: &DecipheredReadout, (_, earlier): &(Proposal, Option<DecipheredReadout>)) -> bool {
    earlier.as_ref().is_none_or(|earlier| earlier.rect.overlap_px(readout.rect) == 0)
}

/// What was found in the overlay of a clip.
pub(super) struct OverlaySearch {
    pub(super) frames: SampledFrames,
    /// The boxes found, with what was deciphered in them.
    pub(super) found: Vec<(Proposal, Option<DecipheredReadout>)>,
}

impl OverlaySearch {
    pub(super) fn of(clip: &mut Clip, progress: &(dyn Fn(f64) + Sync)) -> Result<Self, FootageError> {
        let frame_bytes = clip.info().width as usize * clip.info().height as usize;
        let count = (MAX_BYTES / frame_bytes.max(1)).clamp(MIN_FRAMES, MAX_FRAMES);
        let frames = SampledFrames::from(sample_with(clip, count, progress)?);
        let mut found: Vec<(Proposal, Option<DecipheredReadout>)> = Vec::new();
        for proposal in propose(&frames.images) {
            let readout = decipher(&frames, proposal.rect).filter(|readout| {
                readout.labels.len() >= MIN_LABELS
                    && found.iter().all(|earlier| is_clear_of(readout, earlier))
            });
            found.push((proposal, readout));
        }
        read_words(&frames, found.iter_mut().filter_map(|(_, readout)| readout.as_mut()));
        Ok(Self { frames, found })
    }

    /// The deciphered readouts.
    pub(super) fn readouts(&self) -> Vec<&DecipheredReadout> {
        self.found.iter().filter_map(|(_, readout)| readout.as_ref()).collect()
    }

    /// The boxes in which nothing was deciphered.
    pub(super) fn undeciphered(&self) -> impl Iterator<Item = &Proposal> {
        self.found.iter().filter(|(_, readout)| readout.is_none()).map(|(proposal, _)| proposal)
    }

    /// A frame from the middle of the clip.
    pub(super) fn still(&self) -> Option<&GrayImage> {
        self.frames.images.get(self.frames.images.len() / 2)
    }
}
