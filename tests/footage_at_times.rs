//! Tests that frames fetched by time are the frames nearest to these times in a reading of the whole clip.
#![allow(clippy::unwrap_used)]

mod common;

use std::fs;
use std::path::{Path, PathBuf};

use common::{ffmpeg, folder, text};
use pairspeed::footage::{
    Clip, FrameOutput, FrameSource, LumaImage as _, LumaPlane, MemoryFrames, Recording, sample,
};
use pairspeed::geometry::PixelRect;

const AREAS: [PixelRect; 2] =
    [PixelRect::from_edges(5, 11, 60, 37), PixelRect::from_edges(90, 101, 171, 119)];

/// Times in seconds, as for labels: some close together, out of order, one twice, one before the start, one after the
/// end.
const TIMES_S: [f64; 14] =
    [3.21, 3.24, 3.19, 0.4, -1.0, 0.0, 5.5, 5.51, 5.51, 9.98, 500.0, 7.0333, 7.35, f64::NAN];

fn make(folder: &Path, name: &str, options: &str) -> PathBuf {
    let clip = folder.join(name);
    let options: Vec<&str> = options.split_whitespace().collect();
    ffmpeg(
        &[&["-f", "lavfi", "-i", "testsrc2=s=176x144:r=30:d=10"], options.as_slice(), &[text(&clip)]]
            .concat(),
    );
    clip
}

fn cut(luma: LumaPlane<'_>) -> Vec<image::GrayImage> {
    AREAS.iter().map(|area| luma.crop(*area)).collect()
}

type Cut = FrameOutput<Vec<image::GrayImage>>;

/// All frames, read one after the other.
fn all_frames(source: &mut dyn FrameSource) -> Vec<Cut> {
    let mut all = Vec::new();
    while let Some(frame) = source.next_frame().unwrap() {
        let (index, time_s, damaged) = (frame.index, frame.time_s, frame.damaged);
        all.push(FrameOutput { index, time_s, damaged, output: cut(frame.luma) });
    }
    all
}

/// Numbers of the frames nearest to some times, each once, in order.
fn nearest(all: &[Cut], times_s: &[f64]) -> Vec<usize> {
    let last_s = all.last().unwrap().time_s;
    let number = |time_s: &f64| {
        let time_s = time_s.max(0.0).min(last_s);
        let away_s = |number: &usize| (all[*number].time_s - time_s).abs();
        (0..all.len()).min_by(|one, other| away_s(one).total_cmp(&away_s(other))).unwrap()
    };
    let mut numbers: Vec<usize> = times_s.iter().map(number).collect();
    numbers.sort_unstable();
    numbers.dedup();
    numbers
}

/// Compares the two ways of fetching frames.
fn compare<S: FrameSource>(name: &str, source: &mut S, all: &[Cut], times_s: &[f64]) {
    let found = source.process_at(times_s, &AREAS, &cut).unwrap();
    let expected = nearest(all, times_s);
    let times = |frames: &mut dyn Iterator<Item = &Cut>| frames.map(|it| it.time_s).collect::<Vec<_>>();
    assert_eq!(
        times(&mut found.iter()),
        times(&mut expected.iter().map(|number| &all[*number])),
        "{name} {times_s:?}"
    );
    for (found, number) in found.iter().zip(expected) {
        let expected = &all[number];
        assert_eq!(found.damaged, expected.damaged, "{name}");
        assert!(found.output == expected.output, "{name}: the picture at {} s differs", found.time_s);
    }
}

#[test]
fn frames_at_times_are_the_nearest_of_the_whole_clip_for_every_codec() {
    let folder = folder();
    for (name, options) in [
        ("mjpeg.avi", "-c:v mjpeg -q:v 4 -pix_fmt yuvj422p"),
        ("long.mp4", "-c:v libx264 -g 250 -bf 3"),
        ("short.mp4", "-c:v libx264 -g 12 -bf 2"),
        ("pyramid.mkv", "-c:v libx264 -g 60 -bf 4 -b_strategy 0 -x264-params b-pyramid=normal"),
        ("forward.mp4", "-c:v libx264 -g 30 -bf 0 -tune zerolatency"),
        ("open.mp4", "-c:v libx264 -g 48 -x264-params open-gop=1"),
        ("fields.mp4", "-c:v libx264 -g 40 -flags +ilme+ildct"),
        ("bytes.ts", "-c:v libx264 -g 50"),
        ("h265.mp4", "-c:v libx265 -g 50 -x265-params log-level=none"),
        ("mpeg4.avi", "-c:v mpeg4 -g 50 -bf 2"),
        ("raw.h264", "-c:v libx264 -g 50"),
        ("late.mp4", "-c:v libx264 -g 50 -output_ts_offset 7"),
        ("uneven.mkv", "-c:v libx264 -g 50 -vf setpts=PTS+0.012*sin(N)/TB -fps_mode vfr"),
        ("gap.mkv", "-c:v libx264 -g 50 -vf setpts=PTS+gt(N\\,100)*3/TB -fps_mode vfr"),
    ] {
        let clip = make(folder.path(), name, options);
        let all = all_frames(&mut Clip::open(&clip).unwrap());
        compare(name, &mut Clip::open(&clip).unwrap(), &all, &TIMES_S);
        compare(name, &mut Clip::open(&clip).unwrap(), &all, &[4.2]);
        compare(name, &mut Clip::open(&clip).unwrap(), &all, &[]);
        let everywhere: Vec<f64> = (0..320).map(|number| f64::from(number) * 0.031).collect();
        compare(name, &mut Recording::open(&[&clip]).unwrap(), &all, &everywhere);
    }
}

#[test]
fn frames_can_be_fetched_after_reading_and_reading_continues_after_fetching() {
    let folder = folder();
    let clip = make(folder.path(), "long.mp4", "-c:v libx264 -g 250 -bf 3");
    let mut source = Clip::open(&clip).unwrap();
    let all = all_frames(&mut source);
    compare("after a pass", &mut source, &all, &TIMES_S);
    source.seek(2.0).unwrap();
    let before_s = source.next_frame().unwrap().unwrap().time_s;
    compare("in the middle", &mut source, &all, &TIMES_S);
    let after_s = source.next_frame().unwrap().unwrap().time_s;
    assert!((after_s - before_s - 1.0 / 30.0).abs() < 1e-3, "{before_s} {after_s}");
}

#[test]
fn frames_of_several_clips_and_of_memory_are_fetched_by_time() {
    let folder = folder();
    let clips = ["one.mp4", "two.mp4"].map(|name| make(folder.path(), name, "-c:v libx264 -g 50"));
    let all = all_frames(&mut Recording::open(&clips).unwrap());
    let times_s = [3.0, 12.5, 19.9, 9.95, 10.0];
    let found = Recording::open(&clips).unwrap().process_at(&times_s, &AREAS, &cut).unwrap();
    let times = found.iter().map(|frame| frame.time_s).collect::<Vec<_>>();
    let expected = nearest(&all, &times_s).into_iter().map(|number| all[number].time_s).collect::<Vec<_>>();
    assert_eq!(times, expected);
    let frame =
        |number: u8| (f64::from(number) / 10.0, image::GrayImage::from_pixel(176, 144, [number].into()));
    let mut source = MemoryFrames::new((0..100).map(frame).collect()).unwrap();
    let all = all_frames(&mut source);
    compare("memory", &mut source, &all, &TIMES_S);
}

#[test]
fn the_last_frame_is_known_by_its_packet() {
    let folder = folder();
    for (name, options) in [
        ("mjpeg.avi", "-c:v mjpeg -q:v 4"),
        ("h264.mp4", "-c:v libx264 -g 250 -bf 3"),
        ("h264.ts", "-c:v libx264 -g 50"),
        ("raw.h264", "-c:v libx264 -g 50"),
    ] {
        let clip = make(folder.path(), name, options);
        let last_s = all_frames(&mut Clip::open(&clip).unwrap()).last().unwrap().time_s;
        assert_eq!(Clip::open(&clip).unwrap().last_time_s().unwrap(), last_s, "{name}");
    }
}

#[test]
fn damage_is_flagged_and_does_not_stop_fetching() {
    let folder = folder();
    for (name, options) in [
        ("mjpeg.avi", "-c:v mjpeg -q:v 4"),
        ("h264.mp4", "-c:v libx264 -g 30 -bf 2"),
        ("h264.ts", "-c:v libx264 -g 30"),
    ] {
        let clip = make(folder.path(), name, options);
        let intact = all_frames(&mut Clip::open(&clip).unwrap());
        let mut bytes = fs::read(&clip).unwrap();
        let middle = bytes.len() / 2;
        bytes[middle..middle + 3000].fill(0x55);
        fs::write(&clip, &bytes).unwrap();
        let everywhere: Vec<f64> = (0..300).map(|number| f64::from(number) / 30.0).collect();
        let found = Clip::open(&clip).unwrap().process_at(&everywhere, &AREAS, &cut).unwrap();
        let wrong =
            |it: &&Cut| intact.iter().any(|frame| frame.time_s == it.time_s && frame.output != it.output);
        let trusted = found.iter().filter(|it| !it.damaged).filter(wrong).count();
        assert!(found.iter().any(|it| it.damaged) || found.len() < 300, "{name}");
        assert!(trusted <= 1, "{name}: {trusted} wrong frames are not flagged");
        fs::write(&clip, &bytes[..bytes.len() * 6 / 10]).unwrap();
        if let Ok(mut cut_off) = Clip::open(&clip) {
            assert!(!cut_off.process_at(&everywhere, &AREAS, &cut).unwrap().is_empty(), "{name}");
            assert!(!sample(&mut cut_off, 20).unwrap().is_empty(), "{name}");
        }
    }
}
