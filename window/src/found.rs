//! A camera that was found in the recording and is kept in memory until the pilot agrees to it.

use std::collections::VecDeque;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::questions::{Question, missing_in, questions};
use super::wording;
use super::work::{Reporter, Work};
use pairspeed::advice::Advised as _;
use pairspeed::files::{Existing, file_name};
use pairspeed::footage::Clip;
use pairspeed::geometry::PixelRect;
use pairspeed::glyphs::GlyphSet;
use pairspeed::known_camera::{fits, known_camera};
use pairspeed::learn::{LabelFile, LabelledReading, StoredLabel, fetch_examples, learn_glyphs};
use pairspeed::model::channel::Channel;
use pairspeed::new_camera::{NamedReadout, NewCamera, NewCameraError, prepare_camera};
use pairspeed::readings;
use pairspeed::setup::{LoadedSetup, Region, Setup, usual_setup};

/// The camera of a recording that has no setup of its own.
pub(super) enum Search {
    /// A setup beside the recording fits.
    Beside(LoadedSetup),
    /// A camera that was used before fits.
    Remembered(LoadedSetup),
    /// The overlay was searched and deciphered.
    New(Box<FoundCamera>),
}

/// Looks for the camera of a clip: first among the setups beside it, then among `remembered` ones, then in its frames.
pub(super) fn search(
    clip: PathBuf,
    remembered: Vec<LoadedSetup>,
    reporter: &Reporter,
) -> Result<Search, String> {
    let mut open = Clip::open(&clip).map_err(|error| error.to_string())?;
    if let Some(known) = known_camera(&mut open).map_err(|error| error.to_string())? {
        return Ok(Search::Beside(known));
    }
    if let Some(known) = remembered.into_iter().find(|setup| fits(&mut open, setup)) {
        return Ok(Search::Remembered(known));
    }
    let camera = prepare_camera(&mut open, &usual_setup(&clip), &reporter.share_reporter());
    let camera = camera.map_err(|error| in_words(&error))?;
    let questions = questions(&mut open, &camera).map_err(|error| error.to_string())?;
    Ok(Search::New(Box::new(FoundCamera::new(camera, questions))))
}

/// Why no camera can be prepared or saved, in the words of this window.
fn in_words(error: &NewCameraError) -> String {
    match error.advice() {
        Some(next) => format!("{error}; {}", wording::advice(next)),
        None => error.to_string(),
    }
}

/// A text that the pilot has confirmed or typed for a box.
#[derive(Debug, Clone)]
pub(super) struct Confirmed {
    /// The box, as it was found.
    pub rect: PixelRect,
    /// The text, with the channel that the box was taken for.
    pub label: LabelledReading,
}

/// Glyphs that were learned from the pilot's answers, with their labels.
pub(super) struct LearnedSet {
    set: GlyphSet,
    labels: LabelFile,
}

/// A camera that was found, with the changes that the pilot has made.
#[derive(Debug)]
pub struct FoundCamera {
    camera: NewCamera,
    glyphs: Arc<GlyphSet>,
    /// What is doubtful and was not answered yet.
    questions: VecDeque<Question>,
    had_questions: bool,
}

impl FoundCamera {
    pub(super) fn new(camera: NewCamera, questions: Vec<Question>) -> Self {
        let glyphs = Arc::new(camera.set.clone());
        Self { camera, glyphs, had_questions: !questions.is_empty(), questions: questions.into() }
    }

    /// Whether there were questions when the camera was found.
    pub(super) fn had_questions(&self) -> bool {
        self.had_questions
    }

    /// The question to be answered next.
    pub(super) fn question(&self) -> Option<&Question> {
        self.questions.front()
    }

    /// The number of questions that were not answered yet.
    pub(super) fn questions_left(&self) -> usize {
        self.questions.len()
    }

    /// Notes that the question that was asked is answered.
    pub(super) fn answered(&mut self) {
        self.questions.pop_front();
    }

    /// Digits that are not known for some of the channels.
    #[must_use]
    pub fn missing_digits(&self) -> Vec<char> {
        self.glyphs.missing_digits()
    }

    /// Whether a box is still the one that was found as `found`, perhaps moved a little.
    pub(super) fn is_same_box(found: PixelRect, now: PixelRect) -> bool {
        2 * found.overlap_px(now) > found.area_px()
    }

    /// The setup as it was found, or as it was saved last.
    #[must_use]
    pub fn setup(&self) -> &LoadedSetup {
        &self.camera.setup
    }

    /// The glyphs.
    #[must_use]
    pub fn glyphs(&self) -> &Arc<GlyphSet> {
        &self.glyphs
    }

    /// What the box of a region is taken for; `None` for a box that was not found.
    #[must_use]
    pub fn readout(&self, region: &Region) -> Option<&NamedReadout> {
        self.camera.readouts.iter().find(|readout| Self::is_same_box(readout.rect, region.rect))
    }

    /// Saves the setup as the pilot has changed it, with glyphs and labels, which follow the new names of their channels.
    ///
    /// # Errors
    /// [`NewCameraError`] if one of them cannot be written.
    pub fn save(&mut self, setup: LoadedSetup, existing: Existing) -> Result<(), NewCameraError> {
        self.rename(&setup.setup.regions);
        self.camera.setup = setup;
        if self.camera.readouts.is_empty() {
            // The pilot has replaced everything that was found.
            return Ok(self.camera.setup.setup.save(&self.camera.setup.path, existing)?);
        }
        self.camera.save(existing)
    }

    /// Takes over the setup as the pilot has changed it, and starts to learn the glyphs with the texts that the pilot has
    /// confirmed. Other labels with digits that are not known are no longer used.
    pub(super) fn learn(
        &mut self,
        ctx: &egui::Context,
        clip: PathBuf,
        setup: LoadedSetup,
        confirmed: &[Confirmed],
    ) -> Work<LearnedSet> {
        self.rename(&setup.setup.regions);
        self.camera.setup = setup;
        let mut labels = std::mem::take(&mut self.camera.labels);
        labels.labels.retain(|label| label.insisted || missing_in(&self.camera, label).is_empty());
        let name = file_name(&clip);
        for Confirmed { rect, label } in confirmed {
            let regions = &mut self.camera.setup.setup.regions;
            let Some(region) = regions.iter().find(|region| Self::is_same_box(*rect, region.rect)) else {
                continue;
            };
            let label = LabelledReading { channel: region.channel.clone(), ..label.clone() };
            labels.add(&name, &label);
            labels.insist(&name, &label.channel, label.time_s);
        }
        self.camera.labels = labels.clone();
        let setup = self.camera.setup.clone();
        Work::start(ctx, move |_| learned(&clip, &setup, labels))
    }

    /// Takes over glyphs that were learned.
    pub(super) fn set_glyphs(&mut self, LearnedSet { set, labels }: LearnedSet) {
        (self.camera.set, self.camera.labels) = (set, labels);
        self.glyphs = Arc::new(self.camera.set.clone());
    }

    /// Gives labels and glyphs the channels that the regions have now. What belongs to a region that was removed goes.
    fn rename(&mut self, regions: &[Region]) {
        let new_name = |readout: &NamedReadout| {
            let region = regions.iter().find(|region| Self::is_same_box(readout.rect, region.rect))?;
            Some((readout.guess.channel.clone(), region.channel.clone()))
        };
        let names: Vec<(Channel, Channel)> = self.camera.readouts.iter().filter_map(new_name).collect();
        let renamed = |old: &Channel| names.iter().find(|(name, _)| name == old).map(|(_, new)| new.clone());
        let LabelFile { labels } = &mut self.camera.labels;
        *labels = std::mem::take(labels)
            .into_iter()
            .filter_map(|label| renamed(&label.channel).map(|channel| StoredLabel { channel, ..label }))
            .collect();
        self.camera.set.faces.retain_mut(|face| {
            let for_all = face.channels.is_empty();
            face.channels = face.channels.iter().filter_map(renamed).collect();
            for_all || !face.channels.is_empty()
        });
        self.camera.readouts.retain_mut(|readout| match renamed(&readout.guess.channel) {
            Some(channel) => {
                readout.guess.channel = channel;
                true
            }
            None => false,
        });
        self.glyphs = Arc::new(self.camera.set.clone());
    }
}

fn learned(clip: &Path, setup: &LoadedSetup, labels: LabelFile) -> Result<LearnedSet, String> {
    let mut open = Clip::open(clip).map_err(|error| error.to_string())?;
    let sample = readings::sample(&mut open, &setup.setup).map_err(|error| error.to_string())?;
    let fetched = fetch_examples(&mut open, setup, &labels, &|_| ()).map_err(|error| error.to_string())?;
    let Setup { camera, regions, .. } = &setup.setup;
    let learned = learn_glyphs(&camera.name, regions, &fetched.examples, &labels.insisted(), &sample);
    let set = learned.map_err(|error| error.to_string())?.set;
    Ok(LearnedSet { set, labels })
}
