//! How many digits a readout has, and the spare place before them.

use super::ghost::Ghost;
use super::guess::point_in;
use super::lines::SPREAD_PX;
use crate::geometry::PixelRect;

/// Narrowest and widest pitch of digits, in heights of a digit.
const PITCHES: (f32, f32) = (0.5, 1.08);
/// Usual pitch, where the strokes do not tell.
const USUAL_PITCH: f32 = 0.72;
/// Columns beside an expected gap that may be the gap.
const GAP_REACH: u32 = 1;
/// Room kept free between the spare place and other text, in pixels.
const KEPT_FREE_PX: u32 = 3;
/// Fewer digits than this are worth a comparison of pitches.
const MOST_DIGITS: usize = 8;

/// Weight of an unusual pitch against ink at the borders.
const ODD_WEIGHT: f32 = 0.15;
/// Cost of a single digit, which has no borders to look at.
const SINGLE_COST: f32 = 0.9;
/// A count that costs more than this is not sure.
const SURE_COST: f32 = 0.82;
/// A count that costs less than this less than the next best is not sure.
const SURE_LEAD: f32 = 0.1;

/// What the digits of a readout are like.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Places {
    /// Digits seen before the point; `None` where the count is not sure.
    pub(super) whole: Option<u8>,
    /// Digits after the point; 0 where no point was seen.
    pub(super) decimals: u8,
    /// Pixels from one digit to the next.
    pub(super) pitch_px: u32,
}

impl Places {
    /// Counts the digits of a readout.
    pub(super) fn of(ghost: &Ghost, span: PixelRect) -> Self {
        let height = span.height.saturating_sub(2 * SPREAD_PX).max(1) as f32;
        let (left, right) = (span.left + SPREAD_PX, span.right().saturating_sub(SPREAD_PX));
        let part = |from: u32, to: u32| span.with_columns(from.min(to), to);
        let point = point_in(ghost, span);
        let whole = count(ghost, part(left, point.map_or(right, |(start, _)| start)), height);
        let decimals = point.map_or((0, true), |(_, end)| count(ghost, part(end, right), height));
        let width = point.map_or(right, |(start, _)| start).saturating_sub(left);
        Self {
            whole: (whole.1 && decimals.1).then_some(whole.0 as u8),
            decimals: decimals.0 as u8,
            pitch_px: (width as f32 / whole.0 as f32).ceil() as u32,
        }
    }
}

/// The number of equal cells whose borders hold the least ink, 1 to [`MOST_DIGITS`], and whether it
/// is sure.
fn count(ghost: &Ghost, part: PixelRect, height: f32) -> (usize, bool) {
    let width = part.width as f32;
    // The space between glyphs belongs to the pitch but is missing after the last one.
    let few = (width / (PITCHES.1 * height)).ceil().max(1.0) as usize;
    let many = ((width + 0.1 * height) / (PITCHES.0 * height)).floor() as usize;
    let usual = (width / (USUAL_PITCH * height)).round().max(1.0);
    let cost = |cells: usize| {
        let borders = if cells == 1 { SINGLE_COST } else { border_ink(ghost, part, cells) };
        (borders + ODD_WEIGHT * (cells as f32 / usual).ln().abs(), cells)
    };
    let mut costs: Vec<(f32, usize)> = (few..=many.clamp(few, few.max(MOST_DIGITS))).map(cost).collect();
    costs.sort_by(|one, other| one.0.total_cmp(&other.0));
    let best = costs.first().copied().unwrap_or((SINGLE_COST, 1));
    let lead = costs.get(1).map_or(f32::INFINITY, |next| next.0 - best.0);
    let sure = best.1 <= MOST_DIGITS && lead >= SURE_LEAD && (best.0 <= SURE_COST || costs.len() == 1);
    (best.1.min(MOST_DIGITS), sure)
}

/// Ink at the borders of equal cells, as a share of the usual ink of a column.
fn border_ink(ghost: &Ghost, part: PixelRect, cells: usize) -> f32 {
    let ink =
        |x: u32| -> f32 { (part.top..part.bottom()).map(|y| ghost.fine.at(x as usize, y as usize)).sum() };
    let usual = (part.left..part.right()).map(ink).sum::<f32>() / part.width.max(1) as f32;
    let borders = (1..cells).map(|cell| {
        let x = part.left + (part.width as f32 * cell as f32 / cells as f32).round() as u32;
        (x.saturating_sub(GAP_REACH)..=x + GAP_REACH).map(ink).fold(f32::INFINITY, f32::min)
    });
    borders.sum::<f32>() / (cells.saturating_sub(1).max(1) as f32 * usual.max(f32::MIN_POSITIVE))
}

/// The span with a spare place before the first digit, as wide as a digit, where nothing else
/// stands there; else as far as other text leaves room.
pub(super) fn with_spare_place(ghost: &Ghost, span: PixelRect, pitch_px: u32) -> PixelRect {
    let inked = |x: &u32| (span.top..span.bottom()).any(|y| ghost.strength.at(*x as usize, y as usize) > 0.0);
    let wanted = span.left.saturating_sub(pitch_px + KEPT_FREE_PX)..span.left;
    let own = wanted.clone().rev().take(2 * SPREAD_PX as usize).take_while(inked).count();
    let free = wanted.clone().rev().skip(own).take_while(|x| !inked(x)).last().unwrap_or(span.left);
    // Room is kept to the frame's border as well: the outline of the box is drawn there.
    let left = (free + KEPT_FREE_PX).min(span.left).max(span.left.saturating_sub(pitch_px));
    span.with_columns(left, span.right())
}

#[cfg(test)]
mod tests {
    use super::super::plane::Plane;
    use super::super::readout::Readout;
    use super::*;
    use crate::model::channel::Channel;

    const SIZE: (usize, usize) = (160, 40);
    const TOP: usize = 10;
    const BOTTOM: usize = 30;

    /// A ghost of digits 12 columns wide at these columns, and of points 4 columns wide at those.
    fn ghost(digits: &[usize], points: &[usize]) -> Ghost {
        let plane = || Plane::new(SIZE.0, SIZE.1);
        let mut ghost = Ghost { strength: plane(), fine: plane(), frames: Vec::new() };
        let mut ink = |left: usize, right: usize, top: usize| {
            let spread = SPREAD_PX as usize;
            fill(&mut ghost.fine, left..right, top..BOTTOM);
            fill(&mut ghost.strength, left - spread..right + spread, top - spread..BOTTOM + spread);
        };
        digits.iter().for_each(|left| ink(*left, left + 12, TOP));
        points.iter().for_each(|left| ink(*left, left + 4, BOTTOM - 5));
        ghost
    }

    fn fill(plane: &mut Plane, columns: std::ops::Range<usize>, rows: std::ops::Range<usize>) {
        for row in rows {
            plane.values[row * SIZE.0 + columns.start..row * SIZE.0 + columns.end].fill(9.0);
        }
    }

    /// The span of text between two columns, with the spread of the ghost.
    fn span(left: u32, right: u32) -> PixelRect {
        let (top, bottom) = (TOP as u32 - SPREAD_PX, BOTTOM as u32 + SPREAD_PX);
        PixelRect::from_edges(left - SPREAD_PX, top, right + SPREAD_PX, bottom)
    }

    #[test]
    fn the_digits_of_a_whole_number_are_counted() {
        for count in 2..=5_u8 {
            let digits: Vec<usize> = (0..usize::from(count)).map(|digit| 30 + 15 * digit).collect();
            let places = Places::of(&ghost(&digits, &[]), span(30, 30 + 15 * u32::from(count) - 3));
            assert_eq!((places.whole, places.decimals), (Some(count), 0), "{places:?}");
            assert!((14..=15).contains(&places.pitch_px), "{places:?}");
        }
    }

    #[test]
    fn digits_before_and_after_a_point_are_counted() {
        let places = Places::of(&ghost(&[30, 45, 68], &[60]), span(30, 80));
        assert_eq!((places.whole, places.decimals), (Some(2), 1));
        let places = Places::of(&ghost(&[30, 45, 68, 83], &[60]), span(30, 95));
        assert_eq!((places.whole, places.decimals), (Some(2), 2));
    }

    #[test]
    fn a_point_that_touches_the_digits_beside_it_is_seen() {
        let places = Places::of(&ghost(&[30, 45, 61], &[57]), span(30, 73));
        assert_eq!(places.decimals, 1);
    }

    #[test]
    fn the_foot_beside_a_narrow_stem_is_no_point() {
        let mut ghost = ghost(&[30, 64], &[]);
        // A 1 with a foot on both sides of its stem, touching its neighbours.
        fill(&mut ghost.fine, 42..64, BOTTOM - 4..BOTTOM);
        fill(&mut ghost.fine, 50..55, TOP..BOTTOM);
        assert_eq!(Places::of(&ghost, span(30, 76)).decimals, 0);
    }

    #[test]
    fn a_spare_place_is_as_wide_as_a_digit_where_nothing_stands_there() {
        let (ghost, digits) = (ghost(&[60, 75], &[]), span(60, 87));
        assert_eq!(
            with_spare_place(&ghost, digits, 15),
            digits.with_columns(digits.left - 15, digits.right())
        );
        assert_eq!(with_spare_place(&ghost, digits, 0), digits);
    }

    #[test]
    fn a_spare_place_keeps_off_an_icon_before_the_number() {
        let (ghost, digits) = (ghost(&[38, 60, 75], &[]), span(60, 87));
        let icon_end = 38 + 12 + SPREAD_PX;
        let wider = with_spare_place(&ghost, digits, 15);
        assert!(wider.left >= icon_end + KEPT_FREE_PX.min(digits.left - icon_end), "{wider:?}");
        assert_eq!(wider.right(), digits.right());
    }

    #[test]
    fn only_a_value_that_may_grow_a_digit_gets_a_spare_place() {
        let ghost = ghost(&[60, 75], &[]);
        let readout =
            Readout { span: span(60, 87), agreement: Default::default(), last_stays: false, label: 0.0 };
        let counted = [Places { whole: Some(2), decimals: 0, pitch_px: 15 }];
        let spare = |channel: Channel| {
            super::super::boxes(&ghost, std::slice::from_ref(&readout), &[channel], &counted, (160, 40))[0].1
        };
        assert!(spare(Channel::Speed));
        assert!(!spare(Channel::Satellites));
    }
}
