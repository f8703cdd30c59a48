//! A camera that was found in the recording and is kept in memory until the pilot accepts it.

use std::collections::VecDeque;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::questions::{Question, questions};
use super::wording;
use super::work::{Reporter, Work};
use pairspeed::advice::Advised as _;
use pairspeed::confinement::Confinement;
use pairspeed::files::Existing;
use pairspeed::footage::Clip;
use pairspeed::geometry::PixelRect;
use pairspeed::glyphs::GlyphSet;
use pairspeed::known_camera::{FolderSearchError, fits, known_camera, setups_beside};
use pairspeed::learn::LabelledReading;
use pairspeed::new_camera::{NamedReadout, NewCamera, NewCameraError, is_same_box, prepare_camera};
use pairspeed::setup::{LoadedSetup, Region, usual_setup};

/// The result of the search for the camera of a recording, if no setup is chosen and none is named after the
/// recording.
pub(super) enum Search {
    /// A setup beside the recording fits.
    Beside(LoadedSetup),
    /// The setup of a camera that was used before fits the recording.
    Remembered(LoadedSetup),
    /// The overlay was searched and deciphered.
    New(Box<FoundCamera>),
}

/// Looks for the camera of a clip: first among the setups beside it, then among `remembered` ones, then in its frames.
pub(super) fn search(ctx: &egui::Context, clip: PathBuf, remembered: Vec<LoadedSetup>) -> Work<Search> {
    let beside = setups_beside(&clip);
    let setups = beside.iter().flatten().chain(&remembered).flat_map(LoadedSetup::input_files);
    let rights = Confinement::default().reading([&clip]).reading(setups);
    Work::start_confined(ctx, rights, move |reporter| searched(&clip, beside, remembered, reporter))
}

fn searched(
    clip: &Path,
    beside: Result<Vec<LoadedSetup>, FolderSearchError>,
    remembered: Vec<LoadedSetup>,
    reporter: &Reporter,
) -> Result<Search, String> {
    let mut open = Clip::open(clip).map_err(|error| error.to_string())?;
    if let Some(known) = known_camera(&mut open, beside.map_err(|error| error.to_string())?) {
        return Ok(Search::Beside(known));
    }
    if let Some(known) = remembered.into_iter().find(|setup| fits(&mut open, setup)) {
        return Ok(Search::Remembered(known));
    }
    let camera = prepare_camera(&mut open, &usual_setup(clip), &reporter.share_reporter());
    let camera = camera.map_err(|error| in_words(&error))?;
    let questions = questions(&mut open, &camera).map_err(|error| error.to_string())?;
    Ok(Search::New(Box::new(FoundCamera::new(camera, questions))))
}

/// The reason why a camera cannot be prepared or saved, with advice that fits the window.
fn in_words(error: &NewCameraError) -> String {
    match error.advice() {
        Some(next) => format!("{error}; {}", wording::advice(next)),
        None => error.to_string(),
    }
}

/// A text that the pilot has confirmed or typed for a box.
#[derive(Debug, Clone)]
pub(super) struct Confirmed {
    /// The box that the question was about, as it was when the camera was found, in pixels of the frame.
    pub rect: PixelRect,
    /// The text, with the channel that the box had when the pilot confirmed or typed the text.
    pub label: LabelledReading,
}

impl Confirmed {
    /// The text with the channel that the box has now; `None` if the box was removed.
    pub(super) fn reading(&self, regions: &[Region]) -> Option<LabelledReading> {
        let region = regions.iter().find(|region| is_same_box(self.rect, region.rect))?;
        Some(LabelledReading { channel: region.channel.clone(), ..self.label.clone() })
    }
}

/// A camera that was found, with the changes that the pilot has made.
#[derive(Debug)]
pub struct FoundCamera {
    camera: NewCamera,
    glyphs: Arc<GlyphSet>,
    /// The questions that were not answered yet.
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

    /// The next question; `None` if all are answered.
    pub(super) fn question(&self) -> Option<&Question> {
        self.questions.front()
    }

    /// The number of questions that were not answered yet.
    pub(super) fn questions_left(&self) -> usize {
        self.questions.len()
    }

    /// Removes the question that was answered.
    pub(super) fn answered(&mut self) {
        self.questions.pop_front();
    }

    /// Digits without a glyph for at least one of the channels.
    #[must_use]
    pub fn missing_digits(&self) -> Vec<char> {
        self.glyphs.missing_digits()
    }

    /// The setup as it was found, or as it was saved last.
    #[must_use]
    pub fn setup(&self) -> &LoadedSetup {
        &self.camera.setup
    }

    /// The glyphs that were deciphered or learned for the camera.
    #[must_use]
    pub fn glyphs(&self) -> &Arc<GlyphSet> {
        &self.glyphs
    }

    /// The readout that was found in the box of a region; `None` if none was found there.
    #[must_use]
    pub fn readout(&self, region: &Region) -> Option<&NamedReadout> {
        self.camera.readouts.iter().find(|readout| is_same_box(readout.rect, region.rect))
    }

    /// Saves the setup as the pilot has changed it, with the glyphs and labels, whose channels are renamed
    /// accordingly. `existing` says whether existing files are replaced.
    ///
    /// # Errors
    /// [`NewCameraError`] if one of them cannot be written.
    pub fn save(&mut self, setup: LoadedSetup, existing: Existing) -> Result<(), NewCameraError> {
        self.change_setup(setup);
        if self.camera.readouts.is_empty() {
            // The pilot has replaced all regions that were found.
            return Ok(self.camera.setup.setup.save(&self.camera.setup.path, existing)?);
        }
        self.camera.save(existing)
    }

    /// Sets the setup as the pilot has changed it, and starts learning the glyphs with the texts that the pilot has
    /// confirmed.
    pub(super) fn learn(
        &mut self,
        ctx: &egui::Context,
        clip: PathBuf,
        setup: LoadedSetup,
        confirmed: &[Confirmed],
    ) -> Work<NewCamera> {
        self.change_setup(setup);
        let mut camera = self.camera.clone();
        let regions = &camera.setup.setup.regions;
        let readings: Vec<LabelledReading> =
            confirmed.iter().filter_map(|confirmed| confirmed.reading(regions)).collect();
        let rights = Confinement::default().reading([&clip]).reading(camera.setup.input_files());
        Work::start_confined(ctx, rights, move |_| {
            let mut open = Clip::open(&clip).map_err(|error| error.to_string())?;
            camera.confirm(&mut open, &readings).map_err(|error| in_words(&error))?;
            Ok::<_, String>(camera)
        })
    }

    /// Uses the camera with the learned glyphs, and gives its readouts the channels that their boxes have now.
    pub(super) fn set_learned(&mut self, learned: NewCamera) {
        let setup = std::mem::replace(&mut self.camera, learned).setup;
        self.change_setup(setup);
    }

    fn change_setup(&mut self, setup: LoadedSetup) {
        self.camera.change_setup(setup);
        self.glyphs = Arc::new(self.camera.set.clone());
    }
}
