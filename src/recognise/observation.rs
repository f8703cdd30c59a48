//! Observations: the candidate texts of a region in one frame with their log-likelihoods, which are later
//! smoothed over frames. Also the reading of a single frame without smoothing.

use arrayvec::ArrayVec;

use super::decode::decoded::{Decoded, DecodedCharacter};
use super::decode::legibility::is_legible;
use super::score::matcher::Matcher;
use super::templates::alphabet::Alphabet;
use super::text::Text;
use super::text::grammar::Grammar;

/// Exponent of the likelihoods (tempering): scores are multiplied by this factor before they become
/// probabilities. The noise model is a normal distribution and assumes that the differences between features
/// and templates do not depend on the text. Real differences do, so plain likelihood ratios are
/// overconfident. Set by judgement.
const TEMPERING: f32 = 0.25;

/// Minimum confidence at which a single frame is read without smoothing over frames, 0 to 1. Set by
/// judgement.
pub(crate) const CONFIDENT: f32 = 0.95;

/// Maximum number of candidates of one frame. Set by judgement.
pub const MAX_CANDIDATES: usize = 8;

/// Maximum log-likelihood deficit of a candidate, as a natural logarithm; texts with a larger deficit are
/// dropped. Set by judgement.
pub const MAX_DEFICIT: f32 = 14.0;

/// Initial capacity for the alternative texts of one frame.
const USUAL_ALTERNATIVES: usize = 16;

/// Each single-character substitution is combined with at most this many more likely ones, to form texts with
/// two characters replaced. Set by judgement.
const MAX_COMBINED: usize = 10;

/// A text that a frame may show.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Candidate {
    /// The candidate text.
    pub text: Text,
    /// The number that the text stands for.
    pub value: f64,
    /// Log-likelihood deficit: log-probability of the best candidate minus that of this candidate (natural
    /// logarithms); 0 or more.
    pub deficit: f32,
    /// Squared Mahalanobis distance between the templates of this candidate and of the best one, with the
    /// tempering of the likelihoods included. If the frame shows the best candidate, this candidate's deficit
    /// is expected to be half of this number. Infinite if the texts differ in length, or in a character that
    /// is no digit.
    pub distance2: f32,
}

/// Whether the text of a region can be read in one frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TextLegibility {
    /// No text stands out from the background.
    Nothing,
    /// A text was found, but it cannot be read, because it is damaged or because two texts are blended.
    Illegible,
    /// A text was found, but it cannot be read, and the glyph set lacks digits: the text may contain a digit
    /// without a glyph.
    UnknownDigit,
    /// Every character fits its template, and no further digit seems to stand beside the text.
    Legible,
}

/// The candidate texts of a region in one frame.
#[derive(Debug, Clone, PartialEq)]
pub struct Observation {
    /// Whether the text can be read.
    pub legibility: TextLegibility,
    /// The candidate texts, the most likely first.
    pub candidates: ArrayVec<Candidate, MAX_CANDIDATES>,
    /// Lower limit of the deficit of all texts that are not among the candidates.
    pub floor: f32,
    /// Smallest margin of the best candidate's characters over their runners-up: 1 if the character equals
    /// its template, 1/2 half-way to the runner-up.
    pub margin: f32,
    /// Value of the text in which the runner-up replaces the character with the smallest margin; `None` if
    /// there is no runner-up, or if that text is no number.
    pub runner_up: Option<f64>,
}

impl Observation {
    /// The observation of a region without text.
    #[must_use]
    pub fn nothing() -> Self {
        Self {
            legibility: TextLegibility::Nothing,
            candidates: ArrayVec::new(),
            floor: 0.0,
            margin: 1.0,
            runner_up: None,
        }
    }

    /// The observation of a decoded text. Its candidates are the decoded text and the likely texts that
    /// differ from it in one or two characters or in length.
    pub(super) fn of(
        decoded: &Decoded,
        legibility: TextLegibility,
        grammar: &Grammar,
        model: &LikelihoodModel<'_>,
    ) -> Self {
        let substitutions = substitutions(decoded, model);
        let mut rated: Vec<(Text, f32, f32)> = Vec::with_capacity(USUAL_ALTERNATIVES);
        rated.push((decoded.text, 0.0, 0.0));
        for (number, one) in substitutions.iter().enumerate() {
            rated.push((substituted(decoded.text, &[one]), one.deficit, one.distance2));
            for other in &substitutions[..number.min(MAX_COMBINED)] {
                if other.position != one.position {
                    let text = substituted(decoded.text, &[one, other]);
                    rated.push((text, one.deficit + other.deficit, one.distance2 + other.distance2));
                }
            }
        }
        let other_forms = decoded.other_forms.iter();
        rated.extend(other_forms.map(|(text, deficit)| (*text, TEMPERING * deficit, f32::INFINITY)));
        rated.retain(|(_, deficit, _)| *deficit <= MAX_DEFICIT);
        rated.sort_by(|a, b| a.1.total_cmp(&b.1));
        let floor = rated.get(MAX_CANDIDATES).map_or(MAX_DEFICIT, |(_, deficit, _)| *deficit);
        let candidate = |(text, deficit, distance2): (Text, f32, f32)| {
            Some(Candidate { text, value: grammar.value(&text)?, deficit, distance2 })
        };
        let candidates = rated.into_iter().take(MAX_CANDIDATES).filter_map(candidate).collect();
        let smallest = decoded.smallest_margin();
        let margin = smallest.map_or(f32::INFINITY, |(_, digit)| digit.goodness.margin);
        let runner_up = smallest.and_then(|(position, digit)| {
            let character = model.alphabet.shapes.get(digit.goodness.runner_up?)?.character;
            let substitution = Substitution { position, character, deficit: 0.0, distance2: 0.0 };
            grammar.value(&substituted(decoded.text, &[&substitution]))
        });
        Self { legibility, candidates, floor, margin, runner_up }
    }
}

/// The alphabet and the filters that gave the scores of a decoded text, needed to compute its alternatives.
pub(super) struct LikelihoodModel<'a> {
    pub(super) alphabet: &'a Alphabet,
    pub(super) matcher: &'a Matcher,
    /// Contrast of the text relative to that of the templates.
    pub(super) contrast: f32,
}

/// Replacement of one character of a text by another character.
#[derive(Debug, Clone, Copy)]
struct Substitution {
    /// Index of the character in the text.
    position: usize,
    /// The new character.
    character: char,
    deficit: f32,
    distance2: f32,
}

/// Substitutions of single characters of a decoded text, those with the smallest deficit first.
fn substitutions(decoded: &Decoded, model: &LikelihoodModel<'_>) -> Vec<Substitution> {
    let mut substitutions = Vec::new();
    let shapes = &model.alphabet.shapes;
    for (position, found) in decoded.characters.iter().enumerate() {
        let own = model.alphabet.index_of(found.character);
        let best = found.scores.iter().copied().fold(f32::NEG_INFINITY, f32::max);
        for (other, (score, shape)) in found.scores.iter().zip(shapes).enumerate() {
            let deficit = TEMPERING * (best - score);
            if shape.character != found.character && deficit <= MAX_DEFICIT {
                let distance2 =
                    own.and_then(|own| model.matcher.distance2_between(own, other)).unwrap_or(f32::INFINITY);
                let distance2 = TEMPERING * model.contrast * model.contrast * distance2;
                substitutions.push(Substitution { position, character: shape.character, deficit, distance2 });
            }
        }
    }
    substitutions.sort_by(|a, b| a.deficit.total_cmp(&b.deficit));
    substitutions
}

/// A text with some characters replaced.
fn substituted(text: Text, substitutions: &[&Substitution]) -> Text {
    let replaced = |(position, character)| {
        let substitution = substitutions.iter().find(|substitution| substitution.position == position);
        substitution.map_or(character, |substitution| substitution.character)
    };
    text.chars().enumerate().map(replaced).fold(Text::new(), |mut text, character| {
        text.push(character);
        text
    })
}

/// The reading of a region in a single frame.
#[derive(Debug, Clone, PartialEq)]
pub enum RegionReading {
    /// No text stands out from the background.
    Nothing,
    /// A text that is not clear enough to be given a value.
    Unclear {
        /// The best guess, for display only.
        text: String,
        /// Probability that the guess is right, 0 to 1.
        confidence: f32,
        /// Whether a character fits no known glyph and the glyph set lacks digits, so that the character may
        /// be one of those.
        digit_unknown: bool,
    },
    /// A text with a value.
    Text {
        /// The text that was read.
        text: String,
        /// The number that the text stands for.
        value: f64,
        /// Probability that the text is right, 0 to 1.
        confidence: f32,
    },
}

impl RegionReading {
    /// Converts a decoded text to a reading.
    pub(super) fn of(decoded: &Decoded, grammar: &Grammar, alphabet: &Alphabet) -> Self {
        let confidence = confidence_of(decoded);
        let is_legible = is_legible(decoded, alphabet);
        match grammar.value(&decoded.text) {
            Some(value) if is_legible => Self::Text { text: decoded.text.to_string(), value, confidence },
            _ => Self::Unclear {
                text: decoded.text.to_string(),
                confidence: if is_legible { confidence } else { 0.0 },
                digit_unknown: !is_legible && !alphabet.has_all_digits(),
            },
        }
    }
}

/// Probability that a decoded text is right, 0 to 1. The alternatives are texts with other characters and
/// texts of other forms.
pub(super) fn confidence_of(decoded: &Decoded) -> f32 {
    let form = logistic(TEMPERING * decoded.form_margin);
    decoded.characters.iter().fold(form, |product, character| product * character_confidence(character))
}

fn character_confidence(character: &DecodedCharacter) -> f32 {
    let best = character.scores.iter().copied().fold(f32::NEG_INFINITY, f32::max);
    let others: f32 = character.scores.iter().map(|score| (TEMPERING * (score - best)).exp()).sum();
    1.0 / others.max(1.0)
}

fn logistic(log_odds: f32) -> f32 {
    1.0 / (1.0 + (-log_odds).exp())
}
