//! Rewords clap's messages for an invalid command line in the same form as all other messages.

use clap::error::{ContextKind, ContextValue, ErrorKind};

/// The message for an invalid command line, without the program's name.
pub fn message(error: &clap::Error) -> String {
    let said = match error.kind() {
        ErrorKind::InvalidSubcommand => no_command(error),
        ErrorKind::UnknownArgument => no_option(error),
        ErrorKind::MissingRequiredArgument => missing(error),
        ErrorKind::ValueValidation => wrong_value(error),
        ErrorKind::InvalidValue => not_among(error),
        _ => None,
    };
    said.unwrap_or_else(|| {
        let text = error.render().to_string();
        let text = text.split("\n\nFor more information").next().unwrap_or_default();
        text.strip_prefix("error: ").unwrap_or(text).trim_end().to_owned()
    })
}

fn no_command(error: &clap::Error) -> Option<String> {
    let asked = words(error, ContextKind::InvalidSubcommand)?;
    let meant = meant(error, ContextKind::SuggestedSubcommand);
    Some(format!("there is no command {asked}{meant}; pairspeed --help lists the commands"))
}

fn no_option(error: &clap::Error) -> Option<String> {
    let asked = words(error, ContextKind::InvalidArg)?;
    let meant = meant(error, ContextKind::SuggestedArg);
    Some(format!(
        "{asked} is not an argument of this command{meant}; --help after the command lists its arguments"
    ))
}

fn missing(error: &clap::Error) -> Option<String> {
    let missing = words(error, ContextKind::InvalidArg)?;
    Some(format!("missing: {missing}; --help after the command explains them"))
}

/// The message for a value that the parser of its option rejects: the option, the value, and the reason. `None` if
/// `error` is of another kind.
fn wrong_value(error: &clap::Error) -> Option<String> {
    let value = words(error, ContextKind::InvalidValue)?;
    let reason = std::error::Error::source(error)?;
    Some(format!("{} {value}: {reason}", option(error)?))
}

/// The message for a value that is not in the option's list of allowed values, or is missing; `None` if `error` is of
/// another kind.
fn not_among(error: &clap::Error) -> Option<String> {
    let value = words(error, ContextKind::InvalidValue).unwrap_or_default();
    let known = words(error, ContextKind::ValidValue).filter(|known| !known.is_empty());
    let fix = known.map_or_else(|| "a value is missing".to_owned(), |known| format!("use one of {known}"));
    Some(format!("{} {value}: {fix}", option(error)?).replace(" : ", ": "))
}

/// The name of the option, without the placeholder of its value; `None` if the error names none.
fn option(error: &clap::Error) -> Option<String> {
    let option = words(error, ContextKind::InvalidArg)?;
    Some(option.split(' ').next().unwrap_or_default().to_owned())
}

fn meant(error: &clap::Error, kind: ContextKind) -> String {
    words(error, kind).map(|meant| format!(" (did you mean {meant}?)")).unwrap_or_default()
}

fn words(error: &clap::Error, kind: ContextKind) -> Option<String> {
    match error.get(kind)? {
        ContextValue::String(word) => Some(word.clone()),
        ContextValue::Strings(words) => Some(words.join(", ")),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    /// The message for a command line that is given as one text.
    fn said(line: &str) -> String {
        let words = ["pairspeed"].into_iter().chain(line.split_whitespace());
        super::message(&crate::commands::definition().try_get_matches_from(words).unwrap_err())
    }

    #[test]
    fn an_invalid_command_line_is_refused_in_the_programs_own_words() {
        for (line, part) in [
            ("raed a.avi", "there is no command raed (did you mean read?)"),
            (
                "read a.avi --setup x --forse",
                "--forse is not an argument of this command (did you mean --force?)",
            ),
            ("teach a.avi", "missing: --setup <FILE>"),
            (
                "inspect a.avi --at 1:30",
                "--at 1:30: give the time in seconds only, without minutes: write 90",
            ),
            ("inspect a.avi --at", "--at: a value is missing"),
            ("read a.avi --setup x --heading-is up", "--heading-is up: use one of track, nose"),
            ("teach a.avi --setup x --say speed", "--say speed: \"speed\" is not of the form"),
        ] {
            let said = said(line);
            assert!(said.contains(part) && !said.contains("error:"), "{line}: {said}");
        }
        let both = said("read a.avi --setup x --pressure 940 --qnh 1018");
        assert!(both.contains("cannot be used with") && !both.contains("For more"), "{both}");
    }
}
