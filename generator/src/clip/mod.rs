//! Makes a clip, from the first frame to the last file.

mod encode;
mod residual_text;
mod schedule;
mod sidecar;
mod source;

use std::path::{Path, PathBuf};

pub use schedule::{RecordedFrame, Recording};
pub use source::{FrameSource, RenderedFrame};

use crate::error::Error;
use crate::files;
use crate::scenario::{Codec, Scenario};
use encode::Encoder;

/// Number of frames that are made in parallel before they are encoded in order (set by judgement).
const FRAMES_PER_BATCH: usize = 16;

/// Paths of one file of a recording and of the files that belong to it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ClipPaths {
    /// The video file.
    pub clip: PathBuf,
    /// The truth about the flight: `<stem>.truth.toml`.
    pub truth: PathBuf,
    /// The text of every frame: `<stem>.readings.csv`.
    pub readings: PathBuf,
    /// A camera setup: `<stem>.setup.toml`.
    pub setup: PathBuf,
}

/// Makes the clip of a scenario in the folder `dir`, or its clips if it is split into several files.
///
/// # Errors
///
/// [`Error::NoEncoder`] if ffmpeg is not installed, [`Error::Encoder`] if it fails, [`Error::Font`] if a font
/// cannot be used, [`Error::Write`] if a file cannot be written.
pub fn make_clip(scenario: &Scenario, dir: &Path) -> Result<Vec<ClipPaths>, Error> {
    let source = FrameSource::new(scenario)?;
    files::make_folder(dir)?;
    let several = source.recordings().len() > 1;
    let stem = |index: usize| {
        if several { format!("{}-{}", scenario.name, index + 1) } else { scenario.name.clone() }
    };
    let recordings = source.recordings().iter().enumerate();
    recordings.map(|(index, recording)| make_file(&source, recording, dir, &stem(index))).collect()
}

fn make_file(
    source: &FrameSource,
    recording: &Recording,
    dir: &Path,
    stem: &str,
) -> Result<ClipPaths, Error> {
    let scenario = source.scenario();
    let beside = |suffix: &str| dir.join(format!("{stem}.{suffix}"));
    let paths = ClipPaths {
        clip: beside(scenario.video.container.suffix()),
        truth: beside("truth.toml"),
        readings: beside("readings.csv"),
        setup: beside("setup.toml"),
    };
    let mut encoder = Encoder::start(&scenario.video, recording, &paths.clip)?;
    let mut texts = Vec::with_capacity(recording.shots.len());
    let mut ready = Vec::new();
    for batch in recording.shots.chunks(FRAMES_PER_BATCH) {
        let (written, next) = rayon::join(|| encoder.write_all(&ready), || source.frames(batch));
        written?;
        texts.extend(ready.into_iter().map(|shown| shown.texts));
        ready = next;
    }
    encoder.write_all(&ready)?;
    texts.extend(ready.into_iter().map(|shown| shown.texts));
    encoder.finish()?;
    if scenario.video.codec != Codec::Mjpeg && !scenario.degradation.interlaced {
        residual_text::with_residual_texts(source, recording, &paths.clip, &mut texts)?;
    }
    sidecar::write_readings(scenario, recording, texts, &paths.readings)?;
    sidecar::write_truth(source, recording, &paths.truth)?;
    sidecar::write_setup(source, &paths.setup)?;
    Ok(paths)
}
