//! What a region's text can look like: digits, a decimal point at its known place, a minus sign.

use crate::setup::Region;

/// Most digits that a region may hold when its setup does not say.
const MOST_DIGITS: u8 = 8;

/// One place of a text.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Slot {
    /// A digit.
    Digit,
    /// The decimal point.
    Point,
    /// A minus sign.
    Minus,
}

impl Slot {
    /// Whether a character may stand here.
    #[must_use]
    pub fn takes(self, character: char) -> bool {
        match self {
            Self::Digit => character.is_ascii_digit(),
            Self::Point => character == '.',
            Self::Minus => character == '-',
        }
    }
}

/// The texts a region may show.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Grammar {
    /// Digits at most, those after the point included.
    pub max_digits: u8,
    /// Digits after the point.
    pub decimals: u8,
    /// Whether a minus sign may lead.
    pub minus: bool,
}

impl Grammar {
    /// The grammar of a region.
    #[must_use]
    pub fn of(region: &Region) -> Self {
        let decimals = region.decimals.min(MOST_DIGITS - 1);
        let max_digits = region.digits.unwrap_or(MOST_DIGITS).clamp(decimals + 1, MOST_DIGITS);
        Self { max_digits, decimals, minus: region.range.is_none_or(|(low, _)| low < 0.0) }
    }

    /// All patterns, left to right, from the shortest to the longest.
    #[must_use]
    pub fn patterns(&self) -> Vec<Vec<Slot>> {
        let mut patterns = Vec::new();
        for whole in 1..=self.max_digits - self.decimals {
            let mut pattern = vec![Slot::Digit; usize::from(whole)];
            if self.decimals > 0 {
                pattern.push(Slot::Point);
                pattern.extend(vec![Slot::Digit; usize::from(self.decimals)]);
            }
            patterns.push(pattern.clone());
            if self.minus {
                pattern.insert(0, Slot::Minus);
                patterns.push(pattern);
            }
        }
        patterns
    }

    /// The number a text stands for, if the text follows this grammar.
    #[must_use]
    pub fn value(&self, text: &str) -> Option<f64> {
        let unsigned = text.strip_prefix('-').unwrap_or(text);
        let (whole, fraction) = unsigned.split_once('.').unwrap_or((unsigned, ""));
        let digits_only = |part: &str| part.chars().all(|c| c.is_ascii_digit());
        let fits = !whole.is_empty()
            && digits_only(whole)
            && digits_only(fraction)
            && fraction.len() == usize::from(self.decimals)
            && unsigned.contains('.') == (self.decimals > 0);
        if fits { text.parse().ok() } else { None }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_point_stands_only_where_the_decimals_say() {
        let grammar = Grammar { max_digits: 3, decimals: 1, minus: false };
        let shapes: Vec<String> = grammar
            .patterns()
            .iter()
            .map(|pattern| pattern.iter().map(|slot| if *slot == Slot::Digit { 'd' } else { '.' }).collect())
            .collect();
        assert_eq!(shapes, ["d.d", "dd.d"]);
    }

    #[test]
    fn only_texts_of_the_grammar_have_a_value() {
        let grammar = Grammar { max_digits: 4, decimals: 2, minus: true };
        assert_eq!(grammar.value("-12.50"), Some(-12.5));
        for text in ["", "12", "12.5", ".50", "1a.50", "12.500", "--1.00", "+1.00"] {
            assert_eq!(grammar.value(text), None, "{text}");
        }
    }
}
