//! Looks: what one frame says of a region's text, rivals included, for frames to be pooled over time.

use arrayvec::ArrayVec;

use super::alphabet::Alphabet;
use super::calibrate::least_leading;
use super::decode::{Decoded, Text};
use super::grammar::Grammar;
use super::matcher::Matcher;

/// Most candidates kept of one frame.
pub const MOST_CANDIDATES: usize = 8;

/// Candidates further behind than this, in natural logarithms of probability, are not kept.
pub const FURTHEST_BEHIND: f32 = 14.0;

/// Texts rated of one frame; room is made for so many.
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
    /// How far its log-probability lies behind that of the best candidate: 0 or more.
    pub behind: f32,
    /// Squared distance from the best candidate, in the same measure: where the best one is shown and nothing else,
    /// this one is expected to lie half of it behind. Infinite for a text of another length.
    pub apart: f32,
}

/// How the text of a frame looks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sight {
    /// No text stands out.
    Nothing,
    /// Something stands there that looks unlike any text known: damage, or two texts mixed.
    Strange,
    /// The same where not all digits are known, so that it may well be one never taught.
    Untaught,
    /// Every character looks like its template.
    Clear,
}

/// What a frame says of a region's text.
#[derive(Debug, Clone, PartialEq)]
pub struct Look {
    /// How the text looks.
    pub sight: Sight,
    /// The texts it may be, best first.
    pub candidates: ArrayVec<Candidate, MOST_CANDIDATES>,
    /// How far any other text lies behind, at least.
    pub floor: f32,
    /// How far the best candidate's characters lie from the nearest other ones towards their own: 1 where they
    /// belong, 1/2 half-way; of all of them the least.
    pub lead: f32,
    /// The value with that other character in the place of the one with the least lead, where it is one.
    pub rival: Option<f64>,
}

impl Look {
    /// A look at nothing.
    #[must_use]
    pub fn nothing() -> Self {
        Self { sight: Sight::Nothing, candidates: ArrayVec::new(), floor: 0.0, lead: 1.0, rival: None }
    }

    /// The candidates of a decoded text.
    pub(super) fn of(decoded: &Decoded, sight: Sight, grammar: &Grammar, evidence: &Evidence<'_>) -> Self {
        let changes = changes(decoded, evidence);
        let mut rated: Vec<(Text, f32, f32)> = Vec::with_capacity(USUAL_RATED);
        rated.push((decoded.text, 0.0, 0.0));
        for (number, change) in changes.iter().enumerate() {
            rated.push((changed(decoded.text, &[change.to()]), change.behind, change.apart));
            for other in &changes[..number.min(MOST_CHANGES)] {
                if other.place != change.place {
                    let text = changed(decoded.text, &[change.to(), other.to()]);
                    rated.push((text, change.behind + other.behind, change.apart + other.apart));
                }
            }
        }
        let other_lengths = decoded.other_lengths.iter();
        rated.extend(other_lengths.map(|(text, behind)| (*text, evidence.share * behind, f32::INFINITY)));
        rated.retain(|(_, behind, _)| *behind <= FURTHEST_BEHIND);
        rated.sort_by(|a, b| a.1.total_cmp(&b.1));
        let floor = rated.get(MOST_CANDIDATES).map_or(FURTHEST_BEHIND, |(_, behind, _)| *behind);
        let candidate = |(text, behind, apart): (Text, f32, f32)| {
            Some(Candidate { text, value: grammar.value(&text)?, behind, apart })
        };
        let candidates = rated.into_iter().take(MOST_CANDIDATES).filter_map(candidate).collect();
        let least = least_leading(decoded);
        let lead = least.map_or(f32::INFINITY, |(_, place)| place.strangeness.lead);
        let rival = least.and_then(|(number, place)| {
            let rival = evidence.alphabet.shapes.get(place.strangeness.rival?)?;
            grammar.value(&changed(decoded.text, &[(number, rival.character)]))
        });
        Self { sight, candidates, floor, lead, rival }
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
    behind: f32,
    apart: f32,
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
            let behind = evidence.share * (best - score);
            if shape.character != place.character && behind <= FURTHEST_BEHIND {
                let apart2 = own.and_then(|own| evidence.matcher.apart2(own, other)).unwrap_or(f32::INFINITY);
                let apart = evidence.share * evidence.contrast * evidence.contrast * apart2;
                changes.push(Change { place: number, character: shape.character, behind, apart });
            }
        }
    }
    changes.sort_by(|a, b| a.behind.total_cmp(&b.behind));
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
