//! Right, blank and wrong readings on the clips of `generator/make-benchmark DIR`, and how well confidences are
//! calibrated.
//!
//! `cargo run --release -p benchmarks --bin reading_table -- DIR [WORD]`
//!
//! For every clip of DIR/tune and DIR/held, or those with WORD in their name, glyphs are learned from labels at 10 moments
//! and the clip is read. The figures cover all frames with a legible text. One line for each clip and channel comes first,
//! then one for each class of clips, the calibration of the confidence, and the effect of thresholds.

use std::collections::BTreeMap;
use std::error::Error;
use std::path::Path;

use benchmarks::{ChannelScore, clips, recalibration, reliability, score, thresholds};

const MOMENTS: usize = 10;

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [folder, rest @ ..] = arguments.as_slice() else {
        return Err("usage: reading_table DIR [WORD]".into());
    };
    let word = rest.first().map_or("", String::as_str);
    println!("{:5} {:42} {:11} {:>8} {:>7} {:>6}", "part", "clip", "channel", "right %", "blank", "wrong");
    for part in ["tune", "held"] {
        let mut classes: BTreeMap<String, ChannelScore> = BTreeMap::new();
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
            for channel_score in &score.channels {
                print(part, &stem, channel_score);
                add(classes.entry(class_of(&stem)).or_default(), channel_score);
            }
        }
        for (class, channel_score) in &mut classes {
            channel_score.channel = "all".to_owned();
            print(part, class, channel_score);
        }
        let rated: Vec<(f32, bool)> =
            classes.values().flat_map(|channel_score| channel_score.rated.clone()).collect();
        let tables = reliability(&rated).into_iter().chain(thresholds(&rated));
        tables.for_each(|line| println!("{part:5} {line}"));
        for (class, channel_score) in &classes {
            let lines = thresholds(&channel_score.rated);
            lines.iter().for_each(|line| println!("{part:5} {class:14} {line}"));
        }
        if let Some((slope, offset)) = recalibration(&rated) {
            println!("{part:5} observed log-odds = {slope:.3} x stated {offset:+.3}");
        }
    }
    Ok(())
}

fn print(part: &str, name: &str, channel_score: &ChannelScore) {
    let share = channel_score.right_percent();
    let ChannelScore { channel, blank, wrong, .. } = channel_score;
    println!("{part:5} {name:42} {channel:11} {share:8.3} {blank:7} {wrong:6}");
}

fn add(sum: &mut ChannelScore, channel_score: &ChannelScore) {
    sum.right += channel_score.right;
    sum.blank += channel_score.blank;
    sum.wrong += channel_score.wrong;
    sum.rated.extend(&channel_score.rated);
}

/// A clip's name without its font.
fn class_of(stem: &str) -> String {
    let class = ["noisy-analog", "barely-legible", "clean-analog", "low-bitrate"];
    let known = class.into_iter().find(|class| stem.starts_with(class));
    known.unwrap_or_else(|| stem.split('-').next().unwrap_or(stem)).to_owned()
}
