//! Told readings at odds: one character told for two shapes, or two characters for one shape.

use std::collections::BTreeMap;

use super::align::CharacterCut;
use super::{Contradiction, Told};
use crate::recognise::correlation;

/// Cuts of one character correlate at least this much unless one was told wrongly.
const SAME_CORRELATION: f32 = 0.3;
/// A cut may resemble another character more than its own by this much, in noise.
const MARGIN: f32 = 0.03;
/// A character told once is another one when it resembles that one nearly as much as cuts of one
/// character usually resemble each other.
const ONE_SHAPE_SLACK: f32 = 0.05;
/// The same where no character was told twice, so that nothing is known of what is usual.
const ONE_SHAPE: f32 = 0.985;

/// A cut that does not look like what was told.
struct Suspect<'a> {
    cut: &'a CharacterCut,
    /// The cut that it contradicts.
    witness: &'a CharacterCut,
    /// How much more it resembles another character than its own.
    excess: f32,
}

/// The contradictions among the digits of told readings. Of each two characters the plainest case is
/// told, so that one slip does not fill the screen.
pub(super) fn contradictions(cuts: &[CharacterCut]) -> Vec<Contradiction> {
    let digits: Vec<&CharacterCut> = cuts.iter().filter(|cut| cut.character.is_ascii_digit()).collect();
    let usual = usual_likeness(&digits);
    let mut worst: BTreeMap<char, Suspect<'_>> = BTreeMap::new();
    for cut in &digits {
        if let Some(suspect) = suspect(cut, &digits, usual)
            && worst.get(&cut.character).is_none_or(|known| known.excess < suspect.excess)
        {
            worst.insert(cut.character, suspect);
        }
    }
    let mut by_pair: BTreeMap<(char, char), Suspect<'_>> = BTreeMap::new();
    for suspect in worst.into_values() {
        let (one, other) = (suspect.cut.character, suspect.witness.character);
        let pair = (one.min(other), one.max(other));
        if by_pair.get(&pair).is_none_or(|known| known.excess < suspect.excess) {
            by_pair.insert(pair, suspect);
        }
    }
    by_pair.into_values().map(|suspect| told_of(&suspect)).collect()
}

/// Whether a cut is at odds with the others, and with which.
fn suspect<'a>(
    cut: &'a CharacterCut,
    digits: &[&'a CharacterCut],
    usual: Option<f32>,
) -> Option<Suspect<'a>> {
    let others = likenesses(cut, digits);
    let rival = others
        .iter()
        .filter(|(character, _)| **character != cut.character)
        .max_by(|one, other| mean(one.1).total_cmp(&mean(other.1)));
    let like_rival = rival.map_or(-1.0, |(_, likenesses)| mean(likenesses));
    let nearest_rival = rival.and_then(|(_, likenesses)| extreme(likenesses, 1.0));
    match others.get(&cut.character) {
        Some(own) => {
            let excess = like_rival - mean(own);
            // The nearest must say the same: one twin that is cut badly proves nothing.
            if excess > MARGIN && rival.is_some_and(|(_, rival)| best(rival) > best(own)) {
                nearest_rival.map(|witness| Suspect { cut, witness, excess })
            } else if mean(own) < SAME_CORRELATION {
                extreme(own, -1.0).map(|witness| Suspect { cut, witness, excess: 0.0 })
            } else {
                None
            }
        }
        None => {
            let excess = like_rival - usual.map_or(ONE_SHAPE, |usual| usual - ONE_SHAPE_SLACK);
            nearest_rival.filter(|_| excess > 0.0).map(|witness| Suspect { cut, witness, excess })
        }
    }
}

type Likenesses<'a> = Vec<(f32, &'a CharacterCut)>;

/// How much a cut resembles those of other moments, by character.
fn likenesses<'a>(cut: &CharacterCut, digits: &[&'a CharacterCut]) -> BTreeMap<char, Likenesses<'a>> {
    let mut by_character: BTreeMap<char, Likenesses<'a>> = BTreeMap::new();
    for other in digits.iter().filter(|other| other.told != cut.told) {
        let likeness = correlation(&cut.features, &other.features);
        by_character.entry(other.character).or_default().push((likeness, other));
    }
    by_character
}

fn mean(likenesses: &Likenesses<'_>) -> f32 {
    likenesses.iter().map(|(likeness, _)| likeness).sum::<f32>() / likenesses.len().max(1) as f32
}

fn best(likenesses: &Likenesses<'_>) -> f32 {
    likenesses.iter().map(|(likeness, _)| *likeness).fold(-1.0, f32::max)
}

/// The cut most alike (`sign` 1) or least alike (`sign` -1).
fn extreme<'a>(likenesses: &Likenesses<'a>, sign: f32) -> Option<&'a CharacterCut> {
    let best = likenesses.iter().max_by(|one, other| (sign * one.0).total_cmp(&(sign * other.0)));
    best.map(|(_, cut)| *cut)
}

/// The middle likeness of cuts of one character in different readings.
fn usual_likeness(digits: &[&CharacterCut]) -> Option<f32> {
    let mut all: Vec<f32> = digits
        .iter()
        .filter_map(|cut| likenesses(cut, digits).remove(&cut.character))
        .flatten()
        .map(|(likeness, _)| likeness)
        .collect();
    all.sort_by(f32::total_cmp);
    all.get(all.len() / 2).copied()
}

fn told_of(suspect: &Suspect<'_>) -> Contradiction {
    let (cut, witness) = (suspect.cut, suspect.witness);
    let message = if cut.character == witness.character {
        format!(
            "the {} in {} and the {} in {} are two shapes: one of the two is told wrongly, or a box is off",
            cut.character,
            said(&cut.told),
            witness.character,
            said(&witness.told)
        )
    } else {
        format!(
            "the {} in {} has the shape of the {} in {}: {} is probably told wrongly, else {}",
            cut.character,
            said(&cut.told),
            witness.character,
            said(&witness.told),
            moment(&cut.told),
            moment(&witness.told)
        )
    };
    Contradiction { message, suspect: cut.told.clone(), witness: witness.told.clone() }
}

fn said(told: &Told) -> String {
    format!("{}={}", moment(told), told.text)
}

fn moment(told: &Told) -> String {
    format!("{}@{}", told.channel.name(), told.time_s)
}
