//! Clips whose texts are known, for scoring the program on them.

use std::collections::HashMap;
use std::error::Error;
use std::path::{Path, PathBuf};

use pairspeed::footage::{Clip, FrameSource, LumaImage as _, LumaPlane, sample};
use pairspeed::learn::{LabelledReading, TrainingExample};
use pairspeed::recognise::{Patch, Sample};
use pairspeed::setup::Region;

/// Number of frames of the sample, the same as in the program.
pub(crate) const SAMPLED_FRAMES: usize = 120;

/// True texts by channel, one for each frame; empty if nothing is shown; separated by `|` if the two fields of a frame
/// differ.
pub type Truth = HashMap<String, Vec<String>>;

/// Reads a table with one column for each channel and one line for each frame.
///
/// # Errors
/// If the file cannot be read.
pub fn truth_texts(path: &Path) -> Result<Truth, Box<dyn Error>> {
    let mut reader = csv::Reader::from_path(path)?;
    let names: Vec<String> = reader.headers()?.iter().map(str::to_owned).collect();
    let mut texts = Truth::new();
    for record in reader.records() {
        for (name, text) in names.iter().zip(record?.iter()) {
            texts.entry(name.clone()).or_default().push(text.to_owned());
        }
    }
    Ok(texts)
}

/// The clips of a folder that have their true texts beside them, sorted by name.
///
/// # Errors
/// If the folder cannot be read.
pub fn clips(folder: &Path) -> Result<Vec<PathBuf>, Box<dyn Error>> {
    let mut clips = Vec::new();
    for entry in std::fs::read_dir(folder)? {
        let path = entry?.path();
        let is_clip = path.extension().is_some_and(|end| end == "avi" || end == "mp4");
        if is_clip && path.with_extension("readings.csv").exists() {
            clips.push(path);
        }
    }
    clips.sort();
    Ok(clips)
}

/// The sample used for learning and calibration.
///
/// # Errors
/// If the clip cannot be read.
pub fn sampled(clip: &Path, regions: &[Region]) -> Result<Sample, Box<dyn Error>> {
    let mut frames = Sample::new(regions.len());
    for found in sample(&mut Clip::open(clip)?, SAMPLED_FRAMES)? {
        frames.add(Sample::cut(regions, LumaPlane::of(&found.image)), found.time_s);
    }
    Ok(frames)
}

/// Training examples with the true texts of some frames and regions. Those without exactly one text are left out.
///
/// # Errors
/// If the clip cannot be read.
pub fn labelled_examples(
    clip: &Path,
    truth: &Truth,
    wanted: &[(usize, &Region)],
) -> Result<Vec<TrainingExample>, Box<dyn Error>> {
    let mut frames: HashMap<usize, (image::GrayImage, f64)> = HashMap::new();
    let mut source = Clip::open(clip)?;
    while let Some(frame) = source.next_frame()? {
        let index = frame.index as usize;
        if wanted.iter().any(|(one, _)| one.abs_diff(index) <= 4) {
            frames.insert(index, (frame.luma.to_image(), frame.time_s));
        }
    }
    let moment = |(frame, region): &(usize, &Region)| {
        let patch = |index: usize| {
            let (image, time_s) = frames.get(&index)?;
            Some(Patch::of(image, region.rect, *time_s))
        };
        let centre = patch(*frame)?;
        let text = truth.get(region.channel.name())?.get(*frame)?.clone();
        (!text.contains('|') && !text.is_empty()).then(|| TrainingExample {
            label: LabelledReading { channel: region.channel.clone(), time_s: centre.time_s, text },
            before: (1..=4).filter_map(|k| patch(frame.checked_sub(k)?)).collect(),
            after: (1..=4).filter_map(|k| patch(frame + k)).collect(),
            centre,
        })
    };
    Ok(wanted.iter().filter_map(moment).collect())
}
