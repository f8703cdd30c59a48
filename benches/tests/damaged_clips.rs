//! Tests that damage to a clip adds no wrong reading. The bench `damaged_clips` tries more clips.
#![allow(clippy::unwrap_used)]

use std::path::Path;
use std::process::Command;

use benchmarks::{DamagePlan, compare_with_truth, damage, picture_ranges, truth_texts};
use pairspeed::setup::LoadedSetup;

/// Number of frames used: 25 seconds, in which all readouts change.
const FRAMES: usize = 200;
const RATE_HZ: f64 = 8.0;

#[test]
fn damaged_pictures_give_no_wrong_reading() {
    let clips = Path::new(env!("CARGO_MANIFEST_DIR")).join("../demo-clips");
    let folder = tempfile::tempdir().unwrap();
    let clip = folder.path().join("clip.avi");
    let mut ffmpeg = Command::new("ffmpeg");
    ffmpeg.args(["-nostdin", "-v", "error", "-i"]).arg(clips.join("salt-flat.avi"));
    ffmpeg.args(["-frames:v", &FRAMES.to_string(), "-c", "copy"]).arg(&clip);
    assert!(ffmpeg.status().unwrap().success(), "the ffmpeg package is needed for this test");
    let setup = LoadedSetup::load(&clips.join("salt-flat.setup.toml")).unwrap();
    let truth = truth_texts(&clips.join("salt-flat.readings.csv")).unwrap();
    let sound = std::fs::read(&clip).unwrap();
    assert_eq!(picture_ranges(&sound).len(), FRAMES);

    for (first, percent) in [(0, 20), (1, 5), (12, 20), (100, 40)] {
        let mut bytes = sound.clone();
        let damaged = damage(&mut bytes, DamagePlan { seed: 7 + first as u64, first, percent });
        std::fs::write(&clip, bytes).unwrap();
        let compared = compare_with_truth(&clip, &setup, (&truth, RATE_HZ), &damaged).unwrap();
        assert_eq!(compared.wrong, [], "from {first}, {percent} %");
        // Five readouts; those before the launch are not shown.
        let sound = 5 * (FRAMES - damaged.len());
        assert!(compared.right * 10 > sound * 9, "from {first}, {percent} %: {} of {sound}", compared.right);
    }
}
