//! The search of a clip for the readouts of its overlay.

use image::GrayImage;

use crate::decipher::{DecipheredReadout, SampledFrames, decipher, read_words};
use crate::detect::{Proposal, Reduction, propose};
use crate::footage::{
    Clip, FootageError, FoundFrame, FrameSource as _, LumaImage as _, LumaPlane, frames_near,
    noise_sd_levels, sample_with, temporal_medians,
};
use crate::geometry::PixelRect;
use crate::glyphs::GlyphSet;
use crate::recognise::{Recogniser, RegionReading, Sample};
use crate::setup::Region;
use crate::stats::upper_median;

/// Time of a frame in seconds, and the readings of the regions in that frame.
pub(super) type TimedReadings = (f64, Vec<RegionReading>);

/// Minimum confidence of the readings in single frames that count as certain (set by judgement).
pub(super) const MIN_CONFIDENCE: f32 = 0.99;

/// Minimum number of frames that are searched (set by judgement).
const MIN_FRAMES: usize = 24;

/// Maximum number of frames that are searched (set by judgement).
const MAX_FRAMES: usize = 120;

/// Maximum memory of the frames that are searched, in bytes; it is exceeded if [`MIN_FRAMES`] frames are larger. 120 frames of
/// 1280 x 720 pixels fit, or 65 of 1920 x 1080. Chosen so that the search takes less than 300 MB in all (docs/reliability.md,
/// "Memory").
const MAX_BYTES: usize = 130 << 20;
/// Maximum memory of the frames that are searched, in bytes, for which a second copy without noise is kept. Frames that take more
/// are decoded again when they are needed with their noise.
const MAX_KEPT_BYTES: usize = 40_000_000;
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
    let mut noise: Vec<f32> =
        frames.iter().step_by(step).map(|frame| noise_sd_levels(&frame.image)).collect();
    upper_median(&mut noise).is_some_and(|levels| levels >= NOISY_LEVELS)
}

/// Whether a readout does not overlap the readout `earlier`; true if nothing certain was deciphered in the earlier box.
/// Overlaps occur because deciphering enlarges boxes by the digits beside them.
fn is_clear_of(readout: &DecipheredReadout, (_, earlier): &(Proposal, Option<DecipheredReadout>)) -> bool {
    let certain = earlier.as_ref().filter(|earlier| is_certain(earlier));
    certain.is_none_or(|earlier| !earlier.rect.overlaps(readout.rect))
}

/// Whether a readout has enough labels.
fn is_certain(readout: &DecipheredReadout) -> bool {
    readout.labels.len() >= MIN_LABELS
}

/// The boxes found in the overlay of a clip.
pub(super) struct OverlaySearch {
    /// Times of the frames that were searched, in seconds, without damaged frames.
    times_s: Vec<f64>,
    /// These frames, neither reduced nor without their noise; `None` if they were not kept.
    whole: Option<SampledFrames>,
    /// The boxes found, each with its readout; `None` if it could not be deciphered. A readout with fewer than [`MIN_LABELS`]
    /// labels is uncertain. Rectangles are in pixels of the whole frame.
    pub(super) found: Vec<(Proposal, Option<DecipheredReadout>)>,
}

impl OverlaySearch {
    pub(super) fn of(clip: &mut Clip, progress: &(dyn Fn(f64) + Sync)) -> Result<Self, FootageError> {
        let frame_bytes = clip.info().width as usize * clip.info().height as usize;
        let count = (MAX_BYTES / frame_bytes.max(1)).clamp(MIN_FRAMES, MAX_FRAMES);
        clip.reserve_memory((count * frame_bytes).min(MAX_BYTES));
        let reduction = Reduction::of((clip.info().width, clip.info().height));
        let sampled = sample_with(clip, count, progress, &|luma| match reduction.is_none() {
            true => luma.to_image(),
            false => reduction.reduced(&luma.to_image()),
        })?;
        // The recogniser needs frames with the noise of the clip; the search works better without noise. Reduction has averaged
        // the noise already.
        let is_noisy = reduction.is_none() && is_noisy(&sampled);
        let keeps_whole = reduction.is_none() && (!is_noisy || count * frame_bytes <= MAX_KEPT_BYTES);
        let (searched, whole) = match (is_noisy, keeps_whole) {
            (true, true) => (temporal_medians(clip, sampled.clone())?, Some(sampled)),
            (true, false) => (temporal_medians(clip, sampled)?, None),
            (false, _) => (sampled, None),
        };
        clip.close();
        let searched = SampledFrames::from(searched);
        let mut found: Vec<(Proposal, Option<DecipheredReadout>)> = Vec::new();
        for proposal in propose(&searched.images) {
            let readout = decipher(&searched, proposal.rect)
                .filter(|readout| found.iter().all(|earlier| is_clear_of(readout, earlier)));
            found.push((proposal, readout));
        }
        read_words(&searched, found.iter_mut().filter_map(|(_, readout)| readout.as_mut()));
        for (proposal, readout) in &mut found {
            proposal.rect = reduction.in_whole_frame(proposal.rect);
            if let Some(readout) = readout {
                readout.rect = reduction.in_whole_frame(readout.rect);
            }
        }
        let times_s = searched.times_s.clone();
        let whole = whole.map(SampledFrames::from).or_else(|| keeps_whole.then_some(searched));
        Ok(Self { times_s, whole, found })
    }

    /// The pixels of regions in all frames searched.
    pub(super) fn sample(&self, regions: &[Region], clip: &mut Clip) -> Result<Sample, FootageError> {
        let mut sample = Sample::new(regions.len());
        for (time_s, patches) in self.on_whole_frames(clip, &|luma| Sample::cut(regions, luma))? {
            sample.add(patches, time_s);
        }
        Ok(sample)
    }

    /// Reads regions in all frames searched. `sample` has their pixels.
    pub(super) fn read(
        &self,
        regions: &[Region],
        sets: &[GlyphSet],
        sample: &Sample,
        clip: &mut Clip,
    ) -> Result<Vec<TimedReadings>, FootageError> {
        let recogniser = Recogniser::calibrate(regions, sets, sample);
        self.on_whole_frames(clip, &|luma| recogniser.read(luma))
    }

    /// Runs `work` on the whole frames that were searched, each with its time in seconds. They are decoded again if they were
    /// not kept.
    fn on_whole_frames<T: Send>(
        &self,
        clip: &mut Clip,
        work: &(dyn Fn(LumaPlane<'_>) -> T + Sync),
    ) -> Result<Vec<(f64, T)>, FootageError> {
        if let Some(frames) = &self.whole {
            let frames = frames.times_s.iter().zip(&frames.images);
            return Ok(frames.map(|(time_s, image)| (*time_s, work(LumaPlane::of(image)))).collect());
        }
        let whole = PixelRect::new(0, 0, clip.info().width, clip.info().height);
        // Returns what deciphering has freed to the system before decoders take memory again.
        clip.close();
        let found = clip.process_at(&self.times_s, &[whole], work)?;
        let found = found.into_iter().filter(|frame| self.times_s.contains(&frame.time_s));
        Ok(found.map(|frame| (frame.time_s, frame.output)).collect())
    }

    /// The deciphered readouts.
    pub(super) fn readouts(&self) -> Vec<&DecipheredReadout> {
        self.all_readouts().filter(|readout| is_certain(readout)).collect()
    }

    /// The readouts whose texts are too uncertain.
    pub(super) fn uncertain(&self) -> Vec<&DecipheredReadout> {
        self.all_readouts().filter(|readout| !is_certain(readout)).collect()
    }

    fn all_readouts(&self) -> impl Iterator<Item = &DecipheredReadout> {
        self.found.iter().filter_map(|(_, readout)| readout.as_ref())
    }

    /// The boxes that do not overlap one of these readouts.
    pub(super) fn boxes_without(&self, readouts: &[&DecipheredReadout]) -> Vec<PixelRect> {
        let boxes = self
            .found
            .iter()
            .map(|(proposal, readout)| readout.as_ref().map_or(proposal.rect, |one| one.rect));
        boxes.filter(|rect| !readouts.iter().any(|readout| readout.rect.overlaps(*rect))).collect()
    }

    /// The boxes in which nothing was deciphered, or only an uncertain readout.
    pub(super) fn undeciphered(&self) -> impl Iterator<Item = &Proposal> {
        let found = self.found.iter().filter(|(_, readout)| !readout.as_ref().is_some_and(is_certain));
        found.map(|(proposal, _)| proposal)
    }

    /// The whole frame at the time `time_s` in seconds, of a frame that was searched; `None` if there is none.
    pub(super) fn whole_frame(
        &self,
        clip: &mut Clip,
        time_s: f64,
    ) -> Result<Option<GrayImage>, FootageError> {
        if let Some(frames) = &self.whole {
            return Ok(frames.image_at(time_s).cloned());
        }
        Ok(frames_near(clip, &[time_s])?.pop().map(|frame| frame.image))
    }

    /// A whole frame from the middle of the clip, with its time in seconds; `None` if no frame was sampled.
    pub(super) fn still(&self, clip: &mut Clip) -> Result<Option<(f64, GrayImage)>, FootageError> {
        let Some(time_s) = self.times_s.get(self.times_s.len() / 2) else { return Ok(None) };
        Ok(self.whole_frame(clip, *time_s)?.map(|frame| (*time_s, frame)))
    }
}
