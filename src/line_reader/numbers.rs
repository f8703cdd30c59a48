//! Finds the numbers in a line of characters.

use std::ops::Range;

use super::LineCharacter;

/// Whether a character can be part of a number.
fn is_of_number(character: char) -> bool {
    character.is_ascii_digit() || is_mark(character)
}

/// Whether a character is a decimal point, a minus sign or a colon.
fn is_mark(character: char) -> bool {
    matches!(character, '.' | '-' | ':')
}

/// Whether a number begins with a zero before another digit.
pub(crate) fn has_leading_zero(number: &str) -> bool {
    number.strip_prefix('0').is_some_and(|rest| rest.starts_with(|next: char| next.is_ascii_digit()))
}

/// The numbers of a line, as ranges of character indices. A number begins with a digit, or with a minus sign before a
/// digit, and ends with a digit; points, minus signs and colons may be inside.
pub(crate) fn numbers(characters: &[LineCharacter]) -> Vec<Range<usize>> {
    let mut found = Vec::new();
    let mut first = 0;
    for run in characters.chunk_by(|one, other| is_of_number(one.character) == is_of_number(other.character))
    {
        let range = first..first + run.len();
        first = range.end;
        let is_digit =
            |place: &usize| characters.get(*place).is_some_and(|one| one.character.is_ascii_digit());
        let (Some(start), Some(last)) = (range.clone().find(is_digit), range.clone().rev().find(is_digit))
        else {
            continue;
        };
        let has_sign =
            start > range.start && characters.get(start - 1).is_some_and(|one| one.character == '-');
        found.push(if has_sign { start - 1 } else { start }..last + 1);
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(text: &str) -> Vec<String> {
        let place = |(place, character): (usize, char)| LineCharacter {
            character,
            center_px: place as f32,
            probability: 1.0,
            digit_probability: 1.0,
        };
        let characters: Vec<LineCharacter> = text.chars().enumerate().map(place).collect();
        let text = |range: Range<usize>| characters[range].iter().map(|one| one.character).collect();
        numbers(&characters).into_iter().map(text).collect()
    }

    #[test]
    fn a_number_is_cut_out_of_labels_and_marks() {
        assert_eq!(found("alt:-12.5m"), ["-12.5"]);
        assert_eq!(found("?1:07.v3"), ["1:07", "3"]);
        assert_eq!(found("-.:"), [""; 0]);
        assert_eq!(found("km/h"), [""; 0]);
    }
}
