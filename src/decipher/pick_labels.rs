//! Chooses the readings that serve as labels.

use super::box_texts::FrameText;
use super::value_format::ValueFormat;

/// Minimum probability of a text that serves as a label. Set by judgement; labels that contradict each other are
/// found while learning.
const MIN_PROBABILITY: f32 = 0.9;

/// Minimum probability of a text that serves as a label because no other text has one of its digits. Set by
/// judgement.
const MIN_PROBABILITY_IF_NEEDED: f32 = 0.6;
/// Exponent of a text's probability in its weight. The texts with the largest weights become labels; the other factor
/// of the weight is larger for texts with rare digits. Set by judgement: a text with the probability 0.9 has less than
/// half the weight of one with 1.
const PREFERENCE: i32 = 8;
/// Maximum number of labels for each readout: each label makes learning slower.
const MAX_LABELS: usize = 14;

/// Chooses the texts that serve as labels, in order of time: the most certain texts, such that every digit occurs
/// often.
pub(super) fn pick_labels<'a>(texts: &'a [FrameText], format: &ValueFormat) -> Vec<&'a FrameText> {
    let fitting = texts.iter().filter(|text| format.fits(&text.number));
    let (mut candidates, others): (Vec<&FrameText>, Vec<&FrameText>) =
        fitting.partition(|text| text.probability >= MIN_PROBABILITY);
    let is_shown: [bool; 10] =
        std::array::from_fn(|digit| candidates.iter().any(|text| digits(text).any(|shown| shown == digit)));
    candidates.extend(others.into_iter().filter(|text| {
        text.probability >= MIN_PROBABILITY_IF_NEEDED && digits(text).any(|digit| !is_shown[digit])
    }));
    let mut shown = [0_u32; 10];
    let mut picked: Vec<&FrameText> = Vec::new();
    while picked.len() < MAX_LABELS {
        let gain = |text: &FrameText| {
            let rare: f32 = digits(text).map(|digit| 1.0 / (1.0 + shown[digit] as f32).powi(2)).sum();
            rare * text.probability.powi(PREFERENCE)
        };
        let best = candidates.iter().enumerate().max_by(|one, other| gain(one.1).total_cmp(&gain(other.1)));
        let Some((index, _)) = best else { break };
        let text = candidates.swap_remove(index);
        digits(text).for_each(|digit| shown[digit] += 1);
        picked.push(text);
    }
    picked.sort_by(|one, other| one.time_s.total_cmp(&other.time_s));
    picked
}

/// The digits of a text, 0 to 9.
fn digits(text: &FrameText) -> impl Iterator<Item = usize> {
    text.number.chars().filter_map(|character| character.to_digit(10)).map(|digit| digit as usize)
}
