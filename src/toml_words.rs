//! What a TOML parser says, as one line that names the place.

/// The line and the parser's reason, without its drawing of the place.
pub(crate) fn in_one_line(text: &str, error: &toml::de::Error) -> String {
    let at = error.span().map_or(0, |span| span.start);
    let line = 1 + text.bytes().take(at).filter(|byte| *byte == b'\n').count();
    format!("line {line}: {}", error.message().replace('\n', " "))
}
