//! Measures deciphering on clips with known texts, with the true boxes given.
//!
//! `cargo run --release -p benchmarks --bin decipher_table -- CLIP-OR-FOLDER ...`
//!
//! For every channel: whether the format is right, the share of frames with a certain text, how many of these are wrong, and
//! how many of the labels are wrong. Frames whose fields show two texts do not count.

use std::error::Error;
use std::path::{Path, PathBuf};
use std::time::Instant;

use benchmarks::{Truth, described, labelled_clips};
use pairspeed::decipher::{SampledFrames, decipher};
use pairspeed::footage::{Clip, sample};
use pairspeed::setup::Region;

/// Number of frames of the sample.
const FRAMES: usize = 120;
/// Minimum probability of a text that counts as certain.
const CERTAIN: f32 = 0.97;
/// Maximum number of wrong texts printed for a channel.
const MAX_PRINTED: usize = 6;

fn main() -> Result<(), Box<dyn Error>> {
    let paths: Vec<PathBuf> = std::env::args().skip(1).map(PathBuf::from).collect();
    println!(
        "{:32} {:>8} {:>9} {:>8} {:>7} {:>7}",
        "clip, channel", "format", "certain %", "wrong", "labels", "wrong"
    );
    for path in labelled_clips(&paths)? {
        let (setup, truth, legible) = described(&path)?;
        let mut clip = Clip::open(&path)?;
        let started = Instant::now();
        let frames = SampledFrames::from(sample(&mut clip, FRAMES)?);
        let sampled_s = started.elapsed().as_secs_f64();
        let times_s: Vec<f64> = truth
            .get("time_s")
            .into_iter()
            .flatten()
            .map(|time_s| time_s.parse())
            .collect::<Result<_, _>>()?;
        let shown = ShownTexts { times_s, texts: &truth, legible: &legible };
        for region in &setup.regions {
            print_region(&path, region, &frames, &shown)?;
        }
        let seconds = started.elapsed().as_secs_f64();
        println!("    {sampled_s:.1} s for the sample, {:.1} s to decipher", seconds - sampled_s);
    }
    Ok(())
}

/// The texts that the overlay of a clip shows.
struct ShownTexts<'a> {
    /// Time of each frame in seconds.
    times_s: Vec<f64>,
    /// The text of each frame, by the name of the channel.
    texts: &'a Truth,
    /// Whether the texts of each frame are legible.
    legible: &'a [bool],
}

impl ShownTexts<'_> {
    /// The text of a channel in the frame nearest to `time_s`; `None` if it is not legible there, or if two fields show two texts.
    fn at(&self, channel: &str, time_s: f64) -> Option<&str> {
        let texts = self.texts.get(channel)?;
        let nearest = |frame: &usize| (self.times_s.get(*frame).copied().unwrap_or(f64::MAX) - time_s).abs();
        let frame = (0..texts.len()).min_by(|one, other| nearest(one).total_cmp(&nearest(other)))?;
        let text =
            texts.get(frame).filter(|text| !text.contains('|') && self.legible.get(frame) == Some(&true))?;
        Some(text.trim())
    }
}

/// Deciphers one region and prints its line of the table.
fn print_region(
    path: &Path,
    region: &Region,
    frames: &SampledFrames,
    shown: &ShownTexts<'_>,
) -> Result<(), Box<dyn Error>> {
    let channel = region.channel.name();
    let name = format!("{}, {channel}", path.file_stem().unwrap_or_default().to_string_lossy());
    let Some(found) = decipher(frames, region.rect) else {
        println!("{name:32} none");
        return Ok(());
    };
    if !shown.texts.contains_key(channel) {
        return Err("channel without truth".into());
    }
    let wrong = |time_s: f64, text: &str| shown.at(channel, time_s).is_some_and(|shown| shown != text);
    let certain: Vec<_> = found.texts.iter().filter(|text| text.probability >= CERTAIN).collect();
    let mistakes: Vec<_> = certain.iter().filter(|text| wrong(text.time_s, &text.text)).collect();
    let wrong_labels = found.labels.iter().filter(|label| wrong(label.time_s, &label.text)).count();
    println!(
        "{name:32} {:>8} {:>9.1} {:>8} {:>7} {:>7}",
        if found.decimals == region.decimals { "right" } else { "WRONG" },
        100.0 * certain.len() as f64 / frames.times_s.len() as f64,
        mistakes.len(),
        found.labels.len(),
        wrong_labels
    );
    for text in mistakes.iter().take(MAX_PRINTED) {
        let shown = shown.at(channel, text.time_s).unwrap_or_default();
        println!("    {:.2} s: {} for {shown}", text.time_s, text.text);
    }
    Ok(())
}
