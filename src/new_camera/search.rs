//! The search of a clip for the readouts of its overlay.

use image::GrayImage;

use crate::decipher::{DecipheredReadout, SampledFrames, decipher, read_words};
use crate::detect::{Proposal, propose};
use crate::footage::{
    Clip, FootageError, FoundFrame, FrameSource as _, noise_levels, sample_with, temporal_medians,
};
use crate::stats::upper_median;

/// Minimum number of frames that are searched (set by judgement).
const MIN_FRAMES: usize = 24;

/// Maximum number of frames that are searched (set by judgement).
const MAX_FRAMES: usize = 120;

/// Maximum memory of the frames that are searched, in bytes; it is exceeded if [`MIN_FRAMES`] frames are larger (set
/// by judgement).
const MAX_BYTES: usize = 200 << 20;
/// Minimum standard deviation of the pixel noise of a clip, in grey levels, for the search to use medians of
/// neighbouring frames instead of single frames. Clips without noise have less than 1, a noisy one 2.5 (`photo-noisy`
/// of docs/benchmarks.md).
const NOISY_LEVELS: f32 = 1.5;

/// Maximum number of frames in which the pixel noise is measured (set by judgement).
const NOISE_FRAMES: usize = 9;
/// Minimum number of labels of a readout: with fewer, the learned glyphs cannot be checked against each other (set by
/// judgement).
const MIN_LABELS: usize = 4;

/// Whether a clip is so noisy that the search uses medians of neighbouring frames.
fn is_noisy(frames: &[FoundFrame]) -> bool {
    let step = frames.len().div_ceil(NOISE_FRAMES).max(1);
    let mut noise: Vec<f32> = frames.iter().step_by(step).map(|frame| noise_levels(&frame.image)).collect();
    upper_median(&mut noise).is_some_and(|levels| levels >= NOISY_LEVELS)
}

/// Whether a readout does not overlap the readout `earlier`; true if nothing was deciphered in the earlier box.
/// Overlaps occur because deciphering enlarges boxes by the digits beside them.
fn is_clear_of(readout: &DecipheredReadout, (_, earlier): &(Proposal, Option<DecipheredReadout>)) -> bool {
    earlier.as_ref().is_none_or(|earlier| earlier.rect.overlap_px(readout.rect) == 0)
}

/// The boxes found in the overlay of a clip.
pub(super) struct OverlaySearch {
    pub(super) frames: SampledFrames,
    /// The boxes found, each with its deciphered readout; `None` if it could not be deciphered.
    pub(super) found: Vec<(Proposal, Option<DecipheredReadout>)>,
}

impl OverlaySearch {
    pub(super) fn of(clip: &mut Clip, progress: &(dyn Fn(f64) + Sync)) -> Result<Self, FootageError> {
        let frame_bytes = clip.info().width as usize * clip.info().height as usize;
        let count = (MAX_BYTES / frame_bytes.max(1)).clamp(MIN_FRAMES, MAX_FRAMES);
        let sampled = sample_with(clip, count, progress)?;
        // The recogniser needs frames with the noise of the clip; the search works better without noise.
        let denoised =
            if is_noisy(&sampled) { Some(temporal_medians(clip, sampled.clone())?.into()) } else { None };
        let frames = SampledFrames::from(sampled);
        let searched: &SampledFrames = denoised.as_ref().unwrap_or(&frames);
        let mut found: Vec<(Proposal, Option<DecipheredReadout>)> = Vec::new();
        for proposal in propose(&searched.images) {
            let readout = decipher(searched, proposal.rect).filter(|readout| {
                readout.labels.len() >= MIN_LABELS
                    && found.iter().all(|earlier| is_clear_of(readout, earlier))
            });
            found.push((proposal, readout));
        }
        read_words(searched, found.iter_mut().filter_map(|(_, readout)| readout.as_mut()));
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

    /// A frame from the middle of the clip, with its time in seconds; `None` if no frame was sampled.
    pub(super) fn still(&self) -> Option<(f64, &GrayImage)> {
        let middle = self.frames.images.len() / 2;
        self.frames.times_s.get(middle).copied().zip(self.frames.images.get(middle))
    }
}
