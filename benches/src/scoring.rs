//! Scoring: a clip is taught, read, and every reading held to the text that was shown.

use std::error::Error;
use std::path::Path;

use pairspeed::footage::Clip;
use pairspeed::glyphs::{GlyphSet, builtin_sets};
use pairspeed::readings::{DEFAULT_LEAST_CONFIDENCE, Prepared, Silent, collect};
use pairspeed::recognise::{Recogniser, Sample};
use pairspeed::series::{Blank, Readings, trust};
use pairspeed::setup::{Region, Setup};
use pairspeed::teach::teach;

use crate::truth::{Truth, sampled, told_moments, truth_texts};

/// What became of one channel's readings, over all frames whose text is legible.
#[derive(Debug, Clone, Default)]
pub struct Tally {
    /// The channel.
    pub channel: String,
    /// Readings that are right.
    pub right: usize,
    /// Frames left blank.
    pub silent: usize,
    /// Readings that are not right.
    pub wrong: usize,
    /// Confidence of every reading that agrees with those around it, sure or not, and whether it was right.
    pub rated: Vec<(f32, bool)>,
    /// Readings that are not right, in words; true for those that are wrong.
    pub examples: Vec<(bool, String)>,
}

impl Tally {
    fn count(&mut self, truth: &str, reading: Option<(f64, f32)>, time_s: f64) {
        let (count, verdict) = match reading {
            Some((value, _)) if is_right(truth, value) => (&mut self.right, None),
            Some((value, sure)) => (&mut self.wrong, Some((true, format!("read as {value} ({sure:.4})")))),
            None => (&mut self.silent, Some((false, "silent".to_owned()))),
        };
        *count += 1;
        let in_words = |(wrong, verdict)| (wrong, format!("{time_s:.2} s: {truth} {verdict}"));
        self.examples.extend(verdict.map(in_words));
    }

    /// Share of the frames counted that are right, in per cent.
    #[must_use]
    pub fn right_percent(&self) -> f64 {
        100.0 * self.right as f64 / (self.right + self.silent + self.wrong).max(1) as f64
    }
}

/// Whether a value is one of the texts shown.
#[must_use]
pub fn is_right(truth: &str, value: f64) -> bool {
    let number = |text: &str| match text.split_once(':') {
        Some((minutes, seconds)) => Some(60.0 * minutes.parse::<f64>().ok()? + seconds.parse::<f64>().ok()?),
        None => text.parse().ok(),
    };
    truth.split('|').any(|one| number(one.trim()) == Some(value))
}

/// The readings that are sure enough.
fn above(mut readings: Readings, least_confidence: f32) -> Readings {
    for channel in &mut readings.channels {
        for (frame, confidence) in channel.confidence.iter().enumerate() {
            if *confidence < least_confidence && channel.blank[frame] == Blank::No {
                (channel.values[frame], channel.blank[frame]) = (f64::NAN, Blank::Unclear);
            }
        }
    }
    readings
}

/// The score of one clip.
#[derive(Debug, Clone, Default)]
pub struct Score {
    /// One tally a channel.
    pub channels: Vec<Tally>,
    /// What the lesson and the calibration had to say.
    pub remarks: Vec<String>,
}

/// Reads a clip and compares with its true texts. With `moments` the glyphs are first taught from the true
/// texts at so many moments spread over the clip; without, the built-in sets are used.
///
/// # Errors
/// Those of the files, and of a lesson that cannot be learnt.
pub fn score(
    clip: &Path,
    setup: &Path,
    truth: &Path,
    moments: Option<usize>,
) -> Result<Score, Box<dyn Error>> {
    let setup: Setup = toml::from_str(&std::fs::read_to_string(setup)?)?;
    let truth = truth_texts(truth)?;
    let sample = sampled(clip, &setup.regions)?;
    let mut remarks = Vec::new();
    let sets = match moments {
        Some(moments) => vec![taught(clip, &setup, (&truth, &sample), moments, &mut remarks)?],
        None => builtin_sets()?,
    };
    let recogniser = Recogniser::calibrate(&setup.regions, &sets, &sample);
    for channel in recogniser.unread_channels() {
        remarks.push(format!("{} is not read", channel.name()));
    }
    let prepared = Prepared { setup, recogniser, sample, moved: None };
    let all = collect(&mut Clip::open(clip)?, &prepared, 0.0, &mut Silent)?;
    let read = trust(above(all.clone(), DEFAULT_LEAST_CONFIDENCE)).readings;
    let rated = trust(all).readings;
    let mut channels = Vec::new();
    for (readings, rated) in read.channels.iter().zip(&rated.channels) {
        let mut tally = Tally { channel: readings.channel.name().to_owned(), ..Tally::default() };
        let shown = truth.get(readings.channel.name()).map_or(&[][..], Vec::as_slice);
        for (index, text) in shown.iter().enumerate().filter(|(_, text)| !text.is_empty()) {
            if let Some(time_s) = read.time_s.get(index) {
                tally.count(text, readings.trusted(index), *time_s);
                tally.rated.extend(rated.trusted(index).map(|(value, sure)| (sure, is_right(text, value))));
            }
        }
        channels.push(tally);
    }
    Ok(Score { channels, remarks })
}

fn taught(
    clip: &Path,
    setup: &Setup,
    (truth, sample): (&Truth, &Sample),
    moments: usize,
    remarks: &mut Vec<String>,
) -> Result<GlyphSet, Box<dyn Error>> {
    let wanted = wanted_moments(&setup.regions, truth, moments);
    let lesson = teach("scored", &setup.regions, &told_moments(clip, truth, &wanted)?, sample)?;
    remarks.extend(lesson.contradictions.iter().take(3).map(|found| found.message.clone()));
    if !lesson.missing.is_empty() {
        remarks.push(format!("digits not told: {:?}", lesson.missing));
    }
    Ok(lesson.set)
}

/// Moments spread over the clip, one channel after the other.
fn wanted_moments<'a>(regions: &'a [Region], truth: &Truth, count: usize) -> Vec<(usize, &'a Region)> {
    let frames = truth.get("frame").map_or(0, Vec::len);
    let frame = |moment: usize| (moment * 2 + 1) * frames / (2 * count);
    (0..count).flat_map(|moment| regions.iter().map(move |region| (frame(moment), region))).collect()
}

/// Limits of the classes of confidence.
const CLASSES: [f32; 11] = [0.0, 0.5, 0.7, 0.8, 0.9, 0.95, 0.98, 0.99, 0.999, 0.9999, 1.1];

/// Predicted against observed shares of right readings, a line for every class of confidence.
#[must_use]
pub fn reliability(rated: &[(f32, bool)]) -> Vec<String> {
    let mut lines = vec!["confidence           readings  predicted  observed".to_owned()];
    for two in CLASSES.windows(2) {
        let inside: Vec<&(f32, bool)> = rated.iter().filter(|(p, _)| (two[0]..two[1]).contains(p)).collect();
        if inside.is_empty() {
            continue;
        }
        let count = inside.len() as f64;
        let predicted = inside.iter().map(|(p, _)| f64::from(*p)).sum::<f64>() / count;
        let observed = inside.iter().filter(|(_, right)| *right).count() as f64 / count;
        let (from, to) = (two[0], two[1].min(1.0));
        lines.push(format!("{from:.4} to {to:.4} {:11}  {predicted:9.4}  {observed:8.4}", inside.len()));
    }
    lines
}
