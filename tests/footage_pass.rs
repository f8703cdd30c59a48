//! Tests that processing a clip on all cores gives the same frames as reading it frame by frame.
#![allow(clippy::unwrap_used)]

mod common;

use std::fs;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};

use common::{ffmpeg, folder, text};
use pairspeed::footage::{Clip, ClipNotes, FrameOutput, FrameSource, LumaPlane, Recording};
use pairspeed::geometry::PixelRect;

/// Two areas of a frame of 176 x 144 pixels, not at the borders of coding blocks.
const AREAS: [PixelRect; 2] =
    [PixelRect::from_edges(5, 11, 60, 37), PixelRect::from_edges(90, 101, 171, 119)];

fn make(folder: &Path, name: &str, seconds: u32, options: &str) -> PathBuf {
    let clip = folder.join(name);
    let source = format!("testsrc2=s=176x144:r=30:d={seconds}");
    let options: Vec<&str> = options.split_whitespace().collect();
    ffmpeg(&[&["-f", "lavfi", "-i", &source], options.as_slice(), &[text(&clip)]].concat());
    clip
}

/// The pixels of the areas of a frame, row by row.
fn cut(luma: LumaPlane<'_>) -> Vec<u8> {
    let part = |area: &PixelRect| {
        let rows = luma.rows().take(area.rows().end).skip(area.rows().start);
        rows.flat_map(|row| row[area.columns()].to_vec()).collect::<Vec<u8>>()
    };
    AREAS.iter().flat_map(part).collect()
}

fn one_by_one(source: &mut dyn FrameSource) -> Vec<FrameOutput<Vec<u8>>> {
    let mut all = Vec::new();
    while let Some(frame) = source.next_frame().unwrap() {
        let (index, time_s, damaged) = (frame.index, frame.time_s, frame.damaged);
        all.push(FrameOutput { index, time_s, damaged, output: cut(frame.luma) });
    }
    all
}

fn on_all_cores<S: FrameSource>(source: &mut S) -> Vec<FrameOutput<Vec<u8>>> {
    let mut all = Vec::new();
    let mut take = |worked| {
        all.push(worked);
        ControlFlow::Continue(())
    };
    source.process_all(&AREAS, &|| Box::new(cut), &mut take).unwrap();
    all
}

fn assert_same(clip: &Path, one: &FrameOutput<Vec<u8>>, other: &FrameOutput<Vec<u8>>) {
    assert_eq!((one.index, one.time_s), (other.index, other.time_s), "{clip:?}");
    assert!(one.output == other.output, "{clip:?} {}", one.index);
}

/// Compares the two ways for a whole undamaged clip; returns the notes on the clip.
fn compare(clip: &Path) -> ClipNotes {
    let mut source = Clip::open(clip).unwrap();
    let expected = one_by_one(&mut source);
    let notes = source.notes().clone();
    let mut source = Clip::open(clip).unwrap();
    let found = on_all_cores(&mut source);
    assert_eq!(expected.len(), found.len(), "{clip:?}");
    for (one, other) in expected.iter().zip(&found) {
        assert_same(clip, one, other);
        assert_eq!(one.damaged, other.damaged, "{clip:?} {}", one.index);
    }
    assert_eq!(&notes, source.notes(), "{clip:?}");
    notes
}

#[test]
fn motion_jpeg_gives_identical_levels() {
    let folder = folder();
    for (name, options) in [
        ("420.avi", "-c:v mjpeg -q:v 4 -pix_fmt yuvj420p"),
        ("422.avi", "-c:v mjpeg -q:v 4 -pix_fmt yuvj422p"),
        ("444.mov", "-c:v mjpeg -q:v 9 -pix_fmt yuvj444p"),
        ("optimal.mkv", "-c:v mjpeg -q:v 2 -huffman optimal"),
    ] {
        compare(&make(folder.path(), name, 3, options));
    }
}

#[test]
fn other_codecs_give_identical_levels() {
    let folder = folder();
    for (name, options) in [
        ("closed.mp4", "-c:v libx264 -g 20 -bf 2"),
        ("open.mkv", "-c:v libx264 -g 20 -bf 3 -x264-params open-gop=1"),
        ("stream.ts", "-c:v libx264 -g 15 -bf 2"),
        ("hevc.mp4", "-c:v libx265 -g 20 -x265-params log-level=error"),
        ("mpeg4.mp4", "-c:v mpeg4 -q:v 4 -g 15 -bf 2"),
        ("mpeg2.ts", "-c:v mpeg2video -q:v 4 -g 15 -bf 2"),
        ("lossless.avi", "-c:v ffv1"),
    ] {
        compare(&make(folder.path(), name, 3, options));
    }
}

#[test]
fn a_run_longer_than_a_chunk_is_continued() {
    let folder = folder();
    let options = "-c:v libx264 -preset ultrafast -bf 2 -g 9999 -keyint_min 9999";
    compare(&make(folder.path(), "endless.mp4", 45, options));
}

/// The JPEG images of a bare stream, without their segments of one kind.
fn without_segments(stream: &[u8], kind: u8) -> Vec<u8> {
    let (mut kept, mut position) = (Vec::new(), 0);
    while let Some(&[0xff, marker]) = stream.get(position..position + 2) {
        let length = match marker {
            0xd8 | 0xd9 => 2,
            _ => 2 + usize::from(u16::from_be_bytes([stream[position + 2], stream[position + 3]])),
        };
        if marker != kind {
            kept.extend_from_slice(&stream[position..position + length]);
        }
        position += length;
        if marker == 0xda {
            let is_marker = |two: &[u8]| two[0] == 0xff && two[1] != 0 && !(0xd0..=0xd7).contains(&two[1]);
            let data = stream[position..].windows(2).position(is_marker).unwrap();
            kept.extend_from_slice(&stream[position..position + data]);
            position += data;
        }
    }
    kept
}

#[test]
fn missing_huffman_tables_are_those_of_the_standard() {
    let folder = folder();
    let stream = make(folder.path(), "tables.mjpeg", 2, "-c:v mjpeg -q:v 5 -huffman default -f mjpeg");
    let bytes = fs::read(&stream).unwrap();
    let bare = without_segments(&bytes, 0xc4);
    assert!(bare.len() + 60 * 400 < bytes.len(), "tables are taken out");
    fs::write(&stream, bare).unwrap();
    let clip = folder.path().join("tables.avi");
    ffmpeg(&["-f", "mjpeg", "-framerate", "30", "-i", text(&stream), "-c", "copy", text(&clip)]);
    let notes = compare(&clip);
    assert_eq!(notes.frames_damaged, 0);
}

#[test]
fn grey_motion_jpeg_and_large_restart_intervals_are_read() {
    let folder = folder();
    let grey = make(folder.path(), "grey.avi", 2, "-vf format=gray,format=yuvj420p -c:v mjpeg -q:v 4");
    compare(&grey);
    let sliced = make(folder.path(), "restart.avi", 2, "-c:v mjpeg -q:v 4 -slices 4 -threads 4");
    compare(&sliced);
}

/// Overwrites bytes in the middle of a copy of the clip.
fn punched(clip: &Path, length: usize) -> PathBuf {
    let mut bytes = fs::read(clip).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle..middle + length].iter_mut().enumerate().for_each(|(n, byte)| *byte = (n * 89 % 251) as u8);
    let copy = clip.with_file_name(format!("punched-{}", clip.file_name().unwrap().to_str().unwrap()));
    fs::write(&copy, bytes).unwrap();
    copy
}

#[test]
fn no_damaged_frame_counts_as_undamaged() {
    let folder = folder();
    for (name, options) in [
        ("hurt.avi", "-c:v mjpeg -q:v 3"),
        ("hurt.mp4", "-c:v libx264 -g 15 -bf 2"),
        ("hurt.ts", "-c:v libx264 -g 15 -bf 2"),
    ] {
        let clip = make(folder.path(), name, 3, options);
        let intact = one_by_one(&mut Clip::open(&clip).unwrap());
        let found = on_all_cores(&mut Clip::open(&punched(&clip, 900)).unwrap());
        assert!(found.len() >= intact.len() - 20, "{name}: {}", found.len());
        let sound: Vec<_> = found.iter().filter(|frame| !frame.damaged).collect();
        assert!(sound.len() >= intact.len() / 2, "{name}: {}", sound.len());
        for frame in sound {
            let same = intact.iter().find(|other| (other.time_s - frame.time_s).abs() < 1e-6).unwrap();
            assert!(frame.output == same.output, "{name} at {}", frame.time_s);
        }
    }
}

#[test]
fn processing_can_be_stopped_and_started_again() {
    let folder = folder();
    for (name, options) in [("a.avi", "-c:v mjpeg -q:v 4"), ("a.mp4", "-c:v libx264 -g 10")] {
        let mut clip = Clip::open(&make(folder.path(), name, 2, options)).unwrap();
        let mut indices = Vec::new();
        let mut take = |worked: FrameOutput<()>| {
            indices.push(worked.index);
            if worked.index == 6 { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
        };
        clip.process_all(&AREAS, &|| Box::new(|_| ()), &mut take).unwrap();
        assert_eq!(indices, (0..=6).collect::<Vec<u64>>());
        assert_eq!(on_all_cores(&mut clip).len(), 60);
        assert!(clip.next_frame().unwrap().is_none());
        clip.seek(0.5).unwrap();
        assert_eq!(clip.next_frame().unwrap().unwrap().index, 15);
    }
}

#[test]
fn several_clips_are_one_recording() {
    let folder = folder();
    for (ending, options) in [("avi", "-c:v mjpeg -q:v 4"), ("mp4", "-c:v libx264 -g 10")] {
        let clip = make(folder.path(), &format!("a.{ending}"), 2, options);
        let second = folder.path().join(format!("b.{ending}"));
        std::fs::copy(&clip, &second).unwrap();
        let expected = one_by_one(&mut Recording::open(&[&clip, &second]).unwrap());
        let mut recording = Recording::open(&[&clip, &second]).unwrap();
        let found = on_all_cores(&mut recording);
        assert_eq!(found.len(), expected.len());
        for (one, other) in expected.iter().zip(&found) {
            assert_same(&clip, one, other);
        }
        assert_eq!(recording.spans().len(), 2);
        assert_eq!(recording.spans()[1].first_index, Some(60));
    }
}

#[test]
fn sampled_frames_are_spread_over_the_clip_and_have_correct_times() {
    let folder = folder();
    for (name, options) in [
        ("a.avi", "-c:v mjpeg -q:v 4"),
        ("a.mp4", "-c:v libx264 -g 8 -bf 2"),
        ("few-keys.mp4", "-c:v libx264 -g 250 -bf 2"),
    ] {
        let clip = make(folder.path(), name, 6, options);
        let all = one_by_one(&mut Clip::open(&clip).unwrap());
        let some = Clip::open(&clip).unwrap().process_some(30, &AREAS, &cut).unwrap();
        assert!((25..=45).contains(&some.len()), "{name}: {}", some.len());
        assert!(some.iter().is_sorted_by(|one, two| one.time_s < two.time_s), "{name}");
        assert!(some[0].time_s < 0.5 && some[some.len() - 1].time_s > 5.0, "{name}");
        for frame in &some {
            let same = all.iter().find(|other| (other.time_s - frame.time_s).abs() < 1e-6).unwrap();
            assert_same(&clip, same, frame);
        }
    }
}
