//! The frame being looked at, and what its boxes read: fetched and read off the window's thread.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use image::GrayImage;

use crate::work::LatestWinsWorker;
use pairspeed::footage::{Clip, FootageError, FrameSource as _, LumaImage as _, frames_near};
use pairspeed::readings::{FrameReading, read_frame};
use pairspeed::recognise::Recogniser;
use pairspeed::setup::LoadedSetup;
use pairspeed::{glyph_sets, readings};

/// Frames a second taken for granted where the clip does not say.
const ASSUMED_RATE_HZ: f64 = 25.0;
/// Most tries to find the frame before another.
const MOST_STEPS_BACK: u32 = 8;

/// Which frame is wanted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Wanted {
    /// The one nearest to a time in seconds.
    Near(f64),
    /// The one after the frame at a time.
    After(f64),
    /// The one before the frame at a time.
    Before(f64),
}

/// A frame of the clip.
#[derive(Debug)]
pub struct Frame {
    /// Its time in seconds.
    pub time_s: f64,
    /// Its brightness.
    pub image: GrayImage,
}

/// What is to be read with: a change of either calibrates anew.
#[derive(Debug, Clone, PartialEq)]
pub struct Key {
    /// The setup as it is marked now, and where it would be saved.
    pub setup: LoadedSetup,
    /// Changes when the glyphs have changed.
    pub glyphs_number: u64,
}

/// What the boxes read in a frame.
#[derive(Debug)]
pub struct Reading {
    /// The frame's time in seconds.
    pub time_s: f64,
    /// What it was read with.
    pub key: Arc<Key>,
    /// What each box shows, in the setup's order; a message where nothing can be read.
    pub shown: Result<Vec<FrameReading>, String>,
}

/// Fetches frames and reads them.
pub struct Viewer {
    frames: LatestWinsWorker<Wanted, Result<Arc<Frame>, String>>,
    readings: LatestWinsWorker<(Arc<Frame>, Arc<Key>), Reading>,
}

impl Viewer {
    /// A viewer of a clip.
    pub fn new(ctx: &egui::Context, path: &Path) -> Self {
        let (one, other) = (path.to_owned(), path.to_owned());
        let mut fetcher = Fetcher { path: one, clip: None };
        let mut reader = Reader { path: other, clip: None, calibrated: None };
        Self {
            frames: LatestWinsWorker::spawn(ctx, move |wanted, answer| {
                answer(fetcher.frame(wanted).map(Arc::new).map_err(|error| error.to_string()));
            }),
            readings: LatestWinsWorker::spawn(ctx, move |(frame, key): (Arc<Frame>, Arc<Key>), answer| {
                let shown = reader.read(&frame, &key);
                answer(Reading { time_s: frame.time_s, key, shown });
            }),
        }
    }

    /// Wants a frame.
    pub fn want(&self, wanted: Wanted) {
        self.frames.submit(wanted);
    }

    /// A frame that was wanted, or why it cannot be had.
    pub fn frame(&self) -> Option<Result<Arc<Frame>, String>> {
        self.frames.answer()
    }

    /// Wants a frame read.
    pub fn read(&self, frame: Arc<Frame>, key: Arc<Key>) {
        self.readings.submit((frame, key));
    }

    /// What was read.
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
                let after =
                    clip.next_frame()?.map(|next| Frame { time_s: next.time_s, image: next.luma.to_image() });
                match after {
                    Some(after) => Some(after),
                    None => nearest(clip, time_s)?,
                }
            }
            Wanted::Before(time_s) => before(clip, time_s)?,
        };
        found.ok_or_else(|| FootageError::NoFrame { path: self.path.clone() })
    }
}

/// The clip, opened if it is not. A clip that has gone meanwhile, card and all, is said to be gone.
fn opened<'a>(place: &'a mut Option<Clip>, path: &Path) -> Result<&'a mut Clip, FootageError> {
    if !path.exists() {
        *place = None;
        return Err(FootageError::NoSuchFile { path: path.to_owned() });
    }
    match place {
        Some(clip) => Ok(clip),
        None => Ok(place.insert(Clip::open(path)?)),
    }
}

fn nearest(clip: &mut Clip, time_s: f64) -> Result<Option<Frame>, FootageError> {
    let found = frames_near(clip, &[time_s])?.pop();
    Ok(found.map(|frame| Frame { time_s: frame.time_s, image: frame.image }))
}

fn before(clip: &mut Clip, time_s: f64) -> Result<Option<Frame>, FootageError> {
    let step_s = 0.6 / clip.info().nominal_rate_hz.filter(|rate| *rate > 1.0).unwrap_or(ASSUMED_RATE_HZ);
    for steps in 1..=MOST_STEPS_BACK {
        let found = nearest(clip, (time_s - f64::from(steps) * step_s).max(0.0))?;
        if found.as_ref().is_some_and(|frame| frame.time_s < time_s - 1e-6 || frame.time_s <= 0.0) {
            return Ok(found);
        }
    }
    nearest(clip, time_s)
}

struct Reader {
    path: PathBuf,
    clip: Option<Clip>,
    calibrated: Option<(Arc<Key>, Recogniser)>,
}

impl Reader {
    fn read(&mut self, frame: &Frame, key: &Arc<Key>) -> Result<Vec<FrameReading>, String> {
        if self.calibrated.as_ref().is_none_or(|(known, _)| known != key) {
            self.calibrated = None;
            let recogniser = self.calibrate(&key.setup)?;
            self.calibrated = Some((Arc::clone(key), recogniser));
        }
        let shown = self
            .calibrated
            .as_ref()
            .map(|(_, recogniser)| read_frame(recogniser, &key.setup.setup.regions, &frame.image));
        Ok(shown.unwrap_or_default())
    }

    fn calibrate(&mut self, setup: &LoadedSetup) -> Result<Recogniser, String> {
        setup.setup.validate().map_err(|fault| fault.to_string())?;
        let sets = glyph_sets(setup).map_err(|error| error.to_string())?;
        let clip = opened(&mut self.clip, &self.path).map_err(|error| error.to_string())?;
        let sample = readings::sample(clip, &setup.setup).map_err(|error| error.to_string())?;
        Ok(Recogniser::calibrate(&setup.setup.regions, &sets, &sample))
    }
}
