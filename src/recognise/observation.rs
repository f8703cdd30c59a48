//! Observations: the candidate texts of a region in one frame, with their log-likelihoods, to be pooled over frames.

use arrayvec::ArrayVec;

use super::alphabet::Alphabet;
use super::calibrate::smallest_margin;
use super::decode::{Decoded, Text};
use super::grammar::Grammar;
use super::matcher::Matcher;

/// Most candidates kept of one frame.
pub const MOST_CANDIDATES: usize = 8;

/// Maximum log-likelihood deficit of a candidate, in natural logarithms; others are dropped.
pub const MAX_DEFICIT: f32 = 14.0;

/// Initial capacity for the texts rated in one frame.
const USUAL_RATED: usize = 16;

/// Single changes of the best text that are combined with each other.
const MOST_CHANGES: usize = 10;

/// A text that a frame may show.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Candidate {
    /// The text.
    pub text: Text,
    /// The number it stands for.
    pub value: f64,
    /// Log-likelihood deficit: how far its log-probability lies below that of the best candidate; 0 or more.
    pub deficit: f32,
    /// Squared Mahalanobis distance from the best candidate: where the best one is shown, this one's deficit is
    /// expected to be half of it. Infinite for a text of another length.
    pub distance2: f32,
}

/// Whether the text of a region can be read in one frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TextLegibility {
    /// No text stands out.
    Nothing,
    /// What stands there fits no known text: damage, or two texts mixed.
    Illegible,
    /// The same where the glyph set lacks digits: it may show one of these.
    UnknownDigit,
    /// Every character fits its template.
    Legible,
}

/// The candidate texts of a region in one frame.
#[derive(Debug, Clone, PartialEq)]
pub struct Observation {
    /// Whether the text can be read.
    pub legibility: TextLegibility,
    /// The texts it may be, best first.
    pub candidates: ArrayVec<Candidate, MOST_CANDIDATES>,
    /// Minimum deficit of any text that is not a candidate.
    pub floor: f32,
    /// Smallest margin of the best candidate's characters over their runners-up: 1 at the template, 1/2 half-way.
    pub margin: f32,
    /// The value with the runner-up in place of the character with the smallest margin, if that is a number.
    pub runner_up: Option<f64>,
}

impl Observation {
    /// An observation of no text.
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

    /// The candidates of a decoded text.
    pub(super) fn of(
        decoded: &Decoded,
        legibility: TextLegibility,
        grammar: &Grammar,
        evidence: &Evidence<'_>,
    ) -> Self {
        let changes = changes(decoded, evidence);
        let mut rated: Vec<(Text, f32, f32)> = Vec::with_capacity(USUAL_RATED);
        rated.push((decoded.text, 0.0, 0.0));
        for (number, change) in changes.iter().enumerate() {
            rated.push((changed(decoded.text, &[change.to()]), change.deficit, change.distance2));
            for other in &changes[..number.min(MOST_CHANGES)] {
                if other.place != change.place {
                    let text = changed(decoded.text, &[change.to(), other.to()]);
                    rated.push((text, change.deficit + other.deficit, change.distance2 + other.distance2));
                }
            }
        }
        let other_lengths = decoded.other_lengths.iter();
        rated.extend(other_lengths.map(|(text, deficit)| (*text, evidence.share * deficit, f32::INFINITY)));
        rated.retain(|(_, deficit, _)| *deficit <= MAX_DEFICIT);
        rated.sort_by(|a, b| a.1.total_cmp(&b.1));
        let floor = rated.get(MOST_CANDIDATES).map_or(MAX_DEFICIT, |(_, deficit, _)| *deficit);
        let candidate = |(text, deficit, distance2): (Text, f32, f32)| {
            Some(Candidate { text, value: grammar.value(&text)?, deficit, distance2 })
        };
        let candidates = rated.into_iter().take(MOST_CANDIDATES).filter_map(candidate).collect();
        let least = smallest_margin(decoded);
        let margin = least.map_or(f32::INFINITY, |(_, place)| place.goodness.margin);
        let runner_up = least.and_then(|(number, place)| {
            let runner_up = evidence.alphabet.shapes.get(place.goodness.runner_up?)?;
            grammar.value(&changed(decoded.text, &[(number, runner_up.character)]))
        });
        Self { legibility, candidates, floor, margin, runner_up }
    }
}

/// What log-likelihood ratios are worth.
pub(super) struct Evidence<'a> {
    /// The characters.
    pub(super) alphabet: &'a Alphabet,
    /// What rated them.
    pub(super) matcher: &'a Matcher,
    /// Share of a log-likelihood ratio that is taken as evidence.
    pub(super) share: f32,
    /// Contrast of the text, against that of the templates.
    pub(super) contrast: f32,
}

/// One character of a text taken for another.
#[derive(Debug, Clone, Copy)]
struct Change {
    place: usize,
    character: char,
    deficit: f32,
    distance2: f32,
}

impl Change {
    /// The place, and what stands there now.
    fn to(&self) -> (usize, char) {
        (self.place, self.character)
    }
}

/// Single changes of a decoded text, the least costly first.
fn changes(decoded: &Decoded, evidence: &Evidence<'_>) -> Vec<Change> {
    let mut changes = Vec::new();
    let shapes = &evidence.alphabet.shapes;
    for (number, place) in decoded.places.iter().enumerate() {
        let own = evidence.alphabet.index_of(place.character);
        let best = place.scores.iter().copied().fold(f32::NEG_INFINITY, f32::max);
        for (other, (score, shape)) in place.scores.iter().zip(shapes).enumerate() {
            let deficit = evidence.share * (best - score);
            if shape.character != place.character && deficit <= MAX_DEFICIT {
                let distance2 = own
                    .and_then(|own| evidence.matcher.distance2_between(own, other))
                    .unwrap_or(f32::INFINITY);
                let distance2 = evidence.share * evidence.contrast * evidence.contrast * distance2;
                changes.push(Change { place: number, character: shape.character, deficit, distance2 });
            }
        }
    }
    changes.sort_by(|a, b| a.deficit.total_cmp(&b.deficit));
    changes
}

/// A text with other characters at some places.
fn changed(text: Text, changes: &[(usize, char)]) -> Text {
    let replaced = |(place, character)| {
        changes.iter().find(|(changed, _)| *changed == place).map_or(character, |(_, other)| *other)
    };
    text.chars().enumerate().map(replaced).fold(Text::new(), |mut text, character| {
        text.push(character);
        text
    })
}
