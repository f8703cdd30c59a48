//! How many readings are right, silent and wrong on the clips of `generator/make-benchmark DIR`, and how often a
//! confidence keeps its word.
//!
//! `cargo run --release -p benchmarks --bin reading_table -- DIR [WORD]`
//!
//! Every clip of DIR/tune and DIR/held, or those with WORD in their name, is taught at 10 told moments and
//! read; the figures are over all frames whose text is legible. A line a clip and channel is followed by a
//! line a class of clips, by the reliability of each part, and by what thresholds of the confidence would keep.

use std::collections::BTreeMap;
use std::error::Error;
use std::path::Path;

use benchmarks::{Tally, clips, recalibration, reliability, score, thresholds};

const MOMENTS: usize = 10;

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [folder, rest @ ..] = arguments.as_slice() else {
        return Err("usage: reading_table DIR [WORD]".into());
    };
    let word = rest.first().map_or("", String::as_str);
    println!("{:5} {:42} {:11} {:>8} {:>7} {:>6}", "part", "clip", "channel", "right %", "silent", "wrong");
    for part in ["tune", "held"] {
        let mut classes: BTreeMap<String, Tally> = BTreeMap::new();
        let all = clips(&Path::new(folder).join(part))?;
        for clip in all.iter().filter(|clip| clip.to_string_lossy().contains(word)) {
            let stem = clip.file_stem().unwrap_or_default().to_string_lossy().into_owned();
            let (setup, truth) = (clip.with_extension("setup.toml"), clip.with_extension("readings.csv"));
            let score = match score(clip, &setup, &truth, Some(MOMENTS)) {
                Ok(score) => score,
                Err(error) => {
                    println!("{part:5} {stem:42} {error}");
                    continue;
                }
            };
            for tally in &score.channels {
                print(part, &stem, tally);
                add(classes.entry(class_of(&stem)).or_default(), tally);
            }
        }
        for (class, tally) in &mut classes {
            tally.channel = "all".to_owned();
            print(part, class, tally);
        }
        let rated: Vec<(f32, bool)> = classes.values().flat_map(|tally| tally.rated.clone()).collect();
        let tables = reliability(&rated).into_iter().chain(thresholds(&rated));
        tables.for_each(|line| println!("{part:5} {line}"));
        for (class, tally) in &classes {
            let lines = thresholds(&tally.rated);
            lines.iter().for_each(|line| println!("{part:5} {class:14} {line}"));
        }
        if let Some((slope, offset)) = recalibration(&rated) {
            println!("{part:5} observed log-odds = {slope:.3} x claimed {offset:+.3}");
        }
    }
    Ok(())
}

fn print(part: &str, name: &str, tally: &Tally) {
    let share = tally.right_percent();
    let Tally { channel, silent, wrong, .. } = tally;
    println!("{part:5} {name:42} {channel:11} {share:8.3} {silent:7} {wrong:6}");
}

fn add(sum: &mut Tally, tally: &Tally) {
    sum.right += tally.right;
    sum.silent += tally.silent;
    sum.wrong += tally.wrong;
    sum.rated.extend(&tally.rated);
}

/// A clip's name without its font.
fn class_of(stem: &str) -> String {
    let class = ["noisy-analog", "barely-legible", "clean-analog", "low-bitrate"];
    let known = class.into_iter().find(|class| stem.starts_with(class));
    known.unwrap_or_else(|| stem.split('-').next().unwrap_or(stem)).to_owned()
}
