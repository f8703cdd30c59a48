//! A camera that was found in the recording and is kept in memory until the pilot agrees to it.

use std::path::PathBuf;
use std::sync::Arc;

use super::wording;
use super::work::Reporter;
use pairspeed::advice::Advised as _;
use pairspeed::files::Existing;
use pairspeed::footage::Clip;
use pairspeed::glyphs::GlyphSet;
use pairspeed::known_camera::{fits, known_camera};
use pairspeed::learn::LabelFile;
use pairspeed::model::channel::Channel;
use pairspeed::new_camera::{NamedReadout, NewCamera, NewCameraError, prepare_camera};
use pairspeed::setup::{LoadedSetup, Region, usual_setup};

/// Probability of a channel or a digit from which the pilot need not look at it.
pub(super) const CERTAIN: f64 = 0.9;

/// The camera of a recording that has no setup of its own.
pub(super) enum Search {
    /// A setup beside the recording fits.
    Beside(LoadedSetup),
    /// A camera that was used before fits.
    Remembered(LoadedSetup),
    /// The overlay was searched and deciphered.
    New(Box<NewCamera>),
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
    Ok(Search::New(Box::new(camera.map_err(|error| in_words(&error))?)))
}

/// Why no camera can be prepared or saved, in the words of this window.
fn in_words(error: &NewCameraError) -> String {
    match error.advice() {
        Some(next) => format!("{error}; {}", wording::advice(next)),
        None => error.to_string(),
    }
}

/// A camera that was found, with the changes that the pilot has made.
#[derive(Debug)]
pub struct FoundCamera {
    camera: NewCamera,
    glyphs: Arc<GlyphSet>,
}

impl FoundCamera {
    pub(super) fn new(camera: NewCamera) -> Self {
        let glyphs = Arc::new(camera.set.clone());
        Self { camera, glyphs }
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
        self.camera
            .readouts
            .iter()
            .find(|readout| 2 * readout.rect.overlap_px(region.rect) > readout.rect.area_px())
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

    /// Gives labels and glyphs the channels that the regions have now. What belongs to a region that was removed goes.
    fn rename(&mut self, regions: &[Region]) {
        let new_name = |readout: &NamedReadout| {
            let region = regions
                .iter()
                .max_by_key(|region| readout.rect.overlap_px(region.rect))
                .filter(|region| 2 * readout.rect.overlap_px(region.rect) > readout.rect.area_px())?;
            Some((readout.guess.channel.clone(), region.channel.clone()))
        };
        let names: Vec<(Channel, Channel)> = self.camera.readouts.iter().filter_map(new_name).collect();
        let renamed = |old: &Channel| names.iter().find(|(name, _)| name == old).map(|(_, new)| new.clone());
        let LabelFile { labels } = &mut self.camera.labels;
        *labels = std::mem::take(labels)
            .into_iter()
            .filter_map(|label| {
                renamed(&label.channel).map(|channel| pairspeed::learn::StoredLabel { channel, ..label })
            })
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
