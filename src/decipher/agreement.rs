//! Compares two independent readers digit by digit: the line reader, which recognises digits in any typeface, and the
//! recogniser, which compares them with the learned glyphs.

use super::counting::TimedText;
use super::readout::DecipheredText;

/// Minimum probability of a digit read by the line reader, for the digit to confirm or contradict a glyph. Set by
/// judgement.
const MIN_DIGIT_PROBABILITY: f32 = 0.8;
/// Minimum number of occurrences of a digit on which both readers must agree, for the digit not to be doubtful. Set by
/// judgement: a single label may be wrong.
const MIN_AGREEMENTS: usize = 3;
/// Minimum number of times that the line reader contradicts a digit, for the digit to be doubtful. Set by judgement:
/// the line reader misreads single texts.
const MIN_CONTRADICTIONS: usize = 3;

/// Minimum share of the occurrences of a digit that the line reader contradicts, for the digit to be doubtful. Set by
/// judgement: if the glyph of one digit was learned as another digit, nearly every occurrence is contradicted.
const MIN_CONTRADICTED_SHARE: f64 = 0.1;

/// Minimum number of readings that lack the first digits of the deciphered text, for the readout to be left out. Set
/// by judgement.
const MIN_SHORTENED: usize = 2;

/// Minimum share of the readings that lack the first digits of the deciphered text, for the readout to be left out.
/// Set by judgement.
const MIN_SHORTENED_SHARE: f64 = 0.015;

/// The texts that the two readers give for one frame.
#[derive(Debug, Clone, PartialEq)]
pub struct TextPair {
    /// Text of the line reader.
    pub deciphered: DecipheredText,
    /// Text of the recogniser with the learned glyphs.
    pub read: String,
}

impl TextPair {
    /// Whether the reading is the deciphered text without its first digits, or with zeros in their place.
    fn is_shortened(&self) -> bool {
        let read = self.read.trim_start_matches('0');
        let deciphered = self.deciphered.text.trim_start_matches('0');
        read.len() < deciphered.len() && deciphered.ends_with(read)
    }
}

/// Number of occurrences of a digit in which the line reader agrees with the glyph of the digit, and number in which
/// the line reader contradicts the glyph.
#[derive(Debug, Clone, Copy, Default)]
struct DigitVotes {
    agreed: usize,
    contradicted: usize,
}

impl DigitVotes {
    fn is_certain(self) -> bool {
        let occurrences = (self.agreed + self.contradicted) as f64;
        let contradicted = self.contradicted >= MIN_CONTRADICTIONS
            && self.contradicted as f64 >= MIN_CONTRADICTED_SHARE * occurrences;
        self.agreed >= MIN_AGREEMENTS && !contradicted
    }
}

/// The deciphered texts of the frames in which the recogniser read a text, each with that text.
pub fn text_pairs<'a>(
    deciphered: impl IntoIterator<Item = &'a DecipheredText>,
    read: &[TimedText],
) -> Vec<TextPair> {
    let pair = |deciphered: &DecipheredText| {
        let (_, read) = read.iter().find(|(time_s, _)| *time_s == deciphered.time_s)?;
        Some(TextPair { deciphered: deciphered.clone(), read: read.clone() })
    };
    deciphered.into_iter().filter_map(pair).collect()
}

/// Share of the deciphered texts with a probability of at least `min_probability` on which both readers agree, 0 to 1; `None`
/// without such texts.
#[must_use]
pub fn agreement(pairs: &[TextPair], min_probability: f32) -> Option<f64> {
    let counted = pairs.iter().filter(|pair| pair.deciphered.probability >= min_probability);
    let agreed = counted.clone().filter(|pair| pair.deciphered.text == pair.read).count();
    let all = counted.count();
    (all > 0).then(|| agreed as f64 / all as f64)
}

/// Whether enough readings lack the first digits of the deciphered texts, so that values are wrong by tens or
/// hundreds.
#[must_use]
pub fn lacks_first_digits(pairs: &[TextPair]) -> bool {
    let shortened = pairs.iter().filter(|pair| pair.is_shortened()).count();
    shortened >= MIN_SHORTENED && shortened as f64 >= MIN_SHORTENED_SHARE * pairs.len() as f64
}

/// Share of the digits that the line reader reads with certainty and that differ from the reading, 0 to 1; `None` if there are
/// none. Pairs of texts of different lengths are ignored.
#[must_use]
pub fn contradicted_share(pairs: &[TextPair]) -> Option<f64> {
    let votes = digit_votes(pairs);
    let contradicted: usize = votes.iter().map(|votes| votes.contradicted).sum();
    let all = contradicted + votes.iter().map(|votes| votes.agreed).sum::<usize>();
    (all > 0).then(|| contradicted as f64 / all as f64)
}

/// Digits on which the readers do not agree reliably, in ascending order: those that the line reader contradicts too
/// often, and those on which the readers agree in too few texts. Pairs of texts of different lengths are ignored.
#[must_use]
pub fn doubtful_digits(pairs: &[TextPair]) -> Vec<char> {
    let votes = digit_votes(pairs);
    ('0'..='9').zip(votes).filter(|(_, votes)| !votes.is_certain()).map(|(digit, _)| digit).collect()
}

/// The votes on each digit. Pairs of texts of different lengths are ignored.
fn digit_votes(pairs: &[TextPair]) -> [DigitVotes; 10] {
    let mut votes = [DigitVotes::default(); 10];
    let same_length =
        pairs.iter().filter(|pair| pair.read.chars().count() == pair.deciphered.text.chars().count());
    for ((read, deciphered), probability) in same_length.flat_map(|pair| {
        let both = pair.read.chars().zip(pair.deciphered.text.chars());
        both.zip(&pair.deciphered.character_probabilities)
    }) {
        let Some(digit) = read.to_digit(10).filter(|_| *probability >= MIN_DIGIT_PROBABILITY) else {
            continue;
        };
        let votes = &mut votes[digit as usize];
        match read == deciphered {
            true => votes.agreed += 1,
            false => votes.contradicted += 1,
        }
    }
    votes
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every digit six times, read correctly.
    fn right() -> Vec<TextPair> {
        pairs(&[("0123", "0123"), ("4567", "4567"), ("89", "89")].repeat(6))
    }

    fn pairs(texts: &[(&str, &str)]) -> Vec<TextPair> {
        texts.iter().map(|(deciphered, read)| pair(deciphered, 0.95, read)).collect()
    }

    fn pair(deciphered: &str, probability: f32, read: &str) -> TextPair {
        let character_probabilities = vec![probability; deciphered.len()];
        let deciphered =
            DecipheredText { time_s: 0.0, text: deciphered.into(), probability, character_probabilities };
        TextPair { deciphered, read: read.into() }
    }

    #[test]
    fn digits_that_the_line_reader_is_unsure_of_do_not_count() {
        let unsure = [pair("60", 0.6, "90"), pair("60", 0.6, "90"), pair("60", 0.6, "90")];
        assert!(doubtful_digits(&[right(), unsure.to_vec()].concat()).is_empty());
    }

    #[test]
    fn texts_are_paired_by_their_time_and_compared_from_a_probability_on() {
        let deciphered =
            [(0.0, "10", 0.9), (0.5, "11", 0.6), (1.0, "12", 0.9)].map(|(time_s, text, probability)| {
                DecipheredText { time_s, ..pair(text, probability, "").deciphered }
            });
        let read = [(0.0, "10".to_owned()), (0.5, "17".to_owned()), (2.0, "12".to_owned())];
        let pairs = text_pairs(&deciphered, &read);
        let texts: Vec<(&str, &str)> =
            pairs.iter().map(|pair| (pair.deciphered.text.as_str(), pair.read.as_str())).collect();
        assert_eq!(texts, [("10", "10"), ("11", "17")]);
        assert_eq!([0.5, 0.9, 0.95].map(|least| agreement(&pairs, least)), [Some(0.5), Some(1.0), None]);
    }

    #[test]
    fn the_contradicted_share_is_that_of_the_digits_read_with_certainty() {
        assert_eq!(contradicted_share(&[pair("60", 0.6, "90"), pair("612", 0.95, "12")]), None);
        let some = [pair("60", 0.95, "90"), pair("68", 0.95, "68"), pair("61", 0.6, "91")];
        assert_eq!(contradicted_share(&some), Some(0.25));
    }

    #[test]
    fn readings_without_the_first_digits_are_found() {
        assert!(lacks_first_digits(&pairs(&[("107", "07"), ("110", "0"), ("88", "88")])));
        assert!(
            !lacks_first_digits(&pairs(&[("07", "7"), ("07", "7"), ("107", "07")])),
            "zeros, and one text"
        );
        assert!(!lacks_first_digits(&pairs(&[("107", "97"), ("107", "97"), ("7", "107"), ("7", "107")])));
    }

    #[test]
    fn a_glyph_that_stands_for_another_digit_is_doubtful() {
        let swapped = right().into_iter().map(|pair| TextPair { read: pair.read.replace('6', "9"), ..pair });
        assert_eq!(doubtful_digits(&swapped.collect::<Vec<_>>()), ['6', '9']);
    }

    #[test]
    fn a_digit_seen_in_two_texts_is_doubtful() {
        let mut found = right();
        found.retain(|pair| !pair.read.contains('8'));
        assert_eq!(
            doubtful_digits(&[found, pairs(&[("89", "89"), ("98", "98"), ("99", "99")])].concat()),
            ['8']
        );
    }

    #[test]
    fn single_misread_texts_and_texts_of_other_length_do_not_count() {
        let misread = pairs(&[("60", "90"), ("6", "16"), ("6", "16"), ("6", "16")]);
        assert!(doubtful_digits(&[right(), misread].concat()).is_empty());
    }
}
