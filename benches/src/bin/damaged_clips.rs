//! Damages a Motion JPEG clip in many ways and counts the additional wrong readings.
//!
//! `cargo run --release -p benchmarks --bin damaged_clips -- CLIP.avi RATE_HZ [TRIES] [SEED]`
//!
//! Setup and true texts (`.setup.toml`, `.readings.csv`) lie beside the clip, whose frame rate is RATE_HZ. Damage
//! starts at frame 0, 1, 12 or 100, and hits 1, 5 or 20 % of the frames; every combination is tried TRIES times
//! (default 25, which makes 300 clips). Prints each wrong reading that the undamaged clip does not have, and ends with
//! exit code 1 if there is one.

use std::collections::HashSet;
use std::error::Error;
use std::path::Path;
use std::process::ExitCode;

use benchmarks::{DamageComparison, DamagePlan, compare_with_truth, damage, truth_texts};
use pairspeed::setup::LoadedSetup;

fn main() -> Result<ExitCode, Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [clip, rate_hz, rest @ ..] = arguments.as_slice() else {
        return Err("usage: damaged_clips CLIP.avi RATE_HZ [TRIES] [SEED]".into());
    };
    let rate_hz: f64 = rate_hz.parse()?;
    let tries: u64 = rest.first().map_or(Ok(25), |tries| tries.parse())?;
    let seed: u64 = rest.get(1).map_or(Ok(1), |seed| seed.parse())?;
    let clip = Path::new(clip);
    let setup = LoadedSetup::load(&clip.with_extension("setup.toml"))?;
    let truth = truth_texts(&clip.with_extension("readings.csv"))?;
    let sound = std::fs::read(clip)?;
    let known = compare_with_truth(clip, &setup, (&truth, rate_hz), &[])?;
    println!("the sound clip: {} right, {} wrong", known.right, known.wrong.len());
    let known: HashSet<(String, usize)> =
        known.wrong.into_iter().map(|one| (one.channel, one.frame)).collect();

    let folder = std::env::temp_dir().join(format!("damaged-clips-{}", std::process::id()));
    std::fs::create_dir_all(&folder)?;
    let damaged_clip = folder.join("clip.avi");
    let (mut clips, mut wrong) = (0, 0);
    for first in [0, 1, 12, 100] {
        for percent in [1, 5, 20] {
            let (mut group_wrong, mut group_right, mut group_damaged) = (0, 0, 0);
            for number in 0..tries {
                let plan =
                    DamagePlan { seed: seed * 1_000_003 + number * 1009 + first as u64, first, percent };
                let mut bytes = sound.clone();
                let damaged = damage(&mut bytes, plan);
                std::fs::write(&damaged_clip, &bytes)?;
                let DamageComparison { wrong: found, right, .. } =
                    compare_with_truth(&damaged_clip, &setup, (&truth, rate_hz), &damaged)?;
                for one in found.iter().filter(|one| !known.contains(&(one.channel.clone(), one.frame))) {
                    let hit = if damaged.contains(&one.frame) { "damaged" } else { "sound" };
                    println!("{plan:?}: {hit} frame {}: {one:?}", one.frame);
                    group_wrong += 1;
                }
                group_right += right;
                group_damaged += damaged.len();
                clips += 1;
            }
            println!(
                "from frame {first}, {percent} %: {tries} clips, {group_damaged} damaged frames, {group_right} right, {group_wrong} wrong"
            );
            wrong += group_wrong;
        }
    }
    std::fs::remove_dir_all(&folder)?;
    println!("{clips} clips: {wrong} wrong readings beyond those of the sound clip");
    Ok(if wrong == 0 { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}
