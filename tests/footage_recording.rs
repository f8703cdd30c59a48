//! Several clips as one recording.
#![allow(clippy::unwrap_used)]

mod common;

use std::path::{Path, PathBuf};

use common::{ffmpeg, folder, text};
use pairspeed::footage::{Clip, ClipGap, FrameSource, Recording, frames_near};
use pairspeed::output::summary_json;
use pairspeed::readings::Silent;
use pairspeed::setup::LoadedSetup;
use pairspeed::summary::Summary;
use pairspeed::{ReadOptions, read_flight};

/// Makes a clip of `frames` frames at 25 frames per second; `extra` are further options.
fn make(folder: &Path, name: &str, frames: u32, size: &str, extra: &[&str]) -> PathBuf {
    let clip = folder.join(name);
    let source = format!("testsrc2=s={size}:r=25:d={}", f64::from(frames) / 25.0);
    let options = [&["-f", "lavfi", "-i", &source], extra, &[text(&clip)]].concat();
    ffmpeg(&options);
    clip
}

const MJPEG: [&str; 4] = ["-c:v", "mjpeg", "-q:v", "3"];

fn created(moment: &str) -> Vec<String> {
    let options = ["-c:v", "libx264", "-pix_fmt", "yuv420p", "-metadata", &format!("creation_time={moment}")];
    options.map(str::to_owned).to_vec()
}

fn make_created(folder: &Path, name: &str, frames: u32, moment: &str) -> PathBuf {
    let options = created(moment);
    let options: Vec<&str> = options.iter().map(String::as_str).collect();
    make(folder, name, frames, "160x90", &options)
}

fn numbers_and_times(source: &mut dyn FrameSource) -> Vec<(u64, f64)> {
    let mut all = Vec::new();
    while let Some(frame) = source.next_frame().unwrap() {
        all.push((frame.index, frame.time_s));
    }
    all
}

#[test]
fn without_known_gaps_clips_follow_after_one_frame_interval() {
    let folder = folder();
    let clips = ["a.avi", "b.avi", "c.avi"].map(|name| make(folder.path(), name, 30, "160x90", &MJPEG));
    let mut recording = Recording::open(&clips).unwrap();
    let frames = numbers_and_times(&mut recording);
    assert_eq!(frames.len(), 90);
    for (index, (number, time_s)) in frames.iter().enumerate() {
        assert_eq!(*number, index as u64);
        assert!((time_s - index as f64 * 0.04).abs() < 1e-6, "frame {index} at {time_s}");
    }
    let spans = recording.spans();
    assert_eq!(spans.iter().map(|span| span.first_index).collect::<Vec<_>>(), [Some(0), Some(30), Some(60)]);
    assert_eq!(spans[0].gap_before, None);
    assert_eq!(spans[1].gap_before, Some(ClipGap::Unknown));
    let said = format!(
        "the time between the end of {} and the start of {} is unknown and assumed to be 0 s",
        clips[0].display(),
        clips[1].display()
    );
    assert_eq!(recording.join_sentences()[0], said);
    assert_eq!(recording.info().stated_length_s.map(|length_s| (length_s * 1000.0).round()), Some(3600.0));
}

#[test]
fn each_clip_keeps_its_own_container_and_length() {
    let folder = folder();
    let clips = [("a.avi", 30), ("b.mkv", 50), ("c.avi", 10)]
        .map(|(name, frames)| make(folder.path(), name, frames, "160x90", &MJPEG));
    let recording = Recording::open(&clips).unwrap();
    let alone: Vec<_> = clips.iter().map(|clip| Clip::open(clip).unwrap().info().clone()).collect();
    let together: Vec<_> = recording.clip_infos().cloned().collect();
    assert_eq!(together, alone);
    let containers = together.iter().map(|info| info.container.as_str()).collect::<Vec<_>>();
    assert_eq!(containers, ["avi", "matroska/webm", "avi"]);
    let lengths = together.iter().map(|info| (info.stated_length_s.unwrap() * 25.0).round());
    assert_eq!(lengths.collect::<Vec<_>>(), [30.0, 50.0, 10.0]);
}

#[test]
fn the_summary_gives_each_clip_its_own_container_and_length() {
    let folder = folder();
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-clips/salt-flat.avi");
    let clips = [("first.avi", "20", "8"), ("second.mkv", "28", "5")].map(|(name, from_s, length_s)| {
        let clip = folder.path().join(name);
        let options = ["-ss", from_s, "-t", length_s, "-i", text(&demo), "-c", "copy", "-an", text(&clip)];
        ffmpeg(&options);
        clip
    });
    let setup = LoadedSetup::load(&demo.with_extension("setup.toml")).unwrap();
    let flight = read_flight(&clips, &setup, &ReadOptions::default(), &mut Silent).unwrap();
    let summary = Summary::read(&summary_json(&flight).unwrap()).unwrap();
    let found = summary
        .clips
        .iter()
        .map(|clip| (clip.file.as_str(), clip.container.as_str(), clip.stated_length_s.map(f64::round)));
    let expected = [(text(&clips[0]), "avi", Some(8.0)), (text(&clips[1]), "matroska/webm", Some(5.0))];
    assert_eq!(found.collect::<Vec<_>>(), expected);
}

#[test]
fn creation_times_give_the_gap() {
    let folder = folder();
    let clips = [
        make_created(folder.path(), "a.mp4", 50, "2024-05-01T10:00:00"),
        make_created(folder.path(), "b.mp4", 50, "2024-05-01T10:00:09"),
        make_created(folder.path(), "c.mp4", 50, "2024-05-01T10:00:11"),
    ];
    let mut recording = Recording::open(&clips).unwrap();
    let frames = numbers_and_times(&mut recording);
    let starts: Vec<f64> = recording.spans().iter().map(|span| (span.start_s * 1000.0).round()).collect();
    assert_eq!(starts, [0.0, 9000.0, 11_000.0]);
    assert!((frames[50].1 - 9.0).abs() < 1e-6 && (frames[100].1 - 11.0).abs() < 1e-6);
    assert!(
        recording.join_sentences()[0]
            .contains("according to their recording times, 7 s passed between the end of ")
    );
    assert!(recording.join_sentences()[1].ends_with(" without a gap"));
}

#[test]
fn seeking_in_a_recording_finds_the_frames_of_reading_from_the_start() {
    let folder = folder();
    let clips = [
        make_created(folder.path(), "a.mp4", 50, "2024-05-01T10:00:00"),
        make_created(folder.path(), "b.mp4", 50, "2024-05-01T10:00:09"),
    ];
    let mut recording = Recording::open(&clips).unwrap();
    // Before any frame is read, the first clip's length must be measured to know where the second one starts.
    let asked = [9.52, 0.4, 4.0, 8.0, 1000.0];
    let times = |found: &[pairspeed::footage::FoundFrame]| {
        found.iter().map(|frame| (frame.time_s * 100.0).round() / 100.0).collect::<Vec<_>>()
    };
    let before = frames_near(&mut recording, &asked).unwrap();
    assert_eq!(times(&before), [9.52, 0.4, 1.96, 9.0, 10.96]);
    let mut second = Clip::open(&clips[1]).unwrap();
    let picture = frames_near(&mut second, &[0.52]).unwrap().remove(0).image;
    assert!(before[0].image == picture);

    recording.seek(0.0).unwrap();
    assert_eq!(numbers_and_times(&mut recording).len(), 100);
    let after = frames_near(&mut recording, &asked).unwrap();
    assert_eq!(times(&after), times(&before));
    assert_eq!(after.iter().map(|frame| frame.index).collect::<Vec<_>>(), [63, 10, 49, 50, 99]);
}

#[test]
fn clips_that_differ_in_size_or_codec_are_refused_by_name() {
    let folder = folder();
    let first = make(folder.path(), "first.avi", 5, "160x90", &MJPEG);
    let wide = make(folder.path(), "wide.avi", 5, "320x90", &MJPEG);
    let other = make(folder.path(), "other.avi", 5, "160x90", &["-c:v", "mpeg4"]);
    let refusal = |second: &Path| Recording::open(&[&first, second]).map(|_| ()).unwrap_err().to_string();
    assert_eq!(
        refusal(&wide),
        format!(
            "{} has frames of 160 x 90 pixels, but {} has 320 x 90 pixels; the clips of one flight must have the same frame size and codec: read these clips as separate flights",
            first.display(),
            wide.display()
        )
    );
    assert!(refusal(&other).contains("has the codec mjpeg, but"));
    assert!(refusal(&folder.path().join("absent.avi")).contains("there is no such file"));
    let none: [&Path; 0] = [];
    assert!(Recording::open(&none).is_err());
}

#[test]
fn notes_of_all_clips_are_combined_with_times_of_the_recording() {
    let folder = folder();
    let clips = ["a.avi", "b.avi"].map(|name| make(folder.path(), name, 50, "160x90", &MJPEG));
    for clip in &clips {
        let mut bytes = std::fs::read(clip).unwrap();
        let middle = bytes.len() / 2;
        bytes[middle..middle + 40_000].fill(0x55);
        std::fs::write(clip, bytes).unwrap();
    }
    let alone: Vec<_> = clips
        .iter()
        .map(|clip| {
            let mut clip = Clip::open(clip).unwrap();
            numbers_and_times(&mut clip);
            clip.notes().clone()
        })
        .collect();
    let mut recording = Recording::open(&clips).unwrap();
    numbers_and_times(&mut recording);
    let notes = recording.notes();
    assert!(alone[0].packets_lost > 0);
    assert_eq!(notes.packets_lost, alone[0].packets_lost + alone[1].packets_lost);
    assert_eq!(notes.frames_damaged, alone[0].frames_damaged + alone[1].frames_damaged);
    let second_s = recording.spans()[1].start_s;
    let shifted: Vec<f64> = alone[1].gaps.iter().map(|gap| gap.from_s + second_s).collect();
    assert_eq!(
        notes.gaps.iter().skip(alone[0].gaps.len()).map(|gap| gap.from_s).collect::<Vec<_>>(),
        shifted
    );
}

#[test]
fn a_clip_given_twice_is_refused_even_by_another_path() {
    let folder = folder();
    let clip = make(folder.path(), "a.avi", 5, "160x90", &MJPEG);
    let other = make(folder.path(), "b.avi", 5, "160x90", &MJPEG);
    let again = folder.path().join(".").join("a.avi");
    let said = Recording::open(&[&clip, &other, &again]).map(|_| ()).unwrap_err().to_string();
    assert!(said.contains("a.avi: this clip is given twice"), "{said}");
    assert!(Recording::open(&[&clip, &other]).is_ok());
}

#[test]
fn clips_in_the_wrong_order_by_their_recording_times_have_a_note() {
    let folder = folder();
    let late = make_created(folder.path(), "late.mp4", 25, "2024-05-01T10:05:00Z");
    let early = make_created(folder.path(), "early.mp4", 25, "2024-05-01T10:00:00Z");
    let mut recording = Recording::open(&[&late, &early]).unwrap();
    numbers_and_times(&mut recording);
    let said = &recording.join_sentences()[0];
    assert!(said.contains("early.mp4 was recorded before") && said.contains("order flown"), "{said}");
}
