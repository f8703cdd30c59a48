//! Counts the digits of a readout.

use super::changing_parts::SPREAD_PX;
use super::columns::Columns;
use super::decimal_point::find_point;
use super::gradients::PersistentGradients;
use crate::geometry::PixelRect;

/// Minimum and maximum pitch of digits, in heights of a digit.
const PITCH_LIMITS: (f32, f32) = (0.5, 1.08);
/// Usual pitch, in heights of a digit.
const USUAL_PITCH: f32 = 0.72;
/// The gap between two digits may be this far from its expected column, in pixels.
const GAP_TOLERANCE_PX: u32 = 1;
/// Maximum number of digits that is considered.
const MAX_DIGITS: usize = 8;

/// Weight of an unusual pitch in the cost, relative to the strokes at the borders of the cells.
const PITCH_WEIGHT: f32 = 0.15;
/// Cost of a single digit, which has no borders to other digits.
const SINGLE_DIGIT_COST: f32 = 0.9;
/// Maximum cost of a count that is certain.
const MAX_CERTAIN_COST: f32 = 0.82;
/// Minimum difference between the costs of the best and the second-best count if the best is certain.
const MIN_CERTAIN_MARGIN: f32 = 0.1;

/// The number and the pitch of a readout's digits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct DigitCount {
    /// Number of digits before the point; `None` if a count is not certain.
    pub(super) whole: Option<u8>,
    /// Number of digits after the point; 0 if no point was found.
    pub(super) decimals: u8,
    /// Distance from one digit to the next, in pixels.
    pub(super) pitch_px: u32,
}

/// The number of digits in a part of a readout.
struct PartCount {
    digits: usize,
    is_certain: bool,
}

impl DigitCount {
    /// Counts the digits of a readout. `rect` includes the spread of the gradients.
    pub(super) fn of(gradients: &PersistentGradients, rect: PixelRect) -> Self {
        let height = rect.height.saturating_sub(2 * SPREAD_PX).max(1) as f32;
        let (left, right) = (rect.left + SPREAD_PX, rect.right().saturating_sub(SPREAD_PX));
        let part = |from: u32, to: u32| rect.with_columns(from.min(to), to);
        let point = find_point(gradients, rect);
        let whole_end = point.map_or(right, |point| point.start);
        let whole = count(gradients, part(left, whole_end), height);
        let decimals = match point {
            Some(Columns { end, .. }) => count(gradients, part(end, right), height),
            None => PartCount { digits: 0, is_certain: true },
        };
        Self {
            whole: (whole.is_certain && decimals.is_certain).then_some(whole.digits as u8),
            decimals: decimals.digits as u8,
            pitch_px: (whole_end.saturating_sub(left) as f32 / whole.digits as f32).ceil() as u32,
        }
    }
}

/// Counts the digits in a part without a point: the number of equal cells, 1 to [`MAX_DIGITS`], with the weakest strokes
/// at their borders and a pitch close to the usual one. `height` is that of a digit in pixels.
fn count(gradients: &PersistentGradients, part: PixelRect, height: f32) -> PartCount {
    let width = part.width as f32;
    // The gap between digits belongs to the pitch, but there is none after the last digit.
    let min_cells = (width / (PITCH_LIMITS.1 * height)).ceil().max(1.0) as usize;
    let max_cells = ((width + 0.1 * height) / (PITCH_LIMITS.0 * height)).floor() as usize;
    let usual = (width / (USUAL_PITCH * height)).round().max(1.0);
    let cost = |cells: usize| {
        let borders = if cells == 1 { SINGLE_DIGIT_COST } else { border_strokes(gradients, part, cells) };
        (borders + PITCH_WEIGHT * (cells as f32 / usual).ln().abs(), cells)
    };
    let cells = min_cells..=max_cells.clamp(min_cells, min_cells.max(MAX_DIGITS));
    let mut costs: Vec<(f32, usize)> = cells.map(cost).collect();
    costs.sort_by(|one, other| one.0.total_cmp(&other.0));
    let (best_cost, best) = costs.first().copied().unwrap_or((SINGLE_DIGIT_COST, 1));
    let margin = costs.get(1).map_or(f32::INFINITY, |next| next.0 - best_cost);
    let is_certain = best <= MAX_DIGITS
        && margin >= MIN_CERTAIN_MARGIN
        && (best_cost <= MAX_CERTAIN_COST || costs.len() == 1);
    PartCount { digits: best.min(MAX_DIGITS), is_certain }
}

/// Mean gradient in the columns between equal cells, relative to the mean over all columns.
fn border_strokes(gradients: &PersistentGradients, part: PixelRect, cells: usize) -> f32 {
    let column = |x: u32| -> f32 {
        (part.top..part.bottom()).map(|y| gradients.per_pixel.at(x as usize, y as usize)).sum()
    };
    let usual = (part.left..part.right()).map(column).sum::<f32>() / part.width.max(1) as f32;
    let borders = (1..cells).map(|cell| {
        let x = part.left + (part.width as f32 * cell as f32 / cells as f32).round() as u32;
        (x.saturating_sub(GAP_TOLERANCE_PX)..=x + GAP_TOLERANCE_PX).map(column).fold(f32::INFINITY, f32::min)
    });
    borders.sum::<f32>() / (cells.saturating_sub(1).max(1) as f32 * usual.max(f32::MIN_POSITIVE))
}

#[cfg(test)]
mod tests {
    use super::super::plane::Plane;
    use super::*;

    const SIZE: (usize, usize) = (160, 40);
    const TOP: usize = 10;
    const BOTTOM: usize = 30;

    /// Gradients of digits 12 columns wide that begin at `digits`, and of points 4 columns wide that begin at `points`.
    fn gradients(digits: &[usize], points: &[usize]) -> PersistentGradients {
        let plane = || Plane::new(SIZE.0, SIZE.1);
        let mut gradients = PersistentGradients::drawn(plane(), plane());
        let mut draw = |left: usize, right: usize, top: usize| {
            let spread = SPREAD_PX as usize;
            fill(&mut gradients.per_pixel, left..right, top..BOTTOM);
            fill(&mut gradients.strength, left - spread..right + spread, top - spread..BOTTOM + spread);
        };
        digits.iter().for_each(|left| draw(*left, left + 12, TOP));
        points.iter().for_each(|left| draw(*left, left + 4, BOTTOM - 5));
        gradients
    }

    fn fill(plane: &mut Plane, columns: std::ops::Range<usize>, rows: std::ops::Range<usize>) {
        for row in rows {
            plane.values[row * SIZE.0 + columns.start..row * SIZE.0 + columns.end].fill(9.0);
        }
    }

    /// The rectangle of text between two columns, with the spread of the gradients.
    fn text(left: u32, right: u32) -> PixelRect {
        let (top, bottom) = (TOP as u32 - SPREAD_PX, BOTTOM as u32 + SPREAD_PX);
        PixelRect::from_edges(left - SPREAD_PX, top, right + SPREAD_PX, bottom)
    }

    #[test]
    fn the_digits_of_a_whole_number_are_counted() {
        for digit_count in 2..=5_u8 {
            let digits: Vec<usize> = (0..usize::from(digit_count)).map(|digit| 30 + 15 * digit).collect();
            let count =
                DigitCount::of(&gradients(&digits, &[]), text(30, 30 + 15 * u32::from(digit_count) - 3));
            assert_eq!((count.whole, count.decimals), (Some(digit_count), 0), "{count:?}");
            assert!((14..=15).contains(&count.pitch_px), "{count:?}");
        }
    }

    #[test]
    fn digits_before_and_after_a_point_are_counted() {
        let count = DigitCount::of(&gradients(&[30, 45, 68], &[60]), text(30, 80));
        assert_eq!((count.whole, count.decimals), (Some(2), 1));
        let count = DigitCount::of(&gradients(&[30, 45, 68, 83], &[60]), text(30, 95));
        assert_eq!((count.whole, count.decimals), (Some(2), 2));
    }

    #[test]
    fn a_point_that_touches_the_digits_beside_it_is_found() {
        let count = DigitCount::of(&gradients(&[30, 45, 61], &[57]), text(30, 73));
        assert_eq!(count.decimals, 1);
    }

    #[test]
    fn the_foot_of_a_one_is_not_a_point() {
        let mut gradients = gradients(&[30, 64], &[]);
        // A 1 with a foot on both sides of its stem, touching its neighbours.
        fill(&mut gradients.per_pixel, 42..64, BOTTOM - 4..BOTTOM);
        fill(&mut gradients.per_pixel, 50..55, TOP..BOTTOM);
        assert_eq!(DigitCount::of(&gradients, text(30, 76)).decimals, 0);
    }
}
