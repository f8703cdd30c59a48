//! The texts that the line reader finds in one box, frame by frame.

use image::{GrayImage, imageops};
use ndarray::Array2;
use rayon::prelude::*;

use super::ctc::likely_texts;
use super::line_image::line_image;
use super::line_reader::{CLASSES, LineReader, OTHER};
use crate::footage::FoundFrame;
use crate::geometry::PixelRect;

/// Columns of the line image for each step of the line reader.
const COLUMNS_PER_STEP: f32 = 2.0;
/// Margins left and right, and above and below the box that are read with it, relative to its height: the line reader is trained
/// with some room around the text, and a proposed box may have none.
const MARGINS: (f32, f32) = (0.08, 0.04);

/// The text in a box of one frame.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct FrameText {
    /// Time of the frame in seconds.
    pub(super) time_s: f64,
    /// The number: digits, decimal point, minus sign and colon. Empty if the box shows none.
    pub(super) number: String,
    /// Probability of the whole text, other characters included, 0 to 1.
    pub(super) probability: f32,
    /// Where the characters are on the most probable path.
    pub(super) columns: NumberColumns,
}

/// Columns of the number and of its neighbours, in pixels from the left edge of the box; `None` without such characters.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct NumberColumns {
    /// Centres of the first and last character of the number.
    pub(super) number: Option<(f32, f32)>,
    /// Centre of the last other character before the number.
    pub(super) other_before: Option<f32>,
    /// Centre of the first other character after the number.
    pub(super) other_after: Option<f32>,
}

/// Frames spread over a clip.
#[derive(Debug, Clone, Default)]
pub struct SampledFrames {
    /// Their times in seconds, ascending.
    pub times_s: Vec<f64>,
    /// Their luma, in the same order.
    pub images: Vec<GrayImage>,
}

impl From<Vec<FoundFrame>> for SampledFrames {
    /// The frames without damaged ones.
    fn from(frames: Vec<FoundFrame>) -> Self {
        let sound = frames.into_iter().filter(|frame| !frame.damaged);
        let (times_s, images) = sound.map(|frame| (frame.time_s, frame.image)).unzip();
        Self { times_s, images }
    }
}

/// Reads a box in every frame. Frames with other characters inside the number are left out.
pub(super) fn texts_in(frames: &SampledFrames, rect: PixelRect) -> Vec<FrameText> {
    let timed = frames.images.par_iter().zip(&frames.times_s);
    let texts = timed.map(|(image, time_s)| {
        let around = with_margins(rect, image.dimensions());
        let crop = imageops::crop_imm(image, around.left, around.top, around.width, around.height).to_image();
        text_in(&crop, *time_s, around.left as f32 - rect.left as f32)
    });
    texts.flatten().collect()
}

fn with_margins(rect: PixelRect, frame: (u32, u32)) -> PixelRect {
    let margin = |share: f32| (share * rect.height as f32).round() as u32;
    let (across, down) = (margin(MARGINS.0), margin(MARGINS.1));
    PixelRect::from_edges(
        rect.left.saturating_sub(across),
        rect.top.saturating_sub(down),
        rect.right() + across,
        rect.bottom() + down,
    )
    .clipped_to(frame)
}

/// The text of a crop whose left edge lies `offset_px` right of the box.
fn text_in(crop: &GrayImage, time_s: f64, offset_px: f32) -> Option<FrameText> {
    let image = line_image(crop)?;
    let steps = LineReader::embedded().log_probabilities(&image);
    let best = likely_texts(&steps).into_iter().next()?;
    let text: String = best.classes.iter().map(|class| CLASSES[usize::from(*class)]).collect();
    let number = text.trim_matches(OTHER);
    (!number.contains(OTHER)).then_some(())?;
    let step_px = COLUMNS_PER_STEP * crop.width() as f32 / image.ncols() as f32;
    let columns = if number.is_empty() {
        NumberColumns::default()
    } else {
        columns(&best_path(&steps), step_px, offset_px)
    };
    Some(FrameText { time_s, number: number.to_owned(), probability: best.probability, columns })
}

/// The characters of the most probable path with their centres in steps.
fn best_path(log_probabilities: &Array2<f32>) -> Vec<(char, f32)> {
    let best = |step: ndarray::ArrayView1<'_, f32>| {
        step.iter().enumerate().max_by(|one, other| one.1.total_cmp(other.1)).map_or(0, |(class, _)| class)
    };
    let path: Vec<usize> = log_probabilities.rows().into_iter().map(best).collect();
    let mut found = Vec::new();
    let mut first = 0;
    for (class, run) in path.chunk_by(|one, other| one == other).map(|run| (run[0], run.len())) {
        if class != 0 {
            found.push((CLASSES[class], first as f32 + run as f32 / 2.0));
        }
        first += run;
    }
    found
}

/// The columns of a path's characters, with `step_px` pixels for each step, which starts at `offset_px`.
fn columns(path: &[(char, f32)], step_px: f32, offset_px: f32) -> NumberColumns {
    let of_number = |(character, _): &(char, f32)| *character != OTHER;
    let Some(first) = path.iter().position(of_number) else { return NumberColumns::default() };
    let last = path.iter().rposition(of_number).unwrap_or(first);
    let at = |index: usize| path.get(index).map(|(_, step)| offset_px + step * step_px);
    NumberColumns {
        number: at(first).zip(at(last)),
        other_before: first.checked_sub(1).and_then(at),
        other_after: at(last + 1),
    }
}
