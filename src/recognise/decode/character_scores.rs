//! Scores of all characters that a region may show, at every column of its window.

use arrayvec::ArrayVec;
use ndarray::Array2;
use pulp::Arch;

use crate::recognise::features::scratch::ScratchBuffer;
use crate::recognise::score::matcher::Scorer;
use crate::recognise::templates::MAX_CHARACTERS;
use crate::recognise::templates::alphabet::{Alphabet, Shape};
use crate::recognise::templates::column_mask::ColumnMask;
use crate::recognise::text::grammar::Grammar;
use crate::recognise::text::placement::POSITION_TOLERANCE_HALF_COLS;

/// Scores of all characters that a region may show, at every column of its window. A score is a
/// log-likelihood ratio against no character.
pub(super) struct CharacterScores<'a> {
    pub features: &'a Array2<f32>,
    /// Row of the window at which the cells begin.
    pub top: usize,
    cols: usize,
    /// For each character and each whole column, the score with the cell's left edge there; negative infinity
    /// if the cell would extend beyond the features.
    whole: ScratchBuffer,
    /// For each character and each left edge, in halves of a working pixel, the best score at most
    /// [`POSITION_TOLERANCE_HALF_COLS`] away.
    near: ScratchBuffer,
    /// The width classes of the characters.
    pub classes: ArrayVec<WidthClass, MAX_CHARACTERS>,
    /// For each width class and each left edge, in halves of a working pixel, the best entry of `near` over the
    /// characters of the class.
    best: ScratchBuffer,
}

/// Characters of the same width that may stand at the same positions. Of texts that differ only in such
/// characters, the decoder keeps the best one.
pub(super) struct WidthClass {
    /// One of the characters.
    pub character: char,
    /// Distance to the left edge of the next character, in columns.
    pub advance: f32,
    /// Alphabet indices of the characters.
    members: ArrayVec<usize, MAX_CHARACTERS>,
}

impl<'a> CharacterScores<'a> {
    /// Computes the scores for the cells that begin at row `top`, at least at the columns of `mask`.
    pub fn new(
        (alphabet, scorer): (&Alphabet, &impl Scorer),
        grammar: &Grammar,
        mask: Option<&ColumnMask>,
        (features, top): (&'a Array2<f32>, usize),
    ) -> Self {
        let cols = features.ncols().max(1);
        let mut whole = ScratchBuffer::filled(alphabet.shapes.len() * cols, f32::NEG_INFINITY);
        let mut near = ScratchBuffer::filled(2 * whole.len(), f32::NEG_INFINITY);
        let indices: ArrayVec<usize, MAX_CHARACTERS> = (0..alphabet.shapes.len())
            .filter(|index| grammar.allows(alphabet.shapes[*index].character))
            .take(MAX_CHARACTERS)
            .collect();
        scorer.score_rows(&indices, features, top, mask, &mut whole);
        let mut line = ScratchBuffer::filled(2 * (cols + RADIUS), f32::NEG_INFINITY);
        let mut classes = ArrayVec::new();
        for index in indices {
            let near = &mut near[2 * cols * index..][..2 * cols];
            best_within(&whole[cols * index..][..cols], &mut line, near);
            add_to_classes(&mut classes, index, &alphabet.shapes[index]);
        }
        let mut best = ScratchBuffer::filled(2 * cols * classes.len(), f32::NEG_INFINITY);
        for (class, best) in classes.iter().zip(best.chunks_exact_mut(2 * cols)) {
            for index in &class.members {
                let near = &near[2 * cols * index..][..2 * cols];
                Arch::new().dispatch(|| {
                    let places = best.iter_mut().zip(near);
                    places.for_each(|(best, score)| *best = if *score > *best { *score } else { *best });
                });
            }
        }
        Self { features, top, cols, whole, near, classes, best }
    }

    /// Score of the character with alphabet index `index` whose left edge is at `left`, in halves of a working pixel.
    /// Between whole working pixels the score is interpolated, since it is linear in the features. `None` if the
    /// character does not fit into the window there.
    pub fn at(&self, index: usize, left: i32) -> Option<f32> {
        let whole = &self.whole[index * self.cols..][..self.cols];
        let column = usize::try_from(left.div_euclid(2)).ok()?;
        let here = *whole.get(column)?;
        let score = if left % 2 == 0 { here } else { 0.5 * (here + *whole.get(column + 1)?) };
        score.is_finite().then_some(score)
    }

    /// The best score of the character with alphabet index `index` whose left edge is at most [`RADIUS`] away from
    /// `left`, in halves of a working pixel; `None` if the character does not fit into the window at any of these
    /// positions.
    pub fn near(&self, index: usize, left: i32) -> Option<f32> {
        self.in_row(&self.near, index, left)
    }

    /// The best score of all characters of the width class with index `class` whose left edge is near `left` (at most
    /// [`RADIUS`] away), in halves of a working pixel; `None` if no character fits into the window there.
    pub fn best_near_of(&self, class: usize, left: i32) -> Option<f32> {
        self.in_row(&self.best, class, left)
    }

    fn in_row(&self, scores: &[f32], row: usize, left: i32) -> Option<f32> {
        let left = usize::try_from(left).ok().filter(|left| *left < 2 * self.cols)?;
        Some(scores[row * 2 * self.cols + left]).filter(|score| score.is_finite())
    }

    /// The alphabet index of that character of the width class with index `class` which has the best score with its
    /// left edge near `left` (at most [`RADIUS`] away), in halves of a working pixel.
    pub fn best_of(&self, class: usize, left: i32) -> usize {
        let members = &self.classes[class].members;
        let score = self.best_near_of(class, left);
        members.iter().copied().find(|index| self.near(*index, left) == score).unwrap_or(members[0])
    }

    /// The left edge at most [`RADIUS`] away from `left` at which the character with alphabet index `index` scores
    /// best, both in halves of a working pixel; `None` if the character does not fit into the window at any of these
    /// positions.
    pub fn best_position(&self, index: usize, left: i32) -> Option<i32> {
        let places = left - POSITION_TOLERANCE_HALF_COLS..=left + POSITION_TOLERANCE_HALF_COLS;
        let scored = places.filter_map(|left| Some((self.at(index, left)?, left)));
        scored.max_by(|a, b| a.0.total_cmp(&b.0)).map(|(_, left)| left)
    }
}

fn add_to_classes(classes: &mut ArrayVec<WidthClass, MAX_CHARACTERS>, index: usize, shape: &Shape) {
    let Shape { character, advance, .. } = *shape;
    let is_same = |class: &&mut WidthClass| {
        let are_digits = class.character.is_ascii_digit() && character.is_ascii_digit();
        are_digits && class.advance.to_bits() == advance.to_bits()
    };
    match classes.iter_mut().find(is_same) {
        Some(class) => class.members.push(index),
        None => classes.push(WidthClass { character, advance, members: std::iter::once(index).collect() }),
    }
}

/// Radius of the search around a position, in halves of a working pixel.
const RADIUS: usize = POSITION_TOLERANCE_HALF_COLS as usize;

/// Running maximum of scores: for each left edge, in halves of a working pixel, the best score at most [`RADIUS`]
/// away, computed from the scores at whole working pixels. `line` is a scratch buffer that is longer than `near` by
/// the radius on both sides, and filled with negative infinity.
fn best_within(whole: &[f32], line: &mut [f32], near: &mut [f32]) {
    if let (Some(place), Some(last)) =
        (line.get_mut(RADIUS + 2 * whole.len().saturating_sub(1)), whole.last())
    {
        *place = *last;
    }
    Arch::new().dispatch(|| {
        for (places, two) in line[RADIUS..].chunks_exact_mut(2).zip(whole.windows(2)) {
            (places[0], places[1]) = (two[0], 0.5 * (two[0] + two[1]));
        }
        for (best, places) in near.iter_mut().zip(line.windows(2 * RADIUS + 1)) {
            *best = places
                .iter()
                .fold(f32::NEG_INFINITY, |best, other| if *other > best { *other } else { best });
        }
    });
}
