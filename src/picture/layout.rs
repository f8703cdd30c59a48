//! Where the plates with the names go: beside their boxes, off all boxes and other plates.

use super::letters::LETTER_DOTS;
use super::{Label, OUTLINE_PX};
use crate::geometry::PixelRect;

/// Space between a plate's border and its letters.
pub(super) const MARGIN_PX: u32 = 3;
/// Plates are tried up to this many plate heights above and below a box.
const STEPS: u32 = 8;
/// A pixel of a box costs as much as this many pixels of another plate, when one must be covered.
const BOX_WEIGHT: u64 = 8;

/// A plate with text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Plate {
    /// Where it stands, in pixels of the picture.
    pub(super) place: PixelRect,
    /// Its lines, cut to the picture's width.
    pub(super) lines: Vec<String>,
}

/// Height of a line of letters with the gap below it.
pub(super) fn line_height(scale: u32) -> u32 {
    (LETTER_DOTS + 1) * scale
}

/// Finds a place for each label's plate, in the order of the labels.
pub(super) fn place_plates(labels: &[&Label], picture: (u32, u32), scale: u32) -> Vec<Plate> {
    let boxes: Vec<PixelRect> = labels.iter().map(|label| grown(label.place)).collect();
    let mut plates: Vec<Plate> = Vec::with_capacity(labels.len());
    for label in labels {
        let lines = lines_of(label, picture.0, scale);
        let size = size_of(&lines, picture, scale);
        let cost = |place: &PixelRect| {
            let on_boxes: u64 = boxes.iter().map(|taken| place.overlap_px(*taken)).sum();
            let on_plates: u64 = plates.iter().map(|plate| place.overlap_px(plate.place)).sum();
            on_boxes * BOX_WEIGHT + on_plates
        };
        // The first of the cheapest: candidates come nearest first.
        let place = candidates(grown(label.place), size, picture).min_by_key(cost);
        plates.push(Plate { place: place.unwrap_or(label.place), lines });
    }
    plates
}

/// Title and detail on one line where that is short enough, else on two.
fn lines_of(label: &Label, picture_width: u32, scale: u32) -> Vec<String> {
    let room = picture_width.saturating_sub(2 * MARGIN_PX) / (LETTER_DOTS * scale);
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

fn size_of(lines: &[String], picture: (u32, u32), scale: u32) -> (u32, u32) {
    let longest = lines.iter().map(|line| line.chars().count()).max().unwrap_or(0);
    let letters = u32::try_from(longest).unwrap_or(u32::MAX);
    let rows = u32::try_from(lines.len()).unwrap_or(u32::MAX);
    let width = letters.saturating_mul(LETTER_DOTS * scale).saturating_add(2 * MARGIN_PX);
    let height = rows.saturating_mul(line_height(scale)).saturating_add(2 * MARGIN_PX - 1);
    (width.min(picture.0), height.min(picture.1))
}

/// Places for a plate, the nearest first, all inside the picture.
fn candidates(
    beside: PixelRect,
    (width, height): (u32, u32),
    (picture_width, picture_height): (u32, u32),
) -> impl Iterator<Item = PixelRect> {
    let (x, y) = (i64::from(beside.left), i64::from(beside.top));
    let (across, down) = (i64::from(beside.width), i64::from(beside.height));
    let (wide, high) = (i64::from(width), i64::from(height));
    let columns = [x, x + across - wide, x + (across - wide) / 2];
    let stacked = (0..i64::from(STEPS)).flat_map(move |step| {
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
            left: within(left, width, picture_width),
            top: within(top, height, picture_height),
            width,
            height,
        }
    })
}

/// A box with its outline.
fn grown(place: PixelRect) -> PixelRect {
    let out = OUTLINE_PX + 1;
    let (x, y) = (place.left.saturating_sub(out), place.top.saturating_sub(out));
    PixelRect {
        left: x,
        top: y,
        width: place.left - x + place.width + out,
        height: place.top - y + place.height + out,
    }
}
