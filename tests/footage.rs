//! Clips are read as the `ffmpeg` and `ffprobe` programs (FFmpeg project, ffmpeg.org) read them.
#![allow(clippy::unwrap_used)]

mod common;

use std::path::{Path, PathBuf};

use common::{ffmpeg, ffprobe, folder, text};
use pairspeed::footage::{Clip, ClipNotes, FrameSource, frames_near, sample};

/// Frame times that `ffprobe` prints for the first video stream, less the first one's, in seconds; `None`
/// where it prints none.
fn probed_times(clip: &Path) -> Vec<Option<f64>> {
    let entries = "frame=best_effort_timestamp_time";
    let printed =
        ffprobe(&["-select_streams", "v:0", "-show_entries", entries, "-of", "csv=p=0", text(clip)]);
    let printed = String::from_utf8(printed).unwrap();
    let first = |line: &str| line.split(',').next().unwrap_or_default().trim().to_owned();
    let words: Vec<String> = printed.lines().map(first).filter(|word| !word.is_empty()).collect();
    let stamps: Vec<Option<f64>> = words.iter().map(|word| word.parse().ok()).collect();
    let start_s = stamps.iter().copied().flatten().next().unwrap();
    stamps.iter().map(|stamp| stamp.map(|stamp_s| stamp_s - start_s)).collect()
}

/// The luma planes as the `ffmpeg` program decodes them, one frame after the other.
fn decoded_luma(clip: &Path) -> Vec<u8> {
    ffmpeg(&["-i", text(clip), "-vf", "extractplanes=y", "-vsync", "passthrough", "-f", "rawvideo", "-"])
}

/// A clip of 3 seconds made from a source filter and output options.
fn make(folder: &Path, name: &str, source: &str, options: &str) -> PathBuf {
    let clip = folder.join(name);
    let options: Vec<&str> = options.split_whitespace().collect();
    ffmpeg(&[&["-f", "lavfi", "-i", source], options.as_slice(), &[text(&clip)]].concat());
    clip
}

/// Reads the clip through and compares every time and picture with those of the programs.
fn compare(clip: &Path) {
    let times = probed_times(clip);
    let luma = decoded_luma(clip);
    let mut source = Clip::open(clip).unwrap();
    let size = (source.info().width * source.info().height) as usize;
    let mut count = 0;
    while let Some(frame) = source.next_frame().unwrap() {
        if let Some(expected_s) = times[count] {
            let off_s = (frame.time_s - expected_s).abs();
            assert!(off_s < 1e-3, "{clip:?} frame {count}: {} and {expected_s}", frame.time_s);
        }
        assert_eq!(frame.index, count as u64);
        let expected = &luma[count * size..(count + 1) * size];
        assert!(frame.luma.rows().flatten().eq(expected), "{clip:?}: frame {count} differs");
        count += 1;
    }
    assert_eq!(count, times.len(), "{clip:?}");
    let without_stamp = times.iter().filter(|time| time.is_none()).count() as u64;
    let expected = ClipNotes {
        stamps_repaired: without_stamp,
        levels: source.notes().levels,
        gaps: source.notes().gaps.clone(),
        ..ClipNotes::default()
    };
    assert_eq!(*source.notes(), expected, "{clip:?}");
}

#[test]
fn times_and_luma_equal_those_of_the_programs() {
    let folder = folder();
    for (name, rate, options) in [
        ("mjpeg-25.avi", "25", "-c:v mjpeg -q:v 3 -pix_fmt yuvj422p"),
        ("mjpeg-ntsc.avi", "30000/1001", "-c:v mjpeg -q:v 3"),
        ("h264-25.mp4", "25", "-c:v libx264 -pix_fmt yuv420p -bf 3"),
        ("h264-ntsc.mov", "30000/1001", "-c:v libx264 -pix_fmt yuv420p -bf 2 -g 20"),
        ("h264-50.ts", "50", "-c:v libx264 -pix_fmt yuv420p -bf 2 -g 25"),
        ("h264-60.mkv", "60", "-c:v libx264 -pix_fmt yuv420p -bf 2"),
        ("h265-30.mp4", "30", "-c:v libx265 -pix_fmt yuv420p -x265-params log-level=none"),
        ("mpeg4-30.avi", "30", "-c:v mpeg4 -q:v 4 -bf 2"),
        ("mpeg4-25.mp4", "25", "-c:v mpeg4 -q:v 4"),
    ] {
        compare(&make(folder.path(), name, &format!("testsrc2=s=162x90:r={rate}:d=2"), options));
    }
}

#[test]
fn uneven_frame_times_and_starts_away_from_zero_equal_those_of_ffprobe() {
    let folder = folder();
    let source = "testsrc2=s=162x90:r=60:d=3,select='gt(random(7),0.4)+not(mod(n,40))'";
    let vfr = "-vsync vfr -enc_time_base 1:1000 -c:v libx264 -pix_fmt yuv420p -bf 2";
    for (name, options) in [
        ("vfr.mp4", vfr.to_owned()),
        ("vfr.mkv", vfr.to_owned()),
        ("vfr.ts", vfr.to_owned()),
        ("offset.mp4", format!("{vfr} -output_ts_offset 7.25")),
        ("edit-list.mov", format!("{vfr} -ss 0.5 -copyts")),
        ("dropped.avi", "-vsync vfr -c:v mjpeg -q:v 3".to_owned()),
        ("wraps.ts", format!("{vfr} -output_ts_offset 95441.0")),
    ] {
        compare(&make(folder.path(), name, source, &options));
    }
}

#[test]
fn seeking_gives_the_frames_of_a_pass_from_the_start() {
    let folder = folder();
    for (name, options) in [
        ("a.avi", "-c:v mjpeg -q:v 3"),
        ("b.mp4", "-c:v libx264 -pix_fmt yuv420p -bf 3 -g 20"),
        ("c.ts", "-c:v libx264 -pix_fmt yuv420p -bf 3 -g 20"),
        ("d.mkv", "-c:v libx265 -pix_fmt yuv420p -x265-params log-level=none:keyint=20"),
    ] {
        let clip = make(folder.path(), name, "testsrc2=s=160x90:r=25:d=4", options);
        let mut source = Clip::open(&clip).unwrap();
        let mut all = Vec::new();
        while let Some(frame) = source.next_frame().unwrap() {
            all.push((frame.index, frame.time_s, frame.luma.to_image()));
        }
        let asked = [3.1, 0.5, 0.52, 3.99, 99.0, 0.0, -5.0, 2.0, 2.04, 2.9];
        for found in frames_near(&mut source, &asked).unwrap() {
            let distance = |time_s: f64| (time_s - found.asked_s).abs();
            let nearest = all.iter().min_by(|one, two| distance(one.1).total_cmp(&distance(two.1))).unwrap();
            assert!((found.time_s - nearest.1).abs() < 1e-9, "{name}: {} {}", found.asked_s, found.time_s);
            assert_eq!(found.index, nearest.0, "{name} at {}", found.asked_s);
            assert!(found.image == nearest.2, "{name} at {}", found.asked_s);
        }
        assert_eq!(sample(&mut source, 10).unwrap().len(), 10);
    }
}
