//! A clip with known texts and some of its frames in memory, to learn from the same images many times.

use std::collections::BTreeMap;
use std::error::Error;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use pairspeed::footage::{Clip, FrameSource, LumaImage as _, LumaPlane, sample};
use pairspeed::learn::{LabelledReading, TrainingExample};
use pairspeed::recognise::{Patch, Sample};
use pairspeed::setup::{Region, Setup};
use serde_json::Value;

use crate::truth::{SAMPLED_FRAMES, Truth, truth_texts};

/// Number of frames that are kept before and after a labelled frame.
const NEIGHBOURS: usize = 4;

/// Default kinds of channels: unit, digits, decimals, smallest and largest value, largest change in a second.
const USUAL_KINDS: [(&str, &str, u8, u8, f64, f64, f64); 5] = [
    ("satellites", "", 2, 0, 0.0, 40.0, 2.0),
    ("speed", "mph", 3, 0, 0.0, 250.0, 40.0),
    ("throttle", "%", 3, 0, 0.0, 100.0, 200.0),
    ("voltage", "V", 3, 1, 9.0, 26.0, 5.0),
    ("altitude", "ft", 4, 0, -200.0, 9000.0, 120.0),
];

/// A clip, its regions, its sample, frames to label, and other frames to read.
pub struct LabelledClip {
    /// Name of the clip.
    pub name: String,
    /// The regions of the clip's setup.
    pub regions: Vec<Region>,
    /// The sample taken from the whole clip.
    pub sample: Sample,
    /// Frames that may be labelled: for each, the training examples of all regions.
    pub labelled: Vec<Vec<TrainingExample>>,
    /// Frames to read, with the text of every region; empty if nothing is shown.
    pub unseen: Vec<Vec<(Patch, String)>>,
}

impl LabelledClip {
    /// Decodes a clip once and keeps `labelled` frames to label and `unseen` others, drawn with a seed.
    ///
    /// # Errors
    /// If the clip, its setup or its truth cannot be read.
    pub fn load(clip: &Path, labelled: usize, unseen: usize, seed: u64) -> Result<Self, Box<dyn Error>> {
        let (setup, truth, legible) = described(clip)?;
        let regions = setup.regions;
        let frames = legible.len();
        let texts = |frame: usize| -> Vec<String> {
            let text = |region: &Region| Some(truth.get(region.channel.name())?.get(frame)?.clone());
            regions.iter().map(|region| text(region).unwrap_or_default()).collect()
        };
        let has_one_text = |frame: &usize| legible[*frame] && texts(*frame).iter().all(|text| is_one(text));
        let inner = NEIGHBOURS..frames.saturating_sub(NEIGHBOURS);
        let steady = |frame: &usize| texts(*frame - 1) == texts(*frame) && texts(*frame) == texts(*frame + 1);
        let mut steady: Vec<usize> = inner.clone().filter(has_one_text).filter(steady).collect();
        if steady.is_empty() {
            steady = inner.clone().filter(has_one_text).collect();
        }
        let mut random = Random(seed);
        random.shuffle(&mut steady);
        steady.truncate(labelled);
        let mut others: Vec<usize> = inner.filter(|frame| legible[*frame]).collect();
        random.shuffle(&mut others);
        others.truncate(unseen);
        let wanted = |frame: usize| {
            others.contains(&frame) || steady.iter().any(|one| one.abs_diff(frame) <= NEIGHBOURS)
        };
        let mut patches: BTreeMap<usize, Vec<Patch>> = BTreeMap::new();
        let mut source = Clip::open(clip)?;
        while let Some(frame) = source.next_frame()? {
            let index = frame.index as usize;
            if wanted(index) {
                let picture = frame.luma.to_image();
                let cut = |region: &Region| Patch::of(&picture, region.rect, frame.time_s);
                patches.insert(index, regions.iter().map(cut).collect());
            }
        }
        let sampled = sampled(clip, &regions)?;
        let moments = |frame: &usize| -> Option<Vec<TrainingExample>> {
            let patch = |index: usize, region: usize| Some(patches.get(&index)?.get(region)?.clone());
            let moment = |(region, text): (usize, String)| {
                let centre = patch(*frame, region)?;
                let label =
                    LabelledReading { channel: regions[region].channel.clone(), time_s: centre.time_s, text };
                Some(TrainingExample {
                    label,
                    centre,
                    before: (1..=NEIGHBOURS).filter_map(|k| patch(frame - k, region)).collect(),
                    after: (1..=NEIGHBOURS).filter_map(|k| patch(frame + k, region)).collect(),
                })
            };
            texts(*frame).into_iter().enumerate().map(moment).collect()
        };
        let read = |frame: &usize| Some(patches.get(frame)?.iter().cloned().zip(texts(*frame)).collect());
        Ok(Self {
            name: clip.file_stem().unwrap_or_default().to_string_lossy().into_owned(),
            labelled: steady.iter().filter_map(moments).collect(),
            unseen: others.iter().filter_map(read).collect(),
            sample: sampled,
            regions,
        })
    }
}

/// The regions of frames spread over a clip.
fn sampled(clip: &Path, regions: &[Region]) -> Result<Sample, Box<dyn Error>> {
    let mut sampled = Sample::new(regions.len());
    for found in sample(&mut Clip::open(clip)?, SAMPLED_FRAMES)? {
        sampled.add(Sample::cut(regions, LumaPlane::of(&found.image)), found.time_s);
    }
    Ok(sampled)
}

/// The clips that have their truth beside them, sorted by name. A path is a clip or a folder of clips.
///
/// # Errors
/// If a folder cannot be read.
pub fn labelled_clips(paths: &[PathBuf]) -> Result<Vec<PathBuf>, Box<dyn Error>> {
    let mut clips = Vec::new();
    for path in paths {
        match path.is_dir() {
            true => {
                for entry in std::fs::read_dir(path)? {
                    clips.push(entry?.path());
                }
            }
            false => clips.push(path.clone()),
        }
    }
    let is_clip =
        |path: &Path| path.extension().is_some_and(|end| ["avi", "mp4", "mkv"].iter().any(|one| end == *one));
    let has_truth = |path: &Path| {
        path.with_extension("truth.json").exists() || path.with_extension("readings.csv").exists()
    };
    clips.retain(|path| is_clip(path) && has_truth(path));
    clips.sort();
    Ok(clips)
}

/// The true regions of a clip, from either form of truth files. If the truth states the width of a cell, a region is as
/// wide as its widest text, right-aligned.
///
/// # Errors
/// If the truth cannot be read.
pub fn true_regions(clip: &Path) -> Result<Vec<Region>, Box<dyn Error>> {
    let (setup, truth, _) = described(clip)?;
    let json = clip.with_extension("truth.json");
    let cell = match json.exists() {
        true => serde_json::from_str::<Value>(&std::fs::read_to_string(json)?)?["cell"][0].as_u64(),
        false => None,
    };
    let mut regions = setup.regions;
    let Some(cell) = cell else { return Ok(regions) };
    for region in &mut regions {
        let texts = truth.get(region.channel.name()).map_or(&[][..], Vec::as_slice);
        let shown = texts.iter().flat_map(|text| text.split('|')).map(|text| text.trim().chars().count());
        let width = u32::try_from(shown.max().unwrap_or(0) as u64 * cell)? + 2;
        let right = region.rect.right();
        region.rect = region.rect.with_columns(right - width.min(region.rect.width), right);
    }
    Ok(regions)
}

/// Reproducible pseudo-random numbers (linear congruential generator with the constants of Knuth's MMIX).
pub struct Random(pub u64);

impl Random {
    /// A pseudo-random number from 0 to below the limit.
    pub fn below(&mut self, limit: usize) -> usize {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as usize % limit.max(1)
    }

    /// Shuffles a list (Fisher and Yates).
    pub fn shuffle<T>(&mut self, list: &mut [T]) {
        (1..list.len()).rev().for_each(|last| list.swap(last, self.below(last + 1)));
    }
}

/// Setup, texts, and whether each frame is legible, from either form of truth files.
///
/// # Errors
/// If a file cannot be read.
pub fn described(clip: &Path) -> Result<(Setup, Truth, Vec<bool>), Box<dyn Error>> {
    let json = clip.with_extension("truth.json");
    if !json.exists() {
        let setup: Setup = toml::from_str(&std::fs::read_to_string(clip.with_extension("setup.toml"))?)?;
        let truth = truth_texts(&clip.with_extension("readings.csv"))?;
        let frames = truth.values().map(Vec::len).max().unwrap_or(0);
        return Ok((setup, truth, vec![true; frames]));
    }
    let truth = truth_texts(&clip.with_extension("truth.csv"))?;
    let setup: Setup = toml::from_str(&setup_text(&serde_json::from_str(&std::fs::read_to_string(json)?)?))?;
    let legible = truth.get("legible").ok_or("the truth has no column `legible`")?;
    let legible = legible.iter().map(|one| one == "1").collect();
    Ok((setup, truth, legible))
}

fn setup_text(truth: &Value) -> String {
    let mut text = format!("[camera]\nname = \"clip\"\nframe = [{}, {}]\n", truth["width"], truth["height"]);
    for (channel, place) in truth["regions"].as_object().into_iter().flatten() {
        let usual = USUAL_KINDS.iter().find(|kind| kind.0 == channel);
        let of_clip = truth["kind"].get(channel).and_then(Value::as_array);
        let kind = match (of_clip, usual) {
            (Some(kind), _) => kind.clone(),
            (None, Some((_, unit, digits, decimals, least, most, rate))) => vec![
                Value::from(*unit),
                Value::from(*digits),
                Value::from(*decimals),
                Value::from(*least),
                Value::from(*most),
                Value::from(*rate),
            ],
            (None, None) => continue,
        };
        let unit = kind[0].as_str().filter(|unit| !unit.is_empty());
        let unit = unit.map_or(String::new(), |unit| format!("unit = \"{unit}\"\n"));
        let _ = write!(
            text,
            "\n[[region]]\nchannel = \"{channel}\"\nbox = {place}\n{unit}digits = {}\ndecimals = {}\nrange = [{}, {}]\nmax_rate = {}\n",
            kind[1], kind[2], kind[3], kind[4], kind[5]
        );
    }
    text
}

fn is_one(text: &str) -> bool {
    !text.is_empty() && !text.contains('|')
}
