//! From a line of text to the readouts in it: the digits without icon, label and unit letters.

use rayon::prelude::*;

use super::change::{Agreement, Strip};
use super::digits::Digits;
use super::ghost::Ghost;
use super::lines::tight;
use super::plane::quantile;
use crate::geometry::PixelRect;

/// A column changes where little agreement falls below this share of good agreement.
const CHANGE_SHARE: f32 = 0.68;
/// Good agreement below this is that of scenery.
const LEAST_SAME: f32 = 0.35;
/// Least stretch that changes, in heights of the line: the ends of a label may seem to.
const LEAST_RUN: f32 = 0.3;
/// Good agreement of what surely stays the same.
const SURE_SAME: f32 = 0.6;
/// Least share of a column that the ghost covers where a digit is shown in few frames.
const FAINT_COVER: f32 = 0.25;
/// Narrowest digit, in heights of the line.
const NARROWEST: f32 = 0.25;
/// Narrowest digit but for the 1.
const USUAL_NARROW: f32 = 0.4;
/// Widest digit.
const WIDEST: f32 = 0.85;
/// Widest gap between digits of one value, a point that never changes included.
const INNER_GAP: f32 = 0.8;
/// Widest gap between a value and the letters of its unit.
const LABEL_GAP: f32 = 1.2;
/// Least width of two digits.
const TWO_DIGITS: f32 = 0.9;
/// Widest gap between a digit that never changes and one that does.
const DIGIT_GAP: f32 = 0.3;
/// Widest gap between a decimal point and the digits beside it: fixed-pitch type sets it apart.
const POINT_GAP: f32 = 0.45;
/// Widest decimal point.
const WIDEST_POINT: f32 = 0.35;
/// Highest decimal point, in heights of the line.
const HIGHEST_POINT: f32 = 0.6;
/// Widest gap that surely joins a glyph that looks like none of the digits seen to a number.
const SURE_GAP: f32 = 0.16;
/// Correlation from which a glyph may be a digit seen elsewhere: across a wider gap stand icons.
const LIKE_DIGIT: f32 = 0.7;
/// Least height of a digit that stays, in heights of those that change.
const LEAST_HEIGHT: f32 = 0.85;
/// Most that the foot of a digit that stays may be off the base line.
const BASE_LINE: f32 = 0.12;
/// Most digits before the changing ones that stay throughout: a longer row of glyphs is a word.
const MOST_STILL: usize = 3;
/// A column with less ink than this share of an inked one is a gap between glyphs.
const GAP_INK: f32 = 0.25;
/// Correlation from which a glyph that never changes counts as a digit seen elsewhere.
const SAME_DIGIT: f32 = 0.85;

/// Digits found in a line.
#[derive(Debug, Clone)]
pub(super) struct Readout {
    /// Where, with the spread of the ghost.
    pub(super) span: PixelRect,
    /// The agreement over the columns that change; 0 where none does.
    pub(super) agreement: Agreement,
    /// Whether the last digit stays the same while others change.
    pub(super) last_stays: bool,
    /// Width of the text behind that stays, in heights of the line: the letters of the unit.
    pub(super) label: f32,
}

/// A line with what is known of each column.
struct Line {
    span: PixelRect,
    strip: Strip,
    ink: Vec<f32>,
    agreement: Vec<Agreement>,
    /// Share of each column that the ghost covers.
    covered: Vec<f32>,
    /// Columns that change, `left..right`, in pixels of the frame.
    runs: Vec<(u32, u32)>,
}

/// Finds the readouts in lines of text.
pub(super) fn find_readouts(ghost: &Ghost, lines: &[PixelRect]) -> Vec<Readout> {
    let lines: Vec<Line> = lines.par_iter().map(|span| Line::of(ghost, *span)).collect();
    let digits = Digits::in_places(
        &ghost.strength,
        lines.iter().flat_map(|line| line.runs.iter().map(|run| (&line.strip, line.part(*run)))),
    );
    let of_line = |line: &Line| -> Vec<Readout> {
        if line.runs.is_empty() {
            return line.constant(&digits).into_iter().collect();
        }
        line.runs.iter().map(|run| line.readout(*run, &digits)).collect()
    };
    let mut readouts: Vec<Readout> = lines.par_iter().flat_map_iter(of_line).collect();
    for readout in &mut readouts {
        readout.label = lines.iter().map(|line| line.label_behind(readout.span)).fold(0.0, f32::max);
    }
    readouts.iter_mut().for_each(|readout| readout.span = tight(readout.span, &ghost.strength));
    readouts
}

impl Line {
    fn of(ghost: &Ghost, span: PixelRect) -> Self {
        let column = |x: u32| (span.top..span.bottom()).map(|y| ghost.fine.at(x as usize, y as usize)).sum();
        let mut ink: Vec<f32> = (span.left..span.right()).map(column).collect();
        let least = GAP_INK * quantile(&mut ink.clone(), 0.7);
        ink.iter_mut().for_each(|ink| *ink = (*ink - least).max(0.0));
        let strip = Strip::of(&ghost.frames, span);
        let agreement = strip.agreement_along(span);
        let inked = |x: &u32| {
            (span.top..span.bottom()).filter(|y| ghost.strength.at(*x as usize, *y as usize) > 0.0).count()
        };
        let covered = (span.left..span.right()).map(|x| inked(&x) as f32 / span.height as f32).collect();
        let mut line = Self { span, strip, ink, agreement, covered, runs: Vec::new() };
        line.runs = line.find_runs();
        line
    }

    /// The part of the line between two columns.
    fn part(&self, (left, right): (u32, u32)) -> PixelRect {
        self.span.with_columns(left, right)
    }

    fn heights(&self, share: f32) -> u32 {
        (self.span.height as f32 * share).round() as u32
    }

    /// Stretches that change and are wide enough for a digit, those of one value joined.
    fn find_runs(&self) -> Vec<(u32, u32)> {
        let mut runs: Vec<(u32, u32)> = Vec::new();
        let mut right = self.span.left;
        for stretch in self.agreement.chunk_by(|one, next| changes(one) == changes(next)) {
            let left = right;
            right += stretch.len() as u32;
            if !stretch.iter().all(changes) || right - left < self.heights(LEAST_RUN) {
                continue;
            }
            match runs.last_mut() {
                Some((_, end)) if left - *end <= self.heights(INNER_GAP) => *end = right,
                _ => runs.push((left, right)),
            }
        }
        let whole =
            |(left, right)| (self.snapped(self.faint_before(left)), self.snapped(self.faint_after(right)));
        runs.into_iter().map(whole).filter(|(left, right)| left < right).collect()
    }

    /// Goes on to the left over the faint ink of digits that are shown in few frames.
    fn faint_before(&self, left: u32) -> u32 {
        (self.span.left..left).rev().take_while(|x| self.is_faint(*x)).last().unwrap_or(left)
    }

    /// Goes on to the right over the faint ink of digits that are shown in few frames.
    fn faint_after(&self, right: u32) -> u32 {
        (right..self.span.right()).take_while(|x| self.is_faint(*x)).last().map_or(right, |x| x + 1)
    }

    /// Whether a column holds some of the ghost and does not stay the same.
    fn is_faint(&self, x: u32) -> bool {
        let at = x.checked_sub(self.span.left).map_or(usize::MAX, |at| at as usize);
        let stays = self.agreement.get(at).is_none_or(|column| !changes(column) && column.same >= SURE_SAME);
        !stays && self.covered.get(at).is_some_and(|share| *share >= FAINT_COVER)
    }

    /// The column with the least ink near `x`: the gap between two glyphs.
    fn snapped(&self, x: u32) -> u32 {
        let reach = self.heights(0.15);
        let near = x.saturating_sub(reach).max(self.span.left)..=(x + reach).min(self.span.right());
        near.min_by(|one, other| {
            self.ink_at(*one).total_cmp(&self.ink_at(*other)).then(one.abs_diff(x).cmp(&other.abs_diff(x)))
        })
        .unwrap_or(x)
    }

    fn ink_at(&self, x: u32) -> f32 {
        x.checked_sub(self.span.left).and_then(|at| self.ink.get(at as usize)).copied().unwrap_or(0.0)
    }

    /// The changing columns with the digits beside them that never change.
    fn readout(&self, run: (u32, u32), digits: &Digits<'_>) -> Readout {
        let left = self.still_digits_before(run, digits);
        let right = self.grown_right(run.1, digits);
        Readout {
            span: self.part((left, right)),
            agreement: self.mean_agreement(run),
            last_stays: right > run.1,
            label: 0.0,
        }
    }

    /// A value that never changes: digits known from other readouts, at least two.
    fn constant(&self, digits: &Digits<'_>) -> Option<Readout> {
        let mut right = self.span.right();
        while let Some((start, end)) = self.glyph_before(right) {
            let left = self.grown_left(end, digits);
            if end - left >= self.heights(TWO_DIGITS) {
                let span = self.part((left, end));
                return Some(Readout { span, agreement: Agreement::default(), last_stays: true, label: 0.0 });
            }
            right = start;
        }
        None
    }

    /// How far text that stays goes on behind a readout, in heights of the line.
    fn label_behind(&self, readout: PixelRect) -> f32 {
        let near = self.span.left <= readout.right() + self.heights(LABEL_GAP);
        if self.span.right() <= readout.right()
            || !near
            || self.span.shared_rows(readout) * 2 < readout.height
        {
            return 0.0;
        }
        let start = self.span.left.max(readout.right());
        let end = self.runs.iter().map(|run| run.0).find(|left| *left > start).unwrap_or(self.span.right());
        (end - start) as f32 / self.span.height as f32
    }

    /// Goes on to the left over glyphs that stay but stand like digits of the same number: as high,
    /// on the same base line, no further apart, a decimal point between them allowed. A lost leading
    /// digit would give wrong values, a letter too much only blanks.
    fn still_digits_before(&self, run: (u32, u32), digits: &Digits<'_>) -> u32 {
        let changing = tight(self.part(run), digits.strength());
        let before = |left: &u32| self.still_digit_before(*left, changing, digits);
        std::iter::successors(Some(run.0), before).take(1 + MOST_STILL).last().unwrap_or(run.0)
    }

    /// Where the next digit to the left begins, a point between passed over.
    fn still_digit_before(&self, left: u32, changing: PixelRect, digits: &Digits<'_>) -> Option<u32> {
        let (start, end) = self.piece_before(left)?;
        if left - end <= self.heights(POINT_GAP) && self.is_point((start, end), changing, digits) {
            let (before, before_end) = self.piece_before(start)?;
            let joined = start - before_end <= self.heights(POINT_GAP);
            return (joined && self.stands_like((before, before_end), changing, digits)).then_some(before);
        }
        let gap = left - end;
        let joined = gap <= self.heights(SURE_GAP)
            || gap <= self.heights(DIGIT_GAP)
                && digits.likeness(&self.strip, self.part((start, end))) >= LIKE_DIGIT;
        (joined && self.stands_like((start, end), changing, digits)).then_some(start)
    }

    fn is_point(&self, piece: (u32, u32), changing: PixelRect, digits: &Digits<'_>) -> bool {
        let point = tight(self.part(piece), digits.strength());
        let low = point.height as f32 <= HIGHEST_POINT * changing.height as f32;
        low && piece.1 - piece.0 <= self.heights(WIDEST_POINT) && self.on_base_line(point, changing)
    }

    fn stands_like(&self, piece: (u32, u32), changing: PixelRect, digits: &Digits<'_>) -> bool {
        let glyph = tight(self.part(piece), digits.strength());
        let height = changing.height as f32;
        let high = (glyph.height as f32) >= LEAST_HEIGHT * height;
        high && glyph.height as f32 * LEAST_HEIGHT <= height && self.on_base_line(glyph, changing)
    }

    fn on_base_line(&self, glyph: PixelRect, changing: PixelRect) -> bool {
        glyph.bottom().abs_diff(changing.bottom()) <= self.heights(BASE_LINE).max(1)
    }

    /// Goes on to the left over digits known from other readouts.
    fn grown_left(&self, from: u32, digits: &Digits<'_>) -> u32 {
        let mut left = from;
        while let Some((start, end)) = self.glyph_before(left) {
            let likeness = digits.likeness(&self.strip, self.part((start, end)));
            if left - end > self.heights(DIGIT_GAP) || likeness < SAME_DIGIT {
                break;
            }
            left = start;
        }
        left
    }

    /// Goes on to the right over digits known from other readouts: the last digit may stay at
    /// nought, but most of what follows is a unit.
    fn grown_right(&self, from: u32, digits: &Digits<'_>) -> u32 {
        let mut right = from;
        while let Some((start, end)) = self.glyph_after(right) {
            let likeness = digits.likeness(&self.strip, self.part((start, end)));
            if start - right > self.heights(DIGIT_GAP) || likeness < SAME_DIGIT {
                break;
            }
            right = end;
        }
        right
    }

    /// The glyph that ends at or before `x`, wide enough for a digit.
    fn glyph_before(&self, x: u32) -> Option<(u32, u32)> {
        self.piece_before(x).filter(|(start, end)| end - start >= self.heights(NARROWEST))
    }

    /// The piece of text that ends at or before `x`; of a long one as much as a digit takes.
    fn piece_before(&self, x: u32) -> Option<(u32, u32)> {
        let mut columns = (self.span.left..x).rev().skip_while(|x| self.ink_at(*x) <= 0.0).peekable();
        let end = *columns.peek()? + 1;
        let start = columns.take_while(|x| self.ink_at(*x) > 0.0).last()?;
        let ends = end.saturating_sub(self.heights(WIDEST))..=end.saturating_sub(self.heights(USUAL_NARROW));
        let start = if end - start > self.heights(WIDEST) { self.thinnest(ends)? } else { start };
        Some((start, end))
    }

    /// The glyph that begins at or after `x`; of a longer piece of text as much as a digit takes.
    fn glyph_after(&self, x: u32) -> Option<(u32, u32)> {
        let mut columns = (x..self.span.right()).skip_while(|x| self.ink_at(*x) <= 0.0).peekable();
        let start = *columns.peek()?;
        let end = columns.take_while(|x| self.ink_at(*x) > 0.0).last()? + 1;
        let ends = start + self.heights(USUAL_NARROW)..=start + self.heights(WIDEST);
        let end = if end - start > self.heights(WIDEST) { self.thinnest(ends)? } else { end };
        (end - start >= self.heights(NARROWEST)).then_some((start, end))
    }

    fn thinnest(&self, columns: impl Iterator<Item = u32>) -> Option<u32> {
        columns.min_by(|one, other| self.ink_at(*one).total_cmp(&self.ink_at(*other)))
    }

    /// Mean agreement over columns, with the change of the column that changes most.
    fn mean_agreement(&self, (left, right): (u32, u32)) -> Agreement {
        let skipped = left.saturating_sub(self.span.left) as usize;
        let columns = self.agreement.iter().skip(skipped).take((right - left) as usize);
        let count = columns.len().max(1) as f32;
        let sum = columns.fold(Agreement::default(), |sum, column| Agreement {
            same: sum.same + column.same,
            other: sum.other + column.other,
            changed: sum.changed.max(column.changed),
        });
        Agreement { same: sum.same / count, other: sum.other / count, ..sum }
    }
}

fn changes(column: &Agreement) -> bool {
    column.same >= LEAST_SAME && column.other <= CHANGE_SHARE * column.same
}
