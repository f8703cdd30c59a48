//! Signal loss: intervals in which the recording shows nothing of the flight.
//!
//! A failing video link leaves an image of noise (static), or a blue or black screen. A recorder without new frames
//! repeats the last one, whose numbers are then stale (common practice, no source).

use image::GrayImage;
use rayon::prelude::*;

use super::fingerprint::FrameFingerprint;
use crate::recognise::Sample;
use crate::series::{Blank, ChannelReadings, Readings, SignalLoss, SignalLossKind};
use crate::stats::upper_median;

/// Maximum standard deviation of the block means of each box on an empty screen, in grey levels. Set by judgement.
const MAX_EMPTY_SPREAD: f32 = 3.5;

/// Minimum roughness of a frame that shows only noise (static). Roughness is the mean absolute difference of
/// neighbouring pixels. The minimum is the larger of two levels: the median roughness of the sample times the first
/// number, and this median plus the second number, in grey levels. Set by judgement.
const MIN_STATIC_ROUGHNESS: (f32, f32) = (1.5, 8.0);

/// Minimum time for which copies of one frame follow each other for the frame to be frozen, in seconds: readouts are
/// updated several times a second, and in flight the scene moves between any two frames. Set by judgement.
const MIN_FROZEN_S: f64 = 1.0;

/// Minimum share of all frames that are not repeats of a frozen frame. With fewer, the repeats are not treated as
/// signal loss. Set by judgement.
const MIN_MOVING_SHARE: f64 = 0.2;
/// Minimum share of frames that differ from the frame before, among all frames that are not repeats of a frozen frame.
/// With fewer, the repeats are not treated as signal loss: readouts on black bars do not change until their numbers do.
/// Set by judgement.
const MIN_CHANGING_SHARE: f64 = 0.4;

/// A run of copies of the same frame, from the index of its first to that of its last copy.
#[derive(Debug, Clone, Copy)]
struct FrozenRun {
    first: usize,
    last: usize,
}

/// Detects signal loss frame by frame.
pub(super) struct SignalLossDetector {
    usual_roughness: f32,
    /// The kind of signal loss in each frame, judged by that frame alone; `None` if the signal is not lost.
    losses: Vec<Option<SignalLossKind>>,
    /// Fingerprint, index and time in seconds of the first copy of the frame that is shown now; `None` before
    /// the first frame.
    shown: Option<(FrameFingerprint, usize, f64)>,
    last_s: f64,
    /// Number of frames that differ from the frame before.
    changes: usize,
    frozen: Vec<FrozenRun>,
}

impl SignalLossDetector {
    /// A detector for the recording that the sample was taken from.
    pub fn new(sample: &Sample) -> Self {
        let frames = sample.regions.iter().map(Vec::len).min().unwrap_or(0);
        let crops = |frame: usize| -> Vec<GrayImage> {
            sample.regions.iter().map(|patches| patches[frame].crop()).collect()
        };
        let roughness = |frame: usize| FrameFingerprint::of(&crops(frame)).roughness;
        let mut roughness: Vec<f32> = (0..frames).into_par_iter().map(roughness).collect();
        let usual_roughness = upper_median(&mut roughness).unwrap_or(f32::INFINITY);
        Self { usual_roughness, losses: Vec::new(), shown: None, last_s: 0.0, changes: 0, frozen: Vec::new() }
    }

    /// Adds the next frame. Returns whether its signal is lost, judged by that frame alone. `legible` tells
    /// whether some region shows a text, `damaged` whether the decoder could not decode the frame.
    pub fn push(&mut self, fingerprint: FrameFingerprint, time_s: f64, legible: bool, damaged: bool) -> bool {
        let is_rough = is_rough(fingerprint.roughness, self.usual_roughness);
        let loss = match () {
            () if damaged => Some(SignalLossKind::Damaged),
            () if legible => None,
            () if fingerprint.spread < MAX_EMPTY_SPREAD => Some(SignalLossKind::Empty),
            () if is_rough => Some(SignalLossKind::Static),
            () => None,
        };
        let is_same = self.shown.as_ref().is_some_and(|(shown, ..)| fingerprint.is_same(shown));
        if !is_same {
            self.end_run();
            self.changes += 1;
            self.shown = Some((fingerprint, self.losses.len(), time_s));
        }
        self.last_s = time_s;
        self.losses.push(loss);
        loss.is_some()
    }

    /// Records the current run of copies as frozen, if it is long enough.
    fn end_run(&mut self) {
        if let Some((_, first, since_s)) = self.shown.take()
            && self.last_s - since_s > MIN_FROZEN_S
        {
            self.frozen.push(FrozenRun { first, last: self.losses.len() - 1 });
        }
    }

    /// Blanks the readings of frozen frames, except those of the first copy. Returns all intervals of signal
    /// loss.
    pub fn finish(mut self, channels: &mut [ChannelReadings], time_s: &[f64]) -> Vec<SignalLoss> {
        self.end_run();
        let repeated: usize = self.frozen.iter().map(|run| run.last - run.first).sum();
        let moving = self.losses.len().saturating_sub(repeated) as f64;
        let is_moving = moving >= MIN_MOVING_SHARE * self.losses.len() as f64;
        if is_moving && self.changes as f64 >= MIN_CHANGING_SHARE * moving {
            for run in &self.frozen {
                for frame in run.first + 1..=run.last {
                    self.losses[frame].get_or_insert(SignalLossKind::Frozen);
                    channels.iter_mut().for_each(|channel| channel.leave_blank(frame, Blank::SignalLost));
                }
            }
        }
        intervals(&self.losses, time_s)
    }
}

/// Whether a frame is so rough that it shows only noise (static). `roughness` is that of the frame, `usual_roughness`
/// the median of the sample, both in grey levels.
pub(super) fn is_rough(roughness: f32, usual_roughness: f32) -> bool {
    let (factor, levels) = MIN_STATIC_ROUGHNESS;
    roughness > (factor * usual_roughness).max(usual_roughness + levels)
}

/// Intervals of consecutive frames with the same kind of signal loss.
fn intervals(losses: &[Option<SignalLossKind>], time_s: &[f64]) -> Vec<SignalLoss> {
    let mut first = 0;
    let runs = losses.chunk_by(|one, next| one == next).filter_map(|run| {
        let from = first;
        first += run.len();
        let end_s = *time_s.get(first).or(time_s.last())?;
        Some(SignalLoss { start_s: *time_s.get(from)?, end_s, frames: run.len(), kind: (*run.first()?)? })
    });
    runs.collect()
}

/// Maximum number of intervals of signal loss that are reported one by one. Set by judgement.
const MAX_REPORTED: usize = 4;

/// A sentence for every interval of signal loss that is longer than an update of the overlay; only the
/// longest ones if there are many.
#[must_use]
pub fn lost_sentences(readings: &Readings) -> Vec<String> {
    let length_s = |lost: &SignalLoss| lost.end_s - lost.start_s;
    let mut long: Vec<&SignalLoss> =
        readings.lost.iter().filter(|lost| length_s(lost) >= MIN_REPORTED_S).collect();
    let more = long.len().saturating_sub(MAX_REPORTED);
    long.sort_by(|one, other| length_s(other).total_cmp(&length_s(one)));
    long.truncate(MAX_REPORTED);
    long.sort_by(|one, other| one.start_s.total_cmp(&other.start_s));
    let sentence = |lost: &&SignalLoss| {
        let seen = match lost.kind {
            SignalLossKind::Damaged => "the frames cannot be decoded",
            SignalLossKind::Static => "the recording shows static",
            SignalLossKind::Empty => "the recording shows an empty screen",
            SignalLossKind::Frozen => "the image is frozen",
        };
        format!("The video signal is lost from {:.1} s to {:.1} s: {seen}.", lost.start_s, lost.end_s)
    };
    let and_more = (more > 0).then(|| format!("The video signal is also lost in {more} shorter intervals."));
    long.iter().map(sentence).chain(and_more).collect()
}

/// Minimum length of an interval of signal loss that is reported, in seconds. Set by judgement.
const MIN_REPORTED_S: f64 = 0.2;
