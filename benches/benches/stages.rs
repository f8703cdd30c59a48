//! Time of each stage: `cargo bench -p benchmarks`.
//!
//! The clip is the analog demonstration (640x480, five regions of up to four digits). Items are regions: the time for
//! one item is that of one region of one frame on one core.
#![allow(missing_docs, clippy::unwrap_used)]

use std::ops::ControlFlow;
use std::path::Path;
use std::sync::LazyLock;

use benchmarks::truth_texts;
use divan::{Bencher, black_box, counter::ItemsCount};
use image::GrayImage;
use pairspeed::detect::propose;
use pairspeed::footage::{Clip, FrameSource as _, LumaPlane, sample};
use pairspeed::geometry::PixelRect;
use pairspeed::glyphs::builtin_sets;
use pairspeed::learn::{FetchedExamples, LabelFile, LabelledReading, fetch_examples, learn_glyphs};
use pairspeed::readings::{Silent, collect, prepare};
use pairspeed::recognise::{HighPass, Window};
use pairspeed::recognise::{Recogniser, RegionCache, Sample};
use pairspeed::setup::{LoadedSetup, Setup};

const CLIP: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../demo-clips/salt-flat.avi");
const READINGS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../demo-clips/salt-flat.readings.csv");
const SETUP: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../demo-clips/salt-flat.setup.toml");

/// Number of frames that the stages use in turn.
const FRAMES: usize = 32;

/// Number of frames in which readouts are searched, as in the command `setup`.
const PROPOSED_ON: usize = 50;

struct Bench {
    setup: Setup,
    sample: Sample,
    recogniser: Recogniser,
    frames: Vec<GrayImage>,
}

static BENCH: LazyLock<Bench> = LazyLock::new(|| {
    let setup: Setup = toml::from_str(&std::fs::read_to_string(SETUP).unwrap()).unwrap();
    let mut clip = Clip::open(Path::new(CLIP)).unwrap();
    let prepared = prepare(&mut clip, &setup, &builtin_sets().unwrap()).unwrap();
    let frames = sample(&mut clip, FRAMES).unwrap().into_iter().map(|frame| frame.image).collect();
    Bench { setup, sample: prepared.sample, recogniser: prepared.recogniser, frames }
});

fn luma(frame: &GrayImage) -> LumaPlane<'_> {
    let (width, height) = (frame.width() as usize, frame.height() as usize);
    LumaPlane { data: frame.as_raw(), width, height, stride: width }
}

fn main() {
    divan::main();
}

/// Recognition of all regions of a frame.
#[divan::bench]
fn recognise(bencher: Bencher) {
    let regions = BENCH.setup.regions.len();
    let mut cache = RegionCache::default();
    let mut frames = BENCH.frames.iter().cycle();
    bencher.counter(ItemsCount::new(regions)).bench_local(|| {
        frames.next().map(|frame| BENCH.recogniser.observe(&mut cache, black_box(luma(frame))))
    });
}

/// Cutting out a region and filtering it: a part of [`recognise`].
#[divan::bench]
fn features(bencher: Bencher) {
    let rect = BENCH.setup.regions[0].rect;
    let high_pass = HighPass::for_cell_width(rect.width as f32 / 4.0);
    let window = Window::new(rect, 1);
    let mut frames = BENCH.frames.iter().cycle();
    bencher
        .counter(ItemsCount::new(1_usize))
        .bench_local(|| frames.next().map(|frame| high_pass.apply(&window.cut(black_box(luma(frame))))));
}

/// Calibration on the sample of a clip.
#[divan::bench(sample_count = 3, sample_size = 1)]
fn calibrate(bencher: Bencher) {
    let sets = builtin_sets().unwrap();
    bencher.bench_local(|| Recogniser::calibrate(&BENCH.setup.regions, black_box(&sets), &BENCH.sample));
}

fn frames_of(clip: &Clip) -> usize {
    let info = clip.info();
    (info.stated_length_s.unwrap_or(0.0) * info.nominal_rate_hz.unwrap_or(30.0)).round() as usize
}

/// Decoding the regions of a clip on all cores: a part of [`read`]; items are frames.
#[divan::bench(sample_count = 10, sample_size = 1)]
fn decode(bencher: Bencher) {
    let areas: Vec<PixelRect> = BENCH.setup.regions.iter().map(|region| region.rect.with_margin(8)).collect();
    bencher
        .with_inputs(|| Clip::open(Path::new(CLIP)).unwrap())
        .input_counter(|clip: &Clip| ItemsCount::new(frames_of(clip)))
        .bench_local_values(|mut clip| {
            clip.process_all(&areas, &|| Box::new(|_| ()), &mut |_| ControlFlow::Continue(())).unwrap();
        });
}

/// A clip from its packets to its readings, without calibration; items are regions of frames.
#[divan::bench(sample_count = 3, sample_size = 1)]
fn read(bencher: Bencher) {
    let mut clip = Clip::open(Path::new(CLIP)).unwrap();
    let prepared = prepare(&mut clip, &BENCH.setup, &builtin_sets().unwrap()).unwrap();
    let regions = prepared.setup.regions.len();
    bencher
        .with_inputs(|| Clip::open(Path::new(CLIP)).unwrap())
        .input_counter(move |clip: &Clip| ItemsCount::new(frames_of(clip) * regions))
        .bench_local_values(|mut clip| collect(&mut clip, &prepared, 0.95, &mut Silent).unwrap());
}

/// Labels of the clip at `count` frames spread over it, the channels in turn.
fn labels(count: usize) -> LabelFile {
    let truth = truth_texts(Path::new(READINGS)).unwrap();
    let regions = BENCH.setup.regions.iter().map(|region| &region.channel).cycle();
    let frames = truth["frame"].len();
    let mut file = LabelFile::default();
    for (number, channel) in (0..count).zip(regions) {
        let frame = (number * frames + frames / 2) / count;
        let time_s = truth["time_s"][frame].parse().unwrap();
        let text = truth[channel.name()][frame].clone();
        file.add("salt-flat.avi", &LabelledReading { channel: channel.clone(), time_s, text });
    }
    file
}

fn moments(count: usize) -> FetchedExamples {
    let setup = LoadedSetup::load(Path::new(SETUP)).unwrap();
    let mut clip = Clip::open(Path::new(CLIP)).unwrap();
    fetch_examples(&mut clip, &setup, &labels(count), &|_| ()).unwrap()
}

/// Fetching the frames of labelled readings; items are readings.
#[divan::bench(args = [10, 50], sample_count = 10, sample_size = 1)]
fn fetch_labels(bencher: Bencher, count: usize) {
    let (setup, labels) = (LoadedSetup::load(Path::new(SETUP)).unwrap(), labels(count));
    bencher
        .counter(ItemsCount::new(count))
        .with_inputs(|| Clip::open(Path::new(CLIP)).unwrap())
        .bench_local_values(|mut clip| fetch_examples(&mut clip, &setup, &labels, &|_| ()).unwrap());
}

/// Learning glyphs from labelled readings in memory; items are readings.
#[divan::bench(args = [10, 50], sample_count = 3, sample_size = 1)]
fn teach_glyphs(bencher: Bencher, count: usize) {
    let moments = moments(count).examples;
    bencher.counter(ItemsCount::new(moments.len())).bench_local(|| {
        learn_glyphs("bench", &BENCH.setup.regions, black_box(&moments), &[], &BENCH.sample).unwrap()
    });
}

/// Fetches the frames in which readouts are searched.
#[divan::bench(sample_count = 10, sample_size = 1)]
fn fetch_sample(bencher: Bencher) {
    bencher
        .with_inputs(|| Clip::open(Path::new(CLIP)).unwrap())
        .bench_local_values(|mut clip| sample(&mut clip, PROPOSED_ON).unwrap());
}

/// Searches readouts in frames that are in memory.
#[divan::bench(sample_count = 10, sample_size = 1)]
fn propose_regions(bencher: Bencher) {
    let mut clip = Clip::open(Path::new(CLIP)).unwrap();
    let frames: Vec<GrayImage> =
        sample(&mut clip, PROPOSED_ON).unwrap().into_iter().map(|frame| frame.image).collect();
    bencher.bench_local(|| propose(black_box(&frames)));
}
