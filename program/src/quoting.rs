//! Quotes paths in printed commands, so that the commands can be copied into a shell.

use std::path::Path;

/// The path in a form that the system's shell reads as one word.
pub fn quoted(path: &Path) -> String {
    let text = path.to_string_lossy();
    if cfg!(windows) { quoted_for_windows(&text) } else { quoted_for_posix(&text) }
}

/// Puts a path into single quotes, unless it contains only letters, digits and harmless punctuation. Within single
/// quotes every character is literal, except for the single quote, which is escaped (POSIX.1-2017, Shell
/// Command Language, 2.2.2).
fn quoted_for_posix(text: &str) -> String {
    let plain = |letter: char| letter.is_alphanumeric() || "/._-+,:@%=".contains(letter);
    // A word that begins with a dash would be read as an option.
    let text = if text.starts_with('-') { format!("./{text}") } else { text.to_owned() };
    if !text.is_empty() && text.chars().all(plain) {
        return text;
    }
    format!("'{}'", text.replace('\'', "'\\''"))
}

/// Puts a path into double quotes, unless it contains only letters, digits and harmless punctuation. Both the
/// Command Prompt and PowerShell accept double quotes, and file names on Windows contain none. A backslash before
/// the closing quote is doubled, since it would escape the quote (Microsoft, "Parsing C command-line arguments").
fn quoted_for_windows(text: &str) -> String {
    let plain = |letter: char| letter.is_alphanumeric() || "\\/._-+:=".contains(letter);
    let text = if text.starts_with('-') { format!(".\\{text}") } else { text.to_owned() };
    if !text.is_empty() && text.chars().all(plain) {
        return text;
    }
    let doubled = if text.ends_with('\\') { "\\" } else { "" };
    format!("\"{text}{doubled}\"")
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[cfg(unix)]
    #[test]
    fn a_shell_takes_a_quoted_path_for_one_word_as_it_was() {
        for path in ["flight.avi", "last flight.avi", "it's $HOME; `x`.avi", "-x.avi", "a&b(1)*?.avi"] {
            let command = format!("printf %s {}", quoted(Path::new(path)));
            let output = std::process::Command::new("sh").args(["-c", &command]).output().unwrap();
            let said = String::from_utf8(output.stdout).unwrap();
            assert_eq!(said.trim_start_matches("./"), path);
        }
        assert_eq!(quoted(Path::new("card/flight_1.avi")), "card/flight_1.avi");
    }

    #[test]
    fn paths_for_windows_are_in_double_quotes() {
        let cases = [
            (r"E:\DCIM\flight_1.avi", r"E:\DCIM\flight_1.avi"),
            (r"E:\last flight.avi", r#""E:\last flight.avi""#),
            (r"E:\last flights\", r#""E:\last flights\\""#),
            ("-x.avi", r".\-x.avi"),
            ("a&b.avi", r#""a&b.avi""#),
            ("", r#""""#),
        ];
        for (path, expected) in cases {
            assert_eq!(quoted_for_windows(path), expected);
        }
    }
}
