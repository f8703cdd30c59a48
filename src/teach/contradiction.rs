//! Told readings at odds: one character told for two shapes, or two characters for one shape.

use std::collections::BTreeMap;

use ndarray::{Array2, s};

use super::align::CharacterCut;
use super::{Contradiction, Told};
use crate::recognise::correlation;

/// Cuts of one character correlate at least this much unless one was told wrongly.
const SAME_CORRELATION: f32 = 0.3;
/// Usual likeness from which cuts that do not correlate are two shapes, not noise.
const CLEAR_LIKENESS: f32 = 0.6;
/// A cut may resemble another character more than its own by this much, in noise.
const MARGIN: f32 = 0.05;
/// A character told once is another one from this likeness on, where no character was told twice, so
/// that nothing is known of what is usual.
const ONE_SHAPE: f32 = 0.985;
/// Likenesses that differ by less are equal.
const ROUNDING: f32 = 1e-3;
/// Cuts may be off by this many columns and rows.
const OFF_COLS: isize = 2;
const OFF_ROWS: isize = 1;

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
    let usual = Usual::of(&digits);
    let mut worst: BTreeMap<char, Suspect<'_>> = BTreeMap::new();
    for cut in &digits {
        if let Some(suspect) = suspect(cut, &digits, usual.as_ref())
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
    usual: Option<&Usual>,
) -> Option<Suspect<'a>> {
    let mut others = likenesses(cut, digits);
    let own = others.remove(&cut.character);
    let mut rivals: Vec<(f32, Likenesses<'a>)> = others.into_values().map(|all| (mean(&all), all)).collect();
    rivals.sort_by(|one, other| other.0.total_cmp(&one.0));
    let next = rivals.get(1).map_or(-1.0, |(likeness, _)| *likeness);
    let two_shapes = own.as_ref().filter(|own| is_another_shape(own, usual));
    let apart = two_shapes.and_then(|own| extreme(own, -1.0));
    let excess = rivals.first().and_then(|(like, rival)| match (&own, usual) {
        (Some(own), Some(usual)) => excess_over_own(rival, own, usual),
        (Some(_), None) => None,
        // Once told: it must resemble one character as its own cuts do, and no other as much.
        (None, usual) => {
            let excess = like - usual.map_or(ONE_SHAPE, |usual| usual.middle);
            (excess > -ROUNDING && like - next > MARGIN).then_some(excess)
        }
    });
    match (excess, rivals.first().and_then(|(_, rival)| extreme(rival, 1.0))) {
        (Some(excess), Some(witness)) => Some(Suspect { cut, witness, excess }),
        _ => apart.map(|witness| Suspect { cut, witness, excess: 0.0 }),
    }
}

/// How much more a cut resembles a rival than its own character, where that is more than noise: it
/// resembles the rival as cuts of one character do. The nearest must say the same, for one twin that
/// is cut badly proves nothing.
fn excess_over_own(rival: &Likenesses<'_>, own: &Likenesses<'_>, usual: &Usual) -> Option<f32> {
    let excess = mean(rival) - mean(own);
    let plain = excess > MARGIN.max(usual.middle - usual.low);
    (plain && best(rival) - best(own) > MARGIN && mean(rival) >= usual.low).then_some(excess)
}

fn is_another_shape(own: &Likenesses<'_>, usual: Option<&Usual>) -> bool {
    best(own) < SAME_CORRELATION && usual.is_some_and(|usual| usual.middle >= CLEAR_LIKENESS)
}

type Likenesses<'a> = Vec<(f32, &'a CharacterCut)>;

/// How much a cut resembles those of other moments, by character.
fn likenesses<'a>(cut: &CharacterCut, digits: &[&'a CharacterCut]) -> BTreeMap<char, Likenesses<'a>> {
    let mut by_character: BTreeMap<char, Likenesses<'a>> = BTreeMap::new();
    for other in digits.iter().filter(|other| other.told != cut.told) {
        let likeness = likeness(&cut.features, &other.features);
        by_character.entry(other.character).or_default().push((likeness, other));
    }
    by_character
}

/// The highest correlation of two cuts, either of which may be off by a little.
pub(super) fn likeness(one: &Array2<f32>, other: &Array2<f32>) -> f32 {
    let shifts = (-OFF_ROWS..=OFF_ROWS).flat_map(|rows| (-OFF_COLS..=OFF_COLS).map(move |cols| (rows, cols)));
    shifts.filter_map(|(rows, cols)| shifted_correlation(one, other, rows, cols)).fold(-1.0, f32::max)
}

/// The correlation of what two cuts share when the second is moved down and to the right.
fn shifted_correlation(one: &Array2<f32>, other: &Array2<f32>, rows: isize, cols: isize) -> Option<f32> {
    let shared = |length: usize, other: usize, shift: isize| -> Option<(usize, usize, usize)> {
        let (first, second) = (shift.max(0) as usize, (-shift).max(0) as usize);
        let count = length.checked_sub(first)?.min(other.checked_sub(second)?);
        (count > 0).then_some((first, second, count))
    };
    let (top, other_top, height) = shared(one.nrows(), other.nrows(), rows)?;
    let (left, other_left, width) = shared(one.ncols(), other.ncols(), cols)?;
    let part = |cut: &Array2<f32>, top: usize, left: usize| {
        cut.slice(s![top..top + height, left..left + width]).to_owned()
    };
    Some(correlation(&part(one, top, left), &part(other, other_top, other_left)))
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

/// How much cuts of one character in different readings resemble each other.
struct Usual {
    /// The middle likeness.
    middle: f32,
    /// The lower quartile.
    low: f32,
}

impl Usual {
    /// `None` where no character was told twice.
    fn of(digits: &[&CharacterCut]) -> Option<Self> {
        let mut all: Vec<f32> = digits
            .iter()
            .filter_map(|cut| likenesses(cut, digits).remove(&cut.character))
            .flatten()
            .map(|(likeness, _)| likeness)
            .collect();
        all.sort_by(f32::total_cmp);
        Some(Self { middle: *all.get(all.len() / 2)?, low: *all.get(all.len() / 4)? })
    }
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
    Contradiction { message, suspect: cut.told.clone(), witness: Some(witness.told.clone()) }
}

fn said(told: &Told) -> String {
    format!("{}={}", moment(told), told.text)
}

fn moment(told: &Told) -> String {
    format!("{}@{}", told.channel.name(), told.time_s)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::channel::Channel;

    /// A cut that shows the shape of digit `shown`, moved by some columns, told as `character`.
    fn cut(moment: usize, character: char, shown: u32, moved: usize) -> CharacterCut {
        let features = Array2::from_shape_fn((16, 12), |(row, col)| {
            let inside = (3..13).contains(&row) && (2 + moved..9 + moved).contains(&col);
            let stroke =
                (row as u32 * 7 + (col - moved.min(col)) as u32 * 3 + shown * row as u32).is_multiple_of(5);
            if inside && stroke { 60.0 } else { -10.0 }
        });
        let told = Told { channel: Channel::Speed, time_s: moment as f64, text: character.to_string() };
        CharacterCut { character, region: 0, moment, told, top: 0, left: 0.0, advance: 12.0, features }
    }

    #[test]
    fn true_tellings_do_not_contradict_each_other_even_where_a_cut_is_a_column_off() {
        let cuts =
            [cut(0, '1', 1, 0), cut(1, '1', 1, 1), cut(2, '2', 2, 0), cut(3, '2', 2, 0), cut(4, '3', 3, 0)];
        assert_eq!(contradictions(&cuts), []);
    }

    #[test]
    fn the_one_reading_told_wrongly_is_the_suspect() {
        let mut cuts = Vec::from([cut(0, '1', 1, 0), cut(1, '1', 1, 0), cut(2, '1', 1, 0)]);
        cuts.extend([cut(3, '2', 2, 0), cut(4, '2', 2, 0), cut(5, '2', 1, 0)]);
        let found = contradictions(&cuts);
        assert_eq!(found.iter().map(|found| found.suspect.time_s).collect::<Vec<_>>(), [5.0]);
    }

    #[test]
    fn a_character_told_once_is_suspect_where_it_has_the_shape_of_another() {
        let cuts =
            [cut(0, '1', 1, 0), cut(1, '1', 1, 0), cut(2, '2', 2, 0), cut(3, '2', 2, 0), cut(4, '7', 1, 0)];
        let found = contradictions(&cuts);
        assert_eq!(found.iter().map(|found| found.suspect.time_s).collect::<Vec<_>>(), [4.0]);
    }
}
