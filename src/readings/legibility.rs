//! Legibility: which channels cannot be read in a recording, from which frames they can be taught, and which digits
//! are unknown.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use image::GrayImage;
use ndarray::Array2;

use super::fingerprint::FrameFingerprint;
use super::lost::is_rough;
use super::prepare::{Prepared, is_readable, readable_share};
use crate::footage::ClipSpan;
use crate::model::channel::Channel;
use crate::recognise::HighPass;
use crate::recognise::{Patch, correlation};
use crate::series::{Blank, Readings};

/// Frames proposed for labelling, at most.
const MOST_PROPOSED: usize = 3;

/// A region shows something where its strokes reach this share of those in the frames that show most, and this many
/// levels: scenery and noise alone stay below.
const LEAST_STROKES: (f32, f32) = (0.5, 20.0);

/// Quantile of the features' sizes that stands for the strokes, and quantile of the frames that show most.
const STROKES_QUANTILE: f32 = 0.95;
const FULL_QUANTILE: f32 = 0.9;

/// Pictures of a region that correlate more than this show the same text.
const SAME_TEXT: f32 = 0.9;

/// Width of a digit's cell that pictures are compared with, as a share of the region's height.
const CELL_WIDTH: f32 = 0.4;

/// What could be read of a recording at all.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Legibility {
    /// The channels that are left blank throughout.
    pub unread: Vec<UnreadChannel>,
    /// Digits missing from the glyphs of the channels that are read, in ascending order; channels whose digits are all
    /// known are left out.
    pub unknown_digits: BTreeMap<Channel, String>,
}

/// A channel that cannot be read in a recording.
#[derive(Debug, Clone, PartialEq)]
pub struct UnreadChannel {
    /// The channel.
    pub channel: Channel,
    /// Why it cannot be read.
    pub cause: UnreadCause,
    /// The camera setup file.
    pub setup_file: PathBuf,
    /// The clip to label.
    pub clip: PathBuf,
    /// Frames of that clip from which the channel can be taught, at most three, in seconds from the clip's first
    /// frame; none where its region shows nothing.
    pub teach_at_s: Vec<f64>,
}

/// Why a channel cannot be read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum UnreadCause {
    /// No known glyphs fit what its region shows.
    NoGlyphsFit,
    /// It is readable in hardly any of the sampled frames.
    RarelyReadable {
        /// Share of the sampled frames in which it is, 0 to 1.
        share: f64,
    },
}

impl Legibility {
    /// What of a recording, made of these clips, can be read with what was prepared for it.
    #[must_use]
    pub fn of(prepared: &Prepared, spans: &[ClipSpan], setup_file: &Path) -> Self {
        let Prepared { setup, recogniser, sample, .. } = prepared;
        let no_glyphs = recogniser.unread_channels();
        let mut legibility = Self::default();
        for (number, region) in setup.regions.iter().enumerate() {
            let channel = &region.channel;
            if is_readable(number, recogniser, sample) {
                let digits = recogniser.unknown_digits(channel);
                if !digits.is_empty() {
                    legibility.unknown_digits.insert(channel.clone(), digits);
                }
                continue;
            }
            let cause = match no_glyphs.contains(&channel) {
                true => UnreadCause::NoGlyphsFit,
                false => UnreadCause::RarelyReadable { share: readable_share(number, recogniser, sample) },
            };
            let patches = sample.regions.get(number).map_or(&[][..], Vec::as_slice);
            let (clip, teach_at_s) = in_one_clip(&times_to_label(patches), spans);
            legibility.unread.push(UnreadChannel {
                channel: channel.clone(),
                cause,
                setup_file: setup_file.to_owned(),
                clip,
                teach_at_s,
            });
        }
        legibility
    }

    /// Whether a channel cannot be read, and why.
    #[must_use]
    pub fn unread(&self, channel: &Channel) -> Option<&UnreadChannel> {
        self.unread.iter().find(|unread| unread.channel == *channel)
    }

    /// Leaves the channels that cannot be read blank throughout: the few readings that there may be were made with
    /// glyphs that do not fit.
    pub fn leave_blank(&self, readings: &mut Readings) {
        let is_read = |channel: &Channel| self.unread(channel).is_none();
        for readout in readings.channels.iter_mut().filter(|readout| !is_read(&readout.channel)) {
            for frame in 0..readout.blank.len() {
                if readout.blank[frame] != Blank::LostPicture {
                    readout.leave_blank(frame, Blank::GlyphsUnknown);
                }
            }
        }
        let crops = &mut readings.crops;
        crops.speed.retain(|crop| is_read(&crop.channel));
        crops.least_sure.retain(|crop| is_read(&crop.channel));
    }
}

/// A sampled picture of a region that shows something.
struct Shows {
    time_s: f64,
    strokes: f32,
    features: Array2<f32>,
}

/// Times of sampled frames whose pictures of a region show something, and show it most differently from each other:
/// so the labels cover as many digits as they can. In order of time.
fn times_to_label(patches: &[Patch]) -> Vec<f64> {
    let mut left = shows_something(patches);
    let mut chosen: Vec<Shows> = Vec::new();
    while chosen.len() < MOST_PROPOSED {
        let likeness = |shows: &Shows| {
            let alike = chosen.iter().map(|other| correlation(&other.features, &shows.features));
            alike.fold(f32::NEG_INFINITY, f32::max)
        };
        let rated: Vec<f32> = left.iter().map(likeness).collect();
        // The first one is the one with the strongest strokes, since all are equally unlike nothing.
        let next = (0..left.len()).filter(|index| rated[*index] <= SAME_TEXT).min_by(|one, other| {
            rated[*one].total_cmp(&rated[*other]).then(left[*other].strokes.total_cmp(&left[*one].strokes))
        });
        let Some(next) = next else { break };
        chosen.push(left.swap_remove(next));
    }
    let mut times_s: Vec<f64> = chosen.iter().map(|shows| shows.time_s).collect();
    times_s.sort_by(f64::total_cmp);
    times_s
}

fn shows_something(patches: &[Patch]) -> Vec<Shows> {
    let crops: Vec<GrayImage> = patches.iter().map(Patch::crop).collect();
    let roughness: Vec<f32> = crops.iter().map(|crop| FrameFingerprint::of([crop]).roughness).collect();
    let usual_roughness = quantile(roughness.clone(), 0.5);
    let shows: Vec<Shows> = patches
        .iter()
        .zip(&crops)
        .zip(roughness)
        .filter(|(_, roughness)| !is_rough(*roughness, usual_roughness))
        .map(|((patch, crop), _)| {
            let features = features(crop);
            let strokes = quantile(features.iter().map(|level| level.abs()).collect(), STROKES_QUANTILE);
            Shows { time_s: patch.time_s, strokes, features }
        })
        .collect();
    let full = quantile(shows.iter().map(|shows| shows.strokes).collect(), FULL_QUANTILE);
    let least = (LEAST_STROKES.0 * full).max(LEAST_STROKES.1);
    shows.into_iter().filter(|shows| shows.strokes >= least).collect()
}

fn features(crop: &GrayImage) -> Array2<f32> {
    let shape = (crop.height() as usize, crop.width() as usize);
    let levels = Array2::from_shape_fn(shape, |(y, x)| f32::from(crop.get_pixel(x as u32, y as u32).0[0]));
    HighPass::for_cell_width((CELL_WIDTH * crop.height() as f32).max(1.0)).apply(&levels)
}

/// A quantile of some values, 0 of none.
fn quantile(mut values: Vec<f32>, share: f32) -> f32 {
    values.sort_by(f32::total_cmp);
    let place = (share * values.len().saturating_sub(1) as f32).round() as usize;
    values.get(place).copied().unwrap_or(0.0)
}

/// The clip that most of some times of a recording lie in, and those of them, in seconds from its first frame.
fn in_one_clip(times_s: &[f64], spans: &[ClipSpan]) -> (PathBuf, Vec<f64>) {
    let span_of = |time_s: f64| spans.iter().rev().find(|span| span.start_s <= time_s + 1e-6);
    let within = |span: &ClipSpan| -> Vec<f64> {
        let own = |time_s: &&f64| span_of(**time_s).is_some_and(|other| other.path == span.path);
        times_s.iter().filter(own).map(|time_s| (time_s - span.start_s).max(0.0)).collect()
    };
    // Of equals the first: `max_by_key` takes the last.
    let most = spans.iter().rev().max_by_key(|span| within(span).len());
    most.map_or_else(Default::default, |span| (span.path.clone(), within(span)))
}

#[cfg(test)]
#[path = "legibility_tests.rs"]
mod tests;
