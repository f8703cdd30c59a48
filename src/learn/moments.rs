//! The pictures of labelled moments, fetched from the clips they were labelled in.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;
use std::path::Path;

use imageproc::filter::box_filter;
use thiserror::Error;

use super::rejected::{LabelProblem, RejectedLabel};
use super::{LabelFile, LabelledReading, TrainingExample, form};
use crate::files::file_name;
use crate::footage::{Clip, FootageError, FrameOutput, FrameSource, LumaPlane, ProgressCounter};
use crate::geometry::PixelRect;
use crate::recognise::{Patch, Sample};
use crate::setup::{LoadedSetup, Region, SetupError};

/// Frames fetched before and after a labelled one, to see how long its text was shown.
const NEIGHBOURS: usize = 4;
/// Lowest usual frame rate: a moment may be so much later than the last frame's time.
const SLOWEST_RATE_HZ: f64 = 20.0;
/// Frame rate assumed where the container states none.
const ASSUMED_RATE_HZ: f64 = 25.0;
/// Boxes whose grey levels have a smaller standard deviation than this are empty: the limit of lost pictures
/// (`readings/lost.rs`).
const EMPTY_DEVIATION: f32 = 3.5;
/// Radius of the mean that takes the noise off an empty box, in pixels.
const NOISE_RADIUS_PX: u32 = 2;

/// Why the pictures of labels cannot be fetched.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum ExampleError {
    /// A clip.
    #[error(transparent)]
    Footage(#[from] FootageError),
    /// A setup that is not the clip's.
    #[error(transparent)]
    Setup(#[from] SetupError),
}

/// What became of the labels.
#[derive(Debug, Clone, Default)]
pub struct FetchedExamples {
    /// Labels with their pictures, in the order labelled.
    pub examples: Vec<TrainingExample>,
    /// Labels that cannot be used, in the order labelled.
    pub rejected: Vec<RejectedLabel>,
    /// Clips with labels that are not beside the clip given; their labels are left out.
    pub missing_clips: BTreeSet<String>,
}

/// Opens a clip that has the frame size of a setup.
///
/// # Errors
/// Those of opening it, and of [`LoadedSetup::check_frame`].
pub fn open_clip(setup: &LoadedSetup, path: &Path) -> Result<Clip, ExampleError> {
    let clip = Clip::open(path)?;
    let info = clip.info();
    setup.check_frame(&path.display().to_string(), info.width, info.height)?;
    Ok(clip)
}

/// The pictures of all remembered labels. Clips other than the one given are looked for beside it. `fetched` is called
/// with the share of the frames that were fetched, 0 to 1, from several threads.
///
/// # Errors
/// [`ExampleError`] names the clip that cannot be opened or read, or that has another frame size.
pub fn fetch_examples(
    clip: &mut Clip,
    setup: &LoadedSetup,
    remembered: &LabelFile,
    fetched: &(dyn Fn(f64) + Sync),
) -> Result<FetchedExamples, ExampleError> {
    let path = clip.info().path.clone();
    let regions = &setup.setup.regions;
    let mut outcomes: Outcomes = Vec::with_capacity(remembered.labels.len());
    let mut missing_clips = BTreeSet::new();
    let counted = ProgressCounter::new(fetched, remembered.labels.len() * (2 * NEIGHBOURS + 1));
    for (name, labels) in by_clip(remembered) {
        let (labels, malformed) = well_formed(regions, labels);
        outcomes.extend(malformed);
        let beside = path.with_file_name(name);
        if name == file_name(&path) {
            outcomes.extend(fetch(clip, regions, labels, &counted)?);
        } else if beside.exists() {
            outcomes.extend(fetch(&mut open_clip(setup, &beside)?, regions, labels, &counted)?);
        } else {
            missing_clips.insert(name.to_owned());
        }
    }
    let (moments, rejected) = in_order(outcomes);
    Ok(FetchedExamples { examples: moments, rejected, missing_clips })
}

/// A label with its number among all.
type Numbered = (usize, LabelledReading);
/// What became of labels, with their numbers.
type Outcomes = Vec<(usize, Result<TrainingExample, Box<RejectedLabel>>)>;

/// The labels of each clip.
fn by_clip(remembered: &LabelFile) -> BTreeMap<&str, Vec<Numbered>> {
    let mut clips: BTreeMap<&str, Vec<Numbered>> = BTreeMap::new();
    for (number, label) in remembered.labels.iter().enumerate() {
        clips.entry(label.clip.as_str()).or_default().push((number, label.reading()));
    }
    clips
}

/// Labels whose texts their regions can show, and the others as rejected.
fn well_formed(regions: &[Region], labels: Vec<Numbered>) -> (Vec<Numbered>, Outcomes) {
    let (mut sound, mut malformed) = (Vec::new(), Vec::new());
    for (number, label) in labels {
        match form::check(regions, &label) {
            Ok(()) => sound.push((number, label)),
            Err(problem) => {
                let problem = LabelProblem::Format(problem);
                malformed.push((number, Err(Box::new(RejectedLabel { label, problem }))));
            }
        }
    }
    (sound, malformed)
}

fn in_order(mut outcomes: Outcomes) -> (Vec<TrainingExample>, Vec<RejectedLabel>) {
    outcomes.sort_by_key(|(number, _)| *number);
    let (mut moments, mut rejected) = (Vec::new(), Vec::new());
    for (_, outcome) in outcomes {
        match outcome {
            Ok(moment) => moments.push(moment),
            Err(label) => rejected.push(*label),
        }
    }
    (moments, rejected)
}

/// What is kept of a frame: the surroundings of every box.
struct Surroundings {
    patches: Vec<Patch>,
    /// No box shows anything.
    is_empty: bool,
}

impl Surroundings {
    fn cut(regions: &[Region], luma: LumaPlane<'_>) -> Self {
        let patches = Sample::cut(regions, luma);
        let is_empty = patches.iter().all(is_flat);
        Self { patches, is_empty }
    }
}

/// Whether a box shows nothing but noise.
fn is_flat(patch: &Patch) -> bool {
    let levels = box_filter(&patch.crop(), NOISE_RADIUS_PX, NOISE_RADIUS_PX);
    let count = levels.len().max(1) as f32;
    let mean = levels.iter().map(|level| f32::from(*level)).sum::<f32>() / count;
    let variance = levels.iter().map(|level| (f32::from(*level) - mean).powi(2)).sum::<f32>() / count;
    variance.sqrt() < EMPTY_DEVIATION
}

/// Fetches the frames of a clip's labels, each once.
fn fetch(
    clip: &mut Clip,
    regions: &[Region],
    labels: Vec<Numbered>,
    counted: &ProgressCounter<'_>,
) -> Result<Outcomes, FootageError> {
    let stated_hz = clip.info().nominal_rate_hz.filter(|rate_hz| *rate_hz > 1.0);
    let interval_s = 1.0 / stated_hz.unwrap_or(ASSUMED_RATE_HZ);
    let times_s: Vec<f64> =
        labels.iter().flat_map(|(_, label)| times_around_s(label.time_s, interval_s)).collect();
    let frames = clip.process_at(&times_s, &areas(regions), &|luma| {
        counted.count();
        Surroundings::cut(regions, luma)
    })?;
    let last_s = clip.last_time_s()?;
    let fetched = Fetched { name: file_name(&clip.info().path), regions, frames, interval_s, last_s };
    Ok(labels.into_iter().map(|(number, label)| (number, fetched.moment(label))).collect())
}

/// Times of a labelled frame and its neighbours, in seconds.
fn times_around_s(time_s: f64, interval_s: f64) -> impl Iterator<Item = f64> {
    let reach = NEIGHBOURS as i32;
    (-reach..=reach).map(move |apart| time_s + f64::from(apart) * interval_s).filter(|time_s| *time_s >= 0.0)
}

/// What patches are cut from.
fn areas(regions: &[Region]) -> Vec<PixelRect> {
    regions.iter().map(|region| Patch::area(region.place)).collect()
}

/// The frames fetched from a clip.
struct Fetched<'a> {
    name: String,
    regions: &'a [Region],
    /// In order of time.
    frames: Vec<FrameOutput<Surroundings>>,
    interval_s: f64,
    last_s: f64,
}

impl Fetched<'_> {
    /// The pictures of a label.
    fn moment(&self, label: LabelledReading) -> Result<TrainingExample, Box<RejectedLabel>> {
        match self.pictures(&label) {
            Ok((centre, before, after)) => Ok(TrainingExample { label, centre, before, after }),
            Err(problem) => Err(Box::new(RejectedLabel { label, problem })),
        }
    }

    fn pictures(&self, label: &LabelledReading) -> Result<(Patch, Vec<Patch>, Vec<Patch>), LabelProblem> {
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
        Ok((patch(centre, region).ok_or_else(ended)?, before, after))
    }

    /// The number of the frame nearest to a time, the earlier of two as near.
    fn nearest(&self, time_s: f64) -> Option<usize> {
        let away_s = |at: &usize| self.frames.get(*at).map_or(f64::INFINITY, |it| (it.time_s - time_s).abs());
        (0..self.frames.len()).min_by(|one, other| away_s(one).total_cmp(&away_s(other)))
    }

    /// A region in the sound frames of a range that are neighbours of the frame at `time_s`, not of another label's.
    fn neighbours(&self, time_s: f64, range: Range<usize>, region: usize) -> Vec<Patch> {
        let reach_s = (NEIGHBOURS as f64 + 0.5) * self.interval_s;
        let frames = self.frames.get(range).unwrap_or_default().iter();
        let near = frames.filter(|frame| !frame.damaged && (frame.time_s - time_s).abs() <= reach_s);
        near.filter_map(|frame| patch(frame, region)).collect()
    }
}

/// A region of a frame.
fn patch(frame: &FrameOutput<Surroundings>, region: usize) -> Option<Patch> {
    let mut patch = frame.output.patches.get(region)?.clone();
    patch.time_s = frame.time_s;
    Some(patch)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;
    use crate::footage::frames_near;
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

    fn remembered(clip: &str, labels: &[LabelledReading]) -> LabelFile {
        let mut file = LabelFile::default();
        labels.iter().for_each(|told| file.add(clip, told));
        file
    }

    fn moments(clip: &mut Clip, setup: &LoadedSetup, file: &LabelFile) -> FetchedExamples {
        fetch_examples(clip, setup, file, &|_| ()).unwrap()
    }

    #[test]
    fn the_pictures_are_those_of_the_labelled_frame_and_its_neighbours() {
        for name in ["salt-flat.avi", "salt-flat-digital.mp4"] {
            let (mut clip, setup) = demo(name);
            let labels: Vec<LabelledReading> =
                [0.0, 3.3, 3.31, 7.9].map(|time_s| label(&Channel::Speed, time_s, "63")).into();
            let found = moments(&mut clip, &setup, &remembered(name, &labels));
            assert_eq!((found.examples.len(), found.rejected.len()), (4, 0), "{name}");
            let interval_s = 1.0 / clip.info().nominal_rate_hz.unwrap();
            let place = setup.setup.region(&Channel::Speed).unwrap().place;
            let mut seen = |time_s: f64| {
                let frame = frames_near(&mut clip, &[time_s]).unwrap().remove(0);
                (frame.time_s, Patch::of(&frame.image, place, frame.time_s).crop())
            };
            for (moment, label) in found.examples.iter().zip(&labels) {
                let (centre_s, picture) = seen(label.time_s);
                assert_eq!(moment.label, *label);
                assert_eq!((moment.centre.time_s, moment.centre.crop()), (centre_s, picture), "{name}");
                let wanted = if label.time_s == 0.0 { 0 } else { NEIGHBOURS };
                assert_eq!((moment.before.len(), moment.after.len()), (wanted, NEIGHBOURS), "{name}");
                for (patches, step_s) in [(&moment.before, -interval_s), (&moment.after, interval_s)] {
                    for (apart, patch) in (1..).zip(patches) {
                        let (time_s, picture) = seen(centre_s + f64::from(apart) * step_s);
                        assert_eq!((patch.time_s, patch.crop()), (time_s, picture), "{name} {apart}");
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
        let found = moments(&mut clip, &setup, &remembered("salt-flat.avi", &labels));
        assert_eq!(found.examples.iter().map(|it| it.label.time_s).collect::<Vec<_>>(), [end_s + 0.04, 1.0]);
        let problem = LabelProblem::AfterTheEnd { clip: "salt-flat.avi".into(), end_s };
        assert_eq!(found.rejected, [RejectedLabel { label: labels[0].clone(), problem }]);
    }

    #[test]
    fn a_text_of_another_form_is_rejected_before_its_frame_is_fetched() {
        let (mut clip, setup) = demo("salt-flat.avi");
        let wrong = label(&Channel::Speed, 9999.0, "6x");
        let found = moments(&mut clip, &setup, &remembered("salt-flat.avi", &[wrong]));
        assert_eq!(
            found.rejected[0].problem,
            LabelProblem::Format(super::super::LabelFormatError::UnusableText)
        );
    }

    #[test]
    fn labels_of_a_clip_that_is_not_there_are_left_out_with_its_name() {
        let folder = tempfile::tempdir().unwrap();
        let source = Path::new(DEMO).join("salt-flat.avi");
        for name in ["one.avi", "other.avi"] {
            std::fs::copy(&source, folder.path().join(name)).unwrap();
        }
        let (_, setup) = demo("salt-flat.avi");
        let mut clip = open_clip(&setup, &folder.path().join("one.avi")).unwrap();
        let mut file = remembered("gone.avi", &[label(&Channel::Speed, 1.0, "63")]);
        file.add("other.avi", &label(&Channel::Speed, 2.0, "63"));
        file.add("one.avi", &label(&Channel::Speed, 3.0, "63"));
        let found = moments(&mut clip, &setup, &file);
        assert_eq!(found.missing_clips, BTreeSet::from(["gone.avi".to_owned()]));
        assert_eq!(found.examples.iter().map(|it| it.label.time_s).collect::<Vec<_>>(), [2.0, 3.0]);
        assert!(found.rejected.is_empty());
    }

    fn fetched(frames: Vec<FrameOutput<Surroundings>>, regions: &[Region]) -> Fetched<'_> {
        Fetched { name: "flight.avi".into(), regions, frames, interval_s: 0.04, last_s: 10.0 }
    }

    fn frame(
        regions: &[Region],
        time_s: f64,
        damaged: bool,
        level: impl Fn(u32) -> u8,
    ) -> FrameOutput<Surroundings> {
        let image = image::GrayImage::from_fn(64, 48, |x, _| image::Luma([level(x)]));
        FrameOutput { index: 0, time_s, damaged, output: Surroundings::cut(regions, LumaPlane::of(&image)) }
    }

    fn region() -> Region {
        let place = crate::geometry::PixelRect { left: 8, top: 8, width: 40, height: 20 };
        Region::new(Channel::Speed, place, None)
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
        let fetched = fetched(frames, &regions);
        let moment = |time_s| fetched.moment(label(&Channel::Speed, time_s, "63"));
        let problem = |time_s| moment(time_s).unwrap_err().problem;
        assert_eq!(problem(1.0), LabelProblem::DamagedFrame { clip: "flight.avi".into() });
        assert_eq!(problem(1.12), LabelProblem::EmptyFrame { clip: "flight.avi".into() });
        let used = moment(1.04).unwrap();
        assert_eq!((used.before.len(), used.after.len()), (0, 2));
    }

    #[test]
    fn every_frame_fetched_is_counted_towards_all_of_them() {
        let (mut clip, setup) = demo("salt-flat.avi");
        let labels = [1.0, 2.0].map(|time_s| label(&Channel::Speed, time_s, "63"));
        let shares = std::sync::Mutex::new(Vec::new());
        let tell = |share| shares.lock().unwrap().push(share);
        fetch_examples(&mut clip, &setup, &remembered("salt-flat.avi", &labels), &tell).unwrap();
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
