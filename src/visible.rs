//! Makes text from files safe to display: a control character in a file name could otherwise move the cursor, change
//! colours or hide a part of the text.

use std::borrow::Cow;

/// The text with each control character, including line feeds, and each character that changes the direction of writing
/// replaced by its escape, such as `\u{1b}`.
#[must_use]
pub fn line(text: &str) -> Cow<'_, str> {
    escaped(text, is_unsafe)
}

/// Like [`line()`], for a text of several lines: line feeds stay.
#[must_use]
pub fn lines(text: &str) -> Cow<'_, str> {
    escaped(text, |letter| letter != '\n' && is_unsafe(letter))
}

/// Maximum length of an excerpt, in characters. Set by judgement: longer than any valid cell or number.
const MAX_EXCERPT: usize = 30;

/// The first characters of a text, as one line, for a message that quotes a part of a file; an ellipsis stands for the rest.
#[must_use]
pub fn excerpt(text: &str) -> String {
    let mut letters = text.chars();
    let shown: String = letters.by_ref().take(MAX_EXCERPT).collect();
    let rest = if letters.next().is_some() { "…" } else { "" };
    format!("{}{rest}", line(&shown))
}

/// Whether a character is a control character or one of the bidirectional formatting characters (Unicode Standard Annex 9,
/// section 2).
fn is_unsafe(letter: char) -> bool {
    letter.is_control()
        || matches!(letter, '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

fn escaped(text: &str, is_unsafe: impl Fn(char) -> bool) -> Cow<'_, str> {
    if !text.contains(&is_unsafe) {
        return Cow::Borrowed(text);
    }
    let mut shown = String::with_capacity(text.len());
    for letter in text.chars() {
        if is_unsafe(letter) {
            shown.extend(letter.escape_default());
        } else {
            shown.push(letter);
        }
    }
    Cow::Owned(shown)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_excerpt_is_one_short_line() {
        assert_eq!(excerpt("12.5"), "12.5");
        assert_eq!(excerpt(&"9".repeat(31)), format!("{}…", "9".repeat(30)));
        assert_eq!(excerpt("a\nb"), "a\\nb");
    }

    #[test]
    fn control_characters_are_shown_and_other_text_stays() {
        assert_eq!(line("a\u{1b}[2Jb\r\nc\u{9b}d"), "a\\u{1b}[2Jb\\r\\nc\\u{9b}d");
        assert_eq!(line("fla\u{202e}iva.exe"), "fla\\u{202e}iva.exe");
        assert_eq!(lines("one\ntwo\u{7}"), "one\ntwo\\u{7}");
        assert!(matches!(line("Über die Wiese 機.avi"), Cow::Borrowed(_)));
    }
}
