//! Tests that clips are read in the same way as by the `ffmpeg` and `ffprobe` programs (FFmpeg project,
//! ffmpeg.org).
#![allow(clippy::unwrap_used)]

mod common;

use std::path::{Path, PathBuf};

use common::{ffmpeg, ffprobe, folder, text};
use pairspeed::footage::{Clip, ClipNotes, FrameSource, LevelRange, TimeBasis, frames_near, sample};

/// Frame times that `ffprobe` prints for the first video stream, minus that of the first frame, in seconds;
/// `None` if it prints none.
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

/// The luma planes that the `ffmpeg` program decodes, one frame after the other. The plane is extracted,
/// because ffmpeg's conversion to grey would stretch the levels.
fn decoded_luma(clip: &Path, filter: &str) -> Vec<u8> {
    ffmpeg(&["-i", text(clip), "-vf", filter, "-vsync", "passthrough", "-f", "rawvideo", "-"])
}

/// Makes a clip from a source filter and output options.
fn make(folder: &Path, name: &str, source: &str, options: &str) -> PathBuf {
    let clip = folder.join(name);
    let options: Vec<&str> = options.split_whitespace().collect();
    ffmpeg(&[&["-f", "lavfi", "-i", source], options.as_slice(), &[text(&clip)]].concat());
    clip
}

/// The number, time and luma of every frame; the luma is packed row by row.
fn read_through(source: &mut dyn FrameSource) -> Vec<(u64, f64, Vec<u8>)> {
    let mut all = Vec::new();
    while let Some(frame) = source.next_frame().unwrap() {
        assert!(!frame.damaged, "frame {}", frame.index);
        all.push((frame.index, frame.time_s, frame.luma.rows().flatten().copied().collect()));
    }
    all
}

fn assert_pictures_equal(clip: &Path, frames: &[(u64, f64, Vec<u8>)], expected: &[u8]) {
    let size = frames[0].2.len();
    assert_eq!(frames.len() * size, expected.len(), "{clip:?}");
    for (frame, expected) in frames.iter().zip(expected.chunks(size)) {
        assert!(frame.2 == expected, "{clip:?}: frame {} differs", frame.0);
    }
}

/// Reads a clip and compares every time and luma plane with those of the programs.
fn compare(clip: &Path) {
    let mut source = Clip::open(clip).unwrap();
    let frames = read_through(&mut source);
    let times = probed_times(clip);
    assert_eq!(frames.len(), times.len(), "{clip:?}");
    for ((number, time_s, _), (index, expected)) in frames.iter().zip(times.iter().enumerate()) {
        assert_eq!(*number, index as u64);
        let off_s = expected.map_or(0.0, |expected_s| (time_s - expected_s).abs());
        assert!(off_s < 1e-3, "{clip:?} frame {number}: {time_s} and {expected:?}");
    }
    assert!(frames.is_sorted_by(|one, two| one.1 < two.1), "{clip:?}");
    assert_pictures_equal(clip, &frames, &decoded_luma(clip, "extractplanes=y"));
    let notes = source.notes();
    let expected = ClipNotes {
        timestamps_repaired: times.iter().filter(|time| time.is_none()).count() as u64,
        levels: notes.levels,
        gaps: notes.gaps.clone(),
        ..ClipNotes::default()
    };
    assert_eq!(*notes, expected, "{clip:?}");
}

#[test]
fn times_and_luma_equal_those_of_the_programs() {
    let folder = folder();
    for (name, rate, options) in [
        ("mjpeg-25.avi", "25", "-c:v mjpeg -q:v 3 -pix_fmt yuvj422p"),
        ("mjpeg-ntsc.avi", "30000/1001", "-c:v mjpeg -q:v 3"),
        ("mjpeg-60.mov", "60", "-c:v mjpeg -q:v 3 -pix_fmt yuvj444p"),
        ("h264-25.mp4", "25", "-c:v libx264 -pix_fmt yuv420p -bf 3"),
        ("h264-ntsc.mov", "30000/1001", "-c:v libx264 -pix_fmt yuv420p -bf 2 -g 20"),
        ("h264-50.ts", "50", "-c:v libx264 -pix_fmt yuv420p -bf 2 -g 25"),
        ("h264-60.mkv", "60", "-c:v libx264 -pix_fmt yuv420p -bf 2"),
        ("h264-30.avi", "30", "-c:v libx264 -pix_fmt yuv420p -bf 0"),
        ("h265-30.mp4", "30", "-c:v libx265 -pix_fmt yuv420p -x265-params log-level=none"),
        ("h265-60.ts", "60", "-c:v libx265 -pix_fmt yuv420p -x265-params log-level=none:keyint=20"),
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
        // The 33-bit counter of MPEG-TS overflows 95443.7 s after zero, which is 1.3 s into this clip.
        ("wraps.ts", format!("{vfr} -output_ts_offset 95441.0")),
    ] {
        compare(&make(folder.path(), name, source, &options));
    }
}

#[test]
fn luma_is_independent_of_the_chroma_format() {
    let folder = folder();
    let source = "testsrc2=s=162x90:r=10:d=1";
    for format in ["yuv420p", "yuv422p", "yuv444p", "yuv411p", "gray", "nv12"] {
        compare(&make(
            folder.path(),
            &format!("{format}.nut"),
            source,
            &format!("-c:v rawvideo -pix_fmt {format}"),
        ));
    }
}

#[test]
fn packed_deep_and_rgb_pictures_give_their_brightness() {
    let folder = folder();
    let source = "testsrc2=s=162x90:r=10:d=1";
    let read = |name: &str, options: &str| {
        let clip = make(folder.path(), name, source, options);
        let frames = read_through(&mut Clip::open(&clip).unwrap());
        (clip, frames)
    };
    for format in ["yuyv422", "uyvy422"] {
        let (clip, frames) = read(&format!("{format}.avi"), &format!("-c:v rawvideo -pix_fmt {format}"));
        assert_pictures_equal(&clip, &frames, &decoded_luma(&clip, "format=yuv422p,extractplanes=y"));
    }
    let (clip, frames) = read("deep.mkv", "-c:v ffv1 -pix_fmt yuv420p10le");
    let deep = decoded_luma(&clip, "extractplanes=y");
    let upper: Vec<u8> =
        deep.chunks(2).map(|pair| (u16::from_le_bytes([pair[0], pair[1]]) >> 2) as u8).collect();
    assert_pictures_equal(&clip, &frames, &upper);
    // AVI files store uncompressed RGB from the bottom up.
    for (name, options) in [("rgb.avi", "-c:v rawvideo -pix_fmt bgr24"), ("rgb.mov", "-c:v qtrle")] {
        let (clip, frames) = read(name, options);
        let rgb = decoded_luma(&clip, "format=rgb24");
        // ITU-R BT.601-7, 2.5.1.
        let weigh = |p: &[u8]| 0.299 * f64::from(p[0]) + 0.587 * f64::from(p[1]) + 0.114 * f64::from(p[2]);
        let expected: Vec<u8> = rgb.chunks(3).map(|pixel| (weigh(pixel) + 1e-9).round() as u8).collect();
        assert_pictures_equal(&clip, &frames, &expected);
    }
}

#[test]
fn seeking_gives_the_frames_of_reading_from_the_start() {
    let folder = folder();
    for (name, options) in [
        ("a.avi", "-c:v mjpeg -q:v 3"),
        ("b.mp4", "-c:v libx264 -pix_fmt yuv420p -bf 3 -g 20"),
        ("c.ts", "-c:v libx264 -pix_fmt yuv420p -bf 3 -g 20"),
        ("d.mkv", "-c:v libx265 -pix_fmt yuv420p -x265-params log-level=none:keyint=20"),
        ("e.avi", "-c:v mpeg4 -q:v 4 -g 12"),
        ("open-gop.mp4", "-c:v libx264 -pix_fmt yuv420p -bf 3 -g 20 -x264-params open-gop=1"),
        ("no-index.h264", "-c:v libx264 -pix_fmt yuv420p -bf 2"),
    ] {
        let clip = make(folder.path(), name, "testsrc2=s=160x90:r=25:d=4", options);
        let mut source = Clip::open(&clip).unwrap();
        let early = frames_near(&mut source, &[3.0]).unwrap().remove(0);
        assert_eq!((early.index, (early.time_s * 1000.0).round()), (75, 3000.0), "{name}");
        source.seek(0.0).unwrap();
        let all = read_through(&mut source);
        let asked = [3.1, 0.5, 0.52, 3.99, 99.0, 0.0, -5.0, 2.0, 2.04, 2.9, f64::NAN];
        let found = frames_near(&mut source, &asked).unwrap();
        assert_eq!(found.len(), asked.len());
        for (found, asked_s) in found.iter().zip(asked) {
            assert!(found.requested_s == asked_s || asked_s.is_nan());
            let wanted_s = if asked_s.is_nan() { 0.0 } else { asked_s };
            let distance = |time_s: f64| (time_s - wanted_s).abs();
            let nearest = all.iter().min_by(|one, two| distance(one.1).total_cmp(&distance(two.1))).unwrap();
            assert!((found.time_s - nearest.1).abs() < 1e-9, "{name}: {asked_s} {}", found.time_s);
            assert_eq!(found.index, nearest.0, "{name} at {asked_s}");
            assert!(*found.image.as_raw() == nearest.2, "{name} at {asked_s}");
        }
        let spread: Vec<f64> = sample(&mut source, 10).unwrap().iter().map(|frame| frame.time_s).collect();
        for (index, time_s) in spread.iter().enumerate() {
            assert!((time_s - 3.96 * (index as f64 + 0.5) / 10.0).abs() <= 0.0201, "{name}: {spread:?}");
        }
        assert_eq!(spread.len(), 10);
    }
}

#[test]
fn reading_continues_after_a_seek() {
    let folder = folder();
    let clip = make(
        folder.path(),
        "a.mp4",
        "testsrc2=s=160x90:r=25:d=4",
        "-c:v libx264 -pix_fmt yuv420p -bf 3 -g 20",
    );
    let all = read_through(&mut Clip::open(&clip).unwrap());
    let mut source = Clip::open(&clip).unwrap();
    for (time_s, first) in [(2.9, 72), (0.0, 0), (1.0, 25), (1.4, 35), (99.0, 99)] {
        source.seek(time_s).unwrap();
        let rest: Vec<_> = read_through(&mut source);
        assert!(rest == all[first..], "from {time_s} s");
    }
}

#[test]
fn a_stream_without_timestamps_is_timed_by_its_rate_with_a_note() {
    let folder = folder();
    let options = "-c:v libx264 -pix_fmt yuv420p -bf 2";
    let clip = make(folder.path(), "bare.h264", "testsrc2=s=160x90:r=50:d=2", options);
    let mut source = Clip::open(&clip).unwrap();
    let frames = read_through(&mut source);
    assert_eq!(frames.len(), 100);
    assert!(frames.iter().enumerate().all(|(n, frame)| (frame.1 - n as f64 / 50.0).abs() < 1e-9));
    assert_eq!(source.notes().time_basis, TimeBasis::ContainerRate { rate_hz: 50.0 });
    assert!(source.notes().sentences(&clip)[0].contains("timestamps are unusable"));
}

#[test]
fn rotation_interlacing_and_level_range_are_noted_and_not_applied() {
    let folder = folder();
    let source = "testsrc2=s=160x90:r=10:d=1";
    let plain = make(folder.path(), "plain.mp4", source, "-c:v libx264 -pix_fmt yuv420p");
    let turned = folder.path().join("turned.mp4");
    ffmpeg(&["-i", text(&plain), "-c", "copy", "-metadata:s:v", "rotate=180", text(&turned)]);
    let mut clip = Clip::open(&turned).unwrap();
    assert_eq!(clip.notes().rotation_degrees, Some(180));
    assert!(read_through(&mut clip) == read_through(&mut Clip::open(&plain).unwrap()));

    let fields = "-vf tinterlace=interleave_top -c:v mpeg2video -flags +ilme+ildct";
    let mut clip = Clip::open(&make(folder.path(), "fields.ts", source, fields)).unwrap();
    let frames = read_through(&mut clip);
    assert_eq!(clip.notes().frames_interlaced, frames.len() as u64);

    let full = make(folder.path(), "full.avi", source, "-c:v mjpeg");
    assert_eq!(Clip::open(&full).unwrap().notes().levels, LevelRange::Full);
    let limited = make(
        folder.path(),
        "tv.mp4",
        source,
        "-c:v libx264 -pix_fmt yuv420p -color_range tv -colorspace bt709",
    );
    assert_eq!(Clip::open(&limited).unwrap().notes().levels, LevelRange::Limited);
}

#[test]
fn sound_and_data_beside_the_video_are_ignored() {
    let folder = folder();
    let clip = folder.path().join("sound.mp4");
    let video = "testsrc2=s=160x90:r=25:d=2";
    let arguments =
        ["-f", "lavfi", "-i", "sine=d=3", "-f", "lavfi", "-i", video, "-pix_fmt", "yuv420p", text(&clip)];
    ffmpeg(&arguments);
    compare(&clip);
}
