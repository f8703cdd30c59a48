//! The format that the values of a readout have in common.

use super::box_texts::FrameText;

/// What is required of the texts that a format is determined from.
struct Requirements {
    /// Minimum probability of the texts that count.
    min_probability: f32,
    /// Minimum number of these texts.
    min_texts: usize,
    /// Minimum share of these texts that must have the format.
    min_share: f32,
}

/// Requirements of a certain format. Set by judgement.
const CERTAIN: Requirements = Requirements { min_probability: 0.8, min_texts: 5, min_share: 0.8 };
/// Requirements of a likely format. Set by judgement.
const LIKELY: Requirements = Requirements { min_probability: 0.15, min_texts: 4, min_share: 0.5 };
/// Minimum share of the texts with the common format that must have as many digits as the widest value or more; the
/// few texts with still more digits are ignored as misread. Texts of low probability are included: too small a number
/// of digits would cut values.
const MIN_WIDEST_SHARE: f32 = 0.03;

/// How a readout writes its values.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct ValueFormat {
    /// The colon or the decimal point, if there is one.
    pub(super) separator: Option<char>,
    /// Number of digits after the separator.
    pub(super) decimals: u8,
    /// Number of digits of the widest value, including those after the separator.
    pub(super) digits: u8,
}

impl ValueFormat {
    /// The format that most texts of high probability have; `None` if there are too few of these texts, or if too few of them
    /// agree on a format.
    pub(super) fn of(texts: &[FrameText]) -> Option<Self> {
        Self::meeting(&CERTAIN, texts)
    }

    /// The format that most texts have, including those of low probability; `None` if there are too few texts, or if too few
    /// of them agree on a format.
    pub(super) fn likely(texts: &[FrameText]) -> Option<Self> {
        Self::meeting(&LIKELY, texts)
    }

    fn meeting(required: &Requirements, texts: &[FrameText]) -> Option<Self> {
        let counted: Vec<&str> = texts
            .iter()
            .filter(|text| text.probability >= required.min_probability && has_digit(&text.number))
            .map(|text| text.number.as_str())
            .collect();
        if counted.len() < required.min_texts {
            return None;
        }
        let endings: Vec<(Option<char>, u8)> = counted.iter().filter_map(|text| ending(text)).collect();
        let count = |wanted: &(Option<char>, u8)| endings.iter().filter(|ending| *ending == wanted).count();
        let (separator, decimals) = *endings.iter().max_by_key(|ending| count(ending))?;
        if (count(&(separator, decimals)) as f32) < required.min_share * counted.len() as f32 {
            return None;
        }
        let fitting = texts.iter().filter(|text| ending(&text.number) == Some((separator, decimals)));
        let mut counts: Vec<u8> = fitting.map(|text| digit_count(&text.number)).collect();
        counts.sort_unstable_by(|one, other| other.cmp(one));
        let digits = *counts.get((MIN_WIDEST_SHARE * counts.len() as f32) as usize)?;
        Some(Self { separator, decimals, digits })
    }

    /// Inserts the decimal point that the line reader missed; `None` if nothing is missing, if there are too few digits,
    /// or if the text has other characters.
    pub(super) fn with_point(&self, text: &str) -> Option<String> {
        let index = text.len().checked_sub(usize::from(self.decimals))?;
        let is_missed = self.separator == Some('.')
            && digit_count(text) > self.decimals
            && text.bytes().all(|one| one.is_ascii_digit());
        is_missed.then(|| format!("{}.{}", &text[..index], &text[index..]))
    }

    /// Whether a text has this format.
    pub(super) fn fits(&self, text: &str) -> bool {
        let signs = text.matches('-').count();
        ending(text) == Some((self.separator, self.decimals))
            && digit_count(text) <= self.digits
            && digit_count(text) > self.decimals
            && signs == usize::from(text.starts_with('-'))
    }
}

fn has_digit(text: &str) -> bool {
    text.chars().any(|character| character.is_ascii_digit())
}

fn digit_count(text: &str) -> u8 {
    text.chars().filter(char::is_ascii_digit).count().min(usize::from(u8::MAX)) as u8
}

/// The separator of a text and the number of digits after it; `None` if it has several, or no digit after it.
fn ending(text: &str) -> Option<(Option<char>, u8)> {
    let separators: Vec<(usize, char)> =
        text.char_indices().filter(|(_, character)| matches!(character, '.' | ':')).collect();
    match separators.as_slice() {
        [] => Some((None, 0)),
        [(at, separator)] => match digit_count(&text[at + 1..]) {
            0 => None,
            digits => Some((Some(*separator), digits)),
        },
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_missed_point_is_inserted() {
        let volts = ValueFormat { separator: Some('.'), decimals: 1, digits: 3 };
        assert_eq!(volts.with_point("119").as_deref(), Some("11.9"));
        for text in ["11.9", "9", "", "-119", "1:19"] {
            assert_eq!(volts.with_point(text), None, "{text}");
        }
        let whole = ValueFormat { separator: None, decimals: 0, digits: 3 };
        assert_eq!(whole.with_point("119"), None);
    }

    #[test]
    fn texts_of_low_probability_have_a_likely_format_but_no_certain_one() {
        let texts = ["11.9", "12.0", "7", "12.1", "1.9"].map(|number| FrameText::example(number, 0.3));
        assert_eq!(ValueFormat::of(&texts), None);
        let volts = ValueFormat { separator: Some('.'), decimals: 1, digits: 3 };
        assert_eq!(ValueFormat::likely(&texts), Some(volts));
        assert_eq!(ValueFormat::likely(&texts[..3]), None);
    }
}
