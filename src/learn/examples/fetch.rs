//! Fetches the images of labelled readings from their clips.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;
use std::path::Path;

use imageproc::filter::box_filter;
use thiserror::Error;

use super::example::TrainingExample;
use crate::files::file_name;
use crate::footage::{Clip, FootageError, FrameOutput, FrameSource, LumaPlane, ProgressCounter};
use crate::geometry::PixelRect;
use crate::learn::labels::file::LabelFile;
use crate::learn::labels::format;
use crate::learn::labels::reading::LabelledReading;
use crate::learn::labels::rejected::{LabelProblem, RejectedLabel};
use crate::recognise::{Patch, Sample};
use crate::setup::{LoadedSetup, Region, SetupError};

/// Number of frames that are fetched before and after a labelled frame. Those with the same text are
/// averaged. An overlay that changes 5 to 10 times a second shows a value for 3 to 12 frames (set by
/// judgement).
const NEIGHBOURS: usize = 4;
/// Lowest usual frame rate, in hertz. The time of a label may be later than the time of the clip's last frame by one
/// frame interval at this rate (set by judgement).
const SLOWEST_RATE_HZ: f64 = 20.0;
/// Frame rate that is assumed if the container states none, in hertz (common practice, no source).
const ASSUMED_RATE_HZ: f64 = 25.0;
/// Maximum standard deviation of the pixels in an empty box, in grey levels. The value equals the limit for lost
/// frames in `readings`.
const EMPTY_DEVIATION: f32 = 3.5;
/// Radius in pixels of the mean filter that removes the noise of an empty box (set by judgement).
const NOISE_RADIUS_PX: u32 = 2;

/// Why the images of labelled readings cannot be fetched.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum ExampleError {
    /// A clip cannot be opened or read.
    #[error(transparent)]
    Footage(#[from] FootageError),
    /// The setup is for another frame size.
    #[error(transparent)]
    Setup(#[from] SetupError),
}

/// The training examples of all labels that can be used, and the labels that cannot.
#[derive(Debug, Clone, Default)]
pub struct FetchedExamples {
    /// Training examples, in the order of their labels.
    pub examples: Vec<TrainingExample>,
    /// Labels that cannot be used, in the order of the label file.
    pub rejected: Vec<RejectedLabel>,
    /// File names of labelled clips that are not in the folder of the given clip. The labels of these clips
    /// are left out.
    pub missing_clips: BTreeSet<String>,
}

/// Opens a clip and checks that it has the frame size of a setup.
///
/// # Errors
///
/// [`ExampleError`] if the clip cannot be opened or has another frame size.
pub fn open_clip(setup: &LoadedSetup, path: &Path) -> Result<Clip, ExampleError> {
    let clip = Clip::open(path)?;
    let info = clip.info();
    setup.check_frame(&path.display().to_string(), info.width, info.height)?;
    Ok(clip)
}

/// Fetches the images of all labels in a label file. Clips other than `clip` are searched in the folder of
/// `clip`. `progress` is called with the share of the frames fetched so far, 0 to 1, from several threads.
///
/// # Errors
///
/// [`ExampleError`] names a clip that cannot be opened or read, or that has another frame size.
pub fn fetch_examples(
    clip: &mut Clip,
    setup: &LoadedSetup,
    labels: &LabelFile,
    progress: &(dyn Fn(f64) + Sync),
) -> Result<FetchedExamples, ExampleError> {
    let path = clip.info().path.clone();
    let regions = &setup.setup.regions;
    let mut fetched: Vec<NumberedResult> = Vec::with_capacity(labels.labels.len());
    let mut missing_clips = BTreeSet::new();
    let counted = ProgressCounter::new(progress, labels.labels.len() * (2 * NEIGHBOURS + 1));
    for (name, labels) in by_clip(labels) {
        let (labels, malformed) = check_formats(regions, labels);
        fetched.extend(malformed);
        let beside = path.with_file_name(name);
        if name == file_name(&path) {
            fetched.extend(fetch(clip, regions, labels, &counted)?);
        } else if beside.exists() {
            fetched.extend(fetch(&mut open_clip(setup, &beside)?, regions, labels, &counted)?);
        } else {
            missing_clips.insert(name.to_owned());
        }
    }
    let (examples, rejected) = in_order(fetched);
    Ok(FetchedExamples { examples, rejected, missing_clips })
}

/// A label with its number in the label file.
struct NumberedLabel {
    number: usize,
    label: LabelledReading,
}

/// The training example of a label, or the reason why there is none, with the label's number in the label
/// file.
struct NumberedResult {
    number: usize,
    result: Result<TrainingExample, Box<RejectedLabel>>,
}

impl NumberedResult {
    fn rejected(NumberedLabel { number, label }: NumberedLabel, problem: LabelProblem) -> Self {
        Self { number, result: Err(Box::new(RejectedLabel { label, problem })) }
    }
}

/// Groups the labels by clip.
fn by_clip(file: &LabelFile) -> BTreeMap<&str, Vec<NumberedLabel>> {
    let mut clips: BTreeMap<&str, Vec<NumberedLabel>> = BTreeMap::new();
    for (number, label) in file.labels.iter().enumerate() {
        let numbered = NumberedLabel { number, label: label.reading() };
        clips.entry(label.clip.as_str()).or_default().push(numbered);
    }
    clips
}

/// Divides the labels into those whose texts their regions can show (first list) and the others, which are rejected
/// (second list).
fn check_formats(
    regions: &[Region],
    labels: Vec<NumberedLabel>,
) -> (Vec<NumberedLabel>, Vec<NumberedResult>) {
    let (mut valid, mut malformed) = (Vec::new(), Vec::new());
    for numbered in labels {
        match format::check(regions, &numbered.label) {
            Ok(()) => valid.push(numbered),
            Err(problem) => malformed.push(NumberedResult::rejected(numbered, LabelProblem::Format(problem))),
        }
    }
    (valid, malformed)
}

fn in_order(mut fetched: Vec<NumberedResult>) -> (Vec<TrainingExample>, Vec<RejectedLabel>) {
    fetched.sort_by_key(|one| one.number);
    let (mut examples, mut rejected) = (Vec::new(), Vec::new());
    for NumberedResult { result, .. } in fetched {
        match result {
            Ok(example) => examples.push(example),
            Err(label) => rejected.push(*label),
        }
    }
    (examples, rejected)
}

/// The boxes of one frame, each with a margin around it.
struct FramePatches {
    patches: Vec<Patch>,
    /// Whether all boxes of the frame are empty.
    is_empty: bool,
}

impl FramePatches {
    fn cut(regions: &[Region], luma: LumaPlane<'_>) -> Self {
        let patches = Sample::cut(regions, luma);
        let is_empty = patches.iter().all(is_flat);
        Self { patches, is_empty }
    }
}

/// Whether a box contains nothing but noise.
fn is_flat(patch: &Patch) -> bool {
    let levels = box_filter(&patch.crop(), NOISE_RADIUS_PX, NOISE_RADIUS_PX);
    let count = levels.len().max(1) as f32;
    let mean = levels.iter().map(|level| f32::from(*level)).sum::<f32>() / count;
    let variance = levels.iter().map(|level| (f32::from(*level) - mean).powi(2)).sum::<f32>() / count;
    variance.sqrt() < EMPTY_DEVIATION
}

/// Fetches the frames of a clip's labels. Each frame is decoded only once.
fn fetch(
    clip: &mut Clip,
    regions: &[Region],
    labels: Vec<NumberedLabel>,
    counted: &ProgressCounter<'_>,
) -> Result<Vec<NumberedResult>, FootageError> {
    let stated_hz = clip.info().nominal_rate_hz.filter(|rate_hz| *rate_hz > 1.0);
    let interval_s = 1.0 / stated_hz.unwrap_or(ASSUMED_RATE_HZ);
    let times_s: Vec<f64> =
        labels.iter().flat_map(|one| times_around_s(one.label.time_s, interval_s)).collect();
    let frames = clip.process_at(&times_s, &areas(regions), &|luma| {
        counted.count();
        FramePatches::cut(regions, luma)
    })?;
    let last_s = clip.last_time_s()?;
    let frames = ClipFrames { name: file_name(&clip.info().path), regions, frames, interval_s, last_s };
    Ok(labels.into_iter().map(|label| frames.example(label)).collect())
}

/// Times in seconds of a labelled frame and of the frames before and after it.
fn times_around_s(time_s: f64, interval_s: f64) -> impl Iterator<Item = f64> {
    let count = NEIGHBOURS as i32;
    (-count..=count)
        .map(move |offset| time_s + f64::from(offset) * interval_s)
        .filter(|time_s| *time_s >= 0.0)
}

/// The rectangles of a frame that patches are cut from.
fn areas(regions: &[Region]) -> Vec<PixelRect> {
    regions.iter().map(|region| Patch::area(region.rect)).collect()
}

/// The frames fetched from a clip.
struct ClipFrames<'a> {
    name: String,
    regions: &'a [Region],
    /// The frames, in order of time.
    frames: Vec<FrameOutput<FramePatches>>,
    interval_s: f64,
    last_s: f64,
}

impl ClipFrames<'_> {
    /// The training example of a label, or the reason why there is none.
    fn example(&self, numbered: NumberedLabel) -> NumberedResult {
        match self.patches(&numbered.label) {
            Ok(ExamplePatches { centre, before, after }) => {
                let NumberedLabel { number, label } = numbered;
                NumberedResult { number, result: Ok(TrainingExample { label, centre, before, after }) }
            }
            Err(problem) => NumberedResult::rejected(numbered, problem),
        }
    }

    fn patches(&self, label: &LabelledReading) -> Result<ExamplePatches, LabelProblem> {
        let clip = || self.name.clone();
        let ended = || LabelProblem::AfterTheEnd { clip: clip(), end_s: self.last_s };
        let region = self.regions.iter().position(|region| region.channel == label.channel);
        let (at, region) = self.nearest(label.time_s).zip(region).ok_or_else(ended)?;
        let centre = self.frames.get(at).filter(|_| label.time_s <= self.last_s + 1.0 / SLOWEST_RATE_HZ);
        let centre = centre.ok_or_else(ended)?;
        if centre.damaged {
            return Err(LabelProblem::DamagedFrame { clip: clip() });
        }
        if centre.output.is_empty {
            return Err(LabelProblem::EmptyFrame { clip: clip() });
        }
        let (first, end) = (at.saturating_sub(NEIGHBOURS), (at + 1 + NEIGHBOURS).min(self.frames.len()));
        let mut before = self.neighbours(centre.time_s, first..at, region);
        before.reverse();
        let after = self.neighbours(centre.time_s, at + 1..end, region);
        Ok(ExamplePatches { centre: patch(centre, region).ok_or_else(ended)?, before, after })
    }

    /// Index of the frame nearest to a time in seconds. Of two equally near frames it is the earlier one.
    /// `None` if there are no frames.
    fn nearest(&self, time_s: f64) -> Option<usize> {
        let away_s = |at: &usize| self.frames.get(*at).map_or(f64::INFINITY, |it| (it.time_s - time_s).abs());
        (0..self.frames.len()).min_by(|one, other| away_s(one).total_cmp(&away_s(other)))
    }

    /// The patches of a region in the frames whose indices are in `range`, without damaged frames and without frames
    /// more than [`NEIGHBOURS`] frame intervals away from `time_s`, which were fetched for another label.
    fn neighbours(&self, time_s: f64, range: Range<usize>, region: usize) -> Vec<Patch> {
        let max_distance_s = (NEIGHBOURS as f64 + 0.5) * self.interval_s;
        let frames = self.frames.get(range).unwrap_or_default().iter();
        let near = frames.filter(|frame| !frame.damaged && (frame.time_s - time_s).abs() <= max_distance_s);
        near.filter_map(|frame| patch(frame, region)).collect()
    }
}

/// Pixels of a region in the labelled frame and in the frames before and after it, nearest first.
struct ExamplePatches {
    centre: Patch,
    before: Vec<Patch>,
    after: Vec<Patch>,
}

/// Pixels of a region in a frame; `None` if the region was not cut out of the frame.
fn patch(frame: &FrameOutput<FramePatches>, region: usize) -> Option<Patch> {
    let mut patch = frame.output.patches.get(region)?.clone();
    patch.time_s = frame.time_s;
    Some(patch)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;
    use crate::footage::{LumaImage as _, frames_near};
    use crate::model::channel::Channel;

    const DEMO: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/demo-clips/");

    fn demo(name: &str) -> (Clip, LoadedSetup) {
        let path = Path::new(DEMO).join(name);
        let setup = LoadedSetup::load(&path.with_extension("setup.toml")).unwrap();
        (open_clip(&setup, &path).unwrap(), setup)
    }

    fn label(channel: &Channel, time_s: f64, text: &str) -> LabelledReading {
        LabelledReading { channel: channel.clone(), time_s, text: text.to_owned() }
    }

    fn label_file(clip: &str, labels: &[LabelledReading]) -> LabelFile {
        let mut file = LabelFile::default();
        labels.iter().for_each(|label| file.add(clip, label));
        file
    }

    fn fetched(clip: &mut Clip, setup: &LoadedSetup, file: &LabelFile) -> FetchedExamples {
        fetch_examples(clip, setup, file, &|_| ()).unwrap()
    }

    #[test]
    fn an_example_has_the_labelled_frame_and_its_neighbours() {
        for name in ["salt-flat.avi", "salt-flat-digital.mp4"] {
            let (mut clip, setup) = demo(name);
            let labels: Vec<LabelledReading> =
                [0.0, 3.3, 3.31, 7.9].map(|time_s| label(&Channel::Speed, time_s, "63")).into();
            let found = fetched(&mut clip, &setup, &label_file(name, &labels));
            assert_eq!((found.examples.len(), found.rejected.len()), (4, 0), "{name}");
            let interval_s = 1.0 / clip.info().nominal_rate_hz.unwrap();
            let rect = setup.setup.region(&Channel::Speed).unwrap().rect;
            let mut seen = |time_s: f64| {
                let frame = frames_near(&mut clip, &[time_s]).unwrap().remove(0);
                (frame.time_s, Patch::of(&frame.image, rect, frame.time_s).crop())
            };
            for (example, label) in found.examples.iter().zip(&labels) {
                let (centre_s, image) = seen(label.time_s);
                assert_eq!(example.label, *label);
                assert_eq!((example.centre.time_s, example.centre.crop()), (centre_s, image), "{name}");
                let wanted = if label.time_s == 0.0 { 0 } else { NEIGHBOURS };
                assert_eq!((example.before.len(), example.after.len()), (wanted, NEIGHBOURS), "{name}");
                for (patches, step_s) in [(&example.before, -interval_s), (&example.after, interval_s)] {
                    for (offset, patch) in (1..).zip(patches) {
                        let (time_s, image) = seen(centre_s + f64::from(offset) * step_s);
                        assert_eq!((patch.time_s, patch.crop()), (time_s, image), "{name} {offset}");
                    }
                }
            }
        }
    }

    #[test]
    fn a_label_after_the_end_is_rejected_and_the_others_are_used() {
        let (mut clip, setup) = demo("salt-flat.avi");
        let end_s = clip.last_time_s().unwrap();
        let labels = [9999.0, end_s + 0.04, 1.0].map(|time_s| label(&Channel::Speed, time_s, "63"));
        let found = fetched(&mut clip, &setup, &label_file("salt-flat.avi", &labels));
        assert_eq!(found.examples.iter().map(|it| it.label.time_s).collect::<Vec<_>>(), [end_s + 0.04, 1.0]);
        let problem = LabelProblem::AfterTheEnd { clip: "salt-flat.avi".into(), end_s };
        assert_eq!(found.rejected, [RejectedLabel { label: labels[0].clone(), problem }]);
    }

    #[test]
    fn a_text_of_another_format_is_rejected_before_its_frame_is_fetched() {
        let (mut clip, setup) = demo("salt-flat.avi");
        let wrong = label(&Channel::Speed, 9999.0, "6x");
        let found = fetched(&mut clip, &setup, &label_file("salt-flat.avi", &[wrong]));
        assert_eq!(found.rejected[0].problem, LabelProblem::Format(format::LabelFormatError::UnusableText));
    }

    #[test]
    fn labels_of_a_missing_clip_are_left_out_and_the_clip_is_named() {
        let folder = tempfile::tempdir().unwrap();
        let source = Path::new(DEMO).join("salt-flat.avi");
        for name in ["one.avi", "other.avi"] {
            std::fs::copy(&source, folder.path().join(name)).unwrap();
        }
        let (_, setup) = demo("salt-flat.avi");
        let mut clip = open_clip(&setup, &folder.path().join("one.avi")).unwrap();
        let mut file = label_file("gone.avi", &[label(&Channel::Speed, 1.0, "63")]);
        file.add("other.avi", &label(&Channel::Speed, 2.0, "63"));
        file.add("one.avi", &label(&Channel::Speed, 3.0, "63"));
        let found = fetched(&mut clip, &setup, &file);
        assert_eq!(found.missing_clips, BTreeSet::from(["gone.avi".to_owned()]));
        assert_eq!(found.examples.iter().map(|it| it.label.time_s).collect::<Vec<_>>(), [2.0, 3.0]);
        assert!(found.rejected.is_empty());
    }

    fn clip_frames(frames: Vec<FrameOutput<FramePatches>>, regions: &[Region]) -> ClipFrames<'_> {
        ClipFrames { name: "flight.avi".into(), regions, frames, interval_s: 0.04, last_s: 10.0 }
    }

    fn frame(
        regions: &[Region],
        time_s: f64,
        damaged: bool,
        level: impl Fn(u32) -> u8,
    ) -> FrameOutput<FramePatches> {
        let image = image::GrayImage::from_fn(64, 48, |x, _| image::Luma([level(x)]));
        FrameOutput { index: 0, time_s, damaged, output: FramePatches::cut(regions, LumaPlane::of(&image)) }
    }

    fn region() -> Region {
        let rect = crate::geometry::PixelRect { left: 8, top: 8, width: 40, height: 20 };
        Region::new(Channel::Speed, rect, None)
    }

    #[test]
    fn damaged_and_empty_frames_are_rejected_and_damaged_neighbours_are_left_out() {
        let regions = [region()];
        let striped = |x: u32| if x % 16 < 8 { 40 } else { 200 };
        let noisy = |x: u32| if x.is_multiple_of(2) { 118 } else { 124 };
        let times = [(1.0, true), (1.04, false), (1.08, false)];
        let mut frames: Vec<_> =
            times.into_iter().map(|(time_s, damaged)| frame(&regions, time_s, damaged, striped)).collect();
        frames.push(frame(&regions, 1.12, false, noisy));
        let frames = clip_frames(frames, &regions);
        let example = |time_s| {
            let label = label(&Channel::Speed, time_s, "63");
            frames.example(NumberedLabel { number: 0, label }).result
        };
        let problem = |time_s| example(time_s).unwrap_err().problem;
        assert_eq!(problem(1.0), LabelProblem::DamagedFrame { clip: "flight.avi".into() });
        assert_eq!(problem(1.12), LabelProblem::EmptyFrame { clip: "flight.avi".into() });
        let used = example(1.04).unwrap();
        assert_eq!((used.before.len(), used.after.len()), (0, 2));
    }

    #[test]
    fn progress_counts_every_fetched_frame() {
        let (mut clip, setup) = demo("salt-flat.avi");
        let labels = [1.0, 2.0].map(|time_s| label(&Channel::Speed, time_s, "63"));
        let shares = std::sync::Mutex::new(Vec::new());
        let progress = |share| shares.lock().unwrap().push(share);
        fetch_examples(&mut clip, &setup, &label_file("salt-flat.avi", &labels), &progress).unwrap();
        let shares = shares.into_inner().unwrap();
        assert!(shares.len() >= 18 && shares.iter().all(|share| (0.0..=1.0).contains(share)));
        assert!(shares.contains(&1.0));
    }

    #[test]
    fn a_clip_of_another_frame_size_is_an_error() {
        let (_, mut setup) = demo("salt-flat.avi");
        setup.setup.camera.frame = (320, 240);
        let opened = open_clip(&setup, &Path::new(DEMO).join("salt-flat.avi"));
        assert!(matches!(opened, Err(ExampleError::Setup(_))));
    }
}
