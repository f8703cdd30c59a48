//! Readings: runs recognition over a recording, frame by frame.

mod fingerprint;
mod held;
mod keep;
mod legibility;
mod lost;
mod mixed;
mod observed;
mod pooling;
mod prepare;
mod single;

use std::ops::ControlFlow;

use image::GrayImage;

use crate::footage::{FootageError, FrameSource, FrameTask, LumaPlane};
use crate::geometry::PixelRect;
use crate::model::units::Unit;
use crate::recognise::MARGIN_PX;
use crate::recognise::working_factor;
use crate::recognise::{RegionCache, Sample, TextLegibility};
use crate::series::{Blank, ChannelReadings, Crop, Gap, Readings};
use crate::setup::Setup;

use fingerprint::FrameFingerprint;
use held::{Held, Outcome};
use keep::Keeper;
pub use legibility::{Legibility, UnreadCause, UnreadChannel};
use lost::Watch;
pub use lost::lost_sentences;
use observed::observed;
use pooling::{Bounds, Frame, Verdict};
pub use prepare::{Misfit, PrepareError, Prepared, prepare};
pub use single::{FrameReading, read_frame};

/// Probability from which on a reading is believed: of the readings at 0.98 to 0.99 99 in 100 are right in the clips to tune
/// on (`reading_table`), and half of those left blank at a change of interlaced pictures are among them.
pub const DEFAULT_LEAST_CONFIDENCE: f32 = 0.98;

/// Frames of the sample that the recogniser is calibrated on.
const SAMPLED_FRAMES: usize = 120;

/// Frames pooled at a time, and frames on either side that serve as context.
const POOLED_FRAMES: usize = 512;
const CONTEXT_FRAMES: usize = 48;

/// Is told of every frame read, and may stop the reading.
pub trait Progress {
    /// `frames` frames are read, up to `time_s` seconds of the recording, of `length_s` where known.
    fn frame_read(&mut self, frames: u64, time_s: f64, length_s: Option<f64>) -> ControlFlow<()>;
}

/// Tells nobody.
#[derive(Debug, Clone, Copy, Default)]
pub struct Silent;

impl Progress for Silent {
    fn frame_read(&mut self, _frames: u64, _time_s: f64, _length_s: Option<f64>) -> ControlFlow<()> {
        ControlFlow::Continue(())
    }
}

/// Copies the regions' surroundings out of frames spread over a recording.
///
/// # Errors
/// Those of the source.
pub fn sample<S: FrameSource>(source: &mut S, setup: &Setup) -> Result<Sample, FootageError> {
    let areas = surroundings(setup);
    let mut sample = Sample::new(setup.regions.len());
    let cut = |luma: LumaPlane<'_>| Sample::cut(&setup.regions, luma);
    for frame in source.process_some(SAMPLED_FRAMES, &areas, &cut)? {
        sample.add(frame.output, frame.time_s);
    }
    Ok(sample)
}

/// Reads every frame of a source from its start.
///
/// # Errors
/// Those of the source. A stop asked for by `progress` gives what was read until then.
pub fn collect<S: FrameSource>(
    source: &mut S,
    prepared: &Prepared,
    least_confidence: f32,
    progress: &mut dyn Progress,
) -> Result<Readings, FootageError> {
    let Prepared { setup, recogniser, sample, .. } = prepared;
    let mut readings = Readings::default();
    let traces = !source.info().intra_only;
    let pool = |region| Pool::new(empty_channel(region), least_confidence, traces);
    let mut pools: Vec<Pool> = setup.regions.iter().map(pool).collect();
    let length_s = source.info().stated_length_s;
    let places: Vec<PixelRect> = setup.regions.iter().map(|region| region.place).collect();
    let start = || -> FrameTask<'_, _> {
        let mut cache = RegionCache::default();
        let places = &places;
        Box::new(move |luma| {
            let crops: Vec<GrayImage> = places.iter().map(|place| luma.crop(*place)).collect();
            let fingerprint = FrameFingerprint::of(&crops);
            (recogniser.observe(&mut cache, luma), crops, fingerprint)
        })
    };
    let mut watch = Watch::of(sample);
    let mut areas = recogniser.areas();
    areas.extend(&places);
    source.process_all(&areas, &start, &mut |frame| {
        let (time_s, (observations, crops, fingerprint)) = (frame.time_s, frame.output);
        let legible =
            observations.iter().any(|observation| observation.legibility == TextLegibility::Legible);
        let lost = watch.see(fingerprint, time_s, legible, frame.damaged);
        for ((pool, observation), crop) in pools.iter_mut().zip(observations).zip(crops) {
            pool.push(Frame { time_s, observation, lost }, crop);
        }
        readings.time_s.push(time_s);
        progress.frame_read(readings.time_s.len() as u64, time_s, length_s)
    })?;
    let (held, keepers): (Vec<_>, Vec<_>) = pools.into_iter().map(Pool::finish).unzip();
    // What reading took is no longer needed, and what was read, written out, takes the more the longer the flight.
    crate::memory::release_freed();
    readings.channels = held.into_iter().map(|(channel, held)| held.written_out(channel)).collect();
    readings.crops = keep::all_kept(keepers);
    readings.lost = watch.finish(&mut readings.channels, &readings.time_s);
    Ok(readings)
}

/// The parts of the picture that recognition may use while nothing is known of the glyphs: the boxes, and around
/// them at most the margin of a window at the coarsest working resolution.
fn surroundings(setup: &Setup) -> Vec<PixelRect> {
    let highest = setup.regions.iter().map(|region| region.place.height).max().unwrap_or(0);
    let margin = ((MARGIN_PX + 1) * working_factor(HIGHEST_CELL * highest as f32)) as u32;
    setup.regions.iter().map(|region| region.place.with_margin(margin)).collect()
}

/// Height of the largest cell that glyphs may have, in heights of the largest box.
const HIGHEST_CELL: f32 = 2.0;

fn empty_channel(region: &crate::setup::Region) -> ChannelReadings {
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

/// Pools the observations of one channel, a stretch of frames at a time.
struct Pool {
    /// The channel without its readings.
    channel: ChannelReadings,
    held: Held,
    bounds: Bounds,
    least_confidence: f32,
    /// Frames that wait, after some that are settled and kept as context.
    frames: Vec<Frame>,
    /// What the frames showed.
    crops: Vec<GrayImage>,
    settled: usize,
    keeper: Keeper,
}

impl Pool {
    fn new(channel: ChannelReadings, least_confidence: f32, traces: bool) -> Self {
        let (quantum, range, max_rate) = (channel.quantum(), channel.range, channel.max_rate);
        let bounds = Bounds { quantum, range, max_rate, traces };
        let keeper = Keeper::of(&channel.channel);
        Self {
            channel,
            held: Held::default(),
            bounds,
            least_confidence,
            frames: Vec::new(),
            crops: Vec::new(),
            settled: 0,
            keeper,
        }
    }

    fn push(&mut self, frame: Frame, crop: GrayImage) {
        self.frames.push(frame);
        self.crops.push(crop);
        if self.frames.len() >= self.settled + POOLED_FRAMES + CONTEXT_FRAMES {
            self.settle(self.frames.len() - CONTEXT_FRAMES);
        }
    }

    fn finish(mut self) -> ((ChannelReadings, Held), Keeper) {
        self.settle(self.frames.len());
        ((self.channel, self.held), self.keeper)
    }

    /// Settles the frames up to `end`, and keeps the last of them as context.
    fn settle(&mut self, end: usize) {
        let verdicts = pooling::pool(&self.frames, &self.bounds);
        let shown = self.frames.iter().zip(&mut self.crops).zip(verdicts);
        for ((frame, picture), verdict) in shown.take(end).skip(self.settled) {
            let outcome = outcome(frame, verdict, (self.least_confidence, &self.bounds));
            self.held.push(outcome);
            if outcome.blank == Blank::No {
                self.keeper.offer(Crop {
                    channel: self.channel.channel.clone(),
                    time_s: frame.time_s,
                    value: outcome.value,
                    decimals: self.channel.decimals,
                    confidence: outcome.confidence,
                    picture: std::mem::take(picture),
                });
            }
        }
        let passed = end.saturating_sub(CONTEXT_FRAMES);
        self.frames.drain(..passed);
        self.crops.drain(..passed);
        self.settled = end.min(CONTEXT_FRAMES);
    }
}

/// What becomes of a frame.
fn outcome(frame: &Frame, verdict: Verdict, (least_confidence, bounds): (f32, &Bounds)) -> Outcome {
    let implausible = frame.observation.legibility == TextLegibility::Legible
        && frame.observation.candidates.first().is_some_and(|best| !bounds.allow(best.value));
    match verdict.map(|(value, claimed)| (value, observed(claimed))) {
        _ if frame.lost => Outcome::blank(Blank::LostPicture),
        Some((value, confidence)) if confidence >= least_confidence => {
            Outcome { value, confidence, blank: Blank::No }
        }
        _ if implausible => Outcome::blank(Blank::OutOfRange),
        _ => Outcome::blank(match frame.observation.legibility {
            TextLegibility::Nothing => Blank::Empty,
            TextLegibility::UnknownDigit => Blank::DigitUnknown,
            TextLegibility::Illegible | TextLegibility::Legible => Blank::Unclear,
        }),
    }
}

/// The stretches between clips of a recording, where no leg may run through.
#[must_use]
pub fn gaps_between(spans: &[crate::footage::ClipSpan], time_s: &[f64]) -> Vec<Gap> {
    let starts = spans.iter().skip(1).map(|span| span.start_s);
    starts
        .filter_map(|start_s| {
            let first = time_s.partition_point(|time| *time < start_s - 1e-6);
            Some(Gap { start_s: *time_s.get(first.checked_sub(1)?)?, end_s: *time_s.get(first)? })
        })
        .collect()
}
