//! Whether two readers agree on what each digit is: the line reader, which knows digits by their shape in any typeface, and
//! the recogniser with the learned glyphs, which finds the same picture again.

/// Minimum number of texts in which both readers must agree on a digit. Set by judgement: a single label may be wrong.
const MIN_AGREEMENTS: usize = 3;
/// Minimum number and share of contradicted occurrences of a digit that make it doubtful. Set by judgement: the line reader
/// misreads single texts, but a glyph that stands for another digit is contradicted nearly every time.
const MIN_CONTRADICTIONS: usize = 3;
const MIN_CONTRADICTED_SHARE: f64 = 0.1;

/// The texts that both readers found at one moment.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TextPair {
    /// By the line reader.
    pub deciphered: String,
    /// With the learned glyphs.
    pub read: String,
}

/// How often the line reader agrees with a glyph.
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

/// Share of the texts on which both readers agree, 0 to 1; `None` without texts.
#[must_use]
pub fn agreement(pairs: &[TextPair]) -> Option<f64> {
    let agreed = pairs.iter().filter(|pair| pair.deciphered == pair.read).count();
    (!pairs.is_empty()).then(|| agreed as f64 / pairs.len() as f64)
}

/// Digits on which the readers do not certainly agree, in ascending order: contradicted, or seen too rarely. Texts of
/// different length are left out.
#[must_use]
pub fn doubtful_digits(pairs: &[TextPair]) -> Vec<char> {
    let characters = pairs
        .iter()
        .filter(|pair| pair.read.chars().count() == pair.deciphered.chars().count())
        .flat_map(|pair| pair.read.chars().zip(pair.deciphered.chars()));
    let mut votes = [DigitVotes::default(); 10];
    for (read, deciphered) in characters {
        let Some(digit) = read.to_digit(10) else { continue };
        let votes = &mut votes[digit as usize];
        match read == deciphered {
            true => votes.agreed += 1,
            false => votes.contradicted += 1,
        }
    }
    ('0'..='9').zip(votes).filter(|(_, votes)| !votes.is_certain()).map(|(digit, _)| digit).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every digit six times, read right.
    fn right() -> Vec<TextPair> {
        pairs(&[("0123", "0123"), ("4567", "4567"), ("89", "89")].repeat(6))
    }

    fn pairs(texts: &[(&str, &str)]) -> Vec<TextPair> {
        texts
            .iter()
            .map(|(deciphered, read)| TextPair { deciphered: (*deciphered).into(), read: (*read).into() })
            .collect()
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
