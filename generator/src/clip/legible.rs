//! What is left of the text after encoding.
//!
//! An encoder short of bits keeps the old text on the picture, or a mixture, for frames after the text has
//! changed: it sends the difference late. Such a frame shows neither text alone, and either is right, as where two fields of
//! an interlaced frame differ.

use std::io::{ErrorKind, Read as _};
use std::path::Path;
use std::process::{Command, Stdio};

use super::schedule::Recording;
use super::source::FrameSource;
use crate::error::Error;
use crate::frame::Frame;
use crate::overlay::TextBox;

/// A text that has gone is taken for one that may still be seen for so many seconds.
const REMEMBERED_S: f64 = 1.0;

/// Share of the way from the text to one that has gone from which on the picture shows that one too.
const SHOWS_BOTH: f64 = 0.3;

/// Adds to the texts of every frame those that the encoded picture still shows.
pub(super) fn with_texts_still_seen(
    source: &FrameSource,
    recording: &Recording,
    clip: &Path,
    texts: &mut [Vec<String>],
) -> Result<(), Error> {
    let video = &source.scenario().video;
    let fail = |message: String| Error::Encoder { path: clip.to_path_buf(), message };
    let mut child = Command::new("ffmpeg")
        .args(["-hide_banner", "-loglevel", "error", "-nostdin", "-i"])
        .arg(clip)
        .args(["-fps_mode", "passthrough", "-pix_fmt", "gray", "-f", "rawvideo", "pipe:1"])
        .stdout(Stdio::piped())
        .spawn()
        .map_err(|cause| match cause.kind() {
            ErrorKind::NotFound => Error::NoEncoder,
            _ => fail(cause.to_string()),
        })?;
    let mut pipe = child.stdout.take().ok_or(Error::NoEncoder)?;
    let mut decoded = vec![0; video.width * video.height];
    let sent: Vec<Vec<String>> = texts.to_vec();
    for (number, shot) in recording.shots.iter().enumerate() {
        pipe.read_exact(&mut decoded).map_err(|cause| fail(cause.to_string()))?;
        let since = recording.shots[..number].partition_point(|one| one.time_s < shot.time_s - REMEMBERED_S);
        let gone = Gone { sent: &sent[since..number] };
        if gone.is_empty_for(&sent[number]) {
            continue;
        }
        let scenery = source.scenery(shot);
        let now = source.with_texts(&scenery, shot, &sent[number]);
        for field in 0..sent[number].len() {
            for old in gone.texts(field, &sent[number][field]) {
                let mut other = sent[number].clone();
                other[field].clone_from(&old);
                let then = source.with_texts(&scenery, shot, &other);
                let place = &source.layout.fields[field].text_box;
                if share_of(&decoded, (&now, &then), place) > SHOWS_BOTH {
                    texts[number][field] = format!("{}|{old}", texts[number][field]);
                }
            }
        }
    }
    drop(pipe);
    child.wait().map_err(|cause| fail(cause.to_string()))?;
    Ok(())
}

/// The texts of the frames before.
struct Gone<'a> {
    sent: &'a [Vec<String>],
}

impl Gone<'_> {
    /// The different texts of a field that are not the one shown now, the latest first.
    fn texts(&self, field: usize, now: &str) -> Vec<String> {
        let mut different: Vec<String> = Vec::new();
        for texts in self.sent.iter().rev() {
            let text = &texts[field];
            if text != now && !text.is_empty() && !different.contains(text) {
                different.push(text.clone());
            }
        }
        different
    }

    fn is_empty_for(&self, now: &[String]) -> bool {
        (0..now.len()).all(|field| self.texts(field, &now[field]).is_empty())
    }
}

/// How far a decoded picture lies on the way from one picture to another, in the least-squares sense, within a
/// box: 0 for the first, 1 for the second.
fn share_of(decoded: &[u8], (now, then): (&Frame, &Frame), place: &TextBox) -> f64 {
    let rows = place.y.max(0.0) as usize..((place.y + place.height).max(0.0) as usize).min(now.height);
    let columns = place.x.max(0.0) as usize..((place.x + place.width).max(0.0) as usize).min(now.width);
    let (mut along, mut length2) = (0.0, 0.0);
    for row in rows {
        for at in columns.clone().map(|column| row * now.width + column) {
            let way = f64::from(then.luma[at]) - f64::from(now.luma[at]);
            along += way * (f64::from(decoded[at]) - f64::from(now.luma[at]));
            length2 += way * way;
        }
    }
    if length2 > 0.0 { along / length2 } else { 0.0 }
}
