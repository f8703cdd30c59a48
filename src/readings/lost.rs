//! Lost pictures: stretches in which the recording shows nothing of the flight.
//!
//! A link that fails leaves static, or a blue or black screen; a recorder that gets no new frames repeats the last
//! one, whose numbers are then stale. What is said here of real recordings is common practice, no source.

use image::GrayImage;
use rayon::prelude::*;

use super::fingerprint::FrameFingerprint;
use crate::recognise::Sample;
use crate::series::{Blank, ChannelReadings, LostLook, LostPicture, Readings};

/// A screen with less spread than this, in grey levels, is empty.
const EMPTY_SPREAD: f32 = 3.5;

/// Static is rougher than the clip's usual picture by this factor, and by so many grey levels.
const STATIC_ROUGHER: (f32, f32) = (1.5, 8.0);

/// A picture repeated for longer than this, in seconds, is frozen: readouts are renewed several times a
/// second, and in flight the scenery moves between any two frames.
const FROZEN_S: f64 = 1.0;

/// For repeated pictures to mean anything so much of a clip must be other pictures, and of those so many must
/// differ from the frame before: readouts on black bars stand still for as long as their numbers do.
const MOVING_SHARE: f64 = 0.2;
const CHANGING_SHARE: f64 = 0.4;

/// A stretch of one picture repeated.
#[derive(Debug, Clone, Copy)]
struct Still {
    first: usize,
    last: usize,
}

/// Watches the frames of a recording go by.
pub(super) struct Watch {
    usual_roughness: f32,
    /// Why each frame is lost, as far as a single frame tells.
    looks: Vec<Option<LostLook>>,
    /// The picture that is shown at present, and since when.
    shown: Option<(FrameFingerprint, usize, f64)>,
    last_s: f64,
    /// Frames that show another picture than the one before.
    changes: usize,
    stills: Vec<Still>,
}

impl Watch {
    /// Learns from a sample what the clip's picture is usually like.
    pub fn of(sample: &Sample) -> Self {
        let frames = sample.regions.iter().map(Vec::len).min().unwrap_or(0);
        let crops = |frame: usize| -> Vec<GrayImage> {
            sample.regions.iter().map(|patches| patches[frame].crop()).collect()
        };
        let roughness = |frame: usize| FrameFingerprint::of(&crops(frame)).roughness;
        let mut roughness: Vec<f32> = (0..frames).into_par_iter().map(roughness).collect();
        roughness.sort_by(f32::total_cmp);
        let usual_roughness = roughness.get(frames / 2).copied().unwrap_or(f32::INFINITY);
        Self { usual_roughness, looks: Vec::new(), shown: None, last_s: 0.0, changes: 0, stills: Vec::new() }
    }

    /// Takes the next frame, and says whether it is lost for itself. `legible`: some region shows a text;
    /// `damaged`: the decoder could not make the frame out.
    pub fn see(&mut self, fingerprint: FrameFingerprint, time_s: f64, legible: bool, damaged: bool) -> bool {
        let rough = is_rough(fingerprint.roughness, self.usual_roughness);
        let look = match () {
            () if damaged => Some(LostLook::Damaged),
            () if legible => None,
            () if fingerprint.spread < EMPTY_SPREAD => Some(LostLook::Empty),
            () if rough => Some(LostLook::Static),
            () => None,
        };
        let same = self.shown.as_ref().is_some_and(|(shown, ..)| fingerprint.is_same(shown));
        if !same {
            self.end_still();
            self.changes += 1;
            self.shown = Some((fingerprint, self.looks.len(), time_s));
        }
        self.last_s = time_s;
        self.looks.push(look);
        look.is_some()
    }

    /// Notes the picture shown up to here if it was shown for long.
    fn end_still(&mut self) {
        if let Some((_, first, since_s)) = self.shown.take()
            && self.last_s - since_s > FROZEN_S
        {
            self.stills.push(Still { first, last: self.looks.len() - 1 });
        }
    }

    /// Blanks what was read of frozen pictures but for their first frame, and gives all stretches that are
    /// lost.
    pub fn finish(mut self, channels: &mut [ChannelReadings], time_s: &[f64]) -> Vec<LostPicture> {
        self.end_still();
        let frozen: usize = self.stills.iter().map(|still| still.last - still.first).sum();
        let moving = self.looks.len().saturating_sub(frozen) as f64;
        let moves = moving >= MOVING_SHARE * self.looks.len() as f64;
        if moves && self.changes as f64 >= CHANGING_SHARE * moving {
            for still in &self.stills {
                for frame in still.first + 1..=still.last {
                    self.looks[frame].get_or_insert(LostLook::Frozen);
                    channels.iter_mut().for_each(|channel| channel.leave_blank(frame, Blank::LostPicture));
                }
            }
        }
        stretches(&self.looks, time_s)
    }
}

/// Whether a picture is as rough as static, against the clip's usual picture.
pub(super) fn is_rough(roughness: f32, usual_roughness: f32) -> bool {
    let (factor, levels) = STATIC_ROUGHER;
    roughness > (factor * usual_roughness).max(usual_roughness + levels)
}

/// Neighbouring frames that are lost in one way.
fn stretches(looks: &[Option<LostLook>], time_s: &[f64]) -> Vec<LostPicture> {
    let mut first = 0;
    let runs = looks.chunk_by(|one, next| one == next).filter_map(|run| {
        let from = first;
        first += run.len();
        let end_s = *time_s.get(first).or(time_s.last())?;
        Some(LostPicture { start_s: *time_s.get(from)?, end_s, frames: run.len(), look: (*run.first()?)? })
    });
    runs.collect()
}

/// Most stretches that are told of one by one.
const MOST_TOLD: usize = 4;

/// A sentence for every stretch that is lost for longer than an update of the overlay; of many the longest.
#[must_use]
pub fn lost_sentences(readings: &Readings) -> Vec<String> {
    let length_s = |lost: &LostPicture| lost.end_s - lost.start_s;
    let mut long: Vec<&LostPicture> = readings.lost.iter().filter(|lost| length_s(lost) >= TOLD_S).collect();
    let more = long.len().saturating_sub(MOST_TOLD);
    long.sort_by(|one, other| length_s(other).total_cmp(&length_s(one)));
    long.truncate(MOST_TOLD);
    long.sort_by(|one, other| one.start_s.total_cmp(&other.start_s));
    let sentence = |lost: &&LostPicture| {
        let seen = match lost.look {
            LostLook::Damaged => "the decoder cannot make out its frames",
            LostLook::Static => "static",
            LostLook::Empty => "an empty screen",
            LostLook::Frozen => "one frame repeated",
        };
        format!("The picture is lost from {:.1} s to {:.1} s: {seen}.", lost.start_s, lost.end_s)
    };
    let and_more =
        (more > 0).then(|| format!("The picture is lost for shorter times in {more} more places."));
    long.iter().map(sentence).chain(and_more).collect()
}

/// Stretches shorter than this, in seconds, are not told of.
const TOLD_S: f64 = 0.2;
