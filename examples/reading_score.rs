//! Scores the reader on a clip whose texts are known.
//!
//! `cargo run --release --example reading_score -- CLIP SETUP.toml READINGS.csv [MOMENTS]`
//!
//! With MOMENTS (at most 10) the glyphs are first taught from the true texts at so many moments
//! spread over the clip; without, the built-in sets are used. Prints right, silent and wrong
//! readings for every channel over all frames whose text is known.

mod truth;

use std::error::Error;
use std::path::Path;

use pairspeed::footage::Clip;
use pairspeed::glyphs::builtin_sets;
use pairspeed::readings::{DEFAULT_LEAST_CONFIDENCE, Silent, collect};
use pairspeed::recognise::Recogniser;
use pairspeed::setup::{Region, Setup};
use pairspeed::teach::teach;

use truth::{Truth, sampled, told_moments, truth_texts};

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [clip_path, setup_path, truth_path, rest @ ..] = arguments.as_slice() else {
        return Err("usage: reading_score CLIP SETUP READINGS [MOMENTS]".into());
    };
    let setup: Setup = toml::from_str(&std::fs::read_to_string(setup_path)?)?;
    let truth = truth_texts(truth_path)?;
    let clip_path = Path::new(clip_path);
    let frames = sampled(clip_path, &setup.regions)?;
    let sets = match rest.first() {
        Some(moments) => {
            let moments =
                told_moments(clip_path, &truth, &wanted_moments(&setup.regions, &truth, moments.parse()?))?;
            let lesson = teach("scored", &setup.regions, &moments, &frames)?;
            lesson.set.save(Path::new("target/scored-glyphs"))?;
            for contradiction in lesson.contradictions.iter().take(3) {
                println!("contradiction: {}", contradiction.message);
            }
            println!(
                "missing digits: {:?}; ask: {:?}",
                lesson.missing,
                lesson.ask_next.iter().map(|ask| (ask.channel.name(), ask.time_s)).collect::<Vec<_>>()
            );
            vec![lesson.set]
        }
        None => builtin_sets()?,
    };
    let recogniser = Recogniser::calibrate(&setup.regions, &sets, &frames);
    println!("unread channels: {:?}", recogniser.unread_channels());
    let mut clip = Clip::open(clip_path)?;
    let read = collect(&mut clip, &setup, &recogniser, 0.0, &mut Silent)?;
    let mut tallies = vec![Tally::default(); setup.regions.len()];
    for (channel, tally) in read.channels.iter().zip(&mut tallies) {
        let Some(truth) = truth.get(channel.channel.name()) else { continue };
        for (index, truth) in truth.iter().enumerate().filter(|(_, truth)| !truth.is_empty()) {
            let (Some(time_s), Some(value)) = (read.time_s.get(index), channel.values.get(index)) else {
                continue;
            };
            tally.count(truth, *value, channel.confidence[index], *time_s);
        }
    }
    for (region, tally) in setup.regions.iter().zip(&tallies) {
        tally.print(region.channel.name());
    }
    print_reliability(&tallies);
    Ok(())
}

/// Prints predicted against observed shares of right readings, by confidence.
fn print_reliability(tallies: &[Tally]) {
    let limits = [0.0, 0.5, 0.7, 0.8, 0.9, 0.95, 0.98, 0.99, 0.999, 0.9999, 1.1];
    println!("confidence        readings  predicted  observed");
    for two in limits.windows(2) {
        let rated = tallies.iter().flat_map(|tally| &tally.rated);
        let inside: Vec<&(f32, bool)> = rated.filter(|(p, _)| (two[0]..two[1]).contains(p)).collect();
        if inside.is_empty() {
            continue;
        }
        let count = inside.len() as f32;
        let predicted = inside.iter().map(|(p, _)| p).sum::<f32>() / count;
        let observed = inside.iter().filter(|(_, right)| *right).count() as f32 / count;
        println!(
            "{:.4} to {:.4} {:9}  {predicted:9.4}  {observed:8.4}",
            two[0],
            two[1].min(1.0),
            inside.len()
        );
    }
}

#[derive(Debug, Clone, Default)]
struct Tally {
    right: usize,
    silent: usize,
    wrong: usize,
    /// Confidence of every reading and whether it was right.
    rated: Vec<(f32, bool)>,
    /// Readings that are not right; true for those that are wrong.
    examples: Vec<(bool, String)>,
}

impl Tally {
    fn count(&mut self, truth: &str, value: f64, confidence: f32, time_s: f64) {
        let right = truth.split('|').any(|one| one.trim().parse() == Ok(value));
        self.rated.push((confidence, right));
        let (count, verdict) = match (confidence >= DEFAULT_LEAST_CONFIDENCE, right) {
            (true, true) => (&mut self.right, None),
            (true, false) => (&mut self.wrong, Some("read as")),
            (false, _) => (&mut self.silent, Some("silent, perhaps")),
        };
        *count += 1;
        if let Some(verdict) = verdict {
            let example = format!("{time_s:.2} s: {truth} {verdict} {value} ({confidence:.4})");
            let wrong = confidence >= DEFAULT_LEAST_CONFIDENCE;
            self.examples.push((wrong, example));
        }
    }

    fn print(&self, name: &str) {
        let total = (self.right + self.silent + self.wrong).max(1) as f64;
        let share = 100.0 * self.right as f64 / total;
        println!("{name:12} right {share:7.3} %  silent {:5}  wrong {:5}", self.silent, self.wrong);
        let mut examples = self.examples.clone();
        examples.sort_by_key(|(wrong, _)| !wrong);
        for (_, example) in examples.iter().step_by(examples.len().div_ceil(6).max(1)) {
            println!("    {example}");
        }
    }
}

/// Moments spread over the clip, one channel after the other.
fn wanted_moments<'a>(regions: &'a [Region], truth: &Truth, count: usize) -> Vec<(usize, &'a Region)> {
    let frames = truth.get("frame").map_or(0, Vec::len);
    let frame = |moment: usize| (moment * 2 + 1) * frames / (2 * count);
    (0..count).flat_map(|moment| regions.iter().map(move |region| (frame(moment), region))).collect()
}
