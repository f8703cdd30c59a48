//! Reads a recording: observes every frame, and smooths the observations of each channel over time.

use std::ops::ControlFlow;

use image::GrayImage;

use super::channel_reader::ChannelReader;
use super::crop_sampler::all_crops;
use super::fingerprint::FrameFingerprint;
use super::frame_observation::FrameObservation;
use super::prepare::Prepared;
use super::signal_loss::SignalLossDetector;
use crate::footage::{ClipSpan, FootageError, FrameSource, FrameTask, LumaImage as _};
use crate::geometry::PixelRect;
use crate::model::units::Unit;
use crate::recognise::{RegionCache, TextLegibility};
use crate::series::{ChannelReadings, Gap, Readings};
use crate::setup::Region;

/// Default of the minimum confidence of a trusted reading, 0 to 1. Of the readings with a confidence of 0.98 to 0.99,
/// 99 in 100 are right on the tuning clips of the benchmark `reading_table`. In interlaced clips, a minimum of 0.99
/// would leave about twice as many frames blank at changes of the value.
pub const DEFAULT_MIN_CONFIDENCE: f32 = 0.98;

/// Receives the progress of reading a recording, and may stop it.
pub trait Progress {
    /// Called after each frame: `frames` frames have been read, up to `time_s` seconds of `length_s` seconds, or of an
    /// unknown length if `length_s` is `None`. `ControlFlow::Break` stops the reading.
    fn frame_read(&mut self, frames: u64, time_s: f64, length_s: Option<f64>) -> ControlFlow<()>;
}

/// Ignores the progress and never stops the reading.
#[derive(Debug, Clone, Copy, Default)]
pub struct Silent;

impl Progress for Silent {
    fn frame_read(&mut self, _frames: u64, _time_s: f64, _length_s: Option<f64>) -> ControlFlow<()> {
        ControlFlow::Continue(())
    }
}

/// Reads every frame of a source from its start. If `progress` stops the reading, the frames read so far are
/// returned.
///
/// # Errors
///
/// Errors of the source.
pub fn collect<S: FrameSource>(
    source: &mut S,
    prepared: &Prepared,
    min_confidence: f32,
    progress: &mut dyn Progress,
) -> Result<Readings, FootageError> {
    let Prepared { setup, recogniser, sample, .. } = prepared;
    let mut readings = Readings::default();
    let traces = !source.info().intra_only;
    let reader = |region| ChannelReader::new(empty_channel(region), min_confidence, traces);
    let mut readers: Vec<ChannelReader> = setup.regions.iter().map(reader).collect();
    let length_s = source.info().stated_length_s;
    let boxes: Vec<PixelRect> = setup.regions.iter().map(|region| region.rect).collect();
    let start = || -> FrameTask<'_, _> {
        let mut cache = RegionCache::default();
        let boxes = &boxes;
        Box::new(move |luma| {
            let crops: Vec<GrayImage> = boxes.iter().map(|own| luma.crop(*own)).collect();
            let fingerprint = FrameFingerprint::of(&crops);
            (recogniser.observe(&mut cache, luma), crops, fingerprint)
        })
    };
    let mut detector = SignalLossDetector::new(sample);
    let mut areas = recogniser.areas();
    areas.extend(&boxes);
    source.process_all(&areas, &start, &mut |frame| {
        let (time_s, (observations, crops, fingerprint)) = (frame.time_s, frame.output);
        let legible =
            observations.iter().any(|observation| observation.legibility == TextLegibility::Legible);
        let lost = detector.push(fingerprint, time_s, legible, frame.damaged);
        for ((reader, observation), crop) in readers.iter_mut().zip(observations).zip(crops) {
            reader.push(FrameObservation { time_s, observation, lost }, crop);
        }
        readings.time_s.push(time_s);
        progress.frame_read(readings.time_s.len() as u64, time_s, length_s)
    })?;
    let (runs, samplers): (Vec<_>, Vec<_>) = readers.into_iter().map(ChannelReader::finish).unzip();
    // The buffers used for reading are no longer needed, and the expanded readings of a long flight are
    // large.
    crate::linux::release_freed_memory();
    readings.channels = runs.into_iter().map(|(channel, runs)| runs.expanded(channel)).collect();
    readings.crops = all_crops(samplers);
    readings.lost = detector.finish(&mut readings.channels, &readings.time_s);
    Ok(readings)
}

fn empty_channel(region: &Region) -> ChannelReadings {
    ChannelReadings {
        channel: region.channel.clone(),
        unit: region.unit_shown().map(Unit::of_values),
        decimals: region.decimals,
        step: None,
        range: region.plausible_range(),
        max_rate: region.plausible_max_rate(),
        values: Vec::new(),
        confidence: Vec::new(),
        blank: Vec::new(),
    }
}

/// The gaps between the clips of a recording. No leg may contain one.
#[must_use]
pub fn gaps_between(spans: &[ClipSpan], time_s: &[f64]) -> Vec<Gap> {
    let starts = spans.iter().skip(1).map(|span| span.start_s);
    starts
        .filter_map(|start_s| {
            let first = time_s.partition_point(|time| *time < start_s - 1e-6);
            Some(Gap { start_s: *time_s.get(first.checked_sub(1)?)?, end_s: *time_s.get(first)? })
        })
        .collect()
}
