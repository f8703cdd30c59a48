//! Recognises recordings, so that they are never replaced.

use std::fs;
use std::io::Read as _;
use std::path::Path;

/// Endings of the names of recordings, in lower case: the containers and raw streams that clips are opened from.
const ENDINGS: [&str; 31] = [
    "264", "265", "3gp", "asf", "avi", "dv", "flv", "h264", "h265", "hevc", "ivf", "m1v", "m2ts", "m2v",
    "m4v", "mjpeg", "mjpg", "mkv", "mov", "mp4", "mpeg", "mpg", "mts", "mxf", "nut", "obu", "ogv", "ts",
    "webm", "wmv", "y4m",
];
/// Number of bytes at the start of a file that decide whether it is a recording. They hold two packets of an MPEG
/// transport stream (188 bytes each), even if each comes after a time code of four bytes, as some recorders write.
const HEAD_BYTES: u64 = 2 * 192;

/// Whether a file is a recording: its name has the ending of one, or its content begins like one.
pub(crate) fn is_recording(path: &Path) -> bool {
    is_recording_name(path) || head(path).is_some_and(|head| begins(&head))
}

/// Whether the name of a file has the ending of a recording.
#[must_use]
pub fn is_recording_name(path: &Path) -> bool {
    let ending = path.extension().and_then(|ending| ending.to_str()).map(str::to_ascii_lowercase);
    ending.is_some_and(|ending| ENDINGS.contains(&ending.as_str()))
}

/// The first bytes of a regular file; `None` if it is no regular file, or cannot be read.
fn head(path: &Path) -> Option<Vec<u8>> {
    let mut head = Vec::new();
    let is_file = fs::metadata(path).is_ok_and(|found| found.is_file());
    fs::File::open(path).ok().filter(|_| is_file)?.take(HEAD_BYTES).read_to_end(&mut head).ok()?;
    Some(head)
}

/// Whether these are the first bytes of a recording.
fn begins(head: &[u8]) -> bool {
    let starts = |sign: &[u8]| head.starts_with(sign);
    let has = |at: usize, sign: &[u8]| head.get(at..).is_some_and(|rest| rest.starts_with(sign));
    let riff = starts(b"RIFF") && has(8, b"AVI");
    let quick_time = [b"ftyp", b"mdat", b"moov", b"wide", b"free", b"skip"].iter().any(|kind| has(4, *kind));
    let transport_stream = (has(0, b"G") && has(188, b"G")) || (has(4, b"G") && has(196, b"G"));
    // Start codes of MPEG pictures and programs, H.264, H.265 and MPEG-4: 00 00 01, with another zero byte in some.
    let start_code = starts(&[0, 0, 1]) || starts(&[0, 0, 0, 1]);
    let jpeg = starts(&[0xff, 0xd8, 0xff]);
    let ebml = starts(&[0x1a, 0x45, 0xdf, 0xa3]);
    let asf = starts(&[0x30, 0x26, 0xb2, 0x75, 0x8e, 0x66, 0xcf, 0x11]);
    let mxf = starts(&[0x06, 0x0e, 0x2b, 0x34]);
    let dv = starts(&[0x1f, 0x07, 0x00]);
    let av1 = starts(&[0x12, 0x00]);
    let named = [&b"FLV"[..], b"OggS", b"nut/multimedia container", b"YUV4MPEG2", b"DKIF"];
    riff || quick_time
        || transport_stream
        || start_code
        || jpeg
        || ebml
        || asf
        || mxf
        || dv
        || av1
        || named.into_iter().any(starts)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn a_recording_is_known_by_its_ending_or_its_content() {
        let folder = tempfile::tempdir().unwrap();
        let written = |name: &str, bytes: &[u8]| {
            let path = folder.path().join(name);
            fs::write(&path, bytes).unwrap();
            is_recording(&path)
        };
        assert!(written("a.AVI", b"cut short"));
        assert!(written("a.png", b"RIFF\x10\0\0\0AVI LIST"));
        assert!(written("a.toml", b"\0\0\0\x20ftypisom"));
        assert!(written("a", &[0x1a, 0x45, 0xdf, 0xa3, 1]));
        assert!(!written("b.toml", b"[camera]\nname = \"free\"\n"));
        assert!(!written("b.png", b"\x89PNG\r\n\x1a\n"));
        assert!(!written("b.csv", b""));
        assert!(!is_recording(folder.path()));
    }

    #[test]
    fn the_recordings_of_the_project_are_known_by_their_content_alone() {
        let clips = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-clips");
        for name in ["salt-flat.avi", "salt-flat-digital.mp4"] {
            assert!(begins(&head(&clips.join(name)).unwrap()), "{name}");
        }
    }
}
