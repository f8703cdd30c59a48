//! Rewords the message of a TOML parser as one line with the position of the error.

/// The line number and the parser's reason, without its excerpt of the file.
pub(crate) fn in_one_line(text: &str, error: &toml::de::Error) -> String {
    let at = error.span().map_or(0, |span| span.start);
    let line = 1 + text.bytes().take(at).filter(|byte| *byte == b'\n').count();
    format!("line {line}: {}", error.message().replace('\n', " "))
}
