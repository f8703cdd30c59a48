//! Finds earlier texts that are still visible after encoding.
//!
//! An encoder with too few bits sends a change of the text late: for some frames the image shows the old
//! text, or a blend of both. Either text is then a correct reading, as in an interlaced frame whose two
//! fields differ.

use std::io::{ErrorKind, Read as _};
use std::path::Path;
use std::process::{Command, Stdio};

use super::schedule::Recording;
use super::source::FrameSource;
use crate::error::Error;
use crate::frame::Frame;
use crate::overlay::TextBox;

/// Time during which an earlier text can still be visible, in seconds. Set by judgement.
const REMEMBERED_S: f64 = 1.0;

/// Minimum share of an earlier text, 0 to 1, in the blend of both texts at which that text counts as visible. Set by
/// judgement.
const SHOWS_BOTH: f64 = 0.3;

/// Compares each frame of the encoded file `clip` with `texts`, the texts that were drawn. Where an earlier text is
/// still visible, it is appended to the text of its overlay field after `|`.
pub(super) fn with_residual_texts(
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
        let gone = EarlierTexts { sent: &sent[since..number] };
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
                if blend_share(&decoded, (&now, &then), place) > SHOWS_BOTH {
                    texts[number][field] = format!("{}|{old}", texts[number][field]);
                }
            }
        }
    }
    drop(pipe);
    child.wait().map_err(|cause| fail(cause.to_string()))?;
    Ok(())
}

/// The texts that were drawn on the frames of the last [`REMEMBERED_S`] seconds.
struct EarlierTexts<'a> {
    sent: &'a [Vec<String>],
}

impl EarlierTexts<'_> {
    /// The earlier texts of the overlay field with the index `field` that differ from `now`, its present text; the
    /// latest first.
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

/// Share of the image `then` in the decoded image, as a blend of `now` and `then`: 0 if only `now` is visible, 1 if
/// only `then` is. It is fitted by least squares to the pixels within `place`.
fn blend_share(decoded: &[u8], (now, then): (&Frame, &Frame), place: &TextBox) -> f64 {
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
