//! Finds positions for the labels of boxes, if possible without covering any box or another label.

use super::letters::LETTER_DOTS;
use super::{Label, OUTLINE_PX};
use crate::geometry::PixelRect;

/// Space between the edge of a label's background and its letters, in pixels (set by judgement).
pub(super) const MARGIN_PX: u32 = 3;
/// Number of positions that are tried above a box, and as many below it, each one label height further away. Set by
/// judgement.
const MAX_STEPS: u32 = 8;
/// Covering a pixel of a box costs as much as covering this many pixels of another label. Set by judgement.
const BOX_WEIGHT: u64 = 8;

/// The text of a label on a dark background (the plate).
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Plate {
    /// Position and size of the plate in the image, in pixels.
    pub(super) rect: PixelRect,
    /// Lines of text, cut to the width of the image.
    pub(super) lines: Vec<String>,
}

/// Height of a line of letters with the gap below it, in pixels.
pub(super) fn line_height(scale: u32) -> u32 {
    (LETTER_DOTS + 1) * scale
}

/// Finds a position for the plate of each label, in the order of the labels. Of the possible positions it takes the one
/// where the plate covers the least of boxes and of plates already placed.
pub(super) fn place_plates(labels: &[&Label], image: (u32, u32), scale: u32) -> Vec<Plate> {
    let boxes: Vec<PixelRect> = labels.iter().map(|label| with_outline(label.rect)).collect();
    let mut plates: Vec<Plate> = Vec::with_capacity(labels.len());
    for label in labels {
        let lines = lines_of(label, image.0, scale);
        let size = size_of(&lines, image, scale);
        let cost = |rect: &PixelRect| {
            let on_boxes: u64 = boxes.iter().map(|other| rect.overlap_px(*other)).sum();
            let on_plates: u64 = plates.iter().map(|plate| rect.overlap_px(plate.rect)).sum();
            on_boxes * BOX_WEIGHT + on_plates
        };
        // Candidates are in order of distance, so that the nearest one of several equally good positions is
        // taken.
        let rect = candidates(with_outline(label.rect), size, image).min_by_key(cost);
        plates.push(Plate { rect: rect.unwrap_or(label.rect), lines });
    }
    plates
}

/// Title and detail, on one line if that is short enough, otherwise on two.
fn lines_of(label: &Label, image_width: u32, scale: u32) -> Vec<String> {
    let room = image_width.saturating_sub(2 * MARGIN_PX) / (LETTER_DOTS * scale);
    let beside = format!("{} {}", label.title, label.detail);
    let short = beside.chars().count() <= (room / 3).max(8) as usize;
    let lines = if label.detail.is_empty() {
        vec![label.title.clone()]
    } else if short {
        vec![beside]
    } else {
        vec![label.title.clone(), label.detail.clone()]
    };
    lines.into_iter().map(|line| line.chars().take(room as usize).collect()).collect()
}

/// Width and height of a plate in pixels, at most those of the image.
fn size_of(lines: &[String], image: (u32, u32), scale: u32) -> (u32, u32) {
    let longest = lines.iter().map(|line| line.chars().count()).max().unwrap_or(0);
    let letters = u32::try_from(longest).unwrap_or(u32::MAX);
    let rows = u32::try_from(lines.len()).unwrap_or(u32::MAX);
    let width = letters.saturating_mul(LETTER_DOTS * scale).saturating_add(2 * MARGIN_PX);
    let height = rows.saturating_mul(line_height(scale)).saturating_add(2 * MARGIN_PX - 1);
    (width.min(image.0), height.min(image.1))
}

/// Possible positions for a plate of the given width and height, in pixels, the nearest to the box `beside` first.
/// All lie inside the image.
fn candidates(
    beside: PixelRect,
    (width, height): (u32, u32),
    (image_width, image_height): (u32, u32),
) -> impl Iterator<Item = PixelRect> {
    let (x, y) = (i64::from(beside.left), i64::from(beside.top));
    let (across, down) = (i64::from(beside.width), i64::from(beside.height));
    let (wide, high) = (i64::from(width), i64::from(height));
    let columns = [x, x + across - wide, x + (across - wide) / 2];
    let stacked = (0..i64::from(MAX_STEPS)).flat_map(move |step| {
        let rows = [y - high * (step + 1), y + down + high * step];
        rows.into_iter().flat_map(move |row| columns.map(|column| (column, row)))
    });
    let sideways =
        [(x + across, y), (x - wide, y), (x + across, y + down - high), (x - wide, y + down - high)];
    let near = 2 * columns.len();
    stacked.clone().take(near).chain(sideways).chain(stacked.skip(near)).map(move |(left, top)| {
        let within = |start: i64, size: u32, limit: u32| {
            u32::try_from(start.max(0)).unwrap_or(u32::MAX).min(limit.saturating_sub(size))
        };
        PixelRect {
            left: within(left, width, image_width),
            top: within(top, height, image_height),
            width,
            height,
        }
    })
}

/// The box, enlarged on each side by the width of its outline and by one more pixel.
fn with_outline(rect: PixelRect) -> PixelRect {
    rect.with_margin(OUTLINE_PX + 1)
}
