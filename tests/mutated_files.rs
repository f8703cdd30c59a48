//! Tests with randomly changed copies of the files that pilots exchange: setups, glyph sets, legs, edited legs, labels,
//! aircraft and summaries. Whatever they contain, loading gives a value or a short message of one line.
#![allow(clippy::unwrap_used)]

use std::path::Path;
use std::sync::LazyLock;

use pairspeed::files::Existing;
use pairspeed::glyphs::{GlyphSet, builtin_sets};
use pairspeed::learn::LabelFile;
use pairspeed::leg_edits::LegEdits;
use pairspeed::legs;
use pairspeed::setup::{Aircraft, LoadedSetup};
use pairspeed::summary::load_flight;
use proptest::prelude::*;

/// Maximum length of a message without the path of the file, in characters. Set by judgement: a message has one line or two.
const MAX_MESSAGE: usize = 1000;

const SETUP: &str = "[camera]\nname = \"nose\"\nframe = [640, 480]\n\n[[region]]\nchannel = \"speed\"\nbox = [62, 210, 66, 37]\n\
unit = \"km/h\"\ndigits = 3\ndecimals = 0\nrange = [0.0, 306.0]\nmax_rate = 90.0\n\n[aircraft]\nname = \"wing\"\ncells = 6\n";
const AIRCRAFT: &str = "[aircraft]\nname = \"wing\"\nmotor_kv = 1150\ncells = 6\nlanding_v_per_cell = 3.5\n\
propeller_diameter_in = 6\npropeller_pitch_in = 6\nmass_kg = 1.9\nmount = \"pusher\"\nnotes = \"second\"\n";
const LEGS: &str = "leg,start_s,end_s,kind,throttle_percent,median_kmh\n1,12.663000,17.263000,upwind,50,63.47\n\
2,22.463000,27.263000,downwind,50,91.40\n";
const EDITS: &str = "recording_s = [0.0, 50.0]\n\n[[clip]]\nname = \"a.avi\"\nbytes = 4\n\n[[leg]]\nstart_s = 12.6\nend_s = 17.2\n\
kind = \"upwind\"\nthrottle_percent = 50.0\n";
const LABELS: &str =
    "[[label]]\nclip = \"a.avi\"\nchannel = \"speed\"\ntime_s = 12.4\ntext = \"63\"\ninsisted = true\n";
const SUMMARY: &str = "{\"format\": 2, \"program\": \"pairspeed\", \"speed_unit\": \"km/h\", \"steps\": [], \"pairs\": [], \"legs\": []}";

/// Pieces of text that often break parsers.
const PIECES: [&str; 16] = [
    "1e999",
    "-1e308",
    "nan",
    "inf",
    "99999999999999999999",
    "\0",
    "\u{1b}[2J",
    "\u{202e}",
    "[[",
    "]]]]]]]]",
    "\"\"\"",
    "\r\n",
    "../../../../etc/passwd",
    "0x7fffffffffffffff",
    "{}{}{}{}",
    ",,,,,,,,",
];

/// A change at a relative position of a text, from 0 to 1.
#[derive(Debug, Clone)]
enum Change {
    Flip(f64, u8),
    Remove(f64, usize),
    Repeat(f64, usize),
    Insert(f64, &'static str),
}

fn changes() -> impl Strategy<Value = Vec<Change>> {
    let at = 0.0..1.0f64;
    let change = prop_oneof![
        (at.clone(), 0..8u8).prop_map(|(at, bit)| Change::Flip(at, bit)),
        (at.clone(), 1..40usize).prop_map(|(at, length)| Change::Remove(at, length)),
        (at.clone(), 1..60usize).prop_map(|(at, length)| Change::Repeat(at, length)),
        (at, prop::sample::select(&PIECES[..])).prop_map(|(at, piece)| Change::Insert(at, piece)),
    ];
    prop::collection::vec(change, 1..6)
}

fn changed(text: &[u8], changes: &[Change]) -> Vec<u8> {
    let mut bytes = text.to_vec();
    for change in changes {
        let position_of = |at: f64| (at * bytes.len() as f64) as usize;
        match *change {
            Change::Flip(at, bit) => {
                let position = position_of(at);
                bytes.get_mut(position).into_iter().for_each(|byte| *byte ^= 1 << bit);
            }
            Change::Remove(at, length) => {
                let start = position_of(at);
                bytes.drain(start..(start + length).min(bytes.len()));
            }
            Change::Repeat(at, length) => {
                let start = position_of(at);
                let piece = bytes[start..(start + length).min(bytes.len())].to_vec();
                bytes.splice(start..start, piece);
            }
            Change::Insert(at, piece) => {
                let start = position_of(at);
                bytes.splice(start..start, piece.bytes());
            }
        }
    }
    bytes
}

/// Loads a file; returns the error message, or `None` if the file is valid.
type Loader = fn(&Path) -> Option<String>;

/// A kind of file: its name, a valid copy, and the function that loads it from a folder.
struct Kind {
    name: &'static str,
    sound: Vec<u8>,
    load: Loader,
}

fn error_of<T>(result: Result<T, impl std::error::Error>) -> Option<String> {
    result.err().map(|error| error.to_string())
}

static KINDS: LazyLock<Vec<Kind>> = LazyLock::new(|| {
    let folder = tempfile::tempdir().unwrap();
    builtin_sets().unwrap()[0].save(folder.path(), Existing::ReplaceOwn).unwrap();
    let file = |name: &str| std::fs::read(folder.path().join(name)).unwrap();
    let kind = |name, sound: &str, load| Kind { name, sound: sound.as_bytes().to_vec(), load };
    vec![
        kind("a.setup.toml", SETUP, |folder| error_of(LoadedSetup::load(&folder.join("a.setup.toml")))),
        kind("aircraft.toml", AIRCRAFT, |folder| error_of(Aircraft::load(&folder.join("aircraft.toml")))),
        kind("legs.csv", LEGS, |folder| error_of(legs::read_file(folder.join("legs.csv")))),
        kind("legs.toml", EDITS, |folder| {
            error_of(LegEdits::load(&folder.join("legs.toml"), &[folder.join("a.avi")]))
        }),
        kind("labels.toml", LABELS, |folder| error_of(LabelFile::load(folder))),
        kind("summary.json", SUMMARY, |folder| error_of(load_flight(&folder.join("summary.json")))),
        Kind {
            name: "glyphs.toml",
            sound: file("glyphs.toml"),
            load: |folder| error_of(GlyphSet::load(folder)),
        },
        Kind { name: "block.png", sound: file("block.png"), load: |folder| error_of(GlyphSet::load(folder)) },
    ]
});

/// A folder with a valid file of every kind.
fn sound_folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for kind in KINDS.iter() {
        std::fs::write(folder.path().join(kind.name), &kind.sound).unwrap();
    }
    std::fs::write(folder.path().join("a.avi"), "clip").unwrap();
    folder
}

#[test]
fn the_valid_copies_are_loaded() {
    let folder = sound_folder();
    for kind in KINDS.iter().filter(|kind| kind.name != "summary.json") {
        assert_eq!((kind.load)(folder.path()), None, "{}", kind.name);
    }
}

/// Whether a message has the text of a debug format, such as `Error { ... }` or `Some(...)`.
fn has_debug_text(message: &str) -> bool {
    [" { ", "Some(", "None)", "Err(", "Ok(", "Error("].iter().any(|piece| message.contains(piece))
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(256) })]

    #[test]
    fn changed_files_are_loaded_or_refused_in_one_short_line(
        number in 0..8usize,
        changes in changes(),
    ) {
        let kind = &KINDS[number];
        let folder = sound_folder();
        let bytes = changed(&kind.sound, &changes);
        std::fs::write(folder.path().join(kind.name), &bytes).unwrap();
        if let Some(message) = (kind.load)(folder.path()) {
            let message = message.replace(folder.path().to_str().unwrap(), "DIR");
            prop_assert!(message.chars().count() <= MAX_MESSAGE, "{}: {}", kind.name, message);
            prop_assert!(!message.trim_end().contains('\n'), "{}: {}", kind.name, message);
            let copied = String::from_utf8_lossy(&bytes);
            prop_assert!(!has_debug_text(&message) || has_debug_text(&copied), "{}: {}", kind.name, message);
            let digits = message.split(|letter: char| !letter.is_ascii_digit()).map(str::len).max();
            prop_assert!(digits.unwrap_or(0) <= 40, "{}: {}", kind.name, message);
        }
    }
}
