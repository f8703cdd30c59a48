//! Told readings at odds: one character told for two shapes, or two characters for one shape.
//!
//! Two pictures are compared by the mean square of their difference, in the measure that is usual for
//! two pictures of one digit here: about 1 where they show the same, well above where they do not.

use std::collections::BTreeMap;

use super::align::CharacterCut;
use super::shapes::{CleanShape, residual};
use super::{Contradiction, Told};

/// Two pictures of one digit that differ more than this show two shapes.
const TWO_SHAPES: f32 = 3.6;
/// A picture that differs so many times more from its own digit's pictures than from another's, and
/// from its own more than usual, shows the other digit.
const OTHER_SHAPE: f32 = 1.6;
/// More than usual.
const UNUSUAL: f32 = 1.45;
/// A digit told once that differs from another's pictures by less than this is that one: these limits,
/// and within them [`LONE_SHARE`] of what the plainest different digits differ by.
const LONE: (f32, f32) = (0.9, 2.2);
/// See [`LONE`].
const LONE_SHARE: f32 = 0.5;
/// Share of pairs of different digits that may differ less than the plain ones.
const PLAIN_SHARE: f32 = 0.03;
/// The difference from the picture most like it is so many times less than usual, in a sample.
const NEAREST_FACTOR: f32 = 2.0;
/// Clean shapes differ by about this share of what single pictures do.
const CLEAN_SHARE: f32 = 0.6;

/// Share of the energy of scenery that stands still which is left after it was taken off.
const SCENERY_LEFT: f32 = 0.4;

/// A digit told somewhere.
struct Seen<'a> {
    cut: &'a CharacterCut,
    shape: &'a CleanShape,
    /// Its place in the order told.
    order: usize,
}

/// A digit that does not look like what was told.
struct Suspect<'a> {
    cut: &'a CharacterCut,
    /// The one that it contradicts.
    witness: &'a CharacterCut,
    /// How much speaks against it, from 1 on.
    weight: f32,
    /// Whether the other may as well be wrong.
    either: bool,
}

/// The contradictions among the digits of told readings, the plainest first. Of each two characters
/// one case is told, so that one slip does not fill the screen.
pub(super) fn contradictions(cuts: &[CharacterCut], shapes: &[CleanShape]) -> Vec<Contradiction> {
    let digits: Vec<Seen<'_>> = cuts
        .iter()
        .zip(shapes)
        .filter(|(cut, _)| cut.character.is_ascii_digit())
        .map(|(cut, shape)| Seen { cut, shape, order: cut.order })
        .collect();
    let Some(measure) = Measure::of(&digits) else { return Vec::new() };
    let mut suspects: Vec<Suspect<'_>> =
        digits.iter().filter_map(|seen| suspect(seen, &digits, &measure)).collect();
    suspects.sort_by(|one, other| other.weight.total_cmp(&one.weight));
    let mut told: BTreeMap<(char, char), usize> = BTreeMap::new();
    let mut found = Vec::new();
    for suspect in &suspects {
        let (one, other) = (suspect.cut.character, suspect.witness.character);
        let pair = (one.min(other), one.max(other));
        if told.insert(pair, 1).is_none() {
            found.push(told_of(suspect));
        }
    }
    found
}

/// Whether a digit is at odds with the others, and with which.
fn suspect<'a>(seen: &Seen<'a>, digits: &[Seen<'a>], measure: &Measure) -> Option<Suspect<'a>> {
    let mut own: Vec<(f32, &Seen<'a>)> = Vec::new();
    let mut rivals: BTreeMap<char, Vec<(f32, &Seen<'a>)>> = BTreeMap::new();
    for other in digits.iter().filter(|other| !std::ptr::eq(*other, seen)) {
        let differing = measure.difference(seen, other);
        match other.cut.character == seen.cut.character {
            true => own.push((differing, other)),
            false => rivals.entry(other.cut.character).or_default().push((differing, other)),
        }
    }
    let mut rivals: Vec<(f32, &Seen<'a>, usize)> = rivals
        .values()
        .filter_map(|all| nearest(all).map(|(differing, rival)| (differing, rival, all.len())))
        .collect();
    rivals.sort_by(|one, other| one.0.total_cmp(&other.0));
    let (rival, next) = (rivals.first(), rivals.get(1).map_or(f32::INFINITY, |next| next.0));
    let of = |witness: &Seen<'a>, weight: f32, either: bool| Suspect {
        cut: seen.cut,
        witness: witness.cut,
        weight,
        either,
    };
    let Some((own_differing, twin)) = nearest(&own) else {
        // Told once: it must look like one other digit, and like no second one.
        let (differing, rival, pictures) = rival?;
        let same = *differing < measure.lone && next > OTHER_SHAPE * differing;
        let either = *pictures == 1;
        return (same && (!either || seen.order > rival.order))
            .then(|| of(rival, measure.lone / differing.max(f32::MIN_POSITIVE), either));
    };
    if let Some((differing, rival, _)) = rival
        && own_differing > UNUSUAL
        && own_differing > OTHER_SHAPE * differing
        && *differing < TWO_SHAPES
    {
        return Some(of(rival, 2.0 * own_differing / differing.max(f32::MIN_POSITIVE), false));
    }
    let either = own.len() == 1;
    let last = !either || seen.order > twin.order;
    (own_differing > TWO_SHAPES && last).then(|| of(twin, own_differing / TWO_SHAPES, either))
}

fn nearest<'a, 'b>(all: &[(f32, &'b Seen<'a>)]) -> Option<(f32, &'b Seen<'a>)> {
    all.iter().min_by(|one, other| one.0.total_cmp(&other.0)).copied()
}

/// What two pictures of one digit usually differ by.
struct Measure {
    /// The told pictures.
    raw: f32,
    /// The clean shapes.
    clean: f32,
    /// A digit told once is another one where it differs less.
    lone: f32,
}

impl Measure {
    /// `None` where nothing can be said of what is usual.
    fn of(digits: &[Seen<'_>]) -> Option<Self> {
        let mut nearest: Vec<f32> = digits.iter().filter_map(|seen| seen.shape.noise).collect();
        let nearest = quantile(&mut nearest, 0.5).map(|noise| NEAREST_FACTOR * noise);
        let pairs = |same: bool| {
            pairs(digits)
                .filter(move |(one, other)| (one.cut.character == other.cut.character) == same)
                .filter(|(one, other)| one.cut.told != other.cut.told)
        };
        let mut raws: Vec<f32> = pairs(true).map(|(one, other)| raw(one, other)).collect();
        let mut cleans: Vec<f32> = pairs(true).map(|(one, other)| clean(one, other)).collect();
        // Where few digits were told twice, one slip would make any difference usual.
        let raw = [quantile(&mut raws, 0.5), nearest].into_iter().flatten().min_by(f32::total_cmp)?;
        let clean = quantile(&mut cleans, 0.5).unwrap_or(CLEAN_SHARE * raw).min(raw);
        let (raw, clean) = (raw.max(f32::MIN_POSITIVE), clean.max(f32::MIN_POSITIVE));
        let mut measure = Self { raw, clean, lone: LONE.1 };
        let mut different: Vec<f32> =
            pairs(false).map(|(one, other)| measure.difference(one, other)).collect();
        let plain = quantile(&mut different, PLAIN_SHARE).unwrap_or(f32::INFINITY);
        measure.lone = (LONE_SHARE * plain).clamp(LONE.0, LONE.1);
        Some(measure)
    }

    fn difference(&self, one: &Seen<'_>, other: &Seen<'_>) -> f32 {
        0.5 * (raw(one, other) / self.raw + clean(one, other) / self.clean)
    }
}

fn raw(one: &Seen<'_>, other: &Seen<'_>) -> f32 {
    beyond_scenery(residual(&one.cut.features, &other.cut.features), one, other)
}

fn clean(one: &Seen<'_>, other: &Seen<'_>) -> f32 {
    beyond_scenery(residual(&one.shape.features, &other.shape.features), one, other)
}

/// What is left of a difference without that which scenery that stands still leaves.
fn beyond_scenery(residual: f32, one: &Seen<'_>, other: &Seen<'_>) -> f32 {
    (residual - SCENERY_LEFT * (one.shape.scenery + other.shape.scenery)).max(0.0)
}

fn pairs<'a, 'b>(digits: &'b [Seen<'a>]) -> impl Iterator<Item = (&'b Seen<'a>, &'b Seen<'a>)> {
    (1..digits.len()).flat_map(move |last| (0..last).map(move |first| (&digits[first], &digits[last])))
}

fn quantile(values: &mut [f32], share: f32) -> Option<f32> {
    values.sort_by(f32::total_cmp);
    values.get((share * values.len() as f32) as usize).copied()
}

fn told_of(suspect: &Suspect<'_>) -> Contradiction {
    let (cut, witness) = (suspect.cut, suspect.witness);
    let (one, other) = (said(&cut.told), said(&witness.told));
    let message = match (cut.character == witness.character, suspect.either) {
        (true, true) => format!(
            "the {} in {one} and the {} in {other} are two shapes: one of these two is told wrongly",
            cut.character, witness.character
        ),
        (true, false) => format!(
            "the {} in {one} looks unlike all others told, such as the one in {other}: {} is probably told \
             wrongly",
            cut.character,
            moment(&cut.told)
        ),
        (false, true) => format!(
            "the {} in {one} has the shape of the {} in {other}: one of these two is told wrongly",
            cut.character, witness.character
        ),
        (false, false) => format!(
            "the {} in {one} has the shape of the {} in {other}: {} is probably told wrongly, else {}",
            cut.character,
            witness.character,
            moment(&cut.told),
            moment(&witness.told)
        ),
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
    use ndarray::Array2;

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
        CharacterCut {
            character,
            region: 0,
            moment,
            order: moment,
            told,
            top: 0,
            left: 0.0,
            advance: 12.0,
            features,
        }
    }

    /// The contradictions where the sample shows nothing more.
    fn found_in(cuts: &[CharacterCut]) -> Vec<Contradiction> {
        let shape = |cut: &CharacterCut| CleanShape {
            features: cut.features.clone(),
            noise: Some(25.0),
            scenery: 0.0,
        };
        contradictions(cuts, &cuts.iter().map(shape).collect::<Vec<_>>())
    }

    #[test]
    fn true_tellings_do_not_contradict_each_other_even_where_a_cut_is_a_column_off() {
        let cuts =
            [cut(0, '1', 1, 0), cut(1, '1', 1, 1), cut(2, '2', 2, 0), cut(3, '2', 2, 0), cut(4, '3', 3, 0)];
        assert_eq!(found_in(&cuts), []);
    }

    #[test]
    fn the_one_reading_told_wrongly_is_the_suspect() {
        let mut cuts = Vec::from([cut(0, '1', 1, 0), cut(1, '1', 1, 0), cut(2, '1', 1, 0)]);
        cuts.extend([cut(3, '2', 2, 0), cut(4, '2', 2, 0), cut(5, '2', 1, 0)]);
        let found = found_in(&cuts);
        assert_eq!(found.iter().map(|found| found.suspect.time_s).collect::<Vec<_>>(), [5.0]);
    }

    #[test]
    fn a_character_told_once_is_suspect_where_it_has_the_shape_of_another() {
        let cuts =
            [cut(0, '1', 1, 0), cut(1, '1', 1, 0), cut(2, '2', 2, 0), cut(3, '2', 2, 0), cut(4, '7', 1, 0)];
        let found = found_in(&cuts);
        assert_eq!(found.iter().map(|found| found.suspect.time_s).collect::<Vec<_>>(), [4.0]);
    }
}
