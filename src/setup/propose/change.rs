//! Where along a line of text the text changes.
//!
//! Two frames that show the same glyph agree well there, two that show different ones agree
//! little. Over many pairs of frames a digit gives both, a label only good agreement, scenery
//! only poor agreement.

use image::GrayImage;

use super::lines::Span;
use super::plane::quantile;

/// Pairs of frames compared at most.
const PAIRS: usize = 240;
/// Width of the window that slides along the line, in heights of the line: about one digit.
const WINDOW_HEIGHTS: f32 = 0.5;
/// Share of the pairs that show the same glyph at least: chance alone gives one in ten.
const SAME_SHARE: f32 = 0.06;
/// Share of the pairs that may disagree in a label, by noise or glints.
const OTHER_SHARE: f32 = 0.3;

/// The agreement (normalised correlation, -1 to 1) of pairs of frames around one column.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Agreement {
    /// That of frames that agree well.
    pub(super) same: f32,
    /// That of frames that agree little.
    pub(super) other: f32,
    /// Share of the pairs of successive frames that disagree.
    pub(super) changed: f32,
}

/// The agreement around each column of a line.
pub(super) fn agreement_along(frames: &[GrayImage], line: Span) -> Vec<Agreement> {
    let half = ((line.height() as f32 * WINDOW_HEIGHTS / 2.0).round() as u32).max(2);
    (line.left..line.right)
        .map(|column| {
            let window = Span {
                left: column.saturating_sub(half),
                right: (column + half + 1).min(frames.first().map_or(0, GrayImage::width)),
                ..line
            };
            agreement_in(frames, window)
        })
        .collect()
}

/// The agreement of pairs of frames within a window.
pub(super) fn agreement_in(frames: &[GrayImage], window: Span) -> Agreement {
    let patches: Vec<Vec<f32>> = frames.iter().map(|frame| normalised(frame, window)).collect();
    let mut agreements: Vec<f32> = pairs(patches.len())
        .filter_map(|(one, other)| Some(dot(patches.get(one)?, patches.get(other)?)))
        .collect();
    let same = quantile(&mut agreements, 1.0 - SAME_SHARE);
    let other = quantile(&mut agreements, OTHER_SHARE);
    let steps = patches.windows(2).filter_map(|pair| match pair {
        [one, next] => Some(dot(one, next)),
        _ => None,
    });
    let (mut count, mut differing) = (0.0f32, 0.0);
    for agreement in steps {
        count += 1.0;
        differing += f32::from(u8::from(agreement < 0.7 * same));
    }
    Agreement { same, other, changed: differing / count.max(1.0) }
}

/// Pairs of different frames, spread over all distances in time.
fn pairs(count: usize) -> impl Iterator<Item = (usize, usize)> {
    let all = count * count.saturating_sub(1) / 2;
    let every = all.div_ceil(PAIRS).max(1);
    (1..count)
        .flat_map(move |apart| (0..count - apart).map(move |first| (first, first + apart)))
        .step_by(every)
}

/// The pixels of a window less their mean, scaled to a sum of squares of 1; all 0 where the
/// window is flat.
pub(super) fn normalised(frame: &GrayImage, window: Span) -> Vec<f32> {
    let width = frame.width() as usize;
    let rows = (window.top..window.bottom.min(frame.height())).filter_map(|row| {
        let start = row as usize * width;
        frame.as_raw().get(start + window.left as usize..start + window.right as usize)
    });
    let mut patch: Vec<f32> = rows.flatten().map(|pixel| f32::from(*pixel)).collect();
    let mean = patch.iter().sum::<f32>() / patch.len().max(1) as f32;
    patch.iter_mut().for_each(|value| *value -= mean);
    let norm = dot(&patch, &patch).sqrt();
    if norm > 1.0 {
        patch.iter_mut().for_each(|value| *value /= norm);
    } else {
        patch.fill(0.0);
    }
    patch
}

/// The sum of products; of two normalised patches their correlation.
pub(super) fn dot(one: &[f32], other: &[f32]) -> f32 {
    one.iter().zip(other).map(|(one, other)| one * other).sum()
}
