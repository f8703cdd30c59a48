//! Scores the reader on a clip with known texts.
//!
//! `cargo run --release -p benchmarks --bin reading_score -- CLIP SETUP.toml READINGS.csv [MOMENTS]`
//!
//! With MOMENTS (at most 10) the glyphs are first learned from the true texts at that number of moments,
//! spread over the clip; without, the built-in sets are used. Prints right, blank and wrong
//! readings of every channel over all frames with a known text, examples of blank and wrong ones, and
//! predicted against observed shares of right readings.

use std::error::Error;
use std::path::Path;

use benchmarks::{ChannelScore, reliability, score};

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [clip, setup, truth, rest @ ..] = arguments.as_slice() else {
        return Err("usage: reading_score CLIP SETUP READINGS [MOMENTS]".into());
    };
    let moments = rest.first().map(|moments| moments.parse()).transpose()?;
    let score = score(Path::new(clip), Path::new(setup), Path::new(truth), moments)?;
    score.remarks.iter().for_each(|remark| println!("{remark}"));
    score.channels.iter().for_each(print);
    let rated: Vec<(f32, bool)> =
        score.channels.iter().flat_map(|channel_score| channel_score.rated.clone()).collect();
    reliability(&rated).iter().for_each(|line| println!("{line}"));
    Ok(())
}

fn print(channel_score: &ChannelScore) {
    let share = channel_score.right_percent();
    let ChannelScore { channel, blank, wrong, .. } = channel_score;
    println!("{channel:12} right {share:7.3} %  blank {blank:5}  wrong {wrong:5}");
    let mut examples = channel_score.examples.clone();
    examples.sort_by_key(|(wrong, _)| !wrong);
    for (_, example) in examples.iter().step_by(examples.len().div_ceil(6).max(1)) {
        println!("    {example}");
    }
}
