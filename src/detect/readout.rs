//! Finds the readouts in a line of text: the digits without icon, label and unit.

use rayon::prelude::*;

use super::columns::Columns;
use super::digit_samples::DigitSamples;
use super::gradients::PersistentGradients;
use super::line_strip::{Agreement, LineStrip};
use super::text_lines::trimmed;
use crate::geometry::PixelRect;
use crate::stats::nearest_rank;

// Agreement is a correlation; widths, heights and gaps are in heights of the line.

/// A column changes if its low agreement is below this share of its high agreement.
const MAX_LOW_SHARE: f32 = 0.68;
/// Minimum high agreement of text; scenery has less.
const MIN_HIGH_AGREEMENT: f32 = 0.35;
/// Minimum width of a stretch that changes; the ends of a label may seem to change too.
const MIN_CHANGING_WIDTH: f32 = 0.3;
/// Minimum high agreement of text that certainly stays the same.
const MIN_CONSTANT_AGREEMENT: f32 = 0.6;
/// Minimum share of a column with persistent gradients where a digit is shown in few frames only.
const MIN_FAINT_COVER: f32 = 0.25;
/// Minimum width of a digit.
const MIN_DIGIT_WIDTH: f32 = 0.25;
/// Minimum width of a digit other than 1.
const MIN_USUAL_DIGIT_WIDTH: f32 = 0.4;
/// Maximum width of a digit.
const MAX_DIGIT_WIDTH: f32 = 0.85;
/// Maximum gap between changing digits of one value; a decimal point, which never changes, fits in.
const MAX_INNER_GAP: f32 = 0.8;
/// Maximum gap between a value and its unit.
const MAX_UNIT_GAP: f32 = 1.2;
/// Minimum width of two digits.
const MIN_TWO_DIGITS: f32 = 0.9;
/// Maximum gap between a digit that never changes and one that does.
const MAX_DIGIT_GAP: f32 = 0.3;
/// Maximum gap between a decimal point and the digits beside it. In fixed-pitch type it is wide.
const MAX_POINT_GAP: f32 = 0.45;
/// Maximum width of a decimal point.
const MAX_POINT_WIDTH: f32 = 0.35;
/// Maximum height of a decimal point, in heights of the digits.
const MAX_POINT_HEIGHT: f32 = 0.6;
/// Maximum gap across which any glyph of the right height belongs to a number.
const MAX_CERTAIN_GAP: f32 = 0.16;
/// Minimum correlation with a digit for a glyph across a wider gap, where icons can stand.
const MIN_LIKENESS_ACROSS_GAP: f32 = 0.7;
/// Minimum ratio between the heights of a constant digit and of the changing ones.
const MIN_HEIGHT_RATIO: f32 = 0.85;
/// Maximum distance of the foot of a constant digit from the base line.
const MAX_BASE_LINE_OFFSET: f32 = 0.12;
/// Maximum number of constant digits before the changing ones; a longer row of glyphs is a word.
const MAX_CONSTANT_DIGITS: usize = 3;
/// A column whose gradients are below this share of those of a typical column with strokes is a gap between glyphs.
const MAX_GAP_SHARE: f32 = 0.25;
/// The typical column with strokes has this quantile of the gradients.
const STROKE_QUANTILE: f32 = 0.7;
/// Minimum correlation of a glyph that never changes with a digit that does.
const MIN_DIGIT_LIKENESS: f32 = 0.85;
/// A gap between glyphs is searched within this distance of an end of changing columns.
const GAP_SEARCH: f32 = 0.15;

/// Digits found in a line.
#[derive(Debug, Clone)]
pub(super) struct Readout {
    /// The rectangle of the digits, including the spread of the gradients.
    pub(super) rect: PixelRect,
    /// The mean agreement over the changing columns; 0 if none changes.
    pub(super) agreement: Agreement,
    /// Whether the last digit stays the same.
    pub(super) last_digit_constant: bool,
    /// Width of the constant text after the digits, in heights of the line: the unit.
    pub(super) label: f32,
}

/// A line of text with the properties of its columns.
struct TextLine {
    rect: PixelRect,
    strip: LineStrip,
    /// Stroke energy of each column: the sum of its gradients, above that of a gap.
    strokes: Vec<f32>,
    agreement: Vec<Agreement>,
    /// Share of each column with persistent gradients.
    covered: Vec<f32>,
    /// Stretches of columns that change.
    changing: Vec<Columns>,
}

/// Finds the readouts in lines of text.
pub(super) fn find_readouts(gradients: &PersistentGradients, lines: &[PixelRect]) -> Vec<Readout> {
    let lines: Vec<TextLine> = lines.par_iter().map(|rect| TextLine::of(gradients, *rect)).collect();
    let changing =
        lines.iter().flat_map(|line| line.changing.iter().map(|columns| (&line.strip, line.part(*columns))));
    let digits = DigitSamples::new(&gradients.strength, changing);
    let in_line = |line: &TextLine| -> Vec<Readout> {
        if line.changing.is_empty() {
            return line.constant_readout(&digits).into_iter().collect();
        }
        line.changing.iter().map(|columns| line.readout(*columns, &digits)).collect()
    };
    let mut readouts: Vec<Readout> = lines.par_iter().flat_map_iter(in_line).collect();
    for readout in &mut readouts {
        readout.label = lines.iter().map(|line| line.label_width(readout.rect)).fold(0.0, f32::max);
    }
    readouts.iter_mut().for_each(|readout| readout.rect = trimmed(readout.rect, &gradients.strength));
    readouts
}

impl TextLine {
    fn of(gradients: &PersistentGradients, rect: PixelRect) -> Self {
        let sum =
            |x: u32| (rect.top..rect.bottom()).map(|y| gradients.per_pixel.at(x as usize, y as usize)).sum();
        let mut strokes: Vec<f32> = (rect.left..rect.right()).map(sum).collect();
        let gap = MAX_GAP_SHARE * nearest_rank(&mut strokes.clone(), STROKE_QUANTILE);
        strokes.iter_mut().for_each(|strokes| *strokes = (*strokes - gap).max(0.0));
        let strip = LineStrip::of(&gradients.frames, rect);
        let agreement = strip.agreement_along(rect);
        let covered_rows = |x: u32| {
            let is_covered = |y: &u32| gradients.strength.at(x as usize, *y as usize) > 0.0;
            (rect.top..rect.bottom()).filter(is_covered).count()
        };
        let covered =
            (rect.left..rect.right()).map(|x| covered_rows(x) as f32 / rect.height as f32).collect();
        let mut line = Self { rect, strip, strokes, agreement, covered, changing: Vec::new() };
        line.changing = line.find_changing();
        line
    }

    /// The part of the line in some columns.
    fn part(&self, columns: Columns) -> PixelRect {
        self.rect.with_columns(columns.start, columns.end)
    }

    /// A length in heights of the line, in pixels.
    fn heights(&self, heights: f32) -> u32 {
        (self.rect.height as f32 * heights).round() as u32
    }

    /// The stretches that change and are wide enough for a digit. Those of one value are joined.
    fn find_changing(&self) -> Vec<Columns> {
        let mut changing: Vec<Columns> = Vec::new();
        let mut right = self.rect.left;
        for stretch in self.agreement.chunk_by(|one, next| changes(one) == changes(next)) {
            let left = right;
            right += stretch.len() as u32;
            if !stretch.iter().all(changes) || right - left < self.heights(MIN_CHANGING_WIDTH) {
                continue;
            }
            match changing.last_mut() {
                Some(last) if left - last.end <= self.heights(MAX_INNER_GAP) => last.end = right,
                _ => changing.push(Columns::new(left, right)),
            }
        }
        let whole_glyphs = |columns: Columns| {
            let (start, end) = (self.faint_start(columns.start), self.faint_end(columns.end));
            Columns::new(self.nearest_gap(start), self.nearest_gap(end))
        };
        changing.into_iter().map(whole_glyphs).filter(|columns| columns.start < columns.end).collect()
    }

    /// Extends columns to the left over faint strokes: those of digits that are shown in few frames.
    fn faint_start(&self, left: u32) -> u32 {
        (self.rect.left..left).rev().take_while(|x| self.is_faint(*x)).last().unwrap_or(left)
    }

    /// Extends columns to the right over faint strokes: those of digits that are shown in few frames.
    fn faint_end(&self, right: u32) -> u32 {
        (right..self.rect.right()).take_while(|x| self.is_faint(*x)).last().map_or(right, |x| x + 1)
    }

    /// Whether a column has some persistent gradients and is not constant.
    fn is_faint(&self, x: u32) -> bool {
        let index = x.checked_sub(self.rect.left).map_or(usize::MAX, |index| index as usize);
        let is_constant = self
            .agreement
            .get(index)
            .is_none_or(|column| !changes(column) && column.high >= MIN_CONSTANT_AGREEMENT);
        !is_constant && self.covered.get(index).is_some_and(|share| *share >= MIN_FAINT_COVER)
    }

    /// The column with the weakest strokes near `x`: the gap between two glyphs.
    fn nearest_gap(&self, x: u32) -> u32 {
        let reach = self.heights(GAP_SEARCH);
        let near = x.saturating_sub(reach).max(self.rect.left)..=(x + reach).min(self.rect.right());
        near.min_by(|one, other| {
            let distance = one.abs_diff(x).cmp(&other.abs_diff(x));
            self.strokes_at(*one).total_cmp(&self.strokes_at(*other)).then(distance)
        })
        .unwrap_or(x)
    }

    fn strokes_at(&self, x: u32) -> f32 {
        let index = x.checked_sub(self.rect.left);
        index.and_then(|index| self.strokes.get(index as usize)).copied().unwrap_or(0.0)
    }

    /// The readout of some changing columns, with the constant digits beside them.
    fn readout(&self, changing: Columns, digits: &DigitSamples<'_>) -> Readout {
        let left = self.with_constant_digits_before(changing, digits);
        let right = self.with_digits_after(changing.end, digits);
        Readout {
            rect: self.part(Columns::new(left, right)),
            agreement: self.mean_agreement(changing),
            last_digit_constant: right > changing.end,
            label: 0.0,
        }
    }

    /// The last value of a line that never changes: at least two glyphs that look like digits of other readouts.
    fn constant_readout(&self, digits: &DigitSamples<'_>) -> Option<Readout> {
        let mut right = self.rect.right();
        while let Some(glyph) = self.glyph_before(right) {
            let left = self.with_digits_before(glyph.end, digits);
            if glyph.end - left >= self.heights(MIN_TWO_DIGITS) {
                return Some(Readout {
                    rect: self.part(Columns::new(left, glyph.end)),
                    agreement: Agreement::default(),
                    last_digit_constant: true,
                    label: 0.0,
                });
            }
            right = glyph.start;
        }
        None
    }

    /// Width of the constant text of this line after a readout, in heights of the line; 0 if the line is elsewhere.
    fn label_width(&self, readout: PixelRect) -> f32 {
        let is_near = self.rect.left <= readout.right() + self.heights(MAX_UNIT_GAP);
        let is_beside = self.rect.shared_rows(readout) * 2 >= readout.height;
        if self.rect.right() <= readout.right() || !is_near || !is_beside {
            return 0.0;
        }
        let start = self.rect.left.max(readout.right());
        let next_value = self.changing.iter().map(|columns| columns.start).find(|left| *left > start);
        (next_value.unwrap_or(self.rect.right()) - start) as f32 / self.rect.height as f32
    }

    /// The first column of a number: extends changing columns to the left over constant glyphs that are aligned like
    /// digits of the same number. They have the same height, base line and spacing; a decimal point may stand between
    /// them. A missing leading digit would cause wrong values, a surplus letter only blanks.
    fn with_constant_digits_before(&self, columns: Columns, digits: &DigitSamples<'_>) -> u32 {
        let changing = trimmed(self.part(columns), digits.strength());
        let before = |left: &u32| self.constant_digit_before(*left, changing, digits);
        let starts = std::iter::successors(Some(columns.start), before);
        starts.take(1 + MAX_CONSTANT_DIGITS).last().unwrap_or(columns.start)
    }

    /// The first column of the constant digit before `left`. A decimal point between them is skipped.
    fn constant_digit_before(
        &self,
        left: u32,
        changing: PixelRect,
        digits: &DigitSamples<'_>,
    ) -> Option<u32> {
        let glyph = self.piece_before(left)?;
        let gap = left - glyph.end;
        if gap <= self.heights(MAX_POINT_GAP) && self.is_point(glyph, changing, digits) {
            let before = self.piece_before(glyph.start)?;
            let is_close = glyph.start - before.end <= self.heights(MAX_POINT_GAP);
            return (is_close && self.is_aligned(before, changing, digits)).then_some(before.start);
        }
        let belongs = gap <= self.heights(MAX_CERTAIN_GAP)
            || gap <= self.heights(MAX_DIGIT_GAP)
                && digits.best_correlation(&self.strip, self.part(glyph)) >= MIN_LIKENESS_ACROSS_GAP;
        (belongs && self.is_aligned(glyph, changing, digits)).then_some(glyph.start)
    }

    fn is_point(&self, piece: Columns, changing: PixelRect, digits: &DigitSamples<'_>) -> bool {
        let point = trimmed(self.part(piece), digits.strength());
        point.height as f32 <= MAX_POINT_HEIGHT * changing.height as f32
            && piece.width() <= self.heights(MAX_POINT_WIDTH)
            && self.is_on_base_line(point, changing)
    }

    /// Whether a piece of text has the height and the base line of the changing digits.
    fn is_aligned(&self, piece: Columns, changing: PixelRect, digits: &DigitSamples<'_>) -> bool {
        let glyph = trimmed(self.part(piece), digits.strength());
        let (height, other) = (glyph.height as f32, changing.height as f32);
        height >= MIN_HEIGHT_RATIO * other
            && height * MIN_HEIGHT_RATIO <= other
            && self.is_on_base_line(glyph, changing)
    }

    fn is_on_base_line(&self, glyph: PixelRect, changing: PixelRect) -> bool {
        glyph.bottom().abs_diff(changing.bottom()) <= self.heights(MAX_BASE_LINE_OFFSET).max(1)
    }

    /// Extends to the left over glyphs that look like digits of other readouts.
    fn with_digits_before(&self, from: u32, digits: &DigitSamples<'_>) -> u32 {
        let mut left = from;
        while let Some(glyph) = self.glyph_before(left) {
            let likeness = digits.best_correlation(&self.strip, self.part(glyph));
            if left - glyph.end > self.heights(MAX_DIGIT_GAP) || likeness < MIN_DIGIT_LIKENESS {
                break;
            }
            left = glyph.start;
        }
        left
    }

    /// Extends to the right over glyphs that look like digits of other readouts. The last digit of a value may always be
    /// 0; most other text after a value is its unit.
    fn with_digits_after(&self, from: u32, digits: &DigitSamples<'_>) -> u32 {
        let mut right = from;
        while let Some(glyph) = self.glyph_after(right) {
            let likeness = digits.best_correlation(&self.strip, self.part(glyph));
            if glyph.start - right > self.heights(MAX_DIGIT_GAP) || likeness < MIN_DIGIT_LIKENESS {
                break;
            }
            right = glyph.end;
        }
        right
    }

    /// The glyph that ends at or before `x`, if it is wide enough for a digit.
    fn glyph_before(&self, x: u32) -> Option<Columns> {
        self.piece_before(x).filter(|piece| piece.width() >= self.heights(MIN_DIGIT_WIDTH))
    }

    /// The piece of text that ends at or before `x`. Of a piece wider than a digit, only its last digit is returned.
    fn piece_before(&self, x: u32) -> Option<Columns> {
        let mut columns = (self.rect.left..x).rev().skip_while(|x| self.strokes_at(*x) <= 0.0).peekable();
        let end = *columns.peek()? + 1;
        let start = columns.take_while(|x| self.strokes_at(*x) > 0.0).last()?;
        let is_wide = end - start > self.heights(MAX_DIGIT_WIDTH);
        let starts = end.saturating_sub(self.heights(MAX_DIGIT_WIDTH))
            ..=end.saturating_sub(self.heights(MIN_USUAL_DIGIT_WIDTH));
        let start = if is_wide { self.weakest(starts)? } else { start };
        Some(Columns::new(start, end))
    }

    /// The glyph that begins at or after `x`, if it is wide enough for a digit. Of a wider piece of text, only its first
    /// digit is returned.
    fn glyph_after(&self, x: u32) -> Option<Columns> {
        let mut columns = (x..self.rect.right()).skip_while(|x| self.strokes_at(*x) <= 0.0).peekable();
        let start = *columns.peek()?;
        let end = columns.take_while(|x| self.strokes_at(*x) > 0.0).last()? + 1;
        let is_wide = end - start > self.heights(MAX_DIGIT_WIDTH);
        let ends = start + self.heights(MIN_USUAL_DIGIT_WIDTH)..=start + self.heights(MAX_DIGIT_WIDTH);
        let end = if is_wide { self.weakest(ends)? } else { end };
        Some(Columns::new(start, end)).filter(|glyph| glyph.width() >= self.heights(MIN_DIGIT_WIDTH))
    }

    /// The column with the weakest strokes.
    fn weakest(&self, columns: impl Iterator<Item = u32>) -> Option<u32> {
        columns.min_by(|one, other| self.strokes_at(*one).total_cmp(&self.strokes_at(*other)))
    }

    /// The mean agreement over some columns, with the changed share of the column that changes most often.
    fn mean_agreement(&self, columns: Columns) -> Agreement {
        let skipped = columns.start.saturating_sub(self.rect.left) as usize;
        let columns = self.agreement.iter().skip(skipped).take(columns.width() as usize);
        let count = columns.len().max(1) as f32;
        let sum = columns.fold(Agreement::default(), |sum, column| Agreement {
            high: sum.high + column.high,
            low: sum.low + column.low,
            changed_share: sum.changed_share.max(column.changed_share),
        });
        Agreement { high: sum.high / count, low: sum.low / count, ..sum }
    }
}

/// Whether the text changes at a column.
fn changes(column: &Agreement) -> bool {
    column.high >= MIN_HIGH_AGREEMENT && column.low <= MAX_LOW_SHARE * column.high
}
