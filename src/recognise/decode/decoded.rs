//! The decoded text of a region: its characters with their scores, and measures of how certain the text is.

use arrayvec::ArrayVec;

use crate::recognise::features::window::MARGIN_PX;
use crate::recognise::score::background::{CONTRAST_LIMITS, PlacedTemplate};
use crate::recognise::score::goodness_of_fit::GoodnessOfFit;
use crate::recognise::templates::MAX_CHARACTERS;
use crate::recognise::templates::alphabet::Alphabet;
use crate::recognise::text::Text;
use crate::recognise::text::grammar::is_separator;
use crate::stats::upper_median;

/// Share of a cell next to a text that may lie outside the box, since pitch and position are not known
/// exactly. Set by judgement.
const OUTSIDE_SHARE: f32 = 0.2;

/// One character of a decoded text.
#[derive(Debug, Clone, PartialEq)]
pub struct DecodedCharacter {
    /// The character with the best score.
    pub character: char,
    /// Column of the character's left edge, in working pixels from the left edge of the features.
    pub left: f32,
    /// Log-likelihood ratios against no character, in alphabet order. If the character is a digit, there is one for
    /// every digit, otherwise only one for the character itself; all other entries are negative infinity.
    pub scores: ArrayVec<f32, MAX_CHARACTERS>,
    /// Normalised correlation of the template with the features.
    pub correlation: f32,
    /// Smallest part score of the cell: 1 for a cell that equals the template.
    pub min_part_score: f32,
    /// Goodness of fit of the cell to the character.
    pub goodness: GoodnessOfFit,
    /// Contrast of the cell relative to the template: 1 for a cell that equals the template, 0 for an empty
    /// one.
    pub contrast: f32,
    /// Probabilities of the digits 0 to 9 from the shape prior; `None` if the prior was not evaluated.
    pub shape_probabilities: Option<[f32; 10]>,
}

impl DecodedCharacter {
    /// Distance from the character's left edge to that of the next character, in working pixels; 0 for a character
    /// that the alphabet lacks.
    pub(in crate::recognise) fn advance(&self, alphabet: &Alphabet) -> f32 {
        alphabet.index_of(self.character).map_or(0.0, |index| alphabet.shapes[index].advance)
    }
}

/// A decoded text.
#[derive(Debug, Clone, PartialEq)]
pub struct Decoded {
    /// The text.
    pub text: Text,
    /// The characters of the text, from left to right.
    pub characters: Vec<DecodedCharacter>,
    /// Log-likelihood ratio of the text against no text.
    pub score: f32,
    /// For every other form of text that the grammar allows, such as one digit more, the best text with its
    /// log-likelihood deficit.
    pub other_forms: Vec<(Text, f32)>,
    /// Log-likelihood of the text minus that of the best text of another form, or of no text if that is larger.
    pub form_margin: f32,
    /// Contrast of the best digit, relative to its template, in the cell beyond an edge of the text that is not
    /// anchored, or from the middle of the last cell on if that holds a 1: about 0 for an empty cell, about 1 if the text is longer than decoded.
    pub contrast_beside: f32,
    /// Energy of the stronger of the two cells next to the text, inside the box, as a share of the mean energy of the
    /// text's digits: about 0 for an empty cell. It is computed only if the text may be longer than decoded: if the
    /// text has a leading zero, or if it has fewer digits than allowed and some digits lack a reliable template (built
    /// in, or from at least ten images). Otherwise 0.
    pub energy_beside: f32,
    /// Whether the text has a leading zero and fewer digits than allowed, so that its first digit may be
    /// missing.
    pub has_leading_zero: bool,
    /// Probability from the shape prior that a digit without a glyph stands next to the text; 0 if the prior
    /// was not evaluated.
    pub unknown_beside: f32,
}

impl Decoded {
    /// Corrects the scores and distances for a division of the features by `contrast`, because the division changed the
    /// noise of the features too.
    pub(in crate::recognise) fn at_contrast(mut self, contrast: f32) -> Self {
        if contrast == 1.0 {
            return self;
        }
        let weight = contrast * contrast;
        self.score *= weight;
        self.form_margin *= weight;
        self.other_forms.iter_mut().for_each(|(_, deficit)| *deficit *= weight);
        for character in &mut self.characters {
            character.scores.iter_mut().for_each(|score| *score *= weight);
            character.goodness.t2 *= weight;
            character.goodness.t2_without_traces *= weight;
        }
        self
    }

    /// The templates of the characters at their positions, in cells that begin at row `top`.
    pub(in crate::recognise) fn placed_templates<'a>(
        &'a self,
        alphabet: &'a Alphabet,
        top: usize,
    ) -> impl Iterator<Item = PlacedTemplate<'a>> {
        let placed = move |character: &'a DecodedCharacter| {
            let shape = alphabet.shapes.get(alphabet.index_of(character.character)?)?;
            Some(PlacedTemplate { template: &shape.template, top, left: character.left })
        };
        self.characters.iter().filter_map(placed)
    }

    /// The characters of the text that are digits.
    pub(in crate::recognise) fn digits(&self) -> impl Iterator<Item = &DecodedCharacter> {
        self.characters.iter().filter(|character| character.character.is_ascii_digit())
    }

    /// Smallest correlation of the characters with their templates, 0 to 1. Separators do not count: most of
    /// their cell is background, and their position is known.
    pub(in crate::recognise) fn min_correlation(&self) -> f32 {
        let counted = self.characters.iter().filter(|character| !is_separator(character.character));
        counted.map(|character| character.correlation).fold(1.0, f32::min).max(0.0)
    }

    /// Largest T-square distance of the text's digits from their templates, divided by the number of digits in the
    /// alphabet.
    pub(in crate::recognise) fn max_t2(&self) -> f32 {
        self.digits().map(|digit| digit.goodness.t2).fold(0.0, f32::max)
    }

    /// Smallest part score of the text's digits.
    pub(in crate::recognise) fn min_part_score(&self) -> f32 {
        self.digits().map(|digit| digit.min_part_score).fold(f32::INFINITY, f32::min)
    }

    /// The digit with the smallest margin, and its index among the characters; `None` if the text has no
    /// digit.
    pub(in crate::recognise) fn smallest_margin(&self) -> Option<(usize, &DecodedCharacter)> {
        let is_digit = |(_, character): &(usize, &DecodedCharacter)| character.character.is_ascii_digit();
        let digits = self.characters.iter().enumerate().filter(is_digit);
        digits.min_by(|(_, one), (_, other)| one.goodness.margin.total_cmp(&other.goodness.margin))
    }

    /// Left edges, in working pixels from the left edge of the features, of those cells next to the text that lie
    /// inside the box; the features are `cols` columns wide.
    pub(super) fn cells_beside(&self, alphabet: &Alphabet, cols: usize) -> impl Iterator<Item = f32> + use<> {
        cells_beside(&self.characters, alphabet, cols)
    }
}

/// Left edges, in working pixels from the left edge of the features, of those cells next to the text with the given
/// characters that lie inside the box; the features are `cols` columns wide.
pub(super) fn cells_beside(
    characters: &[DecodedCharacter],
    alphabet: &Alphabet,
    cols: usize,
) -> impl Iterator<Item = f32> + use<> {
    let pitch = alphabet.pitch();
    let outside = (OUTSIDE_SHARE * pitch).max(1.0);
    let inside = MARGIN_PX as f32 - outside..=(cols - MARGIN_PX.min(cols)) as f32 + outside;
    let before = characters.first().map(|first| first.left - pitch);
    let after = characters.last().map(|last| last.left + last.advance(alphabet));
    let lefts = before.into_iter().chain(after);
    lefts.filter(move |left| inside.contains(left) && inside.contains(&(left + pitch)))
}

/// Contrast of some texts relative to the templates: the median contrast of their digits.
pub(in crate::recognise) fn median_contrast<'a>(texts: impl Iterator<Item = &'a Decoded>) -> f32 {
    let mut contrasts: Vec<f32> = texts.flat_map(Decoded::digits).map(|digit| digit.contrast).collect();
    upper_median(&mut contrasts).map_or(1.0, |median| median.clamp(CONTRAST_LIMITS.0, CONTRAST_LIMITS.1))
}
