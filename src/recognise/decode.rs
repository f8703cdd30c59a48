//! Decoding: the text that explains a region's features best, and how sure that is.

use ndarray::Array2;

use super::alphabet::Alphabet;
use super::calibrate::{correlation, patch_at};
use super::grammar::{Grammar, Slot};
use super::matcher::Scorer;

/// The end of a text that stays put when its length changes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    /// Left-aligned: the first character's left edge stays put.
    Left,
    /// Right-aligned: the last character's right edge stays put.
    Right,
}

/// Columns that a single character may stand off the place its text gives it.
const WITHIN_PLACE_SHIFTS: [f32; 5] = [-1.0, -0.5, 0.0, 0.5, 1.0];

/// Where a region's text stands in its window.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Placement {
    /// Row of the cells' top edge.
    pub top: usize,
    /// The end that stays put.
    pub anchor: Anchor,
    /// Column of that end.
    pub position: f32,
    /// How far a line of text may be shifted from there, in whole columns: (left, right).
    pub shifts: (i32, i32),
}

/// What one place of the decoded text says.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    /// The character taken.
    pub character: char,
    /// Column of its left edge.
    pub left: f32,
    /// Log-likelihood ratio of every character of the alphabet against nothing, in alphabet order;
    /// negative infinity for those that may not stand here.
    pub scores: Vec<f32>,
    /// Normalised correlation of the character's template with the features.
    pub fit: f32,
    /// How much of the least visible stroke is there; 1 for a glyph as taught.
    pub least_stroke: f32,
    /// How strange the features are for this character; about 1 is usual.
    pub strangeness: f32,
    /// Strength of the match: 1 for a glyph as taught, 0 for nothing.
    pub strength: f32,
}

/// A decoded text.
#[derive(Debug, Clone, PartialEq)]
pub struct Decoded {
    /// The text.
    pub text: String,
    /// Its places, left to right.
    pub places: Vec<Place>,
    /// Log-likelihood ratio of the text against nothing.
    pub total: f32,
    /// Lead over the best text of another length, in the same measure.
    pub length_lead: f32,
    /// Shift of the whole text, in columns.
    pub shift: i32,
    /// Strength of the strongest digit that could stand beyond the free end of the text: about 0
    /// where nothing stands.
    pub beside: f32,
}

/// Decodes one region.
#[derive(Debug, Clone)]
pub struct Decoder<'a, S> {
    /// The characters.
    pub alphabet: &'a Alphabet,
    /// Rates them.
    pub scorer: &'a S,
    /// The texts allowed.
    pub grammar: &'a Grammar,
}

/// A text under construction, from the anchored end outwards.
#[derive(Debug, Clone)]
struct Path {
    edge: f32,
    total: f32,
    taken: Vec<(usize, f32)>,
}

impl<S: Scorer> Decoder<'_, S> {
    /// The best text at a placement; `None` where no text explains the features better than nothing.
    #[must_use]
    pub fn decode(&self, features: &Array2<f32>, placement: &Placement) -> Option<Decoded> {
        let mut scores = ScoreCache::new(self, features, placement.top);
        let patterns = self.grammar.patterns();
        let mut best: Option<(f32, usize, i32, Path)> = None;
        let mut by_pattern = vec![f32::NEG_INFINITY; patterns.len()];
        for shift in placement.shifts.0..=placement.shifts.1 {
            for (number, pattern) in patterns.iter().enumerate() {
                let Some(path) = self.best_path(pattern, placement, shift, &mut scores) else { continue };
                by_pattern[number] = by_pattern[number].max(path.total);
                if best.as_ref().is_none_or(|(total, ..)| path.total > *total) {
                    best = Some((path.total, number, shift, path));
                }
            }
        }
        let (total, number, shift, path) = best?;
        let others = by_pattern.iter().enumerate().filter(|(other, _)| *other != number);
        let runner_up = others.map(|(_, total)| *total).fold(0.0, f32::max);
        Some(self.decoded(&patterns[number], path, &mut scores, total, (total - runner_up, shift), placement))
    }

    fn best_path(
        &self,
        pattern: &[Slot],
        placement: &Placement,
        shift: i32,
        scores: &mut ScoreCache<'_, S>,
    ) -> Option<Path> {
        let start = placement.position + shift as f32;
        let mut paths = vec![Path { edge: start, total: 0.0, taken: Vec::new() }];
        for step in 0..pattern.len() {
            let slot = match placement.anchor {
                Anchor::Left => pattern[step],
                Anchor::Right => pattern[pattern.len() - 1 - step],
            };
            paths = self.extend(&paths, slot, placement.anchor, scores);
        }
        paths.into_iter().max_by(|a, b| a.total.total_cmp(&b.total))
    }

    /// Extends every path by one character; of paths that end at the same edge the best is kept.
    fn extend(
        &self,
        paths: &[Path],
        slot: Slot,
        anchor: Anchor,
        scores: &mut ScoreCache<'_, S>,
    ) -> Vec<Path> {
        let mut extended: Vec<Path> = Vec::new();
        for path in paths {
            for (index, shape) in self.alphabet.shapes.iter().enumerate() {
                if !slot.takes(shape.character) {
                    continue;
                }
                let (left, edge) = match anchor {
                    Anchor::Left => (path.edge, path.edge + shape.advance),
                    Anchor::Right => (path.edge - shape.advance, path.edge - shape.advance),
                };
                let Some((score, _)) = scores.near(index, left) else { continue };
                let total = path.total + score;
                let twin = extended.iter_mut().find(|other| (other.edge - edge).abs() < 0.25);
                if twin.as_ref().is_some_and(|other| other.total >= total) {
                    continue;
                }
                let mut taken = path.taken.clone();
                taken.push((index, left));
                let better = Path { edge, total, taken };
                match twin {
                    Some(other) => *other = better,
                    None => extended.push(better),
                }
            }
        }
        extended
    }

    fn decoded(
        &self,
        pattern: &[Slot],
        path: Path,
        scores: &mut ScoreCache<'_, S>,
        total: f32,
        (length_lead, shift): (f32, i32),
        placement: &Placement,
    ) -> Decoded {
        let mut taken = path.taken;
        if placement.anchor == Anchor::Right {
            taken.reverse();
        }
        let places: Vec<Place> = pattern
            .iter()
            .zip(taken)
            .map(|(slot, (index, left))| self.place(*slot, index, left, scores, placement.top))
            .collect();
        let text = places.iter().map(|place| place.character).collect();
        let beside = self.strength_beside(&places, placement.anchor, scores);
        Decoded { text, places, total, length_lead, shift, beside }
    }

    /// The strongest digit that could stand beyond the free end of the text.
    fn strength_beside(&self, places: &[Place], anchor: Anchor, scores: &mut ScoreCache<'_, S>) -> f32 {
        let pitch = self.alphabet.pitch();
        let left = match (anchor, places.first(), places.last()) {
            (Anchor::Right, Some(first), _) => first.left - pitch,
            (Anchor::Left, _, Some(last)) => last.left + pitch,
            _ => return 0.0,
        };
        let digits = (0..self.alphabet.shapes.len())
            .filter(|index| self.alphabet.shapes[*index].character.is_ascii_digit());
        digits
            .filter_map(|index| {
                let (score, _) = scores.near(index, left)?;
                Some(score / self.scorer.distance2(index).max(f32::MIN_POSITIVE) + 0.5)
            })
            .fold(0.0, f32::max)
    }

    /// Looks at one place of the chosen text closely.
    fn place(
        &self,
        slot: Slot,
        index: usize,
        left: f32,
        scores: &mut ScoreCache<'_, S>,
        top: usize,
    ) -> Place {
        let allowed = |other: &usize| slot.takes(self.alphabet.shapes[*other].character);
        let all = 0..self.alphabet.shapes.len();
        let chosen = all.filter(allowed).filter_map(|other| Some((other, scores.near(other, left)?)));
        let best = chosen.max_by(|a, b| a.1.0.total_cmp(&b.1.0));
        let (index, left) = best.map_or((index, left), |(other, (_, left))| (other, left));
        let shape = &self.alphabet.shapes[index];
        let all: Vec<f32> = (0..self.alphabet.shapes.len())
            .map(|other| if allowed(&other) { scores.at(other, left) } else { None })
            .map(|score| score.unwrap_or(f32::NEG_INFINITY))
            .collect();
        let patch = patch_at(scores.features, top, left, shape.template.dim());
        let fit = patch.as_ref().map_or(0.0, |patch| correlation(&shape.template, patch));
        let least_stroke = patch.map_or(0.0, |patch| shape.least_stroke(&patch));
        let distance2 = self.scorer.distance2(index).max(f32::MIN_POSITIVE);
        let strength = all[index] / distance2 + 0.5;
        let strangeness = self.scorer.strangeness(index, &all);
        Place { character: shape.character, left, scores: all, fit, strength, strangeness, least_stroke }
    }
}

/// Scores at whole columns, worked out when first asked for.
struct ScoreCache<'a, S> {
    scorer: &'a S,
    features: &'a Array2<f32>,
    top: usize,
    known: Array2<f32>,
}

impl<'a, S: Scorer> ScoreCache<'a, S> {
    fn new(decoder: &Decoder<'a, S>, features: &'a Array2<f32>, top: usize) -> Self {
        let known = Array2::from_elem((decoder.alphabet.shapes.len(), features.ncols()), f32::NAN);
        Self { scorer: decoder.scorer, features, top, known }
    }

    /// Score of a character with its left edge at a fractional column: between the whole columns
    /// the score, being linear in the features, is interpolated.
    fn at(&mut self, index: usize, left: f32) -> Option<f32> {
        if left < 0.0 {
            return None;
        }
        let column = left.floor() as usize;
        let share = left - column as f32;
        let here = self.whole(index, column)?;
        if share < 0.05 {
            return Some(here);
        }
        let next = self.whole(index, column + 1)?;
        Some(here + share * (next - here))
    }

    /// The best score within a column of `left`, and where: glyphs set by a renderer that rounds
    /// positions stand up to a column off their even spacing.
    fn near(&mut self, index: usize, left: f32) -> Option<(f32, f32)> {
        let places = WITHIN_PLACE_SHIFTS.iter().map(|shift| left + shift);
        let scored = places.filter_map(|left| Some((self.at(index, left)?, left)));
        scored.max_by(|a, b| a.0.total_cmp(&b.0))
    }

    fn whole(&mut self, index: usize, column: usize) -> Option<f32> {
        let known = self.known.get_mut((index, column))?;
        if known.is_nan() {
            *known = self.scorer.score(index, self.features, self.top, column)?;
        }
        Some(*known)
    }
}
