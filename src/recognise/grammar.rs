//! What a region's text can look like: digits, a decimal point or colon at its known place, a minus sign.

use super::decode::Anchor;
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
    /// The colon between minutes and seconds.
    Colon,
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
            Self::Colon => character == ':',
            Self::Minus => character == '-',
        }
    }
}

/// Whether a character parts the digits: the decimal point, or the colon of a clock.
#[must_use]
pub fn is_mark(character: char) -> bool {
    Slot::Point.takes(character) || Slot::Colon.takes(character)
}

/// One character of the texts, seen from the end that stays put: texts that begin alike share steps.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Step {
    /// What stands here.
    pub slot: Slot,
    /// The step that it continues; `None` for the first character.
    pub before: Option<usize>,
    /// Whether a text may end here.
    pub ends: bool,
}

/// The texts a region may show.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Grammar {
    /// Digits of the longest text.
    most_digits: u8,
    /// Digits after the mark.
    after: u8,
    /// The decimal point or the colon.
    mark: Slot,
    from_left: Vec<Step>,
    from_right: Vec<Step>,
}

impl Grammar {
    /// The grammar of a region.
    #[must_use]
    pub fn of(region: &Region) -> Self {
        let digits = region.digits.unwrap_or(MOST_DIGITS);
        match region.parted() {
            (':', after) => Self::parted_by(Slot::Colon, digits, after, false),
            (_, after) => Self::new(digits, after, region.range.is_none_or(|(low, _)| low < 0.0)),
        }
    }

    /// Whether a text may hold a character.
    #[must_use]
    pub fn takes(&self, character: char) -> bool {
        self.from_left.iter().any(|step| step.slot.takes(character))
    }

    /// Texts of up to `digits` digits, `decimals` of them after the point; `minus` tells whether a minus
    /// sign may lead.
    #[must_use]
    pub fn new(digits: u8, decimals: u8, minus: bool) -> Self {
        Self::parted_by(Slot::Point, digits, decimals, minus)
    }

    fn parted_by(mark: Slot, digits: u8, after: u8, minus: bool) -> Self {
        let after = after.min(MOST_DIGITS - 1);
        let most_digits = digits.clamp(after + 1, MOST_DIGITS);
        let patterns = patterns(mark, most_digits, after, minus);
        let reversed: Vec<Vec<Slot>> =
            patterns.iter().map(|pattern| pattern.iter().rev().copied().collect()).collect();
        Self { most_digits, after, mark, from_left: steps(&patterns), from_right: steps(&reversed) }
    }

    /// The steps that build all texts from the end that stays put, or from the left for centred ones; a step comes
    /// after the one it continues.
    #[must_use]
    pub fn steps(&self, anchor: Anchor) -> &[Step] {
        match anchor {
            Anchor::Left | Anchor::Centre => &self.from_left,
            Anchor::Right => &self.from_right,
        }
    }

    /// Whether a text can hold no more digits.
    #[must_use]
    pub fn is_full(&self, text: &str) -> bool {
        text.chars().filter(char::is_ascii_digit).count() >= usize::from(self.most_digits)
    }

    /// Whether a text has a leading zero though it could hold more digits: a field padded with zeros is always full.
    #[must_use]
    pub fn has_leading_zero(&self, text: &str) -> bool {
        let mut whole = text.trim_start_matches('-').chars();
        whole.next() == Some('0') && whole.next().is_some_and(|c| c.is_ascii_digit()) && !self.is_full(text)
    }

    /// The number a text stands for, if the text follows this grammar; minutes and seconds in seconds.
    #[must_use]
    pub fn value(&self, text: &str) -> Option<f64> {
        let unsigned = text.strip_prefix('-').unwrap_or(text);
        let mark = if self.mark == Slot::Colon { ':' } else { '.' };
        let (whole, rest) = unsigned.split_once(mark).unwrap_or((unsigned, ""));
        let digits_only = |part: &str| part.chars().all(|c| c.is_ascii_digit());
        let fits = !whole.is_empty()
            && digits_only(whole)
            && digits_only(rest)
            && rest.len() == usize::from(self.after)
            && unsigned.contains(mark) == (self.after > 0);
        match self.mark {
            _ if !fits => None,
            Slot::Colon => {
                let (minutes, seconds): (f64, f64) = (whole.parse().ok()?, rest.parse().ok()?);
                (seconds < 60.0).then_some(60.0 * minutes + seconds)
            }
            _ => text.parse().ok(),
        }
    }
}

/// All patterns, left to right, from the shortest to the longest.
fn patterns(mark: Slot, digits: u8, after: u8, minus: bool) -> Vec<Vec<Slot>> {
    let mut patterns = Vec::new();
    for whole in 1..=digits - after {
        let mut pattern = vec![Slot::Digit; usize::from(whole)];
        if after > 0 {
            pattern.push(mark);
            pattern.extend(vec![Slot::Digit; usize::from(after)]);
        }
        patterns.push(pattern.clone());
        if minus {
            pattern.insert(0, Slot::Minus);
            patterns.push(pattern);
        }
    }
    patterns
}

/// Merges patterns that begin alike.
fn steps(patterns: &[Vec<Slot>]) -> Vec<Step> {
    let mut steps: Vec<Step> = Vec::new();
    for pattern in patterns {
        let mut before = None;
        for slot in pattern {
            let known = steps.iter().position(|step| step.slot == *slot && step.before == before);
            before = Some(known.unwrap_or_else(|| {
                steps.push(Step { slot: *slot, before, ends: false });
                steps.len() - 1
            }));
        }
        if let Some(last) = before {
            steps[last].ends = true;
        }
    }
    steps
}

#[cfg(test)]
mod tests {
    use super::*;

    /// All texts as patterns of d, point and minus, left to right.
    fn texts(grammar: &Grammar, anchor: Anchor) -> Vec<String> {
        let steps = grammar.steps(anchor);
        let sign = |slot: Slot| match slot {
            Slot::Digit => 'd',
            Slot::Point => '.',
            Slot::Colon => ':',
            Slot::Minus => '-',
        };
        let text = |end: usize| {
            let back = std::iter::successors(Some(end), |step| steps[*step].before);
            let text: String = back.map(|step| sign(steps[step].slot)).collect();
            if anchor == Anchor::Left { text.chars().rev().collect() } else { text }
        };
        let mut texts: Vec<String> = (0..steps.len()).filter(|step| steps[*step].ends).map(text).collect();
        texts.sort();
        texts
    }

    #[test]
    fn the_point_stands_only_where_the_decimals_say() {
        let grammar = Grammar::new(3, 1, false);
        for anchor in [Anchor::Left, Anchor::Right] {
            assert_eq!(texts(&grammar, anchor), ["d.d", "dd.d"]);
        }
    }

    #[test]
    fn a_minus_leads_every_length() {
        let grammar = Grammar::new(2, 0, true);
        for anchor in [Anchor::Left, Anchor::Right] {
            assert_eq!(texts(&grammar, anchor), ["-d", "-dd", "d", "dd"]);
        }
    }

    #[test]
    fn minutes_and_seconds_are_read_as_seconds() {
        let grammar = Grammar::parted_by(Slot::Colon, 4, 2, false);
        for anchor in [Anchor::Left, Anchor::Right] {
            assert_eq!(texts(&grammar, anchor), ["d:dd", "dd:dd"]);
        }
        assert_eq!(grammar.value("02:05"), Some(125.0));
        assert_eq!(grammar.value("9:59"), Some(599.0));
        for text in ["", "125", "2.05", ":05", "2:5", "2:60", "2:0a"] {
            assert_eq!(grammar.value(text), None, "{text}");
        }
    }

    #[test]
    fn a_leading_zero_counts_where_the_text_could_be_longer() {
        let grammar = Grammar::new(3, 0, true);
        for (text, expected) in [("00", true), ("-07", true), ("007", false), ("0", false), ("70", false)] {
            assert_eq!(grammar.has_leading_zero(text), expected, "{text}");
        }
        assert!(!Grammar::new(4, 1, false).has_leading_zero("0.5"));
    }

    #[test]
    fn only_texts_of_the_grammar_have_a_value() {
        let grammar = Grammar::new(4, 2, true);
        assert_eq!(grammar.value("-12.50"), Some(-12.5));
        for text in ["", "12", "12.5", ".50", "1a.50", "12.500", "--1.00", "+1.00"] {
            assert_eq!(grammar.value(text), None, "{text}");
        }
    }
}
