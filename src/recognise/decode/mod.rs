//! Decoding: finds the text that explains a region's features best ([`Decoder`]) and the best texts of other lengths,
//! and decides whether the text can be read ([`legibility`]).
//!
//! The search is dynamic programming over the prefix tree of the region's [grammar](super::text::grammar): for every
//! partial text it keeps the best way to reach each possible position of its edge that is not anchored.

mod character_scores;
pub mod decoded;
pub mod legibility;
pub mod margins;

use arrayvec::ArrayVec;
use ndarray::Array2;

use super::features::cells::{copy_features_at, correlation_of, dot, features_at};
use super::score::matcher::Scorer;
use super::templates::MAX_CHARACTERS;
use super::templates::alphabet::Alphabet;
use super::templates::column_mask::{ColumnMask, start_half_columns};
use super::text::grammar::{Grammar, GrammarNode};
use super::text::placement::{Anchor, Placement};
use super::text::{MAX_TEXT_LENGTH, Text};
use character_scores::CharacterScores;
use decoded::{Decoded, DecodedCharacter, cells_beside};

/// Minimum contrast of a digit that begins inside the cell of a last 1, relative to its template, for the text to be longer than
/// decoded. It is high, since the strokes of the 1 itself give other digits some contrast there (set by judgement).
const MIN_OVERLAPPING_CONTRAST: f32 = 0.7;

/// Decodes the text of one region.
#[derive(Debug, Clone)]
pub struct Decoder<'a, S> {
    /// The templates of the characters.
    pub alphabet: &'a Alphabet,
    /// The scorer that tells how well a character explains a cell.
    pub scorer: &'a S,
    /// The grammar: the texts that the region may show.
    pub grammar: &'a Grammar,
    /// Columns at which the characters can stand; `None` for all columns.
    pub mask: Option<&'a ColumnMask>,
}

/// A partial text, built from the anchored edge outwards: its last character, and the partial text before
/// that character.
#[derive(Debug, Clone, Copy)]
struct PartialText {
    /// Position of the edge of the text that is not anchored, in halves of a working pixel from the left edge of the
    /// features.
    edge: i32,
    /// Sum of the scores of the characters.
    score: f32,
    /// Index of the width class of the last character.
    class: usize,
    /// Left edge of the last character, in halves of a working pixel from the left edge of the features.
    left: i32,
    /// Index of the partial text without the last character; `None` for the first character.
    parent: Option<usize>,
}

/// The characters of a text: for each, its index in the alphabet, and its left edge in halves of a working pixel from
/// the left edge of the features.
type CharacterPath = ArrayVec<(usize, i32), MAX_TEXT_LENGTH>;

/// The best text of one form that the grammar allows, such as two digits, a point and one digit.
#[derive(Debug, Clone)]
struct CompleteText {
    score: f32,
    /// The characters of the text, from left to right.
    path: CharacterPath,
}

/// Initial capacity: number of partial texts for each node of the prefix tree (set by judgement).
const USUAL_PARTIAL_TEXTS: usize = 8;

/// The partial texts whose anchored edge is at one position.
#[derive(Debug)]
struct PartialTexts {
    all: Vec<PartialText>,
    /// For every node of the prefix tree, the range of its partial texts.
    by_node: Vec<std::ops::Range<usize>>,
}

impl<S: Scorer> Decoder<'_, S> {
    /// The best text at a placement; `None` if no text fits into the features.
    #[must_use]
    pub fn decode(&self, features: &Array2<f32>, placement: &Placement) -> Option<Decoded> {
        let Self { alphabet, scorer, grammar, mask } = *self;
        let scores = CharacterScores::new((alphabet, scorer), grammar, mask, (features, placement.top));
        let nodes = self.grammar.nodes(placement.anchor);
        let mut best: Vec<Option<CompleteText>> = vec![None; nodes.len()];
        let mut partial_texts = PartialTexts::with_capacity(nodes.len());
        for start in start_half_columns(placement, alphabet, nodes) {
            partial_texts.build(nodes, placement.anchor, start, &scores);
            for (node, best) in best.iter_mut().enumerate().filter(|(node, _)| nodes[*node].ends) {
                let Some((last, score)) = partial_texts.best_of(node, |edge| placement.allows(start, edge))
                else {
                    continue;
                };
                if best.as_ref().is_none_or(|known| score > known.score) {
                    let path = partial_texts.path_to(last, placement.anchor, &scores);
                    *best = Some(CompleteText { score, path });
                }
            }
        }
        let complete: Vec<CompleteText> = best.into_iter().flatten().collect();
        let first = (0..complete.len()).max_by(|a, b| complete[*a].score.total_cmp(&complete[*b].score))?;
        Some(self.decoded(&complete, first, &scores, placement.anchor))
    }

    /// Describes one of the complete texts, and compares it with the other complete texts.
    fn decoded(
        &self,
        complete: &[CompleteText],
        best: usize,
        scores: &CharacterScores<'_>,
        anchor: Anchor,
    ) -> Decoded {
        let CompleteText { score, path } = &complete[best];
        let others = complete.iter().enumerate().filter(|(other, _)| *other != best);
        let other_forms: Vec<(Text, f32)> =
            others.map(|(_, other)| (self.text_of(&other.path), score - other.score)).collect();
        let form_margin = other_forms.iter().map(|(_, deficit)| *deficit).fold(*score, f32::min);
        let mut cell = Vec::with_capacity(self.alphabet.rows * self.alphabet.cols);
        let character = |(index, left): &(usize, i32)| self.character(*index, *left, scores, &mut cell);
        let characters: Vec<DecodedCharacter> = path.iter().map(character).collect();
        let contrast_beside = self.contrast_beside(&characters, anchor, scores);
        let text = text_from(characters.iter().map(|character| character.character));
        let has_leading_zero = self.grammar.has_leading_zero(&text);
        let may_be_longer =
            has_leading_zero || !(self.alphabet.are_all_digits_reliable() || self.grammar.is_full(&text));
        let energy_beside = match may_be_longer {
            true => self.energy_beside(&characters, scores.features, scores.top),
            false => 0.0,
        };
        Decoded {
            text,
            characters,
            score: *score,
            other_forms,
            form_margin,
            contrast_beside,
            energy_beside,
            has_leading_zero,
            unknown_beside: 0.0,
        }
    }

    fn text_of(&self, path: &[(usize, i32)]) -> Text {
        text_from(path.iter().map(|(index, _)| self.alphabet.shapes[*index].character))
    }

    /// Contrast of the best digit, relative to its template, in the cell beyond an edge of the text that is not
    /// anchored, or from the middle of the last cell on if that holds a 1.
    fn contrast_beside(
        &self,
        characters: &[DecodedCharacter],
        anchor: Anchor,
        scores: &CharacterScores<'_>,
    ) -> f32 {
        let pitch = self.alphabet.pitch();
        let (Some(first), Some(last)) = (characters.first(), characters.last()) else { return 0.0 };
        let lefts: &[f32] = match anchor {
            Anchor::Right => &[first.left - pitch],
            Anchor::Left => &[last.left + pitch],
            Anchor::Centre => &[first.left - pitch, last.left + pitch],
        };
        let digits = (0..self.alphabet.shapes.len())
            .filter(|index| self.alphabet.shapes[*index].character.is_ascii_digit());
        let contrast = |index: usize, left: f32| {
            let score = scores.near(index, (2.0 * left).round() as i32)?;
            Some(score / self.scorer.distance2(index).max(f32::MIN_POSITIVE) + 0.5)
        };
        let highest_at =
            |left: f32| digits.clone().filter_map(|index| contrast(index, left)).fold(0.0, f32::max);
        let beside = lefts.iter().map(|left| highest_at(*left)).fold(0.0, f32::max);
        if anchor == Anchor::Right || last.character != '1' {
            return beside;
        }
        // The 1 may be narrower than the alphabet says: the next digit then begins in the right half of its cell.
        let lefts = (0..(0.5 * pitch) as usize).map(|cols| last.left + 0.5 * pitch + cols as f32);
        let overlapping = lefts.map(highest_at).fold(0.0, f32::max);
        if overlapping > MIN_OVERLAPPING_CONTRAST { overlapping } else { beside }
    }

    /// Energy of the stronger of the two cells next to the text, relative to the mean energy of the text's
    /// digits.
    fn energy_beside(&self, characters: &[DecodedCharacter], features: &Array2<f32>, top: usize) -> f32 {
        let pitch = self.alphabet.pitch();
        let energy = |left: f32, cols: f32| {
            let cell = features_at(features, top, left, (self.alphabet.rows, cols.round() as usize))?;
            cell.as_slice().map(|levels| dot(levels, levels))
        };
        let own = characters.iter().filter(|character| character.character.is_ascii_digit());
        let own: Vec<f32> =
            own.filter_map(|digit| energy(digit.left, digit.advance(self.alphabet))).collect();
        let mean = own.iter().sum::<f32>() / own.len().max(1) as f32;
        let beside = cells_beside(characters, self.alphabet, features.ncols());
        beside.filter_map(|left| energy(left, pitch)).fold(0.0, f32::max) / mean.max(f32::MIN_POSITIVE)
    }

    /// Describes one character of the best text. Its left edge is searched near `left`, in halves of a working pixel,
    /// and is where the score is best. `cell` is a scratch buffer.
    fn character(
        &self,
        index: usize,
        left: i32,
        scores: &CharacterScores<'_>,
        cell: &mut Vec<f32>,
    ) -> DecodedCharacter {
        let shape = &self.alphabet.shapes[index];
        let left = scores.best_position(index, left).unwrap_or(left);
        let is_same_kind = |other: char| {
            other == shape.character || (other.is_ascii_digit() && shape.character.is_ascii_digit())
        };
        let score_of = |other: usize| {
            let is_same_kind = is_same_kind(self.alphabet.shapes[other].character);
            if is_same_kind { scores.at(other, left) } else { None }
        };
        let all: ArrayVec<f32, MAX_CHARACTERS> = (0..self.alphabet.shapes.len().min(MAX_CHARACTERS))
            .map(|other| score_of(other).unwrap_or(f32::NEG_INFINITY))
            .collect();
        let column = left as f32 / 2.0;
        let is_inside = copy_features_at(scores.features, scores.top, column, shape.template.dim(), cell);
        let template = shape.template.as_slice().filter(|_| is_inside);
        let correlation = template.map_or(0.0, |template| correlation_of(template, cell));
        let min_part_score = if is_inside { self.scorer.min_part_score(index, cell) } else { 0.0 };
        let distance2 = self.scorer.distance2(index).max(f32::MIN_POSITIVE);
        let contrast = all[index] / distance2 + 0.5;
        let goodness = self.scorer.goodness_of_fit(index, &all);
        DecodedCharacter {
            character: shape.character,
            left: column,
            scores: all,
            correlation,
            contrast,
            goodness,
            min_part_score,
            shape_probabilities: None,
        }
    }
}

/// The first [`MAX_TEXT_LENGTH`] of some characters as a text.
pub(super) fn text_from(characters: impl Iterator<Item = char>) -> Text {
    let mut text = Text::new();
    for character in characters.take(MAX_TEXT_LENGTH) {
        text.push(character);
    }
    text
}

impl PartialTexts {
    fn with_capacity(nodes: usize) -> Self {
        Self { all: Vec::with_capacity(USUAL_PARTIAL_TEXTS * nodes), by_node: Vec::with_capacity(nodes) }
    }

    /// Builds all partial texts whose anchored edge is at `start`, in halves of a working pixel from the left edge of
    /// the features.
    fn build(&mut self, nodes: &[GrammarNode], anchor: Anchor, start: i32, scores: &CharacterScores<'_>) {
        self.all.clear();
        self.by_node.clear();
        for node in nodes {
            let first = self.all.len();
            match node.parent {
                None => self.extend(None, (start, 0.0), (node, anchor, first), scores),
                Some(parent) => {
                    for parent in self.by_node[parent].clone() {
                        let PartialText { edge, score, .. } = self.all[parent];
                        self.extend(Some(parent), (edge, score), (node, anchor, first), scores);
                    }
                }
            }
            self.by_node.push(first..self.all.len());
        }
    }

    /// Extends a partial text by each character that `node` allows. `edge` is the position of its edge that is not
    /// anchored, in halves of a working pixel; `score` is its score. Of the extended texts, which begin at index
    /// `first`, only the best one is kept for each position of that edge.
    fn extend(
        &mut self,
        parent: Option<usize>,
        (edge, score): (i32, f32),
        (node, anchor, first): (&GrammarNode, Anchor, usize),
        scores: &CharacterScores<'_>,
    ) {
        for (class, width_class) in scores.classes.iter().enumerate() {
            if !node.slot.allows(width_class.character) {
                continue;
            }
            let (left, edge) = anchor.append(edge, width_class.advance);
            let Some(own) = scores.best_near_of(class, left) else { continue };
            let extended = PartialText { edge, score: score + own, class, left, parent };
            match self.all[first..].iter_mut().find(|other| other.edge == edge) {
                Some(other) if other.score >= extended.score => {}
                Some(other) => *other = extended,
                None => self.all.push(extended),
            }
        }
    }

    /// Index and score of the best partial text that ends with the node `node` of the prefix tree; `None` if there is
    /// none. `is_allowed` tells whether the edge of a text that is not anchored may be at a position, in halves of a
    /// working pixel.
    fn best_of(&self, node: usize, is_allowed: impl Fn(i32) -> bool) -> Option<(usize, f32)> {
        let texts = self.by_node.get(node)?.clone().filter(|text| is_allowed(self.all[*text].edge));
        let best = texts.max_by(|a, b| self.all[*a].score.total_cmp(&self.all[*b].score))?;
        Some((best, self.all[best].score))
    }

    /// The characters of a partial text, from left to right.
    fn path_to(&self, last: usize, anchor: Anchor, scores: &CharacterScores<'_>) -> CharacterPath {
        let texts = std::iter::successors(Some(last), |text| self.all[*text].parent).take(MAX_TEXT_LENGTH);
        let mut path: CharacterPath = texts
            .map(|text| {
                let PartialText { class, left, .. } = self.all[text];
                (scores.best_of(class, left), left)
            })
            .collect();
        if anchor != Anchor::Right {
            path.reverse();
        }
        path
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::recognise::decode::legibility::MAX_CONTRAST_BESIDE;
    use crate::recognise::features::high_pass::HighPass;
    use crate::recognise::score::matcher::Matcher;
    use crate::recognise::score::noise::Noise;
    use crate::recognise::templates::alphabet::Shape;

    const ROWS: usize = 9;
    const COLS: usize = 12;

    /// Two bright columns for a 1, pseudo-random levels for other digits.
    fn template(character: char) -> Array2<f32> {
        Array2::from_shape_fn((ROWS, COLS), |(row, col)| {
            let mixed = (row * 31 + col * 17 + character as usize * 101).wrapping_mul(2_654_435_761) >> 9;
            match character {
                '1' => 30.0 * f32::from(u8::from((5..7).contains(&col))),
                _ if (1..11).contains(&col) => (mixed % 61) as f32 - 30.0,
                _ => 0.0,
            }
        })
    }

    #[test]
    fn a_digit_that_stands_too_near_to_a_last_1_shows_that_the_text_is_longer() {
        let shape = |character| Shape {
            character,
            template: template(character),
            advance: COLS as f32,
            image_count: None,
        };
        let alphabet = Alphabet {
            shapes: "158".chars().map(shape).collect(),
            rows: ROWS,
            cols: COLS,
            high_pass: HighPass::for_cell_width(COLS as f32),
            factor: 1,
        };
        let matcher = Matcher::new(&alphabet, &Noise::white(ROWS, 8.0)).unwrap();
        let grammar = Grammar::new(3, 0, false);
        let decoder = Decoder { alphabet: &alphabet, scorer: &matcher, grammar: &grammar, mask: None };
        let placement = Placement { top: 0, anchor: Anchor::Left, position: 10.0, shifts: (0, 0) };
        let decoded = |characters: &[(char, usize)]| {
            let mut features = Array2::zeros((ROWS, 60));
            for (character, left) in characters {
                let mut cell = features.slice_mut(ndarray::s![.., *left..left + COLS]);
                cell += &template(*character);
            }
            decoder.decode(&features, &placement).unwrap()
        };
        let complete = decoded(&[('8', 10), ('1', 22)]);
        assert_eq!(complete.text.as_str(), "81");
        assert!(complete.contrast_beside < MAX_CONTRAST_BESIDE, "{}", complete.contrast_beside);
        let cut = decoded(&[('8', 10), ('1', 22), ('5', 30)]);
        assert_eq!(cut.text.as_str(), "81");
        assert!(cut.contrast_beside > MAX_CONTRAST_BESIDE, "{}", cut.contrast_beside);
    }
}
