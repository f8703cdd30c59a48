//! Fetches the frame that is shown and reads its boxes, both off the window's thread.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use image::{GrayImage, RgbImage};

use crate::work::LatestWinsWorker;
use pairspeed::confinement::Confinement;
use pairspeed::footage::{Clip, FootageError, FrameSource as _, LumaImage as _, frames_near};
use pairspeed::glyphs::GlyphSet;
use pairspeed::readings::{FrameReading, read_frame};
use pairspeed::recognise::Recogniser;
use pairspeed::setup::LoadedSetup;
use pairspeed::{glyph_sets, readings};

/// Frame rate that is assumed if the clip states none, in frames per second (set by judgement).
const ASSUMED_RATE_HZ: f64 = 25.0;
/// Maximum number of steps back in time, each of 0.6 frame intervals, in the search for the previous frame (set by
/// judgement).
const MAX_STEPS_BACK: u32 = 8;

/// A requested frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Wanted {
    /// The frame nearest to a time in seconds.
    Near(f64),
    /// The frame that follows the frame at a time in seconds; at the end of the clip the last frame.
    After(f64),
    /// The frame that precedes the frame at a time in seconds; at the start of the clip the first frame.
    Before(f64),
}

/// A frame of the clip.
#[derive(Debug)]
pub struct Frame {
    /// Time of the frame, in seconds.
    pub time_s: f64,
    /// Grey levels of the frame, which the boxes are read from.
    pub image: GrayImage,
    /// The frame in colour; `None` if its pixel format is not supported.
    pub colours: Option<RgbImage>,
}

/// The setup and glyphs that boxes are read with. If they change, the recogniser is calibrated again.
#[derive(Debug, Clone, PartialEq)]
pub struct Key {
    /// The setup with the regions marked so far, and the path to which it would be saved.
    pub setup: LoadedSetup,
    /// Glyphs that are not saved yet; `None` for those of the setup.
    pub glyphs: Option<Arc<GlyphSet>>,
    /// Number that changes whenever the glyphs or the saved setup are replaced.
    pub glyphs_number: u64,
}

/// The readings of the boxes in a frame.
#[derive(Debug)]
pub struct Reading {
    /// Time of the frame, in seconds.
    pub time_s: f64,
    /// The setup and glyphs that the boxes were read with.
    pub key: Arc<Key>,
    /// The reading of each box, in the order of the setup; or a message if nothing can be read.
    pub shown: Result<Vec<FrameReading>, String>,
}

/// Fetches frames of a clip and reads their boxes, each in a thread of its own.
pub struct Viewer {
    frames: LatestWinsWorker<Wanted, Result<Arc<Frame>, String>>,
    readings: LatestWinsWorker<(Arc<Frame>, Arc<Key>), Reading>,
}

impl Viewer {
    /// A viewer for the frames of a clip.
    pub fn new(ctx: &egui::Context, path: &Path) -> Self {
        let mut fetcher = Fetcher { path: path.to_owned(), clip: None };
        let mut reader = Reader { path: path.to_owned(), calibrated: None };
        let rights = Confinement::default().reading([path]);
        Self {
            frames: LatestWinsWorker::spawn_confined(ctx, rights, move |wanted, answer| {
                answer(fetcher.frame(wanted).map(Arc::new).map_err(|error| error.to_string()));
            }),
            readings: LatestWinsWorker::spawn(ctx, move |(frame, key): (Arc<Frame>, Arc<Key>), answer| {
                let shown = reader.read(&frame, &key);
                answer(Reading { time_s: frame.time_s, key, shown });
            }),
        }
    }

    /// Requests a frame.
    pub fn want(&self, wanted: Wanted) {
        self.frames.submit(wanted);
    }

    /// A requested frame, or the reason why it cannot be fetched; `None` if none has arrived.
    pub fn frame(&self) -> Option<Result<Arc<Frame>, String>> {
        self.frames.answer()
    }

    /// Requests the readings of a frame.
    pub fn read(&self, frame: Arc<Frame>, key: Arc<Key>) {
        self.readings.submit((frame, key));
    }

    /// Readings that were requested; `None` if none have arrived.
    pub fn reading(&self) -> Option<Reading> {
        self.readings.answer()
    }
}

struct Fetcher {
    path: PathBuf,
    clip: Option<Clip>,
}

impl Fetcher {
    fn frame(&mut self, wanted: Wanted) -> Result<Frame, FootageError> {
        let clip = opened(&mut self.clip, &self.path)?;
        let found = match wanted {
            Wanted::Near(time_s) => nearest(clip, time_s)?,
            Wanted::After(time_s) => {
                clip.seek(time_s)?;
                let _here = clip.next_frame()?;
                let after = clip.next_frame()?.map(|next| (next.time_s, next.luma.to_image()));
                match after {
                    Some((time_s, image)) => Some(Frame { time_s, image, colours: clip.colour_image() }),
                    None => nearest(clip, time_s)?,
                }
            }
            Wanted::Before(time_s) => before(clip, time_s)?,
        };
        found.ok_or_else(|| FootageError::NoFrame { path: self.path.clone() })
    }
}

/// The clip, opened if it is not open yet. If its file has disappeared in the meantime, the error says so.
fn opened<'a>(clip: &'a mut Option<Clip>, path: &Path) -> Result<&'a mut Clip, FootageError> {
    if !path.exists() {
        *clip = None;
        return Err(FootageError::NoSuchFile { path: path.to_owned() });
    }
    match clip {
        Some(clip) => Ok(clip),
        None => Ok(clip.insert(Clip::open(path)?)),
    }
}

fn nearest(clip: &mut Clip, time_s: f64) -> Result<Option<Frame>, FootageError> {
    let found = frames_near(clip, &[time_s])?.pop();
    let colours = clip.colour_image();
    Ok(found.map(|frame| Frame { time_s: frame.time_s, image: frame.image, colours }))
}

fn before(clip: &mut Clip, time_s: f64) -> Result<Option<Frame>, FootageError> {
    let step_s = 0.6 / clip.info().nominal_rate_hz.filter(|rate| *rate > 1.0).unwrap_or(ASSUMED_RATE_HZ);
    for steps in 1..=MAX_STEPS_BACK {
        let found = nearest(clip, (time_s - f64::from(steps) * step_s).max(0.0))?;
        if found.as_ref().is_some_and(|frame| frame.time_s < time_s - 1e-6 || frame.time_s <= 0.0) {
            return Ok(found);
        }
    }
    nearest(clip, time_s)
}

struct Reader {
    path: PathBuf,
    calibrated: Option<(Arc<Key>, Recogniser)>,
}

impl Reader {
    fn read(&mut self, frame: &Frame, key: &Arc<Key>) -> Result<Vec<FrameReading>, String> {
        if self.calibrated.as_ref().is_none_or(|(known, _)| known != key) {
            self.calibrated = None;
            let recogniser = self.calibrate(key)?;
            self.calibrated = Some((Arc::clone(key), recogniser));
        }
        let shown = self
            .calibrated
            .as_ref()
            .map(|(_, recogniser)| read_frame(recogniser, &key.setup.setup.regions, &frame.image));
        Ok(shown.unwrap_or_default())
    }

    /// Calibrates a recogniser for the boxes of `key`. The thread may read only the clip and the files that the setup
    /// names, which can differ from one setup to the next.
    fn calibrate(&self, key: &Key) -> Result<Recogniser, String> {
        let rights = Confinement::default().reading([&self.path]).reading(key.setup.input_files());
        rights.run(|| self.calibrated_for(key))
    }

    fn calibrated_for(&self, Key { setup, glyphs, .. }: &Key) -> Result<Recogniser, String> {
        setup.setup.validate().map_err(|fault| fault.to_string())?;
        let sets = match glyphs {
            Some(glyphs) => vec![GlyphSet::clone(glyphs)],
            None => glyph_sets(setup).map_err(|error| error.to_string())?,
        };
        let mut clip = Clip::open(&self.path).map_err(|error| error.to_string())?;
        let sample = readings::sample(&mut clip, &setup.setup).map_err(|error| error.to_string())?;
        Ok(Recogniser::calibrate(&setup.setup.regions, &sets, &sample))
    }
}
