//! Legibility of the channels: which channels cannot be read in a recording, which frames to label for them,
//! and which digits have no glyph.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use image::GrayImage;
use ndarray::Array2;

use super::fingerprint::FrameFingerprint;
use super::prepare::{Prepared, is_readable, readable_share};
use super::signal_loss::is_rough;
use crate::footage::ClipSpan;
use crate::model::channel::Channel;
use crate::recognise::HighPass;
use crate::recognise::{Patch, correlation};
use crate::series::{Blank, Readings};
use crate::stats::nearest_rank;

/// Maximum number of frames proposed for labelling. Set by judgement.
const MAX_PROPOSED: usize = 3;

/// Minimum stroke level (see [`STROKE_QUANTILE`]) of a region that shows a text: as a share of the stroke level of the
/// channel's strongest texts, and in grey levels. Both minima must be reached; background and noise alone stay below.
/// Set by judgement.
const MIN_STROKE_LEVEL: (f32, f32) = (0.5, 20.0);

/// The stroke level of a region is this quantile of the magnitudes of the region's features, in grey levels. Set by
/// judgement.
const STROKE_QUANTILE: f32 = 0.95;
/// The stroke level of a channel's strongest texts is this quantile of the stroke levels of its sampled frames. Set by
/// judgement.
const FULL_QUANTILE: f32 = 0.9;

/// Maximum correlation between the features of two frames that are treated as showing different texts. Set by
/// judgement.
const MAX_CORRELATION: f32 = 0.9;

/// Assumed width of a digit's cell, as a share of the region's height. Set by judgement.
const CELL_WIDTH: f32 = 0.4;

/// Which channels of a recording can be read.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ChannelLegibility {
    /// The channels that cannot be read and are therefore blank in all frames.
    pub unread: Vec<UnreadChannel>,
    /// For each channel that is read, the digits that lack a glyph, in ascending order; channels with glyphs
    /// for all digits are left out.
    pub unknown_digits: BTreeMap<Channel, String>,
}

/// A channel that cannot be read in a recording.
#[derive(Debug, Clone, PartialEq)]
pub struct UnreadChannel {
    /// The channel.
    pub channel: Channel,
    /// Why the channel cannot be read.
    pub cause: UnreadCause,
    /// Path of the camera setup file.
    pub setup_file: PathBuf,
    /// Path of the clip whose frames the pilot can label.
    pub clip: PathBuf,
    /// Times of up to three frames of `clip` to label, in seconds from the clip's first frame; empty if the region
    /// shows no text.
    pub label_at_s: Vec<f64>,
    /// The command that teaches the digits of the channel, divided into parts that each stay on one line of the
    /// results. The command line program sets it; `None` elsewhere, where there are no commands.
    pub command: Option<Vec<String>>,
}

/// Why a channel cannot be read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum UnreadCause {
    /// The channel's region shows no known glyphs.
    NoGlyphsFit,
    /// The channel is readable in too few of the sampled frames.
    RarelyReadable {
        /// Share of the sampled frames in which the channel is readable, 0 to 1.
        share: f64,
    },
}

impl ChannelLegibility {
    /// Determines the legibility of the channels of a recording that consists of the clips in `spans`.
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
            let (clip, label_at_s) = in_one_clip(&times_to_label(patches), spans);
            legibility.unread.push(UnreadChannel {
                channel: channel.clone(),
                cause,
                setup_file: setup_file.to_owned(),
                clip,
                label_at_s,
                command: None,
            });
        }
        legibility
    }

    /// Why a channel cannot be read; `None` if it can be read.
    #[must_use]
    pub fn unread(&self, channel: &Channel) -> Option<&UnreadChannel> {
        self.unread.iter().find(|unread| unread.channel == *channel)
    }

    /// Blanks all readings of the channels that cannot be read. Such channels may have a few readings from
    /// glyphs that do not fit.
    pub fn leave_blank(&self, readings: &mut Readings) {
        let is_read = |channel: &Channel| self.unread(channel).is_none();
        for readout in readings.channels.iter_mut().filter(|readout| !is_read(&readout.channel)) {
            for frame in 0..readout.blank.len() {
                if readout.blank[frame] != Blank::SignalLost {
                    readout.leave_blank(frame, Blank::GlyphsUnknown);
                }
            }
        }
        let crops = &mut readings.crops;
        crops.speed.retain(|crop| is_read(&crop.channel));
        crops.least_confident.retain(|crop| is_read(&crop.channel));
    }
}

/// A sampled frame in which a region shows a text.
struct ShownText {
    time_s: f64,
    /// Stroke level of the region in grey levels: a high quantile of the magnitudes of its features.
    stroke_level: f32,
    features: Array2<f32>,
}

/// Times in seconds of the sampled frames to label, in ascending order. Their texts differ as much as
/// possible, so that the labels cover many digits.
fn times_to_label(patches: &[Patch]) -> Vec<f64> {
    let mut left = shown_texts(patches);
    let mut chosen: Vec<ShownText> = Vec::new();
    while chosen.len() < MAX_PROPOSED {
        let likeness = |shown: &ShownText| {
            let correlations = chosen.iter().map(|other| correlation(&other.features, &shown.features));
            correlations.fold(f32::NEG_INFINITY, f32::max)
        };
        let rated: Vec<f32> = left.iter().map(likeness).collect();
        // The first frame to label is the one with the strongest strokes, since there is nothing to compare
        // it with yet.
        let next = (0..left.len()).filter(|index| rated[*index] <= MAX_CORRELATION).min_by(|one, other| {
            rated[*one]
                .total_cmp(&rated[*other])
                .then(left[*other].stroke_level.total_cmp(&left[*one].stroke_level))
        });
        let Some(next) = next else { break };
        chosen.push(left.swap_remove(next));
    }
    let mut times_s: Vec<f64> = chosen.iter().map(|shown| shown.time_s).collect();
    times_s.sort_by(f64::total_cmp);
    times_s
}

/// The sampled frames in which a region shows a text.
fn shown_texts(patches: &[Patch]) -> Vec<ShownText> {
    let crops: Vec<GrayImage> = patches.iter().map(Patch::crop).collect();
    let roughness: Vec<f32> = crops.iter().map(|crop| FrameFingerprint::of([crop]).roughness).collect();
    let usual_roughness = nearest_rank(&mut roughness.clone(), 0.5);
    let shown: Vec<ShownText> = patches
        .iter()
        .zip(&crops)
        .zip(roughness)
        .filter(|(_, roughness)| !is_rough(*roughness, usual_roughness))
        .map(|((patch, crop), _)| {
            let features = features(crop);
            let mut levels: Vec<f32> = features.iter().map(|level| level.abs()).collect();
            let stroke_level = nearest_rank(&mut levels, STROKE_QUANTILE);
            ShownText { time_s: patch.time_s, stroke_level, features }
        })
        .collect();
    let mut levels: Vec<f32> = shown.iter().map(|shown| shown.stroke_level).collect();
    let full = nearest_rank(&mut levels, FULL_QUANTILE);
    let min = (MIN_STROKE_LEVEL.0 * full).max(MIN_STROKE_LEVEL.1);
    shown.into_iter().filter(|shown| shown.stroke_level >= min).collect()
}

fn features(crop: &GrayImage) -> Array2<f32> {
    let shape = (crop.height() as usize, crop.width() as usize);
    let levels = Array2::from_shape_fn(shape, |(y, x)| f32::from(crop.get_pixel(x as u32, y as u32).0[0]));
    HighPass::for_cell_width((CELL_WIDTH * crop.height() as f32).max(1.0)).apply(&levels)
}

/// The clip that contains most of the times `times_s` of a recording, and the times that lie in this clip, in
/// seconds from its first frame.
fn in_one_clip(times_s: &[f64], spans: &[ClipSpan]) -> (PathBuf, Vec<f64>) {
    let span_of = |time_s: f64| spans.iter().rev().find(|span| span.start_s <= time_s + 1e-6);
    let within = |span: &ClipSpan| -> Vec<f64> {
        let own = |time_s: &&f64| span_of(**time_s).is_some_and(|other| other.path == span.path);
        times_s.iter().filter(own).map(|time_s| (time_s - span.start_s).max(0.0)).collect()
    };
    // Reversed because `max_by_key` returns the last of several equal elements, and the first is wanted.
    let most = spans.iter().rev().max_by_key(|span| within(span).len());
    most.map_or_else(Default::default, |span| (span.path.clone(), within(span)))
}

#[cfg(test)]
#[path = "channel_legibility_tests.rs"]
mod tests;
