//! Scores: glyphs are learned from a clip, the clip is read, and every reading is compared with the text shown.

use std::error::Error;
use std::path::Path;

use pairspeed::footage::Clip;
use pairspeed::glyphs::builtin_sets;
use pairspeed::learn::{LearnedGlyphs, learn_glyphs};
use pairspeed::readings::{DEFAULT_MIN_CONFIDENCE, Prepared, Silent, collect};
use pairspeed::recognise::{Recogniser, Sample};
use pairspeed::series::{Blank, Readings, trust};
use pairspeed::setup::{Region, Setup};

use crate::truth::{Truth, labelled_examples, sampled, truth_texts};

/// Counts of right, blank and wrong readings of one channel, over all frames with a legible text.
#[derive(Debug, Clone, Default)]
pub struct ChannelScore {
    /// Name of the channel.
    pub channel: String,
    /// Number of frames with a right reading.
    pub right: usize,
    /// Number of frames left blank.
    pub blank: usize,
    /// Number of frames with a wrong reading.
    pub wrong: usize,
    /// Confidence of every reading that fits its neighbours in time, at any confidence, and whether it was right.
    pub rated: Vec<(f32, bool)>,
    /// Descriptions of blank and wrong readings; true for a wrong one.
    pub examples: Vec<(bool, String)>,
}

impl ChannelScore {
    fn count(&mut self, truth: &str, reading: Option<(f64, f32)>, time_s: f64) {
        let (count, verdict) = match reading {
            Some((value, _)) if is_right(truth, value) => (&mut self.right, None),
            Some((value, sure)) => (&mut self.wrong, Some((true, format!("read as {value} ({sure:.4})")))),
            None => (&mut self.blank, Some((false, "blank".to_owned()))),
        };
        *count += 1;
        let in_words = |(wrong, verdict)| (wrong, format!("{time_s:.2} s: {truth} {verdict}"));
        self.examples.extend(verdict.map(in_words));
    }

    /// Share of the frames counted that are right, in per cent.
    #[must_use]
    pub fn right_percent(&self) -> f64 {
        100.0 * self.right as f64 / (self.right + self.blank + self.wrong).max(1) as f64
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

/// The readings, with those below a confidence left blank.
fn above(mut readings: Readings, min_confidence: f32) -> Readings {
    for channel in &mut readings.channels {
        for (frame, confidence) in channel.confidence.iter().enumerate() {
            if *confidence < min_confidence && channel.blank[frame] == Blank::No {
                (channel.values[frame], channel.blank[frame]) = (f64::NAN, Blank::Unclear);
            }
        }
    }
    readings
}

/// The score of one clip.
#[derive(Debug, Clone, Default)]
pub struct Score {
    /// One score for each channel.
    pub channels: Vec<ChannelScore>,
    /// Remarks from learning and calibration, one sentence each.
    pub remarks: Vec<String>,
}

/// Reads a clip and compares the readings with its true texts. With `moments` the glyphs are first learned from the true
/// texts at that number of moments, spread over the clip; without, the built-in sets are used. A channel that cannot be
/// learned is blank.
///
/// # Errors
/// If a file cannot be read, or if nothing can be learned.
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
        Some(moments) => {
            let lesson = lesson(clip, &setup, (&truth, &sample), moments, &mut remarks)?;
            vec![lesson.set]
        }
        None => builtin_sets()?,
    };
    let recogniser = Recogniser::calibrate(&setup.regions, &sets, &sample);
    for channel in recogniser.unread_channels() {
        remarks.push(format!("{} is not read", channel.name()));
    }
    let prepared = Prepared { setup, recogniser, sample, moved: None };
    let all = collect(&mut Clip::open(clip)?, &prepared, 0.0, &mut Silent)?;
    let read = trust(above(all.clone(), DEFAULT_MIN_CONFIDENCE)).readings;
    let rated = trust(all).readings;
    let mut channels = Vec::new();
    for (readings, rated) in read.channels.iter().zip(&rated.channels) {
        let mut channel_score =
            ChannelScore { channel: readings.channel.name().to_owned(), ..ChannelScore::default() };
        let shown = truth.get(readings.channel.name()).map_or(&[][..], Vec::as_slice);
        for (index, text) in shown.iter().enumerate().filter(|(_, text)| !text.is_empty()) {
            if let Some(time_s) = read.time_s.get(index) {
                channel_score.count(text, readings.trusted(index), *time_s);
                channel_score
                    .rated
                    .extend(rated.trusted(index).map(|(value, sure)| (sure, is_right(text, value))));
            }
        }
        channels.push(channel_score);
    }
    Ok(Score { channels, remarks })
}

fn lesson(
    clip: &Path,
    setup: &Setup,
    (truth, sample): (&Truth, &Sample),
    moments: usize,
    remarks: &mut Vec<String>,
) -> Result<LearnedGlyphs, Box<dyn Error>> {
    let wanted = wanted_moments(&setup.regions, truth, moments);
    let lesson =
        learn_glyphs("scored", &setup.regions, &labelled_examples(clip, truth, &wanted)?, &[], sample)?;
    remarks.extend(lesson.suspects.iter().take(3).map(ToString::to_string));
    if !lesson.missing.is_empty() {
        remarks.push(format!("digits without a label: {:?}", lesson.missing));
    }
    Ok(lesson)
}

/// Moments spread over the clip, each with all channels.
fn wanted_moments<'a>(regions: &'a [Region], truth: &Truth, count: usize) -> Vec<(usize, &'a Region)> {
    let frames = truth.get("frame").map_or(0, Vec::len);
    let frame = |moment: usize| (moment * 2 + 1) * frames / (2 * count);
    (0..count).flat_map(|moment| regions.iter().map(move |region| (frame(moment), region))).collect()
}

/// Limits of the classes of confidence; the last is above 1, so that 1 is included.
const CLASSES: [f32; 11] = [0.0, 0.5, 0.7, 0.8, 0.9, 0.95, 0.98, 0.99, 0.999, 0.9999, 1.1];

/// Predicted and observed shares of right readings, one line for each class of confidence.
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

/// Thresholds of the confidence to compare.
const THRESHOLDS: [f32; 8] = [0.9, 0.95, 0.98, 0.99, 0.995, 0.998, 0.999, 0.9999];

/// Right readings (per cent of all) and wrong readings (count) that each threshold of the confidence would keep.
#[must_use]
pub fn thresholds(rated: &[(f32, bool)]) -> Vec<String> {
    let mut lines = vec!["threshold    right %   wrong".to_owned()];
    for threshold in THRESHOLDS {
        let kept = || rated.iter().filter(|(confidence, _)| *confidence >= threshold);
        let right = kept().filter(|(_, right)| *right).count();
        let share = 100.0 * right as f64 / rated.len().max(1) as f64;
        lines.push(format!("{threshold:<9} {share:10.3} {:7}", kept().count() - right));
    }
    lines
}

/// Log-odds of a confidence, limited to the resolution of single precision.
fn log_odds(confidence: f32) -> f64 {
    let confidence = f64::from(confidence).clamp(1e-6, 1.0 - 1e-6);
    (confidence / (1.0 - confidence)).ln()
}

/// Slope and offset of a logistic regression of the outcome on the log-odds of the confidence (Platt scaling). A slope of 1
/// and an offset of 0 mean that confidences are calibrated. The log-likelihood is maximised by Newton's method. `None` if
/// all readings are right, or if there are too few.
#[must_use]
pub fn recalibration(rated: &[(f32, bool)]) -> Option<(f64, f64)> {
    let likelihood = |(slope, offset): (f64, f64)| -> f64 {
        let of_one = |(confidence, right): &(f32, bool)| {
            let odds = slope * log_odds(*confidence) + offset;
            -(if *right { -odds } else { odds }).exp().ln_1p()
        };
        rated.iter().map(of_one).sum()
    };
    let mut at = (1.0, 0.0);
    for _ in 0..50 {
        // Gradient and curvature of the log-likelihood.
        let (mut g, mut h) = ([0.0; 2], [0.0; 3]);
        for (confidence, right) in rated {
            let x = log_odds(*confidence);
            let p = 1.0 / (1.0 + (-(at.0 * x + at.1)).exp());
            let (off, weight) = (f64::from(u8::from(*right)) - p, p * (1.0 - p));
            g = [g[0] + off * x, g[1] + off];
            h = [h[0] + weight * x * x, h[1] + weight * x, h[2] + weight];
        }
        let determinant = h[0] * h[2] - h[1] * h[1];
        if determinant.is_nan() || determinant <= 1e-12 {
            return None;
        }
        let step = ((h[2] * g[0] - h[1] * g[1]) / determinant, (h[0] * g[1] - h[1] * g[0]) / determinant);
        // A step that does not increase the likelihood is halved.
        let shorter = (0..40).map(|halvings| 0.5_f64.powi(halvings));
        let nexts = shorter.map(|share| (at.0 + share * step.0, at.1 + share * step.1));
        let now = likelihood(at);
        let Some(next) = nexts.into_iter().find(|next| likelihood(*next) > now) else { break };
        at = next;
    }
    Some(at)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn calibrated_confidences_are_kept_and_overconfident_ones_corrected() {
        let rated = |confidence: f32, share: f32| {
            (0..1000).map(move |number| (confidence, (number as f32) < 1000.0 * share))
        };
        let calibrated: Vec<(f32, bool)> =
            [0.6, 0.8, 0.9, 0.95, 0.99].into_iter().flat_map(|p| rated(p, p)).collect();
        let (slope, offset) = recalibration(&calibrated).unwrap();
        assert!((slope - 1.0).abs() < 0.02 && offset.abs() < 0.02, "{slope} {offset}");
        // The true log-odds are half of the stated ones.
        let half = |p: f32| 1.0 / (1.0 + (-0.5 * (p / (1.0 - p)).ln()).exp());
        let overconfident: Vec<(f32, bool)> =
            [0.6, 0.8, 0.9, 0.95, 0.99].into_iter().flat_map(|p| rated(p, half(p))).collect();
        let (slope, offset) = recalibration(&overconfident).unwrap();
        assert!((slope - 0.5).abs() < 0.02 && offset.abs() < 0.02, "{slope} {offset}");
        assert_eq!(recalibration(&[]), None);
    }
}
