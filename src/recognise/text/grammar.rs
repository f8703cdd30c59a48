//! The texts that a region may show: digits, a decimal point or colon at a known position, a leading minus
//! sign.

use super::placement::Anchor;
use crate::setup::{MAX_DIGITS, Region, Separator};

/// The kind of character that may stand at one position of a text.
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
    /// Whether a character may stand at this position.
    #[must_use]
    pub fn allows(self, character: char) -> bool {
        match self {
            Self::Digit => character.is_ascii_digit(),
            Self::Point => character == '.',
            Self::Colon => character == ':',
            Self::Minus => character == '-',
        }
    }
}

/// Whether a character separates digits: a decimal point, or the colon of a clock.
#[must_use]
pub fn is_separator(character: char) -> bool {
    Slot::Point.allows(character) || Slot::Colon.allows(character)
}

/// A node of the prefix tree of all texts, which is built from the anchored edge outwards.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct GrammarNode {
    /// The kind of character at this position.
    pub slot: Slot,
    /// Index of the preceding node; `None` for the first character.
    pub parent: Option<usize>,
    /// Whether a text may end after this node.
    pub ends: bool,
}

/// The texts that a region may show.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Grammar {
    /// Number of digits of the longest text.
    max_digits: u8,
    /// Number of digits after the separator.
    decimals: u8,
    /// The separator of the digits: decimal point or colon.
    separator: Slot,
    from_left: Vec<GrammarNode>,
    from_right: Vec<GrammarNode>,
}

impl Grammar {
    /// The grammar of a region.
    #[must_use]
    pub fn of(region: &Region) -> Self {
        let digits = region.digits.unwrap_or(MAX_DIGITS);
        match region.separator() {
            Separator { character: ':', digits_after } => {
                Self::with_separator(Slot::Colon, digits, digits_after, false)
            }
            Separator { digits_after, .. } => {
                Self::new(digits, digits_after, region.range.is_none_or(|(low, _)| low < 0.0))
            }
        }
    }

    /// Whether a character occurs in at least one text of the grammar.
    #[must_use]
    pub fn allows(&self, character: char) -> bool {
        self.from_left.iter().any(|node| node.slot.allows(character))
    }

    /// Texts of up to `digits` digits, `decimals` of them after the decimal point, with a leading minus sign if `minus`.
    #[must_use]
    pub fn new(digits: u8, decimals: u8, minus: bool) -> Self {
        Self::with_separator(Slot::Point, digits, decimals, minus)
    }

    fn with_separator(separator: Slot, digits: u8, decimals: u8, minus: bool) -> Self {
        let decimals = decimals.min(MAX_DIGITS - 1);
        let max_digits = digits.clamp(decimals + 1, MAX_DIGITS);
        let patterns = patterns(separator, max_digits, decimals, minus);
        let reversed: Vec<Vec<Slot>> =
            patterns.iter().map(|pattern| pattern.iter().rev().copied().collect()).collect();
        Self {
            max_digits,
            decimals,
            separator,
            from_left: prefix_tree(&patterns),
            from_right: prefix_tree(&reversed),
        }
    }

    /// The nodes of the prefix tree of all texts, built from the anchored edge, or from the left for centred
    /// texts; a node comes after its parent.
    #[must_use]
    pub fn nodes(&self, anchor: Anchor) -> &[GrammarNode] {
        match anchor {
            Anchor::Left | Anchor::Centre => &self.from_left,
            Anchor::Right => &self.from_right,
        }
    }

    /// Whether a text has the maximum number of digits.
    #[must_use]
    pub fn is_full(&self, text: &str) -> bool {
        text.chars().filter(char::is_ascii_digit).count() >= usize::from(self.max_digits)
    }

    /// Whether a text has a leading zero and fewer digits than the longest text. A readout padded with zeros
    /// always has the full number of digits, so the first digit of such a text may be missing.
    #[must_use]
    pub fn has_leading_zero(&self, text: &str) -> bool {
        let mut whole = text.trim_start_matches('-').chars();
        whole.next() == Some('0') && whole.next().is_some_and(|c| c.is_ascii_digit()) && !self.is_full(text)
    }

    /// The value of a text; minutes and seconds are converted to seconds. `None` if the grammar does not
    /// contain the text.
    #[must_use]
    pub fn value(&self, text: &str) -> Option<f64> {
        let unsigned = text.strip_prefix('-').unwrap_or(text);
        let separator = if self.separator == Slot::Colon { ':' } else { '.' };
        let (whole, rest) = unsigned.split_once(separator).unwrap_or((unsigned, ""));
        let digits_only = |part: &str| part.chars().all(|c| c.is_ascii_digit());
        let fits = !whole.is_empty()
            && digits_only(whole)
            && digits_only(rest)
            && rest.len() == usize::from(self.decimals)
            && unsigned.contains(separator) == (self.decimals > 0);
        match self.separator {
            _ if !fits => None,
            Slot::Colon => {
                let (minutes, seconds): (f64, f64) = (whole.parse().ok()?, rest.parse().ok()?);
                (seconds < 60.0).then_some(60.0 * minutes + seconds)
            }
            _ => text.parse().ok(),
        }
    }
}

/// All forms that a text may have, each as the kinds of its characters from left to right; the shortest come
/// first.
fn patterns(separator: Slot, digits: u8, decimals: u8, minus: bool) -> Vec<Vec<Slot>> {
    let mut patterns = Vec::new();
    for whole in 1..=digits - decimals {
        let mut pattern = vec![Slot::Digit; usize::from(whole)];
        if decimals > 0 {
            pattern.push(separator);
            pattern.extend(vec![Slot::Digit; usize::from(decimals)]);
        }
        patterns.push(pattern.clone());
        if minus {
            pattern.insert(0, Slot::Minus);
            patterns.push(pattern);
        }
    }
    patterns
}

/// The prefix tree of some forms of texts.
fn prefix_tree(patterns: &[Vec<Slot>]) -> Vec<GrammarNode> {
    let mut nodes: Vec<GrammarNode> = Vec::new();
    for pattern in patterns {
        let mut parent = None;
        for slot in pattern {
            let known = nodes.iter().position(|node| node.slot == *slot && node.parent == parent);
            parent = Some(known.unwrap_or_else(|| {
                nodes.push(GrammarNode { slot: *slot, parent, ends: false });
                nodes.len() - 1
            }));
        }
        if let Some(last) = parent {
            nodes[last].ends = true;
        }
    }
    nodes
}

#[cfg(test)]
mod tests {
    use super::*;

    /// All texts as patterns of `d`, point and minus, left to right.
    fn texts(grammar: &Grammar, anchor: Anchor) -> Vec<String> {
        let nodes = grammar.nodes(anchor);
        let sign = |slot: Slot| match slot {
            Slot::Digit => 'd',
            Slot::Point => '.',
            Slot::Colon => ':',
            Slot::Minus => '-',
        };
        let text = |end: usize| {
            let back = std::iter::successors(Some(end), |node| nodes[*node].parent);
            let text: String = back.map(|node| sign(nodes[node].slot)).collect();
            if anchor == Anchor::Left { text.chars().rev().collect() } else { text }
        };
        let mut texts: Vec<String> = (0..nodes.len()).filter(|node| nodes[*node].ends).map(text).collect();
        texts.sort();
        texts
    }

    #[test]
    fn the_point_stands_before_the_given_number_of_decimals() {
        let grammar = Grammar::new(3, 1, false);
        for anchor in [Anchor::Left, Anchor::Right] {
            assert_eq!(texts(&grammar, anchor), ["d.d", "dd.d"]);
        }
    }

    #[test]
    fn texts_of_every_length_may_have_a_minus() {
        let grammar = Grammar::new(2, 0, true);
        for anchor in [Anchor::Left, Anchor::Right] {
            assert_eq!(texts(&grammar, anchor), ["-d", "-dd", "d", "dd"]);
        }
    }

    #[test]
    fn minutes_and_seconds_are_read_as_seconds() {
        let grammar = Grammar::with_separator(Slot::Colon, 4, 2, false);
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
    fn a_leading_zero_is_suspicious_where_the_text_could_be_longer() {
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
