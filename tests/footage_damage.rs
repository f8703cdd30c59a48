//! Damaged and unsuitable files: what can be read is read, damage is counted or reported, and nothing panics.
#![allow(clippy::unwrap_used)]

mod common;

use std::fs;
use std::path::{Path, PathBuf};

use common::{ffmpeg, ffprobe, folder, text};
use pairspeed::footage::{
    Clip, ClipNotes, FootageError, FrameOutput, FrameSource, Recording, frames_near, sample,
};
use pairspeed::geometry::PixelRect;

const MJPEG: (&str, &str) = ("intact.avi", "-c:v mjpeg -q:v 3");
const H264: (&str, &str) = ("intact.mp4", "-c:v libx264 -pix_fmt yuv420p -g 15 -bf 2");
const H264_TS: (&str, &str) = ("intact.ts", "-c:v libx264 -pix_fmt yuv420p -g 15 -bf 2");
const H264_MKV: (&str, &str) = ("intact.mkv", "-c:v libx264 -pix_fmt yuv420p -g 15 -bf 0");
const MPEG4: (&str, &str) = ("mpeg4.mp4", "-c:v mpeg4 -q:v 4 -g 15");

/// A clip of 3 seconds at 30 frames a second.
fn make(folder: &Path, (name, options): (&str, &str)) -> PathBuf {
    let clip = folder.join(name);
    let options: Vec<&str> = options.split_whitespace().collect();
    let source = ["-f", "lavfi", "-i", "testsrc2=s=160x90:r=30:d=3"];
    ffmpeg(&[source.as_slice(), options.as_slice(), &[text(&clip)]].concat());
    clip
}

/// A copy of the clip whose bytes were changed.
fn altered(clip: &Path, change: impl FnOnce(&mut Vec<u8>)) -> PathBuf {
    let mut bytes = fs::read(clip).unwrap();
    change(&mut bytes);
    let copy = clip.with_file_name(format!("altered-{}", clip.file_name().unwrap().to_str().unwrap()));
    fs::write(&copy, bytes).unwrap();
    copy
}

fn cut_at_60_percent(bytes: &mut Vec<u8>) {
    bytes.truncate(bytes.len() * 6 / 10);
}

/// Numbers from a fixed seed (Marsaglia's xorshift, as in J. Stat. Softw. 8(14), 2003).
struct Random(u64);

impl Random {
    fn below(&mut self, limit: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 % limit as u64) as usize
    }
}

/// Overwrites `length` bytes in the middle.
fn punch(bytes: &mut [u8], length: usize) {
    let middle = bytes.len() / 2;
    let mut random = Random(7);
    bytes[middle..middle + length].iter_mut().for_each(|byte| *byte = random.below(256) as u8);
}

struct Read {
    time_s: f64,
    damaged: bool,
    luma: Vec<u8>,
}

fn read(clip: &Path) -> (Vec<Read>, ClipNotes) {
    let mut source = Clip::open(clip).unwrap();
    let mut frames = Vec::new();
    while let Some(frame) = source.next_frame().unwrap() {
        let luma = frame.luma.rows().flatten().copied().collect();
        frames.push(Read { time_s: frame.time_s, damaged: frame.damaged, luma });
    }
    (frames, source.notes().clone())
}

/// Number of frames of the damaged clip that are not flagged but differ from the intact clip's frame at that
/// time.
fn wrong_but_trusted(intact: &[Read], found: &[Read]) -> usize {
    let differs = |frame: &&Read| {
        let same = intact.iter().find(|other| (other.time_s - frame.time_s).abs() < 0.002);
        same.is_none_or(|same| same.luma != frame.luma)
    };
    found.iter().filter(|frame| !frame.damaged).filter(differs).count()
}

#[test]
fn a_cut_file_is_read_up_to_the_cut_and_its_last_frame_is_not_trusted() {
    let folder = folder();
    for kind in [MJPEG, H264_TS, H264_MKV] {
        let clip = make(folder.path(), kind);
        let (intact, _) = read(&clip);
        let (found, _) = read(&altered(&clip, cut_at_60_percent));
        assert!((30..70).contains(&found.len()), "{kind:?}: {}", found.len());
        assert_eq!(wrong_but_trusted(&intact, &found), 0, "{kind:?}");
        assert!(found.is_sorted_by(|one, two| one.time_s < two.time_s));
    }
}

#[test]
fn a_clip_shorter_than_stated_has_a_note() {
    let folder = folder();
    let (_, notes) = read(&altered(&make(folder.path(), H264_MKV), cut_at_60_percent));
    let short_s = notes.short_by_s.unwrap();
    assert!((1.0..2.0).contains(&short_s), "{short_s}");
    assert!(
        notes
            .sentences(Path::new("altered.avi"))
            .iter()
            .any(|said| said.contains("before the length that the file states"))
    );
}

#[test]
fn frames_around_a_hole_are_flagged_counted_and_keep_their_times() {
    let folder = folder();
    for kind in [MJPEG, H264, H264_TS, H264_MKV, MPEG4] {
        let clip = make(folder.path(), kind);
        let (intact, clean) = read(&clip);
        assert_eq!(clean.sentences(&clip), Vec::<String>::new());
        let (found, notes) = read(&altered(&clip, |bytes| punch(bytes, 3000)));
        assert_eq!(wrong_but_trusted(&intact, &found), 0, "{kind:?}: {notes:?}");
        assert!(notes.frames_damaged + notes.packets_lost > 0, "{kind:?}: {notes:?}");
        let flagged = found.iter().filter(|frame| frame.damaged).count() as u64;
        assert_eq!(flagged, notes.frames_damaged, "{kind:?}");
        let last_s = found.last().unwrap().time_s;
        assert!((last_s - 89.0 / 30.0).abs() < 0.002, "{kind:?}: {last_s}");
    }
}

/// The positions of the coded pictures in an AVI file, in bytes.
fn pictures(avi: &[u8]) -> Vec<std::ops::Range<usize>> {
    let movi = avi.windows(4).position(|name| name == b"movi").unwrap() + 4;
    let mut ranges = Vec::new();
    let mut position = movi;
    while let Some(b"00dc") = avi.get(position..position + 4) {
        let length = u32::from_le_bytes(avi[position + 4..position + 8].try_into().unwrap()) as usize;
        ranges.push(position + 8..position + 8 + length);
        position += 8 + length + length % 2;
    }
    ranges
}

#[test]
fn damage_in_most_pictures_from_the_first_on_is_reported() {
    let folder = folder();
    let clip = make(folder.path(), MJPEG);
    let (intact, _) = read(&clip);
    let whole = PixelRect::from_edges(0, 0, 160, 90);
    for first in [0, 1, 12] {
        let is_hit = |number: usize| number >= first && number % 3 != 1;
        let damaged = altered(&clip, |bytes| {
            for (_, range) in pictures(bytes).into_iter().enumerate().filter(|(number, _)| is_hit(*number)) {
                let middle = range.start.midpoint(range.end);
                bytes[middle..middle + 200].fill(0);
            }
        });
        let hit = (0..intact.len()).filter(|number| is_hit(*number)).count();
        let (found, notes) = read(&damaged);
        assert_eq!(wrong_but_trusted(&intact, &found), 0, "from {first}: {notes:?}");
        assert_eq!((notes.frames_damaged + notes.packets_lost) as usize, hit, "from {first}: {notes:?}");

        let mut together = Vec::new();
        let mut source = Clip::open(&damaged).unwrap();
        let start = || -> pairspeed::footage::FrameTask<'_, Vec<u8>> {
            Box::new(|luma| luma.rows().flatten().copied().collect())
        };
        let mut take = |frame: FrameOutput<Vec<u8>>| {
            together.push(Read { time_s: frame.time_s, damaged: frame.damaged, luma: frame.output });
            std::ops::ControlFlow::Continue(())
        };
        source.process_all(&[whole], &start, &mut take).unwrap();
        assert_eq!(wrong_but_trusted(&intact, &together), 0, "on all cores, from {first}");
        assert_eq!(together.iter().filter(|frame| !frame.damaged).count(), intact.len() - hit);
    }
}

#[test]
fn blocks_that_are_dropped_or_doubled_are_reported() {
    let folder = folder();
    let clip = make(folder.path(), MJPEG);
    // The header of a block has eight bytes; blocks begin at even positions.
    let block = |bytes: &[u8], number: usize| {
        let range = pictures(bytes)[number].clone();
        range.start - 8..range.end + range.len() % 2
    };
    for number in [5, 40, 80] {
        let dropped = altered(&clip, |bytes| drop(bytes.drain(block(bytes, number))));
        let (found, notes) = read(&dropped);
        assert_eq!(found.len(), 89);
        let reported = notes.frames_missing + notes.packets_lost > 0 || notes.short_by_s.is_some();
        assert!(reported, "dropped {number}: {notes:?}");
        // 40 frames are more than a second.
        for copies in [1, 40] {
            let doubled = altered(&clip, |bytes| {
                let range = block(bytes, number);
                let copy = bytes[range.clone()].repeat(copies);
                bytes.splice(range.start..range.start, copy);
            });
            let (found, notes) = read(&doubled);
            let longer_by_s = -notes.short_by_s.unwrap_or(0.0);
            assert!(found.len() > 90, "{}", found.len());
            assert!((longer_by_s - (found.len() - 90) as f64 / 30.0).abs() < 0.02, "{copies}: {notes:?}");
        }
    }
}

#[test]
fn a_damaged_first_picture_does_not_decide_the_size_of_the_frames() {
    let folder = folder();
    let clip = make(folder.path(), MJPEG);
    let damaged = altered(&clip, |bytes| {
        let first = pictures(bytes)[0].clone();
        let frame = first.start + bytes[first].windows(2).position(|marker| marker == [0xff, 0xc0]).unwrap();
        // Height and width, 16 bits each, follow the marker, the length and the number of bits.
        bytes[frame + 5..frame + 9].copy_from_slice(&[0, 48, 0, 64]);
    });
    let (intact, _) = read(&clip);
    let (found, _) = read(&damaged);
    // Times count from the first frame that can be decoded, the second one.
    assert_eq!(found.len(), intact.len() - 1);
    assert!(
        found.iter().zip(&intact[1..]).all(|(found, intact)| !found.damaged && found.luma == intact.luma)
    );
}

#[test]
fn damage_is_the_same_in_every_run() {
    let folder = folder();
    for kind in [H264, H264_TS, MPEG4] {
        let damaged = altered(&make(folder.path(), kind), |bytes| punch(bytes, 3000));
        let (first, notes) = read(&damaged);
        for _ in 0..4 {
            let (again, notes_again) = read(&damaged);
            assert_eq!(notes, notes_again);
            assert!(first.iter().map(|frame| frame.damaged).eq(again.iter().map(|frame| frame.damaged)));
        }
    }
}

#[test]
fn flipped_bits_cause_no_panic_and_keep_the_order() {
    let folder = folder();
    let mut random = Random(42);
    for kind in [MJPEG, H264, H264_TS, H264_MKV, MPEG4] {
        let clip = make(folder.path(), kind);
        let length = fs::metadata(&clip).unwrap().len() as usize;
        for round in 0..12 {
            // Every second round changes the header, which has sizes and rates.
            let range = if round % 2 == 0 { length } else { length.min(3000) };
            let flips: Vec<(usize, u8)> =
                (0..20).map(|_| (random.below(range), 1 << random.below(8))).collect();
            let damaged = altered(&clip, |bytes| flips.iter().for_each(|&(index, bit)| bytes[index] ^= bit));
            let Ok(mut source) = Clip::open(&damaged) else { continue };
            let mut last_s = f64::NEG_INFINITY;
            while let Some(frame) = source.next_frame().unwrap() {
                assert!(frame.time_s > last_s, "{kind:?} round {round}");
                last_s = frame.time_s;
            }
            frames_near(&mut source, &[1.0, 0.2, 2.5]).unwrap();
        }
    }
}

#[test]
fn frames_of_another_size_are_skipped_and_counted() {
    let folder = folder();
    let part = |name: &str, size: &str| {
        let clip = folder.path().join(name);
        let source = format!("testsrc2=s={size}:r=25:d=1");
        ffmpeg(&["-f", "lavfi", "-i", &source, "-c:v", "mpeg2video", "-q:v", "3", text(&clip)]);
        fs::read(&clip).unwrap()
    };
    let both = folder.path().join("both.m2v");
    fs::write(&both, [part("large.m2v", "320x180"), part("small.m2v", "160x96")].concat()).unwrap();
    let widths = ffprobe(&["-show_entries", "frame=width", "-of", "csv=p=0", text(&both)]);
    let widths = String::from_utf8(widths).unwrap();
    let of_width = |width: &str| widths.lines().filter(|line| line.starts_with(width)).count();
    let (found, notes) = read(&both);
    assert_eq!(found.len(), of_width("320"));
    assert_eq!(notes.frames_of_other_size, of_width("160") as u64);
    assert_eq!(notes.frames_of_other_size, 25);
    assert!(
        notes
            .sentences(Path::new("altered.avi"))
            .iter()
            .any(|note| note.contains("the frame size differs from that of the first frame")),
        "{notes:?}"
    );
}

fn refusal(path: &Path) -> String {
    let error = Clip::open(path).map(|_| ()).unwrap_err();
    let said = error.to_string();
    assert!(said.contains(text(path)), "{said}");
    said.replace(text(path), "FILE")
}

#[test]
fn every_unsuitable_file_gets_its_own_message() {
    let folder = folder();
    let write = |name: &str, bytes: &[u8]| {
        let path = folder.path().join(name);
        fs::write(&path, bytes).unwrap();
        refusal(&path)
    };
    let not_video = "FILE: this is not a video in a format known here; give the recorder's own file (AVI, MP4, \
                     MOV, MKV or TS)";
    assert_eq!(write("notes.txt", b"throttle 60, wind from the left"), not_video);
    assert_eq!(write("notes.mp4", b"throttle 60, wind from the left"), not_video);
    let mut random = Random(3);
    let noise: Vec<u8> = (0..50_000).map(|_| random.below(256) as u8).collect();
    assert_eq!(write("noise.avi", &noise), not_video);
    assert_eq!(write("empty.mp4", b""), "FILE: the file is empty; copy it from the recorder's card again");
    assert_eq!(
        write("header.avi", b"RIFF\x00\x10\x00\x00AVI LIST"),
        "FILE: the file is damaged beyond use (its header cannot be parsed); copy it from the recorder's \
         card again"
    );
    assert_eq!(refusal(folder.path()), "FILE: this is a folder, not a clip; give the files in it");
    assert_eq!(
        refusal(&folder.path().join("absent.avi")),
        "FILE: there is no such file; check the name and the folder"
    );
}

#[test]
fn an_unfinished_mp4_has_its_own_message() {
    let folder = folder();
    let said = refusal(&altered(&make(folder.path(), H264), cut_at_60_percent));
    assert!(said.starts_with("FILE: the recording was never finished: its index (the moov atom) is missing"));
}

#[test]
fn a_file_of_sound_only_has_no_video() {
    let folder = folder();
    let sound = folder.path().join("sound.mp4");
    ffmpeg(&["-f", "lavfi", "-i", "sine=d=1", text(&sound)]);
    assert_eq!(
        refusal(&sound),
        "FILE: there is no video in this mov/mp4 file, only sound or data; give the recording itself"
    );
}

#[test]
fn a_video_of_which_nothing_decodes_is_damaged_beyond_use() {
    let folder = folder();
    let clip = make(folder.path(), H264);
    let blanked = altered(&clip, |bytes| {
        let start = bytes.windows(4).position(|kind| kind == b"mdat").unwrap() + 4;
        let end = bytes.windows(4).position(|kind| kind == b"moov").unwrap() - 4;
        bytes[start..end].fill(0xff);
    });
    let said = refusal(&blanked);
    assert!(said.starts_with("FILE: the file is damaged beyond use"), "{said}");
}

#[cfg(unix)]
#[test]
fn a_clip_whose_name_is_not_text_is_read() {
    use std::os::unix::ffi::OsStrExt;
    let folder = folder();
    let clip = make(folder.path(), MJPEG);
    let odd = folder.path().join(std::ffi::OsStr::from_bytes(b"odd\xff.avi"));
    fs::rename(clip, &odd).unwrap();
    assert_eq!(sample(&mut Clip::open(&odd).unwrap(), 3).unwrap().len(), 3);
}

#[test]
fn names_that_look_like_addresses_are_only_names() {
    let folder = folder();
    let clip = make(folder.path(), MJPEG);
    let odd = folder.path().join("concat:a|b%03d.avi");
    fs::rename(clip, &odd).unwrap();
    assert_eq!(sample(&mut Clip::open(&odd).unwrap(), 3).unwrap().len(), 3);
}

#[test]
fn the_note_on_a_cut_avi_names_the_file_and_the_missing_length() {
    let folder = folder();
    let clip = make(folder.path(), MJPEG);
    let cut = altered(&clip, cut_at_60_percent);
    let (found, notes) = read(&cut);
    let missing_s = 3.0 - found.len() as f64 / 30.0;
    let said = format!(
        "altered-intact.avi ends {missing_s:.1} s before the length that the file states: if the copy may be incomplete, copy the file from the recorder's card again"
    );
    assert!(missing_s > 1.0 && notes.sentences(&cut).contains(&said), "{:?}", notes.sentences(&cut));

    let mut recording = Recording::open(&[&cut, &clip]).unwrap();
    while recording.next_frame().unwrap().is_some() {}
    let sentences = recording.notes().sentences(&cut);
    assert!(sentences.contains(&said), "{sentences:?}");
    assert!(!sentences.iter().any(|said| said.starts_with("intact.avi ends")), "{sentences:?}");
}

#[test]
fn a_sound_recording_is_not_reported_as_damaged() {
    let folder = folder();
    for (name, container) in [("sound.wav", "WAV"), ("sound.flac", "FLAC"), ("sound.mp3", "MP3")] {
        let sound = folder.path().join(name);
        ffmpeg(&["-f", "lavfi", "-i", "sine=d=1", text(&sound)]);
        let said = format!("FILE: there is no video in this {container} file, only sound or data");
        assert!(refusal(&sound).starts_with(&said), "{}", refusal(&sound));
    }
}

#[test]
fn a_video_without_a_frame_has_its_own_message() {
    let folder = folder();
    for (name, options) in [MJPEG, H264] {
        let clip = folder.path().join(name);
        let options: Vec<&str> = options.split_whitespace().collect();
        let source = ["-f", "lavfi", "-i", "testsrc2=s=160x90:r=30:d=3"];
        ffmpeg(&[source.as_slice(), options.as_slice(), &["-frames:v", "0", text(&clip)]].concat());
        assert!(refusal(&clip).starts_with("FILE: the video has no frames"), "{}", refusal(&clip));
    }
}

/// The number of frames.
fn read_to_end(clip: &Path) -> Result<usize, FootageError> {
    let mut frames = 0;
    let mut clip = Clip::open(clip)?;
    while clip.next_frame()?.is_some() {
        frames += 1;
    }
    Ok(frames)
}

#[test]
fn a_video_whose_decoder_needs_too_much_memory_is_refused_and_one_with_many_reference_frames_is_read() {
    let folder = folder();
    // 16 frames and what the decoder needs beside them take 300 MB and 75 MB.
    for (size, permitted) in [("3840x2160", false), ("1920x1080", true)] {
        let clip = folder.path().join(format!("{size}.mp4"));
        let source = format!("color=s={size}:r=10:d=2");
        let options = "-c:v libx264 -preset ultrafast -pix_fmt yuv420p -x264-params ref=16".split(' ');
        let options: Vec<&str> = options.collect();
        ffmpeg(&[["-f", "lavfi", "-i", &source].as_slice(), &options, &[text(&clip)]].concat());
        if permitted {
            assert_eq!(read_to_end(&clip).unwrap(), 20);
        } else {
            let error = read_to_end(&clip).unwrap_err().to_string();
            assert!(error.contains("decoding would take more than 220 MB"), "{error}");
        }
    }
}
