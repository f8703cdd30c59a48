//! Tests that readings do not depend on the way in which frames are decoded.
#![allow(clippy::unwrap_used)]

use std::path::Path;

use pairspeed::footage::{Clip, ClipInfo, ClipNotes, FootageError, FrameSource, LumaFrame};
use pairspeed::glyph_sets;
use pairspeed::readings::{Silent, collect, prepare};
use pairspeed::series::Readings;
use pairspeed::setup::LoadedSetup;

/// A clip whose frames are decoded whole, one after the other.
struct FrameByFrame(Clip);

impl FrameSource for FrameByFrame {
    fn info(&self) -> &ClipInfo {
        self.0.info()
    }

    fn next_frame(&mut self) -> Result<Option<LumaFrame<'_>>, FootageError> {
        self.0.next_frame()
    }

    fn seek(&mut self, time_s: f64) -> Result<(), FootageError> {
        self.0.seek(time_s)
    }

    fn notes(&self) -> &ClipNotes {
        self.0.notes()
    }
}

/// Asserts that two sources, each calibrated and read separately, give the same readings.
fn assert_read_alike(clip: &str, setup: &str) {
    let setup = LoadedSetup::load(Path::new(setup)).unwrap();
    let sets = glyph_sets(&setup).unwrap();
    fn read<S: FrameSource>(
        mut source: S,
        setup: &LoadedSetup,
        sets: &[pairspeed::glyphs::GlyphSet],
    ) -> Readings {
        let prepared = prepare(&mut source, &setup.setup, sets).unwrap();
        collect(&mut source, &prepared, 0.95, &mut Silent).unwrap()
    }
    let open = || Clip::open(Path::new(clip)).unwrap();
    let (whole, parts) = (read(FrameByFrame(open()), &setup, &sets), read(open(), &setup, &sets));
    assert_eq!(whole.time_s, parts.time_s);
    for (one, other) in whole.channels.iter().zip(&parts.channels) {
        let pairs = || one.values.iter().zip(&other.values);
        let contradicting = pairs().filter(|(one, other)| !one.is_nan() && !other.is_nan() && one != other);
        assert_eq!(contradicting.count(), 0, "{clip} {}", one.channel.name());
        let once = pairs().filter(|(one, other)| one.is_nan() != other.is_nan()).count();
        assert!(once * 100 <= one.values.len(), "{clip} {}: {once} read one way only", one.channel.name());
    }
}

#[test]
fn motion_jpeg_is_read_alike_in_parts_and_whole() {
    assert_read_alike("demo-clips/salt-flat.avi", "demo-clips/salt-flat.setup.toml");
}

#[test]
fn digital_video_is_read_alike_on_all_cores_and_on_one() {
    assert_read_alike("demo-clips/salt-flat-digital.mp4", "demo-clips/salt-flat-digital.setup.toml");
}
