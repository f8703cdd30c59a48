//! Channel readers: smooth the observations of one channel over time in blocks of frames, and keep the
//! outcomes and some crops.

use image::GrayImage;

use super::calibration::calibrated;
use super::crop_sampler::CropSampler;
use super::frame_observation::{ChannelLimits, FrameObservation, Posterior};
use super::posteriors::posteriors;
use super::run_lengths::{FrameOutcome, RunLengths};
use crate::recognise::TextLegibility;
use crate::series::{Blank, ChannelReadings, Crop};

/// Number of frames that are smoothed in one block. Set by judgement.
const BLOCK_FRAMES: usize = 512;

/// Number of frames before and after a block that are smoothed together with the block, as context. Set by judgement.
const CONTEXT_FRAMES: usize = 48;

/// Reads one channel from its observations.
pub(super) struct ChannelReader {
    /// The channel's description, with empty lists of readings.
    channel: ChannelReadings,
    runs: RunLengths,
    limits: ChannelLimits,
    min_confidence: f32,
    /// Observations of the frames still to be smoothed, preceded by the context: frames that are already smoothed, but
    /// are needed to smooth the others.
    frames: Vec<FrameObservation>,
    /// The region's pixels in the frames of `frames`.
    crops: Vec<GrayImage>,
    /// Number of frames of context at the start of `frames`.
    context: usize,
    sampler: CropSampler,
}

impl ChannelReader {
    /// A reader for a channel. `traces` tells whether the encoder may leave traces of the previous text.
    pub(super) fn new(channel: ChannelReadings, min_confidence: f32, traces: bool) -> Self {
        let (quantum, range, max_rate) = (channel.quantum(), channel.range, channel.max_rate);
        let limits = ChannelLimits { quantum, range, max_rate, traces };
        let sampler = CropSampler::new(&channel.channel);
        Self {
            channel,
            runs: RunLengths::default(),
            limits,
            min_confidence,
            frames: Vec::new(),
            crops: Vec::new(),
            context: 0,
            sampler,
        }
    }

    /// Adds the next frame.
    pub(super) fn push(&mut self, frame: FrameObservation, crop: GrayImage) {
        self.frames.push(frame);
        self.crops.push(crop);
        if self.frames.len() >= self.context + BLOCK_FRAMES + CONTEXT_FRAMES {
            self.read_block(self.frames.len() - CONTEXT_FRAMES);
        }
    }

    /// Reads the remaining frames. Returns the channel's description, its readings and its crops.
    pub(super) fn finish(mut self) -> ((ChannelReadings, RunLengths), CropSampler) {
        self.read_block(self.frames.len());
        ((self.channel, self.runs), self.sampler)
    }

    /// Reads the frames before index `end` of `frames`, and keeps the last of them as context for the following ones.
    fn read_block(&mut self, end: usize) {
        let posteriors = posteriors(&self.frames, &self.limits);
        let frames = self.frames.iter().zip(&mut self.crops).zip(posteriors);
        for ((frame, pixels), posterior) in frames.take(end).skip(self.context) {
            let outcome = outcome(frame, posterior, (self.min_confidence, &self.limits));
            self.runs.push(outcome);
            if outcome.blank == Blank::No {
                self.sampler.offer(Crop {
                    channel: self.channel.channel.clone(),
                    time_s: frame.time_s,
                    value: outcome.value,
                    decimals: self.channel.decimals,
                    confidence: outcome.confidence,
                    image: std::mem::take(pixels),
                });
            }
        }
        let done = end.saturating_sub(CONTEXT_FRAMES);
        self.frames.drain(..done);
        self.crops.drain(..done);
        self.context = end.min(CONTEXT_FRAMES);
    }
}

/// The outcome of one frame: its reading, or the reason why it is blank.
fn outcome(
    frame: &FrameObservation,
    posterior: Option<Posterior>,
    (min_confidence, limits): (f32, &ChannelLimits),
) -> FrameOutcome {
    let is_implausible = frame.observation.legibility == TextLegibility::Legible
        && frame.observation.candidates.first().is_some_and(|best| !limits.allow(best.value));
    match posterior.map(|posterior| (posterior.value, calibrated(posterior.probability))) {
        _ if frame.lost => FrameOutcome::blank(Blank::SignalLost),
        Some((value, confidence)) if confidence >= min_confidence => {
            FrameOutcome { value, confidence, blank: Blank::No }
        }
        _ if is_implausible => FrameOutcome::blank(Blank::OutOfRange),
        _ => FrameOutcome::blank(match frame.observation.legibility {
            TextLegibility::Nothing => Blank::Empty,
            TextLegibility::UnknownDigit => Blank::DigitUnknown,
            TextLegibility::Illegible | TextLegibility::Legible => Blank::Unclear,
        }),
    }
}
