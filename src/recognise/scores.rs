//! Scores of the characters that a text may be made of, wherever they may stand.

use arrayvec::ArrayVec;
use ndarray::Array2;
use pulp::Arch;

use super::alphabet::Shape;
use super::decode::{Decoder, MOST_SHAPES, WITHIN_PLACE_HALVES};
use super::matcher::Scorer;
use super::scratch::ScratchBuffer;

/// Scores of the characters that the texts are made of, by column.
pub(super) struct Scores<'a> {
    pub features: &'a Array2<f32>,
    pub top: usize,
    cols: usize,
    /// By character, then whole column; negative infinity where the cell leaves the features.
    whole: ScratchBuffer,
    /// By character, then half column: the best score within [`WITHIN_PLACE_HALVES`].
    near: ScratchBuffer,
    /// The kinds of the characters.
    pub kinds: ArrayVec<Kind, MOST_SHAPES>,
    /// The best of `near` of all characters of a kind: by kind, then half column.
    best: ScratchBuffer,
}

/// Characters that may stand in the same places and are equally wide, so that of texts that differ in these alone only
/// the best is worth going on with.
pub(super) struct Kind {
    /// One of them.
    pub character: char,
    /// Distance from their left edge to that of the next character, in columns.
    pub advance: f32,
    /// Their alphabet indices.
    members: ArrayVec<usize, MOST_SHAPES>,
}

impl<'a> Scores<'a> {
    /// The scores in the row of cells with its top edge at `top`.
    pub fn new(decoder: &Decoder<'_, impl Scorer>, features: &'a Array2<f32>, top: usize) -> Self {
        let Decoder { alphabet, scorer, grammar, reach } = decoder;
        let cols = features.ncols().max(1);
        let mut whole = ScratchBuffer::filled(alphabet.shapes.len() * cols, f32::NEG_INFINITY);
        let mut near = ScratchBuffer::filled(2 * whole.len(), f32::NEG_INFINITY);
        let taken: ArrayVec<usize, MOST_SHAPES> = (0..alphabet.shapes.len())
            .filter(|index| grammar.takes(alphabet.shapes[*index].character))
            .take(MOST_SHAPES)
            .collect();
        scorer.score_rows(&taken, features, top, *reach, &mut whole);
        let mut line = ScratchBuffer::filled(2 * (cols + REACH), f32::NEG_INFINITY);
        let mut kinds = ArrayVec::new();
        for index in taken {
            let near = &mut near[2 * cols * index..][..2 * cols];
            best_within(&whole[cols * index..][..cols], &mut line, near);
            add_to_kinds(&mut kinds, index, &alphabet.shapes[index]);
        }
        let mut best = ScratchBuffer::filled(2 * cols * kinds.len(), f32::NEG_INFINITY);
        for (kind, best) in kinds.iter().zip(best.chunks_exact_mut(2 * cols)) {
            for index in &kind.members {
                let near = &near[2 * cols * index..][..2 * cols];
                Arch::new().dispatch(|| {
                    let places = best.iter_mut().zip(near);
                    places.for_each(|(best, score)| *best = if *score > *best { *score } else { *best });
                });
            }
        }
        Self { features, top, cols, whole, near, kinds, best }
    }

    /// Score of a character with its left edge at a half column: between the whole columns the score,
    /// being linear in the features, is interpolated.
    pub fn at(&self, index: usize, left: i32) -> Option<f32> {
        let whole = &self.whole[index * self.cols..][..self.cols];
        let column = usize::try_from(left.div_euclid(2)).ok()?;
        let here = *whole.get(column)?;
        let score = if left % 2 == 0 { here } else { 0.5 * (here + *whole.get(column + 1)?) };
        score.is_finite().then_some(score)
    }

    /// The best score near a place.
    pub fn near(&self, index: usize, left: i32) -> Option<f32> {
        self.in_row(&self.near, index, left)
    }

    /// The best score near a place that a character of a kind has there.
    pub fn best_near_of(&self, kind: usize, left: i32) -> Option<f32> {
        self.in_row(&self.best, kind, left)
    }

    fn in_row(&self, scores: &[f32], row: usize, left: i32) -> Option<f32> {
        let left = usize::try_from(left).ok().filter(|left| *left < 2 * self.cols)?;
        Some(scores[row * 2 * self.cols + left]).filter(|score| score.is_finite())
    }

    /// Which character it is.
    pub fn best_of(&self, kind: usize, left: i32) -> usize {
        let members = &self.kinds[kind].members;
        let score = self.best_near_of(kind, left);
        members.iter().copied().find(|index| self.near(*index, left) == score).unwrap_or(members[0])
    }

    /// Where near a place the best score is.
    pub fn best_near(&self, index: usize, left: i32) -> Option<i32> {
        let places = left - WITHIN_PLACE_HALVES..=left + WITHIN_PLACE_HALVES;
        let scored = places.filter_map(|left| Some((self.at(index, left)?, left)));
        scored.max_by(|a, b| a.0.total_cmp(&b.0)).map(|(_, left)| left)
    }
}

fn add_to_kinds(kinds: &mut ArrayVec<Kind, MOST_SHAPES>, index: usize, shape: &Shape) {
    let Shape { character, advance, .. } = *shape;
    let is_like = |kind: &&mut Kind| {
        let same = kind.character.is_ascii_digit() && character.is_ascii_digit();
        same && kind.advance.to_bits() == advance.to_bits()
    };
    match kinds.iter_mut().find(is_like) {
        Some(kind) => kind.members.push(index),
        None => kinds.push(Kind { character, advance, members: std::iter::once(index).collect() }),
    }
}

/// Half columns before and behind a line that a character may stand off to.
const REACH: usize = WITHIN_PLACE_HALVES as usize;

/// The best of the scores within [`REACH`] of every half column, from those at whole columns; `line` is room to work in,
/// as long as `near` with its reach, and negative infinity wherever no score goes.
fn best_within(whole: &[f32], line: &mut [f32], near: &mut [f32]) {
    if let (Some(place), Some(last)) = (line.get_mut(REACH + 2 * whole.len().saturating_sub(1)), whole.last())
    {
        *place = *last;
    }
    Arch::new().dispatch(|| {
        for (places, two) in line[REACH..].chunks_exact_mut(2).zip(whole.windows(2)) {
            (places[0], places[1]) = (two[0], 0.5 * (two[0] + two[1]));
        }
        for (best, places) in near.iter_mut().zip(line.windows(2 * REACH + 1)) {
            *best = places
                .iter()
                .fold(f32::NEG_INFINITY, |best, other| if *other > best { *other } else { best });
        }
    });
}
