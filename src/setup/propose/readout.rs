//! From a line of text to the readouts in it: the digits without icon, label and unit letters.

use image::GrayImage;

use super::change::{Agreement, agreement_along, dot, normalised};
use super::ghost::Ghost;
use super::lines::Span;
use super::plane::{Plane, quantile};

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
/// Widest gap between a digit that never changes and one that does.
const DIGIT_GAP: f32 = 0.3;
/// Widest gap, in pixels of the ghost, between letters that touch but for the usual space.
const TOUCHING: f32 = 0.07;
/// A column with less ink than this share of an inked one is a gap between glyphs.
const GAP_INK: f32 = 0.2;
/// Correlation from which a glyph that never changes counts as a digit seen elsewhere.
const SAME_DIGIT: f32 = 0.9;
/// Correlation below which a glyph looks like none of the digits seen.
const NO_DIGIT: f32 = 0.7;
/// Heights of lines in one font differ by less than this share.
const SAME_FONT: f32 = 0.2;

/// Digits found in a line.
#[derive(Debug, Clone)]
pub(super) struct Readout {
    /// Where, with the spread of the ghost.
    pub(super) span: Span,
    /// The agreement over the columns that change; 0 where none does.
    pub(super) agreement: Agreement,
}

/// A line with what is known of each column.
struct Line {
    span: Span,
    ink: Vec<f32>,
    agreement: Vec<Agreement>,
    /// Share of each column that the ghost covers.
    covered: Vec<f32>,
    /// Columns that change, `left..right`, in pixels of the frame.
    runs: Vec<(u32, u32)>,
}

/// Finds the readouts in lines of text.
pub(super) fn find_readouts(ghost: &Ghost, lines: &[Span]) -> Vec<Readout> {
    let lines: Vec<Line> = lines.iter().map(|span| Line::of(ghost, *span)).collect();
    let digits = Digits::in_lines(ghost, &lines);
    let mut readouts = Vec::new();
    for line in &lines {
        for run in &line.runs {
            readouts.push(line.readout(*run, &digits));
        }
        if line.runs.is_empty() {
            readouts.extend(line.constant(&digits));
        }
    }
    readouts.iter_mut().for_each(|readout| readout.span = tight(&ghost.strength, readout.span));
    readouts
}

impl Line {
    fn of(ghost: &Ghost, span: Span) -> Self {
        let column =
            |x: u32| (span.top..span.bottom).map(|y| ghost.strength.at(x as usize, y as usize)).sum();
        let ink = (span.left..span.right).map(column).collect();
        let agreement = agreement_along(&ghost.frames, span);
        let inked = |x: &u32| {
            (span.top..span.bottom).filter(|y| ghost.strength.at(*x as usize, *y as usize) > 0.0).count()
        };
        let covered = (span.left..span.right).map(|x| inked(&x) as f32 / span.height() as f32).collect();
        let mut line = Self { span, ink, agreement, covered, runs: Vec::new() };
        line.runs = line.find_runs();
        if std::env::var("DBG").is_ok() {
            let s = |f: &dyn Fn(&Agreement) -> f32| {
                line.agreement
                    .iter()
                    .step_by(3)
                    .map(|x| format!("{:2}", (f(x) * 99.0) as i32))
                    .collect::<Vec<_>>()
                    .join(" ")
            };
            let k = line
                .ink
                .iter()
                .step_by(3)
                .map(|x| format!("{:2}", (*x / 10.0).min(99.0) as i32))
                .collect::<Vec<_>>()
                .join(" ");
            eprintln!(
                "{span:?} runs {:?}\n  same  {}\n  other {}\n ink    {k}",
                line.runs,
                s(&|x| x.same),
                s(&|x| x.other)
            );
        }
        line
    }

    fn heights(&self, share: f32) -> u32 {
        (self.span.height() as f32 * share).round() as u32
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
        runs.into_iter().map(whole).collect()
    }

    /// Goes on to the left over the faint ink of digits that are shown in few frames.
    fn faint_before(&self, left: u32) -> u32 {
        (self.span.left..left).rev().take_while(|x| self.is_faint(*x)).last().unwrap_or(left)
    }

    /// Goes on to the right over the faint ink of digits that are shown in few frames.
    fn faint_after(&self, right: u32) -> u32 {
        (right..self.span.right).take_while(|x| self.is_faint(*x)).last().map_or(right, |x| x + 1)
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
        let near = x.saturating_sub(reach).max(self.span.left)..=(x + reach).min(self.span.right);
        near.min_by(|one, other| {
            self.ink_at(*one).total_cmp(&self.ink_at(*other)).then(one.abs_diff(x).cmp(&other.abs_diff(x)))
        })
        .unwrap_or(x)
    }

    fn ink_at(&self, x: u32) -> f32 {
        x.checked_sub(self.span.left).and_then(|at| self.ink.get(at as usize)).copied().unwrap_or(0.0)
    }

    /// The changing columns with the digits beside them that never change.
    fn readout(&self, (left, right): (u32, u32), digits: &Digits<'_>) -> Readout {
        let agreement = self.mean_agreement(left, right);
        let left = self.grown_left(left, digits, NO_DIGIT);
        let right = self.grown_right(right, digits);
        Readout { span: Span { left, right, ..self.span }, agreement }
    }

    /// A value that never changes: digits at the end of a line, known from other readouts.
    fn constant(&self, digits: &Digits<'_>) -> Option<Readout> {
        let right = self.span.right;
        let left = self.grown_left(right, digits, SAME_DIGIT);
        (left < right)
            .then(|| Readout { span: Span { left, right, ..self.span }, agreement: Agreement::default() })
    }

    /// Goes on to the left over digits. What touches is taken unless it looks like no digit at
    /// all (`unlike`): a lost leading digit would give wrong values, an icon too much only blanks.
    fn grown_left(&self, from: u32, digits: &Digits<'_>, unlike: f32) -> u32 {
        let mut left = from;
        while let Some((start, end)) = self.glyph_before(left) {
            let gap = left - end;
            let likeness = digits.likeness(Span { left: start, right: end, ..self.span });
            let touches = gap <= self.heights(TOUCHING) && likeness >= unlike;
            if std::env::var("DBG").is_ok() {
                eprintln!("left {:?} {left} glyph {start}..{end} {likeness:.2}", self.span);
            }
            if gap <= self.heights(DIGIT_GAP) && likeness >= SAME_DIGIT {
                left = start;
            } else {
                return if touches { start } else { left };
            }
        }
        left
    }

    /// Goes on to the right over digits known from other readouts: the last digit may stay at
    /// nought, but most of what follows is a unit.
    fn grown_right(&self, from: u32, digits: &Digits<'_>) -> u32 {
        let mut right = from;
        while let Some((start, end)) = self.glyph_after(right) {
            let likeness = digits.likeness(Span { left: start, right: end, ..self.span });
            if std::env::var("DBG").is_ok() {
                eprintln!("right {:?} {right} glyph {start}..{end} {likeness:.2}", self.span);
            }
            if likeness < SAME_DIGIT || start - right > self.heights(DIGIT_GAP) {
                break;
            }
            right = end;
        }
        right
    }

    /// The glyph that ends at or before `x`; of a longer piece of text as much as a digit takes.
    fn glyph_before(&self, x: u32) -> Option<(u32, u32)> {
        let mut columns = (self.span.left..x).rev().skip_while(|x| self.ink_at(*x) <= 0.0).peekable();
        let end = *columns.peek()? + 1;
        let start = columns.take_while(|x| self.ink_at(*x) > 0.0).last()?;
        let ends = end.saturating_sub(self.heights(WIDEST))..=end.saturating_sub(self.heights(USUAL_NARROW));
        let start = if end - start > self.heights(WIDEST) { self.thinnest(ends)? } else { start };
        (end - start >= self.heights(NARROWEST)).then_some((start, end))
    }

    /// The glyph that begins at or after `x`; of a longer piece of text as much as a digit takes.
    fn glyph_after(&self, x: u32) -> Option<(u32, u32)> {
        let mut columns = (x..self.span.right).skip_while(|x| self.ink_at(*x) <= 0.0).peekable();
        let start = *columns.peek()?;
        let end = columns.take_while(|x| self.ink_at(*x) > 0.0).last()? + 1;
        let ends = start + self.heights(USUAL_NARROW)..=start + self.heights(WIDEST);
        let end = if end - start > self.heights(WIDEST) { self.thinnest(ends)? } else { end };
        (end - start >= self.heights(NARROWEST)).then_some((start, end))
    }

    fn thinnest(&self, columns: impl Iterator<Item = u32>) -> Option<u32> {
        columns.min_by(|one, other| self.ink_at(*one).total_cmp(&self.ink_at(*other)))
    }

    fn mean_agreement(&self, left: u32, right: u32) -> Agreement {
        let mut mean = Agreement::default();
        let columns = (self.span.left..).zip(&self.agreement).filter(|(x, _)| (left..right).contains(x));
        let mut count = 0.0f32;
        for (_, column) in columns {
            count += 1.0;
            mean.same += column.same;
            mean.other += column.other;
            mean.changed = mean.changed.max(column.changed);
        }
        Agreement {
            same: mean.same / count.max(1.0),
            other: mean.other / count.max(1.0),
            changed: mean.changed,
        }
    }
}

fn changes(column: &Agreement) -> bool {
    column.same >= LEAST_SAME && column.other <= CHANGE_SHARE * column.same
}

/// The digits that are seen to change, to know others by.
struct Digits<'a> {
    ghost: &'a Ghost,
    places: Vec<Span>,
}

impl<'a> Digits<'a> {
    fn in_lines(ghost: &'a Ghost, lines: &[Line]) -> Self {
        let places = lines.iter().flat_map(|line| {
            line.runs.iter().map(|(left, right)| Span { left: *left, right: *right, ..line.span })
        });
        Self { ghost, places: places.map(|place| tight(&ghost.strength, place)).collect() }
    }

    /// How much a glyph looks like the digit most like it in the same font (correlation).
    fn likeness(&self, glyph: Span) -> f32 {
        let glyph = tight(&self.ghost.strength, glyph);
        let template = self.mean_patch(glyph);
        let mut best = 0.0f32;
        for place in self.places.iter().filter(|place| same_font(**place, glyph)) {
            for frame in self.ghost.frames.iter().step_by(2) {
                for left in (place.left..=place.right.saturating_sub(glyph.width())).step_by(2) {
                    for top in place.top.saturating_sub(2)..=place.top + 2 {
                        let window =
                            Span { left, right: left + glyph.width(), top, bottom: top + glyph.height() };
                        best = best.max(dot(&template, &normalised(frame, window)));
                    }
                }
            }
        }
        best
    }

    fn mean_patch(&self, glyph: Span) -> Vec<f32> {
        let mut mean = vec![0.0; (glyph.width() * glyph.height()) as usize];
        for frame in &self.ghost.frames {
            for (sum, value) in mean.iter_mut().zip(normalised(frame, glyph)) {
                *sum += value;
            }
        }
        let norm = dot(&mean, &mean).sqrt().max(1e-6);
        mean.iter_mut().for_each(|value| *value /= norm);
        mean
    }
}

fn same_font(one: Span, other: Span) -> bool {
    let (low, high) = (one.height().min(other.height()) as f32, one.height().max(other.height()) as f32);
    high - low <= SAME_FONT * high
}

/// The span without rows and columns that hold no ink.
fn tight(strength: &Plane, span: Span) -> Span {
    let inked = |x: u32, y: u32| strength.at(x as usize, y as usize) > 0.0;
    let row = |y: &u32| (span.left..span.right).any(|x| inked(x, *y));
    let column = |x: &u32| (span.top..span.bottom).any(|y| inked(*x, y));
    Span {
        left: (span.left..span.right).find(column).unwrap_or(span.left),
        right: (span.left..span.right).rev().find(column).map_or(span.right, |x| x + 1),
        top: (span.top..span.bottom).find(row).unwrap_or(span.top),
        bottom: (span.top..span.bottom).rev().find(row).map_or(span.bottom, |y| y + 1),
    }
}
