//! Scores the reader on a clip whose texts are known.
//!
//! `cargo run --release -p benchmarks --bin reading_score -- CLIP SETUP.toml READINGS.csv [MOMENTS]`
//!
//! With MOMENTS (at most 10) the glyphs are first taught from the true texts at so many moments
//! spread over the clip; without, the built-in sets are used. Prints right, silent and wrong
//! readings for every channel over all frames whose text is known, some of those not right, and how
//! often a confidence keeps its word.

use std::error::Error;
use std::path::Path;

use benchmarks::{Tally, reliability, score};

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [clip, setup, truth, rest @ ..] = arguments.as_slice() else {
        return Err("usage: reading_score CLIP SETUP READINGS [MOMENTS]".into());
    };
    let moments = rest.first().map(|moments| moments.parse()).transpose()?;
    let score = score(Path::new(clip), Path::new(setup), Path::new(truth), moments)?;
    score.remarks.iter().for_each(|remark| println!("{remark}"));
    score.channels.iter().for_each(print);
    let rated: Vec<(f32, bool)> = score.channels.iter().flat_map(|tally| tally.rated.clone()).collect();
    reliability(&rated).iter().for_each(|line| println!("{line}"));
    Ok(())
}

fn print(tally: &Tally) {
    let share = tally.right_percent();
    let Tally { channel, silent, wrong, .. } = tally;
    println!("{channel:12} right {share:7.3} %  silent {silent:5}  wrong {wrong:5}");
    let mut examples = tally.examples.clone();
    examples.sort_by_key(|(wrong, _)| !wrong);
    for (_, example) in examples.iter().step_by(examples.len().div_ceil(6).max(1)) {
        println!("    {example}");
    }
}
