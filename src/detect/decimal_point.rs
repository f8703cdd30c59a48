//! Finds the decimal point of a readout.

use super::changing_parts::SPREAD_PX;
use super::columns::Columns;
use super::gradients::PersistentGradients;
use crate::geometry::PixelRect;
use crate::stats::nearest_rank;

/// The upper half of a column counts as empty if its gradients are below this share of the usual sum.
const MAX_EMPTY_SHARE: f32 = 0.3;
/// The lower part of a column counts as filled if its gradients are above this share of the usual sum.
const MIN_FILLED_SHARE: f32 = 0.35;
/// Maximum mean gradient above a point that touches digits, as a share of the usual sum. Above the foot of a digit there
/// is more.
const MAX_ABOVE_TOUCHING_POINT: f32 = 0.12;
/// Minimum width of a digit that a point touches, in heights of the line: the stem of a 1 with a foot is narrower.
const MIN_DIGIT_BESIDE_POINT: f32 = 0.4;
/// Maximum width of a point that touches digits, in heights of the line.
const MAX_TOUCHING_POINT: f32 = 0.4;
/// The usual sum of gradients is this quantile over the columns of the readout.
const USUAL_QUANTILE: f32 = 0.6;

/// What a column of a readout contains.
#[derive(Clone, Copy, PartialEq)]
enum ColumnKind {
    /// Almost nothing.
    Gap,
    /// Strokes near the base line only.
    Foot,
    /// Part of a digit.
    Digit,
}

/// Adjacent columns of one kind.
#[derive(Clone, Copy)]
struct Stretch {
    kind: ColumnKind,
    columns: Columns,
}

/// The columns of the last decimal point in a readout: strokes near the base line only, between two gaps or between two
/// digits that they touch. The foot of a 1 is not a point, because it adjoins the stem.
pub(super) fn find_point(gradients: &PersistentGradients, rect: PixelRect) -> Option<Columns> {
    let (kinds, above) = column_kinds(gradients, rect);
    let mut stretches: Vec<Stretch> = Vec::new();
    let mut start = rect.left;
    for stretch in kinds.chunk_by(|one, next| one == next) {
        let columns = Columns::new(start, start + stretch.len() as u32);
        stretches.extend(stretch.first().map(|kind| Stretch { kind: *kind, columns }));
        start = columns.end;
    }
    let between_gaps = stretches.windows(3).rev().find_map(|three| match three {
        [before, Stretch { kind: ColumnKind::Foot, columns }, after]
            if before.kind == ColumnKind::Gap && after.kind == ColumnKind::Gap =>
        {
            Some(*columns)
        }
        _ => None,
    });
    between_gaps.or_else(|| touching_point(&stretches, &above, rect))
}

/// The last point that touches the digits beside it, as outlined glyphs in narrow type do.
fn touching_point(stretches: &[Stretch], above: &[f32], rect: PixelRect) -> Option<Columns> {
    let height = rect.height as f32;
    let usual = nearest_rank(&mut above.to_vec(), USUAL_QUANTILE);
    let is_digit = |stretch: &Stretch| {
        stretch.kind == ColumnKind::Digit && stretch.columns.width() as f32 >= MIN_DIGIT_BESIDE_POINT * height
    };
    let is_empty_above = |columns: Columns| {
        let skipped = (columns.start - rect.left) as usize;
        let sum: f32 = above.iter().skip(skipped).take(columns.width() as usize).sum();
        sum < MAX_ABOVE_TOUCHING_POINT * usual * columns.width() as f32
    };
    let widths = 2 * SPREAD_PX..=(MAX_TOUCHING_POINT * height) as u32;
    stretches.windows(3).rev().find_map(|three| match three {
        [before, Stretch { kind: ColumnKind::Foot, columns }, after]
            if is_digit(before)
                && is_digit(after)
                && widths.contains(&columns.width())
                && is_empty_above(*columns) =>
        {
            Some(*columns)
        }
        _ => None,
    })
}

/// The kind of each column, and the sum of the gradients in its upper half.
fn column_kinds(gradients: &PersistentGradients, rect: PixelRect) -> (Vec<ColumnKind>, Vec<f32>) {
    let (middle, base) = (rect.top + rect.height / 2, rect.bottom() - rect.height * 2 / 5);
    let sums = |top: u32, bottom: u32| -> Vec<f32> {
        let column = |x: u32| (top..bottom).map(|y| gradients.per_pixel.at(x as usize, y as usize)).sum();
        (rect.left..rect.right()).map(column).collect()
    };
    let (above, below) = (sums(rect.top, middle), sums(base, rect.bottom()));
    let usual_above = nearest_rank(&mut above.clone(), USUAL_QUANTILE);
    let usual_below = nearest_rank(&mut below.clone(), USUAL_QUANTILE);
    let kind = |(above, below): (&f32, &f32)| {
        let is_empty_above = *above < MAX_EMPTY_SHARE * usual_above;
        let is_filled_below = *below > MIN_FILLED_SHARE * usual_below;
        match (is_empty_above, is_filled_below) {
            (true, true) => ColumnKind::Foot,
            (true, false) => ColumnKind::Gap,
            (false, _) => ColumnKind::Digit,
        }
    };
    let kinds = above.iter().zip(&below).map(kind).collect();
    (kinds, above)
}
