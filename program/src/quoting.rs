//! Quotes paths in printed commands, so that the commands can be copied into a shell.

use std::path::Path;

/// The path in a form that a shell reads as one word: in single quotes if it contains special characters. Within single
/// quotes every character stands for itself, except for the single quote, which is escaped (POSIX.1-2017, Shell Command
/// Language, 2.2.2).
pub fn quoted(path: &Path) -> String {
    let text = path.to_string_lossy();
    let plain = |letter: char| letter.is_alphanumeric() || "/._-+,:@%=".contains(letter);
    // A word that begins with a dash would be read as an option.
    let text = if text.starts_with('-') { format!("./{text}") } else { text.into_owned() };
    if !text.is_empty() && text.chars().all(plain) {
        return text;
    }
    format!("'{}'", text.replace('\'', "'\\''"))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

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
}
